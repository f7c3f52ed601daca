//! Each estimate beside that of another library.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use serde_json::{Value, json};
use tidydose_statistics::bootstrap::Clusters;
use tidydose_statistics::roc::roc;
use tidydose_statistics::summary_of_centres::{Estimate, random_effects};
use tidydose_statistics::survival::{End, Times, kaplan_meier, log_rank};
use tidydose_statistics::{
    agreement, contingency, correlation, describe, difference, incidence, outlying, proportion,
    rank,
};

use super::reference::statistics;
use crate::statistics::data::{Numbers, cohort, follow_up};

/// Rounded, so that ties come about.
fn rounded(values: &[f64], step: f64) -> Vec<f64> {
    values.iter().map(|v| (v / step).round() * step).collect()
}

/// A task for the reference, and what the program found: key, value, largest difference relative to
/// the larger of the value and 0.001.
struct Task {
    name: String,
    kind: &'static str,
    data: Value,
    found: Vec<(String, f64, f64)>,
}

#[derive(Default)]
pub(super) struct Tasks(Vec<Task>);

impl Tasks {
    pub(super) fn add(&mut self, kind: &'static str, data: Value, found: &[(&str, f64, f64)]) {
        let found = found.iter().map(|(k, v, t)| ((*k).to_owned(), *v, *t)).collect();
        self.0.push(Task { name: format!("{kind} {}", self.0.len()), kind, data, found });
    }

    /// How many there are.
    pub(super) fn count(&self) -> usize {
        self.0.len()
    }

    /// Asks the reference and compares everything. The answers, by name.
    pub(super) fn hold(self) -> Vec<Value> {
        let asked: Vec<Value> = self
            .0
            .iter()
            .map(|t| json!({"name": t.name, "kind": t.kind, "data": t.data}))
            .collect();
        let answers = statistics(&Value::Array(asked));
        let mut wrong = Vec::new();
        for task in &self.0 {
            for (key, found, tolerance) in &task.found {
                let wanted = number(&answers[&task.name][key]);
                let equal = *found == wanted || (found.is_nan() && wanted.is_nan());
                let near = (found - wanted).abs() <= tolerance * wanted.abs().max(1e-3);
                if !(equal || near) {
                    wrong.push(format!("{} {key}: {found}, the reference has {wanted}", task.name));
                }
            }
        }
        assert!(wrong.is_empty(), "{wrong:#?}");
        self.0.iter().map(|t| answers[&t.name].clone()).collect()
    }
}

fn number(value: &Value) -> f64 {
    match value {
        Value::String(word) => word.parse().unwrap(),
        other => other.as_f64().unwrap_or_else(|| panic!("{other} is no number")),
    }
}

fn list(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

const TIGHT: f64 = 1e-9;

/// Centres that agree, that differ a little and much; from two on.
#[test]
fn centres_are_put_together_as_by_statsmodels() {
    let mut tasks = Tasks::default();
    for set in 0..40_usize {
        let mut numbers = Numbers::new(911 + set as u64);
        let between = [0.0, 0.3, 2.0][set % 3];
        let centres = 2 + set % 9;
        let error = numbers.list(centres, |n| 0.1 + 0.9 * n.uniform());
        let effect: Vec<f64> =
            error.iter().map(|e| 0.4 + between * numbers.normal() + e * numbers.normal()).collect();
        let pairs = effect.iter().zip(&error);
        let estimates: Vec<Estimate> =
            pairs.map(|(effect, error)| Estimate { effect: *effect, error: *error }).collect();
        let found = random_effects(&estimates, 0.95).unwrap();
        let mut held = vec![
            ("effect", found.effect, TIGHT),
            ("error", found.error, TIGHT),
            ("tau_2", found.tau_2, TIGHT),
            ("q", found.q, TIGHT),
            ("p", found.p, TIGHT),
            ("i_2", found.i_2, TIGHT),
            ("high", found.interval.high, TIGHT),
        ];
        held.extend(found.next_centre.map(|next| ("next", next.high, TIGHT)));
        tasks.add("centres", json!({"effect": effect, "error": error}), &held);
    }
    assert_eq!(tasks.count(), 40);
    tasks.hold();
}

#[test]
fn proportions_are_those_of_statsmodels() {
    let mut tasks = Tasks::default();
    for (events, n) in [
        (0, 5),
        (5, 5),
        (1, 30),
        (9, 391),
        (81, 263),
        (150, 300),
        (1, 1),
        (0, 1),
        (0, 30),
        (0, 100_000),
        (1, 100_000),
        (99_999, 100_000),
        (2, 3),
        (29, 30),
        (500, 1000),
    ] {
        for level in [0.95, 0.68] {
            let exact = proportion::clopper_pearson(events, n, level).unwrap();
            let wilson = proportion::wilson(events, n, level).unwrap();
            tasks.add(
                "proportion",
                json!({"events": events, "n": n, "level": level}),
                &[
                    ("low", exact.low, TIGHT),
                    ("high", exact.high, TIGHT),
                    ("wilson_low", wilson.low, TIGHT),
                    ("wilson_high", wilson.high, TIGHT),
                ],
            );
        }
    }
    for seed in 0..30 {
        let c = cohort(1 + seed, 40, 2 + (seed as usize % 5), [-2.0, 0.2, 1.5]);
        let mut patients = vec![(0, 0); 40];
        for (event, patient) in c.event.iter().zip(&c.patient) {
            patients[*patient].0 += usize::from(*event);
            patients[*patient].1 += 1;
        }
        let found = proportion::clustered(&patients, 0.95).unwrap();
        tasks.add(
            "clustered",
            json!({"event": c.event.iter().map(|e| u8::from(*e)).collect::<Vec<_>>(),
                   "patient": c.patient}),
            &[
                ("effective", found.effective_n, TIGHT),
                ("low", found.interval.low, TIGHT),
                ("high", found.interval.high, TIGHT),
            ],
        );
    }
    tasks.hold();
}

#[test]
fn comparisons_by_ranks_are_those_of_scipy() {
    let mut tasks = Tasks::default();
    // Small groups, unequal ones, ties finer and coarser, groups above the size of exact counts.
    for set in 0..36_usize {
        let (m, n) = [(5, 6), (9, 30), (20, 25), (60, 45), (55, 70), (12, 10)][set % 6];
        // With ties a step of p is as large as 1 % of it only where groups are not tiny.
        let step = if m < 10 { 0.0 } else { [0.0, 0.5, 0.25, 1.0][(set + set / 6) % 4] };
        let mut numbers = Numbers::new(1 + set as u64);
        let tied = |v: Vec<f64>| if step > 0.0 { rounded(&v, step) } else { v };
        let a = tied(numbers.list(m, |r| 0.4 + r.normal()));
        let b = tied(numbers.list(n, Numbers::normal));
        let found = rank::rank_sum(&a, &b, 0.95).unwrap();
        assert_eq!(found.exact, step == 0.0 && m < 50 && n < 50);
        tasks.add(
            "rank_sum",
            json!({"a": a, "b": b, "low": found.interval.low, "high": found.interval.high}),
            &[("u", found.u, 0.0), ("p", found.p, TIGHT), ("shift", found.shift, TIGHT)],
        );
    }
    for answer in tasks.hold() {
        let p = |key: &str| number(&answer[key]);
        // With ties the place of an end is rounded: p there is near to 5 %, not on its side of it.
        let (inside, outside) = (
            p("p_inside_low").min(p("p_inside_high")),
            p("p_outside_low").max(p("p_outside_high")),
        );
        assert!(inside > 0.04 && outside < inside + 1e-12, "{answer}");
        assert!(outside < 0.06 || p("p_outside_low") == 0.1, "{answer}");
    }
}

#[test]
fn other_tests_are_those_of_scipy() {
    let mut tasks = Tasks::default();
    for set in 0..30_u64 {
        let step = [0.0, 0.5, 2.0][(set % 3) as usize];
        let mut numbers = Numbers::new(11 + set);
        let tied = |v: Vec<f64>| if step > 0.0 { rounded(&v, step) } else { v };
        let sizes = [vec![8, 15, 4], vec![2, 3, 2, 9], vec![30, 3, 11]];
        let groups: Vec<Vec<f64>> = sizes[(set / 3 % 3) as usize]
            .iter()
            .map(|n| tied(numbers.list(*n, |r| 2.0 * r.normal())))
            .collect();
        let found = rank::kruskal_wallis(&groups).unwrap();
        tasks.add(
            "kruskal",
            json!({"groups": groups}),
            &[("h", found.h, TIGHT), ("p", found.p, TIGHT)],
        );
        let x = tied(numbers.list(30, Numbers::normal));
        let y: Vec<f64> = tied(x.iter().map(|x| 0.5 * x + numbers.normal()).collect());
        let s = correlation::spearman(&x, &y, 0.95).unwrap();
        tasks.add(
            "spearman",
            json!({"x": x, "y": y}),
            &[
                ("rho", s.rho, TIGHT),
                ("p", s.p, TIGHT),
                ("low", s.interval.low, TIGHT),
                ("high", s.interval.high, TIGHT),
            ],
        );
        let d = describe::summary(&x).unwrap();
        tasks.add(
            "describe",
            json!({"values": x}),
            &[
                ("mean", d.mean, TIGHT),
                ("sd", d.deviation, TIGHT),
                ("low", d.lower, TIGHT),
                ("median", d.median, TIGHT),
                ("high", d.upper, TIGHT),
            ],
        );
        let means = difference::of_means(&x, &y).unwrap();
        tasks.add("difference", json!({"a": x, "b": y}), &[("d", means, TIGHT)]);
    }
    tasks.hold();
}

#[test]
fn scores_of_what_stands_out_are_those_of_scipy() {
    let mut tasks = Tasks::default();
    for set in 0..30_usize {
        let (n, step) = [(12, 0.0), (41, 0.0), (60, 0.5)][set % 3];
        let mut numbers = Numbers::new(21 + set as u64);
        let tied = |v: Vec<f64>| if step > 0.0 { rounded(&v, step) } else { v };
        let x = tied(numbers.list(n, |r| 3.0 * r.normal()));
        let mut y: Vec<f64> = x.iter().map(|x| 1.0 - 0.7 * x + 0.3 * numbers.normal()).collect();
        y[n / 3] += 4.0;
        let found = outlying::scores(&x, &y).unwrap();
        let keys: Vec<String> = (0..n).map(|i| i.to_string()).collect();
        let rows: Vec<(&str, f64, f64)> =
            keys.iter().zip(&found).map(|(k, v)| (k.as_str(), *v, TIGHT)).collect();
        tasks.add("outlying", json!({"x": x, "y": y}), &rows);
        assert!(found[n / 3] > outlying::STANDS_OUT);
    }
    tasks.hold();
}

#[test]
fn counts_in_tables_are_those_of_scipy() {
    let mut tasks = Tasks::default();
    let mut numbers = Numbers::new(71);
    let mut up_to = |most: f64| (most * numbers.uniform()) as u64;
    let mut shares = vec![
        vec![(3, 9), (10, 2)],
        vec![(4, 10), (0, 6), (9, 9), (0, 0)],
        vec![(40, 38), (3, 5), (7, 12)],
    ];
    for set in 0..30 {
        let levels = 2 + set % 4;
        shares
            .push((0..levels).map(|_| (1 + up_to(30.0) as usize, up_to(20.0) as usize)).collect());
    }
    for counts in shares {
        let found = difference::of_shares(&counts).unwrap();
        tasks.add("shares", json!({"counts": counts}), &[("d", found, 1e-8)]);
    }
    let mut tables = vec![
        [3, 1, 1, 3],
        [0, 12, 5, 9],
        [7, 0, 4, 40],
        [2, 98, 11, 189],
        [10, 10, 10, 10],
        [0, 5, 0, 7],
    ];
    tables.extend((0..30).map(|_| [up_to(9.0), 1 + up_to(40.0), 1 + up_to(15.0), up_to(40.0)]));
    for [a, b, c, d] in tables {
        let table = [[a, b], [c, d]];
        let Ok(found) = contingency::fisher(table, 0.95) else {
            assert_eq!(a + c, 0, "only a column without counts has no answer");
            continue;
        };
        tasks.add(
            "fisher",
            json!({"table": table}),
            &[
                ("p", found.p, TIGHT),
                ("odds", found.odds_ratio, 1e-8),
                ("low", found.interval.low, 1e-7),
                ("high", found.interval.high, 1e-7),
            ],
        );
    }
    let mut several = vec![vec![(2, 8), (0, 9), (5, 4)], vec![(1, 5), (1, 5), (0, 7), (4, 2)]];
    several.extend((0..30).map(|set| {
        (0..3 + set % 2).map(|_| (up_to(5.0), 1 + up_to(9.0))).chain([(1, 2)]).collect()
    }));
    for rows in several {
        let found = contingency::fisher_rows(&rows).unwrap();
        tasks.add("fisher_rows", json!({"rows": rows}), &[("p", found, TIGHT)]);
    }
    tasks.hold();
}

fn ends(codes: &[u8]) -> Vec<End> {
    let end = |c: &u8| [End::Censored, End::Event, End::Competing][usize::from(*c)];
    codes.iter().map(end).collect()
}

#[test]
fn survival_and_incidence_are_those_of_scikit_survival_and_statsmodels() {
    let mut tasks = Tasks::default();
    let mut curves = Vec::new();
    // Ties of events with censoring and with death; one group so small that all are gone at the end.
    for set in 0..30_usize {
        let (n, step) = [(120, 30.0), (40, 1.0), (15, 90.0)][set % 3];
        let (mut time, mut end) = follow_up(31 + set as u64, n, step);
        if set >= 3 {
            // Where all who are left have the event at once, the library divides by 0 and has no band at
            // all: somebody is left.
            time.push(time.iter().copied().fold(0.0, f64::max) + step);
            end.push(0);
        }
        let times = Times::new(&time, &ends(&end)).unwrap();
        let survival = kaplan_meier(&times, 0.95).unwrap();
        let events: Vec<_> = survival.steps.iter().filter(|s| s.events > 0.0).collect();
        let middle = events.len() / 2;
        let last = survival.steps.last().unwrap().survival;
        tasks.add(
            "survival",
            json!({"time": time, "end": end, "step": middle}),
            &[
                ("last", last, TIGHT),
                ("error", events[middle].error, TIGHT),
                ("error_at", events[middle].time, 0.0),
                ("median", survival.median().unwrap_or(f64::NAN), 0.0),
            ],
        );
        let incidence = incidence::aalen_johansen(&times, 0.95).unwrap();
        tasks.add("incidence", json!({"time": time, "end": end}), &[]);
        curves.push((survival, incidence));
    }
    let answers = tasks.hold();
    for (pair, (survival, incidence)) in answers.chunks(2).zip(&curves) {
        let shares: Vec<f64> = survival.steps.iter().map(|s| s.survival).collect();
        same(&shares, &list(&pair[0]["share"]));
        let low: Vec<f64> = survival.steps.iter().filter_map(|s| Some(s.interval?.low)).collect();
        same_where_inside(&low, &list(&pair[0]["low"]), &shares);
        let event: Vec<f64> = incidence.steps.iter().map(|s| s.event).collect();
        same(&event, &list(&pair[1]["event"]));
        let competing: Vec<f64> = incidence.steps.iter().map(|s| s.competing).collect();
        same(&competing, &list(&pair[1]["competing"]));
        for (key, of) in [("low", 0), ("high", 1)] {
            let ends: Vec<f64> = incidence
                .steps
                .iter()
                .filter_map(|s| s.interval.map(|i| if of == 0 { i.low } else { i.high }))
                .collect();
            same_where_inside(&ends, &list(&pair[1][key]), &event);
        }
    }
}

fn same(found: &[f64], wanted: &[f64]) {
    assert_eq!(found.len(), wanted.len());
    for (a, b) in found.iter().zip(wanted) {
        assert!((a - b).abs() < 1e-12, "{a} {b}");
    }
}

/// Bands only where the share is neither 0 nor 1: elsewhere the program has none.
fn same_where_inside(found: &[f64], wanted: &[f64], shares: &[f64]) {
    let inside = shares.iter().map(|s| *s > 0.0 && *s < 1.0);
    let wanted: Vec<f64> = wanted.iter().zip(inside).filter(|(_, i)| *i).map(|(w, _)| *w).collect();
    assert!(found.len() > 2);
    assert_eq!(found.len(), wanted.len());
    for (a, b) in found.iter().zip(wanted) {
        assert!((a - b).abs() < 1e-9, "{a} {b}");
    }
}

#[test]
fn groups_over_time_are_compared_as_by_statsmodels() {
    let mut tasks = Tasks::default();
    for set in 0..30_u64 {
        let groups = 2 + (set % 3) as usize;
        // Days, months and quarters: more and more ties.
        let (time, end) = follow_up(41 + set, 80, [1.0, 20.0, 90.0][(set % 3) as usize]);
        let group: Vec<usize> = (0..80).map(|i| i * 7 % groups).collect();
        let of = |g: usize| {
            let rows = (0..80).filter(|i| group[*i] == g);
            let (t, e): (Vec<f64>, Vec<u8>) = rows.map(|i| (time[i], end[i])).unzip();
            Times::new(&t, &ends(&e)).unwrap().event_only()
        };
        let found = log_rank(&(0..groups).map(of).collect::<Vec<_>>()).unwrap();
        let event: Vec<u8> = end.iter().map(|e| u8::from(*e == 1)).collect();
        tasks.add(
            "log_rank",
            json!({"time": time, "event": event, "group": group}),
            &[("chi", found.chi_squared, TIGHT), ("p", found.p, TIGHT)],
        );
    }
    tasks.hold();
}

#[test]
fn areas_and_cuts_are_those_of_scikit_learn() {
    let mut tasks = Tasks::default();
    for set in 0..30_u64 {
        let (seed, step) = (51 + set, [0.0, 1.0, 4.0][(set % 3) as usize]);
        let mut c = cohort(seed, 80, 1, [-2.0, 0.25, 0.0]);
        if set == 29 {
            // One event only.
            c.event = (0..80).map(|i| i == 17).collect();
        }
        let score = if step > 0.0 { rounded(&c.predictor, step) } else { c.predictor.clone() };
        let found = roc(&score, &c.event, None).unwrap();
        let best = found.best();
        tasks.add(
            "roc",
            json!({"score": score, "event": c.event.iter().map(|e| u8::from(*e)).collect::<Vec<_>>()}),
            &[("area", found.area, TIGHT), ("cut", best.score, TIGHT), ("youden", best.youden(), TIGHT)],
        );
    }
    tasks.hold();
}

#[test]
fn patients_are_told_from_lesions() {
    let c = cohort(61, 12, 3, [-1.0, 0.1, 1.0]);
    let clusters = Clusters::new(&c.patient);
    assert_eq!((clusters.count(), clusters.observations()), (12, 36));
}

/// Plain differences, and patients with one to four values each, more and less alike.
#[test]
fn agreement_is_that_of_analysis_of_variance() {
    let mut tasks = Tasks::default();
    for seed in 1..=15 {
        let mut numbers = Numbers::new(seed);
        let mut draw = |size: f64| size * (numbers.uniform() + numbers.uniform() - 1.0);
        let single: Vec<f64> = (0..20).map(|_| 0.3 + draw(2.0)).collect();
        let (mut many, mut patient) = (Vec::new(), Vec::new());
        for p in 0..12_usize {
            let own = draw(if seed % 2 == 0 { 3.0 } else { 0.1 });
            for _ in 0..=(p % 4) {
                many.push(0.5 + own + draw(1.0));
                patient.push(p);
            }
        }
        let alone: Vec<usize> = (0..single.len()).collect();
        for (difference, patient) in [(single, alone), (many, patient)] {
            let clusters = Clusters::new(patient.iter().copied());
            let found = agreement::agreement(&difference, &clusters, 0.95).unwrap();
            let mut keys = vec![
                ("mean", found.mean, TIGHT),
                ("sd", found.deviation, TIGHT),
                ("lower", found.limits.low, TIGHT),
                ("upper", found.limits.high, TIGHT),
            ];
            if !found.drawn {
                let ends = [found.mean_interval, found.lower_interval, found.upper_interval];
                let [mean, lower, upper] = ends.map(Option::unwrap);
                keys.extend([
                    ("mean_low", mean.low, TIGHT),
                    ("mean_high", mean.high, TIGHT),
                    ("lower_low", lower.low, TIGHT),
                    ("lower_high", lower.high, TIGHT),
                    ("upper_low", upper.low, TIGHT),
                    ("upper_high", upper.high, TIGHT),
                ]);
            }
            tasks.add("agreement", json!({"difference": difference, "patient": patient}), &keys);
        }
    }
    tasks.hold();
}
