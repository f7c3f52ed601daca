//! CSV files that belong to the user: `names.csv`, `prescriptions.csv`, `lesions.csv`,
//! `decisions.csv`, `limits.csv`. The program reads decisions from them and adds proposals; it never
//! changes or drops a row, a decision, a column or the user's own way of writing (separator,
//! byte-order mark). Columns that hold what the program saw are refreshed where a file says so. A
//! file to which nothing is added is not touched at all. A new file that people edit begins with a
//! byte-order mark: without it a spreadsheet opened by a double-click shows `Größe` as `GrÃ¶ÃŸe`.

use std::borrow::Cow;
use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use crate::write_csv::without_formula;
use crate::write_file::{Access, WriteError, replace_file_for};

/// A file of the user cannot be read.
#[derive(Debug, thiserror::Error)]
#[error("{}: {reason}", path.display())]
pub struct ReadError {
    /// The file.
    pub path: PathBuf,
    /// What is wrong, where, and what would be accepted.
    pub reason: String,
}

/// A CSV file owned by the user, as text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UserFile {
    separator: u8,
    byte_order_mark: bool,
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
    added: usize,
    /// SHA-256 of the bytes that were read; absent where there was no file.
    read: Option<Vec<u8>>,
}

/// By which a spreadsheet knows UTF-8.
pub const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

impl UserFile {
    /// A file that does not exist yet, with these columns.
    #[must_use]
    pub fn new(columns: &[&str]) -> Self {
        let columns = columns.iter().map(|c| (*c).to_owned()).collect();
        let rows = Vec::new();
        Self { separator: b',', byte_order_mark: false, columns, rows, added: 0, read: None }
    }

    /// As [`Self::new`], to be opened in a spreadsheet.
    #[must_use]
    pub fn for_people(columns: &[&str]) -> Self {
        Self { byte_order_mark: true, ..Self::new(columns) }
    }

    /// The file at `path`, or an empty one with `columns` where there is none. Comma, semicolon and
    /// tab are understood as separators, with or without byte-order mark; further columns are
    /// allowed and kept. Columns that the file lacks (it may be of an earlier version) come behind
    /// its own, in the file once something is added.
    ///
    /// # Errors
    /// When it cannot be read, is not UTF-8, or lacks one of `required`.
    pub fn read(path: &Path, required: &[&str], columns: &[&str]) -> Result<Self, ReadError> {
        let fault = |reason: String| ReadError { path: path.to_path_buf(), reason };
        let bytes = match std::fs::read(path) {
            Ok(bytes) => bytes,
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Self::new(columns)),
            Err(e) => return Err(fault(e.to_string())),
        };
        let mut file = Self::of_text(&bytes, path, required)?;
        file.read = Some(Sha256::digest(&bytes).to_vec());
        for column in columns {
            if !file.has(column) {
                file.columns.push((*column).to_owned());
            }
        }
        let width = file.columns.len();
        for row in &mut file.rows {
            row.resize(width.max(row.len()), String::new());
        }
        Ok(file)
    }

    /// As [`Self::read`] for a file that people edit, with what `decided` makes of the rows.
    ///
    /// # Errors
    /// As [`Self::read`], and when `decided` finds a row at fault.
    pub fn read_decided<T>(
        path: &Path,
        [required, columns]: [&[&str]; 2],
        decided: impl FnOnce(&Self) -> Result<T, String>,
    ) -> Result<(Self, T), ReadError> {
        let mut file = Self::read(path, required, columns)?;
        file.byte_order_mark |= !path.exists();
        let decisions =
            decided(&file).map_err(|reason| ReadError { path: path.to_path_buf(), reason })?;
        Ok((file, decisions))
    }

    /// As [`Self::read`], from bytes; `path` is what faults name.
    ///
    /// # Errors
    /// When it is not UTF-8, or lacks one of `required`.
    pub fn of_text(bytes: &[u8], path: &Path, required: &[&str]) -> Result<Self, ReadError> {
        let fault = |reason: String| ReadError { path: path.to_path_buf(), reason };
        Self::parse(bytes).map_err(fault)?.with_columns(required, path)
    }

    /// As [`Self::of_text`], from cells; the first row has the names of the columns.
    ///
    /// # Errors
    /// When it lacks one of `required`.
    pub fn of_cells(
        cells: Vec<Vec<String>>,
        path: &Path,
        required: &[&str],
    ) -> Result<Self, ReadError> {
        let file = Self::of_records(b',', false, cells);
        file.with_columns(required, path)
    }

    fn with_columns(self, required: &[&str], path: &Path) -> Result<Self, ReadError> {
        let fault = |reason: String| ReadError { path: path.to_path_buf(), reason };
        match required.iter().find(|c| !self.has(c)) {
            None => Ok(self),
            Some(missing) => Err(fault(format!(
                "column `{missing}` is missing; found {}, expected {}",
                self.columns.join(", "),
                required.join(", ")
            ))),
        }
    }

    fn has(&self, column: &str) -> bool {
        self.columns.iter().any(|have| have == column)
    }

    fn parse(bytes: &[u8]) -> Result<Self, String> {
        let (byte_order_mark, text) = match bytes.strip_prefix(BYTE_ORDER_MARK) {
            Some(rest) => (true, rest),
            None => (false, bytes),
        };
        let separator = separator_of(text);
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(separator)
            .has_headers(false)
            .flexible(true)
            .from_reader(text);
        let mut records = Vec::new();
        for record in reader.records() {
            let record = record.map_err(|e| format!("{e}; save the file as CSV in UTF-8"))?;
            records.push(record.iter().map(str::to_owned).collect::<Vec<_>>());
        }
        Ok(Self::of_records(separator, byte_order_mark, records))
    }

    fn of_records(separator: u8, byte_order_mark: bool, records: Vec<Vec<String>>) -> Self {
        let mut records = records.into_iter();
        let columns: Vec<String> =
            records.next().unwrap_or_default().iter().map(|c| c.trim().to_owned()).collect();
        let width = columns.len();
        let rows: Vec<Vec<String>> = records
            .map(|mut row| {
                row.resize(width.max(row.len()), String::new());
                row
            })
            .collect();
        Self { separator, byte_order_mark, columns, rows, added: 0, read: None }
    }

    /// Names of the columns in order.
    #[must_use]
    pub fn columns(&self) -> &[String] {
        &self.columns
    }

    /// The byte that separates cells: comma, semicolon or tab.
    #[must_use]
    pub const fn separator(&self) -> u8 {
        self.separator
    }

    /// Number of rows.
    #[must_use]
    pub fn row_count(&self) -> usize {
        self.rows.len()
    }

    /// The line of a row (from 0) as a spreadsheet counts, below the header.
    #[must_use]
    pub const fn line(row: usize) -> usize {
        row + 2
    }

    /// The text in `row` (from 0) under `column`, without surrounding white space and without the
    /// apostrophe that guards against formulas; empty outside the file.
    #[must_use]
    pub fn text(&self, row: usize, column: &str) -> &str {
        self.exact_text(row, column).trim()
    }

    /// As [`Self::text`], with the surrounding white space.
    #[must_use]
    pub fn exact_text(&self, row: usize, column: &str) -> &str {
        let position = self.columns.iter().position(|c| c == column);
        let cell = position.and_then(|p| self.rows.get(row)?.get(p));
        unguarded(cell.map_or("", String::as_str))
    }

    /// What each row holds under these columns, white space included.
    #[must_use]
    pub fn keys(&self, columns: &[&str]) -> BTreeSet<Vec<String>> {
        let key = |row| columns.iter().map(|c| self.exact_text(row, c).to_owned()).collect();
        (0..self.rows.len()).map(key).collect()
    }

    /// Adds a row; columns that are not named stay empty, names that are no column are dropped.
    pub fn add(&mut self, values: &[(&str, &str)]) {
        let cell = |column: &String| {
            let value = values.iter().find(|(name, _)| name == column);
            value.map_or(Cow::Borrowed(""), |(_, v)| without_formula(v)).into_owned()
        };
        let row = self.columns.iter().map(cell).collect();
        self.rows.push(row);
        self.added += 1;
    }

    /// Puts a value of the program's own under `column` of `row`, if it is another one.
    pub fn refresh(&mut self, row: usize, column: &str, value: &str) {
        let Some(position) = self.columns.iter().position(|c| c == column) else { return };
        let value = without_formula(value);
        if let Some(cell) = self.rows.get_mut(row).and_then(|r| r.get_mut(position))
            && *cell != value
        {
            *cell = value.into_owned();
            self.added += 1;
        }
    }

    /// Whether there was a file when it was read.
    #[must_use]
    pub const fn is_kept(&self) -> bool {
        self.read.is_some()
    }

    /// Whether another file has the same columns and cells.
    #[must_use]
    pub fn holds_the_same(&self, other: &Self) -> bool {
        self.columns == other.columns && self.rows == other.rows
    }

    /// Writes the file if it is new, rows were added or values refreshed; otherwise leaves it as it
    /// is. A file that somebody saved since it was read is left alone as well: the next run adds what
    /// this one would have, and nothing that was decided meanwhile is lost.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path, access: Access) -> Result<(), WriteError> {
        if self.added == 0 && path.exists() {
            return Ok(());
        }
        let now = std::fs::read(path).ok().map(|bytes| Sha256::digest(&bytes).to_vec());
        if now.is_some() && now != self.read {
            return Ok(());
        }
        replace_file_for(path, access, |output| {
            if self.byte_order_mark {
                output.write_all(BYTE_ORDER_MARK)?;
            }
            let mut writer = csv::WriterBuilder::new()
                .delimiter(self.separator)
                .terminator(csv::Terminator::CRLF)
                .flexible(true)
                .from_writer(output);
            writer.write_record(&self.columns).map_err(io::Error::other)?;
            for row in &self.rows {
                writer.write_record(row).map_err(io::Error::other)?;
            }
            writer.flush()
        })
    }
}

/// The separator that occurs most often in the first line; a comma where there is none.
pub(super) fn separator_of(text: &[u8]) -> u8 {
    let line = text.split(|b| *b == b'\n').next().unwrap_or_default();
    let times = |separator: u8| line.iter().filter(|b| **b == separator).count();
    [b'\t', b';', b','].into_iter().max_by_key(|s| times(*s)).unwrap_or(b',')
}

/// Takes off the apostrophe that [`without_formula`] has put there.
fn unguarded(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(rest) if matches!(without_formula(rest), Cow::Owned(_)) => rest,
        _ => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COLUMNS: &[&str] = &["name", "standard"];

    fn round(text: &[u8], add: bool) -> Vec<u8> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("names.csv");
        std::fs::write(&path, text).unwrap();
        let mut file = UserFile::read(&path, COLUMNS, COLUMNS).unwrap();
        if add {
            file.add(&[("name", "new"), ("standard", "")]);
        }
        file.write(&path, Access::Shared).unwrap();
        std::fs::read(path).unwrap()
    }

    #[test]
    fn an_untouched_file_keeps_every_byte() {
        let odd = b"name ; standard\n  a;  B  \n;;;\n";
        assert_eq!(round(odd, false), odd);
    }

    #[test]
    fn rows_and_columns_of_the_user_survive_an_addition() {
        let text = "\u{feff}standard;name;my note\r\nBrainstem;Stamm;\"a;b\"\r\n";
        let after = String::from_utf8(round(text.as_bytes(), true)).unwrap();
        assert_eq!(after, format!("{text};new;\r\n"));
    }

    #[test]
    fn a_new_file_for_people_begins_with_a_byte_order_mark_and_an_old_one_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("names.csv");
        let written = || {
            let read = UserFile::read_decided(&path, [COLUMNS, COLUMNS], |_| Ok(()));
            let (mut file, ()) = read.unwrap();
            file.add(&[("name", "Größe")]);
            file.write(&path, Access::Shared).unwrap();
            std::fs::read(&path).unwrap()
        };
        let new = written();
        assert!(new.starts_with("\u{feff}name,standard\r\nGröße,".as_bytes()), "{new:?}");
        assert!(written().starts_with(BYTE_ORDER_MARK));
        std::fs::write(&path, "name,standard\n").unwrap();
        assert!(written().starts_with(b"name,standard\r\n"));
    }

    /// Somebody saves the file in a spreadsheet while a run goes on.
    #[test]
    fn what_was_saved_since_reading_is_not_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("names.csv");
        for before in [None, Some("name,standard\na,\n")] {
            if let Some(text) = before {
                std::fs::write(&path, text).unwrap();
            }
            let mut file = UserFile::read(&path, COLUMNS, COLUMNS).unwrap();
            file.add(&[("name", "b")]);
            let saved = "name,standard\na,Pons\n";
            std::fs::write(&path, saved).unwrap();
            file.write(&path, Access::Shared).unwrap();
            assert_eq!(std::fs::read_to_string(&path).unwrap(), saved);
        }
    }

    #[test]
    fn a_missing_column_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("names.csv");
        std::fs::write(&path, "name,other\na,b\n").unwrap();
        let message = UserFile::read(&path, COLUMNS, COLUMNS).unwrap_err().to_string();
        assert!(message.contains("`standard` is missing; found name, other"), "{message}");
        std::fs::write(&path, b"name,standard\n\xff,b\n").unwrap();
        let message = UserFile::read(&path, COLUMNS, COLUMNS).unwrap_err().to_string();
        assert!(message.contains("UTF-8"), "{message}");
    }

    #[test]
    fn a_guarded_name_reads_back_as_it_was() {
        let mut file = UserFile::new(COLUMNS);
        file.add(&[("name", "-5 mm ring")]);
        file.add(&[("name", "'quoted'")]);
        assert_eq!(file.rows[0][0], "'-5 mm ring");
        assert_eq!(file.text(0, "name"), "-5 mm ring");
        assert_eq!(file.text(1, "name"), "'quoted'");
        assert_eq!(file.text(7, "name"), "");
    }
}
