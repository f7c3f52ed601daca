//! How even the dose in a target is: every published form under a name that says whose it is, and
//! the prescription isodose level.

use super::place::Unit;
use super::{
    AppliesTo, Definition, Outcome, PhysicalRange, Place, Provenance, Scale, Status, Subject,
};

const INDEX: Definition = Definition {
    undefined: "the dose grid does not cover the whole target; with Rx: no prescription",
    applies_to: AppliesTo::Target,
    ..Definition::PLAIN
};

const KATARIA: &str = "Kataria et al. 2012, J Med Phys 37:207";

fn ratio(numerator: f64, denominator: f64) -> Result<f64, Outcome> {
    if denominator > 0.0 {
        return Ok(numerator / denominator);
    }
    Err(Outcome::none(Status::NotApplicable, "the dose to divide by is zero"))
}

/// (Da% − Db%) in percent of the prescription.
fn difference(s: &Subject<'_>, hot: f64, cold: f64) -> Result<f64, Outcome> {
    let by = s.dose_at_percent(hot)? - s.dose_at_percent(cold)?;
    Ok(100.0 * ratio(by, s.rx()?.dose_gy)?)
}

pub(super) static RTOG: Definition = Definition {
    name: "RTOGHomogeneity",
    title: "homogeneity index of RTOG (MDPD ratio): largest dose in the target over prescription; \
            up to 2 per protocol, to 2.5 a minor deviation (limits not yet checked against the source)",
    formula: "Max / Rx",
    reference: "Shaw et al. 1993, Int J Radiat Oncol Biol Phys 27:1231",
    place: |s, _| Place::dose(0.0, 0.0)?.of_prescription(s, 1.0),
    compute: |s, _| {
        let value = || ratio(s.complete_dvh()?.max_gy(), s.rx()?.dose_gy);
        Outcome::from_result(value())
    },
    ..INDEX
};

pub(super) static ICRU_83: Definition = Definition {
    name: "ICRU83Homogeneity",
    title: "homogeneity index of ICRU Report 83, 0 is even",
    formula: "(D2% − D98%) / D50%",
    reference: "ICRU Report 83",
    compute: |s, _| {
        let value = || {
            let by = s.dose_at_percent(2.0)? - s.dose_at_percent(98.0)?;
            ratio(by, s.dose_at_percent(50.0)?)
        };
        Outcome::from_result(value())
    },
    scale: Scale::Whole(1.0),
    ..INDEX
};

pub(super) static D5_D95: Definition = Definition {
    name: "HomogeneityD5/D95",
    physical_range: PhysicalRange::FROM_ONE,
    title: "homogeneity index D5% over D95%, 1 is even",
    formula: "D5% / D95%",
    reference: KATARIA,
    compute: |s, _| {
        let value = || ratio(s.dose_at_percent(5.0)?, s.dose_at_percent(95.0)?);
        Outcome::from_result(value())
    },
    ..INDEX
};

pub(super) static MAX_MIN: Definition = Definition {
    name: "HomogeneityMax/Min",
    physical_range: PhysicalRange::FROM_ONE,
    title: "homogeneity index largest over smallest dose, 1 is even",
    formula: "Max / Min",
    reference: KATARIA,
    compute: |s, _| {
        let value = || s.complete_dvh().and_then(|d| ratio(d.max_gy(), d.min_gy()));
        Outcome::from_result(value())
    },
    ..INDEX
};

pub(super) static D1_D98: Definition = Definition {
    name: "HomogeneityD1-D98[%]",
    unit: "%",
    title: "homogeneity index from D1% and D98% in percent of the prescription, 0 is even",
    formula: "100 · (D1% − D98%) / Rx",
    reference: KATARIA,
    compute: |s, _| Outcome::from_result(difference(s, 1.0, 98.0)),
    scale: Scale::Whole(100.0),
    ..INDEX
};

pub(super) static D5_D95_RX: Definition = Definition {
    name: "HomogeneityD5-D95[%]",
    unit: "%",
    title: "homogeneity index from D5% and D95% in percent of the prescription, 0 is even",
    formula: "100 · (D5% − D95%) / Rx",
    reference: KATARIA,
    provenance: Provenance::Memory,
    compute: |s, _| Outcome::from_result(difference(s, 5.0, 95.0)),
    scale: Scale::Whole(100.0),
    ..INDEX
};

pub(super) static MAX_RX: Definition = Definition {
    name: "HomogeneityMax/Rx",
    title: "homogeneity index largest dose over prescription (the number of RTOGHomogeneity)",
    reference: KATARIA,
    provenance: Provenance::Memory,
    ..Definition::synonym_of(&RTOG)
};

pub(super) static SIGMA: Definition = Definition {
    name: "SigmaIndex[%]",
    unit: "%",
    title: "sigma index: standard deviation of the differential histogram, dose in percent of the \
            prescription; 0 is even",
    formula: "100 · SD / Rx",
    reference: "Yoon et al. 2007, Med Dosim 32:1 (dose normalised to the prescription: not yet checked)",
    compute: |s, _| {
        let value = || Ok(100.0 * ratio(s.complete_dvh()?.deviation_gy(), s.rx()?.dose_gy)?);
        Outcome::from_result(value())
    },
    scale: Scale::Whole(100.0),
    ..INDEX
};

pub(super) static ISODOSE_LEVEL: Definition = Definition {
    name: "PrescriptionIsodose[%]",
    unit: "%",
    title: "prescription isodose level: prescription in percent of the largest dose in the target",
    formula: "100 · Rx / Max",
    reference: "RTOG 93-05 (prescription to the 50 to 90 % isodose surface); ICRU Report 91",
    place: |s, _| {
        let hundred = 100.0 * s.prescription.as_ref().ok()?.dose_gy;
        Some(Place::dose(0.0, 0.0)?.in_unit(Unit::Over(hundred)))
    },
    compute: |s, _| {
        let value = || Ok(100.0 * ratio(s.rx()?.dose_gy, s.complete_dvh()?.max_gy())?);
        Outcome::from_result(value())
    },
    ..INDEX
};
