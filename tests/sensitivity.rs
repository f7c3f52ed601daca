//! Shifts and margins, as a person asks for them: the table, what `explain` says, and that nothing of
//! it is there where nobody asked.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::path::Path;

use assert_cmd::Command;

use crate::measured::{Row, cohort, rows_of};

fn run(place: &Path, arguments: &[&str]) -> String {
    let output = Command::cargo_bin("tidydose")
        .unwrap()
        .current_dir(place)
        .args(arguments)
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap_or_else(|_| panic!("{column} is `{}` in {row:?}", row[column]))
}

/// The target of this case lies in the middle of a dose that falls off all around: any shift takes
/// coverage away, a smaller target is covered better and a larger one worse.
#[test]
fn shifts_and_margins_have_a_table_and_a_place_in_the_account() {
    let place = tempfile::tempdir().unwrap();
    let archive = cohort().join("gantry/LK-07");
    let archive = archive.to_string_lossy();
    let asked = ["--shift", "0.5,1", "--margin=-0.5,0.5", "--metric-list", "basic"];
    run(place.path(), &[&["measure", &archive, "--quiet"][..], &asked].concat());
    let table = |name: &str| {
        let path = place.path().join(format!("study/tables/{name}.csv"));
        rows_of(&fs::read_to_string(path).unwrap())
    };
    let rows = table("sensitivity");
    let of = |kind: &str, mm: &str| -> &Row {
        let own = |r: &&Row| {
            r["structure"] == "PONS MET"
                && r["metric"] == "D95%[Gy]"
                && r["kind"] == kind
                && r["by_mm"] == mm
        };
        rows.iter().find(own).unwrap_or_else(|| panic!("no {kind} of {mm}"))
    };
    let metrics = table("metrics");
    let own = |r: &&Row| r["structure"] == "PONS MET" && r["metric"] == "D95%[Gy]";
    let value = number(metrics.iter().find(own).unwrap(), "value");
    let worst = ["0.5", "1"].map(|mm| number(of("shift", mm), "worst"));
    assert!(value > worst[0] && worst[0] > worst[1], "{value} {worst:?}");
    let [smaller, larger] = ["-0.5", "0.5"].map(|mm| number(of("margin", mm), "average"));
    assert!(smaller > value && value > larger, "{smaller} {value} {larger}");
    let case = metrics[0]["plan_id"].clone();
    let said = run(place.path(), &["explain", &case, "PONS MET", "D95%[Gy]"]);
    assert!(said.contains("With the structure elsewhere, larger or smaller"), "{said}");
    assert!(said.contains("Not in the bounds above"), "{said}");
    let sheet = committees_page(place.path());
    let heading = format!("aria-label=\"Shifts and margins of case {case}\"");
    assert!(sheet.contains(&heading), "{sheet}");
    let stem = |r: &&Row| r["structure"] == "Brainstem" && r["metric"] == "D0.03cc[Gy]";
    assert_eq!(rows.iter().filter(stem).count(), 4, "two shifts, two margins");

    run(place.path(), &["measure", &archive, "--quiet", "--metric-list", "basic"]);
    assert!(table("sensitivity").is_empty(), "nobody asked");
    let said = run(place.path(), &["explain", &case, "PONS MET", "D95%[Gy]"]);
    assert!(!said.contains("With the structure elsewhere"), "{said}");
    assert!(!committees_page(place.path()).contains("Shifts and margins"));
}

fn committees_page(place: &Path) -> String {
    run(place, &["review", "--quiet"]);
    fs::read_to_string(place.join("study/review.html")).unwrap()
}
