//! `study.sqlite`: all tables in one SQLite database, which database browsers, R, Python's standard
//! library and many other programs open, and from which the program's own pages and answers are made.
//! The meaning and unit of every column stand as comments in the definition of its table, beside its
//! key and the tables whose rows it names. The same rows give the same bytes.

use std::io;
use std::path::{Path, PathBuf};

use rusqlite::types::{ToSqlOutput, Value, ValueRef};
use rusqlite::{Connection, Statement, ToSql};

use super::column::{Cell, Definition, Kind, Sheet};
use super::frame::LoadedTable;
use super::run::{CAUTION, PROGRAM};
use super::write_file::{Access, Entrusted, Finished, WriteError};

/// Name of the file in a study folder.
pub const FILE: &str = "study.sqlite";

/// Marks the file as one of this program in the header of the database ("tidy" in ASCII).
const APPLICATION_ID: i32 = 0x7469_6479;

/// What a table is besides its columns.
#[derive(Debug, Clone, Copy)]
pub struct Keys<'k> {
    /// What one of its rows is.
    pub grain: &'k str,
    /// The column that names a row, or columns that do so together: these become an index once the
    /// rows are there, see [`DatabaseFile::index_key`].
    pub primary: &'k [&'k str],
    /// A column, and the table of which it names a row in the column of the same name.
    pub foreign: &'k [(&'k str, &'k str)],
}

/// A database that is being written under a temporary name.
#[derive(Debug)]
pub struct DatabaseFile {
    connection: Connection,
    file: Entrusted,
}

impl DatabaseFile {
    /// Begins the database that is to be at `path`.
    ///
    /// # Errors
    /// When the file cannot be made.
    pub fn begin(path: &Path) -> Result<Self, WriteError> {
        let file = Entrusted::create(path, Access::Shared)?;
        let connection = Connection::open(file.temporary_path()).map_err(|e| fault(path, e))?;
        // No journal: what a run leaves half done goes as a whole. A table may name rows of one that
        // is written after it.
        let begin = format!(
            "PRAGMA page_size = 8192; PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF;
             PRAGMA locking_mode = EXCLUSIVE; PRAGMA foreign_keys = OFF;
             PRAGMA application_id = {APPLICATION_ID};
             BEGIN;
             CREATE TABLE about (name TEXT, text TEXT);"
        );
        connection.execute_batch(&begin).map_err(|e| fault(path, e))?;
        for (name, text) in [
            ("caution", CAUTION),
            ("program", &format!("{} {}", PROGRAM, env!("CARGO_PKG_VERSION"))),
        ] {
            connection
                .execute("INSERT INTO about VALUES (?1, ?2)", [name, text])
                .map_err(|e| fault(path, e))?;
        }
        Ok(Self { connection, file })
    }

    /// Adds an empty table.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn create_table(
        &self,
        name: &str,
        keys: Keys<'_>,
        columns: &[Definition],
    ) -> Result<(), WriteError> {
        let mut rules = Vec::new();
        for (column, parent) in keys.foreign {
            let (column, parent) = (quoted(column), quoted(parent));
            rules.push(format!("  FOREIGN KEY ({column}) REFERENCES {parent} ({column})"));
        }
        // A pseudonym is there once by its making. Several columns may be alike in two rows, as
        // where a file is damaged: that must not end a run.
        if let [only] = keys.primary {
            rules.push(format!("  PRIMARY KEY ({})", quoted(only)));
        }
        let mut sql =
            format!("CREATE TABLE {} ( -- a row: {}\n", quoted(name), comment(keys.grain));
        for (place, column) in columns.iter().enumerate() {
            let last = place + 1 == columns.len() && rules.is_empty();
            let end = if last { "" } else { "," };
            let unit =
                if column.unit.is_empty() { String::new() } else { format!("{}; ", column.unit) };
            sql.push_str(&format!(
                "  {} {}{end} -- {unit}{}\n",
                quoted(&column.name),
                type_name(column.kind),
                comment(&column.meaning)
            ));
        }
        sql.push_str(&format!("{}\n)", rules.join(",\n")));
        self.connection.execute(&sql, []).map_err(|e| self.fault(e))?;
        Ok(())
    }

    /// Adds the rows of a sheet to its table.
    ///
    /// # Errors
    /// When the database refuses, as on a full disk.
    pub fn append(&self, name: &str, sheet: &Sheet<'_>) -> Result<(), WriteError> {
        let width = sheet.columns().len();
        let mut insert = insertion(&self.connection, name, width).map_err(|e| self.fault(e))?;
        for row in 0..sheet.row_count() {
            for place in 0..width {
                let cell = Bound(sheet.cell(row, place));
                insert.raw_bind_parameter(place + 1, cell).map_err(|e| self.fault(e))?;
            }
            insert.raw_execute().map_err(|e| self.fault(e))?;
        }
        Ok(())
    }

    /// Adds an index over some columns of a table, which makes joins by them fast.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn create_index(&self, table: &str, columns: &[&str]) -> Result<(), WriteError> {
        let name = format!("{table}_by_{}", columns.join("_"));
        let sql =
            format!("CREATE INDEX {} ON {} ({})", quoted(&name), quoted(table), list(columns));
        self.connection.execute(&sql, []).map_err(|e| self.fault(e))?;
        Ok(())
    }

    /// Adds the index over the columns that name a row together; a unique one, unless rows are alike
    /// in all of them.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn index_key(&self, table: &str, key: &[&str]) -> Result<(), WriteError> {
        let (name, table, key) = (quoted(&format!("{table}_key")), quoted(table), list(key));
        // Asked first: without a journal an index that fails half way would harm the file.
        let sql = format!("SELECT 1 FROM {table} GROUP BY {key} HAVING COUNT(*) > 1 LIMIT 1");
        let mut statement = self.connection.prepare(&sql).map_err(|e| self.fault(e))?;
        let alike = statement.exists([]).map_err(|e| self.fault(e))?;
        let kind = if alike { "INDEX" } else { "UNIQUE INDEX" };
        let sql = format!("CREATE {kind} {name} ON {table} ({key})");
        self.connection.execute(&sql, []).map_err(|e| self.fault(e))?;
        Ok(())
    }

    /// Closes the database and brings it to the disk.
    ///
    /// # Errors
    /// When the system cannot, as on a full disk.
    pub fn finish(self) -> Result<Finished, WriteError> {
        self.connection.execute_batch("COMMIT").map_err(|e| self.fault(e))?;
        let Self { connection, file } = self;
        connection.close().map_err(|(_, e)| fault(file.path(), e))?;
        file.finish()
    }

    fn fault(&self, error: rusqlite::Error) -> WriteError {
        fault(self.file.path(), error)
    }
}

fn fault(path: &Path, error: rusqlite::Error) -> WriteError {
    WriteError { path: PathBuf::from(path), source: io::Error::other(error) }
}

/// Puts a table that is held in memory into the database as a temporary one, which hides one of the
/// same name.
///
/// # Errors
/// When the database refuses.
pub(super) fn insert_frame(
    connection: &Connection,
    name: &str,
    frame: &LoadedTable,
) -> rusqlite::Result<()> {
    let columns: Vec<String> = frame
        .columns()
        .iter()
        .map(|(name, cells)| format!("{} {}", quoted(name), type_name(cells.kind())))
        .collect();
    let table = format!("temp.{}", quoted(name));
    connection.execute_batch(&format!(
        "DROP TABLE IF EXISTS {table}; CREATE TABLE {table} ({})",
        columns.join(", ")
    ))?;
    let mut insert = insertion(connection, name, columns.len())?;
    for row in 0..frame.height() {
        for (place, (_, cells)) in frame.columns().iter().enumerate() {
            insert.raw_bind_parameter(place + 1, Bound(cells.at(row)))?;
        }
        insert.raw_execute()?;
    }
    Ok(())
}

fn insertion<'c>(
    connection: &'c Connection,
    table: &str,
    width: usize,
) -> rusqlite::Result<Statement<'c>> {
    let places = vec!["?"; width].join(", ");
    connection.prepare(&format!("INSERT INTO {} VALUES ({places})", quoted(table)))
}

/// A cell as a value of the database.
struct Bound<'c>(Cell<'c>);

impl ToSql for Bound<'_> {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(match &self.0 {
            Cell::Missing => ToSqlOutput::Owned(Value::Null),
            Cell::Text(text) => ToSqlOutput::Borrowed(ValueRef::Text(text.as_bytes())),
            Cell::Integer(value) => ToSqlOutput::Owned(Value::Integer(*value)),
            Cell::Real(value) => ToSqlOutput::Owned(Value::Real(*value)),
            Cell::Boolean(value) => ToSqlOutput::Owned(Value::Integer(i64::from(*value))),
        })
    }
}

/// The name of a type in the definition of a table. SQLite stores yes and no as 1 and 0; the name
/// tells readers which columns are meant so.
pub(super) const fn type_name(kind: Kind) -> &'static str {
    match kind {
        Kind::Text => "TEXT",
        Kind::Integer => "INTEGER",
        Kind::Real => "REAL",
        Kind::Boolean => "BOOLEAN",
    }
}

/// What [`type_name`] stands for; absent for another type.
pub(super) fn kind_of(type_name: &str) -> Option<Kind> {
    [Kind::Text, Kind::Integer, Kind::Real, Kind::Boolean]
        .into_iter()
        .find(|kind| self::type_name(*kind).eq_ignore_ascii_case(type_name))
}

/// A name as SQL writes it, whatever it holds.
pub(super) fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}

/// Names as SQL lists them.
fn list(columns: &[&str]) -> String {
    columns.iter().map(|c| quoted(c)).collect::<Vec<_>>().join(", ")
}

/// A text as a comment, which ends with its line.
fn comment(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use std::borrow::Cow;

    use super::*;
    use crate::column::Column;

    type Thing = (Option<&'static str>, Option<i64>, Option<f64>, Option<bool>);

    fn sheet() -> Sheet<'static> {
        let columns: Vec<Column<Thing>> = vec![
            Column::text("name", "a text", |r| r.0.map(Cow::Borrowed)),
            Column::integer("n", "", "a count", |r| r.1),
            Column::real("x_mm", "mm", "a length", |r| r.2),
            Column::boolean("used", "whether it is used", |r| r.3),
        ];
        let rows = vec![
            (Some("it's \"=1+1\""), Some(-3), Some(0.1 + 0.2), Some(true)),
            (None, None, Some(f64::NAN), None),
        ];
        Sheet::new(columns, rows)
    }

    const KEYS: Keys<'_> =
        Keys { grain: "one thing", primary: &["name"], foreign: &[("n", "numbers")] };

    fn written(path: &Path) {
        let file = DatabaseFile::begin(path).unwrap();
        let sheet = sheet();
        file.create_table("things", KEYS, sheet.columns()).unwrap();
        file.append("things", &sheet).unwrap();
        file.create_index("things", &["x_mm"]).unwrap();
        file.finish().unwrap().publish().unwrap();
    }

    #[test]
    fn types_comments_and_missing_values_read_back_and_bytes_repeat() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE);
        written(&path);
        let first = std::fs::read(&path).unwrap();
        written(&path);
        assert!(first == std::fs::read(&path).unwrap());
        let database = Connection::open(&path).unwrap();
        let sql: String = database
            .query_row("SELECT sql FROM sqlite_schema WHERE name = 'things'", [], |r| r.get(0))
            .unwrap();
        assert!(sql.contains("\"x_mm\" REAL, -- mm; a length\n"), "{sql}");
        assert!(sql.contains("( -- a row: one thing\n"), "{sql}");
        let end = "  FOREIGN KEY (\"n\") REFERENCES \"numbers\" (\"n\"),\n  \
                   PRIMARY KEY (\"name\")\n)";
        assert!(sql.ends_with(end), "{sql}");
        let index = "SELECT sql FROM sqlite_schema WHERE name = 'things_by_x_mm'";
        let index: String = database.query_row(index, [], |r| r.get(0)).unwrap();
        assert!(index.ends_with("ON \"things\" (\"x_mm\")"), "{index}");
        let row = |sql: &str| {
            database
                .query_row(sql, [], |r| {
                    let cells: (Option<String>, Option<i64>, Option<f64>, Option<bool>) =
                        (r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?);
                    Ok(cells)
                })
                .unwrap()
        };
        let first = row("SELECT * FROM things WHERE n = -3");
        let text = "it's \"=1+1\"".to_owned();
        assert_eq!(first, (Some(text), Some(-3), Some(0.1 + 0.2), Some(true)));
        assert_eq!(row("SELECT * FROM things WHERE n IS NULL"), (None, None, None, None));
        let caution: String = database
            .query_row("SELECT text FROM about WHERE name = 'caution'", [], |r| r.get(0))
            .unwrap();
        assert_eq!(caution, CAUTION);
    }

    /// Rows that are alike where they should differ are kept, as in every other format.
    #[test]
    fn alike_rows_are_kept_and_their_index_is_not_unique() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE);
        let file = DatabaseFile::begin(&path).unwrap();
        let keys = Keys { grain: "one thing", primary: &["name", "n"], foreign: &[] };
        for (table, times) in [("once", 1), ("twice", 2)] {
            file.create_table(table, keys, sheet().columns()).unwrap();
            for _ in 0..times {
                file.append(table, &sheet()).unwrap();
            }
            file.index_key(table, keys.primary).unwrap();
        }
        file.finish().unwrap().publish().unwrap();
        let database = Connection::open(&path).unwrap();
        let index = |name: &str| -> String {
            let sql = "SELECT sql FROM sqlite_schema WHERE name = ?1";
            database.query_row(sql, [name], |r| r.get(0)).unwrap()
        };
        assert!(index("once_key").starts_with("CREATE UNIQUE INDEX"), "{}", index("once_key"));
        assert!(index("twice_key").starts_with("CREATE INDEX"), "{}", index("twice_key"));
        let count = "SELECT COUNT(*) FROM twice";
        assert_eq!(database.query_row(count, [], |r| r.get::<_, i64>(0)).unwrap(), 4);
    }

    #[test]
    fn a_database_that_is_not_finished_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE);
        let file = DatabaseFile::begin(&path).unwrap();
        file.create_table("things", KEYS, sheet().columns()).unwrap();
        let twice = file.create_table("things", KEYS, sheet().columns()).unwrap_err();
        assert!(twice.to_string().contains(FILE), "{twice}");
        drop(file);
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}
