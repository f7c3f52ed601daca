//! How steeply the dose falls beside the target: Paddick and Lippitz' gradient index and the other
//! published forms.

use super::conformity::{CUT, ISODOSE};
use super::place::{Curve, at_prescription};
use super::{
    AppliesTo, Definition, Need, Outcome, PhysicalRange, Provenance, Scale, Status, Subject,
};
use tidydose_dose::Isodose;
use tidydose_geometry::ball_radius_mm;

pub(super) static HALF_ISODOSE_VOLUME: Definition = Definition {
    name: "PIV50%[cc]",
    title: "volume of all space that receives at least half of the prescription dose",
    formula: "volume of the connected isodose D ≥ Rx/2 that holds the target's dose",
    reference: "Paddick and Lippitz 2006, J Neurosurg 105 Suppl:194",
    place: |s, _| at_prescription(Curve::Isodose, s, 0.5),
    compute: |s, _| s.rx().map_or_else(|o| o, |rx| Outcome::of_isodose(&rx.half, CUT)),
    ..ISODOSE
};

pub(super) static PADDICK_LIPPITZ: Definition = Definition {
    name: "PaddickGradient",
    physical_range: PhysicalRange::FROM_ONE,
    title: "gradient index: half-prescription isodose volume over prescription isodose volume",
    formula: "PIV_half / PIV",
    reference: "Paddick and Lippitz 2006, J Neurosurg 105 Suppl:194; ICRU Report 91 for brain",
    compute: |s, _| Outcome::from_result(volumes(s).map(|v| v.half / v.whole)),
    basic: true,
    ..FALL
};

/// Volumes of both isodoses, mm³.
struct Volumes {
    whole: f64,
    half: f64,
    /// Areas of both surfaces together, mm².
    area: f64,
}

impl Volumes {
    /// Difference of the radii of spheres of both volumes, mm.
    fn fall_off_mm(&self) -> f64 {
        ball_radius_mm(self.half) - ball_radius_mm(self.whole)
    }
}

/// An isodose of one target that lies inside the grid.
fn uncut(isodose: &Result<Isodose, String>) -> Result<&Isodose, Outcome> {
    match isodose {
        Err(reason) => Err(Outcome::none(Status::NotApplicable, reason.clone())),
        Ok(cut) if cut.cut_by_grid => Err(Outcome::none(Status::PartlyOutsideGrid, CUT)),
        Ok(isodose) => Ok(isodose),
    }
}

fn volumes(s: &Subject<'_>) -> Result<Volumes, Outcome> {
    let rx = s.rx()?;
    let (whole, half) = (uncut(&rx.whole)?, uncut(&rx.half)?);
    if whole.volume_mm3 <= 0.0 {
        let reason = "no part of the dose grid receives the prescription dose";
        return Err(Outcome::none(Status::NotApplicable, reason));
    }
    Ok(Volumes {
        whole: whole.volume_mm3,
        half: half.volume_mm3,
        area: whole.area_mm2 + half.area_mm2,
    })
}

const FALL: Definition = Definition {
    undefined: "no prescription, PIV zero, or an island shared by several targets; refused when \
                the grid cuts either isodose",
    applies_to: AppliesTo::Target,
    needs: &[Need::Isodoses],
    ..Definition::PLAIN
};

const WAGNER_2003: &str = "Wagner et al. 2003, Int J Radiat Oncol Biol Phys 57:1141";

pub(super) static MODIFIED: Definition = Definition {
    name: "ModifiedGradient",
    title: "modified gradient index: half-prescription isodose volume over target volume",
    formula: "PIV_half / TV",
    reference: "abstract of a paper on linear-accelerator radiosurgery (mGI)",
    compute: |s, _| Outcome::from_result(volumes(s).map(|v| v.half / 1000.0 / s.volume_cc)),
    ..FALL
};

pub(super) static R50: Definition = Definition {
    name: "R50%",
    title: "R50%: volume of half the prescription over target volume (the number of \
            ModifiedGradient)",
    formula: "V(50 % of Rx) / TV",
    reference: "RTOG 0915; AAPM TG-101",
    ..Definition::synonym_of(&MODIFIED)
};

pub(super) static FALL_OFF: Definition = Definition {
    name: "FallOffDistance[mm]",
    unit: "mm",
    title: "fall-off distance: difference of the equivalent-sphere radii of both isodoses",
    formula: "r_eq(PIV_half) − r_eq(PIV), r_eq(V) = (3V/4π)^⅓",
    reference: WAGNER_2003,
    compute: |s, _| Outcome::from_result(volumes(s).map(|v| v.fall_off_mm())),
    ..FALL
};

pub(super) static EFFECTIVE: Definition = Definition {
    name: "EffectiveGradient[%/mm]",
    unit: "%/mm",
    title: "effective gradient: half the prescription over the fall-off distance",
    formula: "50 % / (r_eq(PIV_half) − r_eq(PIV))",
    reference: "Mayo et al., as a table of plan metrics quotes it",
    compute: |s, _| {
        let gradient = |v: Volumes| match v.fall_off_mm() {
            d if d > 0.0 => Ok(50.0 / d),
            _ => Err(Outcome::none(Status::NotApplicable, "both isodoses have one volume")),
        };
        Outcome::from_result(volumes(s).and_then(gradient))
    },
    ..FALL
};

/// The score falls by 1 for each 0.1 mm beyond 3 mm.
fn wagner_gradient(v: &Volumes) -> f64 {
    100.0 - 100.0 * (v.fall_off_mm() / 10.0 - 0.3)
}

pub(super) static WAGNER_GRADIENT: Definition = Definition {
    name: "WagnerCGIg",
    physical_range: PhysicalRange::ANY,
    title: "gradient part of Wagner's conformity/gradient index, 100 for a fall-off of 3 mm",
    formula: "100 − 100 · (r_eq(PIV_half) − r_eq(PIV) − 0.3 cm)",
    reference: WAGNER_2003,
    provenance: Provenance::Memory,
    compute: |s, _| Outcome::from_result(volumes(s).map(|v| wagner_gradient(&v))),
    scale: Scale::Points(100.0),
    ..FALL
};

pub(super) static WAGNER_INDEX: Definition = Definition {
    name: "WagnerCGI",
    physical_range: PhysicalRange::ANY,
    title: "Wagner's conformity/gradient index",
    formula: "(CGIc + CGIg) / 2",
    reference: WAGNER_2003,
    provenance: Provenance::Memory,
    compute: |s, _| {
        let index =
            |v: Volumes| (100.0 * s.volume_cc * 1000.0 / v.whole + wagner_gradient(&v)) / 2.0;
        Outcome::from_result(volumes(s).map(index))
    },
    scale: Scale::Points(100.0),
    ..FALL
};

pub(super) static MEAN_DISTANCE: Definition = Definition {
    name: "MeanIsodoseDistance[mm]",
    unit: "mm",
    title: "dose gradient index of Sung and Choi: mean distance between the surfaces of half the \
            prescription and of the prescription",
    formula: "(V50% − V100%) / ((S50% + S100%)/2), V volumes and S surfaces of the isodoses",
    reference: "Sung and Choi 2018, dose gradient curve (idea read; equation not yet checked against it)",
    provenance: Provenance::Memory,
    compute: |s, _| {
        let distance = |v: Volumes| match v.area {
            area if area > 0.0 => Ok((v.half - v.whole) / (area / 2.0)),
            _ => Err(Outcome::none(Status::NotApplicable, "the isodoses have no surface")),
        };
        Outcome::from_result(volumes(s).and_then(distance))
    },
    ..FALL
};

/// Shares of the largest dose in the target between which the penumbra lies.
pub const PENUMBRA: [f64; 2] = [0.8, 0.2];

pub(super) static PENUMBRA_80_20: Definition = Definition {
    name: "Penumbra80-20[mm]",
    unit: "mm",
    title: "penumbra: distance between the isodoses of 80 % and 20 % of the largest dose in the \
            target, as the difference of their equivalent-sphere radii",
    formula: "r_eq(V(20 % of Max)) − r_eq(V(80 % of Max)), r_eq(V) = (3V/4π)^⅓",
    reference: "table of terms in Radiat Oncol 2017 12:169 (two isodose lines, 80 % and 20 %; read); \
                equivalent spheres instead of one profile are this program's",
    undefined: "no prescription, no dose in the target, or an island shared by several targets; \
                refused when the grid cuts the 20 % isodose",
    needs: &[Need::Penumbra],
    compute: |s, _| {
        let distance = || {
            let isodoses = s.rx()?.penumbra.as_ref();
            let missing = || Outcome::none(Status::NotApplicable, "the isodoses were not computed");
            let [steep, wide] = isodoses.ok_or_else(missing)?;
            let (steep, wide) = (uncut(steep)?, uncut(wide)?);
            if steep.volume_mm3 <= 0.0 {
                let reason = "no dose is known in the target";
                return Err(Outcome::none(Status::NotApplicable, reason));
            }
            Ok(ball_radius_mm(wide.volume_mm3) - ball_radius_mm(steep.volume_mm3))
        };
        Outcome::from_result(distance())
    },
    ..FALL
};
