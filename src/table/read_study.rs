//! The tables of a study read back, and CSV files of the user as tables beside them. Says which
//! there are; computes nothing.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use polars::prelude::{Column as Series, DataFrame, NamedFrom, SerReader, Series as Values};
use polars_io::prelude::ParquetReader;

use super::user_file::{ReadError, UserFile};
use super::{TABLES, run};

/// Where the tables of a study are, by name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableFiles(BTreeMap<String, PathBuf>);

impl TableFiles {
    /// The tables of the study at `folder`: what was written, and each CSV file that lies in the
    /// folder itself (`names.csv`, `prescriptions.csv` and what the user put there).
    ///
    /// # Errors
    /// When it cannot be read or holds no table.
    pub fn of_study(folder: &Path) -> Result<Self, ReadError> {
        let fault = |reason: String| ReadError { path: folder.to_path_buf(), reason };
        let mut files = BTreeMap::new();
        for entry in fs::read_dir(folder).map_err(|e| fault(e.to_string()))? {
            let path = entry.map_err(|e| fault(e.to_string()))?.path();
            let ending = path.extension().and_then(|e| e.to_str());
            let name = path.file_stem().and_then(|n| n.to_str());
            if let (Some("csv"), Some(name)) = (ending, name) {
                files.insert(name.to_owned(), path);
            }
        }
        let written = TABLES.iter().filter_map(|t| {
            let path = folder.join("tables").join(format!("{}.parquet", t.name));
            path.is_file().then(|| (t.name.to_owned(), path))
        });
        let before = files.len();
        files.extend(written);
        if files.len() == before {
            let reason = "is no measured study: it has no tables; `tidydose measure` makes one";
            return Err(fault(reason.to_owned()));
        }
        Ok(Self(files))
    }

    /// Adds a CSV file as a table, in place of one with the same name.
    pub fn insert(&mut self, name: &str, path: &Path) {
        self.0.insert(name.to_owned(), path.to_path_buf());
    }

    /// The names in ascending order.
    #[must_use]
    pub fn names(&self) -> Vec<&str> {
        self.0.keys().map(String::as_str).collect()
    }

    /// Reads one table; absent where there is none of that name.
    ///
    /// # Errors
    /// When the file cannot be read or is not what its ending says.
    pub fn read(&self, name: &str) -> Option<Result<DataFrame, ReadError>> {
        let path = self.0.get(name)?;
        let parquet = path.extension().is_some_and(|e| e == "parquet");
        Some(if parquet { parquet_frame(path) } else { csv_frame(path) })
    }
}

/// Whether the run that wrote the study at `folder` measured all its cases; absent without a
/// readable `run.json`.
#[must_use]
pub fn is_complete(folder: &Path) -> Option<bool> {
    let text = fs::read_to_string(folder.join(run::FILE)).ok()?;
    serde_json::from_str::<serde_json::Value>(&text).ok()?.get("complete")?.as_bool()
}

/// What `run.json` says of the program and its settings; empty where it says nothing.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct RunTexts {
    /// Version of the program.
    pub version: String,
    /// Digest of the settings.
    pub settings: String,
}

/// Reads them for the study at `folder`.
#[must_use]
pub fn run_texts(folder: &Path) -> RunTexts {
    let text = fs::read_to_string(folder.join(run::FILE)).unwrap_or_default();
    let value: serde_json::Value = serde_json::from_str(&text).unwrap_or_default();
    let of = |name: &str| value.get(name).and_then(|v| v.as_str()).unwrap_or_default().to_owned();
    RunTexts { version: of("program_version"), settings: of("settings_sha256") }
}

/// The content of `run.json` of the study at `folder`.
///
/// # Errors
/// When it cannot be read or is no JSON.
pub fn run_document(folder: &Path) -> Result<serde_json::Value, ReadError> {
    let path = folder.join(run::FILE);
    let fault = |reason: String| ReadError { path: path.clone(), reason };
    let text = fs::read_to_string(&path).map_err(|e| fault(e.to_string()))?;
    serde_json::from_str(&text).map_err(|e| fault(format!("{e}; measure the study again")))
}

fn parquet_frame(path: &Path) -> Result<DataFrame, ReadError> {
    let fault = |reason: String| ReadError { path: path.to_path_buf(), reason };
    let file = fs::File::open(path).map_err(|e| fault(e.to_string()))?;
    ParquetReader::new(file)
        .finish()
        .map_err(|e| fault(format!("cannot be read as Parquet ({e}); measure the study again")))
}

/// A CSV file as a table. A column is of numbers or of true and false when every cell that is not
/// empty is; an empty cell is missing. In a file separated by semicolons a number may have a
/// decimal comma.
fn csv_frame(path: &Path) -> Result<DataFrame, ReadError> {
    let fault = |reason: String| ReadError { path: path.to_path_buf(), reason };
    // An absent file of the user is an empty one elsewhere; here it was named.
    fs::metadata(path).map_err(|e| fault(e.to_string()))?;
    let file = UserFile::read(path, &[], &[])?;
    let columns: Vec<Series> = file.columns().iter().map(|name| column(&file, name)).collect();
    DataFrame::new(file.row_count(), columns).map_err(|e| fault(e.to_string()))
}

fn column(file: &UserFile, name: &str) -> Series {
    let cells: Vec<Option<&str>> = (0..file.row_count())
        .map(|row| Some(file.text(row, name)).filter(|t| !t.is_empty()))
        .collect();
    let real = |t: &str| {
        let comma = file.separator() == b';' && !t.contains('.');
        let point = if comma { t.replacen(',', ".", 1) } else { t.to_owned() };
        point.parse::<f64>().ok().filter(|v| v.is_finite())
    };
    let title = || name.into();
    let values = parsed(&cells, |t| t.parse::<i64>().ok())
        .map(|v| Values::new(title(), v))
        .or_else(|| parsed(&cells, real).map(|v| Values::new(title(), v)))
        .or_else(|| parsed(&cells, |t| t.parse::<bool>().ok()).map(|v| Values::new(title(), v)))
        .unwrap_or_else(|| Values::new(title(), cells));
    values.into()
}

/// Every cell as `T`; absent when one is not, or when all are empty.
fn parsed<T>(cells: &[Option<&str>], parse: impl Fn(&str) -> Option<T>) -> Option<Vec<Option<T>>> {
    if cells.iter().all(Option::is_none) {
        return None;
    }
    cells.iter().map(|cell| cell.map_or(Some(None), |text| parse(text).map(Some))).collect()
}

#[cfg(test)]
mod tests {
    use polars::prelude::{AnyValue, DataType};

    use super::*;

    #[test]
    fn a_csv_file_gets_types_from_all_its_cells() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("outcomes.csv");
        fs::write(&path, "id;grade;day;dose;dead;mixed\nA1;2;10;1,5;true;1\nB2;;-3;2;false;x\n")
            .unwrap();
        let frame = csv_frame(&path).unwrap();
        let types: Vec<_> = frame.columns().iter().map(|c| c.dtype().clone()).collect();
        assert_eq!(
            types,
            [
                DataType::String,
                DataType::Int64,
                DataType::Int64,
                DataType::Float64,
                DataType::Boolean,
                DataType::String
            ]
        );
        let cell = |name: &str, row: usize| frame.column(name).unwrap().get(row).unwrap();
        assert_eq!(cell("dose", 0), AnyValue::Float64(1.5));
        assert_eq!(cell("grade", 1), AnyValue::Null);
    }

    #[test]
    fn a_folder_without_tables_is_no_study() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("names.csv"), "a\n1\n").unwrap();
        let text = TableFiles::of_study(folder.path()).unwrap_err().to_string();
        assert!(text.contains("is no measured study"), "{text}");
        assert!(TableFiles::of_study(&folder.path().join("nowhere")).is_err());
    }

    #[test]
    fn a_broken_table_is_named() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("tables")).unwrap();
        fs::write(folder.path().join("tables/metrics.parquet"), "PAR1").unwrap();
        let files = TableFiles::of_study(folder.path()).unwrap();
        assert_eq!(files.names(), ["metrics"]);
        let text = files.read("metrics").unwrap().unwrap_err().to_string();
        assert!(text.contains("metrics.parquet") && text.contains("Parquet"), "{text}");
        assert!(files.read("plans").is_none());
    }
}
