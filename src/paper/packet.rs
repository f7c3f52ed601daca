//! What may be shared: the tables of the study without texts that people wrote, with the covariates of the
//! department's sheet, a dictionary of their columns, and checksums. Texts stay only where the dictionary lists all words that may stand there, or
//! where the column holds pseudonyms or names of metrics; everything else is left out and counted.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use sha2::{Digest, Sha256};

use super::shared_covariates::{FEW, SharedCovariates};
use super::{Files, SHARED as FOLDER, sheet};
use tidydose_rt::digest::hexadecimal;
use tidydose_table::Cell;
use tidydose_table::clinical_words::is_standard_structure;
use tidydose_table::frame::{Cells, LoadedTable, texts};
use tidydose_table::read::Tables;
use tidydose_table::run::CAUTION;
use tidydose_table::user::outcome_sheet::covariates::Covariate;

/// Tables that are shared.
const TABLES: [&str; 5] = ["plans", "lesions", "structures", "metrics", "limit_checks"];
/// Texts that no person wrote though their words are not listed: pseudonyms, and words of the program.
const SAFE: [&str; 13] = [
    "patient_id",
    "plan_id",
    "structure_id",
    "lesion_id",
    "structure_set_id",
    "dose_id",
    "name_standard",
    "metric",
    "unit",
    "operator",
    "limit_source",
    "exclusion_code",
    "program_version",
];
/// The column of names: standard ones stay, others are words of people and give way to the role.
const STRUCTURE: &str = "structure";

/// The packet, and what must be known of it; empty without the dictionary of the study. Covariates are
/// columns of the tables already.
pub(super) fn files(tables: &Tables, covariates: &[Covariate]) -> (Files, Vec<String>) {
    let mut files = Files::new();
    let Some(dictionary) = tables.get("dictionary") else { return (files, Vec::new()) };
    let of_sheet = SharedCovariates::of(tables, covariates);
    let words = listed(dictionary, "allowed_values");
    let known = listed(dictionary, "meaning");
    let mut shared: BTreeSet<(String, String)> = BTreeSet::new();
    let mut left: Vec<String> = Vec::new();
    for name in TABLES {
        let Some(table) = tables.get(name) else { continue };
        let of = |column: &str| (name.to_owned(), column.to_owned());
        let stays = |column: &&str| match table.cells(column) {
            _ if of_sheet.kept.contains(&of(column)) => true,
            Some(Cells::Text(_)) => {
                words.contains(&of(column)) || *column == STRUCTURE || SAFE.contains(column)
            }
            // What the sheet of the department told stands beside the columns of the study.
            _ => known.contains(&of(column)),
        };
        let (kept, dropped): (Vec<&str>, Vec<&str>) = table.names().partition(stays);
        shared.extend(kept.iter().map(|c| (name.to_owned(), (*c).to_owned())));
        left.extend(dropped.iter().map(|c| match of_sheet.left.get(&of(c)) {
            Some(why) => format!("{name}.{c} ({why})"),
            None => format!("{name}.{c}"),
        }));
        files.insert(format!("{FOLDER}/{name}.csv"), rows(table, &kept));
    }
    files.insert(format!("{FOLDER}/data_dictionary.csv"), columns(dictionary, &shared, &of_sheet));
    let few = few(&of_sheet.small);
    files.insert(format!("{FOLDER}/README.md"), readme(&left, few.as_deref()).into_bytes());
    let sums = sums(&files);
    files.insert(format!("{FOLDER}/SHA256SUMS"), sums.into_bytes());
    (files, few.map(|words| format!("{FOLDER}: {words}")).into_iter().collect())
}

/// Levels of covariates that few patients have; nothing where there is none.
fn few(small: &[String]) -> Option<String> {
    (!small.is_empty()).then(|| {
        format!(
            "levels of covariates that fewer than {FEW} patients have may say who somebody is: {}; leave \
             the column out, or put levels together in the sheet, before the data are passed on",
            small.join(", ")
        )
    })
}

/// Columns of which the dictionary says this.
fn listed(dictionary: &LoadedTable, what: &str) -> BTreeSet<(String, String)> {
    let column = |name: &str| texts(dictionary, name).into_iter();
    let rows = column("table").zip(column("column")).zip(column(what));
    let named = |((table, column), words): ((Option<&str>, Option<&str>), Option<&str>)| {
        words.filter(|w| !w.is_empty())?;
        Some((table?.to_owned(), column?.to_owned()))
    };
    rows.filter_map(named).collect()
}

fn rows(table: &LoadedTable, kept: &[&str]) -> Vec<u8> {
    let cell = |column: &str, row: usize| -> Cell<'static> {
        match table.cells(column).map(|c| c.at(row)) {
            Some(Cell::Text(text)) if column == STRUCTURE => {
                Cell::Text(safe_structure(table, row, &text).into())
            }
            Some(Cell::Text(text)) => Cell::Text(text.into_owned().into()),
            Some(Cell::Integer(n)) => Cell::Integer(n),
            Some(Cell::Real(value)) => Cell::Real(value),
            Some(Cell::Boolean(yes)) => Cell::Boolean(yes),
            _ => Cell::Missing,
        }
    };
    let all = (0..table.height()).map(|row| kept.iter().map(|c| cell(c, row)).collect());
    sheet(kept, all.collect())
}

/// A standard name, or a region that the program made; else the role, or that it is another one.
fn safe_structure(table: &LoadedTable, row: usize, name: &str) -> String {
    if is_standard_structure(name) {
        return name.to_owned();
    }
    match table.cells("role").map(|c| c.at(row)) {
        Some(Cell::Text(role)) => role.into_owned(),
        _ => "other".to_owned(),
    }
}

/// The rows of the dictionary for what is shared, then those of covariates.
fn columns(
    dictionary: &LoadedTable,
    shared: &BTreeSet<(String, String)>,
    of_sheet: &SharedCovariates,
) -> Vec<u8> {
    const KEPT: [&str; 7] =
        ["table", "column", "value", "type", "unit", "meaning", "allowed_values"];
    let parts = KEPT.map(|name| texts(dictionary, name));
    let rows = (0..dictionary.height()).filter_map(|row| {
        let text = |part: usize| parts[part].get(row).copied().flatten().unwrap_or_default();
        let known = shared.contains(&(text(0).to_owned(), text(1).to_owned()));
        known.then(|| (0..KEPT.len()).map(|part| super::word(text(part))).collect())
    });
    let told = of_sheet.dictionary.iter().map(|row| row.iter().map(|t| super::word(t)).collect());
    sheet(&KEPT, rows.chain(told).collect())
}

fn readme(left: &[String], few: Option<&str>) -> String {
    let few = few.map_or_else(String::new, |words| format!("\n\nTo be decided: {words}."));
    format!(
        "# Data of the study\n\n{CAUTION}\n\nOne CSV for each table (UTF-8, comma, an empty cell is a \
         missing value). `data_dictionary.csv` has type, unit and meaning of each column; `SHA256SUMS` \
         is checked with `sha256sum -c SHA256SUMS`.\n\nPatients, plans and doses are pseudonyms, days \
         are shifted for each patient; the key stays with the department. Before it is passed on: small \
         groups may say who somebody is, and whether the data may be shared is for the department and \
         its committee to decide; covariates beside each other say more than each alone.{few}\n\nNames that people gave to structures stand as their role. Left out, \
         since people or machines may have written anything there: {}.\n",
        left.join(", ")
    )
}

/// Digest and name of each file, as `sha256sum` writes them.
fn sums(files: &Files) -> String {
    let mut out = String::new();
    for (name, bytes) in files {
        let name = name.rsplit('/').next().unwrap_or(name);
        let _ = writeln!(out, "{}  {name}", hexadecimal(&Sha256::digest(bytes)));
    }
    out
}
