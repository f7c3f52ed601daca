//! The registrar's folder: its starter scripts in Python and R make Table 1 again from the tables of
//! the study, and its comparisons and bands are those of scipy and numpy.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::fs;
use std::path::Path;
use std::process::Command as Process;

use super::reference::python;
use crate::measured::{measured, rows_of};
use crate::paper::{made, text};

fn ran(process: &mut Process) -> String {
    let output = process.output().unwrap_or_else(|e| panic!("{process:?}: {e}"));
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    said
}

#[test]
fn the_scripts_make_table_one_again() {
    let tables = measured().study().join("tables");
    for group in ["technology", "fractions_planned"] {
        let place = made(group);
        let kept = place.path().join("table_one.csv");
        let rows = rows_of(&text(&place, "table_one.csv")).len();
        let said = format!("{rows} rows of Table 1 made again and equal");
        let script = |name: &str| place.path().join(name);
        let by_python = ran(python().arg(script("table_one.py")).arg(&tables).arg(&kept));
        assert!(by_python.contains(&said), "{by_python}");
        let by_r = ran(Process::new("Rscript").arg(script("table_one.R")).arg(&tables).arg(&kept));
        assert!(by_r.contains(&said), "{by_r}");
        // A changed number is seen by both.
        let changed = text(&place, "table_one.csv").replacen(
            "plan,n_targets,,all,",
            "plan,n_targets,,all,9",
            1,
        );
        fs::write(&kept, changed).unwrap();
        let mut refused = python();
        refused.arg(script("table_one.py")).arg(&tables).arg(&kept);
        assert!(!refused.output().unwrap().status.success());
        let mut refused = Process::new("Rscript");
        refused.arg(script("table_one.R")).arg(&tables).arg(&kept);
        assert!(!refused.output().unwrap().status.success());
    }
}

/// Held against scipy and numpy: rank sums, Hodges and Lehmann, Kruskal and Wallis, Spearman, exact
/// intervals, Fisher, and the percentiles of dose-volume curves.
#[test]
fn comparisons_and_bands_are_those_of_scipy_and_numpy() {
    let place = made("technology");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside/paper.py");
    let tables = measured().study().join("tables");
    let said = ran(python().arg(&script).arg(place.path()).arg(&tables));
    let compared: usize = said.split(' ').next().unwrap().parse().unwrap();
    assert!(compared > 1000 && said.contains("compared and equal"), "{said}");
    // A changed number is seen.
    let kept = place.path().join("comparisons.csv");
    let text = text(&place, "comparisons.csv");
    let mut rows = csv::Reader::from_reader(text.as_bytes());
    let at = rows.headers().unwrap().iter().position(|h| h == "estimate").unwrap();
    let estimate = rows.records().map(Result::unwrap).find(|r| r[4].starts_with("Kruskal"));
    fs::write(&kept, text.replace(&estimate.unwrap()[at], "3.25")).unwrap();
    let mut refused = python();
    refused.arg(&script).arg(place.path()).arg(&tables);
    assert!(!refused.output().unwrap().status.success());
}

/// The document of a word processor, read by another library than the one that writes it: the same cells as
/// the table for the screen.
#[test]
fn table_one_opens_in_a_word_processor() {
    let place = made("technology");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside/printed.py");
    let said = ran(python().arg(&script).arg(place.path()));
    assert!(said.contains("3 documents read"), "{said}");
}
