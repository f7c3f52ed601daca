//! Columns of a table held in memory: what a table that was read back, and the answer to a question,
//! consist of. Knows nothing of what the tables are about, nor of the files they came from.

use std::borrow::Cow;

use indexmap::IndexSet;

use super::column::{Cell, Kind};

/// The cells of one column.
#[derive(Debug, Clone)]
pub enum Cells {
    /// Texts.
    Text(Texts),
    /// Whole numbers.
    Integer(Vec<Option<i64>>),
    /// Finite numbers.
    Real(Vec<Option<f64>>),
    /// Answers yes and no.
    Boolean(Vec<Option<bool>>),
}

/// Texts of a column, each kept once: most columns hold few different ones.
#[derive(Debug, Clone, Default)]
pub struct Texts {
    different: IndexSet<Box<str>>,
    cells: Vec<Option<usize>>,
}

impl Texts {
    /// Adds a cell.
    pub fn push(&mut self, text: Option<&str>) {
        let place = text.map(|text| {
            let known = self.different.get_index_of(text);
            known.unwrap_or_else(|| self.different.insert_full(text.into()).0)
        });
        self.cells.push(place);
    }

    /// The text of a row, from 0; absent where it is missing and outside the column.
    #[must_use]
    pub fn at(&self, row: usize) -> Option<&str> {
        let place = self.cells.get(row).copied().flatten()?;
        self.different.get_index(place).map(|text| &**text)
    }

    /// All cells in order.
    pub fn iter(&self) -> impl Iterator<Item = Option<&str>> {
        (0..self.cells.len()).map(|row| self.at(row))
    }
}

impl Cells {
    /// A column of a kind without cells.
    #[must_use]
    pub fn of(kind: Kind) -> Self {
        match kind {
            Kind::Text => Self::Text(Texts::default()),
            Kind::Integer => Self::Integer(Vec::new()),
            Kind::Real => Self::Real(Vec::new()),
            Kind::Boolean => Self::Boolean(Vec::new()),
        }
    }

    /// A column of texts.
    pub fn texts<'t>(cells: impl IntoIterator<Item = Option<&'t str>>) -> Self {
        let mut texts = Texts::default();
        for cell in cells {
            texts.push(cell);
        }
        Self::Text(texts)
    }

    /// What it holds.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Text(_) => Kind::Text,
            Self::Integer(_) => Kind::Integer,
            Self::Real(_) => Kind::Real,
            Self::Boolean(_) => Kind::Boolean,
        }
    }

    /// Whether it holds numbers, whole or not.
    #[must_use]
    pub const fn is_numeric(&self) -> bool {
        matches!(self, Self::Integer(_) | Self::Real(_))
    }

    /// Number of cells.
    #[must_use]
    pub fn count(&self) -> usize {
        match self {
            Self::Text(texts) => texts.cells.len(),
            Self::Integer(cells) => cells.len(),
            Self::Real(cells) => cells.len(),
            Self::Boolean(cells) => cells.len(),
        }
    }

    /// Adds a cell. One of another kind than the column's counts as missing, but for a whole number
    /// among reals; a number that is not finite is missing as well.
    pub fn push(&mut self, cell: Cell<'_>) {
        match self {
            Self::Text(texts) => match cell {
                Cell::Text(text) => texts.push(Some(&text)),
                _ => texts.push(None),
            },
            Self::Integer(cells) => cells.push(match cell {
                Cell::Integer(value) => Some(value),
                _ => None,
            }),
            Self::Real(cells) => cells.push(match cell {
                Cell::Real(value) => Some(value).filter(|v| v.is_finite()),
                #[expect(clippy::cast_precision_loss, reason = "counts and days, far below 2^53")]
                Cell::Integer(value) => Some(value as f64),
                _ => None,
            }),
            Self::Boolean(cells) => cells.push(match cell {
                Cell::Boolean(value) => Some(value),
                _ => None,
            }),
        }
    }

    /// The cell of a row, from 0; missing outside the column.
    #[must_use]
    pub fn at(&self, row: usize) -> Cell<'_> {
        let cell = match self {
            Self::Text(texts) => texts.at(row).map(|t| Cell::Text(Cow::Borrowed(t))),
            Self::Integer(cells) => cells.get(row).copied().flatten().map(Cell::Integer),
            Self::Real(cells) => cells.get(row).copied().flatten().map(Cell::Real),
            Self::Boolean(cells) => cells.get(row).copied().flatten().map(Cell::Boolean),
        };
        cell.unwrap_or(Cell::Missing)
    }

    /// The cells of some rows, in the order of `rows`.
    #[must_use]
    fn picked(&self, rows: &[usize]) -> Self {
        let mut out = Self::of(self.kind());
        for row in rows {
            out.push(self.at(*row));
        }
        out
    }
}

/// A table in memory: columns of equal length, each with its name.
#[derive(Debug, Clone, Default)]
pub struct LoadedTable {
    columns: Vec<(String, Cells)>,
    rows: usize,
}

impl LoadedTable {
    /// A table of these columns; it has as many rows as the longest of them has cells.
    #[must_use]
    pub fn new(columns: Vec<(String, Cells)>) -> Self {
        let rows = columns.iter().map(|(_, cells)| cells.count()).max().unwrap_or(0);
        Self { columns, rows }
    }

    /// Number of rows.
    #[must_use]
    pub const fn height(&self) -> usize {
        self.rows
    }

    /// The columns in order, each with its name.
    #[must_use]
    pub fn columns(&self) -> &[(String, Cells)] {
        &self.columns
    }

    /// The names of the columns in order.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.columns.iter().map(|(name, _)| name.as_str())
    }

    /// The column called `name`.
    #[must_use]
    pub fn cells(&self, name: &str) -> Option<&Cells> {
        self.columns.iter().find(|(have, _)| have == name).map(|(_, cells)| cells)
    }

    /// Adds the rows of another table; what it lacks of a column is missing.
    pub fn append(&mut self, other: &Self) {
        for (name, cells) in &mut self.columns {
            for row in 0..other.rows {
                cells.push(other.cells(name).map_or(Cell::Missing, |theirs| theirs.at(row)));
            }
        }
        self.rows += other.rows;
    }

    /// Puts a column in the place of the one of that name, or behind the others.
    #[must_use]
    pub fn with(mut self, name: &str, cells: Cells) -> Self {
        match self.columns.iter_mut().find(|(have, _)| have == name) {
            Some(column) => column.1 = cells,
            None => self.columns.push((name.to_owned(), cells)),
        }
        Self::new(self.columns)
    }
}

/// The texts of a column; missing everywhere when the table has no such column or it holds none.
#[must_use]
pub fn texts<'f>(frame: &'f LoadedTable, name: &str) -> Vec<Option<&'f str>> {
    match frame.cells(name) {
        Some(Cells::Text(texts)) => texts.iter().collect(),
        _ => vec![None; frame.height()],
    }
}

/// The numbers of a column, integers included; see [`texts`] for what is not there.
#[must_use]
pub fn reals(frame: &LoadedTable, name: &str) -> Vec<Option<f64>> {
    match frame.cells(name) {
        Some(Cells::Real(cells)) => cells.clone(),
        #[expect(clippy::cast_precision_loss, reason = "counts and days, far below 2^53")]
        Some(Cells::Integer(cells)) => cells.iter().map(|c| c.map(|v| v as f64)).collect(),
        _ => vec![None; frame.height()],
    }
}

/// The whole numbers of a column; see [`texts`] for what is not there.
#[must_use]
pub fn integers(frame: &LoadedTable, name: &str) -> Vec<Option<i64>> {
    match frame.cells(name) {
        Some(Cells::Integer(cells)) => cells.clone(),
        _ => vec![None; frame.height()],
    }
}

/// The answers yes and no of a column; see [`texts`] for what is not there.
#[must_use]
pub fn flags(frame: &LoadedTable, name: &str) -> Vec<Option<bool>> {
    match frame.cells(name) {
        Some(Cells::Boolean(cells)) => cells.clone(),
        _ => vec![None; frame.height()],
    }
}

/// The rows of which the column `name` holds a text that `wanted` accepts.
#[must_use]
pub fn rows_where(frame: &LoadedTable, name: &str, wanted: impl Fn(&str) -> bool) -> LoadedTable {
    let mut rows = Vec::new();
    for (row, cell) in texts(frame, name).into_iter().enumerate() {
        if cell.is_some_and(&wanted) {
            rows.push(row);
        }
    }
    let picked = |(name, cells): &(String, Cells)| (name.clone(), cells.picked(&rows));
    LoadedTable { columns: frame.columns.iter().map(picked).collect(), rows: rows.len() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_keep_their_type_and_what_is_missing() {
        let mut dose = Cells::of(Kind::Real);
        for cell in [Cell::Real(1.5), Cell::Real(f64::NAN), Cell::Missing] {
            dose.push(cell);
        }
        let frame = LoadedTable::new(vec![
            ("name".into(), Cells::texts([Some("a"), None, Some("b")])),
            ("dose".into(), dose),
            ("day".into(), Cells::Integer(vec![Some(3), None, Some(-1)])),
            ("done".into(), Cells::Boolean(vec![Some(true), None, Some(false)])),
        ]);
        assert_eq!(texts(&frame, "name"), [Some("a"), None, Some("b")]);
        assert_eq!(texts(&frame, "dose"), [None, None, None]);
        assert_eq!(reals(&frame, "dose"), [Some(1.5), None, None]);
        assert_eq!(reals(&frame, "day"), [Some(3.0), None, Some(-1.0)]);
        assert_eq!(integers(&frame, "day"), [Some(3), None, Some(-1)]);
        assert_eq!(integers(&frame, "nowhere"), [None, None, None]);
        assert_eq!(flags(&frame, "done"), [Some(true), None, Some(false)]);
        let picked = rows_where(&frame, "name", |t| t == "b");
        assert_eq!((picked.height(), integers(&picked, "day")), (1, vec![Some(-1)]));
        assert_eq!(rows_where(&frame, "name", |_| false).names().count(), 4);
        let mut twice = frame.clone();
        twice.append(&picked);
        assert_eq!((twice.height(), texts(&twice, "name")[3]), (4, Some("b")));
    }

    #[test]
    fn a_column_takes_the_place_of_its_namesake() {
        let frame = LoadedTable::new(vec![("n".into(), Cells::Integer(vec![Some(1)]))]);
        let frame = frame.with("n", Cells::Integer(vec![Some(2)])).with("t", Cells::texts([None]));
        assert_eq!(
            (integers(&frame, "n"), frame.names().collect::<Vec<_>>()),
            (vec![Some(2)], vec!["n", "t"])
        );
    }
}
