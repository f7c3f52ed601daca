//! What a study is handed on as: the Data Package is judged by the validator of its own standard,
//! the numbers of the flow add up and agree with the tables, and `diff` finds what was changed.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;
use std::process::Command;

use crate::measured::{Row, measured, rows_of};
use crate::reference::reference;
use crate::resume::{DONE, Place, program};

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
    assert_eq!((words[0], words[2]), ("12", "True"), "{said}");
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

/// Sums of the flow by grain and state, and the numbers that the tables show.
#[test]
fn the_flow_adds_up_and_agrees_with_the_tables() {
    let run = measured();
    let flow = run.rows("flow");
    let sum = |grain: &str, state: &str| -> usize {
        let own = |r: &&Row| r["grain"] == grain && r["state"] == state;
        flow.iter().filter(own).map(|r| r["n"].parse::<usize>().unwrap()).sum()
    };
    for grain in ["patient", "plan", "lesion", "structure", "value"] {
        assert_eq!(
            sum(grain, "found"),
            sum(grain, "left_out") + sum(grain, "counted"),
            "{grain}: {flow:?}"
        );
    }
    let tables = [("plan", "plans"), ("lesion", "lesions"), ("structure", "structures")];
    for (grain, table) in tables.into_iter().chain([("value", "metrics")]) {
        assert_eq!(sum(grain, "found"), run.rows(table).len(), "{grain}");
    }
    let plans = run.rows("plans");
    let measured = plans.iter().filter(|r| r["measured"] == "true").count();
    assert_eq!(sum("plan", "counted"), measured);
    let left_out = |r: &&Row| r["state"] == "left_out" && r["grain"] == "plan";
    let reasons: BTreeMap<_, _> =
        flow.iter().filter(left_out).map(|r| (r["code"].clone(), r["n"].clone())).collect();
    let mut expected: BTreeMap<String, usize> = BTreeMap::new();
    for row in plans.iter().filter(|r| !r["exclusion_code"].is_empty()) {
        *expected.entry(row["exclusion_code"].clone()).or_insert(0) += 1;
    }
    let expected = expected.into_iter().map(|(code, n)| (code, n.to_string())).collect();
    assert_eq!(reasons, expected);
    assert_eq!(sum("patient", "found"), run.patients().len());
}

#[test]
fn diff_tells_what_changed_and_why() {
    let place = Place::with(2);
    for study in ["a", "b"] {
        place.key(study);
        let more: &[&str] = if study == "b" { &["--interpolation", "trilinear"] } else { &[] };
        assert_eq!(place.measure(study, more).0, DONE);
    }
    let diff = |a: &str, b: &str| {
        let arguments = ["diff", a, b, "--output", "changes.csv"];
        let run = Command::new(program()).current_dir(place.path()).args(arguments).output();
        let output = run.unwrap();
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    assert!(diff("a", "a").ends_with("no difference\n"));
    let text = diff("a", "b");
    assert!(text.lines().any(|l| l.starts_with("plans         in both") && l.ends_with(" 2")));
    let rows = rows_of(&fs::read_to_string(place.path().join("changes.csv")).unwrap());
    let values: Vec<&Row> = rows.iter().filter(|r| r["column"] == "value").collect();
    assert!(!values.is_empty(), "{text}");
    for row in &rows {
        assert_eq!(row["why"], "setting", "{row:?}");
    }
    for row in values {
        let number = |name: &str| row[name].parse::<f64>().unwrap();
        let off = number("after") - number("before") - number("difference");
        assert!(off.abs() <= f64::EPSILON * number("after").abs(), "{row:?}");
    }
}
