//! The ready scripts beside the subjects of a relation: R and Python run them, agree where both have a
//! model, and what they write is shown by the next `relate` and by `paper`.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command as Process;

use assert_cmd::Command;

use super::reference::{python, survival_library};
use crate::measured::{Row, rows_of};
use crate::relate::{relate, sheet, study};

const ASKED: [&str; 6] =
    ["--event", "necrosis", "--predictor", "gtv_volume_cc", "--key", "study-key"];

fn ran(process: &mut Process) -> String {
    let output = process.output().unwrap_or_else(|e| panic!("{process:?}: {e}"));
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    said
}

fn run_scripts(folder: &Path) -> Vec<Row> {
    ran(Process::new("Rscript").arg(folder.join("models.R")));
    ran(python().env("PYTHONPATH", survival_library()).arg(folder.join("models.py")));
    rows_of(&fs::read_to_string(folder.join("models.csv")).unwrap())
}

/// Estimates by model, term and script.
fn estimates(rows: &[Row]) -> BTreeMap<(String, String, String), f64> {
    let key = |r: &Row| (r["model"].clone(), r["term"].clone(), r["script"].clone());
    let one = |r: &Row| Some((key(r), r["estimate"].parse::<f64>().ok()?));
    rows.iter().filter_map(one).collect()
}

#[test]
fn scripts_fit_the_models_and_their_estimates_are_picked_up() {
    let place = study();
    let (code, _, err) = relate(place.path(), &sheet(), &ASKED);
    assert_eq!(code, 0, "{err}");
    let folder = place.path().join("study/relate");
    let report = || fs::read_to_string(folder.join("report.txt")).unwrap();
    assert!(report().contains("none yet: models.R and models.py"), "{}", report());
    let rows = run_scripts(&folder);
    let found = estimates(&rows);
    let models = ["cause-specific Cox", "estimating equations, exchangeable"];
    for model in models {
        let term = "gtv_volume_cc";
        let by = |script: &str| {
            let key = (model.to_owned(), term.to_owned(), script.to_owned());
            *found.get(&key).unwrap_or_else(|| panic!("{key:?}: {rows:#?}"))
        };
        let (r, python) = (by("models.R").ln(), by("models.py").ln());
        // Both count ties by Efron. The two ways to estimate the correlation within patients of
        // estimating equations divide by other numbers.
        let allowed = if model == models[0] { 1e-4 } else { 0.05 };
        assert!((r - python).abs() <= allowed * r.abs().max(1.0), "{model} {term}: {r} {python}");
    }
    let gray = rows.iter().filter(|r| r["model"] == "Fine and Gray" && !r["estimate"].is_empty());
    assert_eq!(gray.count(), 1);
    for row in &rows {
        assert!(row["software"].starts_with(['R', 'P']) && !row["version"].is_empty(), "{row:?}");
        assert!(row["n"].parse::<usize>().unwrap() > 20 && row["patients"] != row["n"], "{row:?}");
    }
    // Again: rows are replaced, not added.
    assert_eq!(run_scripts(&folder).len(), rows.len());
    relate(place.path(), &sheet(), &ASKED);
    assert!(report().contains("cause-specific Cox, gtv_volume_cc: hazard ratio"), "{}", report());
    let paper = || {
        Command::cargo_bin("tidydose")
            .unwrap()
            .current_dir(place.path())
            .arg("paper")
            .assert()
            .success();
        fs::read_to_string(place.path().join("study/paper/models.md")).unwrap()
    };
    let page = paper();
    assert!(page.contains("| cause-specific Cox | gtv_volume_cc | hazard ratio"), "{page}");
    // With another predictor they are of another relation, and are not shown.
    relate(place.path(), &sheet(), &[&ASKED[..3], &["all tissue:V12Gy[cc]"], &ASKED[4..]].concat());
    assert!(report().contains("rows of models.csv are of another relation"), "{}", report());
    assert!(!paper().contains("| cause-specific Cox |"));
}

/// A relation with adjusters: both languages have every term, and one that is the same for all rows is
/// held back and says so, in the program and, where only the sheet of subjects knows, in the scripts.
#[test]
fn adjusters_are_in_the_models_and_a_constant_one_is_held_back() {
    let place = study();
    let adjusted = ["--adjust", "gtv_volume_cc", "--adjust", "technology=gantry_linac"];
    let asked = [
        &["--event", "necrosis", "--predictor", "all tissue:V12Gy[cc]", "--key", "study-key"][..],
        &adjusted,
        &["--adjust", "fractions_planned", "--fractions", "1"],
    ]
    .concat();
    let (code, _, err) = relate(place.path(), &sheet(), &asked);
    assert_eq!(code, 0, "{err}");
    assert!(err.contains("adjuster fractions_planned is held back: it is 1 for all "), "{err}");
    let folder = place.path().join("study/relate");
    let rows = run_scripts(&folder);
    let found = estimates(&rows);
    let terms = ["all tissue:V12Gy[cc]", "gtv_volume_cc", "technology=gantry_linac"];
    for term in terms {
        let by = |script: &str| {
            let key = ("cause-specific Cox".to_owned(), term.to_owned(), script.to_owned());
            found.get(&key).unwrap_or_else(|| panic!("{key:?}: {rows:#?}")).ln()
        };
        let (r, python) = (by("models.R"), by("models.py"));
        assert!((r - python).abs() <= 1e-3 * r.abs().max(1.0), "{term}: {r} {python}");
    }
    assert!(rows.iter().all(|r| !r["note"].contains("held back")), "{rows:#?}");
    // The same adjuster for every row: no NaN, no failed model, a row that says so.
    changed_cells(&folder, |name, value| if name == "adjuster" { "3.5" } else { value });
    let rows = run_scripts(&folder);
    let mut held = 0;
    for row in &rows {
        assert!(row["note"].contains("held back, the same for all rows: gtv_volume_cc"), "{row:?}");
        let constant = row["term"] == "gtv_volume_cc";
        held += usize::from(constant);
        let known = row["model"] == "cause-specific Cox" || row["model"].starts_with("estimating");
        assert!(!constant || row["estimate"].is_empty(), "{row:?}");
        assert!(constant || !known || !row["estimate"].is_empty(), "{row:?}");
    }
    assert!(held >= 4, "{rows:#?}");
}

/// Writes the subjects again with other cells; one that is empty stays.
fn changed_cells(folder: &Path, cell: impl for<'c> Fn(&str, &'c str) -> &'c str) {
    let subjects = fs::read_to_string(folder.join("subjects.csv")).unwrap();
    let mut reader = csv::Reader::from_reader(subjects.as_bytes());
    let head = reader.headers().unwrap().clone();
    let mut writer = csv::Writer::from_path(folder.join("subjects.csv")).unwrap();
    writer.write_record(&head).unwrap();
    for record in reader.records().map(Result::unwrap) {
        let cells = head.iter().zip(&record);
        let cells =
            cells.map(|(name, value)| if value.is_empty() { value } else { cell(name, value) });
        writer.write_record(cells).unwrap();
    }
    writer.flush().unwrap();
}

/// Nobody with the event: every model is a row with its reason.
#[test]
fn a_model_that_cannot_be_fitted_is_a_row_with_its_reason() {
    let place = study();
    relate(place.path(), &sheet(), &ASKED);
    let folder = place.path().join("study/relate");
    changed_cells(&folder, |name, value| match (name, value) {
        ("event", "true") => "false",
        ("ended", "event") => "censored",
        (_, value) => value,
    });
    for row in run_scripts(&folder) {
        assert!(
            row["estimate"].is_empty() && row["note"].contains("nobody had the event"),
            "{row:?}"
        );
    }
}
