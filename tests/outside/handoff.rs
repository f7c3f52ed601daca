//! What a study is handed on as: the Data Package and run.json are judged by validators of their own
//! standards, and general-purpose readers agree on every table.

#![allow(clippy::unwrap_used, clippy::cast_precision_loss)] // helpers of tests fail as tests do

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
    assert_eq!((words[0], words[2]), ("23", "True"), "{said}");
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
    assert!(numbers[0] == 26 && numbers[1] > 10_000, "{said}");
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

/// By the reference validator of JSON Schema, which frictionless brings along.
#[test]
fn run_json_is_valid_by_its_schema() {
    let study = measured().study();
    let script = "import json, sys, jsonschema\n\
                  schema = json.load(open('run.schema.json'))\n\
                  jsonschema.Draft202012Validator.check_schema(schema)\n\
                  run = json.load(open('run.json'))\n\
                  if len(sys.argv) > 1: run[sys.argv[1]] = 1\n\
                  jsonschema.Draft202012Validator(schema).validate(run)";
    let ask = |more: &[&str]| {
        let mut python = Command::new(reference().python());
        python.args(["-c", script]).args(more).current_dir(&study).output().unwrap()
    };
    let output = ask(&[]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(!ask(&["complete"]).status.success() && !ask(&["unheard_of"]).status.success());
}

/// The R script that comes with the study, and the shell of SQLite, say what the tables say.
#[test]
fn r_and_the_shell_of_sqlite_read_what_the_tables_say() {
    let study = measured().study();
    let script = "source('read_tables.R')\n\
                  x <- read_table('analysis')\n\
                  v <- read_table('metrics')\n\
                  stopifnot(is.factor(x$technology), is.numeric(x$volume_cc), is.logical(x$in_study))\n\
                  stopifnot(attr(x$volume_cc, 'unit') == 'cc', attr(x$volume_cc, 'label') == 'Volume')\n\
                  cat(nrow(x), nrow(v), sum(!is.na(v$value)), format(sum(v$value, na.rm = TRUE), digits = 9))";
    let r = Command::new("Rscript").args(["-e", script]).current_dir(&study).output().unwrap();
    assert!(r.status.success(), "{}", String::from_utf8_lossy(&r.stderr));
    let sql =
        "SELECT (SELECT COUNT(*) FROM analysis), COUNT(*), COUNT(value), SUM(value) FROM metrics";
    let mut shell = Command::new("sqlite3");
    let shell = shell.args(["-readonly", "-separator", " ", "study.sqlite", sql]);
    let shell = shell.current_dir(&study).output().unwrap();
    assert!(shell.status.success(), "{}", String::from_utf8_lossy(&shell.stderr));
    let numbers = |bytes: &[u8]| -> Vec<f64> {
        let text = String::from_utf8_lossy(bytes).into_owned();
        text.split_whitespace().map(|word| word.parse().unwrap()).collect()
    };
    let (by_r, by_shell) = (numbers(&r.stdout), numbers(&shell.stdout));
    let rows = measured().rows("metrics");
    let values: Vec<f64> = rows.iter().filter_map(|r| r["value"].parse().ok()).collect();
    let counts = [measured().rows("analysis").len(), rows.len(), values.len()];
    for read in [by_r, by_shell] {
        for (said, count) in read.iter().zip(counts) {
            assert!((said - count as f64).abs() < 0.5, "{read:?} {counts:?}");
        }
        let sum: f64 = values.iter().sum();
        assert!((read[3] - sum).abs() < 1e-7 * sum.abs(), "{read:?} {sum}");
    }
}
