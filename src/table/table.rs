//! What every table says of itself: its name, what a row is, and how its sheet is made; and what is
//! kept of one that was written.

use serde::Serialize;

use super::column::Sheet;
use super::study::Study;

/// One table: its name, what a row is, and how it is made.
#[derive(Debug, Clone, Copy)]
pub struct Table {
    /// Name, also the file name without extension.
    pub name: &'static str,
    /// What one row stands for.
    pub grain: &'static str,
    /// The columns that together name a row; also the order of the rows.
    pub key: &'static [&'static str],
    /// Whether its rows are those of the first case, then those of the next, by patient and case;
    /// the sheet of a case alone then holds just the rows of this case.
    pub by_case: bool,
    /// Makes the sheet from the results of a run.
    pub sheet: for<'a> fn(&Study<'a>) -> Sheet<'a>,
}

/// A table with this many rows or more is written as Parquet only: no spreadsheet opens it.
pub const CSV_ROW_LIMIT: usize = 1_000_000;

/// Written as Parquet only, however few rows: `explain` reads them, and nobody in a sheet.
pub(super) const PARQUET_ONLY: &[&str] = &["bounds", "pictures", "traces"];

/// What was written of one table.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Written {
    /// Name of the table.
    pub table: &'static str,
    /// Number of rows.
    pub rows: usize,
    /// Whether there is a CSV file beside the Parquet file; not from [`CSV_ROW_LIMIT`] rows on and
    /// not for those that `explain` reads.
    pub csv: bool,
}
