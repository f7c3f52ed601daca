//! `run.json`: how the tables came about, so that a run can be repeated and two runs compared:
//! program version, settings, digests of settings and inputs, counts, and the sentences that a
//! paper and a reader need. No clock, no host, no path: the same input and settings give the same
//! bytes everywhere.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::{fs, io};

use serde::Serialize;
use serde_json::Value;
use sha2::{Digest, Sha256};
use strum::VariantNames;

use super::study::Study;
use super::table::{CSV_ROW_LIMIT, PARQUET_ONLY, Written};
use super::user::user_file::ReadError;
use super::write_file::{WriteError, replace_file};
use tidydose_analyse::numbers::NUMBERS;
use tidydose_rt::digest::hexadecimal;
use tidydose_rt::finding::Severity;
use tidydose_rt::{FileStatus, Inventory};

/// Name of the file in a study folder.
pub const FILE: &str = "run.json";

/// The program, as it is named in what it writes: not the crate that happens to write.
pub const PROGRAM: &str = "tidydose";

/// What every output says about its use.
pub const CAUTION: &str = "Research and quality review only, not for treatment decisions; local \
                           protocol and licensed practice decide.";

/// What the caller knows of the run.
#[derive(Debug, Clone, Copy)]
pub struct Run<'a> {
    /// The settings as [`settings_value`] made them.
    pub settings: &'a Value,
    /// How the values were computed, in one or two sentences for a methods paragraph.
    pub method: &'a str,
    /// Whether all cases were done.
    pub complete: bool,
    /// A digest of what was decided in each file of the study when the run began, by file.
    pub decided: &'a BTreeMap<String, String>,
    /// The tables that were written.
    pub tables: &'a [Written],
}

#[derive(Serialize)]
struct Document<'a> {
    program: &'static str,
    program_version: &'static str,
    numbers: u32,
    complete: bool,
    settings: &'a Value,
    settings_sha256: String,
    inputs_sha256: String,
    decisions_sha256: &'a BTreeMap<String, String>,
    counts: Counts,
    tables: &'a [Written],
    remarks: Vec<String>,
    method: &'a str,
    caution: &'static str,
}

/// How many of what; a map names every member, also those of which there are none.
#[derive(Debug, Serialize)]
struct Counts {
    files: BTreeMap<&'static str, usize>,
    cases: usize,
    cases_measured: usize,
    cases_left_out: usize,
    follow_ups: usize,
    patients: usize,
    findings: BTreeMap<&'static str, usize>,
}

/// Settings as JSON with sorted keys.
///
/// # Errors
/// When the type cannot be written as JSON.
pub fn settings_value(settings: &impl Serialize) -> Result<Value, serde_json::Error> {
    let mut value = serde_json::to_value(settings)?;
    value.sort_all_objects();
    Ok(value)
}

/// SHA-256 of the settings in compact JSON with sorted keys, in hexadecimal.
#[must_use]
pub fn settings_digest(settings: &Value) -> String {
    hexadecimal(&Sha256::digest(settings.to_string()))
}

/// SHA-256 over the sorted distinct digests of all radiotherapy objects and over the geometry of
/// the image series, in hexadecimal. Neither names nor the order of files have a part in it.
#[must_use]
pub fn inputs_digest(inventory: &Inventory) -> String {
    let mut lines: BTreeSet<String> =
        inventory.files.iter().filter_map(|f| f.digest.clone()).collect();
    lines.extend(inventory.images.iter().map(|i| {
        let spacing = i.spacing.map_or(String::new(), |s| s.value().to_string());
        format!("image {} {} {spacing}", i.modality, i.slices)
    }));
    let mut hash = Sha256::new();
    for line in lines {
        hash.update(line);
        hash.update("\n");
    }
    hexadecimal(&hash.finalize())
}

/// Writes `run.json` to `path`.
///
/// # Errors
/// When the file cannot be written.
pub fn write_run(study: &Study<'_>, run: &Run<'_>, path: &Path) -> Result<(), WriteError> {
    let document = Document {
        program: PROGRAM,
        program_version: env!("CARGO_PKG_VERSION"),
        numbers: NUMBERS,
        complete: run.complete,
        settings: run.settings,
        settings_sha256: settings_digest(run.settings),
        inputs_sha256: inputs_digest(study.inventory),
        decisions_sha256: run.decided,
        counts: counts(study),
        tables: run.tables,
        remarks: remarks(run.tables),
        method: run.method,
        caution: CAUTION,
    };
    replace_file(path, |output| {
        serde_json::to_writer_pretty(&mut *output, &document).map_err(io::Error::other)?;
        output.write_all(b"\n")
    })
}

fn counts(study: &Study<'_>) -> Counts {
    let mut files: BTreeMap<&'static str, usize> =
        FileStatus::VARIANTS.iter().map(|word| (*word, 0)).collect();
    for file in &study.inventory.files {
        *files.entry(file.status.word()).or_insert(0) += 1;
    }
    let mut findings: BTreeMap<&'static str, usize> =
        [Severity::Note, Severity::Check, Severity::Stop].map(|s| (s.word(), 0)).into();
    for cause in super::findings::all(study) {
        *findings.entry(cause.severity().word()).or_insert(0) += 1;
    }
    let measured = study.plans();
    let patients: BTreeSet<_> = study.cases.iter().filter_map(|c| c.patient.as_ref()).collect();
    Counts {
        files,
        cases: measured.len(),
        cases_measured: measured.iter().filter(|m| m.is_measured()).count(),
        cases_left_out: measured.iter().filter(|m| m.case.left_out.is_some()).count(),
        follow_ups: study.cases.iter().filter(|c| c.is_follow_up()).count(),
        patients: patients.len(),
        findings,
    }
}

pub(super) fn remarks(tables: &[Written]) -> Vec<String> {
    let parquet_only = tables.iter().filter(|t| !t.csv);
    parquet_only
        .map(|t| {
            let (name, rows) = (t.table, t.rows);
            if PARQUET_ONLY.contains(&name) {
                format!("{name} ({rows} rows) is Parquet only: `explain` reads it")
            } else {
                format!("{name} has {rows} rows, {CSV_ROW_LIMIT} or more, and is Parquet only")
            }
        })
        .collect()
}

/// The run in a sentence for a caption, from the content of `run.json`.
#[must_use]
pub fn words(document: &Value) -> String {
    let text = |name: &str| document.get(name).and_then(|v| v.as_str()).unwrap_or("unknown");
    let short = |name: &str| text(name).chars().take(12).collect::<String>();
    format!(
        "Run: {} {}, settings {}, inputs {} (first digits of SHA-256).",
        text("program"),
        text("program_version"),
        short("settings_sha256"),
        short("inputs_sha256")
    )
}

/// Whether the run that wrote the study at `folder` measured all its cases; absent without a
/// readable `run.json`.
#[must_use]
pub fn is_complete(folder: &Path) -> Option<bool> {
    let text = fs::read_to_string(folder.join(FILE)).ok()?;
    serde_json::from_str::<Value>(&text).ok()?.get("complete")?.as_bool()
}

/// What `run.json` says of the program and its settings; empty where it says nothing.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct RunTexts {
    /// Version of the program.
    pub version: String,
    /// Digest of the settings.
    pub settings: String,
}

/// Reads them for the study at `folder`.
#[must_use]
pub fn run_texts(folder: &Path) -> RunTexts {
    let text = fs::read_to_string(folder.join(FILE)).unwrap_or_default();
    let value: Value = serde_json::from_str(&text).unwrap_or_default();
    let of = |name: &str| value.get(name).and_then(|v| v.as_str()).unwrap_or_default().to_owned();
    RunTexts { version: of("program_version"), settings: of("settings_sha256") }
}

/// The content of `run.json` of the study at `folder`.
///
/// # Errors
/// When it cannot be read or is no JSON.
pub fn run_document(folder: &Path) -> Result<Value, ReadError> {
    let path = folder.join(FILE);
    let fault = |reason: String| ReadError { path: path.clone(), reason };
    let text = fs::read_to_string(&path).map_err(|e| fault(e.to_string()))?;
    serde_json::from_str(&text).map_err(|e| fault(format!("{e}; measure the study again")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::example::Example;

    #[derive(Serialize)]
    struct Settings {
        zeta: bool,
        alpha: &'static str,
    }

    fn settings() -> Value {
        settings_value(&Settings { zeta: true, alpha: "x" }).unwrap()
    }

    fn document(example: &Example) -> String {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("run.json");
        let tables = [Written { table: "dvh", rows: 2_000_000, csv: false }];
        let settings = settings();
        let decided = BTreeMap::from([("names.csv".to_owned(), "ab".repeat(32))]);
        let run = Run {
            settings: &settings,
            method: "How.",
            complete: true,
            decided: &decided,
            tables: &tables,
        };
        write_run(&example.study(), &run, &path).unwrap();
        std::fs::read_to_string(path).unwrap()
    }

    #[test]
    fn a_table_that_is_parquet_only_says_why() {
        let written = |table, rows| Written { table, rows, csv: false };
        let said = remarks(&[written("bounds", 3), written("dvh", CSV_ROW_LIMIT)]);
        let wanted = [
            "bounds (3 rows) is Parquet only: `explain` reads it",
            "dvh has 1000000 rows, 1000000 or more, and is Parquet only",
        ];
        assert_eq!(said, wanted);
    }

    /// The digest of the text {"alpha":"x","zeta":true} by the sha256sum of GNU coreutils.
    #[test]
    fn settings_are_sorted_and_hashed_as_compact_json() {
        assert_eq!(settings().to_string(), r#"{"alpha":"x","zeta":true}"#);
        assert_eq!(settings_digest(&settings()), SHA256SUM);
    }

    const SHA256SUM: &str = "63a71fce453dc2cd8b4651ce746afede9b7aebd91f9711c77391d99760e809d4";

    #[test]
    fn the_document_counts_and_explains() {
        let text = document(&Example::new());
        let json: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(json["counts"]["cases"], 2);
        assert_eq!(json["counts"]["cases_measured"], 1);
        assert_eq!(json["counts"]["cases_left_out"], 1);
        assert_eq!(json["counts"]["files"]["read"], 3);
        assert_eq!(json["counts"]["files"]["duplicate"], 0);
        assert_eq!(json["remarks"][0].as_str().unwrap().split(' ').next(), Some("dvh"));
        assert_eq!(json["caution"], CAUTION);
        assert_eq!(json["decisions_sha256"]["names.csv"], "ab".repeat(32));
    }

    #[test]
    fn the_order_of_the_input_leaves_no_trace() {
        let example = Example::new();
        assert_eq!(document(&example), document(&example.reordered()));
    }

    #[test]
    fn a_changed_object_changes_the_digest_and_a_renamed_file_does_not() {
        let mut inventory = Example::new().inventory;
        let before = inputs_digest(&inventory);
        inventory.files[0].file = tidydose_rt::identity::Token::new("elsewhere");
        assert_eq!(inputs_digest(&inventory), before);
        inventory.files[0].digest = Some("ff".repeat(32));
        assert_ne!(inputs_digest(&inventory), before);
    }
}
