//! Tails and quantiles of the distributions that the other files need, and a root finder. The
//! functions themselves are those of a library; only inverses are sharpened here.

use libm::erfc;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
use statrs::function::beta::checked_beta_reg;
use statrs::function::factorial::ln_binomial;
use statrs::function::gamma::checked_gamma_ur;

use super::Undefined;

/// Probability above `z` of the standard normal distribution.
pub(super) fn normal_upper(z: f64) -> f64 {
    0.5 * erfc(z * std::f64::consts::FRAC_1_SQRT_2)
}

/// The value below which the standard normal distribution has probability `p`.
pub(super) fn normal_quantile(p: f64) -> f64 {
    let rough = Normal::standard().inverse_cdf(p);
    // One step of Newton's method takes out what the rational approximation leaves.
    let density = (-0.5 * rough * rough).exp() / (2.0 * std::f64::consts::PI).sqrt();
    if density > 0.0 && rough.is_finite() {
        rough + (p - normal_upper(-rough)) / density
    } else {
        rough
    }
}

/// Half-width of a two-sided interval of the standard normal distribution.
pub(super) fn normal_reach(level: f64) -> f64 {
    -normal_quantile(0.5 * (1.0 - level))
}

/// Probability above `x` of the chi-squared distribution.
pub(super) fn chi_squared_upper(x: f64, degrees: f64) -> f64 {
    if x <= 0.0 {
        return 1.0;
    }
    checked_gamma_ur(0.5 * degrees, 0.5 * x).unwrap_or(f64::NAN)
}

/// Probability outside of ±`t` of Student's distribution.
pub(super) fn student_outside(t: f64, degrees: f64) -> f64 {
    beta_below(degrees / (degrees + t * t), 0.5 * degrees, 0.5)
}

/// Half-width of a two-sided interval of Student's distribution.
pub(super) fn student_reach(level: f64, degrees: f64) -> Option<f64> {
    let quantile = StudentsT::new(0.0, 1.0, degrees).ok()?.inverse_cdf(0.5 * (1.0 + level));
    let outside = |t: f64| student_outside(t, degrees) - (1.0 - level);
    root(outside, 0.5 * quantile, 2.0 * quantile + 1.0).ok()
}

/// The regularised incomplete beta function.
fn beta_below(x: f64, a: f64, b: f64) -> f64 {
    checked_beta_reg(a, b, x.clamp(0.0, 1.0)).unwrap_or(f64::NAN)
}

/// The value below which the beta distribution has probability `p`.
pub(super) fn beta_quantile(p: f64, a: f64, b: f64) -> Result<f64, Undefined> {
    root(|x| beta_below(x, a, b) - p, 0.0, 1.0)
}

/// Natural logarithm of the number of ways to choose `k` of `n`.
pub(super) fn ln_choose(n: u64, k: u64) -> f64 {
    ln_binomial(n, k)
}

/// A root between `a` and `b`, where the function has different signs, to the last digits: false
/// position of the Illinois kind with bisection where that is slow.
pub(super) fn root(
    function: impl Fn(f64) -> f64,
    mut a: f64,
    mut b: f64,
) -> Result<f64, Undefined> {
    let (mut fa, mut fb) = (function(a), function(b));
    if fa == 0.0 {
        return Ok(a);
    }
    if fb == 0.0 {
        return Ok(b);
    }
    if fa.is_nan() || fb.is_nan() || (fa > 0.0) == (fb > 0.0) {
        return Err(Undefined::NoConvergence("the search for a root"));
    }
    let mut kept = 0_i32;
    for round in 0..400 {
        if (b - a).abs() <= 4.0 * f64::EPSILON * a.abs().max(b.abs()) {
            break;
        }
        let straight = b - fb * (b - a) / (fb - fa);
        let middle = f64::midpoint(a, b);
        let inside = straight > a.min(b) && straight < a.max(b);
        let x = if inside && round % 4 != 3 { straight } else { middle };
        let fx = function(x);
        if fx == 0.0 {
            return Ok(x);
        }
        if (fx > 0.0) == (fb > 0.0) {
            (b, fb) = (x, fx);
            fa *= if kept == 1 { 0.5 } else { 1.0 };
            kept = 1;
        } else {
            (a, fa) = (x, fx);
            fb *= if kept == -1 { 0.5 } else { 1.0 };
            kept = -1;
        }
    }
    Ok(f64::midpoint(a, b))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(found: f64, wanted: f64) {
        assert!((found - wanted).abs() <= 1e-12 * wanted.abs().max(1e-3), "{found} {wanted}");
    }

    /// Values of the Python package scipy 1.17.1: `norm.ppf`, `norm.sf`, `chi2.sf`, `t.sf`,
    /// `t.ppf`, `beta.ppf`.
    #[test]
    fn distributions_agree_with_a_library_of_another_language() {
        near(normal_quantile(0.975), 1.959_963_984_540_054);
        near(normal_quantile(1e-10), -6.361_340_902_404_056);
        near(normal_upper(3.0), 0.001_349_898_031_630_093_3);
        near(chi_squared_upper(3.841_458_820_694_124, 1.0), 0.05);
        near(chi_squared_upper(11.5, 4.0), 0.021_483_770_376_440_253);
        near(student_outside(2.5, 7.0), 0.040_992_218_585_752_89);
        near(student_reach(0.95, 7.0).unwrap(), 2.364_624_251_592_784);
        near(student_reach(0.95, 1.0).unwrap(), 12.706_204_736_174_694);
        near(beta_quantile(0.025, 2.0, 9.0).unwrap(), 0.025_210_726_326_833_33);
    }

    #[test]
    fn a_root_is_found_to_the_last_digits_and_only_between_signs() {
        near(root(|x| x * x * x - 2.0, 0.0, 9.0).unwrap(), 2.0_f64.cbrt());
        near(root(|x| x.exp() - 1e-9, -90.0, 3.0).unwrap(), 1e-9_f64.ln());
        assert!(root(|x| x * x + 1.0, -1.0, 1.0).is_err());
        assert_eq!(root(|x| x - 1.0, 1.0, 5.0), Ok(1.0));
    }
}
