//! Table `sensitivity`: what each value of targets and named organs would be if the structure lay
//! elsewhere, or were larger or smaller, where a run asks for it (`--shift`, `--margin`); without, it
//! has no rows. No numerical bounds: those stand in table metrics, and the two are never mixed.

use std::borrow::Cow;

use strum::VariantNames;

use super::allowed::UNITS;
use super::column::{Column, Sheet, borrowed};
use super::structure_names::{shown_name, structure_id};
use super::study::{Measured, Study};
use super::table::Table;
use tidydose_analyse::sensitivity::{Direction, Motion, Sensitivity};
use tidydose_metrics::{Status, Worse};

pub(super) const TABLE: Table = Table {
    name: "sensitivity",
    grain: "one value of a structure after one shift or margin",
    key: &["plan_id", "roi_number", "metric", "kind", "by_mm"],
    by_case: true,
    sheet,
};

struct SensitivityEntry<'a> {
    measured: Measured<'a>,
    of: &'a Sensitivity,
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut columns = subject_columns();
    columns.extend(value_columns());
    Sheet::new(columns, study.measured().into_iter().flat_map(rows_of_case).collect())
}

fn rows_of_case(measured: Measured<'_>) -> Vec<SensitivityEntry<'_>> {
    let list = measured.analysis.map_or(&[][..], |a| &a.sensitivities);
    let mut rows: Vec<_> = list.iter().map(|of| SensitivityEntry { measured, of }).collect();
    rows.sort_by(|a, b| {
        let key = |r: &SensitivityEntry<'_>| (r.of.roi_number, r.of.metric.clone(), r.of.motion);
        key(a).cmp(&key(b)).then(a.of.mm.total_cmp(&b.of.mm))
    });
    rows
}

fn subject_columns<'a>() -> Vec<Column<SensitivityEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &SensitivityEntry<'a>| {
            r.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan, as in table plans (where there is none, its dose or structure set)",
            |r| borrowed(r.measured.case.id.as_str()),
        ),
        Column::text("structure_id", "the structure, as in table structures", |r| {
            Some(Cow::Owned(structure_id(r.measured.case, r.of.roi_number)))
        }),
        Column::integer("roi_number", "", "ROI Number (3006,0022)", |r| Some(r.of.roi_number)),
        Column::text("structure", "standard name (TG-263), else the original name", |r| {
            r.measured.name(r.of.roi_number).and_then(|n| borrowed(shown_name(n)))
        }),
        Column::text("metric", "metric, as in table metrics", |r| borrowed(&r.of.metric)),
        Column::word(
            "kind",
            "what is done: the structure is moved as it is (shift), or its surface is moved outward \
             by mm, inward where mm is negative (margin); the dose stays",
            Motion::VARIANTS,
            |r| borrowed(r.of.motion.word()),
        ),
        Column::real("by_mm", "mm", "how far", |r| Some(r.of.mm)),
    ]
}

fn direction(direction: Option<Direction>) -> Option<Cow<'static, str>> {
    direction.map(|d| Cow::Owned(d.words()))
}

fn value_columns<'a>() -> Vec<Column<SensitivityEntry<'a>>> {
    vec![
        Column::real(
            "value",
            "",
            "value as in table metrics, nothing moved",
            |r: &SensitivityEntry<'a>| r.of.value,
        ),
        Column::real(
            "average",
            "",
            "value after the shift, the mean over all directions; of a margin the value with it; \
             missing: see status",
            |r| r.of.average,
        ),
        Column::real(
            "worst",
            "",
            "the worse of lowest and highest: the lower for coverage of a target, the higher for a \
             dose in an organ; missing where neither way is worse, and with a status",
            |r| r.of.worst(),
        ),
        Column::text(
            "worst_direction",
            "direction of the shift that gives it, of the patient; missing for a margin, and where no \
             direction changes the value",
            |r| direction(r.of.worst_direction()),
        ),
        Column::real("lowest", "", "smallest value of all directions", |r| r.of.lowest),
        Column::text("lowest_direction", "direction of the shift that gives it", |r| {
            direction(r.of.lowest_direction)
        }),
        Column::real("highest", "", "largest value of all directions", |r| r.of.highest),
        Column::text("highest_direction", "direction of the shift that gives it", |r| {
            direction(r.of.highest_direction)
        }),
        Column::word(
            "worse",
            "which way the metric gets worse in this structure; missing where neither way is worse",
            Worse::VARIANTS,
            |r| r.of.worse.and_then(|w| borrowed(w.word())),
        ),
        Column::word("unit", "unit of all values", UNITS, |r| borrowed(r.of.unit)),
        Column::word("status", "why there is or is not a value", Status::VARIANTS, |r| {
            borrowed(r.of.status.word())
        }),
        Column::text("reason", "why the status is not ok, in words; missing when it is", |r| {
            borrowed(&r.of.reason)
        }),
    ]
}
