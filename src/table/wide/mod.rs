//! Wide tables: one row for each patient, plan or lesion, a column for each of the values that papers
//! ask for most, with its bounds and status beside it. Everything in them stands in the long tables too;
//! a value is never computed here, only put in its place.

mod lesions;
mod listed;
mod patients;
mod plans;
pub(super) mod values;

pub(super) use lesions::TABLE as LESIONS;
pub(super) use patients::TABLE as PATIENTS;
pub(super) use plans::TABLE as PLANS;

/// The tables that a spreadsheet shows, by name.
pub const NAMES: [&str; 3] = ["patients_wide", "plans_wide", "lesions_wide"];
