//! Estimates that R or Python made of a relation, as a result table and a forest plot: what the ready
//! scripts beside `subjects.csv` wrote into `models.csv`.

use std::borrow::Cow;
use std::fmt::Write as _;

use super::figures::FOLDER;
use super::{Files, counted};
use tidydose_figure::{Ratio, ratios};
use tidydose_table::Cell;
use tidydose_table::clinical_words::predictor;
use tidydose_table::run::CAUTION;
use tidydose_table::user::models::ModelRow;
use tidydose_table::write_csv::write_records;

const COLUMNS: &[&str] = &[
    "model", "term", "measure", "estimate", "low", "high", "p", "n", "patients", "events",
    "software", "version", "note",
];

/// The table as CSV and for reading, and the plot; nothing where no script has run. `others` are rows of
/// data that have changed since.
pub(super) fn files(own: &[ModelRow], others: usize) -> Files {
    let mut files = Files::new();
    if own.is_empty() && others == 0 {
        return files;
    }
    let mut bytes = Vec::new();
    // Writing into memory does not fail.
    if write_records(COLUMNS, own.iter().map(cells), &mut bytes).is_ok() {
        files.insert("models.csv".to_owned(), bytes);
    }
    files.insert("models.md".to_owned(), page(own, others).into_bytes());
    if let Some(forest) = ratios("Estimates by other software", "one unit", &rows(own), CAUTION) {
        files.insert(format!("{FOLDER}/models.svg"), forest.svg().into_bytes());
    }
    files
}

fn rows(own: &[ModelRow]) -> Vec<Ratio> {
    let row = |r: &ModelRow| Ratio {
        model: r.heading(),
        label: predictor(&r.term),
        estimate: r.estimate,
        ends: [r.low, r.high],
    };
    own.iter().map(row).collect()
}

/// What is drawn, for the captions.
pub(super) fn caption(own: &[ModelRow]) -> String {
    let numbers = |r: &ModelRow| (r.events, r.n, r.patients);
    let mut of: Vec<(usize, usize, usize)> = own.iter().map(numbers).collect();
    of.sort_unstable();
    of.dedup();
    let of = of.iter().map(|(e, n, p)| format!("{e} events of {n} in {}", counted(*p, "patient")));
    format!(
        "Ratios of odds and hazards for one unit of each predictor with their 95 % intervals, on a \
         logarithmic axis; dashed: no difference; an arrow: the interval goes on beyond the axis; not \
         bounded: an estimate beyond 1000 or below its reciprocal, as where a predictor separates. Each \
         model is named with its measure and software. Made of {}. Units differ between predictors, so \
         that lengths are compared within one only. Numbers: models.csv of the folder above.",
        of.collect::<Vec<_>>().join("; ")
    )
}

fn cells(row: &ModelRow) -> Vec<Cell<'static>> {
    let text = |t: &str| match t {
        "" => Cell::Missing,
        words => Cell::Text(Cow::Owned(words.to_owned())),
    };
    let count = |n: usize| i64::try_from(n).map_or(Cell::Missing, Cell::Integer);
    let number = |v: Option<f64>| v.map_or(Cell::Missing, Cell::Real);
    let mut cells = vec![text(&row.model), text(&row.term), text(&row.measure)];
    cells.extend([row.estimate, row.low, row.high, row.p].map(number));
    cells.extend([row.n, row.patients, row.events].map(count));
    cells.extend([text(&row.software), text(&row.version), text(&row.note)]);
    cells
}

fn page(own: &[ModelRow], others: usize) -> String {
    let mut out = format!("{CAUTION}\n\n");
    out.push_str(
        "| Model | Term | Estimate (95 % interval) | p | Events / observations (patients) | By |\n",
    );
    out.push_str("|---|---|---|---|---|---|\n");
    for row in own {
        let estimate = match (row.estimate, row.low, row.high) {
            (Some(e), Some(low), Some(high)) => {
                format!("{} {} ({} to {})", row.measure, shown(e), shown(low), shown(high))
            }
            (Some(e), ..) => format!("{} {} (no interval)", row.measure, shown(e)),
            (None, ..) => format!("none: {}", row.note),
        };
        let p = row.p.map_or_else(String::new, |p| {
            if p < 0.001 { "< 0.001".to_owned() } else { format!("{p:.3}") }
        });
        // Writing to a text does not fail.
        let _ = writeln!(
            out,
            "| {} | {} | {estimate} | {p} | {} / {} ({}) | {} {} |",
            safe(&row.model),
            safe(&row.term),
            row.events,
            row.n,
            row.patients,
            safe(&row.software),
            safe(&row.version)
        );
    }
    if others > 0 {
        let _ = writeln!(
            out,
            "\n{others} rows of models.csv are of other data than subjects.csv beside it and are not shown: \
             run `tidydose relate` and its scripts again."
        );
    }
    out
}

/// A text within a cell of a table.
fn safe(text: &str) -> String {
    text.replace('|', "\\|")
}

/// Three digits that count.
fn shown(value: f64) -> String {
    let size = value.abs();
    match size {
        s if s >= 1e5 || (s < 1e-3 && s > 0.0) => format!("{value:.2e}"),
        s if s >= 100.0 => format!("{value:.0}"),
        s if s >= 10.0 => format!("{value:.1}"),
        s if s >= 0.1 => format!("{value:.2}"),
        _ => format!("{value:.4}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row() -> ModelRow {
        ModelRow {
            model: "cause-specific Cox".to_owned(),
            term: "Brain:V12Gy[cc]".to_owned(),
            measure: "hazard ratio".to_owned(),
            estimate: Some(1.234),
            low: Some(1.01),
            high: Some(1.5),
            p: Some(0.000_2),
            n: 40,
            patients: 20,
            events: 7,
            software: "R survival".to_owned(),
            version: "3.5.3".to_owned(),
            note: String::new(),
            relation: String::new(),
        }
    }

    #[test]
    fn estimates_stand_in_both_tables_and_a_failed_model_says_why() {
        let failed = ModelRow { estimate: None, note: "nobody had it".to_owned(), ..row() };
        let found = files(&[row(), failed.clone()], 2);
        let text = |name: &str| String::from_utf8(found[name].clone()).unwrap();
        let page = text("models.md");
        assert!(
            page.contains("| hazard ratio 1.23 (1.01 to 1.50) | < 0.001 | 7 / 40 (20) |"),
            "{page}"
        );
        assert!(page.contains("none: nobody had it") && page.contains("2 rows of models.csv"));
        assert_eq!(text("models.csv").lines().count(), 3);
        let svg = text("figures/models.svg");
        assert!(
            svg.contains("Cause-specific Cox, hazard ratio (R survival 3.5.3)")
                && svg.contains("no estimate"),
            "{svg}"
        );
        assert!(caption(&[row(), failed]).contains("Made of 7 events of 40 in 20 patients."));
        assert!(super::files(&[], 0).is_empty());
        // Where no model has an estimate there is nothing to draw.
        let none = ModelRow { estimate: None, ..row() };
        assert!(!super::files(&[none], 0).contains_key("figures/models.svg"));
    }
}
