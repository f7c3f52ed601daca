//! Published definitions for what happened after a treatment: where a tumour came back, how lesions
//! answered on images, how fast new ones appear. Each is told apart from the next by a value with
//! bounds: where the bounds hold an edge of two classes, the class is undecided. Knows no table.

pub mod pattern;
pub mod response;
pub mod velocity;

/// The word for a class that the bounds leave open.
pub const UNDECIDED: &str = "undecided";

/// A number with its bounds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounded {
    /// The value.
    pub value: f64,
    /// Lower bound.
    pub low: f64,
    /// Upper bound.
    pub high: f64,
}

impl Bounded {
    /// A number that is known exactly.
    #[must_use]
    pub const fn exactly(value: f64) -> Self {
        Self { value, low: value, high: value }
    }

    /// Value and bounds of an outcome; absent unless it has all three.
    #[must_use]
    pub fn of(outcome: &super::Outcome) -> Option<Self> {
        Some(Self { value: outcome.value?, low: outcome.low?, high: outcome.high? })
    }

    /// The sum of two, whose errors may go the same way.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self {
            value: self.value + other.value,
            low: self.low + other.low,
            high: self.high + other.high,
        }
    }

    /// The difference from another one, whose errors may go the other way.
    #[must_use]
    pub fn minus(self, other: Self) -> Self {
        Self {
            value: self.value - other.value,
            low: self.low - other.high,
            high: self.high - other.low,
        }
    }

    /// By how many percent it differs from `before`, with both bounds carried through; absent unless
    /// `before` is certainly positive.
    #[must_use]
    pub fn change_percent(self, before: Self) -> Option<Self> {
        let percent = |now: f64, then: f64| 100.0 * (now / then - 1.0);
        (before.low > 0.0).then(|| Self {
            value: percent(self.value, before.value),
            low: percent(self.low.max(0.0), before.high),
            high: percent(self.high, before.low),
        })
    }
}

/// The class of a value with bounds: the one in which the whole range lies.
fn class_of(value: Bounded, class: impl Fn(f64) -> &'static str) -> &'static str {
    let word = class(value.value);
    if class(value.low) == word && class(value.high) == word { word } else { UNDECIDED }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_carries_both_bounds() {
        let before = Bounded { value: 2.0, low: 1.9, high: 2.1 };
        let now = Bounded { value: 1.0, low: 0.9, high: 1.1 };
        let change = now.change_percent(before).unwrap();
        assert!((change.value + 50.0).abs() < 1e-12);
        assert!((change.low - 100.0 * (0.9 / 2.1 - 1.0)).abs() < 1e-12);
        assert!((change.high - 100.0 * (1.1 / 1.9 - 1.0)).abs() < 1e-12);
        assert_eq!(now.change_percent(Bounded { low: 0.0, ..before }), None);
    }
}
