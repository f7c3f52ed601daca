//! Published risks for the same organ, metric and number of fractions, to be seen beside the data.
//! The list is `queries/dose_response.csv`; each row says whether it was read in its source.

use std::path::Path;

use super::predictor::Predictor;
use tidydose_table::user::user_file::UserFile;

const LIST: &str = include_str!("../../queries/dose_response.csv");
const NOTE: &str = "note";

/// What is handed on of the list: every column but its notes.
pub(super) const COLUMNS_SHOWN: [&str; 11] = [
    "id",
    "organ",
    "endpoint",
    "fractions",
    "metric",
    "from",
    "to",
    "risk_low",
    "risk_high",
    "source",
    "evidence",
];

/// A published risk.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Published {
    pub(super) id: String,
    pub(super) organ: String,
    pub(super) endpoint: String,
    /// Fewest and most fractions it is for.
    pub(super) fractions: (i64, i64),
    pub(super) metric: String,
    /// Range of the metric; both ends equal for a level.
    pub(super) range: (f64, f64),
    /// Risk; two ends where the source gives a range or a bound. Absent where the source states an
    /// association only, see the note.
    pub(super) risk: Option<(f64, f64)>,
    pub(super) source: String,
    pub(super) evidence: String,
    pub(super) note: String,
}

impl Published {
    /// The fractions as they stand in the list: `1`, or `25-40`.
    pub(super) fn fraction_words(&self) -> String {
        match self.fractions {
            (low, high) if low == high => low.to_string(),
            (low, high) => format!("{low}-{high}"),
        }
    }

    /// Whether somebody has read the number in its source, or in the abstract of it.
    pub(super) fn is_checked(&self) -> bool {
        let read = ["read in the source", "abstract"].iter().any(|w| self.evidence.starts_with(w));
        read && !self.evidence.contains("secondary")
    }

    /// The same in words, to stand beside it.
    pub(super) fn against_source(&self) -> &'static str {
        if self.is_checked() { "read in the source" } else { "not yet checked against the source" }
    }
}

/// Published risks beside a relation.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Beside {
    pub(super) rows: Vec<Published>,
    /// Endpoints for which there are others of the same structure, metric and fractions.
    pub(super) other_endpoints: Vec<String>,
}

/// What an endpoint or an event is, by the words of its name; optic neuropathy is no palsy of another
/// nerve.
fn kinds(words: &str) -> Vec<&'static str> {
    const OPTIC: &[&str] = &["optic", "vision", "visual"];
    const OTHERS: &[(&str, &[&str])] = &[
        ("necrosis", &["necro", "nekro"]),
        ("nerve", &["neuropath", "palsy", "nerve"]),
        ("cord", &["myelopath", "myelit"]),
        ("hearing", &["hearing", "deaf"]),
        ("memory", &["memory", "recall", "cognit"]),
    ];
    let words = words.to_lowercase();
    let has = |list: &[&str]| list.iter().any(|w| words.contains(w));
    if has(OPTIC) {
        return vec!["optic"];
    }
    OTHERS.iter().filter(|(_, list)| has(list)).map(|(kind, _)| *kind).collect()
}

/// Published risks for what a predictor measures; none for other endpoints, structures, metrics and
/// fractions, since a comparison across definitions misleads. That a volume holds the target is part of
/// the structure: Brain with it, Brain-GTV without.
pub(super) fn for_predictor(predictor: &Predictor, fractions: Option<i64>, event: &str) -> Beside {
    let Some((structure, metric)) = predictor.subject() else { return Beside::default() };
    let fits = |p: &Published| {
        let of_fractions = fractions.is_some_and(|n| (p.fractions.0..=p.fractions.1).contains(&n));
        p.organ == structure && p.metric == metric && of_fractions
    };
    let own = kinds(event);
    let of_event = |p: &Published| kinds(&p.endpoint).iter().any(|k| own.contains(k));
    let (rows, others): (Vec<_>, Vec<_>) = all().into_iter().filter(fits).partition(of_event);
    let mut other_endpoints: Vec<String> = others.into_iter().map(|p| p.endpoint).collect();
    other_endpoints.sort();
    other_endpoints.dedup();
    Beside { rows, other_endpoints }
}

fn all() -> Vec<Published> {
    let path = Path::new("queries/dose_response.csv");
    let columns = [&COLUMNS_SHOWN[..], &[NOTE]].concat();
    let Ok(file) = UserFile::of_text(LIST.as_bytes(), path, &columns) else { return Vec::new() };
    (0..file.row_count()).filter_map(|row| one(&file, row)).collect()
}

fn one(file: &UserFile, row: usize) -> Option<Published> {
    let text = |column| file.text(row, column).to_owned();
    let number = |column| file.text(row, column).parse::<f64>().ok();
    Some(Published {
        id: text("id"),
        organ: text("organ"),
        endpoint: text("endpoint"),
        fractions: fractions(file.text(row, "fractions"))?,
        metric: text("metric"),
        range: (number("from")?, number("to").unwrap_or(f64::INFINITY)),
        risk: number("risk_low").zip(number("risk_high")),
        source: text("source"),
        evidence: text("evidence"),
        note: text(NOTE),
    })
}

fn fractions(text: &str) -> Option<(i64, i64)> {
    match text.split_once('-') {
        Some((low, high)) => Some((low.parse().ok()?, high.parse().ok()?)),
        None => text.parse().ok().map(|n| (n, n)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_of_the_list_is_understood() {
        let list = all();
        assert_eq!(list.len(), LIST.lines().count() - 1);
        for p in &list {
            assert!(p.range.0 <= p.range.1 && p.fractions.0 <= p.fractions.1, "{p:?}");
            let is_share = |risk: (f64, f64)| 0.0 <= risk.0 && risk.0 <= risk.1 && risk.1 <= 1.0;
            assert!(p.risk.map_or(!p.note.is_empty(), is_share), "{p:?}");
            assert!(!p.source.is_empty() && !p.evidence.is_empty(), "{p:?}");
        }
    }

    #[test]
    fn only_the_same_organ_metric_and_fractions_are_compared() {
        let of = |structure: &str, metric: &str| Predictor::Structure {
            structure: structure.to_owned(),
            metric: metric.to_owned(),
        };
        let v12 = |structure: &str| of(structure, "V12Gy[cc]");
        let shown = |predictor: &Predictor, n| for_predictor(predictor, n, "necrosis").rows;
        let brain = shown(&v12("Brain"), Some(1));
        assert!(
            brain.iter().any(|p| p.range == (5.0, 5.0) && p.risk == Some((0.1, 0.1))),
            "{brain:?}"
        );
        assert!(!shown(&v12("Brain-GTV"), Some(1)).is_empty());
        assert!(shown(&v12("Brain"), Some(5)).is_empty());
        assert!(shown(&v12("Brainstem"), Some(1)).is_empty());
        let cord = |n| for_predictor(&of("SpinalCord", "Max[Gy]"), Some(n), "myelopathy").rows;
        assert!(cord(30).iter().any(|p| p.range == (61.0, 61.0)), "a range of fractions");
        assert!(cord(24).is_empty());
        assert!(shown(&v12("Brain"), None).is_empty(), "fractions are pooled");
    }

    /// Risks of necrosis are not drawn beside deaths; the endpoints there are, are named.
    #[test]
    fn only_the_endpoint_that_was_reported_is_compared() {
        let brain =
            Predictor::Structure { structure: "Brain".to_owned(), metric: "V12Gy[cc]".to_owned() };
        let death = for_predictor(&brain, Some(1), "death");
        assert!(death.rows.is_empty(), "{death:?}");
        assert!(death.other_endpoints.contains(&"symptomatic radionecrosis".to_owned()));
        for event in ["necrosis", "Radionecrosis_grade2", "radionekrose"] {
            let found = for_predictor(&brain, Some(1), event);
            assert!(!found.rows.is_empty() && found.other_endpoints.is_empty(), "{event}");
        }
        let chiasm = Predictor::Structure {
            structure: "OpticChiasm".to_owned(),
            metric: "Max[Gy]".to_owned(),
        };
        assert!(for_predictor(&chiasm, Some(1), "facial_palsy").rows.is_empty());
        assert!(!for_predictor(&chiasm, Some(1), "optic neuropathy").rows.is_empty());
    }

    #[test]
    fn what_nobody_has_seen_in_its_source_says_so() {
        for p in all() {
            let unseen = p.evidence.contains("not yet checked") || p.evidence.contains("secondary");
            assert_eq!(p.is_checked(), !unseen, "{p:?}");
        }
        assert!(all().iter().any(|p| p.against_source().starts_with("not yet checked")));
    }
}
