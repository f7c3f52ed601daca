//! A strict run: a finding of severity `check` refuses what it is about.
//!
//! About a structure, it refuses that structure. About a file or an object, it refuses every case
//! that uses it. About a case, it refuses the case. Notes refuse nothing. Objects are linked and
//! structures named as in any run, and only then are values taken away: a strict run gives no number
//! that a lenient one does not give, and no other. Must not know how a value was computed.

use std::collections::BTreeMap;

use super::result::Analysis;
use crate::case::Case;
use crate::finding::{Code, Finding, Severity, Subject};
use crate::identity::Token;
use crate::metrics::{Outcome, Status};

/// Why something is refused.
type Reason = (Code, String);

/// Takes away what the findings put in doubt. A row that has no value keeps its own reason.
pub fn refuse<'f>(
    cases: &mut [Case],
    analyses: &mut [Analysis],
    findings: impl IntoIterator<Item = &'f Finding>,
) {
    let mut whole: BTreeMap<Token, Reason> = BTreeMap::new();
    let mut parts: BTreeMap<(Token, i64), Reason> = BTreeMap::new();
    for finding in findings.into_iter().filter(|f| f.severity() == Severity::Check) {
        for case in cases.iter().filter(|case| concerns(&finding.subject, case)) {
            let reason = || {
                let Finding { code, message, .. } = finding;
                (*code, format!("strict run: {}: {message}", code.definition().meaning))
            };
            match finding.subject.roi_number {
                Some(roi) => parts.entry((case.id.clone(), roi)).or_insert_with(reason),
                None => whole.entry(case.id.clone()).or_insert_with(reason),
            };
        }
    }
    for case in cases {
        if let Some(reason) = whole.get(&case.id) {
            case.left_out.get_or_insert_with(|| reason.clone());
        }
    }
    for analysis in analyses {
        let case = analysis.case.clone();
        let all = whole.get(&case).map(|(_, reason)| reason.as_str());
        let of_roi = |roi| parts.get(&(case.clone(), roi)).map(|(_, reason)| reason.as_str());
        take_away(analysis, |roi| all.or_else(|| of_roi(roi)));
        analysis.dose = analysis.dose.filter(|_| all.is_none());
    }
}

/// Whether a finding is about the case, or about an object that it uses.
fn concerns(about: &Subject, case: &Case) -> bool {
    if let Some(id) = &about.case {
        return *id == case.id;
    }
    let mut origins = vec![
        case.plan.as_ref().map(|plan| &plan.origin),
        case.structure_set.as_ref().map(|set| &set.origin),
    ];
    origins.extend(case.all_doses().map(|dose| Some(&dose.origin)));
    let set_only = about.roi_number.is_some();
    let used = origins.into_iter().enumerate().filter(|(i, _)| !set_only || *i == 1);
    used.filter_map(|(_, origin)| origin).any(|origin| match (&about.file, &about.object) {
        (Some(file), _) => *file == origin.file,
        (None, Some(object)) => *object == origin.object,
        (None, None) => false,
    })
}

fn take_away<'r>(analysis: &mut Analysis, reason: impl Fn(i64) -> Option<&'r str>) {
    let refuse = |outcome: &mut Outcome, roi: i64| {
        if let Some(reason) = reason(roi).filter(|_| outcome.value.is_some()) {
            *outcome = Outcome::none(Status::Excluded, reason);
        }
    };
    for row in &mut analysis.measurements {
        refuse(&mut row.outcome, row.roi_number);
    }
    for row in &mut analysis.structures {
        refuse(&mut row.volume, row.roi_number);
        if reason(row.roi_number).is_some() {
            row.centroid_mm = None;
            row.dose_cover_percent = None;
        }
    }
    analysis.dvh.retain(|point| reason(point.roi_number).is_none());
}
