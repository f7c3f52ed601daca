//! Agreement of two ways to measure the same: mean difference and limits of agreement (Bland and
//! Altman 1986, Lancet 327:307; their intervals 1999, Stat Methods Med Res 8:135), and for several
//! values of one patient the variance within and between patients (Bland and Altman 2007, J Biopharm
//! Stat 17:571, true values that vary). All three from memory.

use super::bootstrap::{Clusters, DRAWS, percentile_interval};
use super::special::{normal_reach, student_reach};
use super::{Interval, Undefined, at_least, confidence, finite, real};

/// How far two ways to measure agree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// Mean of the differences.
    pub mean: f64,
    /// Standard deviation of a difference of a new patient.
    pub deviation: f64,
    /// Mean ± the normal quantile times the deviation: where that share of differences lies.
    pub limits: Interval,
    /// Interval of the mean.
    pub mean_interval: Option<Interval>,
    /// Interval of the lower limit.
    pub lower_interval: Option<Interval>,
    /// Interval of the upper limit.
    pub upper_interval: Option<Interval>,
    /// Whether patients with several values were drawn again for the intervals; else they come from
    /// Student's distribution.
    pub drawn: bool,
}

/// Agreement from differences, each of the patient that `clusters` says. The limits hold a share of
/// `level` of the differences, and each interval has that confidence.
///
/// # Errors
/// With fewer than three differences or two patients, or a difference that is not finite.
pub fn agreement(
    differences: &[f64],
    clusters: &Clusters,
    level: f64,
) -> Result<Agreement, Undefined> {
    confidence(level)?;
    at_least(3, differences.len(), "differences")?;
    at_least(2, clusters.count(), "patients")?;
    finite(differences, "differences")?;
    if clusters.observations() != differences.len() {
        return Err(Undefined::Lengths("differences and patients"));
    }
    let once = vec![1.0; differences.len()];
    let (mean, deviation) = moments(differences, clusters, &once)
        .ok_or(Undefined::Constant("patients that were drawn"))?;
    let reach = normal_reach(level);
    let limits = |(mean, deviation): (f64, f64)| Interval {
        low: mean - reach * deviation,
        high: mean + reach * deviation,
    };
    let mut out = Agreement {
        mean,
        deviation,
        limits: limits((mean, deviation)),
        mean_interval: None,
        lower_interval: None,
        upper_interval: None,
        drawn: clusters.repeat(),
    };
    if out.drawn {
        let drawn: Vec<Option<(f64, f64)>> = (0..DRAWS as u64)
            .map(|draw| moments(differences, clusters, &clusters.draw(draw)))
            .collect();
        let interval = |of: &dyn Fn((f64, f64)) -> f64| {
            let found: Vec<f64> = drawn.iter().map(|m| m.map_or(f64::NAN, of)).collect();
            percentile_interval(&found, clusters.count(), level)
        };
        out.mean_interval = interval(&|m| m.0);
        out.lower_interval = interval(&|m| limits(m).low);
        out.upper_interval = interval(&|m| limits(m).high);
        return Ok(out);
    }
    let n = real(differences.len());
    let around = |value: f64, error: f64| {
        let reach = student_reach(level, n - 1.0)? * error;
        Some(Interval { low: value - reach, high: value + reach })
    };
    let error_of_mean = deviation / n.sqrt();
    // The variance of a limit is that of the mean and that of the deviation times the quantile.
    let error_of_limit = deviation * (1.0 / n + reach * reach / (2.0 * (n - 1.0))).sqrt();
    out.mean_interval = around(mean, error_of_mean);
    out.lower_interval = around(out.limits.low, error_of_limit);
    out.upper_interval = around(out.limits.high, error_of_limit);
    Ok(out)
}

/// Mean and deviation, each difference counted as often as it was drawn, with its patient as often a
/// patient of its own. Absent with fewer than two patients.
fn moments(differences: &[f64], clusters: &Clusters, times: &[f64]) -> Option<(f64, f64)> {
    let (mut patients, mut n, mut squares_of_sizes, mut sum) = (0.0, 0.0, 0.0, 0.0);
    let (mut within, mut of_means) = (0.0, 0.0);
    for members in clusters.members() {
        let drawn = members.first().and_then(|m| times.get(*m)).copied().unwrap_or(0.0);
        if drawn == 0.0 {
            continue;
        }
        let own = || members.iter().filter_map(|m| differences.get(*m));
        let size = real(members.len());
        let mean = own().sum::<f64>() / size;
        patients += drawn;
        n += drawn * size;
        squares_of_sizes += drawn * size * size;
        sum += drawn * size * mean;
        within += drawn * own().map(|d| (d - mean).powi(2)).sum::<f64>();
        of_means += drawn * size * mean * mean;
    }
    if patients < 2.0 {
        return None;
    }
    let mean = sum / n;
    let between = (of_means - n * mean * mean).max(0.0) / (patients - 1.0);
    if n == patients {
        return Some((mean, between.sqrt()));
    }
    let within = within / (n - patients);
    // The number of values of a patient that stands for all, when they differ.
    let typical = (n - squares_of_sizes / n) / (patients - 1.0);
    let variance = within + ((between - within) / typical).max(0.0);
    Some((mean, variance.sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Peak expiratory flow by two meters of 17 persons, l/min: the example of Bland and Altman 1986
    /// (data and printed results from memory): mean difference −2.1, deviation 38.8, limits −79.7
    /// and 75.5 by twice the deviation; 95 % interval of the mean −22.0 to 17.8, of the lower limit
    /// −114.3 to −45.1 and of the upper one 40.9 to 110.1.
    #[test]
    fn the_published_example_comes_out() {
        let large =
            [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427];
        let mini =
            [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451];
        let differences: Vec<f64> =
            large.iter().zip(mini).map(|(a, b)| f64::from(*a) - f64::from(b)).collect();
        let found = agreement(&differences, &Clusters::single(17), 0.95).unwrap();
        let near = |found: f64, printed: f64, within: f64| {
            assert!((found - printed).abs() <= within, "{found} for {printed}");
        };
        near(found.mean, -2.1, 0.05);
        near(found.deviation, 38.8, 0.05);
        // They took 2 for 1.96 and the error of a limit as √(3 s²/n).
        near(found.limits.low, -79.7, 0.04 * 38.8 + 0.1);
        near(found.limits.high, 75.5, 0.04 * 38.8 + 0.1);
        let mean = found.mean_interval.unwrap();
        near(mean.low, -22.0, 0.1);
        near(mean.high, 17.8, 0.1);
        let lower = found.lower_interval.unwrap();
        near(lower.high - lower.low, 69.2, 2.0);
    }

    #[test]
    fn several_values_of_a_patient_are_not_several_patients() {
        // Four patients, each with five times the same difference.
        let values = [1.0, 2.0, 4.0, 7.0];
        let many: Vec<f64> = values.iter().flat_map(|v| [*v; 5]).collect();
        let keys = (0..20).map(|i| i / 5);
        let one = agreement(&values, &Clusters::single(4), 0.95).unwrap();
        let clustered = agreement(&many, &Clusters::new(keys), 0.95).unwrap();
        assert!((one.mean - clustered.mean).abs() < 1e-12);
        assert!((one.deviation - clustered.deviation).abs() < 1e-12);
        let naive = agreement(&many, &Clusters::single(20), 0.95).unwrap();
        let width = |a: &Agreement| a.mean_interval.map(|i| i.high - i.low).unwrap();
        assert!(clustered.drawn && width(&clustered) > 1.5 * width(&naive));
    }

    #[test]
    fn what_cannot_be_said_is_not_said() {
        let of = |d: &[f64]| agreement(d, &Clusters::single(d.len()), 0.95);
        assert!(matches!(of(&[1.0, 2.0]), Err(Undefined::TooFew { .. })));
        assert!(of(&[1.0, f64::NAN, 2.0]).is_err());
        let one = Clusters::new(["a"; 4]);
        assert!(matches!(agreement(&[1.0; 4], &one, 0.95), Err(Undefined::TooFew { .. })));
        let equal = of(&[0.0; 5]).unwrap();
        assert_eq!((equal.mean, equal.deviation), (0.0, 0.0));
    }
}
