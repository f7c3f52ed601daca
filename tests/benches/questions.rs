//! Questions to a study of one million metric rows: `cargo bench --bench questions`. Each is held
//! against reading the tables that it names as a whole.
#![allow(missing_docs, unreachable_pub)] // a bench program has no readers of its items
#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use divan::Bencher;
use rusqlite::Connection;
use tidydose_ask::{self as ask, Question, shipped};
use tidydose_table::TABLES;
use tidydose_table::database;
use tidydose_table::read_study::StudyTables;

/// Rows of table metrics, at least.
const ROWS: i64 = 1_000_000;
/// Tables that say the same however many cases there are, or that no question reads.
const ONCE: [&str; 4] = ["dictionary", "dvh", "flow", "pictures"];
/// Columns by which the rows of one case are told from those of another.
const OF_CASE: [&str; 8] = [
    "patient_id",
    "plan_id",
    "structure_id",
    "other_structure_id",
    "lesion_id",
    "file_id",
    "finding_id",
    "detail_id",
];

fn main() {
    divan::main();
    // What is static is not dropped.
    if let Some(folder) = FOLDER.get() {
        fs::remove_dir_all(folder.path()).unwrap();
    }
}

static FOLDER: OnceLock<tempfile::TempDir> = OnceLock::new();

/// The invented cohort, measured, and its rows repeated under other pseudonyms.
fn study() -> PathBuf {
    let folder = FOLDER.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let archive = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-anonymised");
        let study = folder.path().join("study");
        let words = ["tidydose", "measure", "--quiet", "--study"].map(PathBuf::from);
        let words = words.into_iter().chain([study.clone(), archive]);
        assert_ne!(tidydose_cli::run(words.map(PathBuf::into_os_string)).exit_code(), 2);
        repeat(&Connection::open(study.join(database::FILE)).unwrap());
        folder
    });
    folder.path().join("study")
}

fn repeat(database: &Connection) {
    let count = |table: &str| -> i64 {
        let sql = format!("SELECT COUNT(*) FROM {table}");
        database.query_row(&sql, [], |row| row.get(0)).unwrap()
    };
    let times = (ROWS + count("metrics") - 1) / count("metrics");
    for table in TABLES.iter().filter(|t| !ONCE.contains(&t.name)) {
        let rows = count(table.name);
        let sql = format!("SELECT * FROM {} LIMIT 0", table.name);
        let mut cells = Vec::new();
        for name in database.prepare(&sql).unwrap().column_names() {
            let other = OF_CASE.contains(&name);
            cells.push(if other { format!("{name} || 'x' || ?1") } else { format!("\"{name}\"") });
        }
        let sql = format!(
            "INSERT INTO {0} SELECT {1} FROM {0} WHERE rowid <= ?2",
            table.name,
            cells.join(", ")
        );
        for time in 1..times {
            database.execute(&sql, [time, rows]).unwrap();
        }
    }
}

fn questions() -> Vec<&'static str> {
    shipped().into_iter().map(|(name, _)| name).collect()
}

fn question(name: &str) -> Question {
    Question::parse(ask::shipped_question(name).unwrap()).unwrap()
}

/// Nothing but reading the tables that the question names.
#[divan::bench(args = questions(), sample_count = 3, sample_size = 1)]
fn read_tables(bencher: Bencher<'_, '_>, name: &str) {
    let (study, question) = (study(), question(name));
    let names: Vec<&str> = question.tables.iter().map(String::as_str).collect();
    bencher.bench(|| StudyTables::of_study(&study).unwrap().read_all(&names).unwrap().len());
}

/// Opening the study and answering.
#[divan::bench(args = questions(), sample_count = 3, sample_size = 1)]
fn open_and_answer(bencher: Bencher<'_, '_>, name: &str) {
    let (study, question) = (study(), question(name));
    bencher.bench(|| {
        let mut tables = StudyTables::of_study(&study).unwrap();
        ask::ask(&question, &BTreeMap::new(), &mut tables).unwrap().row_count()
    });
}
