//! `paper` as a person runs it, and its starter scripts in Python and R, which make Table 1 again from
//! the tables of the study and compare every number.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::path::Path;
use std::process::Command as Process;

use assert_cmd::Command;
use tempfile::TempDir;

use crate::measured::{measured, rows_of};
use crate::reference::python;

/// The folder for one grouping, beside the measured study.
fn made(group: &str) -> TempDir {
    let place = tempfile::tempdir().unwrap();
    let study = measured().study();
    let output = Command::cargo_bin("tidydose")
        .unwrap()
        .args(["paper", "--group", group, "--study", &study.to_string_lossy(), "--output"])
        .arg(place.path())
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(output.stdout.is_empty());
    place
}

fn text(place: &TempDir, name: &str) -> String {
    fs::read_to_string(place.path().join(name)).unwrap()
}

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

#[test]
fn numbers_of_the_flow_are_those_of_the_tables() {
    let place = made("technology");
    let flow = rows_of(&text(&place, "flow.csv"));
    let plans = measured().rows("plans");
    assert_eq!(flow[0]["plans"], plans.len().to_string());
    let left: usize = flow.iter().map(|r| r["left"].parse::<usize>().unwrap()).sum();
    let last: usize = flow.last().unwrap()["plans"].parse().unwrap();
    assert_eq!(last + left, plans.len());
    let doses = rows_of(&text(&place, "doses.csv"));
    let stem = doses.iter().filter(|r| r["structure"] == "Brainstem" && r["metric"] == "Mean[Gy]");
    let counted: usize = stem
        .map(|r| r["n"].parse::<usize>().unwrap() + r["without_value"].parse::<usize>().unwrap())
        .sum();
    let rows = measured().rows("metrics");
    let there = rows.iter().filter(|r| r["structure"] == "Brainstem" && r["metric"] == "Mean[Gy]");
    let measured_plans: Vec<&String> =
        plans.iter().filter(|p| p["measured"] == "true").map(|p| &p["plan_id"]).collect();
    assert_eq!(counted, there.filter(|r| measured_plans.contains(&&r["plan_id"])).count());
}

#[test]
fn every_text_has_the_caution_and_a_wrong_grouping_is_named() {
    let place = made("technology");
    for name in
        ["table_one.md", "methods.txt", "reporting.md", "flow.svg", "table_one.py", "table_one.R"]
    {
        let words = text(&place, name).split(['<', '>']).collect::<Vec<_>>().join(" ");
        assert!(words.contains("Research and quality review only"), "{name}");
    }
    let output = Command::cargo_bin("tidydose")
        .unwrap()
        .args([
            "paper",
            "--group",
            "colour",
            "--study",
            &measured().study().to_string_lossy(),
            "--output",
        ])
        .arg(Path::new(place.path()).join("other"))
        .output()
        .unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert!(
        output.status.code() == Some(2) && err.contains("grouping colour is no column"),
        "{err}"
    );
    assert!(!place.path().join("other").exists());
}
