//! Ratios of several models as a forest plot on a logarithmic axis: odds and hazards, model by model.

use super::draw::{LETTER, count};
use super::{Axis, Forest, ForestRow};

/// An estimate of a ratio.
#[derive(Debug, Clone, PartialEq)]
pub struct Ratio {
    /// What made it, such as a model with its software; a heading where it differs from the one before.
    pub model: String,
    /// Of what it is the ratio.
    pub label: String,
    /// Absent where the model has none.
    pub estimate: Option<f64>,
    /// Ends of its interval; absent where it has none, and at an end that the data leave open.
    pub ends: [Option<f64>; 2],
}

/// Times by which the axis goes on beyond the outermost estimates; longer intervals end in an arrow.
const BEYOND: f64 = 10.0;
/// An estimate beyond this, or below its reciprocal, is one that the data do not bound: a search went on
/// until it was stopped. It stands in words and has no mark, which would press all others together.
const BOUND: f64 = 1000.0;

fn is_bounded(estimate: &f64) -> bool {
    (1.0 / BOUND..=BOUND).contains(estimate)
}

/// The plot of ratios for a step of what they are of, such as "one unit"; none where no row has an
/// estimate.
#[must_use]
pub fn ratios(title: &str, step: &str, rows: &[Ratio], foot: &str) -> Option<Forest> {
    let x = axis(step, rows)?;
    let mut drawn = Vec::new();
    let mut model = "";
    for row in rows {
        if row.model != model {
            model = &row.model;
            drawn.push(heading(model));
        }
        drawn.push(ForestRow {
            label: row.label.clone(),
            estimate: row.estimate.filter(is_bounded).map(|e| {
                let [low, high] = row.ends;
                // Without an interval the mark stands alone; an open end goes on beyond the axis.
                let open = low.is_some() || high.is_some();
                let or = |end: Option<f64>, far: f64| end.unwrap_or(if open { far } else { e });
                [e, or(low, 0.0), or(high, f64::INFINITY)]
            }),
            words: words(row),
        });
    }
    Some(Forest {
        title: title.to_owned(),
        description: format!("{} ratios with their intervals.", rows.len()),
        x,
        reference: Some(1.0),
        rows: drawn,
        foot: foot.to_owned(),
    })
}

fn heading(words: &str) -> ForestRow {
    ForestRow { label: words.to_owned(), estimate: None, words: String::new() }
}

/// A logarithmic axis that holds 1 and every estimate, and intervals as far as they are not endless.
fn axis(step: &str, rows: &[Ratio]) -> Option<Axis> {
    let mut range = [1.0_f64, 1.0_f64];
    let drawn = || rows.iter().filter(|r| r.estimate.as_ref().is_some_and(is_bounded));
    let estimates: Vec<f64> = drawn().filter_map(|r| r.estimate).collect();
    if estimates.is_empty() {
        return None;
    }
    for e in estimates {
        range = [range[0].min(e), range[1].max(e)];
    }
    let limits = [range[0] / BEYOND, range[1] * BEYOND];
    let ends = drawn().flat_map(|r| r.ends).flatten();
    for end in ends.filter(|v| *v > 0.0 && v.is_finite()) {
        let kept = end.clamp(limits[0], limits[1]);
        range = [range[0].min(kept), range[1].max(kept)];
    }
    // A little room at both ends, so that no mark lies on the border.
    let room = (range[1] / range[0]).powf(0.04).max(1.05);
    Some(Axis::log(&format!("Ratio for {step}"), range[0] / room, range[1] * room))
}

fn words(row: &Ratio) -> String {
    let Some(estimate) = row.estimate else { return "no estimate".to_owned() };
    if !is_bounded(&estimate) {
        return "not bounded".to_owned();
    }
    match row.ends {
        [None, None] => format!("{}, no interval", digits(estimate)),
        [low, high] => {
            let end = |v: Option<f64>| v.map_or_else(|| "open".to_owned(), digits);
            format!("{} ({}–{})", digits(estimate), end(low), end(high))
        }
    }
}

/// Three digits that count.
fn digits(value: f64) -> String {
    match value.abs() {
        s if s >= 1e4 || (s < 1e-3 && s > 0.0) => format!("{value:.0e}"),
        s if s >= 100.0 => format!("{value:.0}"),
        s if s >= 10.0 => format!("{value:.1}"),
        s if s >= 0.1 || s == 0.0 => format!("{value:.2}"),
        _ => format!("{value:.3}"),
    }
}

/// Paper for the words at the ends of rows: as much as the longest of them takes.
pub(super) fn room_for(rows: &[ForestRow], [least, most]: [f64; 2]) -> f64 {
    let longest = rows.iter().map(|r| r.words.chars().count()).max().unwrap_or(0);
    (LETTER * count(longest) + 20.0).clamp(least, most)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(model: &str, estimate: Option<f64>, ends: [Option<f64>; 2]) -> Ratio {
        Ratio { model: model.to_owned(), label: "age".to_owned(), estimate, ends }
    }

    #[test]
    fn a_model_is_a_heading_and_an_endless_interval_an_arrow() {
        let rows = [
            row("Cox", Some(1.5), [Some(1.1), Some(2.0)]),
            row("Cox", None, [None, None]),
            row("GEE", Some(2.0), [Some(0.5), Some(1e6)]),
            row("GEE", Some(0.5), [Some(0.25), None]),
        ];
        let forest = ratios("x", "one unit", &rows, "foot").unwrap();
        assert_eq!(forest.rows.len(), 6, "two headings and four rows");
        let words: Vec<&str> = forest.rows.iter().map(|r| r.words.as_str()).collect();
        assert_eq!(
            words,
            ["", "1.50 (1.10–2.00)", "no estimate", "", "2.00 (0.50–1e6)", "0.50 (0.25–open)"]
        );
        // Ten times the largest estimate, and a little room.
        assert!(forest.x.high >= 20.0 && forest.x.high < 26.0, "{:?}", forest.x);
        assert!(forest.x.low < 0.25 && forest.x.low > 0.2, "{:?}", forest.x);
        let svg = forest.svg();
        assert_eq!(svg.matches("m-10 -8l10 8l-10 8").count(), 2, "an arrow for each open end");
        assert!(svg.contains("stroke-dasharray=\"8 6\""), "a line at 1");
    }

    /// A search that ran away must not press the others together.
    #[test]
    fn an_estimate_without_bound_has_words_and_no_mark() {
        let rows = [
            row("Cox", Some(2e8), [Some(4e7), Some(7e8)]),
            row("Cox", Some(1e-9), [Some(0.0), None]),
            row("Cox", Some(1.5), [Some(1.1), Some(2.0)]),
        ];
        let forest = ratios("x", "one unit", &rows, "").unwrap();
        assert!(forest.x.high < 3.0 && forest.x.low > 0.8, "{:?}", forest.x);
        let words: Vec<&str> = forest.rows.iter().map(|r| r.words.as_str()).collect();
        assert_eq!(words, ["", "not bounded", "not bounded", "1.50 (1.10–2.00)"]);
        assert!(forest.rows[1].estimate.is_none() && forest.rows[2].estimate.is_none());
        assert_eq!(ratios("x", "one unit", &rows[..2], ""), None);
    }

    #[test]
    fn without_any_estimate_there_is_no_plot() {
        assert_eq!(ratios("x", "one unit", &[row("Cox", None, [None, None])], ""), None);
        assert_eq!(ratios("x", "one unit", &[], ""), None);
    }

    /// One that has no interval is a mark without a line.
    #[test]
    fn what_has_no_interval_is_a_mark_alone() {
        let forest = ratios("x", "one unit", &[row("Cox", Some(3.0), [None, None])], "").unwrap();
        assert_eq!(forest.rows[1].estimate, Some([3.0; 3]));
        assert_eq!(forest.rows[1].words, "3.00, no interval");
    }
}
