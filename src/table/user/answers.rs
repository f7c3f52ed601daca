//! What a person answered on the page or in the workbook of questions: one file, taken over into the
//! files that keep decisions. Everything is checked before anything is written; an answer that is
//! not accepted, or that says otherwise than a row that is there, refuses the whole file with its
//! place, question and value and with what would be accepted.
//!
//! | column | what stands there |
//! |---|---|
//! | `file` | the file that keeps the answer, such as `names.csv` |
//! | `subject` | ROI Name, question of `choices.csv`, lesion_id, label of the clinic, finding_id or `all:CODE` |
//! | `patient_id`, `plan_id`, `roi_number` | what else finds the row; empty where nothing does |
//! | `answer` | a standard name, `role:WORD`, a word, or a number; empty is no answer |
//! | `comment`, `decided_by`, `decided_on` | kept with the answer where the file has room for it |
//! | `question` | what was asked, for people |

use std::path::{Path, PathBuf};

use strum::IntoEnumIterator;

use super::questions::{Key, Place};
use super::user_file::{ReadError, UserFile};
use super::xlsx::{self, Cell, Which};

mod accepted;
mod take_over;

pub use take_over::{TakeOverError, TakenOver, take_over};

/// The columns of a file of answers.
pub const COLUMNS: [&str; 10] = [
    "file",
    "subject",
    "patient_id",
    "plan_id",
    "roi_number",
    "answer",
    "comment",
    "decided_by",
    "decided_on",
    "question",
];
const REQUIRED: &[&str] = &["file", "subject", "plan_id", "roi_number", "answer"];

/// How files of answers in a study folder are called: so, or with something between that and the
/// ending, as browsers number a second file (`answers (1).csv`).
pub const STEM: &str = "answers";

/// The workbook of questions.
pub const WORKBOOK: &str = "decide.xlsx";
/// Its sheet with the answers.
pub const SHEET: &str = "questions";

/// An answer, as it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// The file it comes from.
    pub path: PathBuf,
    /// Its row there as a spreadsheet counts.
    pub line: usize,
    /// What was asked, for people; may be empty.
    pub question: String,
    /// The row that it is for.
    pub key: Key,
    /// What was answered.
    pub answer: String,
    /// Why.
    pub comment: String,
    /// Who answered.
    pub decided_by: String,
    /// When.
    pub decided_on: String,
}

impl Answer {
    /// What is wrong with it.
    fn fault(&self, reason: &str) -> String {
        let about = if self.question.is_empty() { &self.key.subject } else { &self.question };
        let answer = &self.answer;
        format!("row {}, question `{about}`, answer `{answer}`: {reason}", self.line)
    }
}

/// The files of answers that lie in a study folder, by name; the workbook last.
///
/// # Errors
/// When the folder is there and cannot be read.
pub fn files_in(study: &Path) -> Result<Vec<PathBuf>, ReadError> {
    let fault = |e: std::io::Error| ReadError { path: study.to_path_buf(), reason: e.to_string() };
    let mut files = Vec::new();
    if study.is_dir() {
        for entry in std::fs::read_dir(study).map_err(fault)? {
            let path = entry.map_err(fault)?.path();
            if is_of_answers(&path) {
                files.push(path);
            }
        }
    }
    files.sort();
    let workbook = study.join(WORKBOOK);
    files.extend(Some(workbook).filter(|path| path.is_file()));
    Ok(files)
}

/// Whether a file is called as saved answers are.
#[must_use]
pub fn is_of_answers(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy().to_lowercase();
    path.is_file() && name.starts_with(STEM) && name.ends_with(".csv")
}

/// Reads a file of answers, CSV or workbook; rows without an answer are none.
///
/// # Errors
/// When it cannot be read, lacks a column, or names a file that keeps no answers.
pub fn read(path: &Path) -> Result<Vec<Answer>, ReadError> {
    let fault = |reason: String| ReadError { path: path.to_path_buf(), reason };
    let bytes = std::fs::read(path).map_err(|e| fault(e.to_string()))?;
    let is_workbook = bytes.starts_with(b"PK");
    let file = if is_workbook {
        UserFile::of_cells(cells_of(&bytes).map_err(fault)?, path, REQUIRED)?
    } else {
        UserFile::of_text(&bytes, path, REQUIRED)?
    };
    let (mut answers, mut faults) = (Vec::new(), Vec::new());
    for row in 0..file.row_count() {
        if file.text(row, "answer").is_empty() {
            continue;
        }
        match answer(&file, row, path) {
            Ok(answer) => answers.push(answer),
            Err(reason) => faults.push(reason),
        }
    }
    if faults.is_empty() { Ok(answers) } else { Err(fault(faults.join("\n  "))) }
}

/// The cells of the workbook as a file of answers has them; a number as it is written there.
pub(crate) fn cells_of(bytes: &[u8]) -> Result<Vec<Vec<String>>, String> {
    let text = |cell: Cell| match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) | Cell::Number { written: text, .. } => text,
        Cell::Truth(truth) => if truth { "yes" } else { "no" }.to_owned(),
    };
    let sheet = xlsx::read(bytes, Which::Named(SHEET))?;
    Ok(sheet.rows.into_iter().map(|row| row.into_iter().map(text).collect()).collect())
}

fn answer(file: &UserFile, row: usize, path: &Path) -> Result<Answer, String> {
    let text = |column| file.text(row, column).to_owned();
    let line = UserFile::line(row);
    let named = text("file");
    let place = Place::of_file(&named).ok_or_else(|| {
        let all: Vec<&str> = Place::iter().map(Place::file).collect();
        format!("row {line}, column `file`: `{named}`: one of {} is accepted", all.join(", "))
    })?;
    // A structure's name may begin or end with a blank, and means another one without it.
    let exact = file.exact_text(row, "subject").to_owned();
    Ok(Answer {
        path: path.to_path_buf(),
        line,
        question: text("question"),
        key: Key {
            place,
            subject: if place == Place::Names { exact } else { text("subject") },
            patient_id: text("patient_id"),
            plan_id: text("plan_id"),
            roi_number: text("roi_number"),
        },
        answer: text("answer"),
        comment: text("comment"),
        decided_by: text("decided_by"),
        decided_on: text("decided_on"),
    })
}

#[cfg(test)]
mod tests;
