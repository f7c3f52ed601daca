//! Counts in a table of two rows and two columns: Fisher's exact test, the odds ratio given the
//! margins with its exact interval; and several rows of two columns.
//!
//! The odds ratio is the conditional maximum likelihood estimate, not a·d / b·c; libraries differ in
//! which of both they print.

use super::special::{ln_choose, root};
use super::{Interval, Undefined, at_least, confidence};

/// Tables with more arrangements than this have no exact p in [`fisher_rows`].
const ARRANGEMENTS: f64 = 2e6;
/// Arrangements as probable as the one observed, but for rounding, count as extreme.
const ROUNDING: f64 = 1.0 + 1e-7;

/// A table of four counts judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fisher {
    /// Two-sided p: all tables of these margins that are no more probable than the one observed.
    pub p: f64,
    /// Conditional estimate of the odds ratio; 0 or infinite where a cell is empty.
    pub odds_ratio: f64,
    /// Exact interval of the odds ratio.
    pub interval: Interval,
}

/// Judges the table `[[a, b], [c, d]]`.
///
/// # Errors
/// When a row or a column is empty.
pub fn fisher(table: [[u64; 2]; 2], level: f64) -> Result<Fisher, Undefined> {
    confidence(level)?;
    let [[a, b], [c, d]] = table;
    for margin in [a + b, c + d, a + c, b + d] {
        at_least(1, usize::from(margin > 0), "counts in a row or column")?;
    }
    let margins = Margins::new(a + b, c + d, a + c);
    let observed = margins.probability(a);
    let p = margins.all().map(|x| margins.probability(x)).filter(|q| *q <= observed * ROUNDING);
    let tail = 0.5 * (1.0 - level);
    Ok(Fisher {
        p: p.sum::<f64>().min(1.0),
        odds_ratio: margins.estimate(a)?,
        interval: Interval { low: margins.low(a, tail)?, high: margins.high(a, tail)? },
    })
}

/// The distribution of the first cell for fixed margins.
struct Margins {
    least: u64,
    /// Natural logarithms of the number of arrangements, from `least` on.
    weights: Vec<f64>,
}

impl Margins {
    fn new(row: u64, other: u64, column: u64) -> Self {
        let (least, most) = (column.saturating_sub(other), column.min(row));
        let weight = |x| ln_choose(row, x) + ln_choose(other, column - x);
        Self { least, weights: (least..=most).map(weight).collect() }
    }

    fn all(&self) -> impl Iterator<Item = u64> {
        (self.least..).take(self.weights.len())
    }

    /// Probabilities of all values of the first cell under an odds ratio.
    fn distribution(&self, log_odds: f64) -> Vec<f64> {
        let tilted: Vec<f64> =
            self.all().zip(&self.weights).map(|(x, w)| w + number(x) * log_odds).collect();
        let top = tilted.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let shares: Vec<f64> = tilted.iter().map(|w| (w - top).exp()).collect();
        let sum: f64 = shares.iter().sum();
        shares.into_iter().map(|s| s / sum).collect()
    }

    fn probability(&self, x: u64) -> f64 {
        let place = usize::try_from(x - self.least).unwrap_or(usize::MAX);
        self.distribution(0.0).get(place).copied().unwrap_or(0.0)
    }

    fn expected(&self, log_odds: f64, of: impl Fn(u64) -> f64) -> f64 {
        self.all().zip(self.distribution(log_odds)).map(|(x, p)| p * of(x)).sum()
    }

    fn most(&self) -> u64 {
        self.all().last().unwrap_or(self.least)
    }

    fn estimate(&self, a: u64) -> Result<f64, Undefined> {
        match a {
            a if a == self.least => Ok(0.0),
            a if a == self.most() => Ok(f64::INFINITY),
            a => self.solve(|odds| self.expected(odds, number) - number(a)),
        }
    }

    fn low(&self, a: u64, tail: f64) -> Result<f64, Undefined> {
        if a == self.least {
            return Ok(0.0);
        }
        self.solve(|odds| self.expected(odds, |x| f64::from(x >= a)) - tail)
    }

    fn high(&self, a: u64, tail: f64) -> Result<f64, Undefined> {
        if a == self.most() {
            return Ok(f64::INFINITY);
        }
        self.solve(|odds| tail - self.expected(odds, |x| f64::from(x <= a)))
    }

    fn solve(&self, rising: impl Fn(f64) -> f64) -> Result<f64, Undefined> {
        root(rising, -60.0, 60.0).map(f64::exp)
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts are far below 2^53")]
const fn number(x: u64) -> f64 {
    x as f64
}

/// Two-sided p of Fisher's test for several rows of (with, without); rows without counts are left
/// out.
///
/// # Errors
/// When fewer than two rows have counts, a column is empty, or the arrangements are too many to
/// count.
pub fn fisher_rows(rows: &[(u64, u64)]) -> Result<f64, Undefined> {
    let rows: Vec<(u64, u64)> = rows.iter().copied().filter(|(a, b)| a + b > 0).collect();
    at_least(2, rows.len(), "rows with counts")?;
    let with: u64 = rows.iter().map(|r| r.0).sum();
    let all: u64 = rows.iter().map(|r| r.0 + r.1).sum();
    at_least(1, usize::from(with > 0 && with < all), "counts in a column")?;
    let size = |(a, b): &(u64, u64)| number(*a + *b + 1);
    if rows.iter().skip(1).map(size).product::<f64>() > ARRANGEMENTS {
        return Err(Undefined::NoConvergence("the count of all arrangements"));
    }
    let ways = ln_choose(all, with);
    let share = |(a, b): &(u64, u64)| ln_choose(a + b, *a);
    let observed = rows.iter().map(share).sum::<f64>() - ways;
    let sizes: Vec<u64> = rows.iter().map(|r| r.0 + r.1).collect();
    Ok(arrangements(&sizes, with, -ways, observed + ROUNDING.ln()).min(1.0))
}

/// Sum of the probabilities, of which `log` is that so far, that do not exceed a limit.
fn arrangements(sizes: &[u64], left: u64, log: f64, limit: f64) -> f64 {
    let Some((size, rest)) = sizes.split_first() else { return 0.0 };
    if rest.is_empty() {
        let log = log + ln_choose(*size, left);
        return if left <= *size && log <= limit { log.exp() } else { 0.0 };
    }
    let room: u64 = rest.iter().sum();
    let cells = left.saturating_sub(room)..=left.min(*size);
    cells.map(|x| arrangements(rest, left - x, log + ln_choose(*size, x), limit)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fisher's lady tasting tea, 3 of 4 right (1935): p = 34/70 two-sided. Odds ratio and interval
    /// are those of scipy 1.17.1; R 4.2.2 prints 6.408309 and 0.2117 to 621.9, stopping its search
    /// for roots earlier.
    #[test]
    fn the_lady_tasting_tea_is_met() {
        let found = fisher([[3, 1], [1, 3]], 0.95).unwrap();
        assert!((found.p - 34.0 / 70.0).abs() < 1e-12, "{}", found.p);
        assert!((found.odds_ratio - 6.408_319_658).abs() < 1e-8, "{}", found.odds_ratio);
        assert!((found.interval.low - 0.211_735_595).abs() < 1e-8, "{:?}", found.interval);
        assert!((found.interval.high - 626.243_530_6).abs() < 1e-6, "{:?}", found.interval);
    }

    #[test]
    fn an_empty_cell_leaves_one_side_open() {
        let found = fisher([[0, 12], [5, 9]], 0.95).unwrap();
        assert_eq!((found.odds_ratio, found.interval.low), (0.0, 0.0));
        assert!(found.interval.high.is_finite() && found.interval.high > 0.0);
        let turned = fisher([[5, 9], [0, 12]], 0.95).unwrap();
        assert_eq!((turned.odds_ratio, turned.interval.high), (f64::INFINITY, f64::INFINITY));
        assert!((turned.interval.low * found.interval.high - 1.0).abs() < 1e-9);
        assert!(fisher([[0, 0], [5, 9]], 0.95).is_err());
    }

    #[test]
    fn two_rows_are_the_table_of_four() {
        for (a, b, c, d) in [(3, 1, 1, 3), (0, 12, 5, 9), (7, 2, 4, 40), (10, 10, 10, 10)] {
            let four = fisher([[a, b], [c, d]], 0.95).unwrap().p;
            let rows = fisher_rows(&[(a, b), (c, d)]).unwrap();
            assert!((four - rows).abs() < 1e-12, "{four} {rows}");
        }
        assert!(fisher_rows(&[(0, 3), (0, 4)]).is_err());
        assert!(fisher_rows(&[(900, 900), (900, 900), (900, 900)]).is_err());
    }
}
