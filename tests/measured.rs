//! The invented cohort measured by the program, once for all tests that look at its tables.
//!
//! Under a key that is no secret, so that the pseudonyms are the same in every run. Nothing is
//! compared here.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use assert_cmd::Command;
use tempfile::TempDir;

/// A row of a table, by column name.
pub(crate) type Row = BTreeMap<String, String>;

/// The key of every run: 32 bytes in hexadecimal.
const KEY: &str = "000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f";

/// Files in `tables/` of a study: 23 tables in two formats, three in one. A new table changes this.
pub(crate) const TABLE_FILES: usize = 49;

/// One run of `measure` over the whole cohort.
pub(crate) struct Measured {
    place: TempDir,
    /// Exit code.
    pub(crate) code: i32,
    /// stdout.
    pub(crate) out: String,
    /// stderr.
    pub(crate) err: String,
}

impl Measured {
    /// Measures the cohort with so many cases at a time.
    pub(crate) fn with_jobs(jobs: u8) -> Self {
        let place = tempfile::tempdir().unwrap();
        fs::create_dir(place.path().join("study-key")).unwrap();
        fs::write(place.path().join("study-key/key.txt"), KEY).unwrap();
        let output = Command::cargo_bin("tidydose")
            .unwrap()
            .current_dir(place.path())
            .args(["measure", &cohort().to_string_lossy()])
            .args(["--jobs", &jobs.to_string()])
            .output()
            .unwrap();
        let text = |bytes| String::from_utf8(bytes).unwrap();
        let code = output.status.code().unwrap();
        Self { place, code, out: text(output.stdout), err: text(output.stderr) }
    }

    /// The study folder.
    pub(crate) fn study(&self) -> PathBuf {
        self.place.path().join("study")
    }

    /// Patient ID as in the files, by pseudonym.
    pub(crate) fn patients(&self) -> BTreeMap<String, String> {
        let key = fs::read_to_string(self.place.path().join("study-key/patient_key.csv")).unwrap();
        let pair = |mut r: Row| (r.remove("patient_id"), r.remove("original_patient_id"));
        let pairs = rows_of(&key).into_iter().map(pair);
        pairs.map(|(token, id)| (token.unwrap(), id.unwrap())).collect()
    }

    /// A table, as text.
    pub(crate) fn table(&self, name: &str) -> String {
        fs::read_to_string(self.study().join(format!("tables/{name}.csv"))).unwrap()
    }

    /// The rows of a table.
    pub(crate) fn rows(&self, name: &str) -> Vec<Row> {
        rows_of(&self.table(name))
    }
}

/// The folder of the cohort.
pub(crate) fn cohort() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-anonymised")
}

/// The rows of a table in CSV.
pub(crate) fn rows_of(text: &str) -> Vec<Row> {
    let text = text.trim_start_matches('\u{feff}');
    csv::Reader::from_reader(text.as_bytes()).deserialize().map(Result::unwrap).collect()
}

/// The one run that most tests look at, two cases at a time.
pub(crate) fn measured() -> &'static Measured {
    static RUN: OnceLock<Measured> = OnceLock::new();
    RUN.get_or_init(|| Measured::with_jobs(2))
}

/// Whether `UPDATE=1` asks for files to be rewritten instead of compared.
pub(crate) fn updating() -> bool {
    std::env::var("UPDATE").is_ok_and(|v| v == "1")
}
