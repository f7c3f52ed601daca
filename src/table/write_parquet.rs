//! Apache Parquet with zstd compression. Types are those of the columns (UTF-8 text, 64-bit
//! integer, double, boolean); a missing value is null. Label, unit and meaning of every column travel
//! in the file twice: as metadata of its field in the Arrow schema, where R, pyarrow and their like
//! look (`label`, `unit`, `description`), and as JSON under [`COLUMNS_KEY`] of the file's own
//! metadata for all others.

use std::io::{self, Write};
use std::iter;
use std::sync::Arc;

use polars_arrow::array::{Array, BooleanArray, MutableBinaryViewArray, PrimitiveArray};
use polars_arrow::datatypes::{ArrowDataType, ArrowSchema, Field, Metadata};
use polars_arrow::record_batch::RecordBatchT;
use polars_error::PolarsError;
use polars_parquet::write::{
    CompressionOptions, Encoding, FileWriter, KeyValue, RowGroupIterator, StatisticsOptions,
    Version, WriteOptions, get_dtype_encoding, schema_to_metadata_key,
};
use serde::Serialize;

use super::column::{Definition, Kind, Sheet};
use super::frame::{Cells, LoadedTable};

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

/// Writes a table that is held in memory as Parquet.
///
/// # Errors
/// As [`write_parquet`].
pub fn write_frame(frame: &LoadedTable, output: &mut dyn Write) -> io::Result<()> {
    let columns = frame.columns().iter();
    let fields = columns.map(|(name, cells)| field(name, cells.kind(), None));
    let mut file = ParquetFile::with_fields(fields, Vec::new(), output)?;
    for row in 0..frame.height() {
        for (waiting, (_, cells)) in file.waiting.iter_mut().zip(frame.columns()) {
            waiting.push(cells.at(row));
        }
        file.end_of_row()?;
    }
    file.finish()
}

/// A Parquet file that is written sheet by sheet. Its bytes follow from the rows, and no more than a
/// row group is held in memory beside the last sheet.
pub(super) struct ParquetFile<W: Write> {
    writer: FileWriter<W>,
    metadata: Vec<KeyValue>,
    waiting: Vec<Cells>,
    rows: usize,
}

impl<W: Write> ParquetFile<W> {
    /// A file with these columns.
    pub(super) fn begin(columns: &[Definition], output: W) -> io::Result<Self> {
        let definitions =
            KeyValue { key: COLUMNS_KEY.to_owned(), value: Some(definitions_as_json(columns)?) };
        let fields = columns.iter().map(|d| field(&d.name, d.kind, Some(d)));
        Self::with_fields(fields, vec![definitions], output)
    }

    fn with_fields(
        fields: impl Iterator<Item = (Field, Kind)>,
        further: Vec<KeyValue>,
        output: W,
    ) -> io::Result<Self> {
        let (mut schema, mut waiting) = (ArrowSchema::default(), Vec::new());
        for (field, kind) in fields {
            schema.insert(field.name.clone(), field);
            waiting.push(Cells::of(kind));
        }
        let mut metadata = vec![schema_to_metadata_key(&schema)];
        metadata.extend(further);
        let writer = FileWriter::try_new(output, schema, OPTIONS).map_err(fault)?;
        Ok(Self { writer, metadata, waiting, rows: 0 })
    }

    /// Adds the rows of a sheet with the same columns.
    pub(super) fn append(&mut self, sheet: &Sheet<'_>) -> io::Result<()> {
        for row in 0..sheet.row_count() {
            for (index, column) in self.waiting.iter_mut().enumerate() {
                column.push(sheet.cell(row, index));
            }
            self.end_of_row()?;
        }
        Ok(())
    }

    fn end_of_row(&mut self) -> io::Result<()> {
        self.rows += 1;
        if self.rows == ROWS_PER_GROUP { self.write_waiting() } else { Ok(()) }
    }

    fn write_waiting(&mut self) -> io::Result<()> {
        let schema = self.writer.schema().clone();
        let mut arrays = Vec::new();
        for column in &mut self.waiting {
            let empty = Cells::of(column.kind());
            arrays.push(array(std::mem::replace(column, empty)));
        }
        let encodings: Vec<Vec<Encoding>> =
            schema.iter_values().map(|field| get_dtype_encoding(&field.dtype)).collect();
        let batch =
            RecordBatchT::try_new(self.rows, Arc::new(schema.clone()), arrays).map_err(fault)?;
        let groups =
            RowGroupIterator::try_new(iter::once(Ok(batch)), &schema, OPTIONS, encodings.into());
        for group in groups.map_err(fault)? {
            self.writer.write(self.rows as u64, group.map_err(fault)?).map_err(fault)?;
        }
        self.rows = 0;
        Ok(())
    }

    /// Writes what waits and the foot of the file.
    pub(super) fn finish(mut self) -> io::Result<()> {
        if self.rows > 0 {
            self.write_waiting()?;
        }
        self.writer.end(Some(self.metadata)).map_err(fault)?;
        Ok(())
    }
}

const OPTIONS: WriteOptions = WriteOptions {
    statistics: StatisticsOptions {
        min_value: true,
        max_value: true,
        distinct_count: false,
        null_count: true,
        binary_statistics_truncate_length: None,
    },
    version: Version::V1,
    compression: CompressionOptions::Zstd(None),
    data_page_size: None,
};

/// What the system said where the encoder only passes it on, as on a full disk.
fn fault(error: PolarsError) -> io::Error {
    io::Error::other(error)
}

/// The cells of a column as the encoder takes them.
fn array(cells: Cells) -> Box<dyn Array> {
    match cells {
        Cells::Text(texts) => {
            let mut array = MutableBinaryViewArray::<str>::new();
            for text in texts.iter() {
                array.push(text);
            }
            array.freeze().boxed()
        }
        Cells::Integer(cells) => PrimitiveArray::<i64>::from(cells).boxed(),
        Cells::Real(cells) => PrimitiveArray::<f64>::from(cells).boxed(),
        Cells::Boolean(cells) => BooleanArray::from(cells).boxed(),
    }
}

/// The field of a column in the schema, with what is known of it.
fn field(name: &str, kind: Kind, definition: Option<&Definition>) -> (Field, Kind) {
    let mut field = Field::new(name.into(), data_type(kind), true);
    if let Some(definition) = definition {
        let mut known = Metadata::new();
        known.insert("description".into(), (&*definition.meaning).into());
        known.insert("label".into(), definition.label().into());
        if !definition.unit.is_empty() {
            known.insert("unit".into(), (&*definition.unit).into());
        }
        field.metadata = Some(Arc::new(known));
    }
    (field, kind)
}

const fn data_type(kind: Kind) -> ArrowDataType {
    match kind {
        Kind::Text => ArrowDataType::Utf8View,
        Kind::Integer => ArrowDataType::Int64,
        Kind::Real => ArrowDataType::Float64,
        Kind::Boolean => ArrowDataType::Boolean,
    }
}

fn definitions_as_json(definitions: &[Definition]) -> io::Result<String> {
    #[derive(Serialize)]
    struct Entry<'d> {
        name: &'d str,
        label: &'d str,
        unit: &'d str,
        meaning: &'d str,
    }
    let entries: Vec<_> = definitions
        .iter()
        .map(|d| Entry { name: &d.name, label: d.label(), unit: &d.unit, meaning: &d.meaning })
        .collect();
    serde_json::to_string(&entries).map_err(io::Error::other)
}

#[cfg(test)]
mod tests {
    use std::borrow::Cow;

    use base64::Engine as _;
    use base64::prelude::BASE64_STANDARD;
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::Field as Read;

    use super::*;
    use crate::column::Column;

    type Thing = (Option<&'static str>, Option<i64>, Option<f64>, Option<bool>);

    fn written(rows: Vec<Thing>) -> Vec<u8> {
        let columns: Vec<Column<Thing>> = vec![
            Column::text("name", "a text", |r| r.0.map(Cow::Borrowed)),
            Column::integer("n", "", "a count", |r| r.1),
            Column::real("x_mm", "mm", "a length", |r| r.2),
            Column::boolean("used", "whether it is used", |r| r.3),
        ];
        let mut bytes = Vec::new();
        write_parquet(&Sheet::new(columns, rows), &mut bytes).unwrap();
        bytes
    }

    /// Read by another library than the one that wrote it.
    fn rows(bytes: Vec<u8>) -> Vec<Vec<Read>> {
        let reader = SerializedFileReader::new(bytes::Bytes::from(bytes)).unwrap();
        let rows = reader.get_row_iter(None).unwrap();
        rows.map(|row| row.unwrap().get_column_iter().map(|(_, f)| f.clone()).collect()).collect()
    }

    #[test]
    fn types_nulls_and_formula_like_text_read_back() {
        let rows = rows(written(vec![
            (Some("=1+1"), Some(-3), Some(0.1 + 0.2), Some(true)),
            (None, None, Some(f64::NAN), None),
        ]));
        let first = [
            Read::Str("=1+1".to_owned()),
            Read::Long(-3),
            Read::Double(0.1 + 0.2),
            Read::Bool(true),
        ];
        assert_eq!(rows, [first.to_vec(), vec![Read::Null; 4]]);
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
        let rows = rows(bytes);
        assert_eq!(rows.len(), count);
        for row in [0, 1, 12, ROWS_PER_GROUP - 1, ROWS_PER_GROUP, count - 1] {
            let text = if row % 5 > 0 { Read::Str(WORDS[row % 3].into()) } else { Read::Null };
            assert_eq!(rows[row], [text, Read::Long(i64::try_from(row).unwrap())], "row {row}");
        }
    }

    #[test]
    fn an_empty_table_keeps_its_columns() {
        let reader = SerializedFileReader::new(bytes::Bytes::from(written(vec![]))).unwrap();
        let file = reader.metadata().file_metadata();
        assert_eq!((file.num_rows(), file.schema_descr().num_columns()), (0, 4));
    }

    #[test]
    fn units_travel_in_the_file() {
        let reader = SerializedFileReader::new(bytes::Bytes::from(written(vec![]))).unwrap();
        let kept = reader.metadata().file_metadata().key_value_metadata().unwrap();
        let columns = kept.iter().find(|entry| entry.key == COLUMNS_KEY).unwrap();
        let text = columns.value.as_ref().unwrap();
        let wanted = r#"{"name":"x_mm","label":"a length","unit":"mm","meaning":"a length"}"#;
        assert!(text.contains(wanted), "{text}");
        let schema = kept.iter().find(|entry| entry.key == "ARROW:schema").unwrap();
        let bytes = BASE64_STANDARD.decode(schema.value.as_ref().unwrap()).unwrap();
        let holds = |text: &str| bytes.windows(text.len()).any(|part| part == text.as_bytes());
        for text in ["description", "a length", "label", "unit", "whether it is used"] {
            assert!(holds(text), "{text}");
        }
        assert!(!holds("a width"));
    }
}
