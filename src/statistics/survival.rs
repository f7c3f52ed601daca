//! Time until an event that may not have been seen: the estimate of Kaplan and Meier (1958) with
//! Greenwood's variance, medians, the log-rank test.
//!
//! At one time events come before censoring: who is censored at a time is still at risk there.

use std::cmp::Ordering;

use super::linear::solve;
use super::special::{chi_squared_upper, normal_reach};
use super::{Interval, Undefined, at_least, confidence, finite, real};

/// How the observation of somebody ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Without an event, when nobody looked any longer.
    Censored,
    /// With the event.
    Event,
    /// With another event, after which the first can no longer happen or be seen.
    Competing,
}

/// Times with how they ended, in ascending order.
#[derive(Debug, Clone, PartialEq)]
pub struct Times {
    time: Vec<f64>,
    end: Vec<End>,
    /// Place of each in the lists it came from.
    origin: Vec<usize>,
}

impl Times {
    /// Puts times in order.
    ///
    /// # Errors
    /// When there are none, lists differ in length, or a time is negative or not finite.
    pub fn new(time: &[f64], end: &[End]) -> Result<Self, Undefined> {
        if time.len() != end.len() {
            return Err(Undefined::Lengths("times and how they end"));
        }
        at_least(1, time.len(), "times")?;
        finite(time, "times")?;
        if let Some(found) = time.iter().copied().find(|t| *t < 0.0) {
            return Err(Undefined::Outside { what: "time", found, accepted: "0 or more" });
        }
        let mut origin: Vec<usize> = (0..time.len()).collect();
        origin.sort_by(|a, b| time[*a].total_cmp(&time[*b]).then(a.cmp(b)));
        let sorted = |i: &usize| (time[*i], end[*i]);
        let (time, end) = origin.iter().map(sorted).unzip();
        Ok(Self { time, end, origin })
    }

    /// The same times where censoring is what is waited for: the reverse method for follow-up
    /// (Schemper and Smith 1996).
    #[must_use]
    pub fn reversed(&self) -> Self {
        let turn = |e: &End| if *e == End::Censored { End::Event } else { End::Censored };
        Self { end: self.end.iter().map(turn).collect(), ..self.clone() }
    }

    /// The same times where only the event counts, and others censor.
    #[must_use]
    pub fn event_only(&self) -> Self {
        let turn = |e: &End| if *e == End::Event { End::Event } else { End::Censored };
        Self { end: self.end.iter().map(turn).collect(), ..self.clone() }
    }

    /// How many.
    #[must_use]
    pub fn count(&self) -> usize {
        self.time.len()
    }

    /// The last time.
    #[must_use]
    pub fn last(&self) -> f64 {
        self.time.last().copied().unwrap_or(0.0)
    }

    /// How many are still under observation at a time; who leaves at it is.
    #[must_use]
    pub fn at_risk(&self, time: f64) -> usize {
        self.time.iter().filter(|t| **t >= time).count()
    }

    /// How many ended so, up to and with a time.
    #[must_use]
    pub fn ended(&self, how: End, time: f64) -> usize {
        self.time.iter().zip(&self.end).filter(|(t, e)| **t <= time && **e == how).count()
    }

    /// What happens at each time, every observation counted with its weight.
    pub(super) fn table(&self, weights: Option<&[f64]>) -> Vec<Row> {
        let weight = |i: usize| weights.map_or(1.0, |w| w[self.origin[i]]);
        let mut rest: f64 = (0..self.time.len()).map(weight).sum();
        let mut rows: Vec<Row> = Vec::new();
        for (i, time) in self.time.iter().enumerate() {
            if rows.last().is_none_or(|r| r.time != *time) {
                rows.push(Row { time: *time, at_risk: rest, ..Row::default() });
            }
            if let Some(row) = rows.last_mut() {
                match self.end[i] {
                    End::Event => row.events += weight(i),
                    End::Competing => row.competing += weight(i),
                    End::Censored => row.censored += weight(i),
                }
            }
            rest -= weight(i);
        }
        rows
    }
}

/// What happens at one time.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Row {
    pub(super) time: f64,
    pub(super) at_risk: f64,
    pub(super) events: f64,
    pub(super) competing: f64,
    pub(super) censored: f64,
}

/// The estimate from one time on until the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The time, at which somebody's observation ended.
    pub time: f64,
    /// At risk just before.
    pub at_risk: f64,
    /// Events at it.
    pub events: f64,
    /// Censored at it.
    pub censored: f64,
    /// Share without event from then on.
    pub survival: f64,
    /// Greenwood's standard error.
    pub error: f64,
    /// Interval on the scale of log(−log); absent while nothing has happened and when nobody is
    /// left.
    pub interval: Option<Interval>,
}

/// A curve of survival.
#[derive(Debug, Clone, PartialEq)]
pub struct KaplanMeier {
    /// One step for each time.
    pub steps: Vec<Step>,
}

/// Estimates the share without event; competing events count as events too. Use
/// [`Times::event_only`] where they should censor, and mind that the rest to 1 is then no incidence.
///
/// # Errors
/// When the confidence is not between 0 and 1.
pub fn kaplan_meier(times: &Times, level: f64) -> Result<KaplanMeier, Undefined> {
    confidence(level)?;
    let reach = normal_reach(level);
    let (mut survival, mut greenwood) = (1.0, 0.0);
    let steps = times.table(None).into_iter().map(|row| {
        let events = row.events + row.competing;
        if events > 0.0 {
            survival *= 1.0 - events / row.at_risk;
            greenwood += events / (row.at_risk * (row.at_risk - events));
        }
        let Row { time, at_risk, censored, .. } = row;
        let error = if survival > 0.0 { survival * f64::sqrt(greenwood) } else { 0.0 };
        let interval = log_log(survival, error, reach);
        Step { time, at_risk, events, censored, survival, error, interval }
    });
    Ok(KaplanMeier { steps: steps.collect() })
}

/// An interval of a share on the scale of log(−log).
pub(super) fn log_log(share: f64, error: f64, reach: f64) -> Option<Interval> {
    if !(share > 0.0 && share < 1.0 && error > 0.0) {
        return None;
    }
    let turn = reach * error / (share * share.ln());
    let (a, b) = (share.powf(turn.exp()), share.powf((-turn).exp()));
    Some(Interval { low: a.min(b), high: a.max(b) })
}

impl KaplanMeier {
    /// The share at a time; 1 before the first step, absent after the last.
    #[must_use]
    pub fn at(&self, time: f64) -> Option<f64> {
        let last = self.steps.last()?;
        if time > last.time && last.survival > 0.0 {
            return None;
        }
        Some(self.step_at(time).map_or(1.0, |s| s.survival))
    }

    /// The step that holds at a time; absent before the first.
    #[must_use]
    pub fn step_at(&self, time: f64) -> Option<&Step> {
        self.steps.iter().rev().find(|s| s.time <= time)
    }

    /// The first time at which no more than half are without event; absent when it is not reached.
    #[must_use]
    pub fn median(&self) -> Option<f64> {
        self.first(|s| Some(s.survival))
    }

    /// Interval of the median: where the band reaches one half (Brookmeyer and Crowley 1982). The
    /// upper side is infinite when the band does not come down so far.
    #[must_use]
    pub fn median_interval(&self) -> Option<Interval> {
        let low = self.first(|s| s.interval.map(|i| i.low).or(bare(s)))?;
        let high = self.first(|s| s.interval.map(|i| i.high).or(bare(s)));
        Some(Interval { low, high: high.unwrap_or(f64::INFINITY) })
    }

    fn first(&self, of: impl Fn(&Step) -> Option<f64>) -> Option<f64> {
        // Products of fractions miss one half by rounding.
        let reached = |s: &&Step| of(s).is_some_and(|v| v <= 0.5 + 1e-12);
        self.steps.iter().find(reached).map(|s| s.time)
    }
}

/// Of a step without band: nothing has happened yet. Where nobody is left there is no band either,
/// and the curve says nothing of its uncertainty.
fn bare(step: &Step) -> Option<f64> {
    (step.survival >= 1.0).then_some(1.0)
}

/// Groups compared over all of their times.
#[derive(Debug, Clone, PartialEq)]
pub struct LogRank {
    /// Events of each group, and how many would be expected if the groups did not differ.
    pub counts: Vec<(f64, f64)>,
    /// The statistic.
    pub chi_squared: f64,
    /// Degrees of freedom.
    pub degrees: usize,
    /// p by the chi-squared distribution.
    pub p: f64,
}

/// The log-rank test; competing events count as events, see [`kaplan_meier`].
///
/// # Errors
/// With fewer than two groups or without events.
pub fn log_rank(groups: &[Times]) -> Result<LogRank, Undefined> {
    at_least(2, groups.len(), "groups")?;
    let tables: Vec<Vec<Row>> = groups.iter().map(|g| g.table(None)).collect();
    let mut moments: Vec<f64> = tables.iter().flatten().map(|r| r.time).collect();
    moments.sort_by(f64::total_cmp);
    moments.dedup_by(|a, b| a.total_cmp(b) == Ordering::Equal);
    let size = groups.len();
    let mut counts = vec![(0.0, 0.0); size];
    let mut variance = vec![vec![0.0; size - 1]; size - 1];
    for time in moments {
        let here: Vec<(f64, f64)> = tables
            .iter()
            .zip(groups)
            .map(|(t, g)| (happened(t, time), real(g.at_risk(time))))
            .collect();
        let (events, risk) = here.iter().fold((0.0, 0.0), |s, h| (s.0 + h.0, s.1 + h.1));
        if events == 0.0 {
            continue;
        }
        for (count, (own, at_risk)) in counts.iter_mut().zip(&here) {
            count.0 += own;
            count.1 += events * at_risk / risk;
        }
        if risk > 1.0 {
            let scale = events * (risk - events) / (risk - 1.0);
            for (j, row) in variance.iter_mut().enumerate() {
                for (k, cell) in row.iter_mut().enumerate() {
                    let (a, b) = (here[j].1 / risk, here[k].1 / risk);
                    *cell += scale * (if j == k { a } else { 0.0 } - a * b);
                }
            }
        }
    }
    at_least(1, counts.iter().filter(|c| c.0 > 0.0).count(), "groups with events")?;
    let gap: Vec<f64> = counts.iter().take(size - 1).map(|(o, e)| o - e).collect();
    let solved = solve(variance, gap.clone()).ok_or(Undefined::Constant("groups at risk"))?;
    let chi_squared: f64 = gap.iter().zip(solved).map(|(g, s)| g * s).sum();
    let p = chi_squared_upper(chi_squared, real(size - 1));
    Ok(LogRank { counts, chi_squared, degrees: size - 1, p })
}

fn happened(table: &[Row], time: f64) -> f64 {
    table.iter().find(|r| r.time == time).map_or(0.0, |r| r.events + r.competing)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Remission of leukaemia under 6-mercaptopurine and placebo (Freireich 1963), as every textbook
    /// has it (from memory): weeks, with + for censored.
    const TREATED: [(f64, bool); 21] = [
        (6.0, true),
        (6.0, true),
        (6.0, true),
        (6.0, false),
        (7.0, true),
        (9.0, false),
        (10.0, true),
        (10.0, false),
        (11.0, false),
        (13.0, true),
        (16.0, true),
        (17.0, false),
        (19.0, false),
        (20.0, false),
        (22.0, true),
        (23.0, true),
        (25.0, false),
        (32.0, false),
        (32.0, false),
        (34.0, false),
        (35.0, false),
    ];
    const PLACEBO: [f64; 21] = [
        1.0, 1.0, 2.0, 2.0, 3.0, 4.0, 4.0, 5.0, 5.0, 8.0, 8.0, 8.0, 8.0, 11.0, 11.0, 12.0, 12.0,
        15.0, 17.0, 22.0, 23.0,
    ];

    fn treated() -> Times {
        let end = |e| if e { End::Event } else { End::Censored };
        let (time, end): (Vec<f64>, Vec<End>) = TREATED.iter().map(|(t, e)| (*t, end(*e))).unzip();
        Times::new(&time, &end).unwrap()
    }

    /// The curve, its medians and the log-rank statistic 16.8 of the textbooks (from memory).
    #[test]
    fn the_remissions_of_the_textbooks_are_met() {
        let curve = kaplan_meier(&treated(), 0.95).unwrap();
        for (time, survival) in
            [(6.0, 0.857), (7.0, 0.807), (10.0, 0.753), (13.0, 0.690), (23.0, 0.448)]
        {
            assert!((curve.at(time).unwrap() - survival).abs() < 5e-4, "{time}");
        }
        assert_eq!(curve.median(), Some(23.0));
        let placebo = Times::new(&PLACEBO, &[End::Event; 21]).unwrap();
        assert_eq!(kaplan_meier(&placebo, 0.95).unwrap().median(), Some(8.0));
        let test = log_rank(&[treated(), placebo]).unwrap();
        assert!((test.chi_squared - 16.79).abs() < 5e-3, "{test:?}");
        assert!((test.counts[0].1 - 19.25).abs() < 5e-3, "{test:?}");
    }

    #[test]
    fn without_censoring_it_is_the_share_that_is_left() {
        let times = Times::new(&[4.0, 1.0, 2.0, 2.0, 8.0], &[End::Event; 5]).unwrap();
        let curve = kaplan_meier(&times, 0.95).unwrap();
        let found: Vec<f64> = curve.steps.iter().map(|s| s.survival).collect();
        for (found, wanted) in found.iter().zip([0.8, 0.4, 0.2, 0.0]) {
            assert!((found - wanted).abs() < 1e-15);
        }
        let step = curve.step_at(3.0).unwrap();
        assert!((step.error - (0.4_f64 * 0.6 / 5.0).sqrt()).abs() < 1e-15, "Greenwood is binomial");
        assert_eq!((curve.at(0.5), curve.at(99.0)), (Some(1.0), Some(0.0)));
    }

    #[test]
    fn follow_up_is_the_time_until_censoring() {
        let curve = kaplan_meier(&treated().reversed(), 0.95).unwrap();
        assert_eq!(curve.median(), Some(25.0));
        assert_eq!(curve.at(40.0), Some(0.0));
        assert_eq!(treated().at_risk(10.0), 15);
        assert_eq!(treated().ended(End::Event, 10.0), 5);
    }

    #[test]
    fn what_has_no_time_is_refused() {
        assert!(Times::new(&[], &[]).is_err());
        assert!(Times::new(&[-1.0], &[End::Event]).is_err());
        assert!(Times::new(&[1.0], &[]).is_err());
        let none = Times::new(&[1.0, 2.0], &[End::Censored; 2]).unwrap();
        assert_eq!(kaplan_meier(&none, 0.95).unwrap().median(), None);
        assert!(log_rank(&[none.clone(), none]).is_err());
    }
}
