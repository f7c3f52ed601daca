//! Integral dose.

use super::Definition;

pub(super) static INTEGRAL_DOSE: Definition = Definition {
    name: "IntegralDose[Gy*cc]",
    unit: "Gy*cc",
    title: "integral dose: mean dose times volume; in mJ for tissue of 1 g/cc",
    formula: "∫ D dV",
    reference: "Dimitriadis and Paddick 2018, J Neurosurg 129 Suppl 1",
    undefined: "the structure lies outside the dose grid; a lower bound when partly outside",
    compute: |s, _| match s.any_dvh() {
        Err(outcome) => outcome,
        Ok(dvh) => s.at_least(dvh.mean_gy() * dvh.volume_mm3() / 1000.0),
    },
    ..Definition::PLAIN
};
