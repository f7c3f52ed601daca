//! Values that say nothing: those whose numerical bounds are so wide that the value could as well be
//! another one. They keep value and bounds and have a status of their own, so that no statistic
//! takes them for measured.
//!
//! The bounds of a value are wide when the farther one lies more than a share of the value away from
//! it. By default that is half ([`UNCERTAIN_FROM`]), a standard uncertainty of a quarter: a judgement.
//! Below it lies what planning systems differ by on the smallest of balls (33 % of the volume: Stanley
//! et al. 2021, abstract read), and 30 %, which the rule for quantities of a laboratory has at its
//! limit of detection (Currie 1968, 3.3 standard deviations: from memory); far above it the 3 % by
//! which a dose-volume value counts as failed (Nelms et al. 2015). From half on not even the power of
//! two is known on which outcome studies put volumes and doses. A bound that reaches zero lies at
//! least the whole value away.
//!
//! A value near zero may be known well though its bounds are wide beside it: V12Gy of 0.001 cc with
//! bounds of 0 and 0.004 cc says that next to nothing receives 12 Gy. So every metric names a whole
//! of which a width of a hundredth is too small to matter, a third of those 3 % ([`Scale`]).

use super::{Outcome, Status, Subject};

/// Share of the value from which on bounds are too wide, unless a study sets its own.
pub const UNCERTAIN_FROM: f64 = 0.5;
/// A width of so small a share of the whole does not matter.
const NEGLIGIBLE: f64 = 0.01;
/// Nor does a width of so many cc, but for structures of less than a hundred times that: the
/// smallest volume that limits of dose ask for (0.03 cc).
const NEGLIGIBLE_CC: f64 = 0.03;

/// How large a structure and its dose are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extent {
    /// Volume, cc; 0 for a region that nobody drew.
    pub volume_cc: f64,
    /// Largest dose, Gy; 0 without dose.
    pub max_gy: f64,
}

impl Extent {
    /// That of a structure with its histogram.
    #[must_use]
    pub fn of(s: &Subject<'_>) -> Self {
        Self { volume_cc: s.volume_cc, max_gy: s.dvh.as_ref().map_or(0.0, |dvh| dvh.max_gy()) }
    }
}

/// What the width of the bounds of a metric is held against beside the value itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scale {
    /// Nothing else: sizes, and ratios that are not near zero.
    Value,
    /// The volume of the structure, or a volume that is of no account in any; values in cc.
    Volume,
    /// The same for values that are shares of the structure, of which this is the whole.
    ShareOfVolume(f64),
    /// The largest dose in the structure; values in Gy.
    Dose,
    /// The largest dose in the structure times its volume.
    IntegralDose,
    /// A fixed whole: 1, or 100 for percent.
    Whole(f64),
    /// Points of a scale of this length, on which zero means nothing special: the bounds are held
    /// against the length and not against the value.
    Points(f64),
    /// Places and distances from a place: the bounds are held against the diameter of the sphere of
    /// the same volume and not against the value; values in mm.
    Size,
}

impl Scale {
    /// The width that says enough of a value, in its unit.
    fn allowed(self, value: f64, s: Extent, from: f64) -> f64 {
        // Regions that nobody drew have no volume of their own.
        let negligible_cc = match s.volume_cc {
            v if v > 0.0 => NEGLIGIBLE_CC.min(NEGLIGIBLE * v),
            _ => NEGLIGIBLE_CC,
        };
        let beside = match self {
            Self::Value => 0.0,
            Self::Volume => negligible_cc,
            Self::ShareOfVolume(whole) if s.volume_cc > 0.0 => whole * negligible_cc / s.volume_cc,
            Self::ShareOfVolume(whole) | Self::Whole(whole) => NEGLIGIBLE * whole,
            Self::Dose => NEGLIGIBLE * s.max_gy,
            Self::IntegralDose => NEGLIGIBLE * s.max_gy * s.volume_cc,
            Self::Points(length) => return from * length,
            Self::Size => {
                return from * (6.0 * 1000.0 * s.volume_cc / std::f64::consts::PI).cbrt();
            }
        };
        beside.max(from * value.abs())
    }

    /// Beyond which width a value is uncertain by default, in words.
    #[must_use]
    pub fn rule(self) -> String {
        let beside = match self {
            Self::Value => return "50 % of the value".to_owned(),
            Self::Volume => "0.03 cc or 1 % of the structure, whichever is less".to_owned(),
            Self::ShareOfVolume(_) => {
                "the share of the structure that 0.03 cc are, or 1 %, whichever is less".to_owned()
            }
            Self::Dose => "1 % of the largest dose in the structure".to_owned(),
            Self::IntegralDose => "1 % of the volume times its largest dose".to_owned(),
            Self::Whole(whole) => format!("{}", NEGLIGIBLE * whole),
            Self::Points(length) => return format!("{}", UNCERTAIN_FROM * length),
            Self::Size => return "50 % of the diameter of a sphere of its volume".to_owned(),
        };
        format!("50 % of the value, and {beside}")
    }

    /// What the width was held against, in words.
    const fn words(self) -> &'static str {
        match self {
            Self::Points(_) => "of the scale",
            Self::Size => "of the structure's diameter",
            _ => "of the value",
        }
    }
}

/// An outcome with two bounds, marked as uncertain when they are too wide to say anything, and as
/// ok else; any other outcome as it is.
#[must_use]
pub fn weighed(outcome: Outcome, scale: Scale, unit: &str, s: Extent, from: f64) -> Outcome {
    let (Some(value), Some(low), Some(high)) = (outcome.value, outcome.low, outcome.high) else {
        return outcome;
    };
    if !outcome.status.has_both_bounds() {
        return outcome;
    }
    let reach = (value - low).max(high - value);
    if reach <= scale.allowed(value, s, from) {
        return Outcome { status: Status::Ok, reason: String::new(), ..outcome };
    }
    let unit = if unit == "1" { "" } else { unit };
    let reason = format!(
        "the bounds lie up to {} from the value, more than {} % {}",
        format!("{} {unit}", short(reach)).trim_end(),
        (1e10 * from).round() / 1e8,
        scale.words()
    );
    Outcome { status: Status::Uncertain, reason, ..outcome }
}

impl super::Definition {
    /// A value of this metric, marked by the width of its bounds; see [`weighed`].
    #[must_use]
    pub fn weighed(&self, outcome: Outcome, s: &Subject<'_>, from: f64) -> Outcome {
        self.weighed_by(outcome, Extent::of(s), from)
    }

    /// The same where no more is at hand than how large structure and dose are.
    #[must_use]
    pub fn weighed_by(&self, outcome: Outcome, extent: Extent, from: f64) -> Outcome {
        weighed(outcome, self.scale, self.unit, extent, from)
    }
}

/// A number with three digits that count.
fn short(x: f64) -> String {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped to a few places
    let places = (2.0 - x.abs().log10().floor()).clamp(0.0, 9.0) as usize;
    format!("{x:.places$}")
}

#[cfg(test)]
mod tests {
    use super::super::{REGISTRY, parse};
    use super::*;
    use tidydose_dose::{Dvh, Samples};

    fn outcome([low, value, high]: [f64; 3]) -> Outcome {
        Outcome { low: Some(low), high: Some(high), ..Outcome::of(value) }
    }

    /// In a structure of so many cc with a largest dose of 20 Gy.
    fn status(metric: &str, numbers: [f64; 3], volume_cc: f64) -> Status {
        let doses = [(10.0, 1000.0 * volume_cc)].into_iter().collect();
        let samples = Samples { doses, extremes_gy: [0.0, 20.0], ..Samples::default() };
        let dvh = Dvh::of(&samples).unwrap();
        let subject = Subject::new(volume_cc, Ok(&dvh));
        let metric = parse(metric).unwrap();
        metric.definition.weighed(outcome(numbers), &subject, UNCERTAIN_FROM).status
    }

    #[test]
    fn a_value_with_bounds_wider_than_half_of_it_is_uncertain() {
        for (metric, numbers, volume_cc) in [
            ("Volume[cc]", [0.0, 0.209, 0.451], 0.209),
            ("V12Gy[cc]", [0.0, 0.209, 0.451], 25.0),
            ("D95%[Gy]", [0.0, 4.6, 15.5], 1.0),
            ("Max[Gy]", [15.5, 16.1, 30.0], 1.0),
            ("PaddickConformity", [0.1, 0.4, 0.7], 1.0),
            ("IntegralDose[Gy*cc]", [0.0, 3.0, 6.0], 1.0),
        ] {
            assert_eq!(status(metric, numbers, volume_cc), Status::Uncertain, "{metric}");
        }
        for (metric, numbers, volume_cc) in [
            ("Volume[cc]", [0.105, 0.209, 0.313], 0.209),
            ("D95%[Gy]", [2.4, 4.6, 6.8], 1.0),
            ("PaddickConformity", [0.3, 0.4, 0.6], 1.0),
        ] {
            assert_eq!(status(metric, numbers, volume_cc), Status::Ok, "{metric}");
        }
    }

    #[test]
    fn nothing_and_next_to_nothing_are_known_when_their_bounds_are_narrow() {
        for (metric, numbers, volume_cc) in [
            ("V12Gy[cc]", [0.0, 0.0, 0.0], 25.0),
            ("V12Gy[cc]", [0.0, 0.0, 0.03], 25.0),
            ("V12Gy[cc]", [0.0, 0.001, 0.004], 25.0),
            ("V12Gy[%]", [0.0, 0.0, 0.1], 25.0),
            ("CV20Gy[cc]", [0.0, 0.002, 0.008], 1.0),
            ("Min[Gy]", [0.0, 0.05, 0.2], 25.0),
            ("HomogeneityD5-D95[%]", [0.0, 0.5, 1.4], 1.0),
            ("NTCP_LKB", [0.0, 1e-9, 1e-6], 25.0),
        ] {
            assert_eq!(status(metric, numbers, volume_cc), Status::Ok, "{metric} {numbers:?}");
        }
        for (metric, numbers, volume_cc) in [
            ("V12Gy[cc]", [0.0, 0.0, 0.031], 25.0),
            // In a small target the same width is much.
            ("V12Gy[cc]", [0.0, 0.0, 0.02], 0.1),
            ("V12Gy[%]", [0.0, 0.0, 0.2], 25.0),
            ("Min[Gy]", [0.0, 0.1, 0.4], 25.0),
            ("NTCP_LKB", [0.0, 0.01, 0.05], 25.0),
        ] {
            assert_eq!(
                status(metric, numbers, volume_cc),
                Status::Uncertain,
                "{metric} {numbers:?}"
            );
        }
    }

    /// A centre of mass at 0.1 mm, known to 0.3 mm, is known well in a ball of 10 mm.
    #[test]
    fn places_and_scores_are_held_against_their_scale() {
        assert_eq!(status("CentroidX[mm]", [-0.2, 0.1, 0.4], 0.524), Status::Ok);
        assert_eq!(status("CentroidX[mm]", [40.0, 47.0, 54.0], 0.524), Status::Uncertain);
        assert_eq!(status("WagnerCGIg", [-10.0, 2.0, 14.0], 1.0), Status::Ok);
    }

    #[test]
    fn the_reason_says_how_far_and_what_was_asked() {
        let metric = parse("V12Gy[cc]").unwrap();
        let none = (Status::Unlinked, String::new());
        let subject = Subject::new(25.0, Err(none));
        let got = metric.definition.weighed(outcome([0.0, 0.209, 0.451]), &subject, 0.5);
        assert_eq!(
            got.reason,
            "the bounds lie up to 0.242 cc from the value, more than 50 % of the value"
        );
        assert_eq!((got.value, got.low, got.high), (Some(0.209), Some(0.0), Some(0.451)));
        let again = metric.definition.weighed(got, &subject, 2.0);
        assert_eq!((again.status, again.reason.as_str()), (Status::Ok, ""));
        let bound = Outcome::at_least(3.0, "cut");
        assert_eq!(metric.definition.weighed(bound.clone(), &subject, 0.5), bound);
    }

    /// Zero is nothing special to what may be negative.
    #[test]
    fn what_may_be_negative_is_not_held_against_its_value() {
        for d in
            REGISTRY.definitions().iter().filter(|d| d.physical_range.least < 0.0 && d.unit != "Gy")
        {
            assert!(matches!(d.scale, Scale::Size | Scale::Points(_)), "{}", d.name);
        }
    }
}
