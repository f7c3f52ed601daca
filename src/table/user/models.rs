//! `models.csv` in the folder of a relation: estimates that R or Python made of its `subjects.csv` by
//! the ready scripts beside it, read and never written here.

use std::path::Path;

use sha2::{Digest, Sha256};

use super::user_file::{ReadError, UserFile};
use crate::clinical_words::capital;
use tidydose_rt::digest::hexadecimal;

/// The name of the file.
pub const FILE: &str = "models.csv";
/// The sheet that the estimates are made of, beside it.
pub const SUBJECTS: &str = "subjects.csv";

const COLUMNS: &[&str] = &[
    "model", "term", "measure", "estimate", "low", "high", "p", "n", "patients", "events",
    "software", "version", "note", "relation",
];

/// One estimate.
#[derive(Debug, Clone, PartialEq)]
pub struct ModelRow {
    /// The model, such as cause-specific Cox.
    pub model: String,
    /// The predictor.
    pub term: String,
    /// What is estimated for one unit of it, such as a hazard ratio.
    pub measure: String,
    /// Absent where the model could not be fitted; `note` says why.
    pub estimate: Option<f64>,
    /// Lower end of the 95 % interval.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// p by Wald's test, or by the profile where the model says so.
    pub p: Option<f64>,
    /// Observations.
    pub n: usize,
    /// Patients they belong to.
    pub patients: usize,
    /// Events.
    pub events: usize,
    /// Language and package.
    pub software: String,
    /// Version of the package.
    pub version: String,
    /// What the package said.
    pub note: String,
    /// The mark of the subjects it was made of, see [`mark`].
    pub relation: String,
}

impl ModelRow {
    /// What made the estimate, as a heading: model, measure, software.
    #[must_use]
    pub fn heading(&self) -> String {
        let Self { model, measure, software, version, .. } = self;
        capital(&format!("{model}, {measure} ({software} {version})"))
    }
}

/// A short mark of a sheet of subjects, by which estimates are known to be of it.
#[must_use]
pub fn mark(subjects: &[u8]) -> String {
    let mut digits = hexadecimal(&Sha256::digest(subjects));
    digits.truncate(16);
    digits
}

/// Reads the file; no rows where there is none.
///
/// # Errors
/// When it cannot be read, lacks a column, or a cell that must hold a number does not.
pub fn read(path: &Path) -> Result<Vec<ModelRow>, ReadError> {
    let file = UserFile::read(path, COLUMNS, COLUMNS)?;
    let fault = |reason: String| ReadError { path: path.to_path_buf(), reason };
    (0..file.row_count()).map(|row| one(&file, row).map_err(fault)).collect()
}

fn one(file: &UserFile, row: usize) -> Result<ModelRow, String> {
    let text = |column: &str| file.text(row, column).to_owned();
    let wrong = |column: &str| {
        // The header is row 1 of a spreadsheet.
        let (line, found) = (row + 2, file.text(row, column));
        format!("row {line}, column `{column}`: `{found}` is no number")
    };
    let real = |column: &str| match file.text(row, column) {
        "" | "NA" | "nan" => Ok(None),
        cell => match cell.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(Some(value)),
            // An end without limit is no number of a table.
            Ok(_) => Ok(None),
            Err(_) => Err(wrong(column)),
        },
    };
    let count = |column: &str| file.text(row, column).parse().map_err(|_| wrong(column));
    Ok(ModelRow {
        model: text("model"),
        term: text("term"),
        measure: text("measure"),
        estimate: real("estimate")?,
        low: real("low")?,
        high: real("high")?,
        p: real("p")?,
        n: count("n")?,
        patients: count("patients")?,
        events: count("events")?,
        software: text("software"),
        version: text("version"),
        note: text("note"),
        relation: text("relation"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "model,term,measure,estimate,low,high,p,n,patients,events,software,version,note,relation,script\n";

    fn of(rows: &str) -> Result<Vec<ModelRow>, ReadError> {
        let place = tempfile::tempdir().unwrap();
        let path = place.path().join(FILE);
        std::fs::write(&path, format!("{HEAD}{rows}")).unwrap();
        read(&path)
    }

    #[test]
    fn estimates_are_read_and_a_failed_model_keeps_its_reason() {
        let rows =
            of("Cox,age,hazard ratio,1.5,1.1,Inf,0.02,40,20,7,R survival,3.5,,ab,models.R\n\
                       Cox,sex,hazard ratio,,,,,40,20,0,R survival,3.5,nobody had it,ab,models.R\n")
            .unwrap();
        assert_eq!((rows[0].estimate, rows[0].high, rows[0].events), (Some(1.5), None, 7));
        assert_eq!((rows[1].estimate, rows[1].note.as_str()), (None, "nobody had it"));
        assert_eq!(rows[0].heading(), "Cox, hazard ratio (R survival 3.5)");
        assert_eq!(read(Path::new("/nowhere/models.csv")).unwrap(), []);
    }

    #[test]
    fn what_is_no_number_is_named() {
        let said = of("Cox,age,hazard ratio,much,,,,40,20,7,R,3,,ab,x\n").unwrap_err().to_string();
        assert!(said.contains("row 2, column `estimate`: `much` is no number"), "{said}");
    }

    #[test]
    fn other_subjects_have_another_mark() {
        assert_eq!(mark(b"a"), "ca978112ca1bbdca");
        assert_ne!(mark(b"a"), mark(b"b"));
    }
}
