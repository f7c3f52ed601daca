//! The tables of a study read back from its database, and CSV files of the user as tables beside them.
//! Says which there are; computes nothing.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use rusqlite::types::ValueRef;
use rusqlite::{Connection, OpenFlags, Statement};

use super::column::{Cell, Kind};
use super::database::{self, insert_frame, kind_of, quoted};
use super::frame::{Cells, LoadedTable};
use super::user::user_file::{ReadError, UserFile};
use tidydose_case::PlanRole;

/// The tables of a study, open for reading.
#[derive(Debug)]
pub struct StudyTables {
    connection: Connection,
    /// By name; a file is read once its table is asked for.
    tables: BTreeMap<String, KeptIn>,
}

/// Temporary tables never touch the disk. Said before there is one: it would drop them.
const IN_MEMORY: &str = "PRAGMA temp_store = MEMORY";

/// Where a table is.
#[derive(Debug, Clone, PartialEq, Eq)]
enum KeptIn {
    /// In the database.
    Database,
    /// In a CSV file that has not been looked into.
    File(PathBuf),
}

impl StudyTables {
    /// The tables of the study at `folder`: those of `study.sqlite`, and each CSV file that lies in
    /// the folder itself (`names.csv`, `prescriptions.csv` and what the user put there). Nothing is
    /// ever written there.
    ///
    /// # Errors
    /// When it cannot be read or holds no tables.
    pub fn of_study(folder: &Path) -> Result<Self, ReadError> {
        let fault = |reason: String| ReadError { path: folder.to_path_buf(), reason };
        let mut files = BTreeMap::new();
        for entry in fs::read_dir(folder).map_err(|e| fault(e.to_string()))? {
            let path = entry.map_err(|e| fault(e.to_string()))?.path();
            let ending = path.extension().and_then(|e| e.to_str());
            let name = path.file_stem().and_then(|n| n.to_str());
            if let (Some("csv"), Some(name)) = (ending, name) {
                files.insert(name.to_owned(), KeptIn::File(path));
            }
        }
        let path = folder.join(database::FILE);
        if !path.is_file() {
            let reason =
                "is no measured study: it has no study.sqlite; `tidydose measure` makes one";
            return Err(fault(reason.to_owned()));
        }
        let mut tables = Self::open(&path)?;
        for (name, place) in files {
            tables.tables.entry(name).or_insert(place);
        }
        Ok(tables)
    }

    fn open(path: &Path) -> Result<Self, ReadError> {
        let fault = |e: rusqlite::Error| ReadError {
            path: path.to_path_buf(),
            reason: format!("cannot be read as an SQLite database ({e}); measure the study again"),
        };
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        // Nobody else writes to the file while it has this name, so that it needs no locks, which
        // network drives often lack.
        let opened = match uri_of(path) {
            Some(uri) => Connection::open_with_flags(uri, flags | OpenFlags::SQLITE_OPEN_URI),
            None => Connection::open_with_flags(path, flags),
        };
        let connection = opened.map_err(fault)?;
        connection.execute_batch(IN_MEMORY).map_err(fault)?;
        Self::of(connection).map_err(fault)
    }

    /// Tables that are held in memory.
    ///
    /// # Errors
    /// When the database engine refuses them.
    pub fn in_memory(frames: &[(&str, LoadedTable)]) -> Result<Self, ReadError> {
        let fault = |e: rusqlite::Error| ReadError { path: PathBuf::new(), reason: e.to_string() };
        let connection = Connection::open_in_memory().map_err(fault)?;
        connection.execute_batch(IN_MEMORY).map_err(fault)?;
        for (name, frame) in frames {
            insert_frame(&connection, name, frame).map_err(fault)?;
        }
        Self::of(connection).map_err(fault)
    }

    fn of(connection: Connection) -> rusqlite::Result<Self> {
        let mut tables = BTreeMap::new();
        {
            let sql = "SELECT name FROM sqlite_schema WHERE type = 'table'
                       UNION SELECT name FROM sqlite_temp_schema WHERE type = 'table'";
            let mut statement = connection.prepare(sql)?;
            let mut rows = statement.query([])?;
            while let Some(row) = rows.next()? {
                tables.insert(row.get(0)?, KeptIn::Database);
            }
        }
        Ok(Self { connection, tables })
    }

    /// Adds a CSV file as a table, in place of one with the same name.
    pub fn insert(&mut self, name: &str, path: &Path) {
        self.tables.insert(name.to_owned(), KeptIn::File(path.to_path_buf()));
    }

    /// The names in ascending order.
    #[must_use]
    pub fn names(&self) -> Vec<&str> {
        self.tables.keys().map(String::as_str).collect()
    }

    /// Reads one table; absent where there is none of that name.
    ///
    /// # Errors
    /// When the file cannot be read or is not what its ending says.
    pub fn read(&self, name: &str) -> Option<Result<LoadedTable, ReadError>> {
        Some(match self.tables.get(name)? {
            KeptIn::File(path) => csv_frame(path),
            KeptIn::Database => self.rows_of(name).map_err(|e| self.fault(name, &e)),
        })
    }

    /// Those of the named tables that there are, by name.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn read_all(&self, names: &[&str]) -> Result<BTreeMap<String, LoadedTable>, ReadError> {
        let mut frames = BTreeMap::new();
        for name in names {
            if let Some(frame) = self.read(name) {
                frames.insert((*name).to_owned(), frame?);
            }
        }
        Ok(frames)
    }

    /// The same without structure sets that were drawn after a treatment: they are no plans, and
    /// tables of their own tell of them.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn read_plans(&self, names: &[&str]) -> Result<BTreeMap<String, LoadedTable>, ReadError> {
        let mut frames = BTreeMap::new();
        for name in names {
            let in_database = self.tables.get(*name) == Some(&KeptIn::Database);
            if in_database && self.columns(name)?.iter().any(|column| column == "plan_id") {
                let sql = format!(
                    "SELECT * FROM {} WHERE plan_id IS NULL OR plan_id NOT IN
                     (SELECT plan_id FROM plans WHERE plan_role = '{}')",
                    quoted(name),
                    PlanRole::FollowUp.word()
                );
                let rows = self.connection.prepare(&sql).and_then(|mut s| answered(&mut s));
                frames.insert((*name).to_owned(), rows.map_err(|e| self.fault(name, &e))?);
            } else if let Some(frame) = self.read(name) {
                frames.insert((*name).to_owned(), frame?);
            }
        }
        Ok(frames)
    }

    fn fault(&self, name: &str, error: &rusqlite::Error) -> ReadError {
        let path = self.connection.path().unwrap_or(database::FILE);
        let reason = format!("table {name} cannot be read ({error}); measure the study again");
        ReadError { path: PathBuf::from(path), reason }
    }

    fn rows_of(&self, name: &str) -> rusqlite::Result<LoadedTable> {
        let sql = format!("SELECT * FROM {}", quoted(name));
        answered(&mut self.connection.prepare(&sql)?)
    }

    /// Makes a table of the user's files part of the database, so that SQL can name it.
    ///
    /// # Errors
    /// When its file cannot be read.
    pub fn load(&mut self, name: &str) -> Result<(), ReadError> {
        let Some(KeptIn::File(path)) = self.tables.get(name) else { return Ok(()) };
        let frame = csv_frame(path)?;
        insert_frame(&self.connection, name, &frame)
            .map_err(|e| ReadError { path: path.clone(), reason: e.to_string() })?;
        self.tables.insert(name.to_owned(), KeptIn::Database);
        Ok(())
    }

    /// The names of the columns of a table that is in the database; none where there is no such.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn columns(&self, name: &str) -> Result<Vec<String>, ReadError> {
        let sql = format!("SELECT * FROM {} LIMIT 0", quoted(name));
        let statement = self.connection.prepare(&sql).map_err(|e| self.fault(name, &e))?;
        Ok(statement.column_names().map(str::to_owned).collect())
    }

    /// The database behind the tables.
    #[must_use]
    pub const fn connection(&self) -> &Connection {
        &self.connection
    }
}

/// The rows that a statement yields. A column has the kind that the definition of its table names,
/// else the one of its cells: texts where there is any, reals where there is any, else whole numbers.
///
/// # Errors
/// Those of the database.
pub fn answered(statement: &mut Statement<'_>) -> rusqlite::Result<LoadedTable> {
    let declared: Vec<(String, Option<Kind>)> = statement
        .columns()
        .map(|c| (c.name().to_owned(), c.decl_type().and_then(kind_of)))
        .collect();
    let mut columns: Vec<Growing> = declared
        .iter()
        .map(|(_, kind)| Growing { cells: kind.map(Cells::of), missing: 0 })
        .collect();
    let mut rows = statement.raw_query();
    while let Some(row) = rows.next()? {
        for (place, column) in columns.iter_mut().enumerate() {
            column.push(row.get_ref(place)?);
        }
    }
    let named = declared.into_iter().zip(columns);
    Ok(LoadedTable::new(named.map(|((name, _), column)| (name, column.finish())).collect()))
}

/// A column whose kind may show only as its cells come.
struct Growing {
    cells: Option<Cells>,
    /// Missing cells before the kind was known.
    missing: usize,
}

impl Growing {
    fn push(&mut self, value: ValueRef<'_>) {
        let found = match value {
            ValueRef::Null => None,
            ValueRef::Integer(_) => Some(Kind::Integer),
            ValueRef::Real(_) => Some(Kind::Real),
            ValueRef::Text(_) | ValueRef::Blob(_) => Some(Kind::Text),
        };
        let Some(found) = found else {
            match &mut self.cells {
                Some(cells) => cells.push(Cell::Missing),
                None => self.missing += 1,
            }
            return;
        };
        let cells = match self.cells.take() {
            None => {
                let mut cells = Cells::of(found);
                for _ in 0..self.missing {
                    cells.push(Cell::Missing);
                }
                cells
            }
            Some(cells) => widened(cells, found),
        };
        let cells = self.cells.insert(cells);
        cells.push(cell_of(value, cells.kind()));
    }

    fn finish(self) -> Cells {
        self.cells.unwrap_or_else(|| Cells::texts(vec![None; self.missing]))
    }
}

/// The cells of a column in which a value of another kind is found: as texts beside a text, as reals
/// beside a real.
fn widened(cells: Cells, found: Kind) -> Cells {
    let kind = match (cells.kind(), found) {
        (Kind::Integer, Kind::Real) => Kind::Real,
        (Kind::Integer | Kind::Real | Kind::Boolean, Kind::Text) => Kind::Text,
        _ => return cells,
    };
    let mut out = Cells::of(kind);
    for row in 0..cells.count() {
        out.push(match (cells.at(row), kind) {
            (Cell::Integer(v), Kind::Text) => Cell::Text(v.to_string().into()),
            (Cell::Real(v), Kind::Text) => Cell::Text(v.to_string().into()),
            (Cell::Boolean(v), Kind::Text) => Cell::Text(v.to_string().into()),
            (cell, _) => cell,
        });
    }
    out
}

/// A value of the database as a cell of a column of this kind.
fn cell_of(value: ValueRef<'_>, kind: Kind) -> Cell<'_> {
    match (value, kind) {
        (ValueRef::Null, _) => Cell::Missing,
        (ValueRef::Integer(v), Kind::Boolean) => Cell::Boolean(v != 0),
        (ValueRef::Integer(v), Kind::Text) => Cell::Text(v.to_string().into()),
        (ValueRef::Integer(v), _) => Cell::Integer(v),
        (ValueRef::Real(v), Kind::Text) => Cell::Text(v.to_string().into()),
        (ValueRef::Real(v), _) => Cell::Real(v),
        (ValueRef::Text(bytes) | ValueRef::Blob(bytes), _) => {
            Cell::Text(String::from_utf8_lossy(bytes))
        }
    }
}

/// A path as the address under which SQLite opens it without locks; absent where it is no Unicode.
fn uri_of(path: &Path) -> Option<String> {
    let whole = std::path::absolute(path).ok()?;
    let mut uri = String::from("file:");
    let text = whole.to_str()?.replace(std::path::MAIN_SEPARATOR, "/");
    if !text.starts_with('/') {
        uri.push('/'); // a drive letter
    }
    for byte in text.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b':' | b'.' | b'-' | b'_' => {
                uri.push(char::from(byte));
            }
            other => uri.push_str(&format!("%{other:02X}")),
        }
    }
    uri.push_str("?immutable=1");
    Some(uri)
}

/// A CSV file as a table. A column is of numbers or of true and false when every cell that is not
/// empty is; an empty cell is missing. In a file separated by semicolons a number may have a
/// decimal comma.
fn csv_frame(path: &Path) -> Result<LoadedTable, ReadError> {
    let fault = |reason: String| ReadError { path: path.to_path_buf(), reason };
    // An absent file of the user is an empty one elsewhere; here it was named.
    fs::metadata(path).map_err(|e| fault(e.to_string()))?;
    let file = UserFile::read(path, &[], &[])?;
    let column = |name: &String| (name.clone(), column(&file, name));
    Ok(LoadedTable::new(file.columns().iter().map(column).collect()))
}

fn column(file: &UserFile, name: &str) -> Cells {
    let cells: Vec<Option<&str>> = (0..file.row_count())
        .map(|row| Some(file.text(row, name)).filter(|t| !t.is_empty()))
        .collect();
    let real = |t: &str| {
        let comma = file.separator() == b';' && !t.contains('.');
        let point = if comma { t.replacen(',', ".", 1) } else { t.to_owned() };
        point.parse::<f64>().ok().filter(|v| v.is_finite())
    };
    parsed(&cells, |t| t.parse::<i64>().ok())
        .map(Cells::Integer)
        .or_else(|| parsed(&cells, real).map(Cells::Real))
        .or_else(|| parsed(&cells, |t| t.parse::<bool>().ok()).map(Cells::Boolean))
        .unwrap_or_else(|| Cells::texts(cells))
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
    use super::*;
    use crate::frame::{integers, texts};

    #[test]
    fn a_csv_file_gets_types_from_all_its_cells() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("outcomes.csv");
        fs::write(&path, "id;grade;day;dose;dead;mixed\nA1;2;10;1,5;true;1\nB2;;-3;2;false;x\n")
            .unwrap();
        let frame = csv_frame(&path).unwrap();
        let kinds: Vec<_> = frame.columns().iter().map(|(_, cells)| cells.kind()).collect();
        assert_eq!(
            kinds,
            [Kind::Text, Kind::Integer, Kind::Integer, Kind::Real, Kind::Boolean, Kind::Text]
        );
        let cell = |name: &str, row: usize| frame.cells(name).unwrap().at(row);
        assert_eq!(cell("dose", 0), Cell::Real(1.5));
        assert_eq!(cell("grade", 1), Cell::Missing);
    }

    #[test]
    fn a_folder_without_a_database_is_no_study() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("names.csv"), "a\n1\n").unwrap();
        let text = StudyTables::of_study(folder.path()).unwrap_err().to_string();
        assert!(text.contains("is no measured study"), "{text}");
        assert!(StudyTables::of_study(&folder.path().join("nowhere")).is_err());
    }

    #[test]
    fn a_broken_database_is_named() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join(database::FILE), "no database at all, but a text").unwrap();
        let text = StudyTables::of_study(folder.path()).unwrap_err().to_string();
        assert!(text.contains("study.sqlite: cannot be read"), "{text}");
    }

    #[test]
    fn a_file_of_the_user_becomes_a_table_once_it_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("extra file.csv");
        fs::write(&path, "plan_id,n\na,1\nb,\n").unwrap();
        let frame = LoadedTable::new(vec![("plan_id".into(), Cells::texts([Some("z")]))]);
        let mut tables = StudyTables::in_memory(&[("plans", frame)]).unwrap();
        tables.insert("extra", &path);
        assert_eq!(tables.names(), ["extra", "plans"]);
        assert_eq!(integers(&tables.read("extra").unwrap().unwrap(), "n"), [Some(1), None]);
        tables.load("extra").unwrap();
        assert_eq!(tables.columns("extra").unwrap(), ["plan_id", "n"]);
        assert_eq!(
            texts(&tables.read("extra").unwrap().unwrap(), "plan_id"),
            [Some("a"), Some("b")]
        );
        tables.insert("plans", &path);
        tables.load("plans").unwrap();
        assert_eq!(tables.read("plans").unwrap().unwrap().height(), 2, "it hides the first one");
        assert!(tables.read("nowhere").is_none());
    }

    #[test]
    fn cells_without_a_declared_kind_get_the_one_that_holds_them_all() {
        let connection = Connection::open_in_memory().unwrap();
        let sql = "SELECT NULL AS a, 1 AS b, NULL AS c UNION ALL SELECT 1, 2.5, NULL
                   UNION ALL SELECT 2, 'x', NULL";
        let frame = answered(&mut connection.prepare(sql).unwrap()).unwrap();
        assert_eq!(integers(&frame, "a"), [None, Some(1), Some(2)]);
        assert_eq!(texts(&frame, "b"), [Some("1"), Some("2.5"), Some("x")]);
        assert_eq!((texts(&frame, "c"), frame.height()), (vec![None; 3], 3));
    }

    #[test]
    fn a_path_is_an_address_whatever_it_holds() {
        assert_eq!(
            uri_of(Path::new("/a b/é?#%.sqlite")).unwrap(),
            "file:/a%20b/%C3%A9%3F%23%25.sqlite?immutable=1"
        );
    }
}
