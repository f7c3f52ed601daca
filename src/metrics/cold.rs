//! The cold end of a histogram: dose of the coldest part, and volume that receives less than a
//! dose.

use super::dose_at_volume::smaller;
use super::place::Curve;
use super::{Definition, Outcome, PhysicalRange, Place, Provenance, Scale, Worse};

pub(super) static DOSE_OF_COLDEST: Definition = Definition {
    name: "DC{x}cc[Gy]",
    unit: "Gy",
    title: "largest dose in the coldest x cc of the structure",
    formula: "D(V − x): largest D with V(D) ≥ V − x",
    reference: "AAPM TG-263 (name)",
    provenance: Provenance::Memory,
    undefined: "the structure is smaller than x cc, or the dose grid does not cover all of it",
    standard: &[0.5],
    arguments: [0.0, 10_000.0],
    place: |_, x| Place::dose(1.0, -x),
    compute: |s, x| {
        if s.volume_cc < x {
            return smaller(s, x);
        }
        let dose = || {
            let dvh = s.complete_dvh()?;
            let rest = (dvh.volume_mm3() - x * 1000.0).max(0.0);
            dvh.dose_at_volume(rest).ok_or_else(|| smaller(s, x))
        };
        Outcome::from_result(dose())
    },
    scale: Scale::Dose,
    worse: Worse::of_dose,
    ..Definition::PLAIN
};

const COLD: Definition = Definition {
    reference: "AAPM TG-263 (name)",
    provenance: Provenance::Memory,
    undefined: "the structure lies outside the dose grid; a lower bound when partly outside",
    standard: &[20.0],
    arguments: [0.0, 500.0],
    ..Definition::PLAIN
};

pub(super) static COLD_VOLUME: Definition = Definition {
    name: "CV{x}Gy[cc]",
    unit: "cc",
    title: "volume of the structure that receives less than x Gy",
    formula: "V − V(x)",
    place: |_, x| Place::at_dose(Curve::Cold, -x),
    compute: |s, x| match s.any_dvh() {
        Err(outcome) => outcome,
        Ok(dvh) => s.at_least((dvh.volume_mm3() - dvh.volume_at_dose(x)).max(0.0) / 1000.0),
    },
    scale: Scale::Volume,
    worse: Worse::of_cold_volume,
    ..COLD
};

pub(super) static COLD_SHARE: Definition = Definition {
    name: "CV{x}Gy[%]",
    physical_range: PhysicalRange::PERCENT,
    unit: "%",
    title: "share of the structure that receives less than x Gy",
    formula: "100 · (V − V(x)) / V",
    place: |_, x| Place::at_dose(Curve::ColdShare, -x),
    compute: |s, x| match s.any_dvh() {
        Err(outcome) => outcome,
        Ok(dvh) => {
            let whole = dvh.volume_mm3() / s.cover.max(f64::MIN_POSITIVE);
            let cold = (dvh.volume_mm3() - dvh.volume_at_dose(x)).max(0.0);
            s.at_least((100.0 * cold / whole).min(100.0))
        }
    },
    scale: Scale::ShareOfVolume(100.0),
    worse: Worse::of_cold_volume,
    ..COLD
};
