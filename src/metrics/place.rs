//! Where a metric lies on a curve that only falls: of two doses of one structure that belonging to
//! the smaller volume is the larger one, of two volumes that belonging to the smaller dose. So each
//! value and its bounds say something about all the others of its curve.

use std::sync::LazyLock;

use super::{Metric, Subject, standard};

/// A curve of one structure; its values fall along it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Curve {
    /// Dose (Gy) that at least a volume (cc) receives, over the volume.
    Dose,
    /// Volume (cc) that receives at least a dose (Gy), over the dose.
    Volume,
    /// The same in percent of the structure.
    Share,
    /// Volume (cc) that receives less than a dose, over the dose with its sign changed.
    Cold,
    /// The same in percent of the structure.
    ColdShare,
    /// Volume (cc) of the isodose of a target, over its dose.
    Isodose,
    /// Volume (cc) of the isodose nearest to a target, over its dose.
    Nearest,
    /// Volume (cc) of the island of an isodose that holds a target, over its dose.
    Island,
}

/// Where on its curve a metric lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Along {
    /// At a share of the volume of the structure and so many cc more, or at a dose and no share.
    At {
        /// Share of the volume of the structure.
        share: f64,
        /// What is added, cc or Gy.
        more: f64,
    },
    /// Nowhere for certain, as a mean: between the smallest and the largest value.
    Between,
}

/// The unit of a metric in that of its curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unit {
    /// The metric times this is the value of the curve.
    Times(f64),
    /// This over the metric is the value of the curve.
    Over(f64),
}

/// The place of a metric on a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// The curve.
    pub curve: Curve,
    /// Where on it.
    pub along: Along,
    /// The unit of the metric.
    pub unit: Unit,
    /// Volume of the structure, cc, from which on the metric lies elsewhere; absent for most.
    pub switch_cc: Option<f64>,
}

impl Place {
    const fn new(curve: Curve, share: f64, more: f64) -> Self {
        let along = Along::At { share, more };
        Self { curve, along, unit: Unit::Times(1.0), switch_cc: None }
    }

    /// The dose that a share of the structure, and so many cc more, receive at least.
    pub(super) const fn dose(share: f64, more_cc: f64) -> Option<Self> {
        Some(Self::new(Curve::Dose, share, more_cc))
    }

    /// A dose between the smallest and the largest.
    pub(super) const fn mean_dose() -> Option<Self> {
        let along = Along::Between;
        Some(Self { along, ..Self::new(Curve::Dose, 0.0, 0.0) })
    }

    /// A value over a dose in Gy.
    pub(super) const fn at_dose(curve: Curve, dose_gy: f64) -> Option<Self> {
        Some(Self::new(curve, 0.0, dose_gy))
    }

    /// The same in another unit.
    pub(super) const fn in_unit(self, unit: Unit) -> Self {
        Self { unit, ..self }
    }

    /// The same in a unit of which 1 is the prescription dose of the target, times a factor.
    pub(super) fn of_prescription(self, s: &Subject<'_>, factor: f64) -> Option<Self> {
        Some(self.in_unit(Unit::Times(factor * s.prescription.as_ref().ok()?.dose_gy)))
    }

    /// Whether a value here is at most as large as one there, for any volume of the structure
    /// between two, cc.
    #[must_use]
    pub fn is_below(&self, other: &Self, volume_cc: [f64; 2]) -> bool {
        let is = |place: &Self, share: f64, more: f64| place.along == Along::At { share, more };
        // Both depend on the volume by straight lines, so that its ends decide.
        let order =
            |[a, b]: [f64; 2], [c, d]: [f64; 2]| volume_cc.iter().all(|v| a * v + b >= c * v + d);
        self.curve == other.curve
            && match (self.along, other.along) {
                (Along::At { share, more }, Along::At { share: other, more: rest }) => {
                    order([share, more], [other, rest])
                }
                (Along::Between, Along::At { .. }) => is(other, 0.0, 0.0),
                (Along::At { .. }, Along::Between) => is(self, 1.0, 0.0),
                (Along::Between, Along::Between) => false,
            }
    }
}

/// Whether the bounds of a metric hold those of others: one of the full list, with its number, that
/// needs nothing but histogram and prescription dose. It is computed whatever was asked for.
#[must_use]
pub fn holds_others(metric: &Metric) -> bool {
    let d = metric.definition;
    d.needs.is_empty() && (!d.takes_number() || d.standard.contains(&metric.argument))
}

/// The metrics of the full list that may hold others.
pub static HOLDING: LazyLock<Vec<Metric>> =
    LazyLock::new(|| standard().into_iter().filter(holds_others).collect());

/// A volume of the target at a share of its prescription.
pub(super) fn at_prescription(curve: Curve, s: &Subject<'_>, share: f64) -> Option<Place> {
    Place::at_dose(curve, share * s.prescription.as_ref().ok()?.dose_gy)
}

#[cfg(test)]
mod tests {
    use super::super::{Status, parse};
    use super::*;

    fn place(name: &str, volume_cc: f64) -> Place {
        let none = (Status::Unlinked, String::new());
        let subject = Subject::new(volume_cc, Err(none));
        let metric = parse(name).unwrap();
        (metric.definition.place)(&subject, metric.argument).unwrap()
    }

    /// In a structure of 1 cc, 5 % are 0.05 cc: hotter than the hottest 0.1 cc, colder than the
    /// hottest 0.03 cc. A volume known to 0.5 to 1 cc leaves open which is larger.
    #[test]
    fn shares_and_volumes_are_compared_by_the_volume_of_the_structure() {
        let [five, small, large] =
            ["D5%[Gy]", "D0.03cc[Gy]", "D0.1cc[Gy]"].map(|name| place(name, 1.0));
        assert!(five.is_below(&small, [0.9, 1.1]) && !small.is_below(&five, [0.9, 1.1]));
        assert!(large.is_below(&five, [0.9, 1.1]));
        assert!(!five.is_below(&small, [0.5, 1.1]) && !small.is_below(&five, [0.5, 1.1]));
    }

    #[test]
    fn everything_lies_between_the_extremes() {
        let names = ["D99%[Gy]", "D50%[Gy]", "D0.03cc[Gy]", "D1mm3[Gy]", "DC0.5cc[Gy]", "Mean[Gy]"];
        let [min, max] = ["Min[Gy]", "Max[Gy]"].map(|name| place(name, 4.0));
        for name in names {
            let here = place(name, 4.0);
            assert!(min.is_below(&here, [3.0, 5.0]) && here.is_below(&max, [3.0, 5.0]), "{name}");
            assert!(!max.is_below(&here, [3.0, 5.0]) && !here.is_below(&min, [3.0, 5.0]), "{name}");
        }
        let [mean, median] = ["Mean[Gy]", "D50%[Gy]"].map(|name| place(name, 4.0));
        assert!(!mean.is_below(&median, [4.0; 2]) && !median.is_below(&mean, [4.0; 2]));
    }

    #[test]
    fn volumes_fall_with_dose_and_cold_volumes_rise() {
        let of = |name: &str| place(name, 4.0);
        assert!(of("V12Gy[cc]").is_below(&of("V10Gy[cc]"), [4.0; 2]));
        assert!(of("V0Gy[cc]").is_below(&of("Volume[cc]"), [4.0; 2]));
        assert!(!of("V12Gy[cc]").is_below(&of("V10Gy[%]"), [4.0; 2]));
        assert!(of("CV10Gy[cc]").is_below(&of("CV12Gy[cc]"), [4.0; 2]));
    }

    #[test]
    fn the_near_maximum_is_where_its_rule_puts_it() {
        assert_eq!(place("NearMax[Gy]", 4.0).along, place("D2%[Gy]", 4.0).along);
        assert_eq!(place("NearMax[Gy]", 1.0).along, place("D35mm3[Gy]", 1.0).along);
        assert_eq!(place("NearMin[Gy]", 1.0).along, place("DC0.035cc[Gy]", 1.0).along);
    }
}
