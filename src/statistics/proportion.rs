//! A proportion with its interval: exact (Clopper and Pearson 1934), by Wilson's score (1927), and
//! for observations that cluster in patients (Korn and Graubard 1998).

use super::special::{beta_quantile, normal_reach, student_reach};
use super::{Interval, Undefined, at_least, confidence, real};

/// The exact interval of Clopper and Pearson: never too narrow.
///
/// # Errors
/// When there is nothing to count, or more events than observations.
pub fn clopper_pearson(events: usize, n: usize, level: f64) -> Result<Interval, Undefined> {
    counted(events, n)?;
    exact(real(events), real(n), level)
}

/// Wilson's score interval: near to the stated confidence on average, sometimes a little below.
///
/// # Errors
/// As [`clopper_pearson`].
pub fn wilson(events: usize, n: usize, level: f64) -> Result<Interval, Undefined> {
    counted(events, n)?;
    confidence(level)?;
    let (n, share, z) = (real(n), real(events) / real(n), normal_reach(level));
    let width = 1.0 + z * z / n;
    let centre = (share + 0.5 * z * z / n) / width;
    let reach = z / width * (share * (1.0 - share) / n + 0.25 * z * z / (n * n)).sqrt();
    // Rounding must not take the ends of nothing and of all away.
    let low = if share == 0.0 { 0.0 } else { centre - reach };
    let high = if share == 1.0 { 1.0 } else { centre + reach };
    Ok(Interval { low, high })
}

/// A proportion of observations that belong to patients.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clustered {
    /// Events among all observations.
    pub events: usize,
    /// Observations.
    pub n: usize,
    /// Patients.
    pub clusters: usize,
    /// How many independent observations would be as precise; at most `n`.
    pub effective_n: f64,
    /// Exact interval for that number.
    pub interval: Interval,
}

/// The proportion of events with an exact interval for the effective number of observations (Korn
/// and Graubard 1998, Survey Methodology 24:193), with their correction for few patients. Each item
/// is one patient: events and observations. Where all observations agree, their likeness within a
/// patient cannot be estimated; the number of patients is taken then, the cautious extreme.
///
/// # Errors
/// When there are no observations or more events than observations.
pub fn clustered(patients: &[(usize, usize)], level: f64) -> Result<Clustered, Undefined> {
    confidence(level)?;
    let events = patients.iter().map(|p| p.0).sum();
    let n = patients.iter().map(|p| p.1).sum();
    counted(events, n)?;
    let of_patients = patients.iter().filter(|p| p.1 > 0);
    let clusters = of_patients.clone().count();
    let share = real(events) / real(n);
    let effective_n = if clusters == n {
        real(n)
    } else if events == 0 || events == n || clusters < 2 {
        real(clusters)
    } else {
        let squares = of_patients.map(|(e, m)| (real(*e) - share * real(*m)).powi(2));
        let factor = real(clusters) / real(clusters - 1);
        let variance = factor * squares.sum::<f64>() / real(n).powi(2);
        let few = student_reach(level, real(n - 1)).zip(student_reach(level, real(clusters - 1)));
        let few = few.map_or(1.0, |(all, patients)| (all / patients).powi(2));
        (share * (1.0 - share) / variance * few).min(real(n))
    };
    let interval = exact(share * effective_n, effective_n, level)?;
    Ok(Clustered { events, n, clusters, effective_n, interval })
}

/// What is known of a risk when nobody had the event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoEvents {
    /// Independent observations, such as patients.
    pub n: usize,
    /// The risk is below it with the stated confidence, all of the error on this side.
    pub one_sided: f64,
    /// Upper end of the two-sided exact interval; the lower is 0.
    pub two_sided: f64,
}

/// The exact upper limits of a risk when none of `n` had the event: 1 − α^(1/n) one-sided, with α/2
/// two-sided.
///
/// # Errors
/// When there is nobody.
pub fn without_events(n: usize, level: f64) -> Result<NoEvents, Undefined> {
    counted(0, n)?;
    confidence(level)?;
    let limit = |error: f64| -(error.ln() / real(n)).exp_m1();
    let error = 1.0 - level;
    Ok(NoEvents { n, one_sided: limit(error), two_sided: limit(0.5 * error) })
}

fn counted(events: usize, n: usize) -> Result<(), Undefined> {
    at_least(1, n, "observations")?;
    if events > n {
        let accepted = "at most the number of observations";
        return Err(Undefined::Outside { what: "number of events", found: real(events), accepted });
    }
    Ok(())
}

/// Clopper and Pearson's interval by quantiles of the beta distribution, for any real counts.
fn exact(events: f64, n: f64, level: f64) -> Result<Interval, Undefined> {
    confidence(level)?;
    let tail = 0.5 * (1.0 - level);
    let rest = n - events;
    let low = if events > 0.0 { beta_quantile(tail, events, rest + 1.0)? } else { 0.0 };
    let high = if rest > 0.0 { beta_quantile(1.0 - tail, events + 1.0, rest)? } else { 1.0 };
    Ok(Interval { low, high })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(found: f64, wanted: f64, digits: i32) {
        assert!((found - wanted).abs() < 10f64.powi(-digits), "{found} {wanted}");
    }

    /// Without events the upper end is 1 − (α/2)^(1/n), in closed form.
    #[test]
    fn nothing_and_all_have_ends_in_closed_form() {
        let none = clopper_pearson(0, 30, 0.95).unwrap();
        assert_eq!(none.low, 0.0);
        near(none.high, 1.0 - 0.025_f64.powf(1.0 / 30.0), 13);
        let all = clopper_pearson(30, 30, 0.95).unwrap();
        near(all.low, 0.025_f64.powf(1.0 / 30.0), 13);
        assert_eq!(all.high, 1.0);
        assert_eq!(wilson(0, 9, 0.95).unwrap().low, 0.0);
        assert_eq!(wilson(9, 9, 0.95).unwrap().high, 1.0);
    }

    /// Newcombe 1998, Stat Med 17:857, table I (from memory): 81 of 263 has 0.2527 to 0.3676 by
    /// the exact method and 0.2553 to 0.3662 by the score method.
    #[test]
    fn a_published_example_is_met() {
        let exact = clopper_pearson(81, 263, 0.95).unwrap();
        near(exact.low, 0.2527, 4);
        near(exact.high, 0.3676, 4);
        let score = wilson(81, 263, 0.95).unwrap();
        near(score.low, 0.2553, 4);
        near(score.high, 0.3662, 4);
    }

    #[test]
    fn observations_that_repeat_their_patient_count_once() {
        let single: Vec<_> = (0..40).map(|i| (usize::from(i < 8), 1)).collect();
        let plain = clopper_pearson(8, 40, 0.95).unwrap();
        assert_eq!(clustered(&single, 0.95).unwrap().interval, plain);
        // Five lesions of each patient that all say the same are worth about one.
        let same: Vec<_> = (0..40).map(|i| (if i < 8 { 5 } else { 0 }, 5)).collect();
        let repeated = clustered(&same, 0.95).unwrap();
        assert_eq!((repeated.events, repeated.n, repeated.clusters), (40, 200, 40));
        assert!(repeated.effective_n < 40.0 && repeated.effective_n > 35.0, "{repeated:?}");
        assert!(repeated.interval.low < plain.low + 1e-3, "{repeated:?}");
    }

    #[test]
    fn without_any_event_the_patients_are_counted() {
        let none = clustered(&[(0, 4), (0, 3), (0, 5)], 0.95).unwrap();
        assert_eq!(none.effective_n, 3.0);
        assert_eq!(none.interval, clopper_pearson(0, 3, 0.95).unwrap());
    }

    /// Nobody of 30: 1 − 0.05^(1/30) = 9.5 % one-sided, near to the rule of three's 3/30; the two-sided
    /// end is that of the exact interval.
    #[test]
    fn nobody_with_the_event_has_upper_limits_in_closed_form() {
        let found = without_events(30, 0.95).unwrap();
        near(found.one_sided, 0.095_034, 6);
        near(found.two_sided, clopper_pearson(0, 30, 0.95).unwrap().high, 12);
        near(without_events(1, 0.95).unwrap().one_sided, 0.95, 12);
        let many = without_events(1_000_000, 0.95).unwrap();
        near(many.one_sided * 1e6, 20.0_f64.ln(), 4);
        assert!(without_events(0, 0.95).is_err());
    }

    #[test]
    fn what_cannot_be_counted_is_refused() {
        assert!(clopper_pearson(0, 0, 0.95).is_err());
        assert!(wilson(3, 2, 0.95).is_err());
        assert!(clustered(&[], 0.95).is_err());
        assert!(clopper_pearson(1, 2, 1.0).is_err());
    }
}
