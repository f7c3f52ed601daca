//! `study.xlsx`: the wide tables, the flow and the dictionary for people who live in a spreadsheet, made
//! from the tables as they were written. Numbers are numbers and identifiers are text; a text that
//! begins like a formula stays a text. The same tables give the same bytes.

use std::path::Path;

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, Worksheet, XlsxError};

use super::all_tables::table;
use super::column::{Definition, Kind};
use super::dictionary::definitions;
use super::frame::{LoadedTable, flags, integers, reals, texts};
use super::read_study::StudyTables;
use super::run::CAUTION;
use super::user::user_file::ReadError;
use super::wide::NAMES as WIDE;
use super::write_file::{WriteError, replace_file};

/// Name of the file in a study folder.
pub const FILE: &str = "study.xlsx";

/// Rows of a sheet, names included.
const SHEET_ROWS: usize = 1_048_576;
/// A whole number beyond this is not kept by a sheet, in which all numbers are doubles.
const EXACT: i64 = 1 << 53;
const FURTHER: [&str; 2] = ["flow", "dictionary"];
const FIRST: &str = "read_me";

/// A workbook could not be made.
#[derive(Debug, thiserror::Error)]
pub enum WorkbookError {
    /// A table cannot be read back.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The file cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The workbook cannot hold something.
    #[error("study.xlsx cannot be made: {0}; the tables in CSV and Parquet are whole")]
    Sheet(#[from] XlsxError),
}

/// Writes the workbook of the study at `folder`.
///
/// # Errors
/// When a table cannot be read back or the file cannot be written.
pub fn write_workbook(folder: &Path, path: &Path) -> Result<(), WorkbookError> {
    let files = StudyTables::of_study(folder)?;
    let mut frames = Vec::new();
    for name in WIDE.into_iter().chain(FURTHER) {
        if let Some(frame) = files.read(name) {
            frames.push((name, frame?));
        }
    }
    let bytes = bytes(&frames)?;
    Ok(replace_file(path, |to| to.write_all(&bytes))?)
}

fn bytes(frames: &[(&'static str, LoadedTable)]) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    // A time of its own would make every file differ.
    let time = ExcelDateTime::from_ymd(2000, 1, 1)?;
    book.set_properties(&DocProperties::new().set_creation_datetime(&time));
    let bold = Format::new().set_bold();
    first_sheet(book.add_worksheet(), frames, &bold)?;
    for (name, frame) in frames.iter().filter(|(_, f)| fits(f)) {
        let sheet = book.add_worksheet();
        sheet.set_name(*name)?;
        fill(sheet, name, frame, &bold)?;
    }
    book.save_to_buffer()
}

fn fits(frame: &LoadedTable) -> bool {
    frame.height() < SHEET_ROWS
}

fn first_sheet(
    sheet: &mut Worksheet,
    frames: &[(&'static str, LoadedTable)],
    bold: &Format,
) -> Result<(), XlsxError> {
    sheet.set_name(FIRST)?;
    sheet.set_column_width(0, 24)?;
    sheet.set_column_width(1, 100)?;
    let mut lines = vec![
        ("caution", CAUTION.to_owned()),
        (
            "values",
            "each value has its lower and upper numerical bound beside it (_low_, _high_ in the name), nothing \
             clinical, and why there is or is not one (_status); an empty cell is no zero"
                .to_owned(),
        ),
        (
            "bound",
            "a status of a one-sided value: the true one is at least, or at most, what is shown"
                .to_owned(),
        ),
        ("all values", "tables/metrics.csv and .parquet, in long form".to_owned()),
    ];
    for (name, frame) in frames {
        let grain = table(name).map_or("", |t| t.grain);
        let rows = frame.height();
        let words = if fits(frame) {
            format!("{rows} rows; a row is {grain}")
        } else {
            format!("{rows} rows, more than a sheet holds: in tables/{name}.parquet only")
        };
        lines.push((name, words));
    }
    for (row, (name, words)) in (0..).zip(lines) {
        sheet.write_string_with_format(row, 0, name, bold)?;
        sheet.write_string(row, 1, words)?;
    }
    Ok(())
}

fn fill(
    sheet: &mut Worksheet,
    name: &str,
    frame: &LoadedTable,
    bold: &Format,
) -> Result<(), XlsxError> {
    let columns = table(name).map(definitions).unwrap_or_default();
    for (place, column) in (0_u16..).zip(&columns) {
        sheet.write_string_with_format(0, place, column.name, bold)?;
        let letters = u32::try_from(column.name.len()).unwrap_or(u32::MAX).clamp(8, 34);
        sheet.set_column_width(place, letters)?;
        cells(sheet, place, column, frame)?;
    }
    sheet.set_freeze_panes(1, u16::from(columns.len() > 2))?;
    let last = u32::try_from(frame.height()).unwrap_or(u32::MAX);
    if let Some(end) = u16::try_from(columns.len()).ok().and_then(|n| n.checked_sub(1)) {
        sheet.autofilter(0, 0, last, end)?;
    }
    Ok(())
}

fn cells(
    sheet: &mut Worksheet,
    place: u16,
    column: &Definition,
    frame: &LoadedTable,
) -> Result<(), XlsxError> {
    match column.kind {
        Kind::Text => {
            for (row, text) in (1..).zip(texts(frame, column.name)) {
                if let Some(text) = text {
                    sheet.write_string(row, place, text)?;
                }
            }
        }
        Kind::Integer => {
            for (row, value) in (1..).zip(integers(frame, column.name)) {
                match value {
                    Some(value) if value.abs() > EXACT => {
                        sheet.write_string(row, place, value.to_string())?;
                    }
                    #[expect(clippy::cast_precision_loss, reason = "exact up to 2 to the 53")]
                    Some(value) => {
                        sheet.write_number(row, place, value as f64)?;
                    }
                    None => {}
                }
            }
        }
        Kind::Real => {
            for (row, value) in (1..).zip(reals(frame, column.name)) {
                if let Some(value) = value {
                    sheet.write_number(row, place, value)?;
                }
            }
        }
        Kind::Boolean => {
            for (row, value) in (1..).zip(flags(frame, column.name)) {
                if let Some(value) = value {
                    sheet.write_boolean(row, place, value)?;
                }
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::example::Example;
    use crate::{Destination, write_tables};

    #[test]
    fn the_same_tables_give_the_same_bytes_and_a_study_without_tables_none() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE);
        assert!(write_workbook(folder.path(), &path).is_err() && !path.exists());
        let example = Example::new();
        let names: Vec<&str> = WIDE.into_iter().chain(FURTHER).collect();
        let database = folder.path().join(super::super::database::FILE);
        let to = Destination { folder: &folder.path().join("tables"), database: Some(&database) };
        write_tables(&example.study(), &names, to).unwrap();
        write_workbook(folder.path(), &path).unwrap();
        let first = std::fs::read(&path).unwrap();
        write_workbook(folder.path(), &path).unwrap();
        assert!(first.starts_with(b"PK") && first == std::fs::read(&path).unwrap());
    }
}
