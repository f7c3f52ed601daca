//! Whether the log odds follow a straight line of the predictor: a restricted cubic spline beside the
//! line, held against it by the ratio of the penalised likelihoods.

use super::super::describe::quantile;
use super::super::special::chi_squared_upper;
use super::super::{Undefined, at_least, real};
use super::Data;
use super::fit::{Fit, Rows};

/// Quantiles at which knots stand (Harrell 2015, Regression Modeling Strategies, section 2.4.6).
const THREE: &[f64] = &[0.1, 0.5, 0.9];
const FOUR: &[f64] = &[0.05, 0.35, 0.65, 0.95];
/// With so many events, and as many without, there are four knots: three coefficients with ten of each.
const MANY: usize = 30;

/// The test of a straight line.
#[derive(Debug, Clone, PartialEq)]
pub struct Linearity {
    /// Knots, in units of the predictor.
    pub knots: Vec<f64>,
    /// Twice the penalised log likelihood of the spline above that of the line.
    pub ratio: f64,
    /// Its degrees of freedom.
    pub degrees: usize,
    /// p by the chi-squared distribution.
    pub p: f64,
}

/// Holds a spline against the line.
///
/// # Errors
/// When the predictor has too few values for knots, or a model cannot be fitted.
pub fn linearity(data: &Data<'_>) -> Result<Linearity, Undefined> {
    data.check()?;
    let knots = knots(data)?;
    let mut adjusters = bends(data.predictor, &knots);
    let degrees = adjusters.len();
    adjusters.extend_from_slice(data.adjusters);
    let bent = Data { adjusters: &adjusters, ..*data };
    let rows = Rows::new(&bent, None)?;
    let fit = Fit::of(&rows)?;
    let held: Vec<usize> = (2..2 + degrees).collect();
    let mut start = fit.beta;
    held.iter().for_each(|k| start[*k] = 0.0);
    let straight = Fit::from(&rows, start, &held)?;
    let ratio = (2.0 * (fit.log_likelihood - straight.log_likelihood)).max(0.0);
    Ok(Linearity { knots, ratio, degrees, p: chi_squared_upper(ratio, real(degrees)) })
}

fn knots(data: &Data<'_>) -> Result<Vec<f64>, Undefined> {
    let mut sorted = data.predictor.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rarer = data.events().min(data.event.len() - data.events());
    let places = if rarer >= MANY { FOUR } else { THREE };
    let distinct = |places: &[f64]| {
        let mut knots: Vec<f64> = places.iter().map(|p| quantile(&sorted, *p)).collect();
        knots.dedup();
        (knots.len() == places.len()).then_some(knots)
    };
    // Many equal values can make two of four knots one.
    let found = distinct(places).or_else(|| distinct(THREE));
    sorted.dedup();
    at_least(3, sorted.len(), "different values of the predictor")?;
    found.ok_or(Undefined::Constant("values between two knots of the spline"))
}

/// What bends the line: cubic between the knots and straight outside of them.
fn bends(x: &[f64], knots: &[f64]) -> Vec<Vec<f64>> {
    let (first, last) = (knots[0], knots[knots.len() - 1]);
    let before = knots[knots.len() - 2];
    let cube = |v: f64| v.max(0.0).powi(3);
    let scale = (last - first).powi(2);
    let bend = |knot: f64| -> Vec<f64> {
        let one = |x: &f64| {
            let (far, near) = ((last - knot) / (last - before), (before - knot) / (last - before));
            (cube(x - knot) - far * cube(x - before) + near * cube(x - last)) / scale
        };
        x.iter().map(one).collect()
    };
    knots[..knots.len() - 2].iter().map(|k| bend(*k)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bend_is_nothing_before_its_knot_and_straight_behind_the_last() {
        let x = [0.0, 1.0, 2.0, 5.0, 6.0, 7.0];
        let all = bends(&x, &[1.0, 2.0, 4.0]);
        let bend = &all[0];
        assert_eq!((all.len(), bend[0], bend[1]), (1, 0.0, 0.0));
        assert!(bend[2] > 0.0);
        let (up, further) = (bend[4] - bend[3], bend[5] - bend[4]);
        assert!((up - further).abs() < 1e-12, "{bend:?}");
    }

    /// Events in the middle of the range bend the line; every fourth observation does not.
    #[test]
    fn a_hump_is_seen_and_a_line_is_not() {
        let x: Vec<f64> = (0..120).map(f64::from).collect();
        let hump: Vec<bool> = (0..120).map(|i| (40..80).contains(&i) == (i % 7 != 0)).collect();
        let even: Vec<bool> = (0..120).map(|i| i % 4 == 0).collect();
        let of =
            |event: &[bool]| linearity(&Data { event, predictor: &x, adjusters: &[] }).unwrap();
        let (bent, straight) = (of(&hump), of(&even));
        assert!(bent.p < 1e-6 && straight.p > 0.5, "{bent:?} {straight:?}");
        assert_eq!((bent.degrees, bent.knots.len()), (2, 4));
        assert!((bent.knots[0] - 5.95).abs() < 1e-9 && (bent.knots[3] - 113.05).abs() < 1e-9);
        let few: Vec<bool> = (0..120).map(|i| i % 10 == 0).collect();
        assert_eq!(of(&few).knots.len(), 3);
    }

    #[test]
    fn two_values_have_no_bend() {
        let x: Vec<f64> = (0..20).map(|i| f64::from(i % 2)).collect();
        let event: Vec<bool> = (0..20).map(|i| i % 3 == 0).collect();
        let said = linearity(&Data { event: &event, predictor: &x, adjusters: &[] }).unwrap_err();
        assert!(said.to_string().contains("2 different values of the predictor"), "{said}");
    }
}
