//! The logistic model and what checks it, beside other libraries: forty sets, many of them ugly.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use serde_json::json;
use tidydose_statistics::bootstrap::Clusters;
use tidydose_statistics::logistic::{
    Data, Model, Separation, inflation, influence, linearity, performance, separation,
};

use super::statistics::Tasks;
use crate::statistics::data::{Numbers, cohort};

/// Outcomes with their predictors, the first and those it is adjusted for.
struct Set {
    event: Vec<bool>,
    columns: Vec<Vec<f64>>,
    patient: Vec<usize>,
}

impl Set {
    fn data(&self) -> Data<'_> {
        Data { event: &self.event, predictor: &self.columns[0], adjusters: &self.columns[1..] }
    }
}

/// A cohort with so many adjusters.
fn plain(seed: u64, n: usize, truth: [f64; 3], adjusters: usize) -> Set {
    let c = cohort(seed, n, 1, truth);
    let mut numbers = Numbers::new(seed + 7000);
    let mut columns = vec![c.predictor.clone()];
    if adjusters > 0 {
        columns.push(c.adjuster.clone());
    }
    for k in 1..adjusters {
        // Numbers, then levels of two.
        let level = |r: &mut Numbers| f64::from(u8::from(r.uniform() < 0.4));
        let number = |r: &mut Numbers| 60.0 + 10.0 * r.normal();
        columns.push(if k % 2 == 0 { numbers.list(n, level) } else { numbers.list(n, number) });
    }
    Set { event: c.event, columns, patient: (0..n).collect() }
}

fn changed(mut set: Set, change: impl FnOnce(&mut Set)) -> Set {
    change(&mut set);
    set
}

fn scaled(set: Set, factor: f64, origin: f64) -> Set {
    changed(set, |s| s.columns[0].iter_mut().for_each(|v| *v = origin + factor * *v))
}

/// Forty sets: few and many events, several adjusters, ties, levels with an empty cell, separation by
/// one predictor and by two, one event, all but one, huge and tiny units, a far origin, an outlier,
/// predictors that nearly say the same, five patients, lesions in patients.
fn sets() -> Vec<Set> {
    let mut sets = Vec::new();
    for (k, adjusters) in [0, 1, 2, 3, 4, 6].into_iter().enumerate() {
        sets.push(plain(200 + k as u64, 150, [-3.0, 0.3, 0.0], adjusters));
        sets.push(plain(220 + k as u64, 60, [-2.0, 0.2, 0.0], adjusters.min(3)));
    }
    // Ties, coarser and coarser.
    for step in [0.5, 2.0, 5.0, 12.0] {
        let round = |s: &mut Set| {
            s.columns[0].iter_mut().for_each(|v| *v = (*v / step).round() * step);
        };
        sets.push(changed(plain(240 + step as u64, 70, [-2.0, 0.3, 0.0], 1), round));
    }
    // Few events, one event, all but one.
    for (seed, n, few) in [(250, 40, 3), (251, 90, 2), (252, 30, 1), (253, 30, 29), (254, 12, 11)] {
        let set = plain(seed, n, [-2.0, 0.2, 0.0], usize::from(seed % 2 == 0));
        sets.push(changed(set, |s| s.event = (0..n).map(|i| i * 7 % n < few).collect()));
    }
    // Units.
    for (factor, origin) in [(1e9, 0.0), (1e-9, 0.0), (1.0, 1e6), (1e-3, 5.0), (1e12, 1e12)] {
        sets.push(scaled(plain(260, 80, [-2.0, 0.25, 0.0], 1), factor, origin));
    }
    // Levels, one cell empty.
    for (ones, seed) in [(20, 270), (5, 271)] {
        let level = |s: &mut Set| {
            s.columns[0] = (0..50).map(|i| f64::from(u8::from(i < ones))).collect();
            (ones..50).for_each(|i| s.event[i] = false);
            s.event[0] = true;
        };
        sets.push(changed(plain(seed, 50, [-1.0, 0.0, 0.0], 0), level));
    }
    // Separated by the predictor, by an adjuster, by two together.
    let parted = |n: usize, from: usize| (0..n).map(move |i| i >= from).collect::<Vec<_>>();
    let rising = |n: usize| (0..n).map(|i| 1.0 + 0.5 * i as f64).collect::<Vec<_>>();
    sets.push(changed(plain(280, 24, [0.0; 3], 0), |s| {
        (s.event, s.columns[0]) = (parted(24, 19), rising(24));
    }));
    sets.push(changed(plain(281, 24, [0.0; 3], 1), |s| {
        (s.event, s.columns[0]) = (parted(24, 19), rising(24));
    }));
    sets.push(changed(plain(282, 30, [0.0; 3], 1), |s| {
        (s.event, s.columns[1]) = (parted(30, 20), rising(30));
    }));
    for seed in 283..286 {
        sets.push(changed(plain(seed, 40, [0.0; 3], 1), |s| {
            s.columns[0] = (0..40).map(|i| f64::from(i * 17 % 40)).collect();
            s.columns[1] = (0..40).map(|i| f64::from(i * 29 % 40)).collect();
            let sum = |i: usize| s.columns[0][i] + s.columns[1][i];
            s.event = (0..40).map(|i| sum(i) > 30.5 + (seed - 283) as f64 * 9.0).collect();
        }));
    }
    // An outlier, near neighbours, five patients, lesions in patients.
    sets.push(changed(plain(290, 31, [-1.0, 0.0, 0.0], 0), |s| {
        (s.columns[0][30], s.event[30]) = (1000.0, true);
    }));
    sets.push(changed(plain(291, 100, [-2.0, 0.3, 0.0], 1), |s| {
        let mut numbers = Numbers::new(5);
        s.columns[1] = s.columns[0].iter().map(|v| v + 0.05 * numbers.normal()).collect();
    }));
    for x in [[48.0, 6.5, 0.87, 1.25, 2.97], [0.51, 1.59, 10.3, 0.70, 0.82]] {
        let event = vec![true, false, true, false, true];
        sets.push(Set { event, columns: vec![x.to_vec()], patient: (0..5).collect() });
    }
    let c = cohort(295, 25, 4, [-1.5, 0.2, 1.5]);
    sets.push(Set { event: c.event, columns: vec![c.predictor, c.adjuster], patient: c.patient });
    assert!(sets.len() >= 36, "{}", sets.len());
    sets
}

#[test]
fn the_logistic_model_is_firths_by_a_package_and_by_its_definition() {
    let mut tasks = Tasks::default();
    for set in sets() {
        let data = set.data();
        let m = Model::fit(&data, 0.95).unwrap();
        let p = performance(&m, &data, &Clusters::single(set.event.len())).unwrap();
        let factors = inflation(&data).unwrap();
        let mut found = vec![
            ("intercept".to_owned(), m.intercept, 1e-6),
            ("intercept_error".to_owned(), m.intercept_error, 1e-6),
            ("risk_intercept".to_owned(), m.risk_intercept, 1e-5),
            ("area".to_owned(), p.area, 1e-9),
        ];
        found.extend(p.slope.map(|s| ("calibration".to_owned(), s, 1e-5)));
        for (k, c) in std::iter::once(&m.slope).chain(&m.adjustments).enumerate() {
            let values = [
                ("slope", c.estimate, 1e-6),
                ("again", c.estimate, 1e-5),
                ("error", c.error, 1e-6),
                ("low", c.interval.low, 1e-5),
                ("high", c.interval.high, 1e-5),
                ("ratio", c.ratio, 1e-5),
                ("p", c.p, 1e-4),
                ("inflation", factors[k], 1e-6),
            ];
            found.extend(values.map(|(name, v, t)| (format!("{name}{k}"), v, t)));
        }
        let rows: Vec<(&str, f64, f64)> = found.iter().map(|(k, v, t)| (&**k, *v, *t)).collect();
        tasks.add(
            "firth",
            json!({"event": set.event, "columns": set.columns, "calibrated": p.slope.is_some()}),
            &rows,
        );
    }
    tasks.hold();
}

#[test]
fn models_without_one_patient_are_those_of_the_definition() {
    let mut tasks = Tasks::default();
    // A model for each patient: of larger sets that takes the reference minutes.
    let small = sets().into_iter().filter(|set| set.event.len() <= 60);
    let more = (0..12_u64).map(|k| {
        let n = 20 + 3 * (k as usize % 5);
        let set = plain(310 + k, n, [-1.0, 0.15, 0.0], k as usize % 3);
        // Every third has lesions in patients.
        changed(set, |s| s.patient = (0..n).map(|i| if k % 3 == 0 { i / 2 } else { i }).collect())
    });
    for set in small.chain(more) {
        let clusters = Clusters::new(set.patient.iter().copied());
        let Ok(found) = influence(&set.data(), &clusters) else {
            panic!("no influence of {} patients", clusters.count());
        };
        let events = set.event.iter().filter(|e| **e).count();
        let alone = events == 1 || events + 1 == set.event.len();
        assert_eq!(!found.needed.is_empty(), alone, "{found:?}");
        let name = found.largest.patient.to_string();
        tasks.add(
            "without",
            json!({"event": set.event, "columns": set.columns, "patient": set.patient}),
            &[
                ("lowest", found.lowest.slope, 1e-5),
                ("highest", found.highest.slope, 1e-5),
                (&name, found.largest.slope, 1e-5),
            ],
        );
    }
    assert!(tasks.count() >= 30, "{}", tasks.count());
    tasks.hold();
}

#[test]
fn lines_are_held_against_splines_as_their_definition_says() {
    let mut tasks = Tasks::default();
    for set in sets() {
        let Ok(found) = linearity(&set.data()) else { continue };
        let places =
            if found.knots.len() == 4 { vec![0.05, 0.35, 0.65, 0.95] } else { vec![0.1, 0.5, 0.9] };
        tasks.add(
            "spline",
            json!({"event": set.event, "columns": set.columns, "places": places}),
            &[("ratio", found.ratio, 1e-4), ("p", found.p, 1e-3)],
        );
    }
    assert!(tasks.count() >= 30, "{}", tasks.count());
    tasks.hold();
}

#[test]
fn separation_is_that_of_a_linear_programme_of_scipy() {
    let mut tasks = Tasks::default();
    let mut parted = 0;
    for set in sets() {
        let found = separation(&set.data()).unwrap();
        assert_ne!(found, Separation::NotFound);
        let parts = f64::from(u8::from(found != Separation::No));
        parted += usize::from(found != Separation::No);
        tasks.add(
            "separated",
            json!({"event": set.event, "columns": set.columns}),
            &[("parts", parts, 0.0)],
        );
    }
    assert!(parted >= 8, "{parted}");
    tasks.hold();
}

/// What no library can fit is refused in words.
#[test]
fn constant_and_equal_predictors_are_refused() {
    let set = plain(300, 40, [-1.0, 0.1, 0.0], 1);
    let constant = vec![vec![3.0; 40]];
    let said = |data: Data<'_>| Model::fit(&data, 0.95).unwrap_err().to_string();
    let data = Data { adjusters: &constant, ..set.data() };
    assert_eq!(said(data), "all values of an adjuster are equal");
    let twice = vec![set.columns[0].iter().map(|v| 1e6 - 1000.0 * v).collect::<Vec<f64>>()];
    assert!(said(Data { adjusters: &twice, ..set.data() }).contains("say the same"));
}
