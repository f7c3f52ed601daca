//! Numbers of a plan as a whole: all its targets together against the isodoses of all space. They
//! stand in rows of their own, with `all targets` in place of a structure, and carry "Plan" in
//! their names.

use super::{
    AppliesTo, Definition, INTEGRAL_DOSE, NEAREST_ISODOSE, Need, Outcome, PhysicalRange,
    Provenance, Scale, Status, Subject, VOLUME_AT_PRESCRIPTION,
};

/// What the targets and isodoses of a plan add up to. Nested targets count once, by the largest.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanTotals {
    /// Number of lesions with a prescription.
    pub lesions: usize,
    /// The one prescription of all of them, Gy; or why there is none.
    pub dose_gy: Option<f64>,
    /// The prescriptions, in words.
    pub prescriptions: String,
    /// The quantities that indices are made of, in the order of [`Total::ALL`]; or the outcome that
    /// stands for a metric that needs one which is not known.
    pub totals: [Result<f64, Outcome>; Total::ALL.len()],
}

impl Default for PlanTotals {
    fn default() -> Self {
        let none = |_| Err(Outcome::none(Status::NotApplicable, "the quantity was not computed"));
        Self {
            lesions: 0,
            dose_gy: None,
            prescriptions: String::new(),
            totals: Total::ALL.map(none),
        }
    }
}

impl PlanTotals {
    /// One of the quantities.
    ///
    /// # Errors
    /// The outcome to report instead.
    pub fn of(&self, total: Total) -> Result<f64, Outcome> {
        self.totals[total as usize].clone()
    }
}

/// A quantity of a plan: volumes in cc, integral doses in Gy·cc, a dose in Gy.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Total {
    /// Volume of the targets.
    Targets,
    /// What of each target receives its own prescription.
    Common,
    /// Isodoses of their own prescriptions by the nearest target.
    OwnIsodoses,
    /// The isodose of the common prescription.
    Whole,
    /// The isodose of half the common prescription.
    Half,
    /// Integral dose of the targets.
    TargetDose,
    /// Integral dose of half the common prescription's isodose.
    HalfDose,
    /// Integral dose of the 12 Gy isodose.
    TwelveDose,
    /// Largest dose.
    Maximum,
}

impl Total {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Targets,
        Self::Common,
        Self::OwnIsodoses,
        Self::Whole,
        Self::Half,
        Self::TargetDose,
        Self::HalfDose,
        Self::TwelveDose,
        Self::Maximum,
    ];

    /// The metric of each target, with its number, of which it is the sum; absent for the others.
    #[must_use]
    pub fn of_targets(self) -> Option<(&'static Definition, f64)> {
        match self {
            Self::Targets => Some((&super::VOLUME, 0.0)),
            Self::Common => Some((&VOLUME_AT_PRESCRIPTION, 100.0)),
            Self::OwnIsodoses => Some((&NEAREST_ISODOSE, 0.0)),
            Self::TargetDose => Some((&INTEGRAL_DOSE, 0.0)),
            _ => None,
        }
    }
}

const PLAN: Definition = Definition {
    undefined: "no target with a prescription, targets with different prescriptions, or the grid \
                cuts the isodose or does not cover the targets",
    applies_to: AppliesTo::Plan,
    needs: &[Need::Totals],
    rule: |s, _| s.totals.map_or_else(String::new, |t| t.prescriptions.clone()),
    ..Definition::PLAIN
};

/// A number from 0 to 1.
const SHARE: Definition =
    Definition { physical_range: PhysicalRange::SHARE, scale: Scale::Whole(1.0), ..PLAN };

fn totals<'a>(s: &Subject<'a>) -> Result<&'a PlanTotals, Outcome> {
    let none = || Outcome::none(Status::NotApplicable, "no target has a prescription");
    s.totals.ok_or_else(none)
}

fn ratio(numerator: f64, denominator: f64) -> Result<f64, Outcome> {
    if denominator > 0.0 {
        return Ok(numerator / denominator);
    }
    Err(Outcome::none(Status::NotApplicable, "the volume to divide by is zero"))
}

/// A share of two quantities that come from different sums of the same samples, which differ in the
/// last digits.
fn share(part: f64, whole: f64) -> Result<f64, Outcome> {
    Ok(ratio(part, whole)?.min(1.0))
}

/// An index; `common` when it needs one prescription for all targets.
fn index(s: &Subject<'_>, common: bool, of: fn(&PlanTotals) -> Result<f64, Outcome>) -> Outcome {
    let value = || {
        let t = totals(s)?;
        if common && t.dose_gy.is_none() {
            let text = format!("the targets have different prescriptions: {}", t.prescriptions);
            return Err(Outcome::none(Status::NotApplicable, text));
        }
        of(t)
    };
    Outcome::from_result(value())
}

pub(super) static COUNT: Definition = Definition {
    name: "TargetCount",
    title: "number of lesions with a prescription; nested targets are one",
    formula: "count",
    reference: "practice of trials on several metastases",
    provenance: Provenance::CommonPractice,
    scatters: false,
    compute: |s, _| {
        #[allow(clippy::cast_precision_loss)] // a handful
        Outcome::from_result(totals(s).map(|t| t.lesions as f64))
    },
    ..PLAN
};

pub(super) static VOLUME: Definition = Definition {
    name: "AllTargetsVolume[cc]",
    unit: "cc",
    title: "total volume of all lesions with a prescription; nested targets count once, by the \
            largest",
    formula: "Σ TV",
    reference: "practice of trials on several metastases",
    provenance: Provenance::CommonPractice,
    made_of: &[(&super::VOLUME, 0.0)],
    compute: |s, _| Outcome::from_result(totals(s).and_then(|t| t.of(Total::Targets))),
    ..PLAN
};

pub(super) static MAX: Definition = Definition {
    name: "PlanMax[Gy]",
    unit: "Gy",
    title: "largest voxel dose of the grid",
    formula: "max over voxels",
    reference: "ICRU Report 91",
    provenance: Provenance::Memory,
    compute: |s, _| Outcome::from_result(totals(s).and_then(|t| t.of(Total::Maximum))),
    ..PLAN
};

pub(super) static ISODOSE_LEVEL: Definition = Definition {
    name: "PlanPrescriptionIsodose[%]",
    unit: "%",
    title: "prescription in percent of the largest voxel dose of the grid",
    formula: "100 · Rx / PlanMax",
    reference: "ICRU Report 91",
    provenance: Provenance::Memory,
    compute: |s, _| {
        let level = |t: &PlanTotals| {
            Ok(100.0 * ratio(t.dose_gy.unwrap_or_default(), t.of(Total::Maximum)?)?)
        };
        index(s, true, level)
    },
    ..PLAN
};

pub(super) static COVERAGE: Definition = Definition {
    name: "PlanCoverage",
    title: "share of all targets together that receives the prescription of each",
    formula: "Σ TV_PIV / Σ TV",
    reference: "Paddick 2000, on the union of the targets",
    made_of: &[(&super::VOLUME, 0.0), (&VOLUME_AT_PRESCRIPTION, 100.0)],
    compute: |s, _| index(s, false, |t| share(t.of(Total::Common)?, t.of(Total::Targets)?)),
    ..SHARE
};

pub(super) static PADDICK: Definition = Definition {
    name: "PlanPaddickConformity",
    title: "Paddick's conformity index of all targets together, with the isodose of all space",
    formula: "(Σ TV_PIV)² / (Σ TV · PIV)",
    reference: "Paddick 2000, on the union of the targets",
    made_of: &[(&super::VOLUME, 0.0), (&VOLUME_AT_PRESCRIPTION, 100.0)],
    compute: |s, _| {
        index(s, true, |t| {
            share(t.of(Total::Common)?.powi(2), t.of(Total::Targets)? * t.of(Total::Whole)?)
        })
    },
    ..SHARE
};

pub(super) static PADDICK_SUM: Definition = Definition {
    name: "PlanPaddickConformitySum",
    title: "sum form of Paddick's conformity index, each target with its own prescription and the \
            isodose nearest to it: the one that is defined for different prescriptions",
    formula: "(Σ TV_PIV)² / (Σ TV · Σ PIVNearest)",
    reference: "sum form of Paddick 2000",
    provenance: Provenance::CommonPractice,
    made_of: &[(&super::VOLUME, 0.0), (&VOLUME_AT_PRESCRIPTION, 100.0), (&NEAREST_ISODOSE, 0.0)],
    compute: |s, _| {
        index(s, false, |t| {
            share(t.of(Total::Common)?.powi(2), t.of(Total::Targets)? * t.of(Total::OwnIsodoses)?)
        })
    },
    ..SHARE
};

pub(super) static SELECTIVITY: Definition = Definition {
    name: "PlanSelectivity",
    title: "share of the prescription isodose volume that lies in any target",
    formula: "Σ TV_PIV / PIV",
    reference: "Paddick 2000, on the union of the targets",
    made_of: &[(&VOLUME_AT_PRESCRIPTION, 100.0)],
    compute: |s, _| index(s, true, |t| share(t.of(Total::Common)?, t.of(Total::Whole)?)),
    ..SHARE
};

pub(super) static RTOG: Definition = Definition {
    name: "PlanRTOGConformity",
    title: "PITV ratio of all targets together",
    formula: "PIV / Σ TV",
    reference: "Shaw et al. 1993, on the union of the targets",
    made_of: &[(&super::VOLUME, 0.0)],
    compute: |s, _| index(s, true, |t| ratio(t.of(Total::Whole)?, t.of(Total::Targets)?)),
    ..PLAN
};

pub(super) static GRADIENT: Definition = Definition {
    name: "PlanPaddickGradient",
    physical_range: PhysicalRange::FROM_ONE,
    title: "gradient index of the plan, with the isodoses of all space",
    formula: "PIV_half / PIV",
    reference: "Paddick and Lippitz 2006, on all space",
    compute: |s, _| index(s, true, |t| ratio(t.of(Total::Half)?, t.of(Total::Whole)?)),
    ..PLAN
};

pub(super) static R50: Definition = Definition {
    name: "PlanR50%",
    title: "R50% of the plan: volume of half the prescription over all targets together",
    formula: "V(50 % of Rx) / Σ TV",
    reference: "RTOG 0915, on the union of the targets",
    made_of: &[(&super::VOLUME, 0.0)],
    compute: |s, _| index(s, true, |t| ratio(t.of(Total::Half)?, t.of(Total::Targets)?)),
    ..PLAN
};

const GLOBAL: &str = "global efficiency index of papers on several metastases (use read)";

pub(super) static EFFICIENCY_HALF: Definition = Definition {
    name: "PlanEfficiency50%",
    title: "global efficiency index: integral dose of all targets over that of half the \
            prescription's isodose volume",
    formula: "Σ ∫_TV D dV / ∫_PIV50% D dV",
    reference: GLOBAL,
    provenance: Provenance::Memory,
    made_of: &[(&INTEGRAL_DOSE, 0.0)],
    compute: |s, _| index(s, true, |t| ratio(t.of(Total::TargetDose)?, t.of(Total::HalfDose)?)),
    scale: Scale::Whole(1.0),
    ..PLAN
};

pub(super) static EFFICIENCY_TWELVE: Definition = Definition {
    name: "PlanEfficiency12Gy",
    title: "global efficiency index: integral dose of all targets over that of the 12 Gy volume",
    formula: "Σ ∫_TV D dV / ∫_V12Gy D dV",
    reference: GLOBAL,
    provenance: Provenance::Memory,
    made_of: &[(&INTEGRAL_DOSE, 0.0)],
    compute: |s, _| index(s, false, |t| ratio(t.of(Total::TargetDose)?, t.of(Total::TwelveDose)?)),
    scale: Scale::Whole(1.0),
    ..PLAN
};

#[cfg(test)]
mod tests {
    use super::*;
    use crate as metrics;

    fn value(totals: &PlanTotals, name: &str) -> Outcome {
        let none = (Status::NotApplicable, String::new());
        let subject = Subject { totals: Some(totals), ..Subject::new(0.0, Err(none)) };
        metrics::parse(name).unwrap().compute(&subject)
    }

    /// Targets of 2.0 and 3.0 cc of which 2.0 and 2.9 are covered, in one isodose of 6.5 cc: the
    /// index of the union (own arithmetic).
    #[test]
    fn two_targets_in_one_isodose() {
        let totals = Total::ALL.map(|total| {
            Ok(match total {
                Total::Targets => 5.0,
                Total::Common => 4.9,
                Total::OwnIsodoses | Total::Whole => 6.5,
                Total::Half => 20.0,
                Total::TargetDose => 110.0,
                Total::HalfDose => 220.0,
                Total::TwelveDose => 440.0,
                Total::Maximum => 30.0,
            })
        });
        let mut t = PlanTotals { lesions: 2, dose_gy: Some(20.0), totals, ..Default::default() };
        for (name, want) in [
            ("TargetCount", 2.0),
            ("AllTargetsVolume[cc]", 5.0),
            ("PlanCoverage", 0.98),
            ("PlanSelectivity", 0.753_846),
            ("PlanPaddickConformity", 0.738_769),
            ("PlanPaddickConformitySum", 0.738_769),
            ("PlanRTOGConformity", 1.3),
            ("PlanPaddickGradient", 3.076_923),
            ("PlanR50%", 4.0),
            ("PlanEfficiency50%", 0.5),
            ("PlanEfficiency12Gy", 0.25),
            ("PlanMax[Gy]", 30.0),
            ("PlanPrescriptionIsodose[%]", 66.666_667),
        ] {
            let got = value(&t, name).value.unwrap();
            assert!((got - want).abs() < 1e-6, "{name}: {got}");
        }
        let cut = Outcome::none(Status::PartlyOutsideGrid, "cut");
        t.totals[Total::Half as usize] = Err(cut);
        assert_eq!(value(&t, "PlanR50%").status, Status::PartlyOutsideGrid);
        assert!(value(&t, "PlanPaddickConformity").value.is_some());
        t.dose_gy = None;
        assert_eq!(value(&t, "PlanPaddickConformity").status, Status::NotApplicable);
        assert!(value(&t, "PlanPaddickConformitySum").value.is_some());
    }
}
