//! Questions to a study of one million metric rows: `cargo bench --bench questions`. Each is held
//! against reading the tables that it names; the goal is an answer within one second of that.
#![allow(missing_docs, unreachable_pub)] // a bench program has no readers of its items
#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use divan::Bencher;
use polars::prelude::{Column, DataFrame, NamedFrom, SerReader, Series};
use polars_io::prelude::{ParquetReader, ParquetWriter};
use tidydose::ask::{self, Question, shipped, tables_named};
use tidydose::table::TABLES;
use tidydose::table::read_study::TableFiles;

/// Rows of table metrics, at least.
const ROWS: usize = 1_000_000;
/// Tables that say the same however many cases there are, or that no question reads.
const ONCE: [&str; 3] = ["dictionary", "dvh", "pictures"];

fn main() {
    divan::main();
    // What is static is not dropped.
    if let Some(folder) = FOLDER.get() {
        fs::remove_dir_all(folder.path()).unwrap();
    }
}

static FOLDER: OnceLock<tempfile::TempDir> = OnceLock::new();

fn frame(path: &Path) -> DataFrame {
    ParquetReader::new(File::open(path).unwrap()).finish().unwrap()
}

/// The invented cohort, measured, and its rows repeated under other pseudonyms.
fn study() -> &'static Path {
    let folder = FOLDER.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let archive = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-anonymised");
        let study = folder.path().join("study");
        let words = ["tidydose", "measure", "--quiet", "--study"].map(PathBuf::from);
        let words = words.into_iter().chain([study.clone(), archive]);
        assert_ne!(tidydose::cli::run(words.map(PathBuf::into_os_string)).exit_code(), 2);
        let tables = study.join("tables");
        let times = ROWS.div_ceil(frame(&tables.join("metrics.parquet")).height());
        for table in TABLES.iter().filter(|t| !ONCE.contains(&t.name)) {
            let path = tables.join(format!("{}.parquet", table.name));
            let mut many = repeated(&frame(&path), times);
            ParquetWriter::new(File::create(path).unwrap()).finish(&mut many).unwrap();
            let _ = fs::remove_file(tables.join(format!("{}.csv", table.name)));
        }
        folder
    });
    // `TempDir` keeps the folder as long as the program runs.
    static STUDY: OnceLock<PathBuf> = OnceLock::new();
    STUDY.get_or_init(|| folder.path().join("study"))
}

fn repeated(frame: &DataFrame, times: usize) -> DataFrame {
    let names = ["patient_id", "plan_id", "structure_id", "other_structure_id", "finding_id"];
    let mut many = frame.clone();
    for time in 1..times {
        let mut copy = frame.clone();
        for name in names.iter().filter(|n| frame.column(n).is_ok_and(|c| c.str().is_ok())) {
            let cells = frame.column(name).unwrap().str().unwrap().iter();
            let cells: Vec<_> = cells.map(|c| c.map(|c| format!("{c}x{time}"))).collect();
            copy.with_column(Column::from(Series::new((*name).into(), cells))).unwrap();
        }
        many.vstack_mut(&copy).unwrap();
    }
    many.rechunk_mut();
    many
}

/// The tables that a question names, read from their files.
fn read(sql: &str) -> BTreeMap<String, DataFrame> {
    let files = TableFiles::of_study(study()).unwrap();
    let names = tables_named(sql, &files.names()).into_iter().map(str::to_owned);
    names.map(|name| (name.clone(), files.read(&name).unwrap().unwrap())).collect()
}

fn questions() -> Vec<&'static str> {
    shipped().into_iter().map(|(name, _)| name).collect()
}

fn text(name: &str) -> &'static str {
    ask::shipped_question(name).unwrap()
}

/// Nothing but reading the tables.
#[divan::bench(args = questions(), sample_count = 3, sample_size = 1)]
fn read_tables(bencher: Bencher<'_, '_>, name: &str) {
    study();
    bencher.bench(|| read(text(name)).len());
}

/// Reading the tables and answering.
#[divan::bench(args = questions(), sample_count = 3, sample_size = 1)]
fn read_and_answer(bencher: Bencher<'_, '_>, name: &str) {
    study();
    let question = Question::parse(text(name)).unwrap();
    bencher.bench(|| {
        let tables = read(&question.sql);
        ask::ask(&question, &BTreeMap::new(), &tables).unwrap().row_count()
    });
}
