//! Estimates with their uncertainty, from plain numbers: proportions, ranks, counts in tables, one
//! logistic model, survival and incidence under competing risks.
//!
//! Pure functions that know no table, no file, no structure and no dose. Three rules hold for all:
//!
//! - A quantity that the data do not determine is an [`Undefined`] with the reason, never 0 or NaN.
//! - Intervals are two-sided with the confidence that is asked for, such as 0.95.
//! - Several observations of one patient are not independent. Functions that take clusters give
//!   intervals which respect that: patients are drawn again with all that belongs to them
//!   ([`bootstrap`]), by a generator with a fixed seed, so that the same data give the same bytes.
//!
//! Every function is held against general-purpose libraries by `tests/statistics/`.

pub mod agreement;
pub mod bootstrap;
pub mod contingency;
pub mod correlation;
pub mod describe;
pub mod difference;
pub mod incidence;
mod linear;
pub mod logistic;
pub mod outlying;
pub mod proportion;
pub mod rank;
pub mod roc;
mod special;
pub mod summary_of_centres;
pub mod survival;
pub mod two_windows;

/// The confidence of an interval where nothing else is said.
pub const CONFIDENCE: f64 = 0.95;

/// A two-sided interval. A side that the data leave open is infinite.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// Whether a value lies in it, ends included.
    #[must_use]
    pub fn holds(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }
}

/// Why a quantity has no value.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Undefined {
    /// There is too little to work on.
    #[error("{found} {what}, at least {needed} are needed")]
    TooFew {
        /// What was counted.
        what: &'static str,
        /// How many there are.
        found: usize,
        /// How many there should be.
        needed: usize,
    },
    /// Every observation says the same.
    #[error("all {0} are equal")]
    Constant(&'static str),
    /// A number is infinite or not a number.
    #[error("{0} must be finite numbers")]
    NotFinite(&'static str),
    /// A number lies outside of what has a meaning.
    #[error("{what} {found} is not {accepted}")]
    Outside {
        /// What it is.
        what: &'static str,
        /// What was found.
        found: f64,
        /// What would be accepted.
        accepted: &'static str,
    },
    /// Lists that belong together differ in length.
    #[error("{0} differ in number")]
    Lengths(&'static str),
    /// An iteration found no end.
    #[error("{0} did not converge")]
    NoConvergence(&'static str),
}

/// A count as a number; counts of observations are far below 2⁵³.
#[expect(clippy::cast_precision_loss, reason = "counts of observations are far below 2^53")]
pub const fn real(n: usize) -> f64 {
    n as f64
}

fn finite(values: &[f64], what: &'static str) -> Result<(), Undefined> {
    if values.iter().all(|v| v.is_finite()) { Ok(()) } else { Err(Undefined::NotFinite(what)) }
}

fn at_least(needed: usize, found: usize, what: &'static str) -> Result<(), Undefined> {
    if found < needed { Err(Undefined::TooFew { what, found, needed }) } else { Ok(()) }
}

fn confidence(level: f64) -> Result<(), Undefined> {
    if level > 0.0 && level < 1.0 {
        return Ok(());
    }
    let accepted = "between 0 and 1";
    Err(Undefined::Outside { what: "confidence", found: level, accepted })
}
