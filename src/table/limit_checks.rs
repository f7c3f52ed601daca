//! Table `limit_checks`: every organ of the list of limits for every case, with what is known. An
//! organ that is missing, a case that is left out and a number of fractions without a limit have
//! their rows too.

use std::borrow::Cow;

use strum::VariantNames;

use super::column::{Column, Sheet, borrowed};
use super::structure_names::structure_id;
use super::study::{Measured, Study};
use super::table::Table;
use tidydose_analyse::limit_check::{LimitCheck, unmeasured};
use tidydose_metrics::limits::{Checked, Limit, Tier, Verdict};

pub(super) const TABLE: Table = Table {
    name: "limit_checks",
    grain: "one limit for one organ of a case, or the lack of one",
    key: &["plan_id", "structure", "roi_number", "metric", "tier", "limit_source", "limit_value"],
    by_case: true,
    sheet,
};

struct LimitCheckEntry<'a> {
    measured: Measured<'a>,
    structure_id: Option<String>,
    metric: Option<String>,
    limit_fractions: Option<String>,
    check: Cow<'a, LimitCheck>,
}

impl LimitCheckEntry<'_> {
    fn limit(&self) -> Option<&Limit> {
        self.check.limit.as_ref()
    }
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut columns = subject_columns();
    columns.extend(limit_columns());
    columns.extend(value_columns());
    let rows = study.measured().into_iter().flat_map(|m| rows_of_case(m, study.limits));
    Sheet::new(columns, rows.collect())
}

fn rows_of_case<'a>(measured: Measured<'a>, limits: &[Limit]) -> Vec<LimitCheckEntry<'a>> {
    let checks: Vec<Cow<'a, LimitCheck>> = match measured.analysis {
        Some(analysis) => analysis.limit_checks.iter().map(Cow::Borrowed).collect(),
        None => {
            let why = measured.gap().unwrap_or_default();
            unmeasured(measured.case, limits, why).into_iter().map(Cow::Owned).collect()
        }
    };
    let mut rows: Vec<LimitCheckEntry<'a>> = checks
        .into_iter()
        .map(|check| LimitCheckEntry {
            measured,
            structure_id: check.roi_number.map(|n| structure_id(measured.case, n)),
            metric: check.limit.as_ref().map(|l| l.metric.to_string()),
            limit_fractions: check.limit.as_ref().map(Limit::fraction_words),
            check,
        })
        .collect();
    rows.sort_by(|a, b| key(a).cmp(&key(b)).then_with(|| value(a).total_cmp(&value(b))));
    rows
}

type Key<'r> = (&'r str, Option<i64>, Option<&'r str>, Option<Tier>, Option<&'r str>);

/// Organ by organ, source by source, and in each source the most binding limits first.
fn key<'r>(row: &'r LimitCheckEntry<'_>) -> Key<'r> {
    (
        &row.check.organ,
        row.check.roi_number,
        row.limit().map(|l| l.source.as_str()),
        row.limit().map(|l| l.tier),
        row.metric.as_deref(),
    )
}

fn value(row: &LimitCheckEntry<'_>) -> f64 {
    row.limit().map_or(0.0, |l| l.value)
}

fn subject_columns<'a>() -> Vec<Column<LimitCheckEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &LimitCheckEntry<'a>| {
            r.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan, as in table plans; where there is none, its dose or structure set",
            |r| borrowed(r.measured.case.id.as_str()),
        ),
        Column::text(
            "structure_id",
            "the structure, as in table structures. Where no structure has the name of the organ: \
             the one that may be it, its name being undecided, see reason; missing where none may be",
            |r| r.structure_id.as_deref().map(Cow::Borrowed),
        ),
        Column::integer("roi_number", "", "ROI Number (3006,0022)", |r| r.check.roi_number),
        Column::text("structure", "standard name (TG-263) of the organ", |r| {
            borrowed(&r.check.organ)
        }),
        Column::integer("fractions", "", "fractions planned; missing when not stated", |r| {
            r.check.fractions.map(i64::from)
        }),
    ]
}

fn limit_columns<'a>() -> Vec<Column<LimitCheckEntry<'a>>> {
    vec![
        Column::text(
            "metric",
            "the limited metric; missing without a limit",
            |r: &LimitCheckEntry<'a>| r.metric.as_deref().map(Cow::Borrowed),
        ),
        Column::word(
            "operator",
            "<= where the value may equal the limit, < where it has to be less",
            &["<=", "<"],
            |r| r.limit().map(|l| Cow::Borrowed(l.operator())),
        ),
        Column::real("limit_value", "", "the limit, in the unit of column unit", |r| {
            r.limit().map(|l| l.value)
        }),
        Column::word("unit", "unit of limit, value, bounds and margin", &["Gy", "cc", "%"], |r| {
            r.limit().map(|l| Cow::Borrowed(l.metric.definition.unit))
        }),
        Column::text("limit_fractions", "numbers of fractions that the limit is for", |r| {
            r.limit_fractions.as_deref().map(Cow::Borrowed)
        }),
        Column::word(
            "tier",
            "how binding its source calls it; the most binding first",
            Tier::VARIANTS,
            |r| r.limit().map(|l| Cow::Borrowed(l.tier.word())),
        ),
        Column::text("limit_source", "paper, report or protocol it comes from", |r| {
            r.limit().and_then(|l| borrowed(&l.source))
        }),
        Column::text(
            "evidence",
            "where the limit was read; else the words that it is not yet checked",
            |r| r.limit().and_then(|l| unless_empty(&l.evidence)),
        ),
        Column::word(
            "checked",
            "whether somebody compared the limit with its source",
            Checked::VARIANTS,
            |r| r.limit().map(|l| Cow::Borrowed(l.checked.word())),
        ),
        Column::text("endpoint", "the harm it is about; missing when not stated", |r| {
            r.limit().and_then(|l| unless_empty(&l.endpoint))
        }),
        Column::text("stated_risk", "the risk stated for it; missing when not stated", |r| {
            r.limit().and_then(|l| unless_empty(&l.risk))
        }),
        Column::text("limit_note", "remarks on the limit; missing without any", |r| {
            r.limit().and_then(|l| unless_empty(&l.note))
        }),
    ]
}

fn value_columns<'a>() -> Vec<Column<LimitCheckEntry<'a>>> {
    vec![
        Column::real(
            "value",
            "",
            "value as in table metrics; missing: see reason",
            |r: &LimitCheckEntry<'a>| r.check.outcome.as_ref()?.value,
        ),
        Column::real("low", "", "lower bound of the value, as in table metrics", |r| {
            r.check.outcome.as_ref()?.low
        }),
        Column::real("high", "", "upper bound of the value, as in table metrics", |r| {
            r.check.outcome.as_ref()?.high
        }),
        Column::real(
            "margin",
            "",
            "limit minus value: negative where the value is above the limit; no margin of a target",
            |r| Some(r.limit()?.value - r.check.outcome.as_ref()?.value?),
        ),
        Column::word(
            "verdict",
            "what value and bounds say about the limit",
            Verdict::VARIANTS,
            |r| borrowed(r.check.verdict.word()),
        ),
        Column::text("reason", "why, in words; missing when value and limit say it", |r| {
            unless_empty(&r.check.reason)
        }),
        Column::boolean(
            "judge_clinically",
            "true where so much of a target lies inside the organ (half of it, unless the study says \
             otherwise) that a high dose there is meant: a sign that the verdict alone does not \
             judge the plan. The verdict does not change by it, and nobody has judged anything",
            |r| Some(r.check.judge_clinically),
        ),
        Column::real(
            "target_inside_percent",
            "%",
            "largest share of a target's volume inside the organ; missing when not computed",
            |r| r.check.target_inside_percent,
        ),
    ]
}

fn unless_empty(text: &str) -> Option<Cow<'_, str>> {
    (!text.is_empty()).then_some(Cow::Borrowed(text))
}
