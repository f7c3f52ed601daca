//! Who is who in every case: names, then prescriptions (which need the roles), then technology.

use super::{Case, Decisions, follow_up, names, prescription, technology, treatment};
use tidydose_rt::finding::Finding;

/// Fills names, prescriptions and technology of every case and returns what is questionable about
/// them. What the user decided comes first; running it again gives the same result.
pub fn identify(cases: &mut [Case], decisions: &Decisions) -> Vec<Finding> {
    let mut findings = Vec::new();
    for case in cases.iter_mut() {
        findings.extend(names::name_case(case, decisions));
        findings.extend(prescription::prescribe(case, decisions));
        // A follow-up has the technology of the dose under it.
        if !case.is_follow_up() {
            let (technology, basis) = technology::recognise(case.plan.as_ref());
            case.technology = technology;
            case.technology_basis = basis;
        }
        findings.extend(treatment::review(case));
    }
    follow_up::hold_against_given(cases);
    findings.sort();
    findings.dedup();
    findings
}
