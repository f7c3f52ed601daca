//! Studies of several centres put together: two halves of an archive that were measured apart say what
//! the whole says, what people typed at a centre is in no byte, and what does not go together is
//! refused before anything is written.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use crate::anonymise::run;
use crate::archive::{Course, files_below};
use crate::leaks::unpacked;
use crate::measured::{Row, cohort, rows_of};
use crate::phantom::dicom::Roi;
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid};

const KEY: &str = "000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f";

fn measure(place: &Path, study: &str, archives: &[String], key: &str) {
    let folder = place.join(format!("{study}-key"));
    fs::create_dir_all(&folder).unwrap();
    fs::write(folder.join("key.txt"), key).unwrap();
    let mut arguments = vec!["measure", "--metric-list", "basic", "--study", study, "--quiet"];
    arguments.extend(archives.iter().map(String::as_str));
    let (code, _, err) = run(place, &arguments);
    assert_eq!(code, 0, "{err}");
}

/// The rows of a table, as lines of what two runs share, each counted. Files have pseudonyms of their
/// paths, which depend on how an archive is named.
fn shared(place: &Path, study: &str, table: &str) -> BTreeMap<String, usize> {
    let text = fs::read_to_string(place.join(study).join(format!("tables/{table}.csv"))).unwrap();
    let mut lines = BTreeMap::new();
    for mut row in rows_of(&text) {
        for name in ["centre", "file_id", "finding_id", "detail_id"] {
            row.remove(name);
        }
        *lines.entry(format!("{row:?}")).or_insert(0) += 1;
    }
    lines
}

#[test]
fn two_halves_measured_apart_say_what_the_whole_says() {
    let place = tempfile::tempdir().unwrap();
    let place = place.path();
    let of = |names: &[&str]| -> Vec<String> {
        names.iter().map(|n| cohort().join(n).to_string_lossy().into_owned()).collect()
    };
    let one = of(&["gantry/LK-06", "gantry/LK-07", "gantry/LK-12", "gantry/LK-15"]);
    // A patient of whom two devices have files stays in one half.
    let other = of(&["gantry/LK-08", "cobalt-unit/LK-08", "cobalt-unit/LK-01", "robot-arm"]);
    measure(place, "one", &one, KEY);
    measure(place, "other", &other, KEY);
    measure(place, "whole", &[one, other].concat(), KEY);
    let pooled = ["pool", "Harbour=one", "Hillside=other", "--output", "all", "--quiet"];
    let (code, _, err) = run(place, &[&pooled[..], &["--keep-texts"]].concat());
    assert_eq!(code, 0, "{err}");
    let mut compared = 0;
    for entry in fs::read_dir(place.join("whole/tables")).unwrap() {
        let path = entry.unwrap().path();
        let table = path.file_stem().unwrap().to_string_lossy().into_owned();
        if path.extension().is_some_and(|e| e == "csv") && table != "dictionary" {
            let whole = shared(place, "whole", &table);
            assert_eq!(shared(place, "all", &table), whole, "{table}");
            compared += whole.values().sum::<usize>();
        }
    }
    assert!(compared > 3000, "{compared}");
    let document = |study: &str| -> Value {
        let text = fs::read(place.join(study).join("run.json")).unwrap();
        serde_json::from_slice(&text).unwrap()
    };
    assert_eq!(document("all")["counts"], document("whole")["counts"]);
    assert_eq!(document("all")["settings_sha256"], document("whole")["settings_sha256"]);
    assert_eq!(document("all")["centres"].as_array().unwrap().len(), 2);
    // Without texts every number is the same, and a pool goes into a pool as its centres.
    let (code, _, err) = run(place, &["pool", "Harbour=one", "--output", "handed", "--quiet"]);
    assert_eq!(code, 0, "{err}");
    let (code, _, err) =
        run(place, &["pool", "handed", "Hillside=other", "--output", "again", "--quiet"]);
    assert_eq!(code, 0, "{err}");
    let metrics = |study: &str| -> Vec<Row> {
        rows_of(&fs::read_to_string(place.join(study).join("tables/metrics.csv")).unwrap())
    };
    let value = |r: &Row| {
        ["centre", "structure_id", "metric", "value", "low", "high", "status"].map(|c| r[c].clone())
    };
    let [all, again] = ["all", "again"].map(|s| metrics(s).iter().map(value).collect::<Vec<_>>());
    assert!(all.len() > 1000 && all == again);
    // Everything that reads a study reads the pool.
    for arguments in [
        &["ask", "table-one", "--study", "all"][..],
        &["paper", "--study", "all", "--group", "centre", "--output", "paper"],
        &["review", "--study", "all", "--output", "page.html"],
        &["diff", "whole", "all"],
    ] {
        let (code, out, err) = run(place, &[arguments, &["--quiet"]].concat());
        assert_eq!(code, 0, "{arguments:?}: {err}");
        // Findings about files have other pseudonyms, as their paths do.
        let moved = |line: &str| line.contains("cell changed") && !line.starts_with("findings");
        assert!(arguments[0] != "diff" || !out.lines().any(moved), "{out}");
    }
    let table_one = fs::read_to_string(place.join("paper/table_one.csv")).unwrap();
    let of_centre = |name: &str| rows_of(&table_one).iter().any(|r| r["group"] == name);
    assert!(of_centre("Harbour") && of_centre("Hillside"), "{table_one}");
}

/// A small archive of one patient, with a word of the centre wherever people type.
fn planted(place: &Path, folder: &str, patient: &str, word: &str) {
    let drawn = |number, name: &str, kind: &str, radius, at| {
        let solid = Solid::ball(at, radius);
        Roi::new(number, name, kind).outlining(&solid, &PlaneStack::axial(1.5, 0.0), 12)
    };
    let rois = vec![
        drawn(1, &format!("PTV {word}"), "PTV", 3.0, [0.3, 0.2, 0.1]),
        drawn(2, &format!("{word} helper"), "CONTROL", 2.5, [0.0, 6.0, 0.0]),
        drawn(3, "Brainstem", "ORGAN", 2.0, [0.0, -6.0, 0.0]),
    ];
    let lattice = Lattice::around([0.0; 3], [12.0; 3], 2.0);
    let field = Field::gaussian([0.0; 3], 24.0, 4.0);
    let mut course = Course::new(patient, rois, (&field, &lattice), &[(1, 15.0)]);
    for header in course.headers() {
        header.patient_name = format!("{word}son^Ann");
    }
    fs::create_dir_all(place.join(folder)).unwrap();
    for (name, bytes) in course.files() {
        fs::write(place.join(folder).join(name), bytes).unwrap();
    }
}

fn holds(folder: &Path, word: &str) -> Vec<String> {
    let word = word.to_lowercase().into_bytes();
    let mut found = Vec::new();
    for path in files_below(folder) {
        for bytes in unpacked(&path) {
            let lower = bytes.to_ascii_lowercase();
            if lower.windows(word.len()).any(|w| w == word) {
                found.push(path.display().to_string());
            }
        }
    }
    found
}

#[test]
fn what_people_typed_at_a_centre_is_in_no_byte_of_the_pool() {
    let place = tempfile::tempdir().unwrap();
    let place = place.path();
    let centres = [("a", "QX-1", "Zyxomark", "0"), ("b", "QX-2", "Quorblip", "1")];
    for (folder, patient, word, digit) in centres {
        planted(place, folder, patient, word);
        measure(place, &format!("study-{folder}"), &[folder.to_owned()], &digit.repeat(64));
        assert!(!holds(&place.join(format!("study-{folder}/tables")), word).is_empty(), "{word}");
    }
    // What people write into the files of a study is theirs, labels of columns among it.
    for (folder, _, word, _) in centres {
        let path = place.join(format!("study-{folder}/columns.csv"));
        let text = fs::read_to_string(&path).unwrap();
        fs::write(&path, text.replacen(",Volume,", &format!(",Volume of {word},"), 1)).unwrap();
    }
    let base = ["pool", "Harbour=study-a", "Hillside=study-b", "--quiet", "--output"];
    let (code, _, err) = run(place, &[&base[..], &["all"]].concat());
    assert_eq!(code, 0, "{err}");
    let question = "-- question: all\nSELECT * FROM metrics\n";
    fs::write(place.join("q.sql"), question).unwrap();
    let (_, out, _) = run(place, &["ask", "q.sql", "--study", "all", "--format", "csv"]);
    assert!(out.contains("Harbour") && out.contains("Brainstem"), "{out}");
    for (_, patient, word, _) in centres {
        for secret in [word, patient] {
            assert_eq!(holds(&place.join("all"), secret), Vec::<String>::new(), "{secret}");
        }
    }
    // A file that is the same byte for byte at two centres is one patient.
    let twin = place.join("twin");
    fs::create_dir_all(&twin).unwrap();
    for name in ["structures.dcm", "plan.dcm", "dose.dcm"] {
        fs::copy(place.join("a").join(name), twin.join(name)).unwrap();
    }
    measure(place, "study-twin", &["twin".to_owned()], &"2".repeat(64));
    let pairs = ["pool", "Harbour=study-a", "Lakeside=study-twin", "--output", "none"];
    let (code, _, err) = run(place, &pairs);
    assert_eq!(code, 2);
    assert!(err.contains("the same byte for byte"), "{err}");
    assert!(!place.join("none").exists());
    // The report names the group of one patient and the texts that stayed behind.
    let report = fs::read_to_string(place.join("all-sharing.csv")).unwrap();
    let rows = rows_of(&report);
    let named = |check: &str, column: &str| {
        rows.iter().any(|r| r["check"] == check && r["column"] == column)
    };
    assert!(named("small_cell", "technology"), "{report}");
    assert!(named("withheld_text", "name_original"), "{report}");
    assert!(!rows.iter().any(|r| r["check"] == "free_text"), "{report}");
}

#[test]
fn what_does_not_go_together_is_refused_before_anything_is_written() {
    let place = tempfile::tempdir().unwrap();
    let place = place.path();
    for (folder, patient, digit) in [("a", "QX-1", "0"), ("b", "QX-2", "1")] {
        planted(place, folder, patient, "Zyxomark");
        measure(place, &format!("study-{folder}"), &[folder.to_owned()], &digit.repeat(64));
    }
    let refused = |studies: &[&str], words: &[&str]| {
        let (code, _, err) = run(place, &[&["pool", "--output", "none"], studies].concat());
        assert_eq!(code, 2, "{studies:?}: {err}");
        assert!(words.iter().all(|w| err.contains(w)), "{studies:?}: {err}");
        assert!(!place.join("none").exists());
    };
    refused(&["X=study-a", "x=study-b"], &["given to two centres"]);
    refused(&["study-a"], &["needs a label", "NAME=STUDY"]);
    refused(&["Ward4711=study-a"], &["a number of 4 digits"]);
    refused(&["X=study-a", "Y=study-a"], &["the same patient 1 times", "the same key"]);
    refused(&["X=nowhere"], &["nowhere"]);
    let path = place.join("study-b/run.json");
    let whole: Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
    let changes: [(&str, Value, &str); 3] = [
        ("/settings/ends", json!("half_slice"), "setting ends \"closed_caps\" and \"half_slice\""),
        ("/numbers", json!(1), "version of the numbers"),
        ("/settings/identity", json!("kept"), "settings.identity of run.json is `kept`"),
    ];
    for (pointer, value, words) in changes {
        let mut other = whole.clone();
        *other.pointer_mut(pointer).unwrap() = value;
        fs::write(&path, other.to_string()).unwrap();
        refused(&["X=study-a", "Y=study-b"], &[words]);
    }
    fs::write(&path, whole.to_string()).unwrap();
    // columns.csv changed after the tables were made.
    let columns = place.join("study-b/columns.csv");
    fs::write(&columns, "column\nside\n").unwrap();
    refused(&["X=study-a", "Y=study-b"], &["table analysis has other columns", "measure it again"]);
}
