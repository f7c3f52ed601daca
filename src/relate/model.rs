//! The dose-response model and the rates beside it, of those who are analysed.

use super::Request;
use super::join::{Known, Subject};
use tidydose_statistics::bootstrap::Clusters;
use tidydose_statistics::describe::{Summary, quantile, summary};
use tidydose_statistics::logistic::{
    Band, Curve, Data, Model, Performance, Reached, curve, performance,
};
use tidydose_statistics::proportion::{Clustered, NoEvents, clustered, without_events};
use tidydose_statistics::rank::{RankSum, rank_sum};
use tidydose_statistics::roc::{Discrimination, discrimination};
use tidydose_statistics::{CONFIDENCE, Undefined};

/// Those who are analysed, as lists.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Lists {
    pub(super) event: Vec<bool>,
    /// As in the tables.
    pub(super) dose: Vec<f64>,
    /// As in the model: the dose or its binary logarithm.
    pub(super) predictor: Vec<f64>,
    /// One list for each adjuster.
    pub(super) adjusters: Vec<Vec<f64>>,
    pub(super) patient: Vec<String>,
    pub(super) clusters: Clusters,
}

impl Lists {
    pub(super) fn of(rows: &[(&Subject, &Known)], request: &Request) -> Self {
        let dose: Vec<f64> = rows.iter().map(|(_, k)| k.predictor).collect();
        let scaled = |d: &f64| if request.doubling { d.log2() } else { *d };
        let patient: Vec<String> = rows.iter().map(|(s, _)| s.patient_id.clone()).collect();
        Self {
            event: rows.iter().map(|(_, k)| k.event).collect(),
            predictor: dose.iter().map(scaled).collect(),
            adjusters: (0..request.adjust.len())
                .map(|a| rows.iter().filter_map(|(_, k)| k.adjusters.get(a)).copied().collect())
                .collect(),
            clusters: Clusters::new(patient.iter()),
            dose,
            patient,
        }
    }

    pub(super) fn data(&self) -> Data<'_> {
        Data { event: &self.event, predictor: &self.predictor, adjusters: &self.adjusters }
    }

    /// The name of a patient by the place among the clusters.
    pub(super) fn token(&self, patient: usize) -> &str {
        let first = self.clusters.members().get(patient).and_then(|m| m.first());
        first.map_or("", |i| self.patient[*i].as_str())
    }

    /// Events and observations of each patient, among those that are wanted.
    pub(super) fn by_patient(&self, wanted: impl Fn(usize) -> bool) -> Vec<(usize, usize)> {
        let mut counts = std::collections::BTreeMap::<&str, (usize, usize)>::new();
        for place in (0..self.event.len()).filter(|i| wanted(*i)) {
            let count = counts.entry(self.patient[place].as_str()).or_default();
            count.0 += usize::from(self.event[place]);
            count.1 += 1;
        }
        counts.into_values().collect()
    }

    /// What is asked of a risk where nobody had the event.
    pub(super) fn nobody_had_it(&self) -> Option<NoEvents> {
        let nobody = !self.event.is_empty() && self.event.iter().all(|e| !e);
        nobody.then(|| without_events(self.clusters.count(), CONFIDENCE).ok()).flatten()
    }

    /// The step of the predictor that an odds ratio is stated for.
    pub(super) fn step(&self) -> Step {
        let ends = |f: fn(f64, f64) -> f64, start| self.predictor.iter().copied().fold(start, f);
        let range = ends(f64::max, f64::NEG_INFINITY) - ends(f64::min, f64::INFINITY);
        let two = self.predictor.iter().all(|x| *x == 0.0 || *x == 1.0);
        if two || range >= 1.0 {
            Step::Unit
        } else if range >= 0.1 {
            Step::Tenth
        } else {
            Step::Deviation
        }
    }

    /// Standard deviation of the predictor.
    pub(super) fn deviation(&self) -> Option<f64> {
        summary(&self.predictor).ok().map(|s| s.deviation).filter(|d| *d > 0.0)
    }

    pub(super) fn rate(&self) -> Result<Clustered, Undefined> {
        clustered(&self.by_patient(|_| true), CONFIDENCE)
    }
}

/// For which step an odds ratio is stated: a step that is wider than the data is no step that anybody
/// takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    Unit,
    /// Where all values lie within less than a unit, such as an index of conformity.
    Tenth,
    /// Where they lie within less than a tenth.
    Deviation,
}

/// The model with its curve, in the units of the tables.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fitted {
    pub(super) model: Model,
    pub(super) curve: Curve,
    /// Where the curve reaches 10 and 50 %.
    pub(super) reached: [Reached; 2],
    /// How well its risks fit.
    pub(super) performance: Result<Performance, Undefined>,
    /// Risks against rates, by parts of the risk.
    pub(super) calibration: Vec<Calibrated>,
}

/// Those of about the same risk by the model, and what became of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Calibrated {
    pub(super) from: f64,
    pub(super) to: f64,
    /// Mean risk by the model.
    pub(super) risk: f64,
    pub(super) rate: Clustered,
}

/// Risks of which the dose is looked for.
const RISKS: [f64; 2] = [0.1, 0.5];

pub(super) fn fitted(lists: &Lists, doubling: bool) -> Result<Fitted, Undefined> {
    let data = lists.data();
    let model = Model::fit(&data, CONFIDENCE)?;
    let mut curve = curve(&model, &data, &lists.clusters)?;
    let mut reached = RISKS.map(|risk| curve.reaches(risk));
    if doubling {
        for Band { x, .. } in &mut curve.points {
            *x = x.exp2();
        }
        for r in &mut reached {
            r.value = r.value.map(f64::exp2);
            if let Some(interval) = &mut r.interval {
                let turn = |v: f64| if v.is_finite() { v.exp2() } else { v };
                (interval.low, interval.high) = (turn(interval.low), turn(interval.high));
            }
        }
    }
    let performance = performance(&model, &data, &lists.clusters);
    let calibration =
        performance.as_ref().map_or_else(|_| Vec::new(), |p| calibrated(lists, &p.risks));
    Ok(Fitted { model, curve, reached, performance, calibration })
}

pub(super) fn discriminated(lists: &Lists) -> Result<Discrimination, Undefined> {
    // The cut is sought in the units of the tables; a logarithm would not move it.
    let data = Data { event: &lists.event, predictor: &lists.dose, adjusters: &[] };
    discrimination(&data, &lists.clusters)
}

/// The rate within a part of the range of the dose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rate {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) median: f64,
    pub(super) rate: Clustered,
}

/// Rates of parts with about equal numbers: quarters from 40 observations on, thirds from 15 on,
/// else halves. Equal doses stay together.
pub(super) fn rates(lists: &Lists) -> Vec<Rate> {
    let mut sorted = lists.dose.clone();
    sorted.sort_by(f64::total_cmp);
    let mut from = f64::NEG_INFINITY;
    let mut out = Vec::new();
    for end in ends_of_parts(&sorted) {
        let inside = |d: f64| d > from && d <= end;
        let own: Vec<f64> = sorted.iter().copied().filter(|d| inside(*d)).collect();
        let counted = clustered(&lists.by_patient(|i| inside(lists.dose[i])), CONFIDENCE);
        if let (Some(first), Some(last), Ok(rate)) = (own.first(), own.last(), counted) {
            out.push(Rate { from: *first, to: *last, median: quantile(&own, 0.5), rate });
        }
        from = end;
    }
    out
}

/// Upper ends of parts of sorted values with about equal numbers; the last has none.
fn ends_of_parts(sorted: &[f64]) -> Vec<f64> {
    let parts: u32 = match sorted.len() {
        0 | 1 => return Vec::new(),
        40.. => 4,
        15.. => 3,
        _ => 2,
    };
    let mut ends: Vec<f64> =
        (1..parts).map(|i| quantile(sorted, f64::from(i) / f64::from(parts))).collect();
    ends.push(f64::INFINITY);
    ends.dedup();
    ends
}

/// Rates of parts of the risk with about equal numbers, beside the mean risk of each.
fn calibrated(lists: &Lists, risks: &[f64]) -> Vec<Calibrated> {
    let mut sorted = risks.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut before = f64::NEG_INFINITY;
    let mut out = Vec::new();
    for end in ends_of_parts(&sorted) {
        let inside = |r: f64| r > before && r <= end;
        let own: Vec<f64> = sorted.iter().copied().filter(|r| inside(*r)).collect();
        let counted = clustered(&lists.by_patient(|i| inside(risks[i])), CONFIDENCE);
        if let (Some(from), Some(to), Ok(rate)) = (own.first(), own.last(), counted) {
            let risk = own.iter().sum::<f64>() / tidydose_statistics::real(own.len());
            out.push(Calibrated { from: *from, to: *to, risk, rate });
        }
        before = end;
    }
    out
}

/// The dose of those with and without event.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Compared {
    pub(super) with: Summary,
    pub(super) without: Summary,
    /// Absent where lesions share patients: ranks know nothing of that.
    pub(super) test: Option<RankSum>,
}

pub(super) fn compared(lists: &Lists) -> Result<Compared, Undefined> {
    let of = |wanted: bool| -> Vec<f64> {
        let pairs = lists.dose.iter().zip(&lists.event);
        pairs.filter(|(_, e)| **e == wanted).map(|(d, _)| *d).collect()
    };
    let (with, without) = (of(true), of(false));
    let test =
        if lists.clusters.repeat() { None } else { rank_sum(&with, &without, CONFIDENCE).ok() };
    Ok(Compared { with: summary(&with)?, without: summary(&without)?, test })
}
