//! Smallest, mean and largest dose.

use super::{Definition, InRegions, Outcome, Place, Provenance, Scale, Worse};
use tidydose_dose::Dvh;

const OF_DOSE: Definition = Definition {
    unit: "Gy",
    reference: "AAPM TG-263 (name); ICRU Report 83 prefers near-minimum and near-maximum",
    provenance: Provenance::Memory,
    undefined: "the dose grid does not cover the whole structure",
    basic: true,
    scale: Scale::Dose,
    ..Definition::PLAIN
};

pub(super) static MIN: Definition = Definition {
    name: "Min[Gy]",
    title: "smallest dose in the structure",
    formula: "minimum of the interpolated dose over the structure",
    place: |_, _| Place::dose(1.0, 0.0),
    compute: |s, _| s.complete_dvh().map_or_else(|o| o, |d| Outcome::of(d.min_gy())),
    worse: Worse::of_dose,
    ..OF_DOSE
};

/// Mean dose.
pub static MEAN: Definition = Definition {
    name: "Mean[Gy]",
    title: "mean dose",
    formula: "∫ D dV / V",
    in_regions: InRegions::PerVolume { of: &super::INTEGRAL_DOSE, factor: 1.0 },
    place: |_, _| Place::mean_dose(),
    compute: |s, _| s.complete_dvh().map_or_else(|o| o, |d| Outcome::of(d.mean_gy())),
    worse: Worse::of_dose,
    ..OF_DOSE
};

/// Largest dose.
pub static MAX: Definition = Definition {
    name: "Max[Gy]",
    title: "largest dose in the structure (a point, and so only as good as the grid)",
    formula: "maximum of the interpolated dose over the structure",
    undefined: "the structure lies outside the dose grid; a lower bound when partly outside",
    place: |_, _| Place::dose(0.0, 0.0),
    compute: |s, _| {
        let max = |d: &Dvh| s.at_least(d.max_gy());
        s.any_dvh().map_or_else(|o| o, max)
    },
    worse: Worse::of_large_dose,
    ..OF_DOSE
};

pub(super) static DEVIATION: Definition = Definition {
    name: "SD[Gy]",
    unit: "Gy",
    title: "standard deviation of the dose over the volume",
    formula: "√(∫ (D − Mean)² dV / V)",
    reference: "the spread behind the sigma index of Yoon et al. 2007",
    undefined: "the dose grid does not cover the whole structure",
    compute: |s, _| s.complete_dvh().map_or_else(|o| o, |d| Outcome::of(d.deviation_gy())),
    scale: Scale::Dose,
    ..Definition::PLAIN
};
