//! `check_worksheet.csv` after a person filled it in: for each row the value that the planning report
//! states. A row names its value by the keys of the tables, or as the hospital knows it, by patient, plan
//! and structure. The sheet is taken as a whole or refused as a whole, with every fault named by row, column
//! and value. What was measured is not in it, so that the reading is blind.

use std::path::Path;

use super::user_file::{ReadError, UserFile};
use tidydose_geometry::units::typed::{self, NotANumber};

/// Columns of the sheet. The last four are the reader's; the second reading is only asked for where the
/// first was held back.
pub const COLUMNS: &[&str] = &[
    "patient_id",
    "plan_id",
    "structure_id",
    "structure",
    "metric",
    "unit",
    "why",
    "report_value",
    "second_reading",
    "read_by",
    "comment",
];

/// Columns by which the hospital names patient, plan and structure.
pub const HOSPITAL_NAMES: [&str; 3] = ["hospital_id", "plan_label", "structure_in_plan"];

/// What a row must have in any case.
const REQUIRED: &[&str] = &["metric", "unit", "report_value"];

/// A row of the sheet.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Checked {
    /// Row as a spreadsheet counts, the header is 1.
    pub row: usize,
    /// Pseudonym as in table plans.
    pub patient_id: String,
    /// As in table plans.
    pub plan_id: String,
    /// As in table structures.
    pub structure_id: String,
    /// Name of the structure.
    pub structure: String,
    /// Metric.
    pub metric: String,
    /// Unit of the value.
    pub unit: String,
    /// Why the row was chosen.
    pub why: String,
    /// What the planning report states; absent when it was not filled in.
    pub report_value: Option<f64>,
    /// The same read once more; absent when nobody did.
    pub second_reading: Option<f64>,
    /// Patient, plan and structure as the hospital names them; empty where the sheet does not.
    pub hospital: [String; 3],
    /// Why the keys of the tables are not found by these names.
    pub not_found: Option<&'static str>,
}

/// Reads the sheet.
///
/// # Errors
/// When it cannot be read or holds a fault; the message lists all faults.
pub fn read(path: &Path) -> Result<Vec<Checked>, ReadError> {
    let fault = |reason: String| ReadError { path: path.to_path_buf(), reason };
    std::fs::metadata(path).map_err(|e| fault(e.to_string()))?;
    let file = UserFile::read(path, REQUIRED, &[])?;
    let (mut rows, mut faults) = (Vec::new(), Vec::new());
    let readings = ["report_value", "second_reading"];
    let typed = (0..file.row_count()).flat_map(|row| readings.map(|c| file.text(row, c)));
    let decimal = typed::decimal_mark(typed);
    for row in 0..file.row_count() {
        let text = |column: &str| file.text(row, column).to_owned();
        let mut reading = |column: &str| {
            let typed = file.text(row, column);
            let found = number(typed, decimal);
            found.unwrap_or_else(|reason| {
                faults.push(format!("row {}, column `{column}`: `{typed}`{reason}", row + 2));
                None
            })
        };
        let [report_value, second_reading] = readings.map(&mut reading);
        rows.push(Checked {
            row: row + 2,
            patient_id: text("patient_id"),
            plan_id: text("plan_id"),
            structure_id: text("structure_id"),
            structure: text("structure"),
            metric: text("metric"),
            unit: text("unit"),
            why: text("why"),
            report_value,
            second_reading,
            hospital: HOSPITAL_NAMES.map(&text),
            not_found: None,
        });
    }
    if rows.is_empty() {
        faults.push("it has no rows".to_owned());
    }
    if faults.is_empty() { Ok(rows) } else { Err(fault(faults.join("\n  "))) }
}

/// Whether a person has already written into the sheet at `path`; such a file is not replaced.
#[must_use]
pub fn is_filled_in(path: &Path) -> bool {
    let Ok(file) = UserFile::read(path, &[], COLUMNS) else { return path.exists() };
    let theirs = ["report_value", "second_reading", "read_by", "comment"];
    (0..file.row_count()).any(|row| theirs.iter().any(|c| !file.text(row, c).is_empty()))
}

/// A number as people type it; absent where nothing was typed. Values are copied from a report that
/// writes all of them in one way.
fn number(text: &str, decimal: Option<char>) -> Result<Option<f64>, String> {
    if text.is_empty() {
        return Ok(None);
    }
    match typed::number_beside(text, decimal) {
        Ok(value) if value >= 0.0 => Ok(Some(value)),
        Err(ambiguous @ NotANumber::Ambiguous { .. }) => Err(format!(" {ambiguous}")),
        _ => Err("; a number of 0 or more in the unit of the row, or nothing, is accepted".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(value: &str) -> (tempfile::TempDir, std::path::PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("sheet.csv");
        let row = ["P", "a", "a/1", "GTV", "Volume[cc]", "cc", "random", value, "", "", ""];
        let text = format!("{}\n{}\n", COLUMNS.join(";"), row.join(";"));
        std::fs::write(&path, text).unwrap();
        (folder, path)
    }

    #[test]
    fn values_are_read_as_people_type_them() {
        for (typed, value) in [("1,25", Some(1.25)), ("1.25", Some(1.25)), ("", None)] {
            let (_folder, path) = sheet(typed);
            let rows = read(&path).unwrap();
            assert_eq!((rows.len(), rows[0].row, rows[0].report_value), (1, 2, value));
            assert_eq!(is_filled_in(&path), value.is_some());
        }
    }

    #[test]
    fn a_fault_names_row_column_and_value() {
        for typed in ["n/a", "-1", "1.2.3", "inf", "1.250"] {
            let (_folder, path) = sheet(typed);
            let said = read(&path).unwrap_err().to_string();
            let wanted = format!("row 2, column `report_value`: `{typed}`");
            assert!(said.contains(&wanted), "{said}");
        }
        let nothing = Path::new("no such sheet.csv");
        assert!(read(nothing).is_err() && !is_filled_in(nothing));
    }
}
