//! Which of the doses of one plan is the dose of the plan: by Dose Summation Type (DICOM PS3.3
//! C.8.8.3), Dose Type and Dose Units. Never by order, date or fineness of the grid.

use super::{list, subject};
use crate::finding::{Code, Finding};
use crate::identity::Token;
use crate::rt::{DoseHeader, DoseSummation, DoseType, DoseUnits};

/// What the doses of one plan come to.
pub(super) struct Choice<'a> {
    /// The dose of the plan, also when it cannot be measured.
    pub(super) dose: Option<&'a DoseHeader>,
    /// Why the case has to be left out.
    pub(super) refusal: Option<(Code, String)>,
    /// One finding for every dose that was set aside.
    pub(super) aside: Vec<Finding>,
}

/// Picks the dose of a plan. `case` names the case in the findings.
pub(super) fn choose<'a>(doses: &[&'a DoseHeader], case: &Token) -> Choice<'a> {
    let (whole, parts): (Vec<&DoseHeader>, Vec<&DoseHeader>) =
        doses.iter().partition(|d| is_whole(d));
    let mut aside: Vec<Finding> = parts.iter().map(|d| part(d, case)).collect();
    let (unusable, usable): (Vec<&DoseHeader>, Vec<&DoseHeader>) =
        whole.iter().partition(|d| defect(d).is_some());
    let (dose, refusal) = match (usable.as_slice(), unusable.as_slice()) {
        ([one], _) => (Some(*one), None),
        ([], [one]) => (Some(*one), defect(one)),
        ([], []) if parts.is_empty() => (None, None),
        ([], []) => (None, Some((Code::DoseSummationUnused, only_parts(&parts)))),
        (several, _) => {
            let of = if several.is_empty() { &unusable } else { &usable };
            (None, Some((Code::DoseSeveral, candidates(of))))
        }
    };
    for other in whole.iter().filter(|d| dose.is_none_or(|c| c.origin != d.origin)) {
        let (code, message) = defect(other)
            .or_else(|| refusal.clone())
            .unwrap_or((Code::ObjectUnused, "another dose of the plan is used".to_owned()));
        aside.push(Finding::new(code, subject(&other.origin, Some(case)), message));
    }
    Choice { dose, refusal, aside }
}

/// Whether a dose holds the whole plan rather than a beam, a fraction group or a session.
pub(super) fn is_whole(dose: &DoseHeader) -> bool {
    match dose.summation {
        DoseSummation::Plan | DoseSummation::PlanOverview => true,
        DoseSummation::MultiPlan => dose.plans.len() <= 1,
        _ => false,
    }
}

/// Why a dose of a whole plan cannot be measured in gray.
pub(super) fn defect(dose: &DoseHeader) -> Option<(Code, String)> {
    if dose.kind == DoseType::Error {
        let message = "Dose Type is ERROR; PHYSICAL or EFFECTIVE would be accepted";
        return Some((Code::DoseErrorType, message.to_owned()));
    }
    if dose.grid.is_none() {
        let message =
            "the dose of the plan has no voxel grid; one with Pixel Data would be accepted";
        return Some((Code::DoseWithoutGrid, message.to_owned()));
    }
    (dose.units == DoseUnits::Relative)
        .then(|| (Code::DoseRelative, "Dose Units is RELATIVE; GY would be accepted".to_owned()))
}

fn part(dose: &DoseHeader, case: &Token) -> Finding {
    let message = format!("Dose Summation Type is {}, not PLAN", dose.summation.term());
    Finding::new(Code::DoseSummationUnused, subject(&dose.origin, Some(case)), message)
}

fn only_parts(parts: &[&DoseHeader]) -> String {
    let mut terms: Vec<&str> = parts.iter().map(|d| d.summation.term()).collect();
    terms.sort_unstable();
    terms.dedup();
    format!(
        "{} dose grids of the plan are there, of Dose Summation Type {}, and none of the whole \
         plan; one with PLAN, PLAN_OVERVIEW, or MULTI_PLAN of this plan alone would be \
         accepted: {}",
        parts.len(),
        terms.join(", "),
        list(parts.iter().map(|d| &d.origin.object))
    )
}

fn candidates(doses: &[&DoseHeader]) -> String {
    let mut texts: Vec<String> = doses.iter().map(|d| describe(d)).collect();
    texts.sort();
    format!(
        "{} dose grids of the whole plan; one would be accepted: {}",
        doses.len(),
        texts.join("; ")
    )
}

fn describe(dose: &DoseHeader) -> String {
    let kind = match dose.kind {
        DoseType::Physical => "PHYSICAL",
        DoseType::Effective => "EFFECTIVE",
        DoseType::Error => "ERROR",
    };
    let spacing = dose.grid.as_ref().map_or_else(
        || "no grid".to_owned(),
        |grid| {
            let [rows, columns] = grid.spacing_mm();
            let offsets = grid.offsets_mm();
            let planes = match (offsets.first(), offsets.get(1)) {
                (Some(a), Some(b)) => format!("{:.3}", b - a),
                _ => "single plane".to_owned(),
            };
            format!("{rows:.3} x {columns:.3} x {planes} mm")
        },
    );
    format!("{} ({} {kind}, {spacing})", dose.origin.object, dose.summation.term())
}
