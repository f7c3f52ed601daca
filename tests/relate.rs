//! `relate` as a person runs it: the invented outcomes of `notebooks-md/outcomes.csv`, with the IDs of
//! the files, joined to the tables of the invented cohort by the study's key.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use tempfile::TempDir;

use crate::documents::copy;
use crate::measured::{Row, measured, rows_of};

pub fn sheet() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks-md/outcomes.csv")
}

/// A copy of the measured study with its key.
pub fn study() -> TempDir {
    let place = tempfile::tempdir().unwrap();
    for folder in ["study", "study-key"] {
        copy(&measured().study().with_file_name(folder), &place.path().join(folder));
    }
    place
}

pub fn relate(place: &Path, sheet: &Path, more: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("tidydose")
        .unwrap()
        .current_dir(place)
        .args(["relate", "--outcomes", &sheet.to_string_lossy()])
        .args(more)
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

const NECROSIS: [&str; 6] =
    ["--event", "necrosis", "--predictor", "gtv_volume_cc", "--key", "study-key"];

fn sheet_of(place: &Path, name: &str) -> Vec<Row> {
    rows_of(&fs::read_to_string(place.join("study/relate").join(name)).unwrap())
}

#[test]
fn every_lesion_of_the_tables_is_analysed_or_says_why_not() {
    let place = study();
    let (code, out, err) = relate(place.path(), &sheet(), &NECROSIS);
    assert_eq!((code, out.as_str()), (0, ""), "{err}");
    let subjects = sheet_of(place.path(), "subjects.csv");
    let plans = measured().rows("plans");
    let later = |r: &Row| {
        let own = |p: &&Row| p["plan_id"] == r["plan_id"];
        plans.iter().find(own).is_some_and(|p| p["plan_role"] == "follow_up")
    };
    let mut lesions = measured().rows("lesions");
    lesions.retain(|r| !later(r));
    assert_eq!(subjects.len(), lesions.len());
    let analysed: Vec<&Row> = subjects.iter().filter(|r| r["analysed"] == "true").collect();
    let volumes: BTreeMap<&str, &str> =
        lesions.iter().map(|r| (r["lesion_id"].as_str(), r["gtv_volume_cc"].as_str())).collect();
    for row in &analysed {
        assert_eq!(row["predictor"], volumes[row["lesion_id"].as_str()]);
    }
    // Seven rows of necrosis, each with its lesion.
    assert_eq!(analysed.iter().filter(|r| r["event"] == "true").count(), 7);
    for row in subjects.iter().filter(|r| r["analysed"] == "false") {
        assert!(!row["left_at"].is_empty() && !row["reason"].is_empty(), "{row:?}");
    }
    let left: usize = sheet_of(place.path(), "flow.csv")
        .iter()
        .map(|r| r["left"].parse::<usize>().unwrap())
        .sum();
    assert_eq!(analysed.len() + left, lesions.len());
    let unmatched = sheet_of(place.path(), "unmatched.csv");
    assert!(
        unmatched
            .iter()
            .any(|r| r["reason"] == "the study has no such patient" && r["patient_id"].is_empty())
    );
    let everything = everything(place.path());
    assert!(!everything.contains("LK-"), "an ID of the files got into the folder");
}

fn everything(place: &Path) -> String {
    let mut names: Vec<_> =
        fs::read_dir(place.join("study/relate")).unwrap().map(|e| e.unwrap().path()).collect();
    names.sort();
    assert!(names.len() >= 17, "{names:?}");
    // Figures are there as PDF, too.
    let text = |p: &PathBuf| String::from_utf8_lossy(&fs::read(p).unwrap()).into_owned();
    names.iter().map(text).collect()
}

#[test]
fn a_second_run_writes_the_same_and_a_second_predictor_is_counted() {
    let place = study();
    relate(place.path(), &sheet(), &NECROSIS);
    let first = everything(place.path());
    relate(place.path(), &sheet(), &NECROSIS);
    assert_eq!(first, everything(place.path()));
    let mut other = NECROSIS;
    other[3] = "all tissue:V12Gy[cc]";
    let (code, _, err) = relate(place.path(), &sheet(), &other);
    assert_eq!(code, 0, "{err}");
    assert!(
        err.contains("2 analyses were tried in this study (tried.csv), 2 of them of necrosis"),
        "{err}"
    );
    // Another grade, another adjuster and another filter are other analyses; the same again is not.
    let graded = [&NECROSIS[..], &["--least-grade", "2", "--adjust", "n_targets"]].concat();
    for _ in 0..2 {
        let (code, _, err) = relate(place.path(), &sheet(), &graded);
        assert_eq!(code, 0, "{err}");
        assert!(err.contains("3 analyses were tried in this study"), "{err}");
        assert!(err.contains("adjusted for n_targets, by lesion, grade from 2"), "{err}");
    }
    let seven = ["--adjust", "n_targets"].repeat(7);
    let (code, _, err) = relate(place.path(), &sheet(), &[&NECROSIS[..], &seven].concat());
    assert!(code == 2 && err.contains("--adjust: 7 are named; at most 6 are accepted"), "{err}");
}

#[test]
fn pictures_come_on_request_and_the_paper_takes_the_calibration_over() {
    let place = study();
    let (code, _, err) = relate(place.path(), &sheet(), &[&NECROSIS[..], &["--tiff"]].concat());
    assert_eq!(code, 0, "{err}");
    let at = |name: &str| place.path().join("study").join(name);
    let text = |name: &str| fs::read_to_string(at(name)).unwrap();
    assert!(fs::read(at("relate/calibration.tiff")).unwrap().starts_with(b"II\x2a\0"));
    let cited = text("relate/references.bib");
    assert!(
        cited.contains("@article{firth1993,") && text("relate/report.txt").contains("[@puhr2017]")
    );
    // Without them those of the run before go: beside other captions they would pass for its own.
    relate(place.path(), &sheet(), &NECROSIS);
    assert!(!at("relate/calibration.tiff").exists() && at("relate/calibration.pdf").exists());
    Command::cargo_bin("tidydose")
        .unwrap()
        .current_dir(place.path())
        .arg("paper")
        .assert()
        .success();
    assert_eq!(text("paper/figures/calibration.svg"), text("relate/calibration.svg"));
    assert_eq!(text("paper/figures/calibration.csv"), text("relate/calibration.csv"));
    let captions = text("paper/figures/captions.md");
    let own = captions.split("## calibration.svg\n\n").nth(1).unwrap();
    assert!(own.starts_with("Calibration of the risk of necrosis by the model of "), "{own}");
    assert!(own.contains("; slope of calibration ") && own.contains("Run: tidydose "), "{own}");
    assert!(at("paper/figures/calibration.pdf").exists());
}

#[test]
fn faults_are_2_and_write_nothing() {
    let place = study();
    let bad = place.path().join("bad.csv");
    fs::write(&bad, "patient_id,event_type,day_event\nP1,necrosis,2021-01-05\n,none,\n").unwrap();
    let (code, out, err) = relate(place.path(), &bad, &NECROSIS);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(
        err.contains("bad.csv: 2 faults") && err.contains("row 2, column `day_event`"),
        "{err}"
    );
    let mut other = NECROSIS;
    other[3] = "Brain:V12Gy";
    let (code, _, err) = relate(place.path(), &sheet(), &other);
    assert!(code == 2 && err.contains("Brain has no metric V12Gy; nearest: V12Gy["), "{err}");
    let grouped = [&NECROSIS[..], &["--group", "tecnology"]].concat();
    let (code, _, err) = relate(place.path(), &sheet(), &grouped);
    assert!(code == 2 && err.contains("no column of plans; nearest: technology, "), "{err}");
    // Known words that the study has no rows for: a relation with nobody in it.
    other[3] = "Larynx:V12Gy[cc]";
    let (code, _, err) = relate(place.path(), &sheet(), &other);
    assert!(code == 1 && err.contains("no plan has a structure Larynx; nearest: "), "{err}");
    let mut other = NECROSIS;
    other[1] = "palsy";
    let (code, _, err) = relate(place.path(), &sheet(), &other);
    assert!(
        code == 2 && err.contains("there are: death (7), local_failure (3), necrosis (7)"),
        "{err}"
    );
    assert!(
        !place.path().join("study/relate").exists()
            && !place.path().join("study/tried.csv").exists()
    );
}
