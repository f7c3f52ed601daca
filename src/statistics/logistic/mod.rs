//! Logistic regression of an event on one predictor and up to six adjusters, by Firth's penalised
//! likelihood (1993): finite also where groups are separated, less biased where events are rare.
//!
//! Coefficients come with intervals by the profile of the penalised likelihood and p by its ratio
//! (Heinze and Schemper 2002). Predicted risks are those of the FLIC correction (Puhr and others
//! 2017): Firth's own pull towards one half, so the intercept is fitted again by plain likelihood,
//! and the mean of all risks is the observed rate.
//!
//! Rows may have weights, which say how often a row counts: so a bootstrap needs no copies.

mod checks;
mod curve;
mod fit;
mod influence;
mod linearity;
mod performance;
mod profile;

pub use checks::{Separation, inflation, separation};
pub use curve::{Band, Curve, Reached, curve, draw_slopes};
pub use influence::{Influence, Without, influence};
pub use linearity::{Linearity, linearity};
pub use performance::{Performance, performance};
pub use profile::Coefficient;

use super::{Undefined, at_least, confidence, finite, real};
use fit::{Fit, Rows};

/// What a model is fitted to; all lists have one value for each observation.
#[derive(Debug, Clone, Copy)]
pub struct Data<'d> {
    /// Whether there was an event.
    pub event: &'d [bool],
    /// The predictor.
    pub predictor: &'d [f64],
    /// Further predictors to adjust for, at most [`MOST_ADJUSTERS`].
    pub adjusters: &'d [Vec<f64>],
}

/// So many predictors a model is adjusted for at most; more need more events than such studies have.
pub const MOST_ADJUSTERS: usize = 6;

impl Data<'_> {
    /// Number of events.
    #[must_use]
    pub fn events(&self) -> usize {
        self.event.iter().filter(|e| **e).count()
    }

    /// The predictor, then the adjusters.
    fn columns(&self) -> impl Iterator<Item = &[f64]> {
        std::iter::once(self.predictor).chain(self.adjusters.iter().map(Vec::as_slice))
    }

    fn check(&self) -> Result<(), Undefined> {
        let n = self.event.len();
        if self.columns().any(|c| c.len() != n) {
            return Err(Undefined::Lengths("outcomes and predictors"));
        }
        at_least(3, n, "observations")?;
        finite(self.predictor, "predictor")?;
        self.adjusters.iter().try_for_each(|a| finite(a, "adjusters"))?;
        if self.events() == 0 || self.events() == n {
            return Err(Undefined::Constant("outcomes"));
        }
        let constant = |v: &[f64]| v.iter().all(|x| *x == v[0]);
        if constant(self.predictor) {
            return Err(Undefined::Constant("values of the predictor"));
        }
        if self.adjusters.iter().any(|a| constant(a)) {
            return Err(Undefined::Constant("values of an adjuster"));
        }
        Ok(())
    }
}

/// A fitted model: log odds = intercept + slope · predictor + the sum of adjustment · adjuster.
#[derive(Debug, Clone, PartialEq)]
pub struct Model {
    /// Firth's intercept.
    pub intercept: f64,
    /// Its standard error.
    pub intercept_error: f64,
    /// Change of the log odds for one unit of the predictor.
    pub slope: Coefficient,
    /// The same for each adjuster.
    pub adjustments: Vec<Coefficient>,
    /// The intercept of the FLIC correction, for risks.
    pub risk_intercept: f64,
    /// Penalised log likelihood of predictors in units of their deviation.
    pub log_likelihood: f64,
    /// Observations.
    pub n: usize,
    /// Events.
    pub events: usize,
}

impl Model {
    /// Fits the model.
    ///
    /// # Errors
    /// With fewer than three observations, no event or nothing but events, a predictor without
    /// variation, predictors that say the same, or when the iteration does not end.
    pub fn fit(data: &Data<'_>, level: f64) -> Result<Self, Undefined> {
        data.check()?;
        confidence(level)?;
        let rows = Rows::new(data, None)?;
        let fit = Fit::of(&rows)?;
        let coefficient = |which| profile::coefficient(&rows, &fit, which, level);
        let intercept = rows.original(fit.beta)[0];
        Ok(Self {
            intercept,
            intercept_error: rows.intercept_error(&fit),
            slope: coefficient(1)?,
            adjustments: (2..rows.size).map(coefficient).collect::<Result<_, _>>()?,
            risk_intercept: intercept + rows.correction(fit.beta)?,
            log_likelihood: fit.log_likelihood,
            n: data.event.len(),
            events: data.events(),
        })
    }

    /// Log odds by Firth's own intercept.
    #[must_use]
    pub fn log_odds(&self, predictor: f64, adjusters: &[f64]) -> f64 {
        let more = self.adjustments.iter().zip(adjusters).map(|(c, a)| c.estimate * a);
        let more: f64 = more.sum();
        self.intercept + self.slope.estimate * predictor + more
    }

    /// Risk with the FLIC correction.
    #[must_use]
    pub fn risk(&self, predictor: f64, adjusters: &[f64]) -> f64 {
        let odds = self.log_odds(predictor, adjusters) - self.intercept + self.risk_intercept;
        probability(odds)
    }

    /// Events for each coefficient but the intercept: below ten a model deserves little trust, below
    /// five hardly any (common practice).
    #[must_use]
    pub fn events_per_coefficient(&self) -> f64 {
        let least = self.events.min(self.n - self.events);
        real(least) / real(1 + self.adjustments.len())
    }
}

fn probability(log_odds: f64) -> f64 {
    1.0 / (1.0 + (-log_odds).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fit(event: &[bool], predictor: &[f64]) -> Result<Model, Undefined> {
        Model::fit(&Data { event, predictor, adjusters: &[] }, 0.95)
    }

    /// Of a table of four, Firth's estimate is the log odds ratio after 1/2 is added to each cell
    /// (Firth 1993, the saturated model), also with an empty cell.
    #[test]
    fn a_table_of_four_has_a_closed_form() {
        for [a, b, c, d] in [[7, 13, 2, 18], [5, 10, 0, 15], [20, 0, 0, 20]] {
            let mut event = Vec::new();
            let mut group = Vec::new();
            for (count, happened, x) in
                [(a, true, 1.0), (b, false, 1.0), (c, true, 0.0), (d, false, 0.0)]
            {
                event.extend(vec![happened; count]);
                group.extend(vec![x; count]);
            }
            let model = fit(&event, &group).unwrap();
            let [a, b, c, d] = [a, b, c, d].map(|n| real(n) + 0.5);
            assert!((model.slope.estimate - (a * d / (b * c)).ln()).abs() < 1e-8);
            assert!((model.intercept - (c / d).ln()).abs() < 1e-8);
            let mean: f64 =
                group.iter().map(|x| model.risk(*x, &[])).sum::<f64>() / real(group.len());
            assert!((mean - real(model.events) / real(model.n)).abs() < 1e-10, "FLIC");
            assert!(model.slope.interval.low < model.slope.estimate);
            assert!(model.slope.interval.high.is_finite());
        }
    }

    /// Other units change coefficients in proportion and nothing else.
    #[test]
    fn units_and_origin_do_not_matter() {
        let x: Vec<f64> = (0..30).map(|i| f64::from(i) * 0.7).collect();
        let event: Vec<bool> = (0..30).map(|i| i % 5 == 0 || i > 24).collect();
        let far: Vec<f64> = x.iter().map(|v| 1e5 + 1000.0 * v).collect();
        let (a, b) = (fit(&event, &x).unwrap(), fit(&event, &far).unwrap());
        assert!((a.slope.estimate - 1000.0 * b.slope.estimate).abs() < 1e-9);
        assert!((a.slope.interval.high - 1000.0 * b.slope.interval.high).abs() < 1e-7);
        assert!((a.slope.p - b.slope.p).abs() < 1e-9);
        assert!((a.risk(7.0, &[]) - b.risk(1e5 + 7000.0, &[])).abs() < 1e-9);
    }

    #[test]
    fn the_profile_ends_where_the_ratio_reaches_its_limit() {
        let x = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0];
        let event = [false, false, true, false, false, true, true, true];
        let m = fit(&event, &x).unwrap();
        assert!(m.slope.interval.holds(m.slope.estimate));
        // Zero lies in the interval exactly when p is above 5 %.
        assert_eq!(m.slope.interval.holds(0.0), m.slope.p > 0.05);
    }

    /// Few patients, and one patient far from all others: the estimate is finite (Heinze and Schemper
    /// 2002), and scoring alone did not reach it in 200 rounds. At the estimate the penalised score is
    /// 0, which is asked here by its own formula.
    #[test]
    fn five_patients_and_an_outlier_have_a_model() {
        let far: Vec<f64> = (0..30).map(|i| 4.0 + f64::from(i % 7) / 3.0).chain([1000.0]).collect();
        let late: Vec<bool> = (0..31).map(|i| i % 4 == 1 || i == 30).collect();
        let sets: [(&[f64], &[bool]); 4] = [
            (&[48.0, 6.5, 0.87, 1.25, 2.97], &[true, false, true, false, true]),
            (&[0.51, 1.59, 10.3, 0.70, 0.82], &[false, false, true, false, true]),
            (&[0.18, 0.41, 2.28], &[true, true, false]),
            (&far, &late),
        ];
        for (x, event) in sets {
            let m = fit(event, x).unwrap();
            let p: Vec<f64> = x.iter().map(|x| probability(m.log_odds(*x, &[]))).collect();
            let w: Vec<f64> = p.iter().map(|p| p * (1.0 - p)).collect();
            let sum = |f: &dyn Fn(usize) -> f64| (0..x.len()).map(f).sum::<f64>();
            let (a, b, c) = (sum(&|i| w[i]), sum(&|i| w[i] * x[i]), sum(&|i| w[i] * x[i] * x[i]));
            let leverage =
                |i: usize| w[i] * (c - 2.0 * b * x[i] + a * x[i] * x[i]) / (a * c - b * b);
            let pull = |i: usize| real(usize::from(event[i])) - p[i] + leverage(i) * (0.5 - p[i]);
            let size = x.iter().fold(1.0_f64, |s, x| s.max(*x));
            assert!(sum(&pull).abs() < 1e-7, "{x:?}");
            assert!(sum(&|i| pull(i) * x[i] / size).abs() < 1e-7, "{x:?}");
            assert!(m.slope.interval.holds(m.slope.estimate), "{:?}", m.slope);
        }
    }

    #[test]
    fn what_has_no_model_says_why() {
        let x = [1.0, 2.0, 3.0, 4.0];
        let said = |e: &[bool], x: &[f64]| fit(e, x).unwrap_err().to_string();
        assert_eq!(said(&[true; 4], &x), "all outcomes are equal");
        assert_eq!(
            said(&[true, false, true, false], &[2.0; 4]),
            "all values of the predictor are equal"
        );
        assert!(said(&[true, false], &x[..2]).contains("2 observations, at least 3"));
        assert!(said(&[true, false, true, false], &[1.0, f64::NAN, 2.0, 3.0]).contains("finite"));
        let twice =
            Data { event: &[true, false, true, false], predictor: &x, adjusters: &[x.to_vec()] };
        assert!(Model::fit(&twice, 0.95).unwrap_err().to_string().contains("say the same"));
    }
}
