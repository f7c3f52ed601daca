//! How steeply the dose falls beside the target: Paddick and Lippitz' gradient index.

use super::conformity::{CUT, prescription};
use super::{AppliesTo, Definition, Evidence, Outcome, Status};

pub(super) static HALF_ISODOSE_VOLUME: Definition = Definition {
    name: "PIV50%[cc]",
    limits: [0.0, f64::INFINITY],
    unit: "cc",
    title: "volume of all space that receives at least half of the prescription dose",
    formula: "volume of the connected isodose D ≥ Rx/2 that holds the target's dose",
    reference: "Paddick and Lippitz 2006, J Neurosurg 105 Suppl:194",
    evidence: Evidence::Read,
    undefined: "no prescription, or one isodose island holds several targets",
    applies_to: AppliesTo::Target,
    standard: &[],
    range: [0.0, 0.0],
    compute: |s, _| prescription(s).map_or_else(|o| o, |rx| Outcome::of_isodose(&rx.half, CUT)),
};

pub(super) static PADDICK_LIPPITZ: Definition = Definition {
    name: "PaddickGradient",
    limits: [1.0, f64::INFINITY],
    unit: "1",
    title: "gradient index: half-prescription isodose volume over prescription isodose volume",
    formula: "PIV_half / PIV",
    reference: "Paddick and Lippitz 2006, J Neurosurg 105 Suppl:194; ICRU Report 91 for brain",
    evidence: Evidence::Read,
    undefined: "no prescription, PIV zero, or an island shared by several targets; refused when \
                the grid cuts either isodose",
    applies_to: AppliesTo::Target,
    standard: &[],
    range: [0.0, 0.0],
    compute: |s, _| {
        let rx = match prescription(s) {
            Ok(rx) => rx,
            Err(outcome) => return outcome,
        };
        match (&rx.whole, &rx.half) {
            (Err(reason), _) | (_, Err(reason)) => {
                Outcome::none(Status::NotApplicable, reason.clone())
            }
            (Ok(whole), Ok(half)) if whole.cut_by_grid || half.cut_by_grid => {
                Outcome::none(Status::PartlyOutsideGrid, CUT)
            }
            (Ok(whole), Ok(half)) if whole.volume_mm3 > 0.0 => {
                Outcome::of(half.volume_mm3 / whole.volume_mm3)
            }
            _ => Outcome::none(
                Status::NotApplicable,
                "no part of the dose grid receives the prescription dose",
            ),
        }
    },
};
