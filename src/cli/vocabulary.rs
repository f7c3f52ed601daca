//! The names that may stand in a question to a study: those in its tables, and those that any study
//! could have.

use std::collections::BTreeSet;

use super::fault::Fault;
use tidydose_analyse::REGIONS;
use tidydose_ask::names::{Names, Vocabulary};
use tidydose_case::{is_standard_name, standard_names};
use tidydose_metrics::{self as metrics, List};
use tidydose_table::read::{DictionaryRow, StructureRow, rows};
use tidydose_table::read_study::StudyTables;

/// The names of a study.
///
/// # Errors
/// When a table cannot be read.
pub(super) fn vocabulary(files: &StudyTables) -> Result<Vocabulary, Fault> {
    let tables = files.read_all(&["structures", "dictionary"])?;
    let mut structures = None;
    if tables.contains_key("structures") {
        let rows: Vec<StructureRow<'_>> = rows(&tables)?;
        let names = rows.iter().map(|s| s.structure).filter(|name| !name.is_empty());
        structures = Some(names.map(str::to_owned).collect::<BTreeSet<String>>());
    }
    let mut metrics_here = None;
    if tables.contains_key("dictionary") {
        let rows: Vec<DictionaryRow<'_>> = rows(&tables)?;
        let own = rows.iter().filter(|d| d.table == "metrics" && d.column == "metric");
        metrics_here = Some(own.filter_map(|d| d.value).map(str::to_owned).collect());
    }
    let regions = REGIONS.iter().map(|r| (*r).to_owned());
    let structures = Names {
        here: structures.map(|names| names.into_iter().chain(regions.clone()).collect()),
        elsewhere: standard_names().into_iter().map(|(name, _)| name).chain(regions).collect(),
        is_possible: is_standard_name,
    };
    let metrics = Names {
        here: metrics_here,
        elsewhere: List::Full.metrics().iter().map(ToString::to_string).collect(),
        is_possible: |name| metrics::parse(name).is_ok(),
    };
    Ok(Vocabulary { structures, metrics })
}
