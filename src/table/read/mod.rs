//! The tables of a study as typed rows: the one place that reads them by the names of their columns.
//! Pages, papers, relations and questions get rows of it, with the enums that the tables were made
//! from, so that no word is spelt twice.
//!
//! A missing cell is `None`, or the empty text where a field is a `&str`. A cell that is not understood
//! is an error that names table, row, column and value: no page says anything of half a table.

mod cases;
mod cell;
mod findings;
mod follow_up;
mod places;
mod recurrences;
mod values;

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::frame::{LoadedTable, texts};

pub use cases::{LesionRow, PlanRow, StructureRow};
pub use cell::{CellError, Word};
pub use findings::{ChoiceRow, DictionaryRow, FileRow, FindingDetailRow, FindingRow};
pub use follow_up::{LesionTimeRow, NewLesionsRow, ResponseRow, WithBounds};
pub use places::{PictureRow, TraceRow};
pub use recurrences::{RecurrenceRow, ShareRow};
pub use values::{BoundsRow, DvhRow, LimitCheckRow, MetricRow, RelationRow, SensitivityRow};

pub use super::traces::TraceKind;
pub use super::user::states::State;
pub use tidydose_analyse::picture::{LineKind, Orientation, View};
pub use tidydose_case::{PlanRole, Role};
pub use tidydose_metrics::Status;
pub use tidydose_metrics::follow_up::response::{Compared, RESPONSES_BY};
pub use tidydose_metrics::limits::{Checked, Tier, Verdict};
pub use tidydose_rt::finding::Severity;

/// Tables by name, as they were read from the study.
pub type Tables = BTreeMap<String, LoadedTable>;

/// A row of one table, with a field for each column that is read.
pub trait TableRow<'t>: Sized {
    /// The table.
    const TABLE: &'static str;
    /// The columns that are read.
    const COLUMNS: &'static [&'static str];

    /// The rows with these numbers, from 0.
    ///
    /// # Errors
    /// A cell that is not understood.
    fn read(
        table: &'t LoadedTable,
        numbers: impl Iterator<Item = usize>,
    ) -> Result<Vec<Self>, CellError>;
}

/// Defines the row of a table: each field is the column of its name.
macro_rules! row {
    (
        $(#[$about:meta])*
        $name:ident of $table:literal {
            $($(#[$meaning:meta])* $column:ident: $kind:ty,)*
        }
    ) => {
        $(#[$about])*
        #[derive(Debug, Clone, PartialEq)]
        pub struct $name<'t> {
            $($(#[$meaning])* pub $column: $kind,)*
        }

        impl<'t> $crate::read::TableRow<'t> for $name<'t> {
            const TABLE: &'static str = $table;
            const COLUMNS: &'static [&'static str] = &[$(stringify!($column)),*];

            fn read(
                table: &'t $crate::frame::LoadedTable,
                numbers: impl Iterator<Item = usize>,
            ) -> Result<Vec<Self>, $crate::read::CellError> {
                // Each column is looked up once, not once for each row.
                $(let $column = $crate::read::cell::ColumnCells::of(table, $table, stringify!($column));)*
                let mut rows = Vec::new();
                for number in numbers {
                    rows.push(Self { $($column: $column.read(number)?,)* });
                }
                Ok(rows)
            }
        }
    };
}
use row;

/// The rows of one table.
///
/// # Errors
/// A cell that is not understood.
pub fn rows_of<'t, R: TableRow<'t>>(table: &'t LoadedTable) -> Result<Vec<R>, CellError> {
    R::read(table, 0..table.height())
}

/// The rows of the table of that type; none where the study has no such table.
///
/// # Errors
/// A cell that is not understood.
pub fn rows<'t, R: TableRow<'t>>(tables: &'t Tables) -> Result<Vec<R>, CellError> {
    tables.get(R::TABLE).map_or_else(|| Ok(Vec::new()), rows_of)
}

/// Those rows of which the text in `column` is wanted; the others are not looked at.
///
/// # Errors
/// A cell that is not understood.
pub fn rows_where<'t, R: TableRow<'t>>(
    tables: &'t Tables,
    column: &str,
    wanted: impl Fn(&str) -> bool,
) -> Result<Vec<R>, CellError> {
    let Some(table) = tables.get(R::TABLE) else { return Ok(Vec::new()) };
    let cells = texts(table, column);
    let numbers = cells.iter().enumerate().filter(|(_, cell)| cell.is_some_and(&wanted));
    R::read(table, numbers.map(|(number, _)| number))
}

/// A cell of any column as a group or category: a text, or a number as it is printed; absent where
/// nothing is there.
#[must_use]
pub fn level(table: &LoadedTable, column: &str, number: usize) -> Option<String> {
    cell::text_of(&table.cells(column)?.at(number)).map(Cow::into_owned)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::ChosenColumns;
    use crate::column::Kind;
    use crate::dictionary::definitions;
    use crate::example::Example;
    use crate::frame::Cells;
    use crate::{Destination, TABLES, database, read_study, write_tables};

    fn tables(example: &Example) -> Tables {
        let folder = tempfile::tempdir().unwrap();
        let database = folder.path().join(database::FILE);
        let to = Destination { folder: folder.path(), database: Some(&database) };
        let names: Vec<&str> = TABLES.iter().map(|t| t.name).collect();
        write_tables(&example.study(), &names, to).unwrap();
        read_study::StudyTables::of_study(folder.path()).unwrap().read_all(&names).unwrap()
    }

    fn check<'t, R: TableRow<'t>>(tables: &'t Tables) {
        let table = TABLES.iter().find(|t| t.name == R::TABLE).unwrap();
        let defined = definitions(table, &ChosenColumns::default());
        let columns: Vec<&str> = defined.iter().map(|c| &*c.name).collect();
        for column in R::COLUMNS {
            assert!(columns.contains(column), "{} has no column {column}", R::TABLE);
        }
        let read: Vec<R> = rows(tables).unwrap();
        assert_eq!(read.len(), tables[R::TABLE].height(), "{}", R::TABLE);
        assert!(!read.is_empty(), "{} is empty", R::TABLE);
    }

    #[test]
    fn every_written_table_reads_back_whole() {
        let tables = tables(&Example::new());
        check::<PlanRow<'_>>(&tables);
        check::<StructureRow<'_>>(&tables);
        check::<LesionRow<'_>>(&tables);
        check::<MetricRow<'_>>(&tables);
        check::<BoundsRow<'_>>(&tables);
        check::<LimitCheckRow<'_>>(&tables);
        check::<RelationRow<'_>>(&tables);
        check::<DvhRow<'_>>(&tables);
        check::<FindingRow<'_>>(&tables);
        check::<FindingDetailRow<'_>>(&tables);
        check::<FileRow<'_>>(&tables);
        check::<DictionaryRow<'_>>(&tables);
        check::<TraceRow<'_>>(&tables);
        check::<PictureRow<'_>>(&tables);
        let tables = self::tables(&Example::new().followed());
        check::<LesionTimeRow<'_>>(&tables);
        check::<ResponseRow<'_>>(&tables);
        check::<RecurrenceRow<'_>>(&tables);
        check::<NewLesionsRow<'_>>(&tables);
    }

    #[test]
    fn what_is_not_understood_is_named() {
        let mut tables = tables(&Example::new());
        let metrics = tables["metrics"].clone();
        let mut words = vec![Some("ok"); metrics.height()];
        words[1] = Some("okay");
        tables.insert("metrics".to_owned(), metrics.clone().with("status", Cells::texts(words)));
        let text = rows::<MetricRow<'_>>(&tables).unwrap_err().to_string();
        let start = "row 2 of table metrics, column status: `okay` is not understood; accepted: one \
                     of ok, uncertain, bound, ";
        assert!(text.starts_with(start), "{text}");
        let first = rows_where::<MetricRow<'_>>(&tables, "status", |s| s == "ok").unwrap();
        assert_eq!(first.len(), metrics.height() - 1, "rows that are not wanted are not looked at");
        let mut numbers = Cells::of(Kind::Text);
        for _ in 0..metrics.height() {
            numbers.push(crate::Cell::Text("much".into()));
        }
        tables.insert("metrics".to_owned(), metrics.clone().with("value", numbers));
        let text = rows::<MetricRow<'_>>(&tables).unwrap_err().to_string();
        assert!(
            text.contains("column value: `much` is not understood; accepted: a number"),
            "{text}"
        );
        let without = metrics.columns().iter().filter(|(n, _)| n != "status").cloned();
        tables.insert("metrics".to_owned(), LoadedTable::new(without.collect()));
        let text = rows::<MetricRow<'_>>(&tables).unwrap_err().to_string();
        assert!(text.contains("column status: nothing is there; accepted: one of ok"), "{text}");
        assert_eq!(rows::<MetricRow<'_>>(&Tables::new()), Ok(Vec::new()));
    }
}
