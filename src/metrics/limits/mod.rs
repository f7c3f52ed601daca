//! Published dose limits and what a value with bounds says about one: the list ([`BUILT_IN`] as
//! text, [`row`] to read one row) and the [`Verdict`]. Knows no case, no structure and no file.

pub mod row;
mod verdict;

pub use row::{COLUMNS, RowFault};
pub use verdict::{Verdict, judge};

use serde::{Deserialize, Serialize};
use strum::{EnumIter, EnumString, IntoStaticStr, VariantNames};

use crate::Metric;

/// The list that is used when a study names none of its own, in the form of a user's list.
pub const BUILT_IN: &str = include_str!("../../../queries/limits.csv");

/// How binding a limit is in its source.
#[derive(EnumIter, EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Tier {
    /// To be aimed at.
    Optimal,
    /// Not to be exceeded.
    Mandatory,
    /// Published without a tier.
    Published,
    /// An objective of a planning study, not a tolerance.
    Objective,
    /// The user's own.
    #[strum(serialize = "local")]
    LocalPractice,
}

impl Tier {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Optimal => "to be aimed at",
            Self::Mandatory => "not to be exceeded",
            Self::Published => "published without a tier",
            Self::Objective => "an objective of a planning study, not a tolerance",
            Self::LocalPractice => "your own",
        }
    }

    /// The word used in lists and tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// One limit: a metric of an organ that is to stay at or below a value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// Standard (TG-263) name of the organ.
    pub organ: String,
    /// What is limited.
    pub metric: Metric,
    /// Whether the limit itself is allowed (`<=`) or not (`<`).
    pub inclusive: bool,
    /// The limit, in the unit of the metric.
    pub value: f64,
    /// Fewest and most fractions it holds for.
    pub fractions: [u32; 2],
    /// How binding it is.
    pub tier: Tier,
    /// Whether it also judges an organ that holds a target, as for the brain.
    pub target_may_lie_inside: bool,
    /// Paper, report or protocol.
    pub source: String,
    /// Whether the value was read there or comes from memory.
    pub evidence: String,
    /// The harm it is about; may be empty.
    pub endpoint: String,
    /// The risk stated for it; may be empty.
    pub risk: String,
    /// What else is to be known; may be empty.
    pub note: String,
}

impl Limit {
    /// Whether it holds for this number of fractions.
    #[must_use]
    pub fn is_for(&self, fractions: u32) -> bool {
        (self.fractions[0]..=self.fractions[1]).contains(&fractions)
    }

    /// The fractions as they stand in a list: `5`, or `25-40`.
    #[must_use]
    pub fn fraction_words(&self) -> String {
        match self.fractions {
            [low, high] if low == high => low.to_string(),
            [low, high] => format!("{low}-{high}"),
        }
    }

    /// The sign between metric and limit.
    #[must_use]
    pub const fn operator(&self) -> &'static str {
        if self.inclusive { "<=" } else { "<" }
    }

    /// What makes two rows the same limit, so that a later one replaces an earlier one: all but the
    /// value and the remarks.
    #[must_use]
    pub fn key(&self) -> (&str, String, [u32; 2], Tier, &str) {
        (&self.organ, self.metric.to_string(), self.fractions, self.tier, &self.source)
    }
}

/// The fraction numbers for which a list has limits of an organ, in words.
#[must_use]
pub fn fractions_listed(limits: &[Limit], organ: &str) -> String {
    let mut ranges: Vec<[u32; 2]> =
        limits.iter().filter(|l| l.organ == organ).map(|l| l.fractions).collect();
    ranges.sort_unstable();
    ranges.dedup();
    let words = |[low, high]: [u32; 2]| {
        if low == high { low.to_string() } else { format!("{low}-{high}") }
    };
    ranges.into_iter().map(words).collect::<Vec<_>>().join(", ")
}
