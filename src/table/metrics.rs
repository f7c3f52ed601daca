//! Table `metrics`, the core of a study in long form: one row per structure (or region that nobody
//! drew, without ROI Number) and metric, with value and numerical bounds, or status and reason.

use std::borrow::Cow;

use strum::VariantNames;

use super::allowed::UNITS;
use super::column::{Column, Sheet, borrowed};
use super::structure_names::{shown_name, structure_id};
use super::study::{Measured, Study};
use super::table::Table;
use tidydose_case::{NamedRoi, Role};
use tidydose_metrics::{Outcome, Status};

pub(super) const TABLE: Table = Table {
    name: "metrics",
    grain: "one metric of one structure, or of a region that nobody drew, of a case",
    key: &["plan_id", "roi_number", "structure_id", "metric", "method"],
    by_case: true,
    sheet,
};

struct MetricEntry<'a> {
    measured: Measured<'a>,
    structure_id: String,
    roi_number: Option<i64>,
    name: Option<&'a NamedRoi>,
    region: Option<&'a str>,
    metric: &'a str,
    unit: &'static str,
    outcome: &'a Outcome,
    method: &'a str,
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut columns = subject_columns();
    columns.extend(value_columns());
    Sheet::new(columns, study.measured().into_iter().flat_map(rows_of_case).collect())
}

fn rows_of_case(measured: Measured<'_>) -> Vec<MetricEntry<'_>> {
    let Some(analysis) = measured.analysis else { return Vec::new() };
    let of_structures = analysis.measurements.iter().map(|m| MetricEntry {
        measured,
        structure_id: structure_id(measured.case, m.roi_number),
        roi_number: Some(m.roi_number),
        name: measured.name(m.roi_number),
        region: None,
        metric: &m.metric,
        unit: m.unit,
        outcome: &m.outcome,
        method: &m.method,
    });
    let of_regions = analysis.regions.iter().map(|m| MetricEntry {
        measured,
        structure_id: format!("{}/{}", measured.case.id, m.region),
        roi_number: None,
        name: None,
        region: Some(&m.region),
        metric: &m.metric,
        unit: m.unit,
        outcome: &m.outcome,
        method: &m.method,
    });
    let mut rows: Vec<_> = of_structures.chain(of_regions).collect();
    // Regions come after the structures.
    rows.sort_by_key(|r| (r.roi_number.unwrap_or(i64::MAX), r.region, r.metric, r.method));
    rows
}

fn subject_columns<'a>() -> Vec<Column<MetricEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r| {
            r.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan, as in table plans (where there is none, its dose or structure set)",
            |r| borrowed(r.measured.case.id.as_str()),
        ),
        Column::text("structure_id", "the structure, as in table structures", |r| {
            borrowed(&r.structure_id)
        }),
        Column::integer("roi_number", "", "ROI Number (3006,0022); missing for a region", |r| {
            r.roi_number
        }),
        Column::text(
            "structure",
            "standard name (TG-263), else the original name; or a region",
            |r| {
                let name = r.name.map(shown_name).or(r.region);
                name.and_then(borrowed)
            },
        ),
        Column::word("role", "what the structure is for", Role::VARIANTS, |r| {
            r.name.and_then(|n| borrowed(n.role.word()))
        }),
    ]
}

fn value_columns<'a>() -> Vec<Column<MetricEntry<'a>>> {
    vec![
        Column::text("metric", "metric in TG-263 syntax, or index name", |r| borrowed(r.metric)),
        Column::real("value", "", "value in the unit of column unit; missing: see status", |r| {
            r.outcome.value
        }),
        Column::real("low", "", "lower numerical bound; not a clinical uncertainty", |r| {
            r.outcome.low
        }),
        Column::real("high", "", "upper numerical bound; not a clinical uncertainty", |r| {
            r.outcome.high
        }),
        Column::word("unit", "unit of value, low and high", UNITS, |r| borrowed(r.unit)),
        Column::word("status", "why there is or is not a value", Status::VARIANTS, |r| {
            borrowed(r.outcome.status.word())
        }),
        Column::text("reason", "why the status is not ok, in words; missing when it is", |r| {
            let reason = &r.outcome.reason;
            (!reason.is_empty()).then_some(Cow::Borrowed(reason.as_str()))
        }),
        Column::text(
            "method",
            "how dose is read between voxels and how a structure ends beyond its last contours \
             (closed_caps: rounded off; half_slice: half a slice further), or the rule or parameter \
             of the metric",
            |r| borrowed(r.method),
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::example::Example;

    #[test]
    fn columns_are_exactly_those_of_the_design() {
        let example = Example::new();
        let sheet = sheet(&example.study());
        let names: Vec<_> = sheet.columns().iter().map(|c| &*c.name).collect();
        assert_eq!(
            names.join(", "),
            "patient_id, plan_id, structure_id, roi_number, structure, role, metric, value, low, \
             high, unit, status, reason, method"
        );
    }
}
