//! Which dose is prescribed to which target. A dose is taken only where the user or the plan
//! states it; nothing is carried from one target to another by likeness of names.

use super::{Case, Decisions, Prescription, PrescriptionBasis, technology};
use tidydose_geometry::units::Gray;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::{DoseReference, DoseReferenceType, Plan};

/// Two statements of one dose that differ by more than this share contradict each other.
const CONTRADICTION: f64 = 0.01;
/// Decimal strings of one value agree within this share.
const SAME: f64 = 1e-6;

/// Fills the prescriptions of a case's single targets, in this order: the user's decision, a
/// TARGET dose reference (300A,0010) that names the structure, the one dose that all TARGET
/// references of the plan state, beam doses times fractions.
pub(super) fn prescribe(case: &mut Case, decisions: &Decisions) -> Vec<Finding> {
    let mut findings = Vec::new();
    let plan = case.plan.clone();
    let stated = plan.as_ref().map(stated_doses).unwrap_or_default();
    let only = only_dose(&stated);
    let beams = plan.as_ref().and_then(beam_dose);
    findings.extend(contradiction(case, only, beams));
    let targets: Vec<i64> =
        case.names.iter().filter(|n| n.role.is_target()).map(|n| n.number).collect();
    // Beam doses lie at one point each: they add up for one target, not for several isocentres.
    let beams = beams.filter(|_| targets.len() <= 1 || plan.as_ref().is_some_and(one_isocentre));
    case.prescriptions.clear();
    let mut missing = Vec::new();
    for roi_number in targets.iter().copied() {
        let decided = [Some(roi_number), None]
            .into_iter()
            .find_map(|key| decisions.prescriptions.get(&(case.id.clone(), key)).copied())
            .filter(|dose| is_dose(*dose));
        let named: Vec<Gray> =
            stated.iter().filter(|(roi, _)| *roi == Some(roi_number)).map(|s| s.1).collect();
        if named.len() > 1 && agreed(&named).is_none() && decided.is_none() {
            findings.push(several_for_one(case, roi_number, &named));
        }
        let chosen = decided
            .map(|dose| (dose, PrescriptionBasis::User))
            .or_else(|| agreed(&named).map(|dose| (dose, PrescriptionBasis::PlanStructure)))
            .or_else(|| {
                let fallback = only.filter(|_| named.is_empty());
                fallback.map(|dose| (dose, PrescriptionBasis::PlanOnly))
            })
            .or_else(|| {
                let fallback = beams.filter(|_| stated.is_empty());
                fallback.map(|dose| (dose, PrescriptionBasis::BeamDose))
            });
        match chosen {
            Some((dose, basis)) => {
                case.prescriptions.push(Prescription { roi_number, dose, basis });
            }
            None => missing.push(roi_number),
        }
    }
    case.prescriptions.sort_by_key(|p| p.roi_number);
    findings.extend(missing_finding(case, &missing, targets.len()));
    findings
}

/// ROI Number (where named) and Target Prescription Dose of every TARGET reference that has one.
fn stated_doses(plan: &Plan) -> Vec<(Option<i64>, Gray)> {
    let targets = plan.dose_references.iter();
    targets
        .filter(|r: &&DoseReference| r.kind == Some(DoseReferenceType::Target))
        .filter_map(|r| r.prescription.filter(|d| is_dose(*d)).map(|d| (r.roi_number, d)))
        .collect()
}

fn is_dose(dose: Gray) -> bool {
    dose.value().is_finite() && dose.value() > 0.0
}

fn only_dose(stated: &[(Option<i64>, Gray)]) -> Option<Gray> {
    agreed(&stated.iter().map(|s| s.1).collect::<Vec<_>>())
}

/// The value on which all statements agree.
fn agreed(doses: &[Gray]) -> Option<Gray> {
    let first = *doses.first()?;
    doses.iter().all(|d| !differ(first, *d, SAME)).then_some(first)
}

fn differ(a: Gray, b: Gray, share: f64) -> bool {
    (a.value() - b.value()).abs() > share * a.value().max(b.value())
}

/// Sum over fraction groups of fractions times the sum of Beam Dose (300A,0084), if every
/// treatment beam of every group states one and every group its fractions.
fn beam_dose(plan: &Plan) -> Option<Gray> {
    let treats = |number: i64| {
        plan.beams.iter().find(|b| b.number == number).is_none_or(technology::is_treatment)
    };
    let mut total_gy = 0.0;
    for group in &plan.fraction_groups {
        let shares = group.beams.iter().filter(|s| treats(s.beam_number));
        let doses: Option<Vec<f64>> = shares.map(|s| s.dose.map(Gray::value)).collect();
        total_gy += f64::from(group.fractions?) * doses?.iter().sum::<f64>();
    }
    Some(Gray::gy(total_gy)).filter(|d| is_dose(*d))
}

fn one_isocentre(plan: &Plan) -> bool {
    let beams = plan.beams.iter().filter(|b| technology::is_treatment(b));
    let mut points = beams.flat_map(|b| &b.isocentres);
    let Some(first) = points.next() else { return false };
    points.all(|p| p.iter().zip(first).all(|(a, b)| (a - b).abs() < 0.1))
}

fn contradiction(case: &Case, only: Option<Gray>, beams: Option<Gray>) -> Option<Finding> {
    let (only, beams) = (only?, beams?);
    differ(only, beams, CONTRADICTION).then(|| {
        let message = format!(
            "Target Prescription Dose is {only}, Beam Dose times fractions gives {:.3} Gy; the \
             Target Prescription Dose is used",
            beams.value()
        );
        Finding::new(Code::PrescriptionContradicts, about(case, None), message)
    })
}

fn several_for_one(case: &Case, roi_number: i64, doses: &[Gray]) -> Finding {
    let list = doses.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    let message =
        format!("the plan states several prescription doses for it ({list}); none is used");
    Finding::new(Code::PrescriptionContradicts, about(case, Some(roi_number)), message)
}

fn missing_finding(case: &Case, missing: &[i64], targets: usize) -> Option<Finding> {
    if missing.is_empty() || case.left_out.is_some() || case.is_follow_up() {
        return None;
    }
    let numbers = missing.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    let has = if missing.len() == 1 { "has" } else { "have" };
    let target = if targets == 1 { "target" } else { "targets" };
    let message = format!(
        "{} of {targets} {target} {has} no prescription dose: ROI Number {numbers}",
        missing.len()
    );
    Some(Finding::new(Code::PrescriptionMissing, about(case, None), message))
}

fn about(case: &Case, roi_number: Option<i64>) -> Subject {
    Subject {
        patient: case.patient.clone(),
        case: Some(case.id.clone()),
        roi_number,
        ..Subject::default()
    }
}

#[cfg(test)]
mod tests;
