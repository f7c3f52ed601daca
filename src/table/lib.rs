//! Results become tables: one file per table, one per format, and the list of all tables
//! ([`TABLES`]) from which writing, documentation and tests are derived.
//!
//! The tables are tidy: one row per thing or observation, sorted by keys that do not depend on the
//! order of the input, a gap is a row with a status and a reason, a missing value is an empty cell
//! (CSV) or null (Parquet) and never 0 or NaN. This module computes nothing: it knows results, but
//! neither DICOM nor geometry, and prints nothing.

mod all_tables;
mod allowed;
pub mod analysis;
mod bounds;
pub mod causes;
pub mod citations;
pub mod clinical_words;
pub mod codebook;
pub mod column;
mod column_words;
pub mod curves;
pub mod data_package;
pub mod database;
pub mod decide_workbook;
mod dictionary;
mod dvh;
mod files;
mod finding_details;
mod findings;
mod flow;
mod follow_up;
pub mod frame;
mod lesions;
mod limit_checks;
mod metrics;
pub mod nobody;
pub mod open_names;
pub mod part;
mod pictures;
mod plans;
pub mod pool;
pub mod read;
pub mod read_study;
mod relations;
mod rounding;
pub mod run;
pub mod run_schema;
mod sensitivity;
pub mod spreadsheet_csv;
pub mod starters;
pub mod structure_names;
mod structures;
mod study;
mod sums;
pub mod system;
mod table;
mod tally;
mod traces;
pub mod user;
pub mod wide;
pub mod words;
pub mod workbook;
pub mod write_csv;
pub mod write_file;
pub mod write_parquet;
pub mod write_tables;

#[cfg(test)]
mod example;
/// The small cases of the tests of `tidydose-analyse`.
#[cfg(test)]
#[path = "../analyse/testing.rs"]
mod testing;

pub use all_tables::{TABLES, table};
pub use column::{Cell, Column, Kind, Sheet};
pub use follow_up::{LesionSizes, write_proposed_outcomes};
pub use study::{MeasuredSum, MetricDefinition, Study};
pub use table::{CSV_ROW_LIMIT, Table, Written};
pub use tally::Tally;
pub use write_file::{WriteError, replace_file};
pub use write_tables::{Destination, write_tables, write_tables_from};

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::table::PARQUET_ONLY;

    #[test]
    fn every_table_is_fully_described() {
        let names: BTreeSet<_> = TABLES.iter().map(|t| t.name).collect();
        assert_eq!(names.len(), TABLES.len(), "a table name is used twice");
        let example = example::Example::new();
        for table in TABLES {
            let sheet = (table.sheet)(&example.study());
            let columns: BTreeSet<_> = sheet.columns().iter().map(|c| &*c.name).collect();
            assert_eq!(columns.len(), sheet.columns().len(), "{}: a column twice", table.name);
            for key in table.key {
                assert!(columns.contains(key), "{}: key {key} is no column", table.name);
            }
            for c in sheet.columns() {
                let legal =
                    c.name.chars().all(|x| x.is_ascii_lowercase() || "_0123456789".contains(x));
                assert!(legal && c.name.len() <= 32, "{}.{}", table.name, c.name);
                assert!(!c.meaning.is_empty(), "{}.{} has no meaning", table.name, c.name);
                let suffix = match &*c.unit {
                    "mm" => "_mm",
                    "mm2" => "_mm2",
                    "cc" => "_cc",
                    "Gy" => "_gy",
                    "%" => "_percent",
                    "MU" => "_mu",
                    "min" => "_min",
                    "d" | "" => "",
                    other => panic!("{}.{}: unit {other}", table.name, c.name),
                };
                assert!(c.name.ends_with(suffix), "{}.{} lacks its unit", table.name, c.name);
            }
        }
    }

    #[test]
    fn the_key_names_each_row_once() {
        let example = example::Example::new().followed();
        for table in TABLES {
            let sheet = (table.sheet)(&example.study());
            assert!(sheet.row_count() > 0, "{} is empty", table.name);
            let position =
                |name: &str| sheet.columns().iter().position(|c| c.name == name).unwrap();
            let key = |row: usize| {
                let cells = table.key.iter().map(|k| format!("{:?}", sheet.cell(row, position(k))));
                cells.collect::<Vec<_>>()
            };
            let keys: BTreeSet<_> = (0..sheet.row_count()).map(key).collect();
            assert_eq!(keys.len(), sheet.row_count(), "{}", table.name);
        }
    }

    #[test]
    fn words_of_a_closed_column_are_all_listed() {
        let example = example::Example::new().followed();
        for table in TABLES {
            let sheet = (table.sheet)(&example.study());
            for (column, definition) in sheet.columns().iter().enumerate() {
                for row in 0..sheet.row_count() {
                    let Cell::Text(text) = sheet.cell(row, column) else { continue };
                    let known = definition.allowed.is_empty()
                        || definition.allowed.contains(&text.as_ref());
                    assert!(known, "{}.{}: {text}", table.name, definition.name);
                }
            }
        }
    }

    #[test]
    fn the_order_of_the_input_leaves_no_trace() {
        let folder = tempfile::tempdir().unwrap();
        let names: Vec<_> = TABLES.iter().map(|t| t.name).collect();
        let plain = example::Example::new().followed();
        let turned = plain.reordered();
        let (a, b) = (folder.path().join("a"), folder.path().join("b"));
        let bases = [&a, &b].map(|folder| folder.with_extension("sqlite"));
        let to = Destination { folder: &a, database: Some(&bases[0]) };
        let written = write_tables(&plain.study(), &names, to).unwrap();
        let to = Destination { folder: &b, database: Some(&bases[1]) };
        assert_eq!(write_tables(&turned.study(), &names, to).unwrap(), written);
        let [one, other] = bases.map(|path| std::fs::read(path).unwrap());
        assert!(one == other, "the databases differ");
        assert_eq!(written.len(), TABLES.len());
        for name in names {
            for end in ["csv", "parquet"] {
                let file = format!("{name}.{end}");
                if end == "csv" && PARQUET_ONLY.contains(&name) {
                    assert!(!a.join(&file).exists(), "{file}");
                    continue;
                }
                let bytes = std::fs::read(a.join(&file)).unwrap();
                assert!(!bytes.is_empty());
                assert!(bytes == std::fs::read(b.join(&file)).unwrap(), "{file} differs");
            }
        }
    }

    /// The cells of a Parquet file, read by another library than the one that wrote it, as the cells
    /// of a table.
    fn parquet_rows(path: &std::path::Path) -> Vec<Vec<Cell<'static>>> {
        use parquet::file::reader::{FileReader, SerializedFileReader};
        let file = std::fs::File::open(path).unwrap();
        let reader = SerializedFileReader::new(file).unwrap();
        let mut rows = Vec::new();
        for row in reader.get_row_iter(None).unwrap() {
            let row = row.unwrap();
            let cells = row.get_column_iter().map(|(_, field)| match field {
                parquet::record::Field::Str(t) => Cell::Text(t.clone().into()),
                parquet::record::Field::Long(v) => Cell::Integer(*v),
                parquet::record::Field::Double(v) => Cell::Real(*v),
                parquet::record::Field::Bool(v) => Cell::Boolean(*v),
                parquet::record::Field::Null => Cell::Missing,
                other => panic!("{other:?}"),
            });
            rows.push(cells.collect());
        }
        rows
    }

    #[test]
    fn parquet_csv_and_database_say_the_same_in_every_table() {
        let folder = tempfile::tempdir().unwrap();
        let example = example::Example::new().followed();
        let study = example.study();
        let database = folder.path().join(database::FILE);
        let to = Destination { folder: folder.path(), database: Some(&database) };
        let names: Vec<_> = TABLES.iter().map(|t| t.name).collect();
        write_tables(&study, &names, to).unwrap();
        let tables = read_study::StudyTables::of_study(folder.path()).unwrap();
        for table in TABLES {
            let name = table.name;
            let sheet = (table.sheet)(&study);
            let columns: Vec<&str> = sheet.columns().iter().map(|c| &*c.name).collect();
            let rows = parquet_rows(&folder.path().join(format!("{name}.parquet")));
            let frame = tables.read(name).unwrap().unwrap();
            assert_eq!(frame.names().collect::<Vec<_>>(), columns, "{name}");
            assert_eq!(frame.height(), rows.len(), "{name}");
            assert!(!rows.is_empty(), "{name}");
            let mut csv = Vec::new();
            if !PARQUET_ONLY.contains(&name) {
                let path = folder.path().join(format!("{name}.csv"));
                let mut reader = csv::Reader::from_path(path).unwrap();
                assert_eq!(reader.headers().unwrap().iter().collect::<Vec<_>>(), columns);
                csv = reader.records().map(Result::unwrap).collect();
                assert_eq!(csv.len(), rows.len(), "{name}");
            }
            for (row, cells) in rows.iter().enumerate() {
                for (column, cell) in cells.iter().enumerate() {
                    let place = format!("{name}, row {row}, {}", columns[column]);
                    assert_eq!(&frame.columns()[column].1.at(row), cell, "{place}");
                    let text = match cell {
                        Cell::Text(t) => write_csv::without_formula(t).into_owned(),
                        Cell::Integer(v) => v.to_string(),
                        Cell::Real(v) => write_csv::number(*v),
                        Cell::Boolean(v) => v.to_string(),
                        Cell::Missing => String::new(),
                    };
                    if let Some(record) = csv.get(row) {
                        assert_eq!(record[column], text, "{place}");
                    }
                }
            }
        }
    }

    /// Every table has its key, and what it names is there.
    #[test]
    fn the_database_knows_keys_and_what_they_name() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(database::FILE);
        let to = Destination { folder: folder.path(), database: Some(&path) };
        let names: Vec<_> = TABLES.iter().map(|t| t.name).collect();
        write_tables(&example::Example::new().study(), &names, to).unwrap();
        let database = rusqlite::Connection::open(&path).unwrap();
        let texts = |sql: &str| -> Vec<String> {
            let mut statement = database.prepare(sql).unwrap();
            let rows = statement.query_map([], |r| r.get(0)).unwrap();
            rows.map(Result::unwrap).collect()
        };
        let mut foreign = 0;
        for table in TABLES {
            let name = table.name;
            let key = match table.key.len() {
                1 => format!("SELECT name FROM pragma_table_info('{name}') WHERE pk"),
                _ => format!("SELECT name FROM pragma_index_info('{name}_key') ORDER BY seqno"),
            };
            assert_eq!(texts(&key), table.key, "{name}");
            let parents = format!("SELECT \"table\" FROM pragma_foreign_key_list('{name}')");
            foreign += texts(&parents).len();
        }
        assert!(foreign >= 10, "{foreign}");
        assert_eq!(texts("SELECT \"table\" FROM pragma_foreign_key_check"), [""; 0]);
        assert_eq!(texts("PRAGMA integrity_check"), ["ok"]);
        let by_metric = "EXPLAIN QUERY PLAN SELECT value FROM metrics
                         WHERE metric = 'D2%[Gy]' AND structure = 'Brainstem'";
        let plan: String = database.query_row(by_metric, [], |r| r.get(3)).unwrap();
        assert!(plan.contains("metrics_by_metric_structure"), "{plan}");
    }
}
