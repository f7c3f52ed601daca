//! The list of all tables, from which writing, documentation and tests are derived.

use super::column::Sheet;
use super::pool::CENTRES;
use super::study::Study;
use super::table::Table;
use super::{
    analysis, bounds, dictionary, dvh, files, finding_details, findings, flow, follow_up, lesions,
    limit_checks, metrics, pictures, plans, relations, sensitivity, structures, sums, traces, wide,
};

/// Every table, in the order in which a reader meets them.
pub const TABLES: &[Table] = &[
    plans::TABLE,
    structures::TABLE,
    lesions::TABLE,
    metrics::TABLE,
    dvh::TABLE,
    relations::TABLE,
    sums::TABLE,
    sensitivity::TABLE,
    follow_up::FOLLOW_UP,
    follow_up::RESPONSES,
    follow_up::RECURRENCES,
    follow_up::NEW_LESIONS,
    limit_checks::TABLE,
    bounds::TABLE,
    pictures::TABLE,
    flow::TABLE,
    wide::PATIENTS,
    wide::PLANS,
    wide::LESIONS,
    analysis::TABLE,
    analysis::BOUNDS,
    traces::TABLE,
    findings::TABLE,
    finding_details::TABLE,
    files::TABLE,
    DICTIONARY,
];

/// The table called `name`; that of centres too, which only studies have that were put together.
#[must_use]
pub fn table(name: &str) -> Option<&'static Table> {
    TABLES.iter().chain([&CENTRES]).find(|t| t.name == name)
}

/// The tables of a study, or of several that were put together.
pub(super) fn of_study(by_centre: bool) -> impl Iterator<Item = &'static Table> {
    let centres = by_centre.then_some(&CENTRES);
    TABLES.iter().take(TABLES.len() - 1).chain(centres).chain(TABLES.last())
}

/// The dictionary describes every table of the list, itself among them.
const DICTIONARY: Table = dictionary::table(of_all_tables);

fn of_all_tables<'a>(study: &Study<'a>) -> Sheet<'a> {
    dictionary::sheet(study, TABLES)
}
