//! Table `relations`: how a target lies to an organ or to another target: one row per pair and
//! metric, with value and numerical bounds, or status and reason.

use std::borrow::Cow;

use strum::VariantNames;

use super::column::{Column, Sheet, borrowed};
use super::structure_names::{shown_name, structure_id};
use super::study::{Measured, Study};
use super::table::Table;
use tidydose_analyse::relate::Relation;
use tidydose_case::{NamedRoi, Role};
use tidydose_metrics::Status;

pub(super) const TABLE: Table = Table {
    name: "relations",
    grain: "one metric of a target and another structure of a case",
    key: &["plan_id", "roi_number", "other_roi_number", "metric", "method"],
    by_case: true,
    sheet,
};

struct RelationEntry<'a> {
    measured: Measured<'a>,
    ids: [Option<String>; 2],
    names: [Option<&'a NamedRoi>; 2],
    relation: &'a Relation,
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut columns = subject_columns();
    columns.extend(value_columns());
    Sheet::new(columns, study.measured().into_iter().flat_map(rows_of_case).collect())
}

fn rows_of_case(measured: Measured<'_>) -> Vec<RelationEntry<'_>> {
    let list = measured.analysis.map_or(&[][..], |a| &a.relations);
    let mut rows: Vec<_> = list
        .iter()
        .map(|relation| {
            let numbers = [Some(relation.roi_number), relation.other_roi_number];
            RelationEntry {
                measured,
                ids: numbers.map(|n| n.map(|n| structure_id(measured.case, n))),
                names: numbers.map(|n| n.and_then(|n| measured.name(n))),
                relation,
            }
        })
        .collect();
    rows.sort_by_key(|r| {
        let relation = r.relation;
        (relation.roi_number, relation.other_roi_number, relation.metric)
    });
    rows
}

fn subject_columns<'a>() -> Vec<Column<RelationEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &RelationEntry<'a>| {
            r.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan, as in table plans (where there is none, its dose or structure set)",
            |r| borrowed(r.measured.case.id.as_str()),
        ),
        Column::text("structure_id", "the target, as in table structures", |r| {
            r.ids[0].as_deref().map(Cow::Borrowed)
        }),
        Column::integer("roi_number", "", "ROI Number (3006,0022) of the target", |r| {
            Some(r.relation.roi_number)
        }),
        Column::text("structure", "standard name of the target, else the original one", |r| {
            r.names[0].and_then(|n| borrowed(shown_name(n)))
        }),
        Column::word("role", "what the target is for", Role::VARIANTS, |r| {
            r.names[0].and_then(|n| borrowed(n.role.word()))
        }),
        Column::text(
            "other_structure_id",
            "the other structure, as in table structures; missing where the case has none",
            |r| r.ids[1].as_deref().map(Cow::Borrowed),
        ),
        Column::integer("other_roi_number", "", "ROI Number of the other structure", |r| {
            r.relation.other_roi_number
        }),
        Column::text("other_structure", "its standard name, else the original one", |r| {
            r.names[1].and_then(|n| borrowed(shown_name(n)))
        }),
        Column::word("other_role", "what the other structure is for", Role::VARIANTS, |r| {
            r.names[1].and_then(|n| borrowed(n.role.word()))
        }),
    ]
}

fn value_columns<'a>() -> Vec<Column<RelationEntry<'a>>> {
    vec![
        Column::text(
            "metric",
            "what is measured between the two, see dictionary",
            |r: &RelationEntry<'a>| borrowed(r.relation.metric),
        ),
        Column::real("value", "", "value in the unit of column unit; missing: see status", |r| {
            r.relation.outcome.value
        }),
        Column::real("low", "", "lower numerical bound; not a clinical uncertainty", |r| {
            r.relation.outcome.low
        }),
        Column::real("high", "", "upper numerical bound; not a clinical uncertainty", |r| {
            r.relation.outcome.high
        }),
        Column::word("unit", "unit of value, low and high", &["mm", "cc", "%"], |r| {
            borrowed(r.relation.unit)
        }),
        Column::word("status", "why there is or is not a value", Status::VARIANTS, |r| {
            borrowed(r.relation.outcome.status.word())
        }),
        Column::text("reason", "why the status is not ok, in words; missing when it is", |r| {
            let reason = &r.relation.outcome.reason;
            (!reason.is_empty()).then_some(Cow::Borrowed(reason.as_str()))
        }),
        Column::text("method", "how structures end beyond their contours", |r| {
            borrowed(r.relation.method)
        }),
    ]
}
