//! Values that stand out from a line through the others: a line that a few of them cannot move, and
//! how far each lies off it in units of what is usual.

use super::describe::quantile;
use super::{Undefined, at_least, finite};

/// Fewer points than this have no usual distance from their line.
pub const LEAST_POINTS: usize = 12;
/// From this score on a value stands out: 3.5, as proposed with the score by Iglewicz and Hoaglin,
/// "How to detect and handle outliers", 1993 (from memory).
pub const STANDS_OUT: f64 = 3.5;
/// Median absolute deviation of a normal distribution as a share of its standard deviation.
const MAD_SHARE: f64 = 0.674_489_750_196_081_7;

/// How far each value of `y` lies above (below where negative) the line over `x`, as its modified
/// z-score: 0.6745 times the residual over the median absolute residual, see [`residuals`].
///
/// # Errors
/// As [`residuals`], and where more than half of the values lie on the line, so that no distance is
/// usual.
pub fn scores(x: &[f64], y: &[f64]) -> Result<Vec<f64>, Undefined> {
    let residuals = residuals(x, y)?;
    let sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
    let usual = median(&sizes);
    if usual <= 0.0 {
        return Err(Undefined::Constant("distances from the line"));
    }
    Ok(residuals.into_iter().map(|r| MAD_SHARE * r / usual).collect())
}

/// How far each value of `y` lies above (below where negative) the line over `x` that has the median
/// of the slopes of all pairs (Theil 1950 and Sen 1968, from memory) and a median residual of 0.
///
/// # Errors
/// With fewer than [`LEAST_POINTS`] values, and with one that is not finite.
pub fn residuals(x: &[f64], y: &[f64]) -> Result<Vec<f64>, Undefined> {
    if x.len() != y.len() {
        return Err(Undefined::Lengths("places and values"));
    }
    at_least(LEAST_POINTS, x.len(), "values")?;
    finite(x, "values")?;
    finite(y, "values")?;
    let slope = median_slope(x, y);
    let mut residuals: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - slope * x).collect();
    let centre = median(&residuals);
    for residual in &mut residuals {
        *residual -= centre;
    }
    Ok(residuals)
}

/// The median of the slopes between all pairs at different places; 0 where all stand at one place.
fn median_slope(x: &[f64], y: &[f64]) -> f64 {
    let mut slopes = Vec::with_capacity(x.len() * x.len() / 2);
    for (i, (x_i, y_i)) in x.iter().zip(y).enumerate() {
        for (x_j, y_j) in x.iter().zip(y).skip(i + 1) {
            if x_i != x_j {
                slopes.push((y_j - y_i) / (x_j - x_i));
            }
        }
    }
    if slopes.is_empty() { 0.0 } else { median(&slopes) }
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    quantile(&sorted, 0.5)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// y = 3 − x/2 with −0.1, 0 and 0.1 added by turns, and 2 to one value: the slope stays −1/2, two
    /// thirds of the values lie 0.1 off the line.
    #[test]
    fn one_value_off_a_line_stands_out_alone_and_does_not_move_the_line() {
        let x: Vec<f64> = (0..21).map(f64::from).collect();
        let mut y: Vec<f64> = x.iter().map(|x| 3.0 - x / 2.0 + 0.1 * (x % 3.0 - 1.0)).collect();
        y[4] += 2.0;
        let scores = scores(&x, &y).unwrap();
        assert!((scores[4] - MAD_SHARE * 2.0 / 0.1).abs() < 1e-9, "{}", scores[4]);
        for (i, score) in scores.iter().enumerate().filter(|(i, _)| *i != 4) {
            assert!(score.abs() < STANDS_OUT, "{i}: {score}");
        }
    }

    #[test]
    fn few_values_and_values_without_spread_have_no_scores() {
        let x: Vec<f64> = (0..12).map(f64::from).collect();
        assert!(scores(&x[..11], &x[..11]).is_err());
        assert!(scores(&x, &x).is_err(), "all lie on the line");
        let y: Vec<f64> = x.iter().map(|v| (v * 1.7).sin()).collect();
        assert!(scores(&[5.0; 12], &y).is_ok(), "one place: off the median");
    }
}
