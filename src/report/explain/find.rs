//! One row of table metrics from what a person typed, or what there is instead, nearest first.

use std::collections::BTreeSet;

use super::{CellName, ExplainError};
use crate::cohort::cell;
use tidydose_rt::nearest::nearest;
use tidydose_table::frame::{LoadedTable, integers, rows_where, texts};

/// The plan and the structure that are meant, without a metric.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Found {
    pub(super) plan_id: String,
    pub(super) structure_id: String,
}

/// The plan meant by the pseudonym of a patient or a plan.
///
/// # Errors
/// When there is none, or a patient with several.
pub(super) fn plan(plans: &LoadedTable, typed: &str) -> Result<String, ExplainError> {
    let (plan, patient) = (texts(plans, "plan_id"), texts(plans, "patient_id"));
    if plan.contains(&Some(typed)) {
        return Ok(typed.to_owned());
    }
    let rows = (0..plans.height()).filter(|i| cell(&patient, *i) == Some(typed));
    let own: BTreeSet<&str> = rows.filter_map(|i| cell(&plan, i)).collect();
    match own.iter().collect::<Vec<_>>().as_slice() {
        [only] => Ok((**only).to_owned()),
        [] => {
            let all = plan.iter().chain(&patient).filter_map(|t| *t);
            Err(ExplainError::Missing {
                what: "case (patient_id or plan_id of table plans)",
                typed: typed.to_owned(),
                there: nearest(typed, all),
            })
        }
        _ => Err(ExplainError::Several {
            what: "patient",
            typed: typed.to_owned(),
            there: own.into_iter().collect::<Vec<_>>().join(", "),
        }),
    }
}

/// The structure of a plan meant by its name, ROI Number or structure_id; regions that nobody drew
/// count too.
///
/// # Errors
/// When there is none, or several of that name.
pub(super) fn structure(
    metrics: &LoadedTable,
    plan_id: &str,
    typed: &str,
) -> Result<Found, ExplainError> {
    let of_plan = rows_where(metrics, "plan_id", |p| p == plan_id);
    let (id, name) = (texts(&of_plan, "structure_id"), texts(&of_plan, "structure"));
    let number = integers(&of_plan, "roi_number");
    let fits = |i: &usize| {
        cell(&id, *i) == Some(typed)
            || cell(&name, *i) == Some(typed)
            || cell(&number, *i).is_some_and(|n| n.to_string() == typed)
    };
    let exact: BTreeSet<&str> =
        (0..of_plan.height()).filter(fits).filter_map(|i| cell(&id, i)).collect();
    match exact.iter().collect::<Vec<_>>().as_slice() {
        [only] => Ok(Found { plan_id: plan_id.to_owned(), structure_id: (**only).to_owned() }),
        [] if of_plan.height() == 0 => Err(ExplainError::NotMeasured(plan_id.to_owned())),
        [] => Err(ExplainError::Missing {
            what: "structure of the case",
            typed: typed.to_owned(),
            there: nearest(typed, name.iter().filter_map(|n| *n)),
        }),
        _ => Err(ExplainError::Several {
            what: "structure name",
            typed: typed.to_owned(),
            there: exact.into_iter().collect::<Vec<_>>().join(", "),
        }),
    }
}

/// The row of table metrics.
///
/// # Errors
/// When the structure has no such metric, or several values of it.
pub(super) fn row(
    metrics: &LoadedTable,
    found: &Found,
    typed: &str,
) -> Result<LoadedTable, ExplainError> {
    let own = rows_where(metrics, "structure_id", |s| s == found.structure_id);
    let rows = rows_where(&own, "metric", |m| m == typed);
    match rows.height() {
        1 => Ok(rows),
        0 => Err(ExplainError::Missing {
            what: "metric of the structure",
            typed: typed.to_owned(),
            there: nearest(typed, texts(&own, "metric").into_iter().flatten()),
        }),
        _ => Err(ExplainError::Several {
            what: "metric",
            typed: typed.to_owned(),
            there: texts(&rows, "method").into_iter().flatten().collect::<Vec<_>>().join(" and "),
        }),
    }
}

/// The three names of a cell, or what is still to be named.
///
/// # Errors
/// With the list of structures or of metrics, when one of them is not named.
pub(super) fn named<'r>(
    metrics: &LoadedTable,
    plan_id: &str,
    name: &'r CellName<'_>,
) -> Result<(Found, Option<&'r str>), ExplainError> {
    let Some(typed) = name.structure else {
        let own = rows_where(metrics, "plan_id", |p| p == plan_id);
        let there: BTreeSet<&str> = texts(&own, "structure").into_iter().flatten().collect();
        let there = there.into_iter().collect::<Vec<_>>().join(", ");
        return Err(ExplainError::Unnamed { what: "structure", of: plan_id.to_owned(), there });
    };
    structure(metrics, plan_id, typed).map(|found| (found, name.metric))
}

/// What is left to be named when there is a structure and no metric.
pub(super) fn no_metric(metrics: &LoadedTable, found: &Found) -> ExplainError {
    let own = rows_where(metrics, "structure_id", |s| s == found.structure_id);
    let there = texts(&own, "metric").into_iter().flatten().collect::<Vec<_>>().join(", ");
    ExplainError::Unnamed { what: "metric", of: found.structure_id.clone(), there }
}
