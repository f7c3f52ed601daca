//! A sheet as rows of texts below the names of their columns, from CSV in any usual encoding and
//! separator, or from the first sheet of an XLSX workbook. Knows nothing of what the columns mean.

use std::collections::BTreeSet;
use std::path::Path;

use encoding::all::{UTF_16BE, UTF_16LE, WINDOWS_1252};
use encoding::{DecoderTrap, Encoding};

use crate::user::user_file::{BYTE_ORDER_MARK, ReadError, separator_of};
use crate::user::xlsx::{self, Cell, Which};

/// A sheet as it stands in its file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Grid {
    /// Names of the columns; each once, none empty.
    pub columns: Vec<String>,
    /// Rows that are not empty, each as wide as the columns.
    pub rows: Vec<GridRow>,
    /// What had to be taken for granted to read it.
    pub notes: Vec<String>,
}

/// A row of a sheet.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct GridRow {
    /// As a spreadsheet counts.
    pub line: usize,
    /// Cells without surrounding white space.
    pub cells: Vec<String>,
}

impl Grid {
    /// Reads a file.
    ///
    /// # Errors
    /// When it cannot be read, or is neither CSV nor XLSX.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let fault = |reason: String| ReadError { path: path.to_path_buf(), reason };
        let bytes = std::fs::read(path).map_err(|e| fault(e.to_string()))?;
        Self::of_bytes(&bytes).map_err(fault)
    }

    fn of_bytes(bytes: &[u8]) -> Result<Self, String> {
        if bytes.starts_with(b"PK\x03\x04") {
            let (rows, notes) = of_workbook(bytes)?;
            return Ok(Self::of_records(rows, notes));
        }
        // The older format of spreadsheets is a compound file.
        if bytes.starts_with(b"\xd0\xcf\x11\xe0") {
            return Err("is a spreadsheet of the old kind (.xls); save it as .xlsx or CSV".into());
        }
        let (text, notes) = decoded(bytes);
        Ok(Self::of_records(records(&text)?, notes))
    }

    /// The first row that is not empty names the columns.
    fn of_records(records: Vec<Vec<String>>, notes: Vec<String>) -> Self {
        let mut grid = Self { notes, ..Self::default() };
        let trimmed = records.into_iter().enumerate().map(|(i, cells)| GridRow {
            line: i + 1,
            cells: cells.iter().map(|c| c.trim().to_owned()).collect(),
        });
        let mut filled = trimmed.filter(|row| row.cells.iter().any(|c| !c.is_empty()));
        let Some(header) = filled.next() else { return grid };
        if header.line > 1 {
            grid.notes.push(format!("row {} names the columns", header.line));
        }
        grid.rows = filled.collect();
        let width = grid.rows.iter().map(|r| r.cells.len()).fold(header.cells.len(), usize::max);
        grid.columns = unique(&header.cells, width);
        for row in &mut grid.rows {
            row.cells.resize(width, String::new());
        }
        grid.without_empty_columns()
    }

    /// A column without name and without any cell is none.
    fn without_empty_columns(mut self) -> Self {
        let empty = |at: usize| self.rows.iter().all(|r| r.cells[at].is_empty());
        let kept: Vec<usize> = (0..self.columns.len())
            .filter(|at| !unnamed(&self.columns[*at]) || !empty(*at))
            .collect();
        let pick = |cells: &[String]| kept.iter().map(|at| cells[*at].clone()).collect();
        self.columns = pick(&self.columns);
        for row in &mut self.rows {
            row.cells = pick(&row.cells);
        }
        self
    }

    /// The place of a column.
    #[must_use]
    pub fn place(&self, column: &str) -> Option<usize> {
        self.columns.iter().position(|c| c == column)
    }

    /// All cells of a column.
    pub fn column(&self, at: usize) -> impl Iterator<Item = &str> {
        self.rows.iter().map(move |r| r.cells.get(at).map_or("", String::as_str))
    }
}

const UNNAMED: &str = "column ";

fn unnamed(name: &str) -> bool {
    name.strip_prefix(UNNAMED).is_some_and(|n| n.bytes().all(|b| b.is_ascii_digit()))
}

fn unique(header: &[String], width: usize) -> Vec<String> {
    let mut seen = BTreeSet::new();
    let mut names = Vec::new();
    for at in 0..width {
        let typed = header.get(at).map_or("", String::as_str);
        let plain = typed.split_whitespace().collect::<Vec<_>>().join(" ");
        let plain = if plain.is_empty() { format!("{UNNAMED}{}", at + 1) } else { plain };
        let mut name = plain.clone();
        let mut number = 2;
        while !seen.insert(name.clone()) {
            name = format!("{plain} ({number})");
            number += 1;
        }
        names.push(name);
    }
    names
}

/// The first sheet of a workbook as texts: what a person sees in a cell, with dates as YYYY-MM-DD.
fn of_workbook(bytes: &[u8]) -> Result<(Vec<Vec<String>>, Vec<String>), String> {
    let sheet = xlsx::read(bytes, Which::FirstShown)?;
    let mut notes = Vec::new();
    if sheet.sheets > 1 {
        notes.push(format!("only sheet `{}` of {} is read", sheet.name, sheet.sheets));
    }
    let rows = sheet.rows.iter().map(|row| row.iter().map(shown).collect()).collect();
    Ok((rows, notes))
}

fn shown(cell: &Cell) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) => text.clone(),
        Cell::Truth(truth) => truth.to_string(),
        Cell::Number { date: Some(date), .. } => date.format("%Y-%m-%d").to_string(),
        Cell::Number { written, .. } => shortest(written),
    }
}

/// A number in its shortest form.
fn shortest(written: &str) -> String {
    let Ok(found) = written.parse::<f64>() else { return written.to_owned() };
    let text = found.to_string();
    // Three digits behind a point could be thousands to whoever reads what a person typed; here the
    // point is a decimal one for certain.
    match text.split_once('.') {
        Some((_, behind)) if behind.len() == 3 => format!("{text}0"),
        _ => text,
    }
}

fn records(text: &str) -> Result<Vec<Vec<String>>, String> {
    // A line that tells a spreadsheet the separator, and is no row.
    let (told, text) = match text.strip_prefix("sep=").and_then(|t| t.split_once('\n')) {
        Some((separator, rest)) => (separator.bytes().next(), rest),
        None => (None, text),
    };
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(told.unwrap_or_else(|| separator_of(text.trim_start().as_bytes())))
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| e.to_string())?;
        rows.push(record.iter().map(str::to_owned).collect());
    }
    Ok(rows)
}

/// The text, and what was taken for granted where nothing in the file says its encoding.
fn decoded(bytes: &[u8]) -> (String, Vec<String>) {
    let by = |encoding: &dyn Encoding, bytes: &[u8]| {
        encoding.decode(bytes, DecoderTrap::Replace).unwrap_or_default()
    };
    if let Some(rest) = bytes.strip_prefix(BYTE_ORDER_MARK) {
        return (String::from_utf8_lossy(rest).into_owned(), Vec::new());
    }
    if let Some(rest) = bytes.strip_prefix(b"\xff\xfe") {
        return (by(UTF_16LE, rest), Vec::new());
    }
    if let Some(rest) = bytes.strip_prefix(b"\xfe\xff") {
        return (by(UTF_16BE, rest), Vec::new());
    }
    // Half of the bytes of Western text in UTF-16 are zero, and none is in any other encoding.
    let zeros = |odd: usize| bytes.iter().skip(odd).step_by(2).filter(|b| **b == 0).count();
    if 4 * (zeros(0) + zeros(1)) > bytes.len() {
        let little = zeros(1) > zeros(0);
        let text = if little { by(UTF_16LE, bytes) } else { by(UTF_16BE, bytes) };
        return (text, vec!["read as UTF-16".to_owned()]);
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => (text.to_owned(), Vec::new()),
        Err(_) => {
            let note = "not UTF-8: read as Windows 1252 (Western European); letters of names may be \
                        others where it was saved elsewhere";
            (by(WINDOWS_1252, bytes), vec![note.to_owned()])
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(bytes: &[u8]) -> (Vec<String>, Vec<Vec<String>>) {
        let grid = Grid::of_bytes(bytes).unwrap();
        (grid.columns, grid.rows.into_iter().map(|r| r.cells).collect())
    }

    #[test]
    fn one_sheet_in_every_usual_encoding_is_the_same() {
        let text = "Größe;Name\n1,5; Ä \n;\n2;b\n";
        let wanted = cells(text.as_bytes());
        assert_eq!(wanted.0, ["Größe", "Name"]);
        assert_eq!(wanted.1, [["1,5", "Ä"], ["2", "b"]]);
        let wide = |big: bool, mark: bool| -> Vec<u8> {
            let mark = if mark { "\u{feff}" } else { "" };
            let units = mark.encode_utf16().chain(text.encode_utf16());
            units.flat_map(|u| if big { u.to_be_bytes() } else { u.to_le_bytes() }).collect()
        };
        for (big, mark) in [(true, true), (true, false), (false, true), (false, false)] {
            assert_eq!(cells(&wide(big, mark)), wanted, "{big} {mark}");
        }
        assert_eq!(cells(format!("\u{feff}{text}").as_bytes()), wanted);
        let western: Vec<u8> = text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
        assert_eq!(cells(&western), wanted);
        assert!(Grid::of_bytes(&western).unwrap().notes[0].contains("Windows 1252"));
    }

    #[test]
    fn cells_of_a_workbook_are_read_as_they_are_shown() {
        use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};
        let mut book = Workbook::new();
        let sheet = book.add_worksheet();
        let date = Format::new().set_num_format("dd\\.mm\\.yyyy");
        let percent = Format::new().set_num_format("0.0\" days\"");
        sheet.write(1, 0, "ID").unwrap();
        sheet.write(1, 2, "größe & rest").unwrap();
        sheet.write(2, 0, 16.1).unwrap();
        sheet.write(2, 1, 1.125).unwrap();
        sheet.write(2, 2, true).unwrap();
        let day = ExcelDateTime::from_ymd(2022, 5, 3).unwrap();
        sheet.write_with_format(3, 0, day, &date).unwrap();
        sheet.write_with_format(3, 1, 20.5, &percent).unwrap();
        book.add_worksheet();
        let (rows, notes) = of_workbook(&book.save_to_buffer().unwrap()).unwrap();
        assert_eq!(rows[0], [""; 0]);
        assert_eq!(rows[1], ["ID", "", "größe & rest"]);
        assert_eq!(rows[2], ["16.1", "1.1250", "true"]);
        assert_eq!(rows[3], ["2022-05-03", "20.5"]);
        assert_eq!(notes, ["only sheet `Sheet1` of 2 is read"]);
    }

    #[test]
    fn rows_keep_their_numbers_and_columns_get_names_of_their_own() {
        let grid = Grid::of_bytes(b"\n\nid,x,x,,\n1,2,3,,\n\n4,5,6,7,\n").unwrap();
        assert_eq!(grid.columns, ["id", "x", "x (2)", "column 4"]);
        // Empty lines are no records of CSV; a line of separators would be.
        assert_eq!(grid.rows.len(), 2);
        let grid = Grid::of_bytes(b"a;b\n;\n1;2\n").unwrap();
        assert_eq!(grid.rows[0].line, 3);
        assert_eq!(cells(b"sep=|\na|b\n1|2\n").0, ["a", "b"]);
    }

    #[test]
    fn what_is_no_sheet_is_refused_with_the_remedy() {
        let said = Grid::of_bytes(b"\xd0\xcf\x11\xe0....").unwrap_err();
        assert!(said.contains("save it as .xlsx or CSV"), "{said}");
        assert!(Grid::of_bytes(b"PK\x03\x04nothing").unwrap_err().contains("xlsx"));
        assert_eq!(Grid::of_bytes(b"").unwrap(), Grid::default());
    }
}
