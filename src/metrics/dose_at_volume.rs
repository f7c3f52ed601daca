//! Dose that at least a given volume receives: D95%, D0.03cc and their like.

use super::{AppliesTo, Definition, Outcome, Place, Provenance, Scale, Status, Subject, Worse};

const DOSE: Definition = Definition { unit: "Gy", scale: Scale::Dose, ..Definition::PLAIN };

pub(super) static PERCENT: Definition = Definition {
    name: "D{x}%[Gy]",
    title: "least dose in the hottest x % of the structure",
    formula: "largest D with V(D) ≥ x/100 · V",
    reference: "AAPM TG-263 (name); ICRU Report 83 (D98 %, D50 %, D2 %)",
    undefined: "the dose grid does not cover the whole structure",
    standard: &[99.0, 98.0, 95.0, 50.0, 5.0, 2.0, 1.0],
    arguments: [0.0, 100.0],
    place: |_, x| Place::dose(x / 100.0, 0.0),
    compute: |s, x| match s.complete_dvh() {
        Err(outcome) => outcome,
        Ok(dvh) => dvh
            .dose_at_volume(x / 100.0 * dvh.volume_mm3())
            .map_or_else(|| smaller(s, x), Outcome::of),
    },
    basic: true,
    worse: Worse::of_dose_at_percent,
    ..DOSE
};

pub(super) static ABSOLUTE: Definition = Definition {
    name: "D{x}cc[Gy]",
    title: "least dose in the hottest x cc of the structure",
    formula: "largest D with V(D) ≥ x",
    reference: "AAPM TG-263 (name); AAPM TG-101 (0.035 cc); 0.03 and 0.1 cc in trial protocols",
    undefined: "the structure is smaller than x cc, or lies outside the dose grid; a lower bound \
                when partly outside",
    standard: &[0.03, 0.035, 0.1, 0.5, 1.0],
    arguments: [0.0, 10_000.0],
    place: |_, x| Place::dose(0.0, x),
    compute: dose_at_cc,
    basic: true,
    worse: Worse::of_large_dose,
    ..DOSE
};

pub(super) static CUBIC_MILLIMETRES: Definition = Definition {
    name: "D{x}mm3[Gy]",
    title: "least dose in the hottest x mm³ of the structure",
    formula: "largest D with V(D) ≥ x mm³",
    reference: "Torrens et al. 2014, J Neurosurg 121 Suppl 2 (D1mm³ in place of a point maximum); \
                ICRU Report 91 (D35mm³)",
    undefined: "the structure is smaller than x mm³, or lies outside the dose grid; a lower bound \
                when partly outside",
    standard: &[1.0],
    arguments: [0.0, 10_000_000.0],
    place: |_, x| Place::dose(0.0, x / 1000.0),
    compute: |s, x| dose_at_cc(s, x / 1000.0),
    worse: Worse::of_large_dose,
    ..DOSE
};

pub(super) static PERCENT_OF_PRESCRIPTION: Definition = Definition {
    name: "D{x}%[%]",
    unit: "%",
    title: "least dose in the hottest x % of the target, in percent of the \
            prescription of this target",
    formula: "100 · Dx% / Rx",
    reference: "AAPM TG-263 (name)",
    provenance: Provenance::Memory,
    undefined: "no prescription, or the dose grid does not cover the whole target",
    applies_to: AppliesTo::Target,
    standard: &[99.0, 98.0, 95.0, 50.0, 2.0],
    arguments: [0.0, 100.0],
    place: |s, x| Place::dose(x / 100.0, 0.0)?.of_prescription(s, 0.01),
    compute: |s, x| {
        let percent = || Ok(100.0 * s.dose_at_percent(x)? / s.rx()?.dose_gy);
        Outcome::from_result(percent())
    },
    scale: Scale::Whole(100.0),
    worse: Worse::of_dose_at_percent,
    ..Definition::PLAIN
};

/// Dose that the hottest `x` cc receive at least.
pub(super) fn dose_at_cc(s: &Subject<'_>, x: f64) -> Outcome {
    match s.any_dvh() {
        Err(outcome) => outcome,
        Ok(_) if s.volume_cc < x => smaller(s, x),
        Ok(dvh) => {
            // Rounding may leave the sampled volume a hair below the structure's own.
            let whole = if s.is_covered() { dvh.volume_mm3() } else { f64::INFINITY };
            let volume = (x * 1000.0).min(whole);
            match dvh.dose_at_volume(volume) {
                Some(dose) => s.at_least(dose),
                None => Outcome::none(
                    Status::PartlyOutsideGrid,
                    format!("less than {x} cc of the structure lie inside the dose grid"),
                ),
            }
        }
    }
}

pub(super) fn smaller(s: &Subject<'_>, x: f64) -> Outcome {
    Outcome::none(
        Status::BelowResolution,
        format!("the structure has {:.4} cc, less than {x} cc", s.volume_cc),
    )
}
