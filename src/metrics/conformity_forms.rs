//! The published forms of conformity beside Paddick's, each under a name that says whose it is:
//! several are reciprocal to each other, and some have a perfect score for a missed target.

use super::conformity::{PADDICK, SELECTIVITY, index, whole_overlap};
use super::place::{Curve, Unit, at_prescription};
use super::{
    AppliesTo, Definition, Need, Outcome, PhysicalRange, Place, Provenance, Scale, Status, Worse,
};

const INDEX: Definition = Definition {
    undefined: "no prescription, PIV undefined or zero; refused when the grid cuts the isodose or \
                does not cover the target",
    applies_to: AppliesTo::Target,
    needs: &[Need::Isodoses],
    ..Definition::PLAIN
};

/// An index from 0 to 1.
const SHARE: Definition =
    Definition { physical_range: PhysicalRange::SHARE, scale: Scale::Whole(1.0), ..INDEX };

const SHAW: &str = "Shaw et al. 1993, Int J Radiat Oncol Biol Phys 27:1231";
const SALT: &str = "SALT group, as a table of plan metrics quotes it (Br J Radiol, PMC5965485)";

pub(super) static RTOG_QUALITY: Definition = Definition {
    name: "RTOGQuality",
    title: "quality of coverage of RTOG: smallest dose in the target over prescription; 0.9 per \
            protocol, 0.8 a minor deviation (limits not yet checked against the source)",
    formula: "Min / Rx",
    reference: SHAW,
    undefined: "no prescription, or the dose grid does not cover the whole target",
    needs: &[],
    place: |s, _| Place::dose(1.0, 0.0)?.of_prescription(s, 1.0),
    compute: |s, _| {
        let value = || Ok(s.complete_dvh()?.min_gy() / s.rx()?.dose_gy);
        Outcome::from_result(value())
    },
    worse: Worse::lower,
    ..INDEX
};

pub(super) static RTOG_RATIO: Definition = Definition {
    name: "RTOGConformity",
    title: "conformity index of RTOG (PITV ratio); 1 to 2 per protocol (limits not yet checked against the source); \
            perfect also when the isodose misses the target",
    formula: "PIV / TV",
    reference: SHAW,
    compute: |s, _| index(s, |o| o.isodose / o.target),
    ..INDEX
};

pub(super) static R100: Definition = Definition {
    name: "R100%",
    title: "R100%: prescription isodose volume over target volume (the number of RTOGConformity)",
    reference: "RTOG 0813 and 0915",
    provenance: Provenance::Memory,
    ..Definition::synonym_of(&RTOG_RATIO)
};

/// Shares of a target outside its isodose up to this are the sampling of its surface.
const WHOLE: f64 = 1e-3;

pub(super) static ICRU_62: Definition = Definition {
    name: "ICRU62Conformity",
    physical_range: PhysicalRange::FROM_ONE,
    title: "conformity index of ICRU Report 62, which is defined only when the treated volume \
            covers the target",
    formula: "PIV / TV, when 99.9 % of TV lie in PIV",
    reference: "ICRU Report 62",
    provenance: Provenance::Memory,
    undefined: "the prescription isodose does not cover the target; no prescription; refused when \
                the grid cuts the isodose",
    compute: |s, _| {
        let value = || {
            let o = whole_overlap(s)?;
            if o.common < (1.0 - WHOLE) * o.target {
                let text = format!(
                    "the prescription isodose covers {:.1} % of the target",
                    100.0 * o.common / o.target
                );
                return Err(Outcome::none(Status::NotApplicable, text));
            }
            Ok((o.isodose / o.target).max(1.0))
        };
        Outcome::from_result(value())
    },
    ..INDEX
};

pub(super) static KNOOS: Definition = Definition {
    name: "KnoosConformity",
    title: "radiation conformity index of Knöös",
    formula: "TV / PIV",
    reference: "Knöös et al. 1998, Int J Radiat Oncol Biol Phys 42:1169",
    provenance: Provenance::Memory,
    compute: |s, _| index(s, |o| o.target / o.isodose),
    ..INDEX
};

pub(super) static WAGNER: Definition = Definition {
    name: "WagnerCGIc",
    title: "conformity part of Wagner's conformity/gradient index, 100 is ideal",
    formula: "100 · TV / PIV",
    reference: "Wagner et al. 2003, Int J Radiat Oncol Biol Phys 57:1141",
    compute: |s, _| index(s, |o| 100.0 * o.target / o.isodose),
    ..INDEX
};

pub(super) static LOMAX_SCHEIB: Definition = Definition {
    name: "LomaxScheibConformity",
    title: "healthy-tissue conformity index of Lomax and Scheib (the number of Selectivity)",
    reference: "Lomax and Scheib 2003, Int J Radiat Oncol Biol Phys 55:1409",
    undefined: INDEX.undefined,
    worse: Worse::lower,
    ..Definition::synonym_of(&SELECTIVITY)
};

pub(super) static VANT_RIET: Definition = Definition {
    name: "VantRietConformation",
    title: "conformation number of van't Riet (the number of PaddickConformity); first two factors \
            of COIN",
    formula: "(TV_PIV / TV) · (TV_PIV / PIV)",
    reference: "van't Riet et al. 1997, Int J Radiat Oncol Biol Phys 37:731",
    undefined: INDEX.undefined,
    worse: Worse::lower,
    ..Definition::synonym_of(&PADDICK)
};

/// Computed where the organs beside the target are known.
pub(super) static COIN: Definition = Definition {
    name: "BaltasCOIN",
    title: "COIN of Baltas: the conformation number times the share of each critical organ that \
            stays below the prescription; critical organs are all named ones but the brain",
    formula: "(TV_PIV / TV) · (TV_PIV / PIV) · ∏ (1 − V_Rx,organ / V_organ)",
    reference: "Baltas et al. 1998, Int J Radiat Oncol Biol Phys 40:515",
    provenance: Provenance::Memory,
    undefined: "VantRietConformation is undefined, or the dose grid does not cover a critical \
                organ",
    needs: &[Need::Isodoses, Need::Organs],
    made_of: &[(&VANT_RIET, 0.0)],
    compute: |_, _| Outcome::none(Status::NotApplicable, "it needs the organs beside the target"),
    worse: Worse::lower,
    ..SHARE
};

pub(super) static NAKAMURA: Definition = Definition {
    name: "NakamuraConformity",
    physical_range: PhysicalRange::FROM_ONE,
    title: "new conformity index of Nakamura, the inverse of PaddickConformity",
    formula: "TV · PIV / TV_PIV²",
    reference: "Nakamura et al. 2001, Int J Radiat Oncol Biol Phys 51:1313",
    provenance: Provenance::Memory,
    undefined: "no part of the target receives the prescription; no prescription; refused when the \
                grid cuts the isodose",
    compute: |s, _| {
        let value = || {
            let o = whole_overlap(s)?;
            if o.common > 0.0 {
                return Ok((o.target * o.isodose / (o.common * o.common)).max(1.0));
            }
            let reason = "no part of the target receives the prescription dose";
            Err(Outcome::none(Status::NotApplicable, reason))
        };
        Outcome::from_result(value())
    },
    worse: Worse::higher,
    ..INDEX
};

pub(super) static SALT_UNDERDOSAGE: Definition = Definition {
    name: "SALTUnderdosage",
    physical_range: PhysicalRange::SHARE,
    title: "lesion underdosage factor (LUF), 0 is ideal",
    formula: "(TV − TV_PIV) / TV",
    reference: SALT,
    place: |s, _| Some(at_prescription(Curve::ColdShare, s, -1.0)?.in_unit(Unit::Times(100.0))),
    compute: |s, _| index(s, |o| ((o.target - o.common) / o.target).max(0.0)),
    scale: Scale::ShareOfVolume(1.0),
    worse: Worse::higher,
    ..INDEX
};

pub(super) static SALT_OVERDOSAGE: Definition = Definition {
    name: "SALTOverdosage",
    title: "healthy-tissue overdosage factor (HTOF), 0 is ideal",
    formula: "(PIV − TV_PIV) / TV",
    reference: SALT,
    compute: |s, _| index(s, |o| ((o.isodose - o.common) / o.target).max(0.0)),
    scale: Scale::Whole(1.0),
    worse: Worse::higher,
    ..INDEX
};

pub(super) static SALT_GEOMETRIC: Definition = Definition {
    name: "SALTGeometric",
    title: "geometric conformity index g, 0 is ideal",
    formula: "LUF + HTOF",
    reference: SALT,
    compute: |s, _| {
        index(s, |o| {
            let under = (o.target - o.common).max(0.0);
            (under + (o.isodose - o.common).max(0.0)) / o.target
        })
    },
    scale: Scale::Whole(1.0),
    worse: Worse::higher,
    ..INDEX
};

const OVERLAP: &str = "overlap of two sets: Dice 1945, Jaccard 1912";

pub(super) static DICE: Definition = Definition {
    name: "Dice",
    title: "Dice coefficient of target and prescription isodose",
    formula: "2 · TV_PIV / (TV + PIV)",
    reference: OVERLAP,
    provenance: Provenance::CommonPractice,
    compute: |s, _| index(s, |o| (2.0 * o.common / (o.target + o.isodose)).min(1.0)),
    worse: Worse::lower,
    ..SHARE
};

pub(super) static JACCARD: Definition = Definition {
    name: "Jaccard",
    title: "Jaccard coefficient of target and prescription isodose",
    formula: "TV_PIV / (TV + PIV − TV_PIV)",
    reference: OVERLAP,
    provenance: Provenance::CommonPractice,
    compute: |s, _| index(s, |o| (o.common / (o.target + o.isodose - o.common)).min(1.0)),
    worse: Worse::lower,
    ..SHARE
};
