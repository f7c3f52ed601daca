//! Apache Parquet with zstd compression. Types are those of the columns (UTF-8 text, 64-bit
//! integer, double, boolean); a missing value is null. The meaning and unit of every column travel
//! in the file as key-value metadata under [`COLUMNS_KEY`], as JSON.

use std::borrow::Cow;
use std::io::{self, Write};

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

/// A Parquet file that is written sheet by sheet. Its bytes follow from the rows and the sheets
/// they come in, and no more than a row group is held in memory beside the last sheet.
pub(super) struct ParquetFile<W: Write> {
    writer: BatchedWriter<W>,
    waiting: Option<DataFrame>,
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
        Ok(Self { writer, waiting: None })
    }

    /// Adds the rows of a sheet with the same columns.
    pub(super) fn append(&mut self, sheet: &Sheet<'_>) -> io::Result<()> {
        let columns = (0..sheet.columns().len()).map(|c| column(sheet, c)).collect();
        let frame = DataFrame::new(sheet.row_count(), columns).map_err(io::Error::other)?;
        match &mut self.waiting {
            None => self.waiting = Some(frame),
            Some(waiting) => {
                waiting.vstack_mut_owned(frame).map_err(io::Error::other)?;
            }
        }
        let full = self.waiting.as_ref().is_some_and(|w| w.height() >= ROWS_PER_GROUP);
        if full { self.write_waiting() } else { Ok(()) }
    }

    fn write_waiting(&mut self) -> io::Result<()> {
        let Some(mut waiting) = self.waiting.take() else { return Ok(()) };
        waiting.rechunk_mut_par();
        let mut from = 0;
        while from < waiting.height() {
            let at = i64::try_from(from).map_err(io::Error::other)?;
            let group = waiting.slice(at, ROWS_PER_GROUP);
            self.writer.write_batch(&group).map_err(io::Error::other)?;
            from += ROWS_PER_GROUP;
        }
        Ok(())
    }

    /// Writes what waits and the foot of the file.
    pub(super) fn finish(mut self) -> io::Result<()> {
        self.write_waiting()?;
        self.writer.finish().map_err(io::Error::other)?;
        Ok(())
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

fn column(sheet: &Sheet<'_>, index: usize) -> Series {
    let Some(definition) = sheet.columns().get(index) else { return Series::default() };
    let cells = (0..sheet.row_count()).map(|row| sheet.cell(row, index));
    let name = definition.name.into();
    let values = match definition.kind {
        Kind::Text => Values::new(name, cells.map(text).collect::<Vec<_>>()),
        Kind::Integer => Values::new(name, cells.map(integer).collect::<Vec<_>>()),
        Kind::Real => Values::new(name, cells.map(real).collect::<Vec<_>>()),
        Kind::Boolean => Values::new(name, cells.map(boolean).collect::<Vec<_>>()),
    };
    values.into()
}

fn text(cell: Cell<'_>) -> Option<Cow<'_, str>> {
    if let Cell::Text(value) = cell { Some(value) } else { None }
}

fn integer(cell: Cell<'_>) -> Option<i64> {
    if let Cell::Integer(value) = cell { Some(value) } else { None }
}

fn real(cell: Cell<'_>) -> Option<f64> {
    if let Cell::Real(value) = cell { Some(value) } else { None }
}

fn boolean(cell: Cell<'_>) -> Option<bool> {
    if let Cell::Boolean(value) = cell { Some(value) } else { None }
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
