//! The vocabulary of all tables: a [`Column`] is defined once, with its name, type, unit, meaning
//! and the function that reads it from a row; a [`Sheet`] is a table ready to be written.
//!
//! Reader and documentation cannot drift apart because they are one value. Nothing here knows which
//! tables exist, and nothing opens a file.

use std::borrow::Cow;

use strum::IntoStaticStr;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, IntoStaticStr)]
#[strum(serialize_all = "snake_case")]
pub enum Kind {
    /// Unicode text.
    Text,
    /// A whole number of 64 bits.
    Integer,
    /// A number in double precision; never NaN or infinite.
    Real,
    /// true or false.
    Boolean,
}

impl Kind {
    /// The word used in the dictionary.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// One value of a table.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell<'r> {
    /// No value: an empty cell in CSV, null in Parquet.
    Missing,
    /// Text.
    Text(Cow<'r, str>),
    /// A whole number.
    Integer(i64),
    /// A finite number.
    Real(f64),
    /// true or false.
    Boolean(bool),
}

/// How a value is taken from a row of type `R`.
#[derive(Debug)]
enum Read<R> {
    Text(for<'r> fn(&'r R) -> Option<Cow<'r, str>>),
    Integer(fn(&R) -> Option<i64>),
    Real(fn(&R) -> Option<f64>),
    Boolean(fn(&R) -> Option<bool>),
    TextAt(usize, for<'r> fn(&'r R, usize) -> Option<Cow<'r, str>>),
    RealAt(usize, fn(&R, usize) -> Option<f64>),
    BoundedAt { place: usize, side: usize, read: fn(&R, usize) -> Bounded },
}

/// A number with its lower and its upper bound, each missing where there is none.
pub type Bounded = [Option<f64>; 3];

/// What a column means, without the rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Definition {
    /// Name, lower snake case, with the unit where there is one.
    pub name: Cow<'static, str>,
    /// What it holds.
    pub kind: Kind,
    /// Unit symbol; empty for none.
    pub unit: Cow<'static, str>,
    /// Meaning in one sentence, with the reason for a missing value.
    pub meaning: Cow<'static, str>,
    /// A label of its own; empty where the meaning begins with one, see [`Definition::label`].
    pub own_label: Cow<'static, str>,
    /// The words it may hold; empty when free.
    pub allowed: Vec<&'static str>,
}

impl Definition {
    /// What stands over the column where people read it: its own label, else how its meaning begins.
    #[must_use]
    pub fn label(&self) -> &str {
        if self.own_label.is_empty() {
            self.meaning.split(';').next().unwrap_or_default().trim()
        } else {
            &self.own_label
        }
    }
}

/// One column of a table whose rows are of type `R`.
#[derive(Debug)]
pub struct Column<R> {
    definition: Definition,
    read: Read<R>,
}

impl<R> Column<R> {
    /// A column of text.
    pub fn text(
        name: &'static str,
        meaning: &'static str,
        read: for<'r> fn(&'r R) -> Option<Cow<'r, str>>,
    ) -> Self {
        Self::new([name, "", meaning].map(Cow::Borrowed), Kind::Text, Read::Text(read))
    }

    /// A column of text which holds one of `allowed`.
    pub fn word(
        name: &'static str,
        meaning: &'static str,
        allowed: &[&'static str],
        read: for<'r> fn(&'r R) -> Option<Cow<'r, str>>,
    ) -> Self {
        let mut column = Self::text(name, meaning, read);
        column.definition.allowed = allowed.to_vec();
        column
    }

    /// A column of whole numbers.
    pub fn integer(
        name: &'static str,
        unit: &'static str,
        meaning: &'static str,
        read: fn(&R) -> Option<i64>,
    ) -> Self {
        Self::new([name, unit, meaning].map(Cow::Borrowed), Kind::Integer, Read::Integer(read))
    }

    /// A column of numbers.
    pub fn real(
        name: &'static str,
        unit: &'static str,
        meaning: &'static str,
        read: fn(&R) -> Option<f64>,
    ) -> Self {
        Self::new([name, unit, meaning].map(Cow::Borrowed), Kind::Real, Read::Real(read))
    }

    /// A column of numbers, the one at `place` of a list that every row has.
    pub fn real_at(
        name: impl Into<Cow<'static, str>>,
        unit: impl Into<Cow<'static, str>>,
        meaning: impl Into<Cow<'static, str>>,
        place: usize,
        read: fn(&R, usize) -> Option<f64>,
    ) -> Self {
        let texts = [name.into(), unit.into(), meaning.into()];
        Self::new(texts, Kind::Real, Read::RealAt(place, read))
    }

    /// Three columns, of a number and of its lower and upper bound, see [`Column::real_at`]:
    /// `stem_unit`, `stem_low_unit`, `stem_high_unit`, each with its meaning.
    pub fn bounded_at(
        [stem, ending]: [&str; 2],
        unit: &'static str,
        meanings: [String; 3],
        place: usize,
        read: fn(&R, usize) -> Bounded,
    ) -> Vec<Self> {
        let names = ["", "_low", "_high"].map(|side| format!("{stem}{side}_{ending}"));
        let mut columns = Vec::new();
        for (side, (name, meaning)) in names.into_iter().zip(meanings).enumerate() {
            let texts = [name.into(), unit.into(), meaning.into()];
            columns.push(Self::new(texts, Kind::Real, Read::BoundedAt { place, side, read }));
        }
        columns
    }

    /// A column of text which holds one of `allowed`, see [`Column::real_at`].
    pub fn word_at(
        name: impl Into<Cow<'static, str>>,
        meaning: impl Into<Cow<'static, str>>,
        allowed: &[&'static str],
        place: usize,
        read: for<'r> fn(&'r R, usize) -> Option<Cow<'r, str>>,
    ) -> Self {
        let texts = [name.into(), "".into(), meaning.into()];
        let mut column = Self::new(texts, Kind::Text, Read::TextAt(place, read));
        column.definition.allowed = allowed.to_vec();
        column
    }

    /// A column of true and false.
    pub fn boolean(
        name: &'static str,
        meaning: &'static str,
        read: fn(&R) -> Option<bool>,
    ) -> Self {
        Self::new([name, "", meaning].map(Cow::Borrowed), Kind::Boolean, Read::Boolean(read))
    }

    fn new([name, unit, meaning]: [Cow<'static, str>; 3], kind: Kind, read: Read<R>) -> Self {
        let (own_label, allowed) = (Cow::Borrowed(""), Vec::new());
        Self { definition: Definition { name, kind, unit, meaning, own_label, allowed }, read }
    }

    /// The same column under a label of its own.
    #[must_use]
    pub fn labelled(mut self, label: impl Into<Cow<'static, str>>) -> Self {
        self.definition.own_label = label.into();
        self
    }

    /// The same column with its unit in another way of writing.
    #[must_use]
    pub fn in_unit(mut self, unit: impl Into<Cow<'static, str>>) -> Self {
        self.definition.unit = unit.into();
        self
    }

    /// What the column means.
    #[must_use]
    pub const fn definition(&self) -> &Definition {
        &self.definition
    }

    /// The value of this column in `row`. A number that is not finite counts as missing.
    fn cell<'r>(&self, row: &'r R) -> Cell<'r> {
        let real = |v: Option<f64>| v.filter(|v| v.is_finite()).map_or(Cell::Missing, Cell::Real);
        match &self.read {
            Read::Text(read) => read(row).map_or(Cell::Missing, Cell::Text),
            Read::TextAt(place, read) => read(row, *place).map_or(Cell::Missing, Cell::Text),
            Read::Integer(read) => read(row).map_or(Cell::Missing, Cell::Integer),
            Read::Real(read) => real(read(row)),
            Read::RealAt(place, read) => real(read(row, *place)),
            Read::BoundedAt { place, side, read } => {
                real(read(row, *place).get(*side).copied().flatten())
            }
            Read::Boolean(read) => read(row).map_or(Cell::Missing, Cell::Boolean),
        }
    }
}

/// Rows behind a [`Sheet`], whatever their type.
pub(super) trait RowSource {
    fn count(&self) -> usize;
    fn cell(&self, row: usize, column: usize) -> Cell<'_>;
}

struct Typed<R> {
    columns: Vec<Column<R>>,
    rows: Vec<R>,
}

impl<R> RowSource for Typed<R> {
    fn count(&self) -> usize {
        self.rows.len()
    }

    fn cell(&self, row: usize, column: usize) -> Cell<'_> {
        match (self.rows.get(row), self.columns.get(column)) {
            (Some(row), Some(column)) => column.cell(row),
            _ => Cell::Missing,
        }
    }
}

/// A table ready to be written. Cells are made when they are asked for, so that a sheet of some
/// million rows costs no more than the values it points to.
pub struct Sheet<'a> {
    definitions: Vec<Definition>,
    rows: Box<dyn RowSource + 'a>,
}

impl<'a> Sheet<'a> {
    /// A sheet of `rows`, already in their final order.
    #[must_use]
    pub fn new<R: 'a>(columns: Vec<Column<R>>, rows: Vec<R>) -> Self {
        let definitions = columns.iter().map(|c| c.definition.clone()).collect();
        Self { definitions, rows: Box::new(Typed { columns, rows }) }
    }

    /// A sheet of rows that have no columns of their own, already in their final order.
    #[must_use]
    pub(super) fn of_rows(definitions: Vec<Definition>, rows: Box<dyn RowSource + 'a>) -> Self {
        Self { definitions, rows }
    }

    /// The columns in order.
    #[must_use]
    pub fn columns(&self) -> &[Definition] {
        &self.definitions
    }

    /// Number of rows.
    #[must_use]
    pub fn row_count(&self) -> usize {
        self.rows.count()
    }

    /// The value at `row` and `column`, both counted from 0; missing outside the sheet.
    #[must_use]
    pub fn cell(&self, row: usize, column: usize) -> Cell<'_> {
        self.rows.cell(row, column)
    }
}

impl std::fmt::Debug for Sheet<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Sheet({} columns, {} rows)", self.definitions.len(), self.row_count())
    }
}

/// Text of a token, a term or a name as a cell value.
pub(super) fn borrowed<S: AsRef<str> + ?Sized>(text: &S) -> Option<Cow<'_, str>> {
    Some(Cow::Borrowed(text.as_ref()))
}

/// A count as a whole number of a table.
pub(super) fn count(n: usize) -> Option<i64> {
    i64::try_from(n).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_that_is_not_finite_is_missing() {
        let columns: Vec<Column<f64>> = vec![Column::real("x", "mm", "a number", |x| Some(*x))];
        let sheet = Sheet::new(columns, vec![1.5, f64::NAN, f64::INFINITY]);
        assert_eq!(sheet.cell(0, 0), Cell::Real(1.5));
        assert_eq!(sheet.cell(1, 0), Cell::Missing);
        assert_eq!(sheet.cell(2, 0), Cell::Missing);
        assert_eq!(sheet.cell(9, 9), Cell::Missing);
    }
}
