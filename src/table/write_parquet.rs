//! Apache Parquet with zstd compression. Types are those of the columns (UTF-8 text, 64-bit
//! integer, double, boolean); a missing value is null. The meaning and unit of every column travel
//! in the file as key-value metadata under [`COLUMNS_KEY`], as JSON.

use std::borrow::Cow;
use std::io::{self, Write};

use polars::prelude::{Column as Series, DataFrame, NamedFrom, Series as Values};
use polars_io::prelude::{KeyValueMetadata, ParquetCompression, ParquetWriter};
use serde::Serialize;

use super::column::{Cell, Definition, Kind, Sheet};

/// The metadata key under which the column definitions are stored.
pub const COLUMNS_KEY: &str = "tidydose.columns";

/// Writes `sheet` as Parquet.
///
/// # Errors
/// When `output` does, or the encoder refuses the table.
pub fn write_parquet(sheet: &Sheet<'_>, output: &mut dyn Write) -> io::Result<()> {
    let columns = (0..sheet.columns().len()).map(|c| column(sheet, c)).collect();
    let mut frame = DataFrame::new(sheet.row_count(), columns).map_err(io::Error::other)?;
    let metadata = vec![(COLUMNS_KEY.to_owned(), definitions_as_json(sheet.columns())?)];
    ParquetWriter::new(output)
        .with_compression(ParquetCompression::Zstd(None))
        .with_key_value_metadata(Some(KeyValueMetadata::from_static(metadata)))
        .finish(&mut frame)
        .map_err(io::Error::other)?;
    Ok(())
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
