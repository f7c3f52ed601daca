//! Near-maximum and near-minimum of ICRU Report 91: percent of the volume from 2 cc on, 35 mm³
//! below. Which of the two was used stands in column `method`.

use super::dose_at_volume::smaller;
use super::{Definition, Outcome, Place, Provenance, Scale, Subject, Worse};

/// From this volume on, percentages are used, cc.
const SWITCH_CC: f64 = 2.0;
/// The near-extreme volume of smaller structures, cc. The hottest and the coldest such volume of a
/// structure of less than twice that overlap: its near-minimum would lie above its near-maximum.
const SMALL_CC: f64 = 0.035;

fn is_large(s: &Subject<'_>) -> bool {
    s.volume_cc >= SWITCH_CC
}

/// The dose at a percentage of a large structure, else at a volume of a structure of at least so
/// many cc.
fn near(s: &Subject<'_>, percent: f64, least_cc: f64, small_mm3: fn(f64) -> f64) -> Outcome {
    let dose = || {
        if is_large(s) {
            return s.dose_at_percent(percent);
        }
        let dvh = s.complete_dvh()?;
        if s.volume_cc < least_cc {
            return Err(smaller(s, least_cc));
        }
        let volume = small_mm3(dvh.volume_mm3()).clamp(0.0, dvh.volume_mm3());
        dvh.dose_at_volume(volume).ok_or_else(|| smaller(s, least_cc))
    };
    Outcome::from_result(dose())
}

/// Where the near-extreme lies: in a large structure, in a small one.
fn place(s: &Subject<'_>, large: Option<Place>, small: Option<Place>) -> Option<Place> {
    let place = if is_large(s) { large } else { small };
    Some(Place { switch_cc: Some(SWITCH_CC), ..place? })
}

const NEAR: Definition =
    Definition { unit: "Gy", reference: "ICRU Report 91", scale: Scale::Dose, ..Definition::PLAIN };

pub(super) static NEAR_MAXIMUM: Definition = Definition {
    name: "NearMax[Gy]",
    title: "near-maximum dose",
    formula: "D2% when V ≥ 2 cc, else D35mm³",
    undefined: "the structure is smaller than 0.035 cc, or the dose grid does not cover all of it",
    place: |s, _| place(s, Place::dose(0.02, 0.0), Place::dose(0.0, SMALL_CC)),
    compute: |s, _| near(s, 2.0, SMALL_CC, |_| 1000.0 * SMALL_CC),
    rule: |s, _| if is_large(s) { "D2% (V >= 2 cc)" } else { "D35mm3 (V < 2 cc)" }.to_owned(),
    worse: Worse::of_large_dose,
    ..NEAR
};

pub(super) static NEAR_MINIMUM: Definition = Definition {
    name: "NearMin[Gy]",
    title: "near-minimum dose",
    formula: "D98% when V ≥ 2 cc, else D(V − 35 mm³)",
    provenance: Provenance::Memory,
    undefined: "the structure is smaller than 0.07 cc (its hottest and coldest 35 mm³ overlap), or \
                the dose grid does not cover all of it",
    place: |s, _| place(s, Place::dose(0.98, 0.0), Place::dose(1.0, -SMALL_CC)),
    compute: |s, _| near(s, 98.0, 2.0 * SMALL_CC, |whole| whole - 1000.0 * SMALL_CC),
    rule: |s, _| if is_large(s) { "D98% (V >= 2 cc)" } else { "D(V-35mm3) (V < 2 cc)" }.to_owned(),
    worse: Worse::of_dose,
    ..NEAR
};
