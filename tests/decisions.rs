//! One round of decisions over the invented cohort, as a person plays it: survey, fill in what is
//! open, measure. Afterwards nothing is open, nothing that was decided has changed, and the
//! decisions hold when files are renamed and cases are added.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;

use crate::measured::{Row, cohort, rows_of};

/// What a person who knows the cohort says about the names that the program leaves open.
const ANSWERS: &[(&str, &str, &str)] = &[
    ("Cerebro", "Brain", ""),
    ("skin", "External", ""),
    ("Meningioma", "", "gtv"),
    ("AKN links", "", "gtv"),
];

fn run(place: &Path, command: &str, archive: &Path) -> String {
    let output = Command::cargo_bin("tidydose")
        .unwrap()
        .current_dir(place)
        .args([command, &archive.to_string_lossy(), "--quiet"])
        .output()
        .unwrap();
    assert!(output.status.code().is_some_and(|code| code < 2));
    String::from_utf8(output.stdout).unwrap()
}

/// How many decisions the summary calls open, by file.
fn open(summary: &str) -> BTreeMap<String, usize> {
    let lines = summary.lines().filter(|l| l.starts_with("decisions"));
    let parts = lines.map(|l| l.split_whitespace().collect::<Vec<_>>());
    parts.map(|p| (p[2].to_owned(), p[3].parse().unwrap())).collect()
}

fn read(path: &Path) -> Vec<Row> {
    rows_of(&fs::read_to_string(path).unwrap())
}

/// Writes the rows back with something filled in, as a spreadsheet would.
fn fill(path: &Path, change: impl Fn(&mut Row)) {
    let mut reader = csv::Reader::from_path(path).unwrap();
    let columns: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let mut rows: Vec<Row> = reader.deserialize().map(Result::unwrap).collect();
    rows.iter_mut().for_each(change);
    let mut writer = csv::Writer::from_path(path).unwrap();
    writer.write_record(&columns).unwrap();
    for row in &rows {
        writer.write_record(columns.iter().map(|c| &row[c])).unwrap();
    }
    writer.flush().unwrap();
}

fn answer(row: &mut Row) {
    let name = row["name_original"].clone();
    let known = ANSWERS.iter().find(|a| a.0 == name);
    let (standard, role) = match known {
        Some((_, standard, role)) => (*standard, *role),
        None if name.starts_with("Meta ") => ("", "gtv"),
        None => return,
    };
    row.insert("name_standard".to_owned(), standard.to_owned());
    row.insert("role".to_owned(), role.to_owned());
}

const OWN: [&str; 5] =
    ["names.csv", "prescriptions.csv", "decisions.csv", "lesions.csv", "clinical_lesions.csv"];

fn own_files(study: &Path) -> Vec<String> {
    OWN.iter().map(|f| fs::read_to_string(study.join(f)).unwrap()).collect()
}

fn play_a_round(place: &Path, archive: &Path) -> PathBuf {
    let study = place.join("study");
    let before = open(&run(place, "survey", archive));
    assert!(OWN[..3].iter().all(|file| before[*file] > 0), "{before:?}");
    fill(&study.join("names.csv"), answer);
    fill(&study.join("prescriptions.csv"), |row| {
        if row["proposed_gy"].is_empty() {
            row.insert("prescription_gy".to_owned(), "20".to_owned());
        }
    });
    run(place, "survey", archive);
    fill(&study.join("decisions.csv"), |row| {
        row.insert("state".to_owned(), "accepted".to_owned());
        row.insert("decided_by".to_owned(), "reader 1".to_owned());
    });
    study
}

#[test]
fn after_one_round_of_decisions_nothing_of_the_cohort_is_open() {
    let place = tempfile::tempdir().unwrap();
    let study = play_a_round(place.path(), &cohort());
    let decided = own_files(&study);
    let after = run(place.path(), "survey", &cohort());
    assert!(open(&after).values().all(|n| *n == 0), "{after}");
    assert!(!after.contains("cases wait for"), "{after}");
    assert_eq!(own_files(&study), decided, "a second run changes nothing");
    let findings = read(&study.join("tables/findings.csv"));
    let state = |f: &&Row| f["severity"] == "check" && f["state"] == "open";
    assert_eq!(findings.iter().filter(state).count(), 0);
}

fn copy(from: &Path, to: &Path, name: &dyn Fn(&str) -> String) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let new = to.join(name(&entry.file_name().to_string_lossy()));
        if entry.path().is_dir() {
            copy(&entry.path(), &new, name);
        } else {
            fs::copy(entry.path(), new).unwrap();
        }
    }
}

#[test]
fn decisions_outlive_renamed_files_and_further_cases() {
    let place = tempfile::tempdir().unwrap();
    let archive = place.path().join("archive");
    copy(&cohort().join("cobalt-unit"), &archive.join("a"), &str::to_owned);
    copy(&cohort().join("robot-arm"), &archive.join("b"), &str::to_owned);
    let study = play_a_round(place.path(), &archive);
    let decided = own_files(&study);
    // Other names of folders and files, and the gantry cases besides.
    fs::remove_dir_all(&archive).unwrap();
    let renamed = |name: &str| format!("renamed-{name}");
    copy(&cohort().join("cobalt-unit"), &archive.join("x"), &renamed);
    copy(&cohort().join("robot-arm"), &archive.join("y"), &renamed);
    copy(&cohort().join("gantry"), &archive.join("z"), &renamed);
    let summary = run(place.path(), "survey", &archive);
    for (before, now) in decided.iter().zip(own_files(&study)) {
        let kept = rows_of(before);
        let rows = rows_of(&now);
        assert!(rows.len() > kept.len() || rows == kept);
        for (a, b) in kept.iter().zip(&rows) {
            for column in ["name_standard", "role", "prescription_gy", "state", "decided_by"] {
                assert_eq!(a.get(column), b.get(column));
            }
        }
    }
    let findings = read(&study.join("tables/findings.csv"));
    let open_id: Vec<_> = findings.iter().filter(|f| f["state"] == "open").collect();
    let before = rows_of(&decided[2]);
    for old in &before {
        assert!(!open_id.iter().any(|f| f["finding_id"] == old["finding_id"]), "{old:?}");
    }
    assert_eq!(open(&summary)["names.csv"], 0, "{summary}");
}
