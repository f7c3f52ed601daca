//! Studies of several centres, each measured with its own key, put together as one study: the rows of
//! every table one centre after the other, with the centre as first column. What people wrote stays
//! behind unless it is asked for. Nothing is measured or computed anew; reads and writes tables only.

mod agree;
pub(super) mod centres;
mod label;
mod member;
mod rows;
pub mod sharing;
mod texts;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};
use sha2::{Digest, Sha256};

pub use label::accepted as accepted_label;
pub use member::Member;

use super::all_tables::of_study;
use super::analysis::ChosenColumns;
use super::column::{Column, Definition, borrowed};
use super::database;
use super::dictionary::definitions;
use super::run;
use super::table::{Table, Written};
use super::user::columns_file::{self, ColumnsFile};
use super::user::decided;
use super::user::outcomes;
use super::user::user_file::ReadError;
use super::write_file::{WriteError, replace_file};
use super::write_tables::{GivenTable, write_given};
use rows::given_sheet;
use tidydose_rt::digest::hexadecimal;

/// Name of the table of centres, which only studies have that were put together.
pub(super) const CENTRES: Table = centres::TABLE;

/// The column that names the centre of a row.
pub const CENTRE: &str = "centre";

/// Events as a department's sheet told them, in the study folder.
pub const OUTCOMES: &str = "outcomes_read.csv";

/// Studies cannot be put together.
#[derive(Debug, thiserror::Error)]
pub enum PoolError {
    /// A file of a study cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// A file cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// They do not go together, or one of them must not leave.
    #[error("{0}")]
    Refused(String),
}

/// What is asked.
#[derive(Debug, Clone, Copy)]
pub struct Request<'r> {
    /// Folder of the study to come.
    pub folder: &'r Path,
    /// Whether texts that people or machines wrote go along.
    pub keep_texts: bool,
}

/// What came of it.
#[derive(Debug)]
pub struct Pooled {
    /// The tables that were written.
    pub tables: Vec<Written>,
    /// The columns of table `analysis`, and that rows say their centre.
    pub columns: ChosenColumns,
    /// Labels of the centres in their order.
    pub centres: Vec<String>,
}

/// Whether the rows of a table say their centre: all but the flow, which is added up, and the
/// dictionary, which is the same for all.
pub(super) fn says_centre(table: &str) -> bool {
    !["flow", "dictionary"].contains(&table)
}

/// The column as it is defined.
pub(super) fn centre_column() -> Definition {
    let column: Column<String> =
        Column::text(CENTRE, "centre; the label under which its study was put in", borrowed);
    column.definition().clone()
}

/// Puts studies together. Nothing is written where they do not go together.
///
/// # Errors
/// When they differ in what a value follows from, hold the same patient or object, or a file cannot
/// be read or written.
pub fn pool(members: &[Member], asked: Request<'_>) -> Result<Pooled, PoolError> {
    agree::check(members, asked.keep_texts)?;
    let Some(first) = members.first() else {
        return Err(PoolError::Refused("no study is named; at least one is needed".to_owned()));
    };
    let chosen = first.columns().clone();
    let chosen = if asked.keep_texts { chosen } else { chosen.without_labels() };
    let columns = chosen.by_centre();
    let mut given = Vec::new();
    for table in of_study(true) {
        given.push(GivenTable { table, columns: definitions(table, &columns) });
    }
    let tables = asked.folder.join("tables");
    std::fs::create_dir_all(&tables)
        .map_err(|source| WriteError { path: tables.clone(), source })?;
    let base = asked.folder.join(database::FILE);
    let written = write_given::<PoolError>(&given, (&tables, &base), &mut |given, take| {
        match given.table.name {
            "flow" => take(&rows::flow(members, &given.columns)?)?,
            "dictionary" => take(&rows::dictionary(first, &columns)?)?,
            name if name == CENTRES.name => take(&centres::sheet(members)?)?,
            _ => {
                for (place, member) in members.iter().enumerate() {
                    let earlier = members.get(..place).unwrap_or_default();
                    take(&given_sheet((member, earlier), given, asked.keep_texts)?)?;
                }
            }
        }
        Ok(())
    })?;
    ColumnsFile::write_chosen(&columns, &asked.folder.join(columns_file::FILE))?;
    write_outcomes(members, asked.folder)?;
    write_run(members, (asked.folder, &written))?;
    Ok(Pooled { tables: written, columns, centres: member::labels(members)? })
}

/// The events of all centres in the tidy form, where any centre has them.
fn write_outcomes(members: &[Member], folder: &Path) -> Result<(), PoolError> {
    let mut all = Vec::new();
    for member in members {
        all.extend(member.outcomes()?);
    }
    if !all.is_empty() {
        let bytes = outcomes::csv(&all);
        replace_file(&folder.join(OUTCOMES), |to| to.write_all(&bytes))?;
    }
    Ok(())
}

/// `run.json` of the first study with what is of all: counts, digests, tables and the centres.
fn write_run(members: &[Member], (folder, written): (&Path, &[Written])) -> Result<(), PoolError> {
    let mut document = members.first().map(|m| m.document().clone()).unwrap_or_default();
    let (mut counts, mut centres) = (json!({}), Vec::new());
    let mut inputs: Vec<String> = Vec::new();
    for member in members {
        add_counts(&mut counts, &member.document()["counts"]);
        let own = member.runs();
        inputs.extend(own.iter().map(|run| run["inputs_sha256"].to_string()));
        centres.extend(own);
    }
    inputs.sort();
    let complete = members.iter().all(|m| m.document()["complete"] == json!(true));
    let decisions: BTreeMap<String, String> = decided::digests(folder)?;
    let mut remarks = run::remarks(written);
    remarks.push(NOT_SEEN.to_owned());
    let method = document["method"].as_str().unwrap_or_default();
    let method = method.split(POOLED).next().unwrap_or_default().trim_end();
    let method = format!("{method} {POOLED} {} centres.", centres.len());
    document["complete"] = json!(complete);
    document["inputs_sha256"] = json!(hexadecimal(&Sha256::digest(inputs.join("\n"))));
    document["decisions_sha256"] = json!(decisions);
    document["counts"] = counts;
    document["tables"] = json!(written);
    document["remarks"] = json!(remarks);
    document["method"] = json!(method);
    document["centres"] = json!(centres);
    let path: PathBuf = folder.join(run::FILE);
    replace_file(&path, |to| {
        serde_json::to_writer_pretty(&mut *to, &document).map_err(std::io::Error::other)?;
        to.write_all(b"\n")
    })?;
    Ok(())
}

/// How the sentence begins that the methods of a pool end with.
const POOLED: &str = "Tables measured apart, with the same settings and version of the numbers, were put together from";

/// What nobody can see in a pool, said wherever it matters.
pub const NOT_SEEN: &str = "a patient who was treated at two centres counts twice and cannot be seen: \
                            pseudonyms of different keys have nothing in common; only files that are the \
                            same byte for byte, and patients of studies with the same key, are found and \
                            refused";

/// Adds numbers member by member.
fn add_counts(sum: &mut Value, more: &Value) {
    let Value::Object(more) = more else { return };
    for (name, value) in more {
        match value.as_u64() {
            Some(n) => sum[name] = json!(sum[name].as_u64().unwrap_or(0) + n),
            None => {
                if sum[name].is_null() {
                    sum[name] = json!({});
                }
                add_counts(&mut sum[name], value);
            }
        }
    }
}

#[cfg(test)]
mod tests;
