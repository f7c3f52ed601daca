//! The tables of the invented cohort, compared with those kept in `sample-anonymised/expected/`.
//!
//! `UPDATE=1 cargo test golden` rewrites them; the difference belongs into the commit that caused
//! it. Texts are compared exactly. Numbers may differ by [`TOLERANCE`]: exponentials, roots and
//! cosines of different system libraries differ in the last binary digit (2e-16), sums over up to a
//! million cells and the prefilter of the dose spread that to some 1e-11 of a value; the tables show
//! what a value means by its bounds, which are wider by far.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::path::PathBuf;

use crate::measured::{Measured, TABLE_FILES, cohort, measured, updating};

/// Largest relative difference of a number.
const TOLERANCE: f64 = 1e-9;
/// The tables that are kept; `dvh` is large and says what `metrics` says, the others describe.
const TABLES: [&str; 5] = ["plans", "structures", "lesions", "metrics", "findings"];
/// Every metric is kept of these patients, the basic list of all others: one lesion, several
/// lesions, a brain.
const WHOLE: [&str; 3] = ["LK-01", "LK-07", "LK-10"];
/// So that the kept tables do not outgrow the cohort.
const BYTES: u64 = 1_500_000;

fn kept(table: &str) -> PathBuf {
    cohort().join(format!("expected/{table}.csv"))
}

/// What is kept of a table: of the metrics see [`WHOLE`], of others everything.
fn to_keep(table: &str, text: String) -> String {
    if table != "metrics" {
        return text;
    }
    let patients = measured().patients();
    let basic: Vec<String> =
        tidydose_metrics::List::Basic.metrics().iter().map(ToString::to_string).collect();
    let keeps = |row: &csv::StringRecord| {
        let patient = patients.get(row[0].trim_start_matches('\u{feff}'));
        let whole = patient.is_none_or(|id| WHOLE.contains(&id.as_str()));
        // Rows without ROI Number are of regions that nobody drew.
        whole || (!row[3].is_empty() && basic.iter().any(|m| *m == row[6]))
    };
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
    let mut writer =
        csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    for row in reader.records().map(Result::unwrap).filter(keeps) {
        writer.write_record(&row).unwrap();
    }
    String::from_utf8(writer.into_inner().unwrap()).unwrap()
}

/// Whether two cells say the same: equal texts, or numbers within [`TOLERANCE`].
fn same(kept: &str, now: &str) -> bool {
    let numbers = kept.parse::<f64>().ok().zip(now.parse::<f64>().ok());
    kept == now || numbers.is_some_and(|(a, b)| (a - b).abs() <= TOLERANCE * a.abs().max(b.abs()))
}

/// The first differences between two tables, in words.
fn differences(kept: &str, now: &str) -> Vec<String> {
    let read = |text: &str| -> Vec<csv::StringRecord> {
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
        reader.records().map(Result::unwrap).collect()
    };
    let (old, new) = (read(kept), read(now));
    let mut found = Vec::new();
    if old.len() != new.len() {
        found.push(format!("{} rows were kept, {} are there", old.len(), new.len()));
    }
    for (line, (a, b)) in old.iter().zip(&new).enumerate() {
        if a.len() != b.len() || !a.iter().zip(b).all(|(a, b)| same(a, b)) {
            found.push(format!("line {}\n  kept {a:?}\n  now  {b:?}", line + 1));
        }
    }
    found.truncate(10);
    found
}

#[test]
fn tables_of_the_sample_are_those_that_are_kept() {
    let mut bytes = 0;
    for table in TABLES {
        let now = to_keep(table, measured().table(table));
        if updating() {
            fs::create_dir_all(kept(table).parent().unwrap()).unwrap();
            fs::write(kept(table), &now).unwrap();
        }
        let kept_text = fs::read_to_string(kept(table)).unwrap();
        bytes += kept_text.len() as u64;
        let found = differences(&kept_text, &now);
        assert!(found.is_empty(), "{table}:\n{}", found.join("\n"));
    }
    assert!(bytes < BYTES, "{bytes} bytes are kept, {BYTES} are accepted");
}

#[test]
fn a_difference_is_seen_and_rounding_is_not() {
    let kept = "name,value\nA,1.5\n";
    assert!(differences(kept, "name,value\nA,1.5000000001\n").is_empty());
    assert_eq!(differences(kept, "name,value\nA,1.500001\n").len(), 1);
    assert_eq!(differences(kept, "name,value\nB,1.5\n").len(), 1);
    assert_eq!(differences(kept, "name,value\nA,\n").len(), 1);
    assert_eq!(differences(kept, "name,value\nA,1.5\nA,1.5\n").len(), 1);
}

#[test]
fn a_second_run_with_another_number_of_jobs_writes_the_same_bytes() {
    let again = Measured::with_jobs(1);
    let mut compared = 0;
    for entry in fs::read_dir(measured().study().join("tables")).unwrap() {
        let name = entry.unwrap().file_name();
        let read = |run: &Measured| fs::read(run.study().join("tables").join(&name)).unwrap();
        assert!(read(measured()) == read(&again), "{} differs", name.display());
        compared += 1;
    }
    assert_eq!(compared, TABLE_FILES);
    let run = |run: &Measured| fs::read(run.study().join("run.json")).unwrap();
    assert!(run(measured()) == run(&again), "run.json differs");
    assert_eq!((again.code, &again.out), (measured().code, &measured().out));
}

#[test]
fn the_sample_ends_with_0_and_the_last_line_says_what_was_left_out() {
    let run = measured();
    assert_eq!((run.code, run.out.as_str()), (0, ""), "{}", run.err);
    let count = |table: &str, column: &str, value: &str| {
        run.rows(table).iter().filter(|r| r[column] == value).count()
    };
    let all = |table: &str| run.rows(table).len();
    // A verification plan is left out by a rule, the other case for its doses.
    let words = format!(
        "left out: {} of {} cases (no treatment plan or a replaced version: 1), {} of {} files, ",
        count("plans", "measured", "false"),
        all("plans") - count("plans", "plan_role", "follow_up"),
        count("files", "status", "refused"),
        all("files")
    );
    let last = run.err.trim_end().lines().last().unwrap();
    assert!(last.starts_with(&words), "{last}\n{words}");
    assert!(last.contains("study/tables/findings.csv"), "{last}");
    assert_eq!(count("plans", "measured", "false"), 2);
}
