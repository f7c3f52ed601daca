//! Table `sums`: one row per metric and structure of a sum of plans that the user asked for in
//! `sums.csv`. Values of a sum that was refused are rows with the reason.

use std::borrow::Cow;

use strum::VariantNames;

use super::column::{Column, Sheet, borrowed};
use super::structure_names::{shown_name, structure_id};
use super::study::{MeasuredSum, Study};
use super::table::Table;
use tidydose_analyse::SumMeasurement;
use tidydose_case::{Case, SumBasis};
use tidydose_metrics::Status;

pub(super) const TABLE: Table = Table {
    name: "sums",
    grain: "one metric of one structure in a sum of plans",
    key: &["patient_id", "sum", "roi_number", "metric"],
    by_case: false,
    sheet,
};

struct SumEntry<'a> {
    sum: &'a MeasuredSum,
    case: &'a Case,
    value: &'a SumMeasurement,
}

const UNITS: &[&str] = &["Gy", "cc", "%", "Gy*cc"];

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut sums: Vec<&MeasuredSum> = study.sums.iter().collect();
    sums.sort_by_key(|s| (&s.sum.patient, &s.sum.name));
    let mut rows = Vec::new();
    for sum in sums {
        let Some(case) = study.cases.iter().find(|c| c.id == sum.structures_of) else { continue };
        let mut values: Vec<_> = sum.measurements.iter().collect();
        values.sort_by_key(|m| (m.roi_number, &m.metric));
        rows.extend(values.into_iter().map(|value| SumEntry { sum, case, value }));
    }
    let mut columns = subject_columns();
    columns.extend(value_columns());
    Sheet::new(columns, rows)
}

fn subject_columns<'a>() -> Vec<Column<SumEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r| {
            borrowed(r.sum.sum.patient.as_str())
        }),
        Column::text("sum", "name of the sum in sums.csv", |r| borrowed(&r.sum.sum.name)),
        Column::text("plans", "the plans that are added up", |r| {
            let plans: Vec<_> = r.sum.sum.plans.iter().map(ToString::to_string).collect();
            Some(Cow::Owned(plans.join(" ")))
        }),
        Column::text(
            "fractions",
            "fractions of each plan that are added up: those delivered, where records tell",
            |r| fractions(r.sum),
        ),
        Column::text("plan_id", "the plan whose structures are measured", |r| {
            borrowed(r.case.id.as_str())
        }),
        Column::word(
            "basis",
            "what is added: dose, or EQD2 of each voxel",
            SumBasis::VARIANTS,
            |r| borrowed(r.sum.sum.basis.word()),
        ),
        Column::real("alpha_beta_gy", "Gy", "α/β of the structure; missing for a dose", |r| {
            r.value.alpha_beta_gy
        }),
        Column::text("structure_id", "the structure, as in table structures", |r| {
            Some(Cow::Owned(structure_id(r.case, r.value.roi_number)))
        }),
        Column::integer("roi_number", "", "ROI Number (3006,0022)", |r| Some(r.value.roi_number)),
        Column::text("structure", "standard name (TG-263), else the original name", |r| {
            let name = r.case.name(r.value.roi_number)?;
            borrowed(shown_name(name))
        }),
    ]
}

/// Plan by plan, in the order of column `plans`.
fn fractions<'a>(sum: &MeasuredSum) -> Option<Cow<'a, str>> {
    let mut list: Vec<_> = sum.fractions.iter().collect();
    list.sort_by_key(|(plan, _)| plan);
    let words: Vec<String> = list
        .into_iter()
        .map(|(plan, n)| match n.delivered {
            Some((delivered, _)) => format!("{plan} {delivered} of {} delivered", n.planned),
            None => format!("{plan} {} planned", n.planned),
        })
        .collect();
    (!words.is_empty()).then(|| Cow::Owned(words.join("; ")))
}

fn value_columns<'a>() -> Vec<Column<SumEntry<'a>>> {
    vec![
        Column::text(
            "metric",
            "metric as TG-263 writes it; of EQD2 where that is the basis",
            |r| borrowed(&r.value.metric),
        ),
        Column::real("value", "", "value in the unit of column unit; missing: see status", |r| {
            r.value.outcome.value
        }),
        Column::real("low", "", "lower numerical bound; not a clinical uncertainty", |r| {
            r.value.outcome.low
        }),
        Column::real("high", "", "upper numerical bound; not a clinical uncertainty", |r| {
            r.value.outcome.high
        }),
        Column::word("unit", "unit of value; Gy is of EQD2 where that is the basis", UNITS, |r| {
            borrowed(r.value.unit)
        }),
        Column::word("status", "why there is or is not a value", Status::VARIANTS, |r| {
            borrowed(r.value.outcome.status.word())
        }),
        Column::text("reason", "why the status is not ok, in words; missing when it is", |r| {
            borrowed(&r.value.outcome.reason)
        }),
        Column::text(
            "method",
            "interpolation between voxels, how structures end beyond their last \
             contours, and how doses were added",
            |r| borrowed(&r.value.method),
        ),
    ]
}
