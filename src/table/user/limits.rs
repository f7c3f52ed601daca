//! `limits.csv`: the limits that doses are held against. The list that comes with the program has
//! the form of the user's; a study's own `limits.csv` adds rows to it, or replaces rows of the
//! same organ, metric, fractions, tier and source.

use std::collections::BTreeSet;
use std::path::Path;

use sha2::{Digest, Sha256};

use super::unmatched::{Spot, Unmatched};
use super::user_file::{ReadError, UserFile};
use tidydose_case::{Case, nearest_standard, standard_name};
use tidydose_metrics::limits::{BUILT_IN, COLUMNS, Limit, row};

/// A study's own limits.
pub const FILE: &str = "limits.csv";

/// The list that comes with the program.
///
/// # Errors
/// When it is damaged; a test reads it.
pub fn built_in() -> Result<Vec<Limit>, ReadError> {
    let path = Path::new("queries/limits.csv");
    let file = UserFile::of_text(BUILT_IN.as_bytes(), path, COLUMNS)?;
    limits(&file, path)
}

/// Reads a list; empty where there is none.
///
/// # Errors
/// When it cannot be read; the message names row, column, value and what would be accepted.
pub fn read(path: &Path) -> Result<Vec<Limit>, ReadError> {
    limits(&UserFile::read(path, COLUMNS, COLUMNS)?, path)
}

/// The organs of the program's own list and of a study's: standard names, or names that lists use.
///
/// # Errors
/// As [`built_in`].
pub fn organs(of_study: &[Limit]) -> Result<Vec<String>, ReadError> {
    Ok(built_in()?.iter().chain(of_study).map(|l| l.organ.clone()).collect())
}

/// The rows of a study's own list whose organ is no standard name and no structure of the archive:
/// nothing would ever be held against them.
///
/// # Errors
/// As [`read`].
pub fn unmatched(path: &Path, cases: &[Case]) -> Result<Vec<Unmatched>, ReadError> {
    let file = UserFile::read(path, COLUMNS, COLUMNS)?;
    let used = cases.iter().flat_map(|c| &c.names).filter_map(|n| n.standard.clone());
    let mut used: BTreeSet<String> = used.collect();
    used.extend(built_in()?.into_iter().map(|limit| limit.organ));
    let others: Vec<String> = used.iter().cloned().collect();
    let mut unmatched = Vec::new();
    for row in 0..file.row_count() {
        let organ = file.text(row, "organ");
        let known = used.contains(organ) || standard_name(organ).as_deref() == Some(organ);
        if organ.is_empty() || known {
            continue;
        }
        let line = UserFile::line(row);
        let spot = Spot { file: FILE, line, column: "organ", value: organ };
        let nearest = nearest_standard(organ, &others);
        let reason = "no standard name and no structure of the archive is called so";
        unmatched.push(spot.unmatched(reason, nearest));
    }
    Ok(unmatched)
}

/// `base` with the rows of `more`, which replace those of the same key.
#[must_use]
pub fn with_more(mut base: Vec<Limit>, more: Vec<Limit>) -> Vec<Limit> {
    for limit in more {
        match base.iter_mut().find(|have| have.key() == limit.key()) {
            Some(have) => *have = limit,
            None => base.push(limit),
        }
    }
    base
}

/// SHA-256 over all limits in their order, in hexadecimal.
#[must_use]
pub fn digest(limits: &[Limit]) -> String {
    let mut hash = Sha256::new();
    for l in limits {
        let (organ, metric, [low, high], tier, source) = l.key();
        let words = [organ, &metric, tier.word(), l.operator(), source, &l.evidence];
        let more = [&l.endpoint, &l.risk, &l.note].map(String::as_str);
        let inside = l.target_may_lie_inside;
        hash.update(format!("{words:?} {more:?} {low} {high} {} {inside}\n", l.value));
    }
    crate::digest::hexadecimal(&hash.finalize())
}

fn limits(file: &UserFile, path: &Path) -> Result<Vec<Limit>, ReadError> {
    let one = |index: usize| {
        row::read(|column| file.text(index, column)).map_err(|fault| ReadError {
            path: path.to_path_buf(),
            // As a spreadsheet counts, below the header.
            reason: format!("row {}, {fault}", index + 2),
        })
    };
    let filled = |index: &usize| COLUMNS.iter().any(|c| !file.text(*index, c).is_empty());
    (0..file.row_count()).filter(filled).map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = "organ;metric;operator;limit;unit;fractions;tier;target_inside;source;\
                          evidence;endpoint;risk;note";

    fn read_text(rows: &str) -> Result<Vec<Limit>, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("limits.csv");
        std::fs::write(&path, format!("{HEADER}\n{rows}")).unwrap();
        read(&path).map_err(|e| e.to_string())
    }

    #[test]
    fn the_list_that_comes_with_the_program_is_whole() {
        let list = built_in().unwrap();
        assert!(list.len() > 200, "{}", list.len());
        let rows: BTreeSet<_> = list.iter().map(|l| (l.key(), l.value.to_bits())).collect();
        assert_eq!(rows.len(), list.len(), "a row twice");
        let brain = list.iter().filter(|l| l.organ == "Brain");
        assert!(brain.clone().count() > 5 && brain.clone().all(|l| l.target_may_lie_inside));
        // UK consensus, as the poster gives it.
        assert!(list.iter().any(|l| l.organ == "Brainstem"
            && l.metric.to_string() == "D0.1cc[Gy]"
            && l.is_for(3)
            && l.value == 23.1));
        assert!(list.iter().all(|l| !l.is_for(7)));
    }

    #[test]
    fn a_fault_names_file_row_column_value_and_remedy() {
        let right = "Brainstem;D1cc[Gy];<=;9,5;Gy;1;local;judge;ours;read;;;\n";
        let text =
            read_text(&format!("{right};;;;;;;;;;;;\n{}", right.replace("<=", "="))).unwrap_err();
        assert!(text.contains("limits.csv: row 4, column `operator`: `=`"), "{text}");
        assert!(text.contains("<= or <"), "{text}");
        let text = read_text(&right.replace("D1cc", "D1ccm")).unwrap_err();
        assert!(text.contains("row 2, column `metric`: `D1ccm[Gy]`"), "{text}");
    }

    #[test]
    fn an_organ_that_nothing_is_called_is_said_with_its_nearest() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("limits.csv");
        let row = |organ: &str| format!("{organ};D1cc[Gy];<=;9;Gy;1;local;judge;ours;read;;;\n");
        let rows = [row("Pons"), row("Brainstm"), row("Skin"), row("Vein")].concat();
        std::fs::write(&path, format!("{HEADER}\n{rows}")).unwrap();
        let mut case = crate::testing::case_of(&["x"]);
        case.names[0].standard = Some("Vein".to_owned());
        let said = unmatched(&path, &[case]).unwrap();
        let said: Vec<String> = said.iter().map(Unmatched::sentence).collect();
        assert_eq!(said.len(), 1, "{said:?}");
        assert!(said[0].starts_with("row 3 of limits.csv, column organ: `Brainstm`"), "{said:?}");
        assert!(said[0].contains("the nearest is `Brainstem`"), "{said:?}");
    }

    #[test]
    fn the_users_rows_add_or_replace() {
        let right = "Brainstem;D1cc[Gy];<=;9,5;Gy;1;local;judge;ours;read;;;\n";
        let base = read_text(right).unwrap();
        let more = read_text(&format!(
            "{}{}",
            right.replace("9,5", "8"),
            right.replace("Brainstem", "Pons")
        ))
        .unwrap();
        let list = with_more(base, more);
        let seen: Vec<_> = list.iter().map(|l| (l.organ.as_str(), l.value)).collect();
        assert_eq!(seen, [("Brainstem", 8.0), ("Pons", 9.5)]);
    }
}
