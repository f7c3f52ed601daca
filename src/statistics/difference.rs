//! How different groups are in what they were made of, without a p: standardised differences.

use super::describe::summary;
use super::linear::solve;
use super::{Undefined, at_least, real};

/// A standardised difference above this is customarily called noticeable (Austin 2009, from memory;
/// common practice, not a test).
pub const NOTICEABLE: f64 = 0.1;

/// Difference of means in units of the deviation: (first − second) / √((s₁² + s₂²) / 2).
///
/// # Errors
/// With fewer than two values in a group or values that are not finite; when neither group varies
/// and the means differ.
pub fn of_means(first: &[f64], second: &[f64]) -> Result<f64, Undefined> {
    at_least(2, first.len().min(second.len()), "values in a group")?;
    let (a, b) = (summary(first)?, summary(second)?);
    let spread = (0.5 * (a.deviation.powi(2) + b.deviation.powi(2))).sqrt();
    let difference = a.mean - b.mean;
    match spread {
        _ if difference == 0.0 => Ok(0.0),
        spread if spread > 0.0 => Ok(difference / spread),
        _ => Err(Undefined::Constant("values of each group")),
    }
}

/// Difference of the shares of categories: Mahalanobis distance of Yang and Dalton (2012). Each item
/// is one category: counts in the first and in the second group. Never negative; for two categories
/// the size of (p₁ − p₂) / √((p₁q₁ + p₂q₂) / 2).
///
/// # Errors
/// When a group is empty, or the groups have no category in common and vary in none.
pub fn of_shares(categories: &[(usize, usize)]) -> Result<f64, Undefined> {
    let totals = categories.iter().fold((0, 0), |t, c| (t.0 + c.0, t.1 + c.1));
    at_least(1, totals.0.min(totals.1), "observations in a group")?;
    let shares: Vec<(f64, f64)> = categories
        .iter()
        .filter(|c| c.0 + c.1 > 0)
        .map(|c| (real(c.0) / real(totals.0), real(c.1) / real(totals.1)))
        .collect();
    // One category follows from the others.
    let free = shares.get(1..).unwrap_or_default();
    let gap: Vec<f64> = free.iter().map(|(a, b)| a - b).collect();
    if gap.iter().all(|g| *g == 0.0) {
        return Ok(0.0);
    }
    let covariance = |i: usize, j: usize| {
        let ((a, b), (c, d)) = (free[i], free[j]);
        let own = if i == j { a + b } else { 0.0 };
        0.5 * (own - a * c - b * d)
    };
    let n = free.len();
    let matrix = (0..n).map(|i| (0..n).map(|j| covariance(i, j)).collect()).collect();
    let solved = solve(matrix, gap.clone()).ok_or(Undefined::Constant("values of each group"))?;
    Ok(gap.iter().zip(solved).map(|(g, s)| g * s).sum::<f64>().max(0.0).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn means_differ_in_units_of_the_deviation() {
        let d = of_means(&[1.0, 2.0, 3.0], &[3.0, 4.0, 5.0]).unwrap();
        assert!((d + 2.0).abs() < 1e-15);
        assert_eq!(of_means(&[1.0, 1.0], &[1.0, 1.0]), Ok(0.0));
        assert!(of_means(&[1.0, 1.0], &[2.0, 2.0]).is_err());
        assert!(of_means(&[1.0], &[2.0, 3.0]).is_err());
    }

    #[test]
    fn two_categories_have_a_closed_form() {
        let (p, q): (f64, f64) = (0.3, 0.5);
        let wanted = (q - p) / (0.5 * (p * (1.0 - p) + q * (1.0 - q))).sqrt();
        let found = of_shares(&[(30, 100), (70, 100)]).unwrap();
        assert!((found - wanted).abs() < 1e-12, "{found} {wanted}");
        assert_eq!(of_shares(&[(3, 6), (7, 14), (0, 0)]), Ok(0.0));
        assert!(of_shares(&[(3, 0), (0, 4)]).is_err());
        assert!(of_shares(&[(3, 0)]).is_err());
    }

    #[test]
    fn the_order_of_categories_does_not_count() {
        let list = [(10, 4), (20, 30), (5, 16), (1, 0)];
        let mut turned = list;
        turned.reverse();
        let (a, b) = (of_shares(&list).unwrap(), of_shares(&turned).unwrap());
        assert!((a - b).abs() < 1e-9 && a > 0.5, "{a} {b}");
    }
}
