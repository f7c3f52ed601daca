//! One coefficient with its interval by the profile of the penalised likelihood, and p by its ratio.
//! The penalty is that of the full model all along the profile, so that interval and p agree.

use std::cell::Cell;

use super::super::special::{chi_squared_upper, normal_reach, root};
use super::super::{Interval, Undefined};
use super::fit::{Fit, MOST, Rows, Vector};

/// A coefficient of the model in log odds for one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coefficient {
    /// Estimate.
    pub estimate: f64,
    /// Standard error from the information; the interval does not rest on it.
    pub error: f64,
    /// Interval by the profile.
    pub interval: Interval,
    /// The likelihood ratio: twice the penalised log likelihood above that without the coefficient.
    pub ratio: f64,
    /// p of the ratio by the chi-squared distribution.
    pub p: f64,
}

/// How often a search for the end of an interval may widen its reach.
const WIDENINGS: usize = 80;

pub(super) fn coefficient(
    rows: &Rows,
    fit: &Fit,
    which: usize,
    level: f64,
) -> Result<Coefficient, Undefined> {
    let error = fit.covariance[which][which].sqrt();
    let ratio = Profile::new(rows, fit, which).deviance(0.0)?.max(0.0);
    let limit = normal_reach(level).powi(2);
    let end = |sign: f64| -> Result<f64, Undefined> {
        let profile = Profile::new(rows, fit, which);
        let mut reach = sign * error * normal_reach(level);
        for _ in 0..WIDENINGS {
            if profile.deviance(fit.beta[which] + reach)? > limit {
                // A point that does not converge has no number, and the search then says so.
                let beyond = |value: f64| profile.deviance(value).map_or(f64::NAN, |d| d - limit);
                return root(beyond, fit.beta[which], fit.beta[which] + reach);
            }
            reach *= 1.3;
        }
        Err(Undefined::NoConvergence("the profile of the penalised likelihood"))
    };
    let unit = rows.unit(which);
    Ok(Coefficient {
        estimate: fit.beta[which] * unit,
        error: error * unit,
        interval: Interval { low: end(-1.0)? * unit, high: end(1.0)? * unit },
        ratio,
        p: chi_squared_upper(ratio, 1.0),
    })
}

/// The likelihood along one coefficient.
struct Profile<'f> {
    rows: &'f Rows,
    fit: &'f Fit,
    which: usize,
    /// The solution found last, from which the next is near.
    last: Cell<Vector>,
}

impl<'f> Profile<'f> {
    fn new(rows: &'f Rows, fit: &'f Fit, which: usize) -> Self {
        Self { rows, fit, which, last: Cell::new(fit.beta) }
    }

    /// Twice the loss of log likelihood when the coefficient is held at a value.
    fn deviance(&self, value: f64) -> Result<f64, Undefined> {
        let (fit, which) = (self.fit, self.which);
        let at = |mut beta: Vector| {
            beta[which] = value;
            Fit::from(self.rows, beta, &[which])
        };
        // The others follow along the ridge; on the ray through nothing where the groups part.
        let moved = value - fit.beta[which];
        let along = |k: usize| fit.covariance[k][which] / fit.covariance[which][which];
        let ridge = std::array::from_fn(|k| {
            if k < self.rows.size { fit.beta[k] + along(k) * moved } else { 0.0 }
        });
        let last = self.last.get();
        let ray = last.map(|b| if last[which] == 0.0 { b } else { b * value / last[which] });
        let held =
            at(ridge).or_else(|_| at(ray)).or_else(|_| at(last)).or_else(|_| at([0.0; MOST]))?;
        self.last.set(held.beta);
        Ok(2.0 * (fit.log_likelihood - held.log_likelihood))
    }
}
