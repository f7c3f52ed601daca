//! Ready scripts beside `subjects.csv` for the models that a reviewer wants from citable software, in R
//! and Python, filled in with the names of the relation; and what they wrote, in words.

use std::collections::BTreeMap;

use super::Request;
use super::words::{p, shown};
use tidydose_table::run::CAUTION;
use tidydose_table::user::models::{ModelRow, mark};

const R: &str = include_str!("models.R");
const PYTHON: &str = include_str!("models.py");

/// Both scripts by name; `subjects` is the sheet they read.
pub(super) fn files(subjects: &[u8], request: &Request) -> BTreeMap<String, Vec<u8>> {
    let columns: Vec<String> = std::iter::once("predictor".to_owned())
        .chain((1..=request.adjust.len()).map(adjuster_column))
        .collect();
    let doubled = if request.doubling { "log2 " } else { "" };
    let terms: Vec<String> = std::iter::once(format!("{doubled}{}", request.predictor))
        .chain(request.adjust.iter().cloned())
        .collect();
    let list = |items: &[String]| items.iter().map(|t| quoted(t)).collect::<Vec<_>>().join(", ");
    let fill = |script: &str, truth: [&str; 2]| {
        script
            .replace("@CAUTION@", CAUTION)
            .replace("@EVENT@", &quoted(&request.event))
            .replace("@GRAIN@", &quoted(request.grain.word()))
            .replace("@DOUBLING@", truth[usize::from(request.doubling)])
            .replace("@COLUMNS@", &list(&columns))
            .replace("@TERMS@", &list(&terms))
            .replace("@RELATION@", &quoted(&mark(subjects)))
            .into_bytes()
    };
    [("models.R", fill(R, ["FALSE", "TRUE"])), ("models.py", fill(PYTHON, ["False", "True"]))]
        .map(|(name, bytes)| (name.to_owned(), bytes))
        .into()
}

/// The column of subjects.csv that holds an adjuster, counted from 1.
pub(super) fn adjuster_column(place: usize) -> String {
    if place == 1 { "adjuster".to_owned() } else { format!("adjuster_{place}") }
}

/// A text as R and Python both read it.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            '\n' | '\r' => out.push(' '),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// What the scripts estimated of these subjects.
pub(super) fn own<'r>(rows: &'r [ModelRow], subjects: &[u8]) -> Vec<&'r ModelRow> {
    let own = mark(subjects);
    rows.iter().filter(|r| r.relation == own).collect()
}

/// What the scripts wrote, in words; `others` are rows of another relation, counted and not shown.
pub(super) fn words(own: &[&ModelRow], others: usize) -> Vec<String> {
    if own.is_empty() && others == 0 {
        return vec![
            "none yet: models.R and models.py fit them and write models.csv, which the next run shows"
                .to_owned(),
        ];
    }
    let mut list: Vec<String> = own.iter().map(|r| row_words(r)).collect();
    if others > 0 {
        list.push(format!(
            "{others} rows of models.csv are of another relation or of older data and are not shown; run \
             the scripts again"
        ));
    }
    list
}

fn row_words(row: &ModelRow) -> String {
    let by = format!("{} {}", row.software, row.version);
    let of = format!("{} events of {} in {} patients", row.events, row.n, row.patients);
    let note = if row.note.is_empty() { String::new() } else { format!("; it says: {}", row.note) };
    let Some(estimate) = row.estimate else {
        return format!("{}, {}: no estimate ({of}; {by}){note}", row.model, row.term);
    };
    let ends = match (row.low, row.high) {
        (Some(low), Some(high)) => format!("95 % {} to {}", shown(low), shown(high)),
        _ => "no interval".to_owned(),
    };
    let p = row.p.map_or_else(String::new, |value| format!(", p = {}", p(value)));
    format!(
        "{}, {}: {} {} ({ends}{p}; {of}; {by}){note}",
        row.model,
        row.term,
        row.measure,
        shown(estimate)
    )
}

#[cfg(test)]
mod tests {
    use super::super::Grain;
    use super::super::example::request;
    use super::*;

    #[test]
    fn scripts_are_filled_in_with_the_names_of_the_relation() {
        let mut asked = request(Grain::Lesion);
        asked.adjust = vec!["age".to_owned(), "a \"b\"".to_owned()];
        asked.doubling = true;
        let files = files(b"rows", &asked);
        let text = |name: &str| String::from_utf8(files[name].clone()).unwrap();
        for name in ["models.R", "models.py"] {
            let script = text(name);
            assert!(script.contains("\"predictor\", \"adjuster\", \"adjuster_2\""), "{script}");
            assert!(script.contains(r#""log2 Brain:V12Gy[cc]", "age", "a \"b\"""#), "{script}");
            assert!(script.contains(&mark(b"rows")) && script.contains(CAUTION));
            let left = script.split('@').skip(1).find(|w| w.chars().all(char::is_uppercase));
            assert_eq!(left, None, "a place of {name} is not filled in");
        }
        assert!(text("models.R").contains("doubling <- TRUE"));
        assert!(text("models.py").contains("doubling = True"));
    }

    #[test]
    fn rows_of_another_relation_are_not_shown() {
        let row = ModelRow {
            model: "cause-specific Cox".to_owned(),
            term: "age".to_owned(),
            measure: "hazard ratio".to_owned(),
            estimate: Some(1.25),
            low: Some(1.0),
            high: Some(1.5),
            p: Some(0.04),
            n: 40,
            patients: 20,
            events: 7,
            software: "R survival".to_owned(),
            version: "3.5.3".to_owned(),
            note: String::new(),
            relation: mark(b"rows"),
        };
        let failed = ModelRow { estimate: None, note: "nobody had it".to_owned(), ..row.clone() };
        let of = |rows: &[ModelRow], subjects: &[u8]| {
            let own = own(rows, subjects);
            words(&own, rows.len() - own.len())
        };
        let shown = of(&[row.clone(), failed], b"rows");
        assert!(
            shown[0].contains("hazard ratio 1.25 (95 % 1.00 to 1.50, p = 0.040; 7 events of 40"),
            "{shown:?}"
        );
        assert!(shown[1].contains("no estimate") && shown[1].contains("it says: nobody had it"));
        let other = of(&[row], b"other rows");
        assert!(other.len() == 1 && other[0].contains("of another relation"), "{other:?}");
        assert!(of(&[], b"rows")[0].contains("none yet"));
    }
}
