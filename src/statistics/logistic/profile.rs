//! One coefficient with its interval by the profile of the penalised likelihood, and p by its ratio.
//! The penalty is that of the full model all along the profile, so that interval and p agree.

use super::super::special::{chi_squared_upper, normal_reach, root};
use super::super::{Interval, Undefined};
use super::fit::{Fit, Rows};

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

/// How often a search for the end of an interval may double its reach.
const DOUBLINGS: usize = 40;

pub(super) fn coefficient(
    rows: &Rows,
    fit: &Fit,
    which: usize,
    level: f64,
) -> Result<Coefficient, Undefined> {
    let error = fit.covariance[which][which].sqrt();
    let deviance = |value: f64| deviance(rows, fit, which, value);
    let ratio = deviance(0.0)?.max(0.0);
    let limit = normal_reach(level).powi(2);
    let end = |sign: f64| -> Result<f64, Undefined> {
        let mut reach = sign * error * normal_reach(level);
        for _ in 0..DOUBLINGS {
            if deviance(fit.beta[which] + reach)? > limit {
                // A point that does not converge has no number, and the search then says so.
                let beyond = |value: f64| deviance(value).map_or(f64::NAN, |d| d - limit);
                return root(beyond, fit.beta[which], fit.beta[which] + reach);
            }
            reach *= 1.5;
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

/// Twice the loss of log likelihood when a coefficient is held at a value.
fn deviance(rows: &Rows, fit: &Fit, which: usize, value: f64) -> Result<f64, Undefined> {
    let mut start = fit.beta;
    start[which] = value;
    // The others follow along the ridge.
    for (k, b) in start.iter_mut().enumerate().take(rows.size) {
        if k != which {
            let slope = fit.covariance[k][which] / fit.covariance[which][which];
            *b += slope * (value - fit.beta[which]);
        }
    }
    let held = Fit::from(rows, start, Some(which)).or_else(|_| {
        Fit::from(
            rows,
            {
                let mut s = [0.0; 3];
                s[which] = value;
                s
            },
            Some(which),
        )
    })?;
    Ok(2.0 * (fit.log_likelihood - held.log_likelihood))
}
