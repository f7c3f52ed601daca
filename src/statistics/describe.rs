//! What a list of numbers is like: quantiles, mean and deviation.

use super::{Undefined, at_least, finite, real};

/// A list of numbers in short.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// How many.
    pub n: usize,
    /// Mean.
    pub mean: f64,
    /// Standard deviation with n − 1; 0 for one value.
    pub deviation: f64,
    /// Least.
    pub least: f64,
    /// Lower quartile, linear between neighbours.
    pub lower: f64,
    /// Median.
    pub median: f64,
    /// Upper quartile.
    pub upper: f64,
    /// Largest.
    pub largest: f64,
}

/// Describes values.
///
/// # Errors
/// Without values, or with one that is not finite.
pub fn summary(values: &[f64]) -> Result<Summary, Undefined> {
    at_least(1, values.len(), "values")?;
    finite(values, "values")?;
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = values.len();
    let mean = sorted.iter().sum::<f64>() / real(n);
    let squares: f64 = sorted.iter().map(|v| (v - mean).powi(2)).sum();
    let deviation = if n > 1 { (squares / real(n - 1)).sqrt() } else { 0.0 };
    let [lower, median, upper] = [0.25, 0.5, 0.75].map(|share| quantile(&sorted, share));
    let (least, largest) = (sorted[0], sorted[n - 1]);
    Ok(Summary { n, mean, deviation, least, lower, median, upper, largest })
}

/// The value below which a share of the sorted list lies, linear between neighbours (type 7 of
/// Hyndman and Fan 1996, the usual default). NaN of an empty list.
#[must_use]
pub fn quantile(sorted: &[f64], share: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else { return f64::NAN };
    let place = share.clamp(0.0, 1.0) * real(last);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to last")]
    let below = (place.floor() as usize).min(last);
    let (a, b) = (sorted[below], sorted[(below + 1).min(last)]);
    if a == b { a } else { a + (b - a) * (place - real(below)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_short_list_is_described_in_closed_form() {
        let s = summary(&[4.0, 1.0, 3.0, 2.0]).unwrap();
        assert_eq!((s.n, s.mean, s.least, s.largest), (4, 2.5, 1.0, 4.0));
        assert_eq!((s.lower, s.median, s.upper), (1.75, 2.5, 3.25));
        assert!((s.deviation - (5.0_f64 / 3.0).sqrt()).abs() < 1e-15);
        let one = summary(&[7.0]).unwrap();
        assert_eq!((one.deviation, one.lower, one.upper), (0.0, 7.0, 7.0));
        assert!(summary(&[]).is_err() && summary(&[f64::INFINITY]).is_err());
        assert!(quantile(&[], 0.5).is_nan());
    }
}
