//! How often an event has happened by a time when another one may come before it: the cumulative
//! incidence of Aalen and Johansen (1978). One minus the estimate of Kaplan and Meier is too high
//! then.

use super::bootstrap::{Clusters, intervals};
use super::special::normal_reach;
use super::survival::{Row, Times, log_log};
use super::{Interval, Undefined, confidence};

/// The incidence from one time on until the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The time.
    pub time: f64,
    /// At risk just before.
    pub at_risk: f64,
    /// Share with the event by then.
    pub event: f64,
    /// Share with the competing event by then.
    pub competing: f64,
    /// Standard error of the event's share, by the delta method (Dinse and Larson 1986); of one
    /// cause alone it is Greenwood's.
    pub error: f64,
    /// Interval of the event's share on the scale of log(−log); absent while there is none.
    pub interval: Option<Interval>,
}

/// The two incidences over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Incidence {
    /// One step for each time.
    pub steps: Vec<Step>,
}

/// Estimates both incidences.
///
/// # Errors
/// When the confidence is not between 0 and 1.
pub fn aalen_johansen(times: &Times, level: f64) -> Result<Incidence, Undefined> {
    confidence(level)?;
    let table = times.table(None);
    let shares = shares(&table);
    let reach = normal_reach(level);
    let step = |(place, row): (usize, &Row)| {
        let (event, competing) = shares[place].after;
        let error = variance(&table[..=place], &shares, event).max(0.0).sqrt();
        let interval = log_log(event, error, reach);
        Step { time: row.time, at_risk: row.at_risk, event, competing, error, interval }
    };
    Ok(Incidence { steps: table.iter().enumerate().map(step).collect() })
}

#[derive(Clone, Copy)]
struct Share {
    /// Share without any event just before the time.
    free: f64,
    /// Shares with the event and with the competing one from the time on.
    after: (f64, f64),
}

fn shares(table: &[Row]) -> Vec<Share> {
    let (mut free, mut after) = (1.0, (0.0, 0.0));
    let share = |row: &Row| {
        let before = free;
        if row.at_risk > 0.0 {
            after.0 += before * row.events / row.at_risk;
            after.1 += before * row.competing / row.at_risk;
            free = before * (1.0 - (row.events + row.competing) / row.at_risk);
        }
        Share { free: before, after }
    };
    table.iter().map(share).collect()
}

/// Variance of the event's share at the last row, which is `event`.
fn variance(table: &[Row], shares: &[Share], event: f64) -> f64 {
    let part = |(row, share): (&Row, &Share)| {
        let (n, own, all) = (row.at_risk, row.events, row.events + row.competing);
        let gap = event - share.after.0;
        let spread = if n > all { gap * gap * all / (n * (n - all)) } else { 0.0 };
        let jump = share.free * share.free * own * (n - own) / (n * n * n);
        spread + jump - 2.0 * gap * share.free * own / (n * n)
    };
    table.iter().zip(shares).map(part).sum()
}

impl Incidence {
    /// The step that holds at a time; absent before the first and after the last observation.
    #[must_use]
    pub fn at(&self, time: f64) -> Option<&Step> {
        let last = self.steps.last()?;
        if time > last.time {
            return None;
        }
        self.steps.iter().rev().find(|s| s.time <= time)
    }
}

/// Intervals of the event's share at times, by draws of patients; one for each time.
///
/// # Errors
/// When the clusters are not those of the times.
pub fn drawn(
    times: &Times,
    clusters: &Clusters,
    at: &[f64],
    level: f64,
) -> Result<Vec<Option<Interval>>, Undefined> {
    if clusters.observations() != times.count() {
        return Err(Undefined::Lengths("patients and times"));
    }
    let drawn = |weights: &[f64]| -> Vec<f64> {
        let table = times.table(Some(weights));
        let shares = shares(&table);
        let last = |time: f64| table.iter().zip(&shares).take_while(|(r, _)| r.time <= time).last();
        at.iter().map(|t| last(*t).map_or(0.0, |(_, s)| s.after.0)).collect()
    };
    Ok(intervals(clusters, at.len(), level, drawn))
}

#[cfg(test)]
mod tests {
    use super::super::survival::{End, kaplan_meier};
    use super::*;

    fn times(list: &[(f64, u8)]) -> Times {
        let end = |e| match e {
            0 => End::Censored,
            1 => End::Event,
            _ => End::Competing,
        };
        let (time, end): (Vec<f64>, Vec<End>) = list.iter().map(|(t, e)| (*t, end(*e))).unzip();
        Times::new(&time, &end).unwrap()
    }

    #[test]
    fn without_another_event_it_is_one_minus_kaplan_and_meier() {
        let times = times(&[(1.0, 1), (2.0, 0), (2.0, 1), (3.0, 1), (3.0, 0), (5.0, 1), (6.0, 0)]);
        let incidence = aalen_johansen(&times, 0.95).unwrap();
        let survival = kaplan_meier(&times, 0.95).unwrap();
        for (a, b) in incidence.steps.iter().zip(&survival.steps) {
            assert!((a.event + b.survival - 1.0).abs() < 1e-15);
            assert!((a.error - b.error).abs() < 1e-15, "{} {}", a.error, b.error);
        }
    }

    #[test]
    fn without_censoring_shares_are_counts() {
        let times = times(&[(1.0, 1), (2.0, 2), (3.0, 1), (3.0, 2), (4.0, 2)]);
        let found = aalen_johansen(&times, 0.95).unwrap();
        let last = found.at(4.0).unwrap();
        assert!((last.event - 0.4).abs() < 1e-15 && (last.competing - 0.6).abs() < 1e-15);
        assert!((last.error - (0.4_f64 * 0.6 / 5.0).sqrt()).abs() < 1e-12, "binomial");
        assert!(found.at(0.5).is_none() && found.at(9.0).is_none());
        // Death before keeps the event from happening: treating it as censoring is too high.
        let naive = kaplan_meier(&times.event_only(), 0.95).unwrap();
        assert!(1.0 - naive.at(3.0).unwrap() > found.at(3.0).unwrap().event);
    }

    #[test]
    fn draws_of_patients_hold_the_estimate() {
        let list: Vec<(f64, u8)> =
            (0..60).map(|i| (f64::from(i % 17) + 1.0, (i % 3) as u8)).collect();
        let times = times(&list);
        let clusters = Clusters::new((0..60).map(|i| i / 3));
        let found = drawn(&times, &clusters, &[5.0, 12.0], 0.95).unwrap();
        let point = aalen_johansen(&times, 0.95).unwrap();
        for (time, interval) in [5.0, 12.0].iter().zip(found) {
            assert!(interval.unwrap().holds(point.at(*time).unwrap().event));
        }
        assert!(drawn(&times, &Clusters::single(3), &[1.0], 0.95).is_err());
    }
}
