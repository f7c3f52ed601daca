//! Dose limits and what a value with bounds says about one: the list that comes with the program
//! ([`BUILT_IN`] as text, [`row`] to read one row), how far a row of it was checked, and the
//! [`Verdict`]. Knows no case, no structure and no file.

mod checked;
pub mod row;
mod tier;
mod verdict;

pub use checked::Checked;
pub use row::{COLUMNS, ListedLimit, RowFault};
pub use tier::Tier;
pub use verdict::{Verdict, judge};

use serde::{Deserialize, Serialize};

use crate::Metric;

/// The list that is used when a study names none of its own, in the form of a user's list.
pub const BUILT_IN: &str = include_str!("../../../queries/limits.csv");

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
    /// Where the value was read, or that nobody has checked it against the source yet.
    pub evidence: String,
    /// How far it was checked against its source.
    // What earlier programs kept of a case does not say it.
    #[serde(default)]
    pub checked: Checked,
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

    /// The fractions as they stand in a table: `5`, or `25-40`.
    #[must_use]
    pub fn fraction_words(&self) -> String {
        range_words(self.fractions)
    }

    /// The dose whose isodose shows in a picture what is limited, Gy: see [`isodose_gy`].
    #[must_use]
    pub fn isodose_gy(&self) -> Option<f64> {
        isodose_gy(&self.metric, self.value)
    }

    /// The sign between metric and limit.
    #[must_use]
    pub const fn operator(&self) -> &'static str {
        if self.inclusive { "<=" } else { "<" }
    }

    /// What makes rows the same limit, so that those of a later list replace those of an earlier
    /// one: all but the value and the remarks.
    #[must_use]
    pub fn key(&self) -> (&str, String, [u32; 2], Tier, &str) {
        (&self.organ, self.metric.to_string(), self.fractions, self.tier, &self.source)
    }
}

/// The dose, Gy, whose isodose shows what a limit of a metric is about: the limit of a dose to a part
/// of the organ, or the dose of a limited volume. Absent for a mean, which no line shows, and for
/// what is no dose.
#[must_use]
pub fn isodose_gy(metric: &Metric, limit: f64) -> Option<f64> {
    match metric.definition.name {
        "V{x}Gy[cc]" | "V{x}Gy[%]" => Some(metric.argument),
        "Max[Gy]" | "Min[Gy]" | "D{x}cc[Gy]" | "D{x}%[Gy]" => Some(limit),
        _ => None,
    }
}

fn range_words([low, high]: [u32; 2]) -> String {
    if low == high { low.to_string() } else { format!("{low}-{high}") }
}

/// The fraction numbers for which a list has limits of an organ, in words.
#[must_use]
pub fn fractions_listed(limits: &[Limit], organ: &str) -> String {
    let mut ranges: Vec<[u32; 2]> =
        limits.iter().filter(|l| l.organ == organ).map(|l| l.fractions).collect();
    ranges.sort_unstable();
    ranges.dedup();
    ranges.into_iter().map(range_words).collect::<Vec<_>>().join(", ")
}

/// Whether targets lie in an organ by its nature, so that one inside is no reason not to judge it.
#[must_use]
pub fn holds_targets(organ: &str) -> bool {
    /// The whole brain, with or without its targets, and what lies around everything.
    const WHOLE: [&str; 7] =
        ["Brain", "Brain-GTV", "Brain-CTV", "Brain-PTV", "Cerebrum", "Cerebellum", "Skin"];
    WHOLE.contains(&organ) || organ.starts_with("Lobe_") || organ.starts_with("Cerebrum_")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_isodose_of_a_limit_is_a_dose_to_a_part_or_that_of_a_limited_volume() {
        let of = |metric: &str, limit: f64| isodose_gy(&crate::parse(metric).unwrap(), limit);
        assert_eq!(of("D0.03cc[Gy]", 15.0), Some(15.0));
        assert_eq!(of("Max[Gy]", 10.0), Some(10.0));
        assert_eq!(of("D50%[Gy]", 5.0), Some(5.0));
        assert_eq!(of("V12Gy[cc]", 8.5), Some(12.0));
        assert_eq!(of("Mean[Gy]", 9.0), None);
        assert_eq!(of("Volume[cc]", 3.0), None);
    }
}
