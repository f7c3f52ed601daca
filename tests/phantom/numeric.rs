//! The little numerical analysis that truth needs: error function, a bracketed root, adaptive
//! quadrature, Gauss–Legendre nodes. Knows nothing of dose or shape.

use std::f64::consts::PI;

/// Error function, to about 1e-15: power series below 2.5, continued fraction above.
pub fn erf(x: f64) -> f64 {
    let a = x.abs();
    let value = if a < 2.5 { erf_series(a) } else { 1.0 - erfc_fraction(a) };
    value.copysign(x)
}

/// `erf(x) = 2/√π · e^(−x²) Σ 2ⁿ x^(2n+1) / (2n+1)!!`, all terms positive.
fn erf_series(x: f64) -> f64 {
    let (mut term, mut sum, mut n) = (x, x, 0.0);
    while term > sum * 1e-18 && n < 200.0 {
        n += 1.0;
        term *= 2.0 * x * x / (2.0 * n + 1.0);
        sum += term;
    }
    2.0 / PI.sqrt() * (-x * x).exp() * sum
}

/// `erfc(x) = e^(−x²)/√π · 1/(x + ½/(x + 1/(x + 3/2/(x + …))))`, evaluated backwards.
fn erfc_fraction(x: f64) -> f64 {
    let tail = (1..=120).rev().fold(x, |f, k| x + 0.5 * f64::from(k) / f);
    (-x * x).exp() / (PI.sqrt() * tail)
}

/// Root of `f` between `low` and `high` by bisection to the last bit; `f` must change sign there.
pub fn root(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let (mut low, mut high) = (low, high);
    let rising = f(low) <= 0.0;
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low.min(high) || middle >= low.max(high) {
            break;
        }
        if (f(middle) <= 0.0) == rising { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Root of `f` by bisection narrowed to `tolerance`: for functions that are costly to evaluate.
pub fn root_within(f: impl Fn(f64) -> f64, bracket: [f64; 2], tolerance: f64) -> f64 {
    let [mut low, mut high] = bracket;
    let (mut at_low, mut at_high) = (f(low), f(high));
    let mut side = 0;
    for _ in 0..200 {
        if (high - low).abs() <= tolerance || at_low == 0.0 || at_high == 0.0 {
            break;
        }
        // Regula falsi with the Illinois halving, so that both ends move.
        let x = (low * at_high - high * at_low) / (at_high - at_low);
        let y = f(x);
        if y.abs() < 1e-14 {
            return x;
        }
        if (y > 0.0) == (at_high > 0.0) {
            (high, at_high) = (x, y);
            at_low *= if side == 1 { 0.5 } else { 1.0 };
            side = 1;
        } else {
            (low, at_low) = (x, y);
            at_high *= if side == -1 { 0.5 } else { 1.0 };
            side = -1;
        }
    }
    if at_low.abs() < at_high.abs() { low } else { high }
}

/// Integral of `f` over `[a, b]` by adaptive Simpson bisection to the absolute `tolerance`.
pub fn integral(f: &dyn Fn(f64) -> f64, a: f64, b: f64, tolerance: f64) -> f64 {
    // Sixteen panels first: a bump that falls between three samples would be missed.
    let width = (b - a) / 16.0;
    (0..16)
        .map(|k| {
            let low = a + width * f64::from(k);
            let ends = [f(low), f(low + 0.5 * width), f(low + width)];
            simpson(f, [low, low + width], ends, (tolerance / 16.0, 40))
        })
        .sum()
}

fn simpson(f: &dyn Fn(f64) -> f64, x: [f64; 2], y: [f64; 3], (tol, depth): (f64, u32)) -> f64 {
    let middle = 0.5 * (x[0] + x[1]);
    let (left, right) = (f(0.5 * (x[0] + middle)), f(0.5 * (middle + x[1])));
    let sixth = (x[1] - x[0]) / 12.0;
    let whole = 2.0 * sixth * (y[0] + 4.0 * y[1] + y[2]);
    let first = sixth * (y[0] + 4.0 * left + y[1]);
    let second = sixth * (y[1] + 4.0 * right + y[2]);
    let error = first + second - whole;
    if depth == 0 || error.abs() <= 15.0 * tol {
        return first + second + error / 15.0;
    }
    simpson(f, [x[0], middle], [y[0], left, y[1]], (0.5 * tol, depth - 1))
        + simpson(f, [middle, x[1]], [y[1], right, y[2]], (0.5 * tol, depth - 1))
}

/// Nodes and weights of the `n`-point Gauss–Legendre rule on `[-1, 1]`, by Newton's iteration.
pub fn gauss_legendre(n: u32) -> Vec<(f64, f64)> {
    let legendre = |x: f64| {
        let (mut before, mut now) = (1.0, x);
        for k in 2..=n {
            let k = f64::from(k);
            (before, now) = (now, ((2.0 * k - 1.0) * x * now - (k - 1.0) * before) / k);
        }
        (now, f64::from(n) * (x * now - before) / (x * x - 1.0))
    };
    (0..n)
        .map(|i| {
            let mut x = -(PI * (f64::from(i) + 0.75) / (f64::from(n) + 0.5)).cos();
            for _ in 0..50 {
                let (value, slope) = legendre(x);
                x -= value / slope;
            }
            let slope = legendre(x).1;
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Values of the error function from printed tables (Abramowitz and Stegun, table 7.1; from
    /// memory, and the same to 1e-15 in the C library).
    #[test]
    fn error_function_has_the_tabulated_values() {
        for (x, y) in [(0.5, 0.520_499_877_8), (1.0, 0.842_700_792_9), (2.0, 0.995_322_265_0)] {
            assert!((erf(x) - y).abs() < 1e-10, "{x}");
            assert!((erf(-x) + y).abs() < 1e-10, "{x}");
        }
        let join = erf_series(2.5) - (1.0 - erfc_fraction(2.5));
        assert!(join.abs() < 1e-15, "{join:e}");
    }

    #[test]
    fn quadrature_and_roots_are_exact_on_known_integrals() {
        assert!((integral(&f64::sin, 0.0, PI, 1e-12) - 2.0).abs() < 1e-11);
        let quarter = integral(&|x| (1.0 - x * x).max(0.0).sqrt(), 0.0, 1.0, 1e-11);
        assert!((quarter - PI / 4.0).abs() < 1e-9);
        let sum: f64 = gauss_legendre(10).iter().map(|(x, w)| w * x.powi(18)).sum();
        assert!((sum - 2.0 / 19.0).abs() < 1e-14);
        assert!((root(|x| x * x - 2.0, 0.0, 2.0) - 2f64.sqrt()).abs() < 1e-15);
        assert!((root_within(|x| x.exp() - 3.0, [0.0, 5.0], 1e-13) - 3f64.ln()).abs() < 1e-12);
    }
}
