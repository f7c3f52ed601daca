//! The one relation in each centre of a pooled study, what all say together, and what each changes by
//! staying out. A centre that says nothing keeps its row with the reason.

use std::collections::{BTreeMap, BTreeSet};

use super::Request;
use super::analysis::Analysis;
use super::join::{Known, Subject};
use super::model::Lists;
use super::model_words::Stepped;
use super::words::{counted, freedom, p, percent, percents, shown};
use tidydose_figure::{Forest, Ratio, ratios};
use tidydose_statistics::logistic::{Coefficient, Model};
use tidydose_statistics::summary_of_centres::{Estimate, RandomEffects, random_effects};
use tidydose_statistics::{CONFIDENCE, Interval, Undefined};
use tidydose_table::run::CAUTION;

/// Column of plans that a pooled study has.
pub(super) const CENTRE: &str = "centre";

/// Where there are fewer, the variance between centres is hardly known (common practice).
const FEW: usize = 5;

/// What the centres say.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Centres {
    pub(super) each: Vec<Part>,
    /// All estimates of centres together.
    pub(super) together: Result<RandomEffects, Undefined>,
    pub(super) without: Vec<Without>,
}

/// Who is analysed of some centres, and the model of them alone.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    /// The centre, or the one that is left out.
    pub(super) centre: String,
    pub(super) n: usize,
    pub(super) events: usize,
    pub(super) patients: usize,
    pub(super) slope: Result<Coefficient, Undefined>,
}

/// Everything but one centre.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Without {
    /// The model of all others as one.
    pub(super) others: Part,
    /// The summary of the estimates of the others.
    pub(super) together: Result<RandomEffects, Undefined>,
}

impl Part {
    fn of(centre: &str, rows: &[(&Subject, &Known)], request: &Request) -> Self {
        let lists = Lists::of(rows, request);
        Self {
            centre: centre.to_owned(),
            n: lists.event.len(),
            events: lists.event.iter().filter(|e| **e).count(),
            patients: lists.clusters.count(),
            slope: Model::fit(&lists.data(), CONFIDENCE).map(|model| model.slope),
        }
    }

    fn estimate(&self) -> Option<Estimate> {
        let slope = self.slope.as_ref().ok()?;
        Some(Estimate { effect: slope.estimate, error: slope.error })
    }

    fn counts(&self, request: &Request) -> String {
        format!(
            "{} of {} with {}",
            self.events,
            counted(self.n, request.grain.word()),
            request.event
        )
    }
}

impl Centres {
    /// Absent where the study has no centres, or one. `all` are the subjects of all plans: a centre of
    /// which nobody is analysed has its row too.
    pub(super) fn of(
        all: &[Subject],
        rows: &[(&Subject, &Known)],
        request: &Request,
    ) -> Option<Self> {
        let names: BTreeSet<&str> = all.iter().filter_map(|s| s.centre.as_deref()).collect();
        if names.len() < 2 {
            return None;
        }
        let those = |wanted: &dyn Fn(&str) -> bool| -> Vec<(&Subject, &Known)> {
            let counts = |s: &Subject| s.centre.as_deref().is_some_and(wanted);
            rows.iter().filter(|(s, _)| counts(s)).copied().collect()
        };
        let each: Vec<Part> =
            names.iter().map(|name| Part::of(name, &those(&|c| c == *name), request)).collect();
        let summary = |left_out: Option<&str>| {
            let counts = each.iter().filter(|part| Some(part.centre.as_str()) != left_out);
            let estimates: Vec<Estimate> = counts.filter_map(Part::estimate).collect();
            random_effects(&estimates, CONFIDENCE)
        };
        let without = |name: &&str| Without {
            others: Part::of(name, &those(&|c| c != *name), request),
            together: summary(Some(name)),
        };
        let (together, without) = (summary(None), names.iter().map(without).collect());
        Some(Self { each, together, without })
    }

    /// The weight of each centre in the summary, by name.
    pub(super) fn weights(&self) -> BTreeMap<&str, f64> {
        let Ok(found) = &self.together else { return BTreeMap::new() };
        let counted = self.each.iter().filter(|part| part.slope.is_ok());
        counted.map(|part| part.centre.as_str()).zip(found.weights.iter().copied()).collect()
    }
}

/// The part of the report on centres.
pub(super) fn words(centres: &Centres, analysis: &Analysis, request: &Request) -> Vec<String> {
    let step = Stepped::of(analysis, request);
    let ratio = |effect: f64, interval: Interval| {
        let [low, high] = [interval.low, interval.high].map(|end| step.ratio(end));
        format!("{} (95 % {low} to {high})", step.ratio(effect))
    };
    let mut list = vec![format!(
        "the same model in each centre alone, odds ratios for {}; intervals of centres by profile, those \
         of several together by Hartung and Knapp",
        step.words
    )];
    let weights = centres.weights();
    for part in &centres.each {
        let counts = part.counts(request);
        list.push(match &part.slope {
            Ok(slope) => {
                let weight = weights.get(part.centre.as_str()).copied();
                let weight = weight.map_or(String::new(), |w| format!(", weight {}", percent(w)));
                format!(
                    "{}: {}; {counts}{weight}",
                    part.centre,
                    ratio(slope.estimate, slope.interval)
                )
            }
            Err(reason) => format!("{}: no estimate, {reason}; {counts}", part.centre),
        });
    }
    match &centres.together {
        Ok(found) => list.extend(together(found, &ratio)),
        Err(reason) => list.push(format!("no summary: {reason}")),
    }
    for Without { others, together } in &centres.without {
        let summary = match together {
            Ok(found) => ratio(found.effect, found.interval),
            Err(reason) => format!("none, {reason}"),
        };
        let model = match &others.slope {
            Ok(slope) => ratio(slope.estimate, slope.interval),
            Err(reason) => format!("none, {reason}"),
        };
        list.push(format!(
            "without {}: summary {summary}; one model of all others {model}; {}",
            others.centre,
            others.counts(request)
        ));
    }
    if analysis.lists.clusters.repeat() {
        list.push(
            "rows of one patient are taken as independent here: the weights and intervals of centres with \
             many are too narrow"
                .to_owned(),
        );
    }
    list
}

fn together(found: &RandomEffects, ratio: &dyn Fn(f64, Interval) -> String) -> Vec<String> {
    let mut list = vec![format!(
        "centres such as these together (random effects): {}",
        ratio(found.effect, found.interval)
    )];
    let share = found.i_2_interval.map_or(String::new(), |i| format!(" ({})", percents(i)));
    list.push(format!(
        "how much the centres differ: I² {}{share}, τ² {} of the log odds, Q {} with {}, p = {}",
        percent(found.i_2),
        shown(found.tau_2),
        shown(found.q),
        freedom(found.degrees),
        p(found.p)
    ));
    if let Some(next) = found.next_centre {
        list.push(format!("one more centre is expected to have {}", ratio(found.effect, next)));
    }
    if found.degrees + 1 < FEW {
        list.push(format!(
            "{} centres say hardly anything of how much centres differ: a small Q or I² is no proof that \
             they agree",
            found.degrees + 1
        ));
    }
    list
}

/// The estimates of the centres, of all together, and of all but one.
pub(super) fn forest(analysis: &Analysis, request: &Request) -> Option<Forest> {
    let centres = analysis.centres.as_ref()?;
    let step = Stepped::of(analysis, request);
    let row = |model: &str, label: String, found: Option<(f64, Interval)>| {
        let shown = |effect: f64| Some((effect * step.size).exp()).filter(|r| r.is_finite());
        Ratio {
            model: model.to_owned(),
            label,
            estimate: found.and_then(|(effect, _)| shown(effect)),
            ends: [|i: Interval| i.low, |i: Interval| i.high]
                .map(|end| found.and_then(|(_, interval)| shown(end(interval)))),
        }
    };
    let summary = |found: &Result<RandomEffects, Undefined>| {
        found.as_ref().ok().map(|f| (f.effect, f.interval))
    };
    let mut rows: Vec<Ratio> = Vec::new();
    for part in &centres.each {
        let label = format!("{} ({}/{})", part.centre, part.events, part.n);
        let found = part.slope.as_ref().ok().map(|s| (s.estimate, s.interval));
        rows.push(row("Each centre", label, found));
    }
    rows.push(row("Together", "random effects".to_owned(), summary(&centres.together)));
    for Without { others, together } in &centres.without {
        let label = format!("without {}", others.centre);
        rows.push(row("Without one centre", label, summary(together)));
    }
    ratios(&format!("Odds ratio for {}", step.words), &step.short, &rows, CAUTION)
}

#[cfg(test)]
mod tests {
    use super::super::example::{PATIENTS, cohort, cohort_of, outcomes, request};
    use super::super::{Grain, Relation, describe};
    use super::*;
    use tidydose_table::user::outcomes::Outcome;

    fn file(relation: &Relation, name: &str) -> String {
        String::from_utf8(relation.files[name].clone()).unwrap()
    }

    /// Cells of the rows of a kind, by column.
    fn rows(relation: &Relation, kind: &str) -> Vec<BTreeMap<String, String>> {
        let text = file(relation, "centres.csv");
        let mut reader = csv::Reader::from_reader(text.trim_start_matches('\u{feff}').as_bytes());
        let all: Vec<BTreeMap<String, String>> = reader.deserialize().map(Result::unwrap).collect();
        all.into_iter().filter(|row| row["row"] == kind).collect()
    }

    fn number(row: &BTreeMap<String, String>, column: &str) -> f64 {
        row[column].parse().unwrap_or_else(|_| panic!("{column} of {row:?}"))
    }

    #[test]
    fn a_study_of_one_place_has_no_centres() {
        let asked = request(Grain::Lesion);
        for cohort in [cohort(), cohort_of(&["Harbour"])] {
            let found = describe(&cohort, &outcomes(), &asked).unwrap();
            assert!(!found.files.contains_key("centres.csv"));
            assert!(!file(&found, "report.txt").contains("\nCentres\n"));
        }
    }

    /// Each centre has the estimate that its own rows alone have, without it those of the others.
    #[test]
    fn every_centre_is_the_model_of_its_own_rows() {
        let asked = request(Grain::Lesion);
        let names = ["Harbour", "Hillside"];
        let found = describe(&cohort_of(&names), &outcomes(), &asked).unwrap();
        let (each, without) = (rows(&found, "centre"), rows(&found, "model_without"));
        for (place, name) in names.iter().enumerate() {
            let own = |o: &&Outcome| {
                let patient: usize = o.patient_id.trim_start_matches('P').parse().unwrap();
                patient % names.len() == place
            };
            let sheet: Vec<Outcome> = outcomes().iter().filter(own).cloned().collect();
            let alone = describe(&cohort(), &sheet, &asked).unwrap();
            let model = file(&alone, "model.csv");
            let slope =
                model.lines().find(|l| l.starts_with("Brain:V12Gy[cc],")).unwrap_or_else(|| {
                    panic!("{model}");
                });
            let slope: f64 = slope.split(',').nth(1).unwrap().parse().unwrap();
            assert_eq!(each[place]["centre"], *name);
            assert!((number(&each[place], "log_odds_ratio") - slope).abs() < 1e-9);
            assert_eq!(
                number(&without[1 - place], "log_odds_ratio"),
                number(&each[place], "log_odds_ratio")
            );
        }
        let weights: f64 = each.iter().map(|row| number(row, "weight")).sum();
        assert!((weights - 1.0).abs() < 1e-12);
        let n: f64 = each.iter().map(|row| number(row, "n")).sum();
        assert!((n - 2.0 * PATIENTS as f64).abs() < 1e-12);
        let report = file(&found, "report.txt");
        assert!(report.contains("\nCentres\n") && report.contains("hardly anything"), "{report}");
        assert!(
            found.files.contains_key("centres.svg")
                && file(&found, "captions.md").contains("## centres.svg")
        );
    }

    #[test]
    fn a_centre_without_events_keeps_its_row_with_the_reason() {
        let asked = request(Grain::Lesion);
        // Plans take the four in turn; those of the last had no event.
        let mut sheet = outcomes();
        for o in &mut sheet {
            let patient: usize = o.patient_id.trim_start_matches('P').parse().unwrap();
            if patient % 4 == 3 && o.event_type == "necrosis" {
                (o.event_type, o.day_event) = ("none".to_owned(), None);
            }
        }
        let cohort = cohort_of(&["Harbour", "Hillside", "Lake", "Moor"]);
        let found = describe(&cohort, &sheet, &asked).unwrap();
        let each = rows(&found, "centre");
        assert_eq!(each[3]["reason"], "all outcomes are equal");
        assert_eq!((each[3]["log_odds_ratio"].as_str(), number(&each[3], "events")), ("", 0.0));
        let together = &rows(&found, "together")[0];
        assert!((number(together, "degrees") - 2.0).abs() < 1e-12);
        let without = &rows(&found, "summary_without")[3];
        assert_eq!(without["log_odds_ratio"], together["log_odds_ratio"]);
        assert!(file(&found, "report.txt").contains("Moor: no estimate, all outcomes are equal"));
    }
}
