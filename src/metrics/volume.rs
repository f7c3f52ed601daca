//! The volume of a structure.

use super::place::Curve;
use super::{Definition, InRegions, Outcome, Place};

/// Volume of the structure.
pub static VOLUME: Definition = Definition {
    name: "Volume[cc]",
    unit: "cc",
    title: "volume of the structure",
    formula: "sum over all cells of filled area times thickness",
    reference: "ICRU Report 83 (volume in cm³)",
    undefined: "no closed contours, or a single plane of unknown thickness",
    in_regions: InRegions::Sum,
    place: |_, _| Place::at_dose(Curve::Volume, f64::NEG_INFINITY),
    compute: |subject, _| Outcome::of(subject.volume_cc),
    basic: true,
    ..Definition::PLAIN
};
