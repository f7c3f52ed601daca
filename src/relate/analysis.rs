//! Everything that is said of a relation, put together once, and the warnings that go with it.

use std::collections::{BTreeMap, BTreeSet};

use strum::IntoEnumIterator;

use super::Request;
use super::centres::Centres;
use super::checks::Checks;
use super::join::{Joined, Known, Stage, Subject};
use super::model::{self, Compared, Fitted, Lists, Rate};
use super::published::{Beside, for_predictor};
use super::time::{OverTime, Survival, over_time, survival};
use tidydose_statistics::Undefined;
use tidydose_statistics::difference::of_means;
use tidydose_statistics::proportion::{Clustered, NoEvents};
use tidydose_statistics::roc::Discrimination;

/// What was found.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Analysis {
    pub(super) joined: Joined,
    pub(super) stages: Vec<StageCount>,
    pub(super) lists: Lists,
    pub(super) rate: Result<Clustered, Undefined>,
    /// Where nobody had the event: how large the risk may be.
    pub(super) none: Option<NoEvents>,
    pub(super) fitted: Result<Fitted, Undefined>,
    pub(super) checks: Checks,
    pub(super) rates: Vec<Rate>,
    pub(super) compared: Result<Compared, Undefined>,
    pub(super) discrimination: Result<Discrimination, Undefined>,
    pub(super) over_time: Result<OverTime, Undefined>,
    pub(super) survival: Result<Survival, Undefined>,
    pub(super) case_mix: Vec<CaseMix>,
    /// In a study of several centres.
    pub(super) centres: Option<Centres>,
    pub(super) published: Beside,
    /// Analysed, by number of fractions; 0 where it is not known.
    pub(super) fractions: BTreeMap<i64, usize>,
}

/// One stage of the flow.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct StageCount {
    /// Absent for the start.
    pub(super) stage: Option<Stage>,
    pub(super) patients: usize,
    pub(super) subjects: usize,
    /// Who left at it, by reason.
    pub(super) left: BTreeMap<String, usize>,
    /// Of those who left, how many had died.
    pub(super) died: usize,
}

/// How a number differs between two groups.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct CaseMix {
    pub(super) what: String,
    pub(super) groups: [String; 2],
    pub(super) n: [usize; 2],
    pub(super) difference: f64,
}

impl Analysis {
    pub(super) fn of(joined: Joined, request: &Request) -> Self {
        let stages = stages(&joined.subjects);
        let rows: Vec<(&Subject, &Known)> =
            joined.subjects.iter().filter_map(|s| Some((s, s.state.as_ref().ok()?))).collect();
        // Who is left out for a short follow-up was followed that long.
        let followed: Vec<(&Subject, &Known)> = joined
            .subjects
            .iter()
            .filter_map(|s| Some((s, s.state.as_ref().ok().or(s.short.as_ref())?)))
            .collect();
        let lists = Lists::of(&rows, request);
        let mut fractions: BTreeMap<i64, usize> = BTreeMap::new();
        for (subject, _) in &rows {
            *fractions.entry(subject.fractions.unwrap_or(0)).or_insert(0) += 1;
        }
        let single = if fractions.len() == 1 { fractions.keys().next().copied() } else { None };
        Self {
            stages,
            rate: lists.rate(),
            none: lists.nobody_had_it(),
            checks: Checks::of(&lists),
            fitted: model::fitted(&lists, request.doubling),
            rates: model::rates(&lists),
            compared: model::compared(&lists),
            discrimination: model::discriminated(&lists),
            over_time: over_time(&followed),
            survival: survival(&followed),
            case_mix: case_mix(&rows, request),
            centres: Centres::of(&joined.subjects, &rows, request),
            published: for_predictor(&joined.predictor, single, &request.event),
            fractions,
            lists,
            joined,
        }
    }

    pub(super) fn n(&self) -> usize {
        self.lists.event.len()
    }

    pub(super) fn events(&self) -> usize {
        self.lists.event.iter().filter(|e| **e).count()
    }

    /// Analysed, by number of fractions.
    pub(super) fn fraction_words(&self) -> String {
        let words = |(n, count): (&i64, &usize)| match n {
            0 => format!("unknown: {count}"),
            n => format!("{n}: {count}"),
        };
        self.fractions.iter().map(words).collect::<Vec<_>>().join(", ")
    }

    /// The first predictor that is a prescribed dose of several numbers of fractions.
    pub(super) fn pooled_prescription(&self, request: &Request) -> Option<String> {
        let predictors = std::iter::once(&self.joined.predictor).chain(&self.joined.adjusters);
        let place = predictors.into_iter().position(super::predictor::Predictor::is_prescription);
        place.filter(|_| self.fractions.len() > 1).map(|p| super::checks::name(p, request))
    }

    /// What must be known beside the numbers.
    pub(super) fn warnings(&self, request: &Request) -> Vec<String> {
        let mut list = self.joined.notes.clone();
        self.about_model(request, &mut list);
        self.about_those_left_out(request, &mut list);
        self.about_groups(request, &mut list);
        list
    }

    fn about_model(&self, request: &Request, list: &mut Vec<String>) {
        list.extend(self.none.iter().map(|n| super::words::nobody_had_it(n, request)));
        if self.none.is_none() && self.events() > 0 && self.events() < self.n() {
            list.extend(self.checks.warnings(&self.lists, request));
        }
        if let Ok(fitted) = &self.fitted {
            let each = fitted.model.events_per_coefficient();
            if each < 10.0 {
                let trust = if each < 5.0 { "hardly any trust" } else { "little trust" };
                list.push(format!(
                    "few events: {each:.1} for each coefficient of the model; below ten it deserves \
                     {trust}"
                ));
            }
            list.extend(super::model_words::unbounded(self, request));
            if fitted.curve.slope.is_none() {
                list.push(
                    "too few bootstrap resamples of patients had a model: no interval from them"
                        .to_owned(),
                );
            }
        }
        let patients = self.lists.clusters.count();
        if self.lists.clusters.repeat() {
            list.push(format!(
                "{} {}s belong to {patients} patients and are not independent: use the bootstrap \
                 intervals, which resample patients; intervals by profile and p are too narrow and too small",
                self.n(),
                request.grain.word()
            ));
        }
        if patients < 20 && self.n() > 0 {
            list.push(format!("draws of only {patients} patients: such intervals are rough"));
        }
        list.extend(tried(request));
    }

    fn about_those_left_out(&self, request: &Request, list: &mut Vec<String>) {
        let left = |stage| self.stages.iter().find(|s| s.stage == Some(stage));
        if let Some(short) = left(Stage::FollowUp).filter(|s| s.died > 0) {
            list.push(format!(
                "{} of those left out for short follow-up had died: a least follow-up selects \
                 survivors; the incidence needs no such rule",
                short.died
            ));
        }
        if request.least_follow_up.is_none() && self.n() > 0 {
            list.push(
                "whoever had no event counts as without, however short the follow-up: the crude \
                 rate and the model are low for that; the incidence is not"
                    .to_owned(),
            );
        }
        if let Some(unknown) = left(Stage::Predictor) {
            let gone: usize = unknown.left.values().sum();
            if 10 * gone >= self.n() + gone && gone > 0 {
                list.push(format!(
                    "{} without a value of the predictor (see flow.csv): if they differ from the others, \
                     the result does not hold for all",
                    super::words::counted(gone, request.grain.word())
                ));
            }
        }
        if let Ok(time) = &self.over_time
            && time.without_day > 0
        {
            list.push(format!(
                "{} of those analysed without a day, so not in the incidence",
                time.without_day
            ));
        }
        if self.joined.scales.len() > 1 {
            let scales: Vec<&str> = self.joined.scales.iter().map(String::as_str).collect();
            list.push(format!("grades of several scales together: {}", scales.join(", ")));
        }
    }

    fn about_groups(&self, request: &Request, list: &mut Vec<String>) {
        if self.fractions.len() > 1 {
            list.push(format!(
                "several numbers of fractions are pooled in gray ({}); ask for one with --fractions",
                self.fraction_words()
            ));
        }
        for mix in self.case_mix.iter().filter(|m| m.difference.abs() > NOTABLE) {
            let [a, b] = &mix.groups;
            list.push(format!(
                "case mix: {} differs between {a} ({}) and {b} ({}) by {:.2} standard deviations; a \
                 comparison of groups of {} would compare that too",
                mix.what, mix.n[0], mix.n[1], mix.difference, request.group
            ));
        }
    }
}

/// What was tried in this study; one analysis needs no words.
fn tried(request: &Request) -> Option<String> {
    let all: BTreeSet<&super::Tried> = request.tried.iter().collect();
    let own: Vec<&str> =
        all.iter().filter(|t| t.event == request.event).map(|t| t.what.as_str()).collect();
    (all.len() > 1).then(|| {
        format!(
            "{} analyses were tried in this study (tried.csv), {} of them of {}: {}; the smallest p of \
             several is no p, and which one won is chance in part: name one beforehand and show the \
             others",
            all.len(),
            own.len(),
            request.event,
            own.join("; ")
        )
    })
}

/// Standardised differences above this are put into words; a quarter of a deviation. With few
/// observations smaller ones come about by chance.
const NOTABLE: f64 = 0.25;
/// Groups smaller than this are not compared.
const LEAST: usize = 5;

fn stages(subjects: &[Subject]) -> Vec<StageCount> {
    let count = |left: &dyn Fn(&Subject) -> bool| {
        let kept: Vec<&Subject> = subjects.iter().filter(|s| left(s)).collect();
        let patients: BTreeSet<&str> = kept.iter().map(|s| s.patient_id.as_str()).collect();
        (patients.len(), kept.len())
    };
    let (patients, all) = count(&|_| true);
    let start = StageCount { stage: None, patients, subjects: all, left: BTreeMap::new(), died: 0 };
    let one = |stage: Stage| {
        let passed = |s: &Subject| s.state.as_ref().err().is_none_or(|(at, _)| *at > stage);
        let (patients, subjects_left) = count(&passed);
        let mut left: BTreeMap<String, usize> = BTreeMap::new();
        let mut died = 0;
        for s in subjects {
            if let Err((at, reason)) = &s.state
                && *at == stage
            {
                *left.entry(reason.clone()).or_insert(0) += 1;
                died += usize::from(s.died);
            }
        }
        StageCount { stage: Some(stage), patients, subjects: subjects_left, left, died }
    };
    std::iter::once(start).chain(Stage::iter().map(one)).collect()
}

fn case_mix(rows: &[(&Subject, &Known)], request: &Request) -> Vec<CaseMix> {
    let column = |number: &dyn Fn(&Known) -> Option<f64>| -> Vec<Option<f64>> {
        rows.iter().map(|(_, k)| number(k)).collect()
    };
    let mut numbers = vec![("the predictor".to_owned(), column(&|k| Some(k.predictor)))];
    for (place, name) in request.adjust.iter().enumerate() {
        numbers.push((name.clone(), column(&|k| k.adjusters.get(place).copied())));
    }
    numbers.push(("follow-up".to_owned(), column(&|k| k.life.map(|(days, _)| days))));
    let names: BTreeSet<&str> = rows.iter().map(|(s, _)| s.group.as_str()).collect();
    let names: Vec<&str> = names.into_iter().collect();
    let mut out = Vec::new();
    for (what, values) in &numbers {
        for (i, a) in names.iter().enumerate() {
            for b in names.iter().skip(i + 1) {
                let of = |name: &str| -> Vec<f64> {
                    let own = rows.iter().zip(values).filter(|((s, _), _)| s.group == name);
                    own.filter_map(|(_, value)| *value).collect()
                };
                let (x, y) = (of(a), of(b));
                let Ok(difference) = of_means(&x, &y) else { continue };
                if x.len().min(y.len()) >= LEAST {
                    let groups = [(*a).to_owned(), (*b).to_owned()];
                    out.push(CaseMix {
                        what: what.clone(),
                        groups,
                        n: [x.len(), y.len()],
                        difference,
                    });
                }
            }
        }
    }
    out
}
