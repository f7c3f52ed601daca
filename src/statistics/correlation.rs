//! Spearman's correlation of ranks.

use super::rank::midranks;
use super::special::{normal_reach, student_outside};
use super::{Interval, Undefined, at_least, confidence, finite, real};

/// How two lists go together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spearman {
    /// Correlation of the ranks, −1 to 1.
    pub rho: f64,
    /// Two-sided p by Student's distribution.
    pub p: f64,
    /// Interval by Fisher's transformation with the variance of Bonett and Wright (2000); from −1
    /// to 1 below four pairs.
    pub interval: Interval,
}

/// Correlates pairs.
///
/// # Errors
/// With fewer than three pairs, a value that is not finite, or all values of a list equal.
pub fn spearman(x: &[f64], y: &[f64], level: f64) -> Result<Spearman, Undefined> {
    confidence(level)?;
    if x.len() != y.len() {
        return Err(Undefined::Lengths("the values of a pair"));
    }
    at_least(3, x.len(), "pairs")?;
    finite(x, "values")?;
    finite(y, "values")?;
    let rho = pearson(&midranks(x).0, &midranks(y).0).ok_or(Undefined::Constant("values"))?;
    let n = real(x.len());
    let rest = (1.0 - rho) * (1.0 + rho);
    let p =
        if rest <= 0.0 { 0.0 } else { student_outside(rho * ((n - 2.0) / rest).sqrt(), n - 2.0) };
    let interval = if n < 4.0 {
        Interval { low: -1.0, high: 1.0 }
    } else {
        let reach = normal_reach(level) * ((1.0 + 0.5 * rho * rho) / (n - 3.0)).sqrt();
        let z = rho.atanh();
        Interval { low: (z - reach).tanh(), high: (z + reach).tanh() }
    };
    Ok(Spearman { rho, p, interval })
}

fn pearson(x: &[f64], y: &[f64]) -> Option<f64> {
    let mean = |v: &[f64]| v.iter().sum::<f64>() / real(v.len());
    let (mx, my) = (mean(x), mean(y));
    let sum = |f: &dyn Fn(f64, f64) -> f64| -> f64 {
        x.iter().zip(y).map(|(a, b)| f(a - mx, b - my)).sum()
    };
    let size = (sum(&|a, _| a * a) * sum(&|_, b| b * b)).sqrt();
    (size > 0.0).then(|| (sum(&|a, b| a * b) / size).clamp(-1.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hours before the television and quotient of intelligence of ten persons, the example of the
    /// encyclopedia article on this coefficient (from memory): ρ = −29/165.
    #[test]
    fn a_published_example_is_met() {
        let iq = [106.0, 100.0, 86.0, 101.0, 99.0, 103.0, 97.0, 113.0, 112.0, 110.0];
        let hours = [7.0, 27.0, 2.0, 50.0, 28.0, 29.0, 20.0, 12.0, 6.0, 17.0];
        let found = spearman(&iq, &hours, 0.95).unwrap();
        assert!((found.rho + 29.0 / 165.0).abs() < 1e-12, "{}", found.rho);
        assert!((found.p - 0.627_188).abs() < 1e-5, "{}", found.p);
    }

    #[test]
    fn order_alone_counts_and_a_constant_has_none() {
        let x = [1.0, 2.0, 3.0, 4.0, 5.0];
        let found = spearman(&x, &x.map(f64::exp), 0.95).unwrap();
        assert_eq!((found.rho, found.p), (1.0, 0.0));
        assert!(found.interval.high <= 1.0);
        assert!(spearman(&x, &[1.0; 5], 0.95).is_err());
        assert!(spearman(&x, &x[..4], 0.95).is_err());
        assert!(spearman(&x[..2], &x[..2], 0.95).is_err());
    }
}
