//! The program run over an archive as a person runs it, with a study that stays between the runs.
//! Nothing is compared here.

use std::fs;
use std::path::PathBuf;

use assert_cmd::Command;

use crate::archive::Archive;
use crate::measured::{Row, rows_of};

/// What a command came to.
#[derive(Debug)]
pub(super) struct Ended {
    pub(super) code: i32,
    pub(super) out: String,
    pub(super) err: String,
}

/// A study with readable identifiers.
pub(super) struct Study {
    place: tempfile::TempDir,
}

impl Study {
    pub(super) fn new() -> Self {
        Self { place: tempfile::tempdir().unwrap() }
    }

    pub(super) fn root(&self) -> PathBuf {
        self.place.path().join("study")
    }

    /// Runs a command on the study.
    pub(super) fn run(&self, words: &[&str]) -> Ended {
        let output = Command::cargo_bin("tidydose")
            .unwrap()
            .current_dir(self.place.path())
            .args(words)
            .args(["--study", self.root().to_str().unwrap()])
            .output()
            .unwrap();
        let text = |bytes| String::from_utf8(bytes).unwrap();
        let code = output.status.code().unwrap();
        Ended { code, out: text(output.stdout), err: text(output.stderr) }
    }

    pub(super) fn measure(&self, archive: &Archive) -> Ended {
        let archive = archive.path().to_str().unwrap();
        self.run(&["measure", archive, "--keep-ids", "--metric-list", "basic"])
    }

    pub(super) fn survey(&self, archive: &Archive) -> Ended {
        self.run(&["survey", archive.path().to_str().unwrap(), "--keep-ids"])
    }

    /// The rows of a file of the study; none where there is no such file.
    pub(super) fn rows(&self, name: &str) -> Vec<Row> {
        rows_of(&fs::read_to_string(self.root().join(name)).unwrap_or_default())
    }

    pub(super) fn table(&self, name: &str) -> Vec<Row> {
        self.rows(&format!("tables/{name}.csv"))
    }

    /// Writes an answer into each row of a user's file that is `meant`.
    pub(super) fn answer(
        &self,
        name: &str,
        column: &str,
        answer: &str,
        meant: impl Fn(&Row) -> bool,
    ) {
        let mut rows = self.rows(name);
        assert!(rows.iter().any(&meant), "{name} has no such row: {rows:#?}");
        for row in rows.iter_mut().filter(|row| meant(row)) {
            row.insert(column.to_owned(), answer.to_owned());
        }
        let mut writer = csv::Writer::from_path(self.root().join(name)).unwrap();
        writer.write_record(rows[0].keys()).unwrap();
        for row in rows {
            writer.write_record(row.values()).unwrap();
        }
        writer.flush().unwrap();
    }

    /// Writes a sheet of outcomes beside the study.
    pub(super) fn sheet(&self, text: &str) -> String {
        let path = self.place.path().join("outcomes.csv");
        fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    }
}
