//! What a study is handed on as: the Data Package is judged by the validator of its own standard, and
//! general-purpose readers agree on every table.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::path::Path;
use std::process::Command;

use super::reference::reference;
use crate::measured::measured;
use crate::resume::{DONE, Place};

/// Reads every table by its description: types, closed words, keys.
#[test]
fn the_data_package_is_valid_by_its_own_standard() {
    let study = measured().study();
    let script = "import sys, frictionless\n\
                  report = frictionless.validate('datapackage.json')\n\
                  for row in report.flatten(['type', 'note'])[:20]: print(row)\n\
                  rows = sum(t.stats.get('rows', 0) for t in report.tasks)\n\
                  print(len(report.tasks), rows, report.valid)";
    let ask = |script: &str| {
        let mut python = Command::new(reference().python());
        let output = python.args(["-W", "error::UserWarning", "-c", script]);
        let output = output.current_dir(&study).output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    let said = ask(script);
    let words: Vec<&str> = said.lines().last().unwrap().split(' ').collect();
    assert_eq!((words[0], words[2]), ("16", "True"), "{said}");
    let rows: usize = words[1].parse().unwrap();
    assert!(rows > 10_000, "{said}");
    // The judge is no yes-man: a cell that is no number is found.
    let harmed = format!(
        "import json\np = json.load(open('datapackage.json'))\n\
         p['resources'] = [r for r in p['resources'] if r['name'] == 'plans']\n\
         p['resources'][0]['schema']['fields'][2]['type'] = 'integer'\n\
         {}",
        script.replace("'datapackage.json'", "p")
    );
    assert!(ask(&harmed).trim_end().ends_with("False"));
}

/// pandas, polars, pyarrow and openpyxl, with warnings as errors, read the same from Parquet, CSV, CSV
/// with semicolons and the workbook.
#[test]
fn general_purpose_readers_agree_on_every_table() {
    let place = Place::with(3);
    place.key("study");
    assert_eq!(place.measure("study", &["--spreadsheet-csv", "semicolon"]).0, DONE);
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside/readers.py");
    let read = || {
        let mut python = Command::new(reference().python());
        python.arg(&script).arg(place.path().join("study")).output().unwrap()
    };
    let output = read();
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    let numbers: Vec<usize> = said.split(' ').map_while(|w| w.parse().ok()).collect();
    assert!(numbers[0] == 19 && numbers[1] > 10_000, "{said}");
    // A changed cell is seen.
    let plans = place.path().join("study/tables/plans_wide.csv");
    let text = fs::read_to_string(&plans).unwrap();
    fs::write(&plans, text.replacen(",true,", ",false,", 1)).unwrap();
    assert!(!read().status.success());
    // Without the option nothing out of date is left.
    assert_eq!(place.measure("study", &[]).0, DONE);
    assert!(!place.path().join("study/spreadsheet").exists());
    assert!(read().status.code() == Some(1));
}
