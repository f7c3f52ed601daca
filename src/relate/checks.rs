//! Whether the model may be believed: what separates the outcomes, predictors that say nearly the same,
//! single patients on whom the slope hangs, and whether a line fits.

use super::Request;
use super::model::Lists;
use tidydose_statistics::Undefined;
use tidydose_statistics::logistic::{
    Influence, Linearity, Separation, inflation, influence, linearity, separation,
};

/// From here on two predictors are hardly told apart (common practice), and from the second one on
/// they are not.
const HARDLY: f64 = 5.0;
const NOT_APART: f64 = 10.0;

/// The checks of a model.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Checks {
    pub(super) separation: Result<Separation, Undefined>,
    /// By how much the variance of each coefficient grows for the other predictors; the predictor
    /// first.
    pub(super) inflation: Result<Vec<f64>, Undefined>,
    pub(super) influence: Result<Influence, Undefined>,
    pub(super) linearity: Result<Linearity, Undefined>,
    /// Pairs of predictors of which one follows from the other, by their places.
    pub(super) same: Vec<[usize; 2]>,
}

impl Checks {
    pub(super) fn of(lists: &Lists) -> Self {
        let data = lists.data();
        Self {
            separation: separation(&data),
            inflation: inflation(&data),
            influence: influence(&data, &lists.clusters),
            linearity: linearity(&data),
            same: same(lists),
        }
    }

    /// What must be known beside the model.
    pub(super) fn warnings(&self, lists: &Lists, request: &Request) -> Vec<String> {
        let mut list = Vec::new();
        for [a, b] in &self.same {
            list.push(format!(
                "{} and {} say the same of everybody: one follows from the other, and a model of \
                 both does not exist; leave one of them out",
                name(*a, request),
                name(*b, request)
            ));
        }
        if let Some(words) = self.separated(request) {
            list.push(words);
        }
        for (place, factor) in self.inflation.iter().flatten().enumerate() {
            if *factor > HARDLY {
                let apart = if *factor > NOT_APART { "not" } else { "hardly" };
                list.push(format!(
                    "{} is {apart} told apart from the other predictors: for them the variance of its \
                     coefficient is {factor:.1} times as large",
                    name(place, request)
                ));
            }
        }
        list.extend(self.one_patient(lists));
        list
    }

    fn separated(&self, request: &Request) -> Option<String> {
        let what = match self.separation.as_ref().ok()? {
            Separation::Alone(places) => {
                let names: Vec<String> = places.iter().map(|p| name(*p, request)).collect();
                names.join(" and ")
            }
            Separation::Together => "several predictors together".to_owned(),
            Separation::No | Separation::NotFound => return None,
        };
        Some(format!(
            "separation: {what} parts those with the event from those without, apart from ties; \
             the data do not say how large the odds ratio is at most, and the estimate is finite by \
             Firth's penalty only. Draws of patients are separated too, and their interval is too \
             narrow: the one by profile counts"
        ))
    }

    /// Whether the direction of the relation hangs on one patient.
    fn one_patient(&self, lists: &Lists) -> Option<String> {
        let found = self.influence.as_ref().ok()?;
        if !found.needed.is_empty() {
            let names: Vec<&str> = found.needed.iter().map(|p| lists.token(*p)).collect();
            return Some(format!("without {} there is no model at all", names.join(" or ")));
        }
        (found.lowest.slope < 0.0 && found.highest.slope > 0.0).then(|| {
            format!(
                "the direction of the relation hangs on single patients: without {} it turns",
                lists.token(found.largest.patient)
            )
        })
    }
}

/// How a predictor is called: the first, or an adjuster.
pub(super) fn name(place: usize, request: &Request) -> String {
    let adjuster = place.checked_sub(1).and_then(|a| request.adjust.get(a));
    adjuster.unwrap_or(&request.predictor).clone()
}

/// Correlations nearer to 1 than this differ from it by rounding.
const ROUNDING: f64 = 1e-9;

fn same(lists: &Lists) -> Vec<[usize; 2]> {
    let columns: Vec<&[f64]> = std::iter::once(lists.predictor.as_slice())
        .chain(lists.adjusters.iter().map(Vec::as_slice))
        .collect();
    let mut found = Vec::new();
    for (i, a) in columns.iter().enumerate() {
        for (j, b) in columns.iter().enumerate().skip(i + 1) {
            if correlation(a, b).is_some_and(|r| r.abs() > 1.0 - ROUNDING) {
                found.push([i, j]);
            }
        }
    }
    found
}

fn correlation(a: &[f64], b: &[f64]) -> Option<f64> {
    let n = tidydose_statistics::real(a.len());
    let mean = |v: &[f64]| v.iter().sum::<f64>() / n;
    let (ma, mb) = (mean(a), mean(b));
    let product: f64 = a.iter().zip(b).map(|(x, y)| (x - ma) * (y - mb)).sum();
    let square = |v: &[f64], m: f64| v.iter().map(|x| (x - m).powi(2)).sum::<f64>();
    let size = (square(a, ma) * square(b, mb)).sqrt();
    (size > 0.0).then_some(product / size)
}
