//! The CSV tables once more as spreadsheets of some regions want them: with a byte-order mark, so that
//! letters beyond ASCII are shown, and with comma and decimal point or semicolon and decimal comma.

use std::io::{self, Write};
use std::path::Path;

use super::all_tables::of_study;
use super::analysis::ChosenColumns;
use super::column::{Definition, Kind};
use super::dictionary::definitions;
use super::table::Written;
use super::write_csv::as_io;
use super::write_file::remove_file;
use super::write_file::{WriteError, replace_file};

/// Name of the folder in a study folder.
pub const FOLDER: &str = "spreadsheet";

/// How numbers and cells are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Convention {
    /// Cells separated by commas, numbers with a decimal point.
    Comma,
    /// Cells separated by semicolons, numbers with a decimal comma.
    Semicolon,
}

impl Convention {
    /// Every convention with the word for it on the command line.
    pub const WORDS: &'static [(Self, &'static str)] =
        &[(Self::Comma, "comma"), (Self::Semicolon, "semicolon")];
}

/// Writes the tables that were written as CSV into `to` as well.
///
/// # Errors
/// When a table cannot be read back or a file not be written.
pub fn write_spreadsheet_csv(
    (tables, chosen): (&[Written], &ChosenColumns),
    from: &Path,
    to: &Path,
    convention: Convention,
) -> Result<(), WriteError> {
    let all = of_study(chosen.is_by_centre());
    for table in all.filter(|t| tables.iter().any(|w| w.csv && w.table == t.name)) {
        let name = format!("{}.csv", table.name);
        let source = from.join(&name);
        let fault = |e| WriteError { path: source.clone(), source: as_io(e) };
        let mut reader = csv::Reader::from_path(&source).map_err(fault)?;
        let columns = definitions(table, chosen);
        replace_file(&to.join(&name), |output| copied(&mut reader, output, &columns, convention))?;
    }
    Ok(())
}

/// Removes what an earlier run wrote into the folder `to`, which would be out of date; other files stay.
///
/// # Errors
/// When a file cannot be removed.
pub fn remove_spreadsheet_csv(to: &Path) -> Result<(), WriteError> {
    if !to.is_dir() {
        return Ok(());
    }
    for table in of_study(true) {
        remove_file(&to.join(format!("{}.csv", table.name)))?;
    }
    // Not empty where somebody put something: then it stays.
    let _ = std::fs::remove_dir(to);
    Ok(())
}

fn copied(
    reader: &mut csv::Reader<impl io::Read>,
    output: &mut dyn Write,
    columns: &[Definition],
    convention: Convention,
) -> io::Result<()> {
    output.write_all("\u{feff}".as_bytes())?;
    let semicolon = convention == Convention::Semicolon;
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .delimiter(if semicolon { b';' } else { b',' })
        .from_writer(output);
    writer.write_record(reader.headers().map_err(as_io)?).map_err(as_io)?;
    let mut row = csv::StringRecord::new();
    while reader.read_record(&mut row).map_err(as_io)? {
        for (place, cell) in row.iter().enumerate() {
            let real = columns.get(place).is_some_and(|c| c.kind == Kind::Real);
            if real && semicolon {
                writer.write_field(cell.replacen('.', ",", 1)).map_err(as_io)?;
            } else {
                writer.write_field(cell).map_err(as_io)?;
            }
        }
        writer.write_record(None::<&[u8]>).map_err(as_io)?;
    }
    writer.flush()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::example::Example;
    use crate::{Destination, write_tables};

    #[test]
    fn numbers_get_a_comma_and_texts_keep_their_point() {
        let folder = tempfile::tempdir().unwrap();
        let (from, to) = (folder.path().join("a"), folder.path().join("b"));
        let example = Example::new();
        let written = write_tables(
            &example.study(),
            &["structures", "bounds"],
            Destination { folder: &from, database: None },
        )
        .unwrap();
        let read = |path: &Path| std::fs::read_to_string(path.join("structures.csv")).unwrap();
        write_spreadsheet_csv((&written, &ChosenColumns::default()), &from, &to, Convention::Comma)
            .unwrap();
        assert_eq!(read(&to), format!("\u{feff}{}", read(&from)));
        write_spreadsheet_csv(
            (&written, &ChosenColumns::default()),
            &from,
            &to,
            Convention::Semicolon,
        )
        .unwrap();
        let text = read(&to);
        let cells = |text: &str, mark: u8| -> Vec<csv::StringRecord> {
            let mut reader = csv::ReaderBuilder::new();
            let reader = reader.delimiter(mark).has_headers(false);
            reader.from_reader(text.as_bytes()).records().map(Result::unwrap).collect()
        };
        let (plain, regional) = (cells(&read(&from), b','), cells(&text, b';'));
        assert_eq!(plain.len(), regional.len());
        let columns = definitions(crate::table("structures").unwrap(), &ChosenColumns::default());
        let mut changed = 0;
        for (plain, regional) in plain.iter().zip(&regional).skip(1) {
            for ((column, plain), regional) in columns.iter().zip(plain).zip(regional) {
                let real = column.kind == Kind::Real;
                changed += usize::from(real && plain.contains('.'));
                let wanted = if real { plain.replace('.', ",") } else { plain.to_owned() };
                assert_eq!(wanted, regional, "{}", column.name);
            }
        }
        assert!(changed > 0, "a number with a point");
        assert!(!to.join("bounds.csv").exists(), "Parquet only");
        std::fs::write(to.join("mine.txt"), "mine").unwrap();
        remove_spreadsheet_csv(&to).unwrap();
        assert!(!to.join("structures.csv").exists() && to.join("mine.txt").exists());
        std::fs::remove_file(to.join("mine.txt")).unwrap();
        remove_spreadsheet_csv(&to).unwrap();
        assert!(!to.exists() && remove_spreadsheet_csv(&to).is_ok());
    }
}
