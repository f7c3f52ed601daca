//! All tables of a study, written together: cases pass one by one through the tables that have rows
//! of cases, the others are made at once, and only when every file is whole are the earlier ones
//! replaced. What was computed for a case is asked for when its turn comes and let go afterwards.

use std::borrow::Cow;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use super::all_tables::table;
use super::column::{Definition, Sheet};
use super::database::{DatabaseFile, Keys};
use super::study::{Study, in_order};
use super::system;
use super::table::{CSV_ROW_LIMIT, PARQUET_ONLY, Table, Written};
use super::tally::Tally;
use super::write_csv;
use super::write_file::{Access, Finished, Pending, WriteError, remove_file};
use super::write_parquet::ParquetFile;
use tidydose_analyse::Analysis;
use tidydose_case::Case;

/// Gives what was computed for a case; nothing for one that was not measured.
pub type Source<'s> = dyn FnMut(&Case) -> Result<Option<Cow<'s, Analysis>>, WriteError> + 's;

/// Where tables go.
#[derive(Debug, Clone, Copy)]
pub struct Destination<'p> {
    /// The folder of the files, one or two for each table.
    pub folder: &'p Path,
    /// The database with all of them; none is written without.
    pub database: Option<&'p Path>,
}

/// Writes the named tables as Parquet and, below [`CSV_ROW_LIMIT`] rows, as CSV, and all of them into
/// the database. Names that are no table are left out.
///
/// # Errors
/// When a file cannot be written; all tables are then as they were, unless renaming itself fails.
pub fn write_tables(
    study: &Study<'_>,
    names: &[&str],
    to: Destination<'_>,
) -> Result<Vec<Written>, WriteError> {
    let analyses = study.analyses;
    let mut source =
        |case: &Case| Ok(analyses.iter().find(|a| a.case == case.id).map(Cow::Borrowed));
    write_tables_from(study, names, to, &mut source)
}

/// As [`write_tables`], with the analyses from `source`. Those of `study` need hold no more than
/// the tables without rows of cases show: what was found about the dose, and the findings.
///
/// # Errors
/// As [`write_tables`], and when `source` fails.
pub fn write_tables_from(
    study: &Study<'_>,
    names: &[&str],
    to: Destination<'_>,
    source: &mut Source<'_>,
) -> Result<Vec<Written>, WriteError> {
    let wanted: Vec<&'static Table> = names.iter().filter_map(|n| table(n)).collect();
    let database = to.database.map(DatabaseFile::begin).transpose()?;
    let begin = |table| {
        let base = database.as_ref().map(|file| (file, &*wanted));
        Output::begin(table, without_rows(table, study).columns(), to.folder, base)
    };
    let mut by_case = Vec::new();
    for table in wanted.iter().filter(|t| t.by_case) {
        by_case.push(begin(table)?);
    }
    let mut tally = Tally::default();
    if !by_case.is_empty() {
        for case in in_order(study.cases) {
            let analysis = source(case)?;
            let of_case = Study {
                cases: std::slice::from_ref(case),
                analyses: analysis.as_deref().map_or(&[], std::slice::from_ref),
                ..*study
            };
            tally.add(case, analysis.as_deref());
            for output in &mut by_case {
                output.append(&(output.table.sheet)(&of_case))?;
            }
        }
    }
    let mut done = Vec::new();
    for output in by_case {
        done.push(output.finish()?);
    }
    for table in wanted.iter().filter(|t| !t.by_case) {
        let mut output = begin(table)?;
        output.append(&(table.sheet)(&Study { tally: &tally, ..*study }))?;
        done.push(output.finish()?);
    }
    if let Some(database) = &database {
        for table in &wanted {
            add_indexes(database, table, without_rows(table, study).columns())?;
        }
    }
    let database = database.map(DatabaseFile::finish).transpose()?;
    publish(done, database, &wanted, to.folder)
}

/// A table whose rows are not made of results.
#[derive(Debug)]
pub(super) struct GivenTable {
    /// What it is.
    pub(super) table: &'static Table,
    /// Its columns.
    pub(super) columns: Vec<Definition>,
}

/// Takes the rows of a table piece by piece.
pub(super) type Taker<'t> = dyn FnMut(&Sheet<'_>) -> Result<(), WriteError> + 't;

/// Writes tables, with a database of all of them, from rows that `give` hands over for each.
///
/// # Errors
/// As [`write_tables`], and when `give` fails.
pub(super) fn write_given<E: From<WriteError>>(
    tables: &[GivenTable],
    (folder, database): (&Path, &Path),
    give: &mut dyn FnMut(&GivenTable, &mut Taker<'_>) -> Result<(), E>,
) -> Result<Vec<Written>, E> {
    let all: Vec<&'static Table> = tables.iter().map(|t| t.table).collect();
    let database = DatabaseFile::begin(database)?;
    let mut done = Vec::new();
    for given in tables {
        let mut output =
            Output::begin(given.table, &given.columns, folder, Some((&database, &all)))?;
        give(given, &mut |sheet| output.append(sheet))?;
        done.push(output.finish()?);
    }
    for given in tables {
        add_indexes(&database, given.table, &given.columns)?;
    }
    let database = database.finish()?;
    Ok(publish(done, Some(database), &all, folder)?)
}

fn add_indexes(
    database: &DatabaseFile,
    table: &Table,
    columns: &[Definition],
) -> Result<(), WriteError> {
    if table.key.len() > 1 {
        database.index_key(table.name, table.key)?;
    }
    for columns in indexes(table, columns) {
        database.create_index(table.name, &columns)?;
    }
    Ok(())
}

fn publish(
    done: Vec<Whole>,
    database: Option<Finished>,
    order: &[&'static Table],
    folder: &Path,
) -> Result<Vec<Written>, WriteError> {
    let mut written = Vec::new();
    if let Some(database) = database {
        database.publish()?;
    }
    for whole in done {
        whole.parquet.publish()?;
        match whole.csv {
            Some(csv) => csv.publish()?,
            None => remove_file(&csv_path(folder, whole.written.table))?,
        }
        written.push(whole.written);
    }
    system::sync_folder(folder)
        .map_err(|source| WriteError { path: folder.to_path_buf(), source })?;
    written.sort_by_key(|w| order.iter().position(|t| t.name == w.table));
    Ok(written)
}

/// A table with its columns, as this study has them.
fn without_rows<'a>(table: &Table, study: &Study<'a>) -> Sheet<'a> {
    (table.sheet)(&Study { cases: &[], analyses: &[], findings: &[], ..*study })
}

/// The tables that others name a row of, by the column that does so.
const PARENTS: [(&str, &str); 2] = [("plan_id", "plans"), ("lesion_id", "lesions")];

/// Which of them a table names rows of; only rows of cases surely name one that is there.
fn parents(
    table: &Table,
    columns: &[Definition],
    all: &[&'static Table],
) -> Vec<(&'static str, &'static str)> {
    let mut found = Vec::new();
    for (column, parent) in PARENTS {
        let has = columns.iter().any(|c| c.name == column);
        let written = all.iter().any(|t| t.name == parent);
        if table.by_case && table.name != parent && has && written {
            found.push((column, parent));
        }
    }
    found
}

/// What a table is looked up by besides its key: the plan, and of the metrics the metric of a
/// structure, which most questions ask for.
fn indexes(table: &Table, columns: &[Definition]) -> Vec<Vec<&'static str>> {
    let mut found = Vec::new();
    let has_plan = columns.iter().any(|c| c.name == "plan_id");
    if has_plan && table.key.first() != Some(&"plan_id") {
        found.push(vec!["plan_id"]);
    }
    if table.name == "metrics" {
        found.push(vec!["metric", "structure"]);
    }
    found
}

fn csv_path(folder: &Path, name: &str) -> PathBuf {
    folder.join(format!("{name}.csv"))
}

/// One table on its way.
struct Output<'d> {
    table: &'static Table,
    database: Option<&'d DatabaseFile>,
    parquet: ParquetFile<Shared>,
    parquet_file: Shared,
    csv: Option<csv::Writer<Pending>>,
    rows: usize,
}

/// One table that is whole, under its temporary names.
struct Whole {
    written: Written,
    parquet: Finished,
    csv: Option<Finished>,
}

impl<'d> Output<'d> {
    fn begin(
        table: &'static Table,
        columns: &[Definition],
        folder: &Path,
        database: Option<(&'d DatabaseFile, &[&'static Table])>,
    ) -> Result<Self, WriteError> {
        let path = folder.join(format!("{}.parquet", table.name));
        let parquet_file = Shared::new(Pending::create(&path, Access::Shared)?);
        let parquet = ParquetFile::begin(columns, parquet_file.clone())
            .map_err(|source| WriteError { path, source })?;
        let mut csv = None;
        if !PARQUET_ONLY.contains(&table.name) {
            let path = csv_path(folder, table.name);
            let mut writer = write_csv::writer(Pending::create(&path, Access::Shared)?);
            write_csv::write_names(columns, &mut writer)
                .map_err(|source| WriteError { path, source })?;
            csv = Some(writer);
        }
        if let Some((database, all)) = database {
            let foreign = parents(table, columns, all);
            let keys = Keys { grain: table.grain, primary: table.key, foreign: &foreign };
            database.create_table(table.name, keys, columns)?;
        }
        let database = database.map(|(file, _)| file);
        Ok(Self { table, database, parquet, parquet_file, csv, rows: 0 })
    }

    fn append(&mut self, sheet: &Sheet<'_>) -> Result<(), WriteError> {
        self.rows += sheet.row_count();
        let fault = |path: &Path, source| WriteError { path: path.to_path_buf(), source };
        if let Some(database) = self.database {
            database.append(self.table.name, sheet)?;
        }
        self.parquet.append(sheet).map_err(|e| fault(&self.parquet_file.path(), e))?;
        if self.rows >= CSV_ROW_LIMIT {
            self.csv = None;
        }
        if let Some(csv) = &mut self.csv {
            let result = write_csv::write_rows(sheet, csv);
            result.map_err(|e| fault(csv.get_ref().path(), e))?;
        }
        Ok(())
    }

    fn finish(self) -> Result<Whole, WriteError> {
        let path = self.parquet_file.path();
        self.parquet.finish().map_err(|source| WriteError { path, source })?;
        let csv = match self.csv {
            None => None,
            Some(mut csv) => {
                let path = csv.get_ref().path().to_path_buf();
                let fault = |source| WriteError { path: path.clone(), source };
                csv.flush().map_err(fault)?;
                let file = csv.into_inner().map_err(|e| fault(e.into_error()))?;
                Some(file.finish()?)
            }
        };
        let written = Written { table: self.table.name, rows: self.rows, csv: csv.is_some() };
        Ok(Whole { written, parquet: self.parquet_file.finish()?, csv })
    }
}

/// The file below an encoder that keeps hold of it: the encoder's end is not the file's.
#[derive(Clone)]
struct Shared {
    path: PathBuf,
    file: Arc<Mutex<Option<Pending>>>,
}

impl Shared {
    fn new(file: Pending) -> Self {
        Self { path: file.path().to_path_buf(), file: Arc::new(Mutex::new(Some(file))) }
    }

    fn path(&self) -> PathBuf {
        self.path.clone()
    }

    fn finish(self) -> Result<Finished, WriteError> {
        let file = self.file.lock().unwrap_or_else(PoisonError::into_inner).take();
        match file {
            Some(file) => file.finish(),
            None => Err(WriteError { path: self.path, source: closed() }),
        }
    }

    fn with<T>(&self, work: impl FnOnce(&mut Pending) -> io::Result<T>) -> io::Result<T> {
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        file.as_mut().map_or_else(|| Err(closed()), work)
    }
}

fn closed() -> io::Error {
    io::Error::other("the file is closed already")
}

impl Write for Shared {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.with(|file| file.write(bytes))
    }

    fn flush(&mut self) -> io::Result<()> {
        self.with(Write::flush)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::TABLES;
    use crate::example::Example;

    /// What `by_case` promises: the cases one after the other give the table of the study.
    #[test]
    fn the_sheets_of_the_cases_make_the_sheet_of_the_study() {
        let example = Example::new();
        let study = example.study();
        let lines = |sheet: &Sheet<'_>| -> Vec<String> {
            let cells = |row| (0..sheet.columns().len()).map(move |c| sheet.cell(row, c));
            (0..sheet.row_count()).map(|r| format!("{:?}", cells(r).collect::<Vec<_>>())).collect()
        };
        assert!(TABLES.iter().filter(|t| t.by_case).count() >= 7);
        for table in TABLES.iter().filter(|t| t.by_case) {
            let whole = lines(&(table.sheet)(&study));
            let mut single = Vec::new();
            for case in in_order(study.cases) {
                let of_case = Study { cases: std::slice::from_ref(case), ..study };
                single.extend(lines(&(table.sheet)(&of_case)));
            }
            assert_eq!(single, whole, "{}", table.name);
        }
    }

    #[test]
    fn a_case_that_cannot_be_had_leaves_every_table_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let example = Example::new();
        let names: Vec<_> = TABLES.iter().map(|t| t.name).collect();
        let to = Destination { folder: folder.path(), database: None };
        write_tables(&example.study(), &names, to).unwrap();
        let listing = || {
            let entries = std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().path());
            let mut files: Vec<_> = entries.map(|p| (std::fs::read(&p).unwrap(), p)).collect();
            files.sort();
            files
        };
        let before = listing();
        let mut source =
            |_: &Case| Err(WriteError { path: "part".into(), source: io::Error::other("gone") });
        let failed = write_tables_from(&example.study(), &names, to, &mut source);
        assert!(failed.unwrap_err().to_string().contains("part: gone"));
        assert!(listing() == before);
    }
}
