//! What became of each cell of a sheet: one row for each, so that nothing is lost silently. What names
//! a person, a date or free text is told apart by row and column and not repeated, since the account
//! lies in the study folder.

use std::borrow::Cow;

use strum::IntoStaticStr;

use super::map::{Form, MapRow, Meaning};
use crate::Cell;
use crate::write_csv::write_records;

/// What became of a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, IntoStaticStr)]
#[strum(serialize_all = "snake_case")]
pub enum Became {
    /// It is in the tidy sheet or among the covariates.
    Used,
    /// It says that nothing is known.
    Empty,
    /// Its column is not used, as the map says.
    NotUsed,
    /// It contradicts others; it is in the tidy sheet, marked, and enters no number.
    HeldBack,
    /// It cannot be read.
    NotUnderstood,
    /// The study has no such patient, plan or lesion.
    NoPartner,
}

impl Became {
    /// The word in the account.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// One cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AccountRow {
    /// Row of the sheet as a spreadsheet counts.
    pub row: usize,
    /// Pseudonym, where the row has one.
    pub patient_id: String,
    /// Column of the sheet.
    pub column: String,
    /// What the column means.
    pub meaning: &'static str,
    /// The text of the cell, where it can be shown.
    pub cell: String,
    /// What became of it.
    pub became: Became,
    /// What it was read as.
    pub read_as: String,
    /// Why it is not used.
    pub reason: String,
}

impl AccountRow {
    pub(super) fn new(row: usize, map: &MapRow, cell: &str) -> Self {
        Self {
            row,
            patient_id: String::new(),
            column: map.column.clone(),
            meaning: map.meaning.map_or("", Meaning::word),
            cell: shown(map, cell),
            became: Became::Used,
            read_as: String::new(),
            reason: String::new(),
        }
    }

    pub(super) fn set(&mut self, became: Became, reason: impl Into<String>) {
        self.became = became;
        self.reason = reason.into();
    }
}

fn shown(map: &MapRow, cell: &str) -> String {
    let harmless = match map.meaning {
        Some(Meaning::Patient | Meaning::Plan | Meaning::Lesion | Meaning::NotUsed) | None => false,
        Some(meaning) if meaning.is_moment() => {
            super::cells::date(cell).is_none() && super::cells::duration(cell, Some('.')).is_ok()
        }
        Some(Meaning::Covariate) => !map.form.is_some_and(Form::is_date),
        Some(_) => true,
    };
    if harmless || super::cells::is_nothing(cell) {
        cell.to_owned()
    } else {
        "(not shown)".to_owned()
    }
}

const COLUMNS: &[&str] =
    &["row", "patient_id", "column", "meaning", "cell", "became", "read_as", "reason"];

/// The account as CSV.
#[must_use]
pub fn csv(account: &[AccountRow]) -> Vec<u8> {
    let text = |t: &str| match t {
        "" => Cell::Missing,
        t => Cell::Text(Cow::Owned(t.to_owned())),
    };
    let row = |a: &AccountRow| {
        vec![
            i64::try_from(a.row).map_or(Cell::Missing, Cell::Integer),
            text(&a.patient_id),
            text(&a.column),
            text(a.meaning),
            text(&a.cell),
            text(a.became.word()),
            text(&a.read_as),
            text(&a.reason),
        ]
    };
    let mut bytes = Vec::new();
    // Writing into memory does not fail.
    let _ = write_records(COLUMNS, account.iter().map(row), &mut bytes);
    bytes
}
