//! Which way a metric gets worse: common practice, not a judgement of a plan. Less dose in a target and
//! more in an organ are worse; where a smaller as well as a larger number may be, there is no such way.

use serde::{Deserialize, Serialize};
use strum::{IntoStaticStr, VariantNames};

/// The way in which a value gets worse.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, IntoStaticStr, VariantNames,
)]
#[strum(serialize_all = "lowercase")]
pub enum Worse {
    /// Toward smaller numbers.
    Lower,
    /// Toward larger numbers.
    Higher,
}

impl Worse {
    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }

    /// Of a dose or of what a dose does: less in a target, more in an organ.
    pub(super) const fn of_dose(_: f64, in_target: bool) -> Option<Self> {
        Some(if in_target { Self::Lower } else { Self::Higher })
    }

    /// Of a large dose: more in an organ; in a target it may be meant.
    pub(super) const fn of_large_dose(_: f64, in_target: bool) -> Option<Self> {
        if in_target { None } else { Some(Self::Higher) }
    }

    /// Of the dose that a share of the volume receives at least, in percent: from half of the volume
    /// on it tells how far a target is covered.
    pub(super) fn of_dose_at_percent(percent: f64, in_target: bool) -> Option<Self> {
        if in_target && percent < COVERING_PERCENT {
            return None;
        }
        Self::of_dose(percent, in_target)
    }

    /// Of a volume that stays below a dose: the other way round.
    pub(super) const fn of_cold_volume(_: f64, in_target: bool) -> Option<Self> {
        Some(if in_target { Self::Higher } else { Self::Lower })
    }

    /// Of what is best when it is large.
    pub(super) const fn lower(_: f64, _: bool) -> Option<Self> {
        Some(Self::Lower)
    }

    /// Of what is best when it is small.
    pub(super) const fn higher(_: f64, _: bool) -> Option<Self> {
        Some(Self::Higher)
    }
}

/// See [`Worse::of_dose_at_percent`].
const COVERING_PERCENT: f64 = 50.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parse;

    #[test]
    fn less_in_a_target_and_more_in_an_organ_are_worse() {
        let worse = |name: &str, in_target| {
            let metric = parse(name).unwrap();
            (metric.definition.worse)(metric.argument, in_target)
        };
        for (name, target, organ) in [
            ("D95%[Gy]", Some(Worse::Lower), Some(Worse::Higher)),
            ("D2%[Gy]", None, Some(Worse::Higher)),
            ("D0.03cc[Gy]", None, Some(Worse::Higher)),
            ("V12Gy[cc]", Some(Worse::Lower), Some(Worse::Higher)),
            ("CV12Gy[cc]", Some(Worse::Higher), Some(Worse::Lower)),
            ("Volume[cc]", None, None),
        ] {
            assert_eq!((worse(name, true), worse(name, false)), (target, organ), "{name}");
        }
        let of_target = |name: &str| worse(name, true);
        assert_eq!(of_target("PaddickConformity"), Some(Worse::Lower));
        assert_eq!(of_target("NakamuraConformity"), Some(Worse::Higher));
        assert_eq!(of_target("RTOGConformity"), None, "1 is best");
        assert_eq!(of_target("PIV[cc]"), None);
        assert_eq!(worse("NTCP_LKB", false), Some(Worse::Higher));
    }
}
