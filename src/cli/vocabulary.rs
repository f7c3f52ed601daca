//! The names that may stand in a question to a study: those in its tables, and those that any study
//! could have.

use std::collections::BTreeSet;

use super::fault::Fault;
use tidydose_analyse::REGIONS;
use tidydose_ask::names::{Names, Vocabulary};
use tidydose_case::{is_standard_name, standard_names};
use tidydose_metrics::{self as metrics, List};
use tidydose_table::frame::texts;
use tidydose_table::read_study::StudyTables;

/// The names of a study.
///
/// # Errors
/// When a table cannot be read.
pub(super) fn vocabulary(files: &StudyTables) -> Result<Vocabulary, Fault> {
    let structures = column(files, "structures", "structure", |_| true)?;
    let regions = REGIONS.iter().map(|r| (*r).to_owned());
    let structures = Names {
        here: structures.map(|names| names.into_iter().chain(regions.clone()).collect()),
        elsewhere: standard_names().into_iter().map(|(name, _)| name).chain(regions).collect(),
        is_possible: is_standard_name,
    };
    let metrics = Names {
        here: column(files, "dictionary", "value", |[table, column]| {
            table == Some("metrics") && column == Some("metric")
        })?,
        elsewhere: List::Full.metrics().iter().map(ToString::to_string).collect(),
        is_possible: |name| metrics::parse(name).is_ok(),
    };
    Ok(Vocabulary { structures, metrics })
}

/// The distinct texts of a column; absent where the study has no such table. `wanted` sees what
/// stands under `table` and `column`, where the table has these.
fn column(
    files: &StudyTables,
    table: &str,
    name: &str,
    wanted: impl Fn([Option<&str>; 2]) -> bool,
) -> Result<Option<BTreeSet<String>>, Fault> {
    let Some(frame) = files.read(table).transpose()? else { return Ok(None) };
    let (tables, columns) = (texts(&frame, "table"), texts(&frame, "column"));
    let rows = texts(&frame, name).into_iter().zip(tables.into_iter().zip(columns));
    let own = rows.filter(|(_, (table, column))| wanted([*table, *column]));
    Ok(Some(own.filter_map(|(text, _)| text.map(str::to_owned)).collect()))
}
