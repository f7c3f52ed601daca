//! Integral dose.

use super::{AppliesTo, Definition, InRegions, Need, Outcome, Scale, Status, Worse};

/// Integral dose.
pub static INTEGRAL_DOSE: Definition = Definition {
    name: "IntegralDose[Gy*cc]",
    unit: "Gy*cc",
    title: "integral dose: mean dose times volume; in mJ for tissue of 1 g/cc",
    formula: "∫ D dV",
    reference: "Dimitriadis and Paddick 2018, J Neurosurg 129 Suppl 1",
    undefined: "the structure lies outside the dose grid; a lower bound when partly outside",
    in_regions: InRegions::Sum,
    compute: |s, _| match s.any_dvh() {
        Err(outcome) => outcome,
        Ok(dvh) => s.at_least(dvh.mean_gy() * dvh.volume_mm3() / 1000.0),
    },
    scale: Scale::IntegralDose,
    worse: Worse::of_large_dose,
    ..Definition::PLAIN
};

pub(super) static EFFICIENCY: Definition = Definition {
    name: "EfficiencyIndex50%",
    title: "efficiency index η50%: integral dose of the target over that of half the prescription's \
            isodose volume; at most 1 for a target inside it",
    formula: "∫_TV D dV / ∫_PIV50% D dV",
    reference: "Dimitriadis and Paddick 2018, J Neurosurg 129 Suppl 1",
    undefined: "no prescription, an island shared by several targets; refused when the grid cuts \
                the isodose or does not cover the target",
    applies_to: AppliesTo::Target,
    needs: &[Need::Isodoses],
    compute: |s, _| {
        let value = || {
            let dvh = s.complete_dvh()?;
            let none = |reason: &String| Outcome::none(Status::NotApplicable, reason.clone());
            let half = s.rx()?.half.as_ref().map_err(none)?;
            if half.cut_by_grid {
                return Err(Outcome::none(Status::PartlyOutsideGrid, super::conformity::CUT));
            }
            if half.integral_gy_mm3 <= 0.0 {
                let reason = "no part of the dose grid receives half the prescription dose";
                return Err(Outcome::none(Status::NotApplicable, reason));
            }
            Ok(dvh.mean_gy() * dvh.volume_mm3() / half.integral_gy_mm3)
        };
        Outcome::from_result(value())
    },
    scale: Scale::Whole(1.0),
    worse: Worse::lower,
    ..Definition::PLAIN
};
