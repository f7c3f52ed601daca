//! Apache Parquet with zstd compression. Types are those of the columns (UTF-8 text, 64-bit
//! integer, double, boolean); a missing value is null. The meaning and unit of every column travel
//! in the file as key-value metadata under [`COLUMNS_KEY`], as JSON.

use std::borrow::Cow;
use std::io::{self, Write};

use indexmap::IndexSet;
use polars::prelude::{
    Column as Series, DataFrame, DataType, Field, NamedFrom, Schema, Series as Values,
};
use polars_io::parquet::write::BatchedWriter;
use polars_io::prelude::{KeyValueMetadata, ParquetCompression, ParquetWriter};
use serde::Serialize;

use super::column::{Cell, Definition, Kind, Sheet};

/// The metadata key under which the column definitions are stored.
pub const COLUMNS_KEY: &str = "tidydose.columns";

/// So many rows go into one row group: enough for a reader to skip and to compress, few enough to
/// be held in memory.
const ROWS_PER_GROUP: usize = 1 << 16;

/// Writes `sheet` as Parquet.
///
/// # Errors
/// When `output` does, or the encoder refuses the table.
pub fn write_parquet(sheet: &Sheet<'_>, output: &mut dyn Write) -> io::Result<()> {
    let mut file = ParquetFile::begin(sheet.columns(), output)?;
    file.append(sheet)?;
    file.finish()
}

/// A Parquet file that is written sheet by sheet. Its bytes follow from the rows, and no more than a
/// row group is held in memory beside the last sheet.
pub(super) struct ParquetFile<W: Write> {
    writer: BatchedWriter<W>,
    names: Vec<&'static str>,
    waiting: Vec<Waiting>,
    rows: usize,
}

impl<W: Write> ParquetFile<W> {
    /// A file with these columns.
    pub(super) fn begin(columns: &[Definition], output: W) -> io::Result<Self> {
        let field = |d: &Definition| Field::new(d.name.into(), data_type(d.kind));
        let schema: Schema = columns.iter().map(field).collect();
        let metadata = vec![(COLUMNS_KEY.to_owned(), definitions_as_json(columns)?)];
        let writer = ParquetWriter::new(output)
            .with_compression(ParquetCompression::Zstd(None))
            .with_key_value_metadata(Some(KeyValueMetadata::from_static(metadata)))
            .batched(&schema)
            .map_err(io::Error::other)?;
        let names = columns.iter().map(|d| d.name).collect();
        let waiting = columns.iter().map(|d| Waiting::of(d.kind)).collect();
        Ok(Self { writer, names, waiting, rows: 0 })
    }

    /// Adds the rows of a sheet with the same columns.
    pub(super) fn append(&mut self, sheet: &Sheet<'_>) -> io::Result<()> {
        for row in 0..sheet.row_count() {
            for (index, column) in self.waiting.iter_mut().enumerate() {
                column.push(sheet.cell(row, index));
            }
            self.rows += 1;
            if self.rows == ROWS_PER_GROUP {
                self.write_waiting()?;
            }
        }
        Ok(())
    }

    fn write_waiting(&mut self) -> io::Result<()> {
        let columns = self.names.iter().zip(&mut self.waiting);
        let columns = columns.map(|(name, column)| column.take(name)).collect();
        let group = DataFrame::new(self.rows, columns).map_err(io::Error::other)?;
        self.rows = 0;
        self.writer.write_batch(&group).map_err(io::Error::other)
    }

    /// Writes what waits and the foot of the file.
    pub(super) fn finish(mut self) -> io::Result<()> {
        if self.rows > 0 {
            self.write_waiting()?;
        }
        self.writer.finish().map_err(io::Error::other)?;
        Ok(())
    }
}

/// The cells of one column that wait for their row group. Each text is kept once: most columns hold
/// few different ones.
enum Waiting {
    Text { different: IndexSet<Box<str>>, cells: Vec<Option<usize>> },
    Integer(Vec<Option<i64>>),
    Real(Vec<Option<f64>>),
    Boolean(Vec<Option<bool>>),
}

impl Waiting {
    fn of(kind: Kind) -> Self {
        match kind {
            Kind::Text => Self::Text { different: IndexSet::new(), cells: Vec::new() },
            Kind::Integer => Self::Integer(Vec::new()),
            Kind::Real => Self::Real(Vec::new()),
            Kind::Boolean => Self::Boolean(Vec::new()),
        }
    }

    /// A cell of another kind than the column's counts as missing.
    fn push(&mut self, cell: Cell<'_>) {
        match self {
            Self::Text { different, cells } => cells.push(text(cell).map(|text| {
                let known = different.get_index_of(text.as_ref());
                known.unwrap_or_else(|| different.insert_full(text.into()).0)
            })),
            Self::Integer(cells) => cells.push(integer(&cell)),
            Self::Real(cells) => cells.push(real(&cell)),
            Self::Boolean(cells) => cells.push(boolean(&cell)),
        }
    }

    /// All cells in order; none is left.
    fn take(&mut self, name: &str) -> Series {
        let name = name.into();
        let values = match self {
            Self::Text { different, cells } => {
                let all = std::mem::take(different);
                let text = |at| all.get_index(at).map(|text| &**text);
                let cells: Vec<_> = std::mem::take(cells).into_iter().map(|c| text(c?)).collect();
                Values::new(name, cells)
            }
            Self::Integer(cells) => Values::new(name, std::mem::take(cells)),
            Self::Real(cells) => Values::new(name, std::mem::take(cells)),
            Self::Boolean(cells) => Values::new(name, std::mem::take(cells)),
        };
        values.into()
    }
}

const fn data_type(kind: Kind) -> DataType {
    match kind {
        Kind::Text => DataType::String,
        Kind::Integer => DataType::Int64,
        Kind::Real => DataType::Float64,
        Kind::Boolean => DataType::Boolean,
    }
}

fn text(cell: Cell<'_>) -> Option<Cow<'_, str>> {
    if let Cell::Text(value) = cell { Some(value) } else { None }
}

const fn integer(cell: &Cell<'_>) -> Option<i64> {
    if let Cell::Integer(value) = cell { Some(*value) } else { None }
}

const fn real(cell: &Cell<'_>) -> Option<f64> {
    if let Cell::Real(value) = cell { Some(*value) } else { None }
}

const fn boolean(cell: &Cell<'_>) -> Option<bool> {
    if let Cell::Boolean(value) = cell { Some(*value) } else { None }
}

fn definitions_as_json(definitions: &[Definition]) -> io::Result<String> {
    #[derive(Serialize)]
    struct Entry<'d> {
        name: &'d str,
        unit: &'d str,
        meaning: &'d str,
    }
    let entries: Vec<_> = definitions
        .iter()
        .map(|d| Entry { name: d.name, unit: d.unit, meaning: d.meaning })
        .collect();
    serde_json::to_string(&entries).map_err(io::Error::other)
}

#[cfg(test)]
mod tests {
    use polars::prelude::{AnyValue, SerReader};
    use polars_io::prelude::ParquetReader;

    use super::*;
    use crate::table::column::Column;

    type Row = (Option<&'static str>, Option<i64>, Option<f64>, Option<bool>);

    fn written(rows: Vec<Row>) -> Vec<u8> {
        let columns: Vec<Column<Row>> = vec![
            Column::text("name", "a text", |r| r.0.map(Cow::Borrowed)),
            Column::integer("n", "", "a count", |r| r.1),
            Column::real("x_mm", "mm", "a length", |r| r.2),
            Column::boolean("used", "whether it is used", |r| r.3),
        ];
        let mut bytes = Vec::new();
        write_parquet(&Sheet::new(columns, rows), &mut bytes).unwrap();
        bytes
    }

    #[test]
    fn types_nulls_and_formula_like_text_read_back() {
        let bytes = written(vec![
            (Some("=1+1"), Some(-3), Some(0.1 + 0.2), Some(true)),
            (None, None, Some(f64::NAN), None),
        ]);
        let frame = ParquetReader::new(io::Cursor::new(bytes)).finish().unwrap();
        assert_eq!(frame.shape(), (2, 4));
        let cell = |name: &str, row: usize| frame.column(name).unwrap().get(row).unwrap();
        assert_eq!(cell("name", 0), AnyValue::String("=1+1"));
        assert_eq!(cell("n", 0), AnyValue::Int64(-3));
        assert_eq!(cell("x_mm", 0), AnyValue::Float64(0.1 + 0.2));
        assert_eq!(cell("used", 0), AnyValue::Boolean(true));
        for name in ["name", "n", "x_mm", "used"] {
            assert_eq!(cell(name, 1), AnyValue::Null, "{name}");
        }
    }

    #[test]
    fn rows_beyond_a_group_read_back_in_order() {
        const WORDS: [&str; 3] = ["a text of some length", "another of some length", "short"];
        let count = ROWS_PER_GROUP + 3;
        let columns: Vec<Column<usize>> = vec![
            Column::text("name", "a text", |n| (n % 5 > 0).then(|| WORDS[n % 3].into())),
            Column::integer("n", "", "a count", |n| i64::try_from(*n).ok()),
        ];
        let mut bytes = Vec::new();
        write_parquet(&Sheet::new(columns, (0..count).collect()), &mut bytes).unwrap();
        let frame = ParquetReader::new(io::Cursor::new(bytes)).finish().unwrap();
        assert_eq!(frame.shape(), (count, 2));
        for row in [0, 1, 12, ROWS_PER_GROUP - 1, ROWS_PER_GROUP, count - 1] {
            let cell = |name: &str| frame.column(name).unwrap().get(row).unwrap();
            assert_eq!(cell("n"), AnyValue::Int64(i64::try_from(row).unwrap()));
            let text = if row % 5 > 0 { AnyValue::String(WORDS[row % 3]) } else { AnyValue::Null };
            assert_eq!(cell("name"), text, "row {row}");
        }
    }

    #[test]
    fn an_empty_table_keeps_its_columns() {
        let frame = ParquetReader::new(io::Cursor::new(written(vec![]))).finish().unwrap();
        assert_eq!(frame.shape(), (0, 4));
    }

    #[test]
    fn units_travel_in_the_file() {
        let bytes = written(vec![]);
        let text = String::from_utf8_lossy(&bytes);
        assert!(text.contains(COLUMNS_KEY));
        assert!(text.contains(r#"{"name":"x_mm","unit":"mm","meaning":"a length"}"#));
    }
}
