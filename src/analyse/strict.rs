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

/// How the reason begins that a strict run gives.
pub const PREFIX: &str = "strict run: ";

/// Why something is refused.
type Reason = (Code, String);

/// What the findings of a strict run take away; by default nothing.
#[derive(Debug, Clone, Default)]
pub struct Refusals {
    whole: BTreeMap<Token, Reason>,
    parts: BTreeMap<(Token, i64), Reason>,
}

impl Refusals {
    /// What the findings put in doubt.
    pub fn of<'f>(cases: &[Case], findings: impl IntoIterator<Item = &'f Finding>) -> Self {
        let mut all = Self::default();
        for finding in findings.into_iter().filter(|f| f.severity() == Severity::Check) {
            for case in cases.iter().filter(|case| concerns(&finding.subject, case)) {
                let reason = || {
                    let Finding { code, message, .. } = finding;
                    (*code, format!("{PREFIX}{}: {message}", code.definition().meaning))
                };
                match finding.subject.roi_number {
                    Some(roi) => all.parts.entry((case.id.clone(), roi)).or_insert_with(reason),
                    None => all.whole.entry(case.id.clone()).or_insert_with(reason),
                };
            }
        }
        all
    }

    /// Leaves out the cases that are refused as a whole.
    pub fn leave_out(&self, cases: &mut [Case]) {
        for case in cases {
            if let Some(reason) = self.whole.get(&case.id) {
                case.left_out.get_or_insert_with(|| reason.clone());
            }
        }
    }

    /// Takes the values away. A row that has no value keeps its own reason.
    pub fn take_away(&self, analysis: &mut Analysis) {
        let case = analysis.case.clone();
        let all = self.whole.get(&case).map(|(_, reason)| reason.as_str());
        let of_roi = |roi| self.parts.get(&(case.clone(), roi)).map(|(_, why)| why.as_str());
        take_away(analysis, |roi| all.or_else(|| of_roi(roi)));
        analysis.dose = analysis.dose.filter(|_| all.is_none());
    }
}

/// Takes away what the findings put in doubt, from all cases at once.
pub fn refuse<'f>(
    cases: &mut [Case],
    analyses: &mut [Analysis],
    findings: impl IntoIterator<Item = &'f Finding>,
) {
    let refusals = Refusals::of(cases, findings);
    refusals.leave_out(cases);
    analyses.iter_mut().for_each(|analysis| refusals.take_away(analysis));
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
