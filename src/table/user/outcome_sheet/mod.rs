//! A sheet of outcomes as a department keeps it: CSV of any locale and usual encoding or XLSX, wide or
//! long, one row a patient, a plan or a lesion. [`Grid`] is the sheet as it stands in its file,
//! [`OutcomeMap`] what its columns mean, which the program proposes ([`propose()`]) and the user corrects,
//! [`Facts`] what is known of the study. [`read()`] makes the tidy sheet of it, covariates, and an account
//! of each cell.
//!
//! Nothing is guessed: a date of which day and month can be exchanged, a word that is neither yes nor no,
//! a duration without unit is asked about. What cannot have happened in that order is held back with its
//! reason and stays visible in the tidy sheet.

pub mod account;
pub mod cells;
mod combine;
pub mod covariates;
mod facts;
mod forms;
mod grid;
mod map;
mod propose;
mod read;
#[cfg(test)]
mod tests;

pub use combine::SheetRead;
pub use facts::{Facts, LesionFact, PATIENT_KEY, PLAN_KEY, PlanFact, StudyNames};
pub use grid::{Grid, GridRow};
pub use map::{FILE, Form, MapRow, Meaning, OutcomeMap};
pub use propose::propose;

/// Reads a sheet as the map says; `map` has one row for each of its columns, in their order.
#[must_use]
pub fn read(grid: &Grid, map: &[MapRow], facts: &Facts) -> SheetRead {
    let sheet = read::Sheet { grid, map, facts };
    combine::combined(&sheet, sheet.read())
}
