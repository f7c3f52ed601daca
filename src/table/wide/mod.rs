//! Wide tables: one row for each patient, plan or lesion, a column for each of the values that papers
//! ask for most, with its bounds and status beside it. Everything in them stands in the long tables too;
//! a value is never computed here, only put in its place.

mod lesions;
mod listed;
mod patients;
mod plans;
pub(super) mod values;

use listed::{OF_LESION, OF_PLAN};
use values::Source;

pub(super) use lesions::TABLE as LESIONS;
pub(super) use patients::TABLE as PATIENTS;
pub(super) use plans::TABLE as PLANS;

/// The tables that a spreadsheet shows, by name.
pub const NAMES: [&str; 3] = ["patients_wide", "plans_wide", "lesions_wide"];

/// A value column of a wide table that holds one metric.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MetricColumn {
    /// Its name.
    pub name: &'static str,
    /// Standard name of the structure or region; absent for the lesion itself.
    pub structure: Option<&'static str>,
    /// The metric, as in table metrics.
    pub metric: &'static str,
}

/// The value columns of the wide tables that hold one metric, those of plans first; a column of both
/// comes twice, and is the same.
pub fn metric_columns() -> impl Iterator<Item = MetricColumn> {
    OF_PLAN.iter().chain(OF_LESION).filter_map(|value| {
        let (structure, metric) = match value.source {
            Source::Of(structure, metric) => (Some(structure), metric),
            Source::Own(metric) => (None, metric),
            // The smallest, the largest or one of several is no single metric.
            Source::OwnElse(..) | Source::Gap(_) | Source::Overlap(_) | Source::Nearest => {
                return None;
            }
        };
        Some(MetricColumn { name: value.names[0], structure, metric })
    })
}
