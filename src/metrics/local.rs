//! What lies around one of several targets: volumes of an isodose by the nearest target surface
//! and by connected island, indices of the isodose nearest to a target, and the dose 2 cm away.

use super::conformity::CUT;
use super::place::{Curve, at_prescription};
use super::{
    AppliesTo, Definition, Need, Outcome, PhysicalRange, Place, Provenance, Scale, Status, Subject,
    Worse,
};
use tidydose_dose::Isodose;
use tidydose_dose::beyond::Beyond;

/// What lies around a target.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Surroundings {
    /// The part of the prescription isodose that is nearest to this target.
    pub nearest_whole: Isodose,
    /// The part of half the prescription that is nearest to this target.
    pub nearest_half: Isodose,
    /// Volumes of the doses that were asked for.
    pub local: Vec<LocalVolume>,
    /// Largest dose 2 cm away; absent when the grid does not reach so far.
    pub two_cm: Option<Beyond>,
}

/// The volume of an isodose that belongs to a target, in two ways.
#[derive(Debug, Clone, PartialEq)]
pub struct LocalVolume {
    /// Dose, Gy.
    pub dose_gy: f64,
    /// What is nearest to this target.
    pub nearest: Isodose,
    /// The connected island that holds it.
    pub island: Isodose,
    /// ROI Numbers of other lesions in that island.
    pub with: Vec<String>,
}

fn around<'a>(s: &Subject<'a>) -> Result<&'a Surroundings, Outcome> {
    Ok(&s.rx()?.around)
}

fn volume(isodose: &Isodose) -> Outcome {
    let cc = isodose.volume_mm3 / 1000.0;
    if isodose.cut_by_grid { Outcome::at_least(cc, CUT) } else { Outcome::of(cc) }
}

fn level(s: &Subject<'_>, x: f64, of: fn(&LocalVolume) -> &Isodose) -> Outcome {
    let found = around(s).map(|a| a.local.iter().find(|l| l.dose_gy == x));
    match found {
        Err(outcome) => outcome,
        Ok(Some(local)) => volume(of(local)),
        Ok(None) => Outcome::none(Status::NotApplicable, "the isodose was not computed"),
    }
}

/// The other lesions of an island, in words.
fn merged(s: &Subject<'_>, x: f64) -> String {
    let local = s.rx().ok().and_then(|rx| rx.around.local.iter().find(|l| l.dose_gy == x));
    match local {
        Some(l) if l.with.is_empty() => "one lesion in the island".to_owned(),
        Some(l) => {
            let lesions = l.with.len() + 1;
            format!("merged: {lesions} lesions in the island, with ROI {}", l.with.join(" "))
        }
        None => String::new(),
    }
}

const LOCAL: Definition = Definition {
    unit: "cc",
    reference: "papers on several metastases; each names its own rule",
    provenance: Provenance::CommonPractice,
    undefined: "no prescription; a lower bound when the grid cuts the isodose",
    applies_to: AppliesTo::Target,
    standard: &[10.0, 12.0],
    arguments: [0.1, 500.0],
    rule: merged,
    scale: Scale::Volume,
    ..Definition::PLAIN
};

pub(super) static NEAREST: Definition = Definition {
    name: "V{x}GyNearest[cc]",
    title: "local volume: all space with at least x Gy that is nearest to this target's surface, \
            targets included; those of all lesions add up to that of all tissue",
    formula: "volume with D ≥ x nearest to the target among the prescribed ones",
    needs: &[Need::LocalIsodose, Need::Nearest],
    place: |_, x| Place::at_dose(Curve::Nearest, x),
    compute: |s, x| level(s, x, |l| &l.nearest),
    ..LOCAL
};

pub(super) static ISLAND: Definition = Definition {
    name: "V{x}GyIsland[cc]",
    title: "local volume: the connected region of at least x Gy that holds this target, targets \
            included; lesions in one region share it, see column method",
    formula: "volume of the connected island of D ≥ x that holds the target",
    needs: &[Need::LocalIsodose],
    place: |_, x| Place::at_dose(Curve::Island, x),
    compute: |s, x| level(s, x, |l| &l.island),
    ..LOCAL
};

/// The volumes of an index with the isodose that is nearest to a target, mm³.
fn nearest_isodose<'a>(s: &Subject<'a>) -> Result<&'a Isodose, Outcome> {
    let isodose = &around(s)?.nearest_whole;
    if isodose.cut_by_grid {
        return Err(Outcome::none(Status::PartlyOutsideGrid, CUT));
    }
    if isodose.volume_mm3 <= 0.0 {
        let reason = "no part of the dose grid nearest to it receives the prescription dose";
        return Err(Outcome::none(Status::NotApplicable, reason));
    }
    Ok(isodose)
}

const SPLIT: Definition = Definition {
    provenance: Provenance::CommonPractice,
    undefined: "no prescription; refused when the grid cuts the isodose",
    applies_to: AppliesTo::Target,
    needs: &[Need::Isodoses, Need::Nearest],
    ..Definition::PLAIN
};

/// The part of the prescription isodose that is nearest to a target.
pub static NEAREST_ISODOSE: Definition = Definition {
    name: "PIVNearest[cc]",
    unit: "cc",
    title: "prescription isodose volume nearest to this target: that of the target alone where \
            isodoses of several targets have merged",
    formula: "volume with D ≥ Rx of this target nearest to its surface",
    reference: "split by the nearest target surface (own rule for merged isodoses)",
    place: |s, _| at_prescription(Curve::Nearest, s, 1.0),
    compute: |s, _| around(s).map_or_else(|o| o, |a| volume(&a.nearest_whole)),
    scale: Scale::Volume,
    ..SPLIT
};

pub(super) static NEAREST_PADDICK: Definition = Definition {
    name: "PaddickConformityNearest",
    physical_range: PhysicalRange::SHARE,
    title: "Paddick's conformity index with the isodose nearest to this target",
    formula: "TV_PIV² / (TV · PIVNearest)",
    reference: "Paddick 2000; split by the nearest target surface (own rule for merged isodoses)",
    compute: |s, _| {
        let value = || {
            let (dvh, rx, piv) = (s.complete_dvh()?, s.rx()?, nearest_isodose(s)?);
            let common = dvh.volume_at_dose(rx.dose_gy);
            Ok((common * common / (dvh.volume_mm3() * piv.volume_mm3)).min(1.0))
        };
        Outcome::from_result(value())
    },
    scale: Scale::Whole(1.0),
    worse: Worse::lower,
    ..SPLIT
};

pub(super) static NEAREST_GRADIENT: Definition = Definition {
    name: "PaddickGradientNearest",
    physical_range: PhysicalRange::FROM_ONE,
    title: "gradient index with the isodoses nearest to this target",
    formula: "PIV50%Nearest / PIVNearest",
    reference: "Paddick and Lippitz 2006; split by the nearest target surface (own rule)",
    compute: |s, _| {
        let value = || {
            let (piv, half) = (nearest_isodose(s)?, &around(s)?.nearest_half);
            if half.cut_by_grid {
                return Err(Outcome::none(Status::PartlyOutsideGrid, CUT));
            }
            Ok((half.volume_mm3 / piv.volume_mm3).max(1.0))
        };
        Outcome::from_result(value())
    },
    ..SPLIT
};

pub(super) static TWO_CM: Definition = Definition {
    name: "D2cm[%]",
    unit: "%",
    title: "largest dose at least 2 cm from the target in any direction, in percent of the \
            prescription",
    formula: "100 · max D(p : distance to target ≥ 20 mm) / Rx",
    reference: "RTOG 0813 and 0915; AAPM TG-101",
    provenance: Provenance::Memory,
    undefined: "no prescription, or the grid does not reach 2 cm beyond the target; a lower bound \
                where it does so in part",
    applies_to: AppliesTo::Target,
    needs: &[Need::TwoCm],
    compute: |s, _| {
        let found = s.rx().and_then(|rx| {
            let none = || {
                let reason = "the dose grid ends within 2 cm of the target";
                Outcome::none(Status::OutsideGrid, reason)
            };
            Ok((rx.around.two_cm.ok_or_else(none)?, rx.dose_gy))
        });
        match found {
            Err(outcome) => outcome,
            Ok((b, rx)) if b.cut_by_grid => Outcome::at_least(
                100.0 * b.dose_gy / rx,
                "the dose grid ends within 2 cm of the target on some side",
            ),
            Ok((b, rx)) => Outcome::of(100.0 * b.dose_gy / rx),
        }
    },
    scale: Scale::Whole(100.0),
    ..Definition::PLAIN
};
