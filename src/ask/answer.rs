//! What a question yields: a frame, and how it is written as an aligned table, CSV, JSON or Parquet.

use std::borrow::Cow;
use std::io::{self, Write};

use polars::prelude::{AnyValue, DataFrame};
use polars_io::prelude::{ParquetCompression, ParquetWriter};
use serde::ser::{Serialize, SerializeMap, SerializeSeq, Serializer};

use crate::table::Cell;
use crate::table::write_csv::{number, write_records};

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
pub struct Answer(pub(super) DataFrame);

/// Cells wider than this are cut in an aligned table, never elsewhere.
const WIDEST: usize = 60;

impl Answer {
    /// Names of the columns.
    #[must_use]
    pub fn columns(&self) -> Vec<String> {
        self.0.get_column_names().iter().map(ToString::to_string).collect()
    }

    /// Number of rows.
    #[must_use]
    pub fn row_count(&self) -> usize {
        self.0.height()
    }

    /// The value at `row` and `column`, both from 0; missing outside the answer. Dates, times and
    /// lists are text; a number that is not finite is missing.
    #[must_use]
    pub fn cell(&self, row: usize, column: usize) -> Cell<'_> {
        let series = self.0.columns().get(column);
        let value = series.and_then(|s| s.get(row).ok());
        value.map_or(Cell::Missing, cell)
    }

    /// The columns whose cells are lists: seldom meant, mostly an expression that mixes an aggregate
    /// with a column, which the engine repeats for each row of the group.
    #[must_use]
    pub fn list_columns(&self) -> Vec<String> {
        let lists = self.0.columns().iter().filter(|c| c.dtype().is_list());
        lists.map(|c| c.name().to_string()).collect()
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
            Format::Parquet => ParquetWriter::new(output)
                .with_compression(ParquetCompression::Zstd(None))
                .finish(&mut self.0.clone())
                .map(|_| ())
                .map_err(io::Error::other),
        }
    }

    fn rows(&self) -> impl Iterator<Item = Vec<Cell<'_>>> {
        let width = self.0.width();
        (0..self.row_count()).map(move |row| (0..width).map(|c| self.cell(row, c)).collect())
    }

    fn aligned(&self) -> String {
        let names = self.columns();
        let body: Vec<Vec<String>> =
            self.rows().map(|row| row.iter().map(shown).collect()).collect();
        let numeric: Vec<bool> = (0..names.len())
            .map(|c| self.0.columns().get(c).is_some_and(|s| s.dtype().is_numeric()))
            .collect();
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

fn cell(value: AnyValue<'_>) -> Cell<'_> {
    match value {
        AnyValue::Null => Cell::Missing,
        AnyValue::String(text) => Cell::Text(Cow::Borrowed(text)),
        AnyValue::StringOwned(text) => Cell::Text(Cow::Owned(text.to_string())),
        AnyValue::Boolean(value) => Cell::Boolean(value),
        AnyValue::Float32(_) | AnyValue::Float64(_) => {
            value.extract::<f64>().filter(|v| v.is_finite()).map_or(Cell::Missing, Cell::Real)
        }
        AnyValue::List(list) => {
            let items = list.iter().map(|item| shown(&cell(item)));
            Cell::Text(Cow::Owned(items.collect::<Vec<_>>().join(", ")))
        }
        value if value.is_integer() => value.extract::<i64>().map_or(Cell::Missing, Cell::Integer),
        other => Cell::Text(Cow::Owned(other.to_string())),
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
    use polars::prelude::{NamedFrom, SerReader, Series};

    use super::*;

    fn answer() -> Answer {
        let texts = Series::new("name".into(), [Some("=1+1"), None, Some("Zoë")]);
        let numbers = Series::new("dose_gy".into(), [Some(12.345_678), Some(f64::NAN), None]);
        let counts = Series::new("n".into(), [1_u32, 20, 300]);
        let columns = [texts, numbers, counts].map(Into::into).to_vec();
        Answer(DataFrame::new(3, columns).unwrap())
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
        let reader =
            polars_io::prelude::ParquetReader::new(io::Cursor::new(written(Format::Parquet)));
        assert_eq!(reader.finish().unwrap().shape(), (3, 3));
    }

    #[test]
    fn long_text_is_cut_for_reading_only() {
        let long = "a".repeat(80);
        assert_eq!(shown(&Cell::Text(long.clone().into())).chars().count(), WIDEST);
        assert_eq!(shown(&Cell::Text("a\nb".into())), "a b");
    }
}
