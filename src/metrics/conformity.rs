//! How the prescription isodose fits the target: coverage, selectivity and Paddick's conformity
//! index. The other published forms are in [`super::conformity_forms`].

use super::place::{Curve, Unit, at_prescription};
use super::{AppliesTo, Definition, Need, Outcome, PhysicalRange, Scale, Status, Subject, Worse};

/// Volumes of target, isodose and their overlap, cc.
pub(super) struct Overlap {
    pub(super) target: f64,
    pub(super) isodose: f64,
    pub(super) common: f64,
    /// The grid cuts the isodose, so its volume is a lower bound.
    cut: bool,
}

fn common(s: &Subject<'_>) -> Result<(f64, f64), Outcome> {
    let rx = s.rx()?;
    let dvh = s.complete_dvh()?;
    // Both from the same samples, so that full coverage is exactly 1.
    Ok((dvh.volume_mm3() / 1000.0, dvh.volume_at_dose(rx.dose_gy) / 1000.0))
}

fn overlap(s: &Subject<'_>) -> Result<Overlap, Outcome> {
    let (target, common) = common(s)?;
    let isodose =
        s.rx()?.whole.clone().map_err(|reason| Outcome::none(Status::NotApplicable, reason))?;
    if isodose.volume_mm3 <= 0.0 {
        let reason = "no part of the dose grid receives the prescription dose";
        return Err(Outcome::none(Status::NotApplicable, reason));
    }
    Ok(Overlap { target, isodose: isodose.volume_mm3 / 1000.0, common, cut: isodose.cut_by_grid })
}

/// The reason given when the grid ends before an isodose does.
pub const CUT: &str = "the isodose reaches the edge of the dose grid";

/// The volume of an isodose of a target.
pub(super) const ISODOSE: Definition = Definition {
    unit: "cc",
    undefined: "no prescription, or one isodose island holds several targets",
    applies_to: AppliesTo::Target,
    needs: &[Need::Isodoses],
    basic: true,
    scale: Scale::Volume,
    ..Definition::PLAIN
};

pub(super) static ISODOSE_VOLUME: Definition = Definition {
    name: "PIV[cc]",
    title: "prescription isodose volume: all space that receives at least the prescription dose",
    formula: "volume of the connected isodose D ≥ Rx that holds the target's dose",
    reference: "Paddick 2000, J Neurosurg 93 Suppl 3:219",
    place: |s, _| at_prescription(Curve::Isodose, s, 1.0),
    compute: |s, _| s.rx().map_or_else(|o| o, |rx| Outcome::of_isodose(&rx.whole, CUT)),
    ..ISODOSE
};

pub(super) static COVERAGE: Definition = Definition {
    name: "Coverage",
    physical_range: PhysicalRange::SHARE,
    title: "share of the target that receives at least the prescription dose",
    formula: "TV_PIV / TV",
    reference: "Paddick 2000, J Neurosurg 93 Suppl 3:219; Torrens et al. 2014",
    undefined: "no prescription, or the dose grid does not cover the whole target",
    applies_to: AppliesTo::Target,
    place: |s, _| Some(at_prescription(Curve::Share, s, 1.0)?.in_unit(Unit::Times(100.0))),
    compute: |s, _| common(s).map_or_else(|o| o, |(tv, c)| Outcome::of((c / tv).min(1.0))),
    basic: true,
    scale: Scale::ShareOfVolume(1.0),
    worse: Worse::lower,
    ..Definition::PLAIN
};

/// An index from 0 to 1 of the target and its isodose.
const SHARE: Definition = Definition {
    physical_range: PhysicalRange::SHARE,
    undefined: "no prescription, PIV undefined or zero; refused when the grid cuts the isodose",
    applies_to: AppliesTo::Target,
    needs: &[Need::Isodoses],
    basic: true,
    scale: Scale::Whole(1.0),
    ..Definition::PLAIN
};

pub(super) static SELECTIVITY: Definition = Definition {
    name: "Selectivity",
    title: "share of the prescription isodose volume that lies in the target",
    formula: "TV_PIV / PIV",
    reference: "Paddick 2000, J Neurosurg 93 Suppl 3:219; Torrens et al. 2014",
    compute: |s, _| index(s, |o| (o.common / o.isodose).min(1.0)),
    worse: Worse::lower,
    ..SHARE
};

pub(super) static PADDICK: Definition = Definition {
    name: "PaddickConformity",
    title: "Paddick's conformity index: coverage times selectivity, 1 is ideal",
    formula: "TV_PIV² / (TV · PIV)",
    reference: "Paddick 2000, J Neurosurg 93 Suppl 3:219; taken up by ICRU Report 91",
    compute: |s, _| index(s, |o| (o.common * o.common / (o.target * o.isodose)).min(1.0)),
    worse: Worse::lower,
    ..SHARE
};

/// An index of the three volumes; refused when the grid cuts the isodose.
pub(super) fn index(s: &Subject<'_>, formula: fn(&Overlap) -> f64) -> Outcome {
    Outcome::from_result(whole_overlap(s).map(|o| formula(&o)))
}

/// The three volumes, none of them cut by the grid.
pub(super) fn whole_overlap(s: &Subject<'_>) -> Result<Overlap, Outcome> {
    match overlap(s)? {
        o if o.cut => Err(Outcome::none(Status::PartlyOutsideGrid, CUT)),
        o => Ok(o),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::local::Surroundings;
    use crate::{self as metrics, PrescriptionIsodoses};
    use tidydose_dose::{Dvh, Isodose, Samples};

    fn outcome(name: &str, cut: bool) -> Outcome {
        let samples = Samples {
            doses: [(20.0, 3800.0), (10.0, 200.0)].into_iter().collect(),
            extremes_gy: [10.0, 20.0],
            ..Samples::default()
        };
        let dvh = Dvh::of(&samples).unwrap();
        let isodose = |v| Ok(Isodose { volume_mm3: v, cut_by_grid: cut, ..Isodose::default() });
        // The histogram runs straight from (20 Gy, half of the first sample) on; 3.8 cc receive
        // the dose at which it has fallen by 1.9 cc of the 2.0 cc between the middles.
        let dose_gy = 20.0 - 10.0 * 1900.0 / 2000.0;
        let (whole, half) = (isodose(4800.0), isodose(16_000.0));
        let around = Surroundings::default();
        let rx = PrescriptionIsodoses { dose_gy, whole, half, penumbra: None, around };
        let subject = Subject { prescription: Ok(&rx), ..Subject::new(4.0, Ok(&dvh)) };
        metrics::parse(name).unwrap().compute(&subject)
    }

    /// TV 4.0, PIV 4.8, TV_PIV 3.8, half 16.0 cc: own arithmetic of the published formulas.
    #[test]
    fn indices_of_the_worked_example() {
        for (name, want) in [
            ("Coverage", 0.95),
            ("Selectivity", 0.791_667),
            ("PaddickConformity", 0.752_083),
            ("PaddickGradient", 3.333_333),
            ("RTOGConformity", 1.2),
            ("R100%", 1.2),
            ("KnoosConformity", 0.833_333),
            ("WagnerCGIc", 83.333_333),
            ("LomaxScheibConformity", 0.791_667),
            ("VantRietConformation", 0.752_083),
            ("NakamuraConformity", 1.329_640),
            ("SALTUnderdosage", 0.05),
            ("SALTOverdosage", 0.25),
            ("SALTGeometric", 0.3),
            ("Dice", 0.863_636),
            ("Jaccard", 0.76),
            ("ModifiedGradient", 4.0),
            ("R50%", 4.0),
            ("FallOffDistance[mm]", 5.167_38),
            ("EffectiveGradient[%/mm]", 9.676_1),
            ("WagnerCGIg", 78.326_2),
            ("WagnerCGI", 80.829_8),
        ] {
            let got = outcome(name, false).value.unwrap();
            // The worked example is rounded to six digits.
            assert!((got - want).abs() < 1e-6 * want.max(1.0), "{name}: {got}");
        }
    }

    #[test]
    fn an_isodose_cut_by_the_grid_refuses_the_indices() {
        for name in [
            "Selectivity",
            "PaddickConformity",
            "RTOGConformity",
            "NakamuraConformity",
            "Dice",
            "PaddickGradient",
            "R50%",
            "FallOffDistance[mm]",
            "WagnerCGI",
        ] {
            assert_eq!(outcome(name, true).status, Status::PartlyOutsideGrid, "{name}");
        }
        let piv = outcome("PIV[cc]", true);
        assert_eq!((piv.status, piv.low, piv.high), (Status::Bound, Some(4.8), None));
    }
}
