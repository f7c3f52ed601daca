//! Volume that receives at least a given dose: V12Gy and its like.

use super::{AppliesTo, Definition, Evidence};

const DOSES: &[f64] = &[5.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0, 24.0, 25.0, 30.0];

pub(super) static ABSOLUTE: Definition = Definition {
    name: "V{x}Gy[cc]",
    limits: [0.0, f64::INFINITY],
    unit: "cc",
    title: "volume of the structure that receives at least x Gy",
    formula: "volume with D ≥ x",
    reference: "AAPM TG-263 (name)",
    evidence: Evidence::Read,
    undefined: "the structure lies outside the dose grid; a lower bound when partly outside",
    applies_to: AppliesTo::Structure,
    standard: DOSES,
    range: [0.0, 500.0],
    compute: |s, x| match s.any_dvh() {
        Err(outcome) => outcome,
        Ok(dvh) => s.at_least(dvh.volume_at_dose(x) / 1000.0),
    },
};

pub(super) static PERCENT: Definition = Definition {
    name: "V{x}Gy[%]",
    limits: [0.0, 100.0],
    unit: "%",
    title: "share of the structure that receives at least x Gy",
    formula: "100 · V(x) / V",
    reference: "AAPM TG-263 (name)",
    evidence: Evidence::Read,
    undefined: "the structure lies outside the dose grid; a lower bound when partly outside",
    applies_to: AppliesTo::Structure,
    standard: DOSES,
    range: [0.0, 500.0],
    compute: |s, x| match s.any_dvh() {
        Err(outcome) => outcome,
        Ok(dvh) => {
            let whole = dvh.volume_mm3() / s.cover.max(f64::MIN_POSITIVE);
            s.at_least(100.0 * dvh.volume_at_dose(x) / whole)
        }
    },
};
