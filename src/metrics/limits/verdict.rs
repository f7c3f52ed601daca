//! What a value with bounds says about a limit.

use serde::{Deserialize, Serialize};
use strum::{EnumIter, EnumString, IntoStaticStr, VariantNames};

use super::Limit;
use crate::Outcome;

/// What is known about a value and its limit.
#[derive(EnumIter, EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Verdict {
    /// The whole range of the value keeps the limit.
    Within,
    /// The whole range of the value exceeds the limit.
    Above,
    /// The range holds the limit: the numbers cannot tell.
    Undecided,
    /// There is no value to judge; never a pass.
    Unknown,
    /// The limit does not judge this case.
    NotApplicable,
    /// An aim of planning: shown beside the value and never held against a case.
    NotALimit,
}

impl Verdict {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Within => {
                "the limit is kept: the value and both its bounds meet it. Whether the limit was compared \
                 with its source, see checked; whether a target lies inside, see judge_clinically"
            }
            Self::Above => "the limit is exceeded: the value and both its bounds are above it",
            Self::Undecided => {
                "the uncertainty range crosses the limit: neither kept nor exceeded for certain. Do not \
                 count it as kept"
            }
            Self::Unknown => {
                "the organ has no value for it, see reason: not counted as within, and to be reported \
                 beside every rate"
            }
            Self::NotApplicable => {
                "not judged: the list has no limit for this organ and number of fractions. It is no pass"
            }
            Self::NotALimit => {
                "tier objective: an aim for planning, no limit. The value is shown and gets no verdict"
            }
        }
    }

    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// Why an aim of planning judges nothing.
const ONLY_AN_AIM: &str = "an aim for planning, no limit: the value gets no verdict";

/// Judges a value by its bounds; the reason is empty when the verdict needs none.
///
/// A bound that is not known counts as endless, so that a one-sided value can only exceed a limit,
/// or stay undecided.
#[must_use]
pub fn judge(limit: &Limit, outcome: &Outcome) -> (Verdict, String) {
    if !limit.tier.decides() {
        return (Verdict::NotALimit, ONLY_AN_AIM.to_owned());
    }
    let Some(value) = outcome.value else {
        let reason = format!("no value ({}): {}", outcome.status.word(), outcome.reason);
        return (Verdict::Unknown, reason);
    };
    let low = outcome.low.unwrap_or(f64::NEG_INFINITY);
    let high = outcome.high.unwrap_or(f64::INFINITY);
    let kept = |x: f64| x < limit.value || (limit.inclusive && x <= limit.value);
    if kept(high) {
        (Verdict::Within, String::new())
    } else if !kept(low) {
        (Verdict::Above, String::new())
    } else if outcome.high.is_none() {
        (Verdict::Undecided, format!("only a lower bound is known: {}", outcome.reason))
    } else {
        let side = if kept(value) { "below" } else { "above" };
        (Verdict::Undecided, format!("the value lies {side} the limit, its bounds on both sides"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Status;
    use crate::limits::row::tests::row;

    fn verdict(value: f64, low: Option<f64>, high: Option<f64>) -> Verdict {
        let limit = row("limit", "12").unwrap();
        judge(&limit, &Outcome { low, high, ..Outcome::of(value) }).0
    }

    #[test]
    fn bounds_decide() {
        assert_eq!(verdict(11.0, Some(10.5), Some(11.5)), Verdict::Within);
        assert_eq!(verdict(11.5, Some(11.0), Some(12.0)), Verdict::Within);
        assert_eq!(verdict(13.0, Some(12.5), Some(13.5)), Verdict::Above);
        assert_eq!(verdict(12.1, Some(11.9), Some(12.3)), Verdict::Undecided);
        assert_eq!(verdict(11.9, Some(11.7), Some(12.1)), Verdict::Undecided);
        assert_eq!(verdict(12.5, Some(12.0), Some(13.0)), Verdict::Undecided);
    }

    #[test]
    fn a_limit_that_is_not_allowed_itself_is_exceeded_there() {
        let limit = row("operator", "<").unwrap();
        let at = |low, high| {
            let outcome = Outcome { low: Some(low), high: Some(high), ..Outcome::of(12.5) };
            judge(&limit, &outcome).0
        };
        assert_eq!(at(12.0, 12.5), Verdict::Undecided);
        assert_eq!(at(12.5, 13.0), Verdict::Above);
    }

    #[test]
    fn one_sided_values_never_pass() {
        assert_eq!(verdict(5.0, Some(5.0), None), Verdict::Undecided);
        assert_eq!(verdict(13.0, Some(13.0), None), Verdict::Above);
        assert_eq!(verdict(5.0, None, None), Verdict::Undecided);
        assert_eq!(verdict(5.0, None, Some(6.0)), Verdict::Within);
    }

    #[test]
    fn an_aim_of_planning_judges_nothing() {
        let aim = row("tier", "objective").unwrap();
        let none = Outcome::none(Status::PartlyOutsideGrid, "60 % are covered");
        let far_above = Outcome { low: Some(80.0), high: Some(90.0), ..Outcome::of(85.0) };
        for outcome in [none, far_above] {
            let (verdict, reason) = judge(&aim, &outcome);
            assert_eq!((verdict, reason.as_str()), (Verdict::NotALimit, ONLY_AN_AIM));
        }
    }

    #[test]
    fn without_a_value_nothing_is_known() {
        let limit = row("", "").unwrap();
        let none = Outcome::none(Status::PartlyOutsideGrid, "60 % are covered");
        let (verdict, reason) = judge(&limit, &none);
        assert_eq!(verdict, Verdict::Unknown);
        assert_eq!(reason, "no value (partly_outside_grid): 60 % are covered");
    }
}
