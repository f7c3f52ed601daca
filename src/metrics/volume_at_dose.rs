//! Volume that receives at least a given dose: V12Gy and its like.

use super::place::{Curve, at_prescription as at_rx};
use super::{
    AppliesTo, Definition, InRegions, Outcome, PhysicalRange, Place, Scale, Subject, Worse,
};

const DOSES: &[f64] = &[5.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0, 24.0, 25.0, 30.0];

const AT_DOSE: Definition = Definition {
    reference: "AAPM TG-263 (name)",
    undefined: "the structure lies outside the dose grid; a lower bound when partly outside",
    standard: DOSES,
    arguments: [0.0, 500.0],
    basic: true,
    ..Definition::PLAIN
};

pub(super) static ABSOLUTE: Definition = Definition {
    name: "V{x}Gy[cc]",
    unit: "cc",
    title: "volume of the structure that receives at least x Gy",
    formula: "volume with D ≥ x",
    in_regions: InRegions::Isodose,
    place: |_, x| Place::at_dose(Curve::Volume, x),
    compute: |s, x| match s.any_dvh() {
        Err(outcome) => outcome,
        Ok(dvh) => s.at_least(dvh.volume_at_dose(x) / 1000.0),
    },
    scale: Scale::Volume,
    worse: Worse::of_dose,
    ..AT_DOSE
};

/// Share of the structure that receives at least a dose.
pub static PERCENT: Definition = Definition {
    name: "V{x}Gy[%]",
    physical_range: PhysicalRange::PERCENT,
    unit: "%",
    title: "share of the structure that receives at least x Gy",
    formula: "100 · V(x) / V",
    in_regions: InRegions::PerVolume { of: &ABSOLUTE, factor: 100.0 },
    place: |_, x| Place::at_dose(Curve::Share, x),
    compute: |s, x| match s.any_dvh() {
        Err(outcome) => outcome,
        Ok(dvh) => {
            let whole = dvh.volume_mm3() / s.cover.max(f64::MIN_POSITIVE);
            // Sums of the same samples in another order differ in the last digits.
            s.at_least((100.0 * dvh.volume_at_dose(x) / whole).min(100.0))
        }
    },
    scale: Scale::ShareOfVolume(100.0),
    worse: Worse::of_dose,
    ..AT_DOSE
};

/// Doses in percent of the prescription.
const LEVELS: &[f64] = &[90.0, 95.0, 100.0, 105.0, 110.0];

const AT_PRESCRIPTION: Definition = Definition {
    reference: "AAPM TG-263 (name); at least, not more than, x % counts",
    undefined: "no prescription, or the target lies outside the dose grid; a lower bound when \
                partly outside",
    applies_to: AppliesTo::Target,
    standard: LEVELS,
    arguments: [0.0, 1000.0],
    ..Definition::PLAIN
};

pub(super) static SHARE_AT_PRESCRIPTION: Definition = Definition {
    name: "V{x}%[%]",
    physical_range: PhysicalRange::PERCENT,
    unit: "%",
    title: "share of the target that receives at least x % of the prescription of this target",
    formula: "100 · V(x/100 · Rx) / V",
    place: |s, x| at_rx(Curve::Share, s, x / 100.0),
    compute: |s, x| {
        at_prescription(s, x, |s, v, dvh_mm3| {
            let whole = dvh_mm3 / s.cover.max(f64::MIN_POSITIVE);
            (100.0 * v / whole).min(100.0)
        })
    },
    scale: Scale::ShareOfVolume(100.0),
    worse: Worse::of_dose,
    ..AT_PRESCRIPTION
};

/// Volume of the target that receives at least a share of its prescription.
pub static VOLUME_AT_PRESCRIPTION: Definition = Definition {
    name: "V{x}%[cc]",
    unit: "cc",
    title: "volume of the target that receives at least x % of the prescription of this target",
    formula: "V(x/100 · Rx)",
    place: |s, x| at_rx(Curve::Volume, s, x / 100.0),
    compute: |s, x| at_prescription(s, x, |_, v, _| v / 1000.0),
    scale: Scale::Volume,
    worse: Worse::of_dose,
    ..AT_PRESCRIPTION
};

fn at_prescription(
    s: &Subject<'_>,
    percent: f64,
    of: fn(&Subject<'_>, f64, f64) -> f64,
) -> Outcome {
    let value = || {
        let dvh = s.any_dvh()?;
        let dose_gy = percent / 100.0 * s.rx()?.dose_gy;
        Ok(of(s, dvh.volume_at_dose(dose_gy), dvh.volume_mm3()))
    };
    value().map_or_else(|outcome| outcome, |v| s.at_least(v))
}
