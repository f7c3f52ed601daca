//! One cell as a value of its type, or what is wrong with it.

use std::borrow::Cow;
use std::str::FromStr;

use strum::VariantNames;

use crate::column::Cell;
use crate::frame::{Cells, LoadedTable};
use crate::traces::TraceKind;
use crate::user::states::State;
use tidydose_analyse::picture::{LineKind, Orientation, View};
use tidydose_case::{PlanRole, Role};
use tidydose_metrics::Status;
use tidydose_metrics::limits::{Checked, Tier, Verdict};
use tidydose_rt::finding::Severity;

/// A cell of a table is not what it must be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "row {row} of table {table}, column {column}: {}; accepted: {accepted}; measure the study again",
    found(value.as_deref())
)]
pub struct CellError {
    /// The table.
    pub table: &'static str,
    /// The row, from 1.
    pub row: usize,
    /// The column.
    pub column: &'static str,
    /// What stands there; absent for nothing.
    pub value: Option<String>,
    /// What would be understood.
    pub accepted: String,
}

fn found(value: Option<&str>) -> String {
    value.map_or_else(|| "nothing is there".to_owned(), |v| format!("`{v}` is not understood"))
}

/// A word that a closed column may hold.
pub trait Word: FromStr + VariantNames + 'static {}

impl Word for Status {}
impl Word for Verdict {}
impl Word for Tier {}
impl Word for Checked {}
impl Word for PlanRole {}
impl Word for LineKind {}
impl Word for View {}
impl Word for Orientation {}
impl Word for TraceKind {}
impl Word for Role {}
impl Word for State {}
impl Word for Severity {}

/// The cells of one column, with what an error says of them.
#[derive(Debug, Clone, Copy)]
pub(super) struct ColumnCells<'t> {
    table: &'static str,
    column: &'static str,
    /// Absent where the table has no such column: every cell is missing then.
    cells: Option<&'t Cells>,
}

impl<'t> ColumnCells<'t> {
    pub(super) fn of(table: &'t LoadedTable, name: &'static str, column: &'static str) -> Self {
        Self { table: name, column, cells: table.cells(column) }
    }

    pub(super) fn read<T: FromCell<'t>>(&self, number: usize) -> Result<T, CellError> {
        let cell = self.cells.map_or(Cell::Missing, |cells| cells.at(number));
        T::from_cell(cell).map_err(|Unfit { value, accepted }| CellError {
            table: self.table,
            row: number + 1,
            column: self.column,
            value,
            accepted,
        })
    }
}

/// A cell that does not fit its type.
pub(super) struct Unfit {
    value: Option<String>,
    accepted: String,
}

impl Unfit {
    fn new(cell: &Cell<'_>, accepted: impl Into<String>) -> Self {
        Self { value: text_of(cell).map(Cow::into_owned), accepted: accepted.into() }
    }
}

/// A cell as text, whatever it holds.
pub(super) fn text_of<'c>(cell: &Cell<'c>) -> Option<Cow<'c, str>> {
    match cell {
        Cell::Missing => None,
        Cell::Text(text) => Some(text.clone()),
        Cell::Integer(value) => Some(value.to_string().into()),
        Cell::Real(value) => Some(value.to_string().into()),
        Cell::Boolean(value) => Some(value.to_string().into()),
    }
}

/// What a field of a row may be.
pub(super) trait FromCell<'t>: Sized {
    fn from_cell(cell: Cell<'t>) -> Result<Self, Unfit>;
}

impl<'t, T: FromCell<'t>> FromCell<'t> for Option<T> {
    fn from_cell(cell: Cell<'t>) -> Result<Self, Unfit> {
        if cell == Cell::Missing { Ok(None) } else { T::from_cell(cell).map(Some) }
    }
}

impl<'t> FromCell<'t> for &'t str {
    fn from_cell(cell: Cell<'t>) -> Result<Self, Unfit> {
        match cell {
            Cell::Missing => Ok(""),
            Cell::Text(Cow::Borrowed(text)) => Ok(text),
            other => Err(Unfit::new(&other, "a text")),
        }
    }
}

/// A cell of a person's file, of which the spreadsheet chose the type.
impl<'t> FromCell<'t> for Cow<'t, str> {
    fn from_cell(cell: Cell<'t>) -> Result<Self, Unfit> {
        Ok(text_of(&cell).unwrap_or_default())
    }
}

impl<'t> FromCell<'t> for f64 {
    fn from_cell(cell: Cell<'t>) -> Result<Self, Unfit> {
        match cell {
            Cell::Real(value) => Ok(value),
            #[expect(clippy::cast_precision_loss, reason = "counts and days, far below 2^53")]
            Cell::Integer(value) => Ok(value as Self),
            other => Err(Unfit::new(&other, "a number")),
        }
    }
}

impl<'t> FromCell<'t> for i64 {
    fn from_cell(cell: Cell<'t>) -> Result<Self, Unfit> {
        match cell {
            Cell::Integer(value) => Ok(value),
            other => Err(Unfit::new(&other, "a whole number")),
        }
    }
}

impl<'t> FromCell<'t> for bool {
    fn from_cell(cell: Cell<'t>) -> Result<Self, Unfit> {
        match cell {
            Cell::Boolean(value) => Ok(value),
            other => Err(Unfit::new(&other, "true or false")),
        }
    }
}

impl<'t, W: Word> FromCell<'t> for W {
    fn from_cell(cell: Cell<'t>) -> Result<Self, Unfit> {
        if let Cell::Text(text) = &cell
            && let Ok(value) = text.parse()
        {
            return Ok(value);
        }
        Err(Unfit::new(&cell, format!("one of {}", W::VARIANTS.join(", "))))
    }
}
