//! `limits.csv`: the limits that doses are held against. The list that comes with the program has
//! the form of the user's; a study's own `limits.csv` adds rows to it, or replaces rows of the
//! same organ, metric, fractions, tier and source.

use std::collections::BTreeSet;
use std::path::Path;

use sha2::{Digest, Sha256};

use super::unmatched::{Spot, Unmatched};
use super::user_file::{ReadError, UserFile};
use tidydose_case::{Case, nearest_standard, standard_name};
use tidydose_metrics::limits::row::{self, REQUIRED};
use tidydose_metrics::limits::{BUILT_IN, COLUMNS, Checked, Limit, ListedLimit};

mod template;

pub use template::{write_list, write_template};

/// A study's own limits.
pub const FILE: &str = "limits.csv";

/// What the column of the organ may be called.
const ORGAN: [&str; 2] = ["organ", "name"];

/// The list that comes with the program, with the rows that are off.
///
/// # Errors
/// When it is damaged; a test reads it.
pub fn built_in() -> Result<Vec<ListedLimit>, ReadError> {
    let path = Path::new("queries/limits.csv");
    let file = UserFile::of_text(BUILT_IN.as_bytes(), path, COLUMNS)?;
    limits(&file, path)
}

/// Reads a list; empty where there is none.
///
/// # Errors
/// When it cannot be read; the message names row, column, value and what would be accepted.
pub fn read(path: &Path) -> Result<Vec<ListedLimit>, ReadError> {
    limits(&own_file(path)?, path)
}

/// The file of a list; empty where there is none.
fn own_file(path: &Path) -> Result<UserFile, ReadError> {
    let file = UserFile::read(path, REQUIRED, &[])?;
    let columns = file.columns();
    if columns.is_empty() || columns.iter().any(|c| ORGAN.contains(&c.as_str())) {
        return Ok(file);
    }
    let reason = format!(
        "column `organ`, or `name`, is missing; found {}, expected organ, {}",
        columns.join(", "),
        REQUIRED.join(", ")
    );
    Err(ReadError { path: path.to_path_buf(), reason })
}

/// The organs of the program's own list and of a study's: standard names, or names that lists use.
///
/// # Errors
/// As [`built_in`].
pub fn organs(of_study: &[ListedLimit]) -> Result<Vec<String>, ReadError> {
    Ok(built_in()?.iter().chain(of_study).map(|listed| listed.limit.organ.clone()).collect())
}

/// The rows of a study's own list whose organ is no standard name and no structure of the archive:
/// nothing would ever be held against them.
///
/// # Errors
/// As [`read`].
pub fn unmatched(path: &Path, cases: &[Case]) -> Result<Vec<Unmatched>, ReadError> {
    let file = own_file(path)?;
    let used = cases.iter().flat_map(|c| &c.names).filter_map(|n| n.standard.clone());
    let mut used: BTreeSet<String> = used.collect();
    used.extend(organs(&[])?);
    let others: Vec<String> = used.iter().cloned().collect();
    let mut unmatched = Vec::new();
    for row in 0..file.row_count() {
        let (column, organ) = organ(&file, row);
        let known = used.contains(organ) || standard_name(organ).as_deref() == Some(organ);
        if organ.is_empty() || known {
            continue;
        }
        let line = UserFile::line(row);
        let spot = Spot { file: FILE, line, column, value: organ };
        let nearest = nearest_standard(organ, &others);
        let reason = "no standard name and no structure of the archive is called so";
        unmatched.push(spot.unmatched(reason, nearest));
    }
    Ok(unmatched)
}

/// The organ of a row, with the column that it stands in.
fn organ(file: &UserFile, row: usize) -> (&'static str, &str) {
    let there = |column: &&str| file.columns().iter().any(|c| c == column);
    let column = ORGAN.into_iter().find(there).unwrap_or(ORGAN[0]);
    (column, file.text(row, column))
}

/// A list of which also those rows are in use that nobody has checked against their source.
#[must_use]
pub fn with_unchecked(mut list: Vec<ListedLimit>) -> Vec<ListedLimit> {
    for listed in list.iter_mut().filter(|l| l.limit.checked == Checked::NotChecked) {
        listed.in_use = true;
    }
    list
}

/// The limits in use of `base` and `more`; rows of `more` replace all those of the same key, so that
/// one that is not in use takes them out.
#[must_use]
pub fn in_use(mut base: Vec<ListedLimit>, more: Vec<ListedLimit>) -> Vec<Limit> {
    base.retain(|have| more.iter().all(|own| own.limit.key() != have.limit.key()));
    base.into_iter().chain(more).filter(|l| l.in_use).map(|l| l.limit).collect()
}

/// SHA-256 over all limits in their order, in hexadecimal.
#[must_use]
pub fn digest(limits: &[Limit]) -> String {
    let mut hash = Sha256::new();
    for l in limits {
        let (organ, metric, [low, high], tier, source) = l.key();
        let words = [organ, &metric, tier.word(), l.operator(), source, &l.evidence];
        let more = [l.checked.word(), &l.endpoint, &l.risk, &l.note];
        let inside = l.target_may_lie_inside;
        hash.update(format!("{words:?} {more:?} {low} {high} {} {inside}\n", l.value));
    }
    tidydose_rt::digest::hexadecimal(&hash.finalize())
}

fn limits(file: &UserFile, path: &Path) -> Result<Vec<ListedLimit>, ReadError> {
    let one = |index: usize| {
        let (column_of_organ, organ) = organ(file, index);
        let cell = |column| if column == ORGAN[0] { organ } else { file.text(index, column) };
        row::read(cell).map_err(|mut fault| {
            if fault.column == ORGAN[0] {
                fault.column = column_of_organ;
            }
            let line = UserFile::line(index);
            ReadError { path: path.to_path_buf(), reason: format!("row {line}, {fault}") }
        })
    };
    let columns = || COLUMNS.iter().chain(&ORGAN);
    let filled = |index: &usize| columns().any(|c| !file.text(*index, c).is_empty());
    (0..file.row_count()).filter(filled).map(one).collect()
}

#[cfg(test)]
mod tests;
