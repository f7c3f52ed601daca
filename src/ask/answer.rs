//! What a question yields: a frame, and how it is written as an aligned table, CSV, JSON or Parquet.

use std::io::{self, Write};

use serde::ser::{Serialize, SerializeMap, SerializeSeq, Serializer};

use tidydose_table::Cell;
use tidydose_table::frame::LoadedTable;
use tidydose_table::write_csv::{number, write_records};
use tidydose_table::write_parquet::write_frame;

/// How an answer is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Columns of equal width, for reading.
    Table,
    /// Comma-separated values, as the tables of a study.
    Csv,
    /// A list of objects; a missing value is null.
    Json,
    /// Apache Parquet.
    Parquet,
}

impl Format {
    /// Every format with the word that names it, also its file ending.
    pub const WORDS: &'static [(Self, &'static str)] = &[
        (Self::Table, "table"),
        (Self::Csv, "csv"),
        (Self::Json, "json"),
        (Self::Parquet, "parquet"),
    ];

    /// The format called `word`.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::WORDS.iter().find(|(_, w)| w.eq_ignore_ascii_case(word)).map(|(f, _)| *f)
    }
}

/// The rows that answer a question.
#[derive(Debug, Clone)]
pub struct Answer(pub(super) LoadedTable);

/// Cells wider than this are cut in an aligned table, never elsewhere.
const WIDEST: usize = 60;

impl Answer {
    /// Names of the columns.
    #[must_use]
    pub fn columns(&self) -> Vec<String> {
        self.0.names().map(str::to_owned).collect()
    }

    /// Number of rows.
    #[must_use]
    pub fn row_count(&self) -> usize {
        self.0.height()
    }

    /// The value at `row` and `column`, both from 0; missing outside the answer.
    #[must_use]
    pub fn cell(&self, row: usize, column: usize) -> Cell<'_> {
        self.0.columns().get(column).map_or(Cell::Missing, |(_, cells)| cells.at(row))
    }

    /// Writes the answer.
    ///
    /// # Errors
    /// When `output` does.
    pub fn write(&self, format: Format, output: &mut dyn Write) -> io::Result<()> {
        match format {
            Format::Table => output.write_all(self.aligned().as_bytes()),
            Format::Csv => write_records(&self.columns(), self.rows(), output),
            Format::Json => {
                serde_json::to_writer_pretty(&mut *output, self).map_err(io::Error::other)?;
                output.write_all(b"\n")
            }
            Format::Parquet => write_frame(&self.0, output),
        }
    }

    fn rows(&self) -> impl Iterator<Item = Vec<Cell<'_>>> {
        let width = self.0.columns().len();
        (0..self.row_count()).map(move |row| (0..width).map(|c| self.cell(row, c)).collect())
    }

    fn aligned(&self) -> String {
        let names = self.columns();
        let body: Vec<Vec<String>> =
            self.rows().map(|row| row.iter().map(shown).collect()).collect();
        let numeric: Vec<bool> =
            self.0.columns().iter().map(|(_, cells)| cells.is_numeric()).collect();
        let width = |c: usize| {
            let cells = body.iter().filter_map(|row| row.get(c)).map(|t| t.chars().count());
            cells.chain(names.get(c).map(|n| n.chars().count())).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..names.len()).map(width).collect();
        let line = |cells: &[String]| {
            let padded = cells.iter().zip(&widths).zip(&numeric).map(|((text, &w), right)| {
                if *right { format!("{text:>w$}") } else { format!("{text:w$}") }
            });
            let text = padded.collect::<Vec<_>>().join("  ");
            format!("{}\n", text.trim_end())
        };
        let rule: Vec<String> = widths.iter().map(|w| "-".repeat(*w)).collect();
        let head = [line(&names), line(&rule)];
        head.into_iter().chain(body.iter().map(|row| line(row))).collect()
    }
}

/// As a person reads it: five significant digits, no line breaks, a dash for what is missing.
fn shown(cell: &Cell<'_>) -> String {
    match cell {
        Cell::Missing => "-".to_owned(),
        Cell::Text(text) => {
            let one_line = text.split(char::is_control).collect::<Vec<_>>().join(" ");
            if one_line.chars().count() <= WIDEST {
                return one_line;
            }
            let kept: String = one_line.chars().take(WIDEST - 1).collect();
            format!("{kept}…")
        }
        Cell::Integer(value) => value.to_string(),
        Cell::Real(value) => {
            let rounded: f64 = format!("{value:.4e}").parse().unwrap_or(*value);
            number(rounded)
        }
        Cell::Boolean(value) => value.to_string(),
    }
}

/// One row as an object, its keys in the order of the columns.
struct Object<'a>(&'a [String], Vec<Cell<'a>>);

impl Serialize for Answer {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let names = self.columns();
        let mut list = serializer.serialize_seq(Some(self.row_count()))?;
        for row in self.rows() {
            list.serialize_element(&Object(&names, row))?;
        }
        list.end()
    }
}

impl Serialize for Object<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for (name, cell) in self.0.iter().zip(&self.1) {
            match cell {
                Cell::Missing => map.serialize_entry(name, &None::<f64>)?,
                Cell::Text(text) => map.serialize_entry(name, text)?,
                Cell::Integer(value) => map.serialize_entry(name, value)?,
                Cell::Real(value) => map.serialize_entry(name, value)?,
                Cell::Boolean(value) => map.serialize_entry(name, value)?,
            }
        }
        map.end()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_table::frame::Cells;

    fn answer() -> Answer {
        Answer(LoadedTable::new(vec![
            ("name".into(), Cells::texts([Some("=1+1"), None, Some("Zoë")])),
            ("dose_gy".into(), Cells::Real(vec![Some(12.345_678), None, None])),
            ("n".into(), Cells::Integer([1, 20, 300].map(Some).to_vec())),
        ]))
    }

    fn written(format: Format) -> Vec<u8> {
        let mut bytes = Vec::new();
        answer().write(format, &mut bytes).unwrap();
        bytes
    }

    #[test]
    fn an_aligned_table_marks_what_is_missing() {
        let text = String::from_utf8(written(Format::Table)).unwrap();
        assert_eq!(
            text,
            "name  dose_gy    n\n----  -------  ---\n=1+1   12.346    1\n-           -   20\n\
             Zoë         -  300\n"
        );
    }

    #[test]
    fn csv_guards_against_formulas_and_keeps_all_digits() {
        let text = String::from_utf8(written(Format::Csv)).unwrap();
        assert_eq!(text, "name,dose_gy,n\r\n'=1+1,12.345678,1\r\n,,20\r\nZoë,,300\r\n");
    }

    #[test]
    fn json_keeps_columns_in_order_and_missing_as_null() {
        let text = String::from_utf8(written(Format::Json)).unwrap();
        let dense: String = text.split_whitespace().collect();
        assert!(dense.starts_with(r#"[{"name":"=1+1","dose_gy":12.345678,"n":1},{"name":null,"#));
        assert!(serde_json::from_str::<serde_json::Value>(&text).is_ok());
    }

    #[test]
    fn parquet_reads_back() {
        use parquet::file::reader::{FileReader, SerializedFileReader};
        let bytes = bytes::Bytes::from(written(Format::Parquet));
        let reader = SerializedFileReader::new(bytes).unwrap();
        let rows: Vec<_> = reader.get_row_iter(None).unwrap().map(Result::unwrap).collect();
        assert_eq!(rows.len(), 3);
        assert_eq!(rows[0].to_string(), "{name: \"=1+1\", dose_gy: 12.345678, n: 1}");
    }

    #[test]
    fn long_text_is_cut_for_reading_only() {
        let long = "a".repeat(80);
        assert_eq!(shown(&Cell::Text(long.clone().into())).chars().count(), WIDEST);
        assert_eq!(shown(&Cell::Text("a\nb".into())), "a b");
    }
}
