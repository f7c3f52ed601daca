//! Tables as they are printed: words of the clinic, units in the head, one text for each cell; as
//! Markdown for reading, DOCX for the manuscript and LaTeX for journals that want that.

mod docx;
mod latex;

use std::fmt::Write as _;

use super::Files;
use tidydose_table::Cell;
use tidydose_table::run::CAUTION;

/// What a row is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A heading across the table.
    Section,
    /// A variable.
    Main,
    /// A level of the variable above.
    Level,
}

/// A row: what it is about, then one text for each further column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct PrintedRow {
    pub(super) kind: Kind,
    pub(super) label: String,
    pub(super) cells: Vec<String>,
}

/// A table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct PrintedTable {
    /// Name of its files without ending.
    pub(super) name: &'static str,
    pub(super) title: String,
    /// Heads of all columns, that of the labels first.
    pub(super) head: Vec<String>,
    pub(super) rows: Vec<PrintedRow>,
    /// What is to be known of its numbers.
    pub(super) note: String,
}

impl PrintedTable {
    /// The table for manuscripts.
    pub(super) fn files(&self) -> Files {
        let mut files = Files::new();
        files.insert(format!("{}.tex", self.name), latex::table(self).into_bytes());
        // Writing into memory does not fail.
        if let Ok(bytes) = docx::document(self) {
            files.insert(format!("{}.docx", self.name), bytes);
        }
        files
    }

    /// The table for reading on a screen.
    pub(super) fn markdown(&self) -> String {
        let mut out = format!("{CAUTION}\n\n# {}\n\n", self.title);
        let line = |out: &mut String, cells: &[String]| {
            let _ = writeln!(out, "| {} |", cells.join(" | "));
        };
        line(&mut out, &self.head);
        let _ = writeln!(out, "|{}", "---|".repeat(self.head.len()));
        for row in &self.rows {
            let label = match row.kind {
                Kind::Section => format!("**{}**", row.label),
                Kind::Main => row.label.clone(),
                Kind::Level => format!("&nbsp;&nbsp;{}", row.label),
            };
            line(&mut out, &[&[label][..], &self.padded(row)].concat());
        }
        let _ = writeln!(out, "\n{}", self.note);
        out
    }

    /// The cells of a row, as many as there are columns.
    fn padded(&self, row: &PrintedRow) -> Vec<String> {
        let mut cells = row.cells.clone();
        cells.resize(self.head.len().saturating_sub(1), String::new());
        cells
    }
}

/// Three digits that count.
pub(super) fn short(value: f64) -> String {
    let digits = match value.abs() {
        v if v >= 100.0 || v == 0.0 => 0,
        v if v >= 10.0 => 1,
        v if v >= 1.0 => 2,
        _ => 3,
    };
    format!("{value:.digits$}").replace('-', "−")
}

/// A p as journals print it.
pub(super) fn p_value(p: f64) -> String {
    match p {
        p if p < 0.001 => "< 0.001".to_owned(),
        p if p < 0.1 => format!("{p:.3}"),
        p => format!("{p:.2}"),
    }
}

/// A number of a cell.
pub(super) fn number_of(cell: Option<&Cell<'_>>) -> Option<f64> {
    match cell {
        Some(Cell::Real(value)) => Some(*value),
        #[expect(clippy::cast_precision_loss, reason = "a count")]
        Some(Cell::Integer(n)) => Some(*n as f64),
        _ => None,
    }
}

/// A text of a cell; empty where it has none.
pub(super) fn text_of(cell: Option<&Cell<'_>>) -> String {
    match cell {
        Some(Cell::Text(text)) => text.to_string(),
        Some(Cell::Integer(n)) => n.to_string(),
        _ => String::new(),
    }
}

/// `22.0 (17.0 to 24.0)`; a dash where the middle is not there.
pub(super) fn with_range(middle: Option<f64>, ends: [Option<f64>; 2]) -> String {
    match (middle, ends) {
        (Some(m), [Some(a), Some(b)]) => format!("{} ({} to {})", short(m), short(a), short(b)),
        (Some(m), _) => short(m),
        (None, _) => "–".to_owned(),
    }
}

#[cfg(test)]
pub(super) fn example() -> PrintedTable {
    let row = |kind, label: &str, cells: &[&str]| PrintedRow {
        kind,
        label: label.to_owned(),
        cells: cells.iter().map(|c| (*c).to_owned()).collect(),
    };
    PrintedTable {
        name: "example",
        title: "Table 1. Patients & <plans>".to_owned(),
        head: ["", "All (n = 3)", "cobalt_unit"].map(str::to_owned).to_vec(),
        rows: vec![
            row(Kind::Section, "Plans", &[]),
            row(Kind::Main, "GTV volume (cm³)", &["1.50 (1.00 to 2.00)", "–"]),
            row(Kind::Level, "left", &["2 (67 %)", "1 (100 %)"]),
        ],
        note: "Numbers: median ≥ 0.".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_a_small_p_is_a_bound() {
        assert_eq!(
            [123.4, 12.34, 1.234, 0.1234, -2.0, 0.0].map(short).join(" "),
            "123 12.3 1.23 0.123 −2.00 0"
        );
        assert_eq!([0.0001, 0.0123, 0.456].map(p_value), ["< 0.001", "0.012", "0.46"]);
        assert_eq!(with_range(Some(2.0), [Some(1.0), None]), "2.00");
        assert_eq!(with_range(None, [None, None]), "–");
    }

    #[test]
    fn a_table_for_the_screen_has_a_cell_for_each_column() {
        let text = example().markdown();
        assert!(text.starts_with(CAUTION) && text.contains("| **Plans** |  |  |"), "{text}");
        let pipes: Vec<usize> =
            text.lines().filter(|l| l.starts_with('|')).map(|l| l.matches('|').count()).collect();
        assert!(pipes.iter().all(|n| *n == 4), "{text}");
    }
}
