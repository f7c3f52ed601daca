//! One estimate from several centres: the random-effects summary of DerSimonian and Laird (1986,
//! Control Clin Trials 7:177) with the interval of Hartung and Knapp (2001, Stat Med 20:3875), how
//! much the centres differ (Higgins and Thompson 2002, Stat Med 21:1539), and what the next centre may
//! have (Higgins, Thompson and Spiegelhalter 2009, J R Stat Soc A 172:137). Formulas from memory, held
//! against a library.

use super::special::{chi_squared_upper, normal_reach, student_reach};
use super::{Interval, Undefined, at_least, confidence, finite, real};

/// What one centre found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The effect, such as a log odds ratio.
    pub effect: f64,
    /// Its standard error, above 0.
    pub error: f64,
}

/// What all found together.
#[derive(Debug, Clone, PartialEq)]
pub struct RandomEffects {
    /// Mean of the effects of centres such as these.
    pub effect: f64,
    /// Its standard error by DerSimonian and Laird.
    pub error: f64,
    /// Its interval by Hartung and Knapp, no narrower than with the error above and Student's
    /// distribution: with few centres that agree by chance it would be.
    pub interval: Interval,
    /// Variance of the effects between centres; 0 where they differ by no more than chance.
    pub tau_2: f64,
    /// Cochran's Q, its degrees of freedom and its p.
    pub q: f64,
    /// One less than the centres.
    pub degrees: usize,
    /// Probability of a larger Q where all centres have one effect.
    pub p: f64,
    /// Share of the variance of the estimates that is between centres, 0 to 1.
    pub i_2: f64,
    /// Its interval; absent with two centres.
    pub i_2_interval: Option<Interval>,
    /// Where the effect of one more centre is expected; absent with two centres.
    pub next_centre: Option<Interval>,
    /// Shares of the weight, in the order of the estimates.
    pub weights: Vec<f64>,
}

/// The summary of the effects of centres.
///
/// # Errors
/// With fewer than two estimates, numbers that are not finite, or a standard error that is not above 0.
pub fn random_effects(estimates: &[Estimate], level: f64) -> Result<RandomEffects, Undefined> {
    confidence(level)?;
    at_least(2, estimates.len(), "centres with an estimate")?;
    let effects: Vec<f64> = estimates.iter().map(|e| e.effect).collect();
    finite(&effects, "effects")?;
    for e in estimates {
        if !(e.error > 0.0 && e.error.is_finite()) {
            let accepted = "a finite number above 0";
            return Err(Undefined::Outside { what: "standard error", found: e.error, accepted });
        }
    }
    let degrees = estimates.len() - 1;
    let plain: Vec<f64> = estimates.iter().map(|e| e.error.powi(-2)).collect();
    let q = spread(&effects, &plain);
    let (all, squares) = (plain.iter().sum::<f64>(), plain.iter().map(|w| w * w).sum::<f64>());
    let tau_2 = ((q - real(degrees)) / (all - squares / all)).max(0.0);
    let weights: Vec<f64> = estimates.iter().map(|e| 1.0 / (e.error.powi(2) + tau_2)).collect();
    let sum: f64 = weights.iter().sum();
    let (effect, error) = (mean(&effects, &weights), sum.powf(-0.5));
    let scatter = (spread(&effects, &weights) / real(degrees)).max(1.0).sqrt();
    let undefined = || Undefined::NoConvergence("the quantile of Student's distribution");
    let reach = student_reach(level, real(degrees)).ok_or_else(undefined)? * error * scatter;
    let next = (degrees >= 2).then(|| student_reach(level, real(degrees - 1))).flatten();
    Ok(RandomEffects {
        effect,
        error,
        interval: about(effect, reach),
        tau_2,
        q,
        degrees,
        p: chi_squared_upper(q, real(degrees)),
        i_2: if q > 0.0 { (1.0 - real(degrees) / q).max(0.0) } else { 0.0 },
        i_2_interval: i_2_interval(q, degrees, level),
        next_centre: next.map(|t| about(effect, t * (tau_2 + error * error).sqrt())),
        weights: weights.iter().map(|w| w / sum).collect(),
    })
}

fn about(middle: f64, reach: f64) -> Interval {
    Interval { low: middle - reach, high: middle + reach }
}

fn mean(values: &[f64], weights: &[f64]) -> f64 {
    let sum: f64 = values.iter().zip(weights).map(|(v, w)| v * w).sum();
    sum / weights.iter().sum::<f64>()
}

/// Weighted squares of distances from the weighted mean.
fn spread(values: &[f64], weights: &[f64]) -> f64 {
    let middle = mean(values, weights);
    values.iter().zip(weights).map(|(v, w)| w * (v - middle).powi(2)).sum()
}

/// By the distribution of the logarithm of H = √(Q / degrees).
fn i_2_interval(q: f64, degrees: usize, level: f64) -> Option<Interval> {
    let (df, k) = (real(degrees), real(degrees + 1));
    if degrees < 2 || q <= 0.0 {
        return None;
    }
    // Two expressions for its error: Q far above what chance gives, and Q within it.
    let error = if q > k {
        0.5 * (q.ln() - df.ln()) / ((2.0 * q).sqrt() - (2.0 * k - 3.0).sqrt())
    } else {
        ((1.0 - 1.0 / (3.0 * (k - 2.0).powi(2))) / (2.0 * (k - 2.0))).sqrt()
    };
    let (log_h, reach) = (0.5 * (q / df).ln(), normal_reach(level) * error);
    let share = |log_h: f64| 1.0 - (-2.0 * log_h.max(0.0)).exp();
    Some(Interval { low: share(log_h - reach), high: share(log_h + reach) })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(list: &[[f64; 2]]) -> RandomEffects {
        let list: Vec<Estimate> = list
            .iter()
            .map(|[effect, error]| Estimate { effect: *effect, error: *error })
            .collect();
        random_effects(&list, 0.95).unwrap()
    }

    /// Two centres of equal error s at ±d: Q = 2d²/s², τ² = 2d² − s², error √((s² + τ²)/2) = d.
    #[test]
    fn two_centres_have_a_closed_form() {
        let found = of(&[[0.2, 0.5], [2.2, 0.5]]);
        assert!((found.effect - 1.2).abs() < 1e-12);
        assert!((found.q - 8.0).abs() < 1e-12 && (found.i_2 - 7.0 / 8.0).abs() < 1e-12);
        assert!((found.tau_2 - 1.75).abs() < 1e-12 && (found.error - 1.0).abs() < 1e-12);
        // Student's quantile of one degree of freedom is tan(0.475 π).
        let t = (0.475 * std::f64::consts::PI).tan();
        assert!((found.interval.high - 1.2 - t).abs() < 1e-6, "{found:?}");
        assert_eq!((found.next_centre, found.i_2_interval), (None, None));
        assert_eq!(found.weights, [0.5, 0.5]);
    }

    /// Centres that agree are one: the summary is the mean weighted by 1/s², τ² is 0.
    #[test]
    fn centres_that_agree_differ_by_nothing() {
        let found = of(&[[1.0, 0.1], [1.0, 0.2], [1.0, 0.4]]);
        assert_eq!((found.tau_2, found.q, found.i_2), (0.0, 0.0, 0.0));
        assert!((found.error - (100.0_f64 + 25.0 + 6.25).powf(-0.5)).abs() < 1e-12);
        assert!((found.p - 1.0).abs() < 1e-12);
        // Not narrower than chance: the scatter of nothing does not count.
        assert!(found.interval.high - 1.0 > 4.3 * found.error);
    }

    /// Thirteen trials of BCG vaccination, events and others in both arms (Colditz and others 1994,
    /// JAMA 271:698, as they stand in textbooks): log risk ratio −0.714, error 0.179, τ² 0.309,
    /// Q 152.2, I² 92.1 % (all from memory).
    #[test]
    fn the_textbook_example_of_thirteen_trials() {
        let trials: [[f64; 4]; 13] = [
            [4.0, 119.0, 11.0, 128.0],
            [6.0, 300.0, 29.0, 274.0],
            [3.0, 228.0, 11.0, 209.0],
            [62.0, 13536.0, 248.0, 12619.0],
            [33.0, 5036.0, 47.0, 5761.0],
            [180.0, 1361.0, 372.0, 1079.0],
            [8.0, 2537.0, 10.0, 619.0],
            [505.0, 87886.0, 499.0, 87892.0],
            [29.0, 7470.0, 45.0, 7232.0],
            [17.0, 1699.0, 65.0, 1600.0],
            [186.0, 50448.0, 141.0, 27197.0],
            [5.0, 2493.0, 3.0, 2338.0],
            [27.0, 16886.0, 29.0, 17825.0],
        ];
        let log_ratio = |[a, b, c, d]: [f64; 4]| {
            let error = (1.0 / a - 1.0 / (a + b) + 1.0 / c - 1.0 / (c + d)).sqrt();
            [(a / (a + b) / (c / (c + d))).ln(), error]
        };
        let found = of(&trials.map(log_ratio));
        for (got, want, last_digit) in [
            (found.effect, -0.714, 1e-3),
            (found.error, 0.179, 1e-3),
            (found.tau_2, 0.309, 1e-3),
            (found.q, 152.2, 0.1),
            (found.i_2, 0.921, 1e-3),
        ] {
            assert!((got - want).abs() < 0.6 * last_digit, "{got} {want}");
        }
        let i_2 = found.i_2_interval.unwrap();
        assert!(i_2.low < found.i_2 && found.i_2 < i_2.high && found.p < 1e-12);
        let next = found.next_centre.unwrap();
        assert!(next.low < found.interval.low && next.high > found.interval.high);
    }

    #[test]
    fn too_little_is_said() {
        let one = [Estimate { effect: 1.0, error: 0.1 }];
        assert!(random_effects(&one, 0.95).unwrap_err().to_string().contains("1 centres"));
        let bad = [Estimate { effect: 1.0, error: 0.0 }; 2];
        assert!(random_effects(&bad, 0.95).unwrap_err().to_string().contains("above 0"));
    }
}
