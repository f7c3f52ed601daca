//! One row of table metrics from what a person typed, or what there is instead, nearest first.

use std::collections::BTreeSet;

use super::{CellName, ExplainError};
use tidydose_rt::nearest::nearest;
use tidydose_table::read::{MetricRow, PlanRow};

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
pub(super) fn plan(plans: &[PlanRow<'_>], typed: &str) -> Result<String, ExplainError> {
    if plans.iter().any(|p| p.plan_id == typed) {
        return Ok(typed.to_owned());
    }
    let own: BTreeSet<&str> =
        plans.iter().filter(|p| p.patient_id == typed).map(|p| p.plan_id).collect();
    match own.iter().collect::<Vec<_>>().as_slice() {
        [only] => Ok((**only).to_owned()),
        [] => {
            let ids = plans.iter().map(|p| p.plan_id);
            let all = ids.chain(plans.iter().map(|p| p.patient_id)).filter(|t| !t.is_empty());
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
/// count too. `of_plan` are the values of the plan.
///
/// # Errors
/// When there is none, or several of that name.
pub(super) fn structure(
    of_plan: &[MetricRow<'_>],
    plan_id: &str,
    typed: &str,
) -> Result<Found, ExplainError> {
    let fits = |m: &&MetricRow<'_>| {
        m.structure_id == typed
            || m.structure == typed
            || m.roi_number.is_some_and(|n| n.to_string() == typed)
    };
    let exact: BTreeSet<&str> = of_plan.iter().filter(fits).map(|m| m.structure_id).collect();
    match exact.iter().collect::<Vec<_>>().as_slice() {
        [only] => Ok(Found { plan_id: plan_id.to_owned(), structure_id: (**only).to_owned() }),
        [] if of_plan.is_empty() => Err(ExplainError::NotMeasured(plan_id.to_owned())),
        [] => Err(ExplainError::Missing {
            what: "structure of the case",
            typed: typed.to_owned(),
            there: nearest(typed, of_plan.iter().map(|m| m.structure)),
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
pub(super) fn row<'t>(
    of_plan: &[MetricRow<'t>],
    found: &Found,
    typed: &str,
) -> Result<MetricRow<'t>, ExplainError> {
    let own = || of_plan.iter().filter(|m| m.structure_id == found.structure_id);
    let rows: Vec<&MetricRow<'t>> = own().filter(|m| m.metric == typed).collect();
    match rows[..] {
        [row] => Ok(row.clone()),
        [] => Err(ExplainError::Missing {
            what: "metric of the structure",
            typed: typed.to_owned(),
            there: nearest(typed, own().map(|m| m.metric)),
        }),
        _ => Err(ExplainError::Several {
            what: "metric",
            typed: typed.to_owned(),
            there: rows.iter().map(|m| m.method).collect::<Vec<_>>().join(" and "),
        }),
    }
}

/// The three names of a cell, or what is still to be named.
///
/// # Errors
/// With the list of structures or of metrics, when one of them is not named.
pub(super) fn named<'r>(
    of_plan: &[MetricRow<'_>],
    plan_id: &str,
    name: &'r CellName<'_>,
) -> Result<(Found, Option<&'r str>), ExplainError> {
    let Some(typed) = name.structure else {
        let there: BTreeSet<&str> = of_plan.iter().map(|m| m.structure).collect();
        let there = there.into_iter().collect::<Vec<_>>().join(", ");
        return Err(ExplainError::Unnamed { what: "structure", of: plan_id.to_owned(), there });
    };
    structure(of_plan, plan_id, typed).map(|found| (found, name.metric))
}

/// What is left to be named when there is a structure and no metric.
pub(super) fn no_metric(of_plan: &[MetricRow<'_>], found: &Found) -> ExplainError {
    let own = of_plan.iter().filter(|m| m.structure_id == found.structure_id);
    let there = own.map(|m| m.metric).collect::<Vec<_>>().join(", ");
    ExplainError::Unnamed { what: "metric", of: found.structure_id.clone(), there }
}
