//! `study.xlsx`: the tables of lesions, plans and patients, the flow and the dictionary for people who
//! live in a spreadsheet, made from the tables as they were written. Three rows stand above the data:
//! labels, units, and the names that the tables have. A value is rounded to what its bounds support;
//! the tables have all digits. Numbers are numbers and identifiers are text; a text that begins like
//! a formula stays a text. The same tables give the same bytes.

use std::collections::BTreeMap;
use std::path::Path;

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, Worksheet, XlsxError};

use super::all_tables::table;
use super::analysis::ChosenColumns;
use super::column::{Definition, Kind};
use super::dictionary::definitions;
use super::frame::{LoadedTable, flags, integers, reals, texts};
use super::pool::CENTRES;
use super::read_study::StudyTables;
use super::rounding::{End, Rounding, short};
use super::run::CAUTION;
use super::user::user_file::ReadError;
use super::wide::NAMES as WIDE;
use super::wide::values::{OF_LESION, OF_PLAN};
use super::write_file::{WriteError, replace_file};

/// Name of the file in a study folder.
pub const FILE: &str = "study.xlsx";

/// Rows of a sheet, those above the data included.
const SHEET_ROWS: usize = 1_048_576;
/// The first row of data, from 0: labels, units and names stand above.
const FIRST_ROW: u32 = 3;
/// A whole number beyond this is not kept by a sheet, in which all numbers are doubles.
const EXACT: i64 = 1 << 53;
/// The table for a paper, and the one with its bounds.
const ANALYSIS: [&str; 2] = ["analysis", "analysis_bounds"];
const FURTHER: [&str; 2] = ["flow", "dictionary"];
const FIRST: &str = "read_me";

/// The tables that the workbook shows, in their order; that of centres where there is one.
fn shown(by_centre: bool) -> impl Iterator<Item = &'static str> {
    let centres = by_centre.then_some(CENTRES.name);
    ANALYSIS.into_iter().chain(WIDE).chain(centres).chain(FURTHER)
}

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

/// Writes the workbook of the study at `folder`, of which table `analysis` has the `chosen` columns.
///
/// # Errors
/// When a table cannot be read back or the file cannot be written.
pub fn write_workbook(
    folder: &Path,
    chosen: &ChosenColumns,
    path: &Path,
) -> Result<(), WorkbookError> {
    let files = StudyTables::of_study(folder)?;
    let mut frames = Vec::new();
    for name in shown(chosen.is_by_centre()) {
        if let Some(frame) = files.read(name) {
            frames.push((name, frame?));
        }
    }
    let bytes = bytes(&frames, chosen)?;
    Ok(replace_file(path, |to| to.write_all(&bytes))?)
}

type Frames = [(&'static str, LoadedTable)];

fn bytes(frames: &Frames, chosen: &ChosenColumns) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    // A time of its own would make every file differ.
    let time = ExcelDateTime::from_ymd(2000, 1, 1)?;
    book.set_properties(&DocProperties::new().set_creation_datetime(&time));
    let bold = Format::new().set_bold();
    first_sheet(book.add_worksheet(), frames, &bold)?;
    for (name, frame) in frames.iter().filter(|(_, f)| fits(f)) {
        let sheet = book.add_worksheet();
        sheet.set_name(*name)?;
        let rounded = rounded(name, frames, chosen);
        let columns = table(name).map(|t| definitions(t, chosen)).unwrap_or_default();
        Filling { sheet, frame, rounded, bold: &bold }.fill(&columns)?;
    }
    book.save_to_buffer()
}

fn fits(frame: &LoadedTable) -> bool {
    frame.height() + 3 <= SHEET_ROWS
}

fn first_sheet(sheet: &mut Worksheet, frames: &Frames, bold: &Format) -> Result<(), XlsxError> {
    sheet.set_name(FIRST)?;
    sheet.set_column_width(0, 24)?;
    sheet.set_column_width(1, 100)?;
    let mut lines = Vec::new();
    for (name, words) in [
        ("caution", CAUTION),
        (
            "rows",
            "above the data: labels, units, and the names that the tables have; programs skip two rows",
        ),
        (
            "analysis",
            "a row is a lesion, a column what columns.csv in the folder of the study asks for; only \
             values that count, so that an empty cell means: look into analysis_bounds, whose rows \
             are the same, with lower and upper bound and state",
        ),
        (
            "values",
            "elsewhere each value has its lower and upper numerical bound beside it (_low_, _high_ in \
             the name), nothing clinical, and why there is or is not one (_status); an empty cell is \
             no zero",
        ),
        (
            "digits",
            "a value ends with the digit in which half the width of its bounds begins, and its bounds \
             are rounded outwards to the same digit; numbers without two bounds have six digits; all \
             digits are in tables/",
        ),
        ("bound", "a status of a one-sided value: the true one is at least, or at most, the bound"),
        ("all values", "tables/metrics.csv and .parquet, in long form"),
    ] {
        lines.push((name, words.to_owned()));
    }
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

/// How the numbers of a column are rounded.
struct Rounded {
    end: End,
    /// By row; absent where bounds do not tell.
    rows: Vec<Option<Rounding>>,
}

/// How the values of a table and their bounds are rounded, by column.
fn rounded(name: &str, frames: &Frames, chosen: &ChosenColumns) -> BTreeMap<String, Rounded> {
    let frame = |name: &str| frames.iter().find(|(n, _)| *n == name).map(|(_, frame)| frame);
    let of_analysis = ANALYSIS.contains(&name);
    let bounds_in = if of_analysis { ANALYSIS[1] } else { name };
    let Some(bounds) = frame(bounds_in) else { return BTreeMap::new() };
    let mut values: Vec<(&str, [String; 2])> = Vec::new();
    if of_analysis {
        values.extend(chosen.bounds().map(|(value, [low, high, _])| (value, [low, high])));
    } else {
        let own = if name == "lesions_wide" { OF_LESION } else { OF_PLAN };
        values
            .extend(own.iter().map(|v| (v.names[0], [v.names[1], v.names[2]].map(str::to_owned))));
    }
    let mut found = BTreeMap::new();
    for (value, [low, high]) in values {
        let (lows, highs) = (reals(bounds, &low), reals(bounds, &high));
        let both = lows.into_iter().zip(highs);
        let rows: Vec<_> = both.map(|(low, high)| Rounding::of(low?, high?)).collect();
        for (column, end) in
            [(value, End::Nearest), (&*low, End::Downwards), (&*high, End::Upwards)]
        {
            found.insert(column.to_owned(), Rounded { end, rows: rows.clone() });
        }
    }
    found
}

/// A sheet on its way.
struct Filling<'s> {
    sheet: &'s mut Worksheet,
    frame: &'s LoadedTable,
    rounded: BTreeMap<String, Rounded>,
    bold: &'s Format,
}

impl Filling<'_> {
    fn fill(mut self, columns: &[Definition]) -> Result<(), XlsxError> {
        for (place, column) in (0_u16..).zip(columns) {
            let above = [column.label(), &*column.unit, &*column.name];
            for (row, text) in (0..FIRST_ROW).zip(above) {
                self.sheet.write_string_with_format(row, place, text, self.bold)?;
            }
            let letters = u32::try_from(column.name.len()).unwrap_or(u32::MAX).clamp(8, 34);
            self.sheet.set_column_width(place, letters)?;
            self.cells(place, column)?;
        }
        self.sheet.set_freeze_panes(FIRST_ROW, u16::from(columns.len() > 2))?;
        let last = u32::try_from(self.frame.height()).unwrap_or(u32::MAX);
        if let Some(end) = u16::try_from(columns.len()).ok().and_then(|n| n.checked_sub(1)) {
            self.sheet.autofilter(FIRST_ROW - 1, 0, last.saturating_add(FIRST_ROW - 1), end)?;
        }
        Ok(())
    }

    fn cells(&mut self, place: u16, column: &Definition) -> Result<(), XlsxError> {
        let (sheet, frame) = (&mut *self.sheet, self.frame);
        match column.kind {
            Kind::Text => {
                for (row, text) in (FIRST_ROW..).zip(texts(frame, &column.name)) {
                    if let Some(text) = text {
                        sheet.write_string(row, place, text)?;
                    }
                }
            }
            Kind::Integer => {
                for (row, value) in (FIRST_ROW..).zip(integers(frame, &column.name)) {
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
            Kind::Real => return self.numbers(place, &column.name),
            Kind::Boolean => {
                for (row, value) in (FIRST_ROW..).zip(flags(frame, &column.name)) {
                    if let Some(value) = value {
                        sheet.write_boolean(row, place, value)?;
                    }
                }
            }
        }
        Ok(())
    }

    fn numbers(&mut self, place: u16, name: &str) -> Result<(), XlsxError> {
        let rounded = self.rounded.get(name);
        for (row, value) in reals(self.frame, name).into_iter().enumerate() {
            let Some(value) = value else { continue };
            let Ok(line) = u32::try_from(row) else { break };
            let line = line.saturating_add(FIRST_ROW);
            let how = rounded.and_then(|r| Some((r.rows.get(row).copied()??, r.end)));
            match how {
                Some((rounding, end)) => {
                    let format = Format::new().set_num_format(rounding.number_format());
                    let value = rounding.apply(value, end);
                    self.sheet.write_number_with_format(line, place, value, &format)?;
                }
                None => {
                    self.sheet.write_number(line, place, short(value))?;
                }
            }
        }
        Ok(())
    }
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
        assert!(
            write_workbook(folder.path(), &ChosenColumns::default(), &path).is_err()
                && !path.exists()
        );
        let example = Example::new();
        let names: Vec<&str> = shown(false).collect();
        let database = folder.path().join(super::super::database::FILE);
        let to = Destination { folder: &folder.path().join("tables"), database: Some(&database) };
        write_tables(&example.study(), &names, to).unwrap();
        write_workbook(folder.path(), &ChosenColumns::default(), &path).unwrap();
        let first = std::fs::read(&path).unwrap();
        write_workbook(folder.path(), &ChosenColumns::default(), &path).unwrap();
        assert!(first.starts_with(b"PK") && first == std::fs::read(&path).unwrap());
    }
}
