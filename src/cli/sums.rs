//! The sums of plans that the user asked for: each reads the doses of its plans, adds them up and
//! measures the structures of one. What goes wrong is a finding of that sum and never ends the run.

use std::sync::atomic::AtomicBool;

use super::one_case::{RunContext, read_structures};
use super::parallel::{guarded, map_indices};
use super::prepare::PreparedStudy;
use tidydose_analyse::{self as analyse, Addend, SumMeasurement};
use tidydose_case::{Case, PlanSum, ResolvedSum, SumPart, latest_missed, resolve};
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_table::MeasuredSum;

/// Computes every sum of `sums.csv`; those not begun when `stop` was raised are refused.
pub(super) fn measure_sums(
    context: RunContext<'_>,
    prepared: &PreparedStudy,
    jobs: usize,
    stop: &AtomicBool,
) -> (Vec<MeasuredSum>, Vec<Finding>) {
    let sums = prepared.sums();
    let results = map_indices(jobs, sums.len(), stop, &|index| {
        sums.get(index).map(|sum| one(context, prepared, sum))
    });
    let (mut measured, mut findings) = (Vec::new(), Vec::new());
    for (sum, result) in sums.iter().zip(results) {
        findings.extend(without_latest(sum, &prepared.cases));
        let interrupted = || Err((None, "the run was stopped before it".to_owned()));
        match result.flatten().unwrap_or_else(interrupted) {
            Ok(done) => measured.push(done),
            Err((first, reason)) => {
                findings.push(refusal(sum, &reason));
                let first = first.or_else(|| any_case(sum, &prepared.cases));
                measured.extend(first.map(|case| MeasuredSum {
                    sum: sum.clone(),
                    structures_of: case.id.clone(),
                    fractions: Vec::new(),
                    measurements: analyse::sum::refused(case, &reason, context.settings),
                }));
            }
        }
    }
    (measured, findings)
}

/// A case that can stand for a refused sum: that whose structures are asked for, else any plan.
fn any_case<'a>(sum: &PlanSum, cases: &'a [Case]) -> Option<&'a Case> {
    let of_sum = |c: &&Case| c.patient.as_ref() == Some(&sum.patient) && sum.plans.contains(&c.id);
    let asked = cases.iter().filter(of_sum).find(|c| sum.structures_of.as_ref() == Some(&c.id));
    asked.or_else(|| cases.iter().find(of_sum))
}

/// What was measured, or why not, with the plan whose structures were to be.
type SumResult<'a> = Result<MeasuredSum, (Option<&'a Case>, String)>;

fn one<'a>(context: RunContext<'_>, prepared: &'a PreparedStudy, sum: &PlanSum) -> SumResult<'a> {
    let registrations = &prepared.scan.inventory.registrations;
    let resolved = resolve(sum, &prepared.cases, registrations).map_err(|reason| (None, reason))?;
    let ResolvedSum { structures_of: first, parts } = resolved;
    match guarded(|| computed(context, first, &parts, sum)) {
        Ok(Ok(measurements)) => Ok(MeasuredSum {
            sum: sum.clone(),
            structures_of: first.id.clone(),
            fractions: parts.iter().map(|p| (p.case.id.clone(), p.fractions)).collect(),
            measurements,
        }),
        Ok(Err(reason)) | Err(reason) => Err((Some(first), reason)),
    }
}

fn computed(
    context: RunContext<'_>,
    first: &Case,
    parts: &[SumPart<'_>],
    sum: &PlanSum,
) -> Result<Vec<SumMeasurement>, String> {
    let structures = read_structures(first, context.paths, context.identity)
        .ok_or("the structure set cannot be read")?;
    let mut addends = Vec::new();
    for part in parts {
        // What is found in reading is said where the plan itself is measured.
        let mut doses =
            context.doses(part.case, &mut Vec::new()).map_err(|finding| finding.message)?;
        let dose = doses.pop().filter(|_| doses.is_empty());
        let dose = dose.ok_or_else(|| format!("plan {} has not one dose grid", part.case.id))?;
        let (plan, motion, fractions) = (part.case.id.clone(), part.motion, part.fractions);
        addends.push(Addend { plan, dose, motion, fractions });
    }
    analyse::analyse_sum(first, &structures, addends, sum.basis, context.settings)
}

/// That the sum misses the latest plan of its patient.
fn without_latest(sum: &PlanSum, cases: &[Case]) -> Option<Finding> {
    let missed = latest_missed(sum, cases)?;
    let subject = Subject {
        patient: Some(sum.patient.clone()),
        case: Some(missed.id.clone()),
        ..Subject::default()
    };
    let text = format!("sum `{}` does not hold plan {}, the latest one", sum.name, missed.id);
    Some(Finding::new(Code::SumWithoutLatest, subject, text))
}

fn refusal(sum: &PlanSum, reason: &str) -> Finding {
    let subject = Subject { patient: Some(sum.patient.clone()), ..Subject::default() };
    Finding::new(Code::SumRefused, subject, format!("sum `{}`: {reason}", sum.name))
}
