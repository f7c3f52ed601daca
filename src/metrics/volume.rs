//! The volume of a structure.

use super::place::Curve;
use super::{AppliesTo, Definition, Evidence, InRegions, Outcome, Place};

/// Volume of the structure.
pub static VOLUME: Definition = Definition {
    name: "Volume[cc]",
    unit: "cc",
    title: "volume of the structure",
    formula: "sum over all cells of filled area times thickness",
    reference: "ICRU Report 83 (volume in cm³)",
    evidence: Evidence::Read,
    undefined: "no closed contours, or a single plane of unknown thickness",
    applies_to: AppliesTo::Structure,
    in_regions: InRegions::Sum,
    place: |_, _| Place::at_dose(Curve::Volume, f64::NEG_INFINITY),
    compute: |subject, _| Outcome::of(subject.volume_cc),
    basic: true,
    ..Definition::PLAIN
};
