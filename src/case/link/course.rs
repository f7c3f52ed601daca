//! Which of several versions of a plan was the one treated. Plans are versions of each other when
//! one names the other as predecessor or alternative, or when label, structure set and targets are
//! the same; a plan without versions is a group of one, and the same rule holds for it:
//!
//! 1. What speaks for each version is taken by itself, and of all kinds the strongest counts: the
//!    user says that it was treated; a treatment record tells that dose was delivered by it; it is
//!    marked as approved; nothing; it is marked as rejected. A version that the user says was not
//!    treated is out, whatever else speaks for it. A record of nothing delivered, or of set-up
//!    beams alone, speaks for no version.
//! 2. The versions for which the strongest evidence speaks are left; each other one is superseded,
//!    for the reason at which it left.
//! 3. Those that the user or records name were all treated. Of several approved ones, or of several
//!    of which nothing tells, the one that was derived from the others is left, else the newest;
//!    where that leaves several, all are refused, with the candidates. Rejected ones are all
//!    refused.
//! 4. The part of the one that is left follows from what speaks for it, not from how many versions
//!    it had: user, record and approval make it treated, without any of them it is a candidate.
//!
//! The user's answer for all plans (`*`) holds for candidates of step 4 alone: it neither chooses
//! between versions nor brings a rejected one back. Who counts in a study follows from the parts,
//! see [`crate::Standing`].

use std::collections::{BTreeMap, BTreeSet};

use super::draft::Draft;
use super::list;
use super::records::Records;
use crate::{Decisions, PlanRole, RoleReason};
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::identity::Token;
use tidydose_rt::{DoseReferenceType, Origin, Plan, PlanRelation, TreatmentRecord};

/// Gives every draft with a plan its part in the treatment; returns what there is to say about
/// records that lead to no plan.
pub(super) fn settle(
    drafts: &mut [Draft],
    records: &[TreatmentRecord],
    decisions: &Decisions,
) -> Vec<Finding> {
    let records = Records::of(records);
    for draft in drafts.iter_mut() {
        let Some(plan) = draft.case.plan.clone() else { continue };
        draft.take_records(&plan, &records);
        draft.set_apart(&plan, decisions.treated.get(&plan.origin.object) == Some(&true));
    }
    for group in versions(drafts) {
        Round { drafts, decisions }.decide(&group);
    }
    answer_for_all(drafts, decisions.treated_all);
    note_others(drafts);
    let known: BTreeSet<Token> = drafts.iter().map(|d| d.case.id.clone()).collect();
    records.without_plan(&known)
}

/// What the user says of all plans of which nothing else tells.
fn answer_for_all(drafts: &mut [Draft], answer: Option<bool>) {
    let Some(treated) = answer else { return };
    let unproven = |d: &&mut Draft| d.case.treatment.reason == RoleReason::Unproven;
    for draft in drafts.iter_mut().filter(unproven) {
        if treated {
            draft.case.treatment.reason = RoleReason::UserYesToAll;
        } else {
            draft.not_treated(RoleReason::UserNoToAll);
        }
        draft.case.treatment.asked = false;
    }
}

/// Tells each plan whether another one of its patient is known to have been treated.
fn note_others(drafts: &mut [Draft]) {
    let mut treated: BTreeMap<Token, BTreeSet<Token>> = BTreeMap::new();
    for case in drafts.iter().map(|d| &d.case) {
        if let Some(patient) = case.patient.clone().filter(|_| case.role() == PlanRole::Treated) {
            treated.entry(patient).or_default().insert(case.id.clone());
        }
    }
    for case in drafts.iter_mut().map(|d| &mut d.case) {
        let of_patient = case.patient.as_ref().and_then(|p| treated.get(p));
        case.treatment.other_treated =
            of_patient.is_some_and(|plans| plans.iter().any(|plan| *plan != case.id));
    }
}

impl Draft {
    /// What records tell of the plan, and what is odd about them.
    fn take_records(&mut self, plan: &Plan, records: &Records<'_>) {
        let found = records.of_plan(plan);
        self.case.treatment.delivery = found.delivery;
        for (code, origin, text) in found.remarks {
            self.remark(code, &origin, text);
        }
    }

    /// Plans that verify others stand apart from all versions, unless the user says that they were
    /// treated.
    fn set_apart(&mut self, plan: &Plan, said_treated: bool) {
        let left_out = self.case.left_out.as_ref().map(|(code, _)| *code);
        let verifies = plan.related.iter().find(|(r, _)| *r == PlanRelation::Verified);
        let verifies = verifies.filter(|_| !said_treated);
        if let Some((_, verified)) = verifies {
            let text = format!(
                "it serves to verify the plan {verified} (RT Plan Relationship VERIFIED_PLAN)"
            );
            if left_out != Some(Code::PlanNotTreatment) {
                self.stop(Code::PlanNotTreatment, &plan.origin, text);
            }
            self.case.treatment.reason = RoleReason::Verifies;
        } else if matches!(left_out, Some(Code::PlanNotTreatment | Code::PlanGeometryDevice)) {
            self.case.treatment.reason = RoleReason::NoTreatment;
        }
        let concurrent = plan.related.iter().filter(|(r, _)| *r == PlanRelation::Concurrent);
        let others: Vec<&Token> = concurrent.map(|(_, other)| other).collect();
        if !others.is_empty() {
            let text = format!("given together with {}", list(others));
            self.remark(Code::PlanConcurrent, &plan.origin, text);
        }
    }

    /// Leaves the plan out because the user says that it was not treated.
    fn not_treated(&mut self, reason: RoleReason) {
        self.case.treatment.reason = reason;
        let Some(origin) = self.plan_origin() else { return };
        let text = format!("choices.csv: {}", reason.words());
        self.stop(Code::PlanNotTreated, &origin, text);
    }

    fn plan_origin(&self) -> Option<Origin> {
        self.case.plan.as_ref().map(|p| p.origin.clone())
    }
}

/// Versions of one plan with the index of their draft.
type PlanVersions<'a> = Vec<(usize, &'a Plan)>;

/// Groups of drafts whose plans are versions of each other, by index; single plans as well.
fn versions(drafts: &[Draft]) -> Vec<Vec<usize>> {
    let plans: Vec<(usize, &Plan)> = drafts
        .iter()
        .enumerate()
        .filter(|(_, d)| d.case.role() != PlanRole::Qa)
        .filter_map(|(i, d)| Some((i, d.case.plan.as_ref()?)))
        .collect();
    let mut by_patient: BTreeMap<Option<&Token>, Vec<PlanVersions<'_>>> = BTreeMap::new();
    for (index, plan) in plans {
        let groups = by_patient.entry(plan.origin.patient.as_ref()).or_default();
        let (joined, apart): (Vec<_>, Vec<_>) = std::mem::take(groups)
            .into_iter()
            .partition(|g| g.iter().any(|(_, p)| are_versions(p, plan)));
        let mut group: Vec<_> = joined.into_iter().flatten().collect();
        group.push((index, plan));
        *groups = apart;
        groups.push(group);
    }
    let groups = by_patient.into_values().flatten();
    groups.map(|g| g.into_iter().map(|(i, _)| i).collect()).collect()
}

fn are_versions(a: &Plan, b: &Plan) -> bool {
    if a.origin.patient.is_none() || a.origin.patient != b.origin.patient {
        return false;
    }
    let names = |a: &Plan, b: &Plan| {
        a.related.iter().any(|(relation, plan)| {
            matches!(relation, PlanRelation::Predecessor | PlanRelation::Alternative)
                && *plan == b.origin.object
        })
    };
    let apart = |a: &Plan, b: &Plan| {
        a.related.iter().any(|(relation, plan)| {
            matches!(relation, PlanRelation::Prior | PlanRelation::Concurrent)
                && *plan == b.origin.object
        })
    };
    if names(a, b) || names(b, a) {
        return true;
    }
    let same = a.label.is_some()
        && a.label == b.label
        && a.structure_set.is_some()
        && a.structure_set == b.structure_set
        && targets(a) == targets(b);
    same && !apart(a, b) && !apart(b, a)
}

/// ROI Numbers of the targets that a plan names.
fn targets(plan: &Plan) -> BTreeSet<Option<i64>> {
    let references = plan.dose_references.iter();
    references.filter(|r| r.kind == Some(DoseReferenceType::Target)).map(|r| r.roi_number).collect()
}

/// What speaks for one version, the weakest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum VersionEvidence {
    Rejected,
    Nothing,
    Approved,
    Recorded,
    User,
}

impl VersionEvidence {
    /// The reason of a version for which it speaks.
    const fn reason(self) -> RoleReason {
        match self {
            Self::Rejected => RoleReason::Rejected,
            Self::Nothing => RoleReason::Unproven,
            Self::Approved => RoleReason::Approved,
            Self::Recorded => RoleReason::Recorded,
            Self::User => RoleReason::UserYes,
        }
    }

    /// The reason of a version for which less speaks than this.
    const fn reason_of_weaker(self) -> RoleReason {
        match self {
            Self::Rejected | Self::Nothing => RoleReason::OtherNotRejected,
            Self::Approved => RoleReason::OtherApproved,
            Self::Recorded => RoleReason::OtherRecorded,
            Self::User => RoleReason::OtherByUser,
        }
    }
}

/// One group of versions being decided.
struct Round<'a> {
    drafts: &'a mut [Draft],
    decisions: &'a Decisions,
}

impl Round<'_> {
    fn decide(&mut self, group: &[usize]) {
        let (out, open): (Vec<usize>, Vec<usize>) =
            group.iter().partition(|i| self.answer(**i) == Some(false));
        for index in out {
            self.refute(index);
        }
        let Some(strongest) = open.iter().filter_map(|i| self.evidence(*i)).max() else { return };
        let (best, weaker): (Vec<usize>, Vec<usize>) =
            open.iter().partition(|i| self.evidence(**i) == Some(strongest));
        let winners = match strongest {
            VersionEvidence::User | VersionEvidence::Recorded => {
                self.all_treated(&best, strongest, group.len())
            }
            VersionEvidence::Rejected => self.all_rejected(&best),
            VersionEvidence::Approved | VersionEvidence::Nothing => self.one_of(&best, strongest),
        };
        for index in weaker {
            self.supersede(index, &winners, strongest.reason_of_weaker());
        }
    }

    fn plan(&self, index: usize) -> Option<&Plan> {
        self.drafts.get(index)?.case.plan.as_ref()
    }

    /// What the user says of this version.
    fn answer(&self, index: usize) -> Option<bool> {
        self.decisions.treated.get(&self.drafts.get(index)?.case.id).copied()
    }

    fn is_recorded(&self, index: usize) -> bool {
        self.drafts.get(index).is_some_and(|d| d.case.treatment.was_delivered())
    }

    fn evidence(&self, index: usize) -> Option<VersionEvidence> {
        let plan = self.plan(index)?;
        let approval = plan.approval.as_deref().unwrap_or_default().trim();
        Some(match (self.answer(index), self.is_recorded(index), approval) {
            (Some(true), ..) => VersionEvidence::User,
            (_, true, _) => VersionEvidence::Recorded,
            (_, _, "APPROVED") => VersionEvidence::Approved,
            (_, _, "REJECTED") => VersionEvidence::Rejected,
            _ => VersionEvidence::Nothing,
        })
    }

    /// The versions that user or records name were all treated.
    fn all_treated(&mut self, best: &[usize], by: VersionEvidence, of: usize) -> Vec<usize> {
        let names = self.names(best);
        for index in best {
            self.set(*index, by.reason(), false);
            if best.len() > 1 {
                self.remark(*index, Code::PlanSeveralTreated, format!("versions: {names}"));
            }
            if by == VersionEvidence::User && of > 1 {
                self.remark(*index, Code::PlanDecided, format!("{of} versions of the plan"));
            }
        }
        best.to_vec()
    }

    fn all_rejected(&mut self, best: &[usize]) -> Vec<usize> {
        for index in best {
            self.set(*index, RoleReason::Rejected, true);
            let text = "Approval Status is REJECTED; APPROVED, a treatment record, or `yes` to \
                        question treated in choices.csv would be accepted";
            self.stop(*index, Code::PlanRejected, text.to_owned());
        }
        best.to_vec()
    }

    /// The one that is derived from the others, else the newest.
    fn one_of(&mut self, best: &[usize], by: VersionEvidence) -> Vec<usize> {
        let last = self.kept(best, |round, i| !round.has_successor(i, best));
        let newest = self.newest(&last);
        let kept = self.kept(&last, |_, i| newest.contains(&i));
        // Without an approval nothing proves the choice between versions: the user is asked of
        // each.
        let asked = by == VersionEvidence::Nothing;
        match kept.as_slice() {
            [one] => self.set(*one, by.reason(), asked),
            several => self.refuse(several),
        }
        for index in best.iter().copied().filter(|i| !kept.contains(i)) {
            let derived = !last.contains(&index);
            let reason = if derived { RoleReason::Derived } else { RoleReason::Newer };
            self.supersede(index, &kept, reason);
            self.set(index, reason, asked);
        }
        kept
    }

    /// Those of a list that stay; all of it where none would.
    fn kept(&self, list: &[usize], stays: impl Fn(&Self, usize) -> bool) -> Vec<usize> {
        let kept: Vec<usize> = list.iter().copied().filter(|i| stays(self, *i)).collect();
        if kept.is_empty() { list.to_vec() } else { kept }
    }

    /// Whether one of the others names the version as its predecessor.
    fn has_successor(&self, index: usize, others: &[usize]) -> bool {
        let own = self.plan(index).map(|p| &p.origin.object);
        others.iter().filter_map(|j| self.plan(*j)).any(|p| {
            p.related.iter().any(|(r, o)| *r == PlanRelation::Predecessor && Some(o) == own)
        })
    }

    /// The versions of the latest date and time; all of them where one has no date.
    fn newest(&self, list: &[usize]) -> Vec<usize> {
        let when = |i: usize| self.plan(i).and_then(|p| p.day.map(|d| (d, p.second)));
        let dated: Option<Vec<_>> = list.iter().map(|i| when(*i)).collect();
        let Some(latest) = dated.and_then(|all| all.into_iter().max()) else {
            return list.to_vec();
        };
        list.iter().copied().filter(|i| when(*i) == Some(latest)).collect()
    }

    fn names(&self, indices: &[usize]) -> String {
        list(indices.iter().filter_map(|i| self.drafts.get(*i)).map(|d| &d.case.id))
    }

    fn set(&mut self, index: usize, reason: RoleReason, asked: bool) {
        if let Some(draft) = self.drafts.get_mut(index) {
            draft.case.treatment.reason = reason;
            draft.case.treatment.asked = asked;
        }
    }

    fn remark(&mut self, index: usize, code: Code, text: String) {
        let Some(draft) = self.drafts.get_mut(index) else { return };
        let Some(origin) = draft.plan_origin() else { return };
        draft.remark(code, &origin, text);
    }

    fn stop(&mut self, index: usize, code: Code, text: String) {
        let Some(draft) = self.drafts.get_mut(index) else { return };
        let Some(origin) = draft.plan_origin() else { return };
        draft.stop(code, &origin, text);
    }

    /// The user says that it was not treated.
    fn refute(&mut self, index: usize) {
        if let Some(draft) = self.drafts.get_mut(index) {
            draft.not_treated(RoleReason::UserNo);
        }
        self.note_record_against_user(index);
    }

    fn supersede(&mut self, index: usize, by: &[usize], reason: RoleReason) {
        self.set(index, reason, false);
        let text = format!("superseded by {}: {}", self.names(by), reason.words());
        self.stop(index, Code::PlanSuperseded, text);
        if reason == RoleReason::OtherByUser {
            self.note_record_against_user(index);
        }
    }

    /// The user's word is followed, but a record that says otherwise is not passed over in silence.
    fn note_record_against_user(&mut self, index: usize) {
        if self.is_recorded(index) {
            let text = "a treatment record tells of its delivery, choices.csv says that it was not \
                        the one treated; choices.csv is followed";
            self.remark(index, Code::RecordContradicts, text.to_owned());
        }
    }

    fn refuse(&mut self, several: &[usize]) {
        let describe = |plan: &Plan| {
            format!(
                "{} ({}{})",
                plan.origin.object,
                plan.approval.as_deref().unwrap_or("no approval status"),
                plan.day.map_or(String::new(), |d| format!(", day {}", d.0))
            )
        };
        let mut texts: Vec<String> =
            several.iter().filter_map(|i| self.plan(*i)).map(describe).collect();
        texts.sort();
        let message = format!(
            "{} versions of the plan and no rule tells which one was treated; one would be \
             accepted: {}",
            several.len(),
            texts.join("; ")
        );
        for index in several {
            self.set(*index, RoleReason::Indistinct, true);
            self.stop(*index, Code::PlanAmbiguous, message.clone());
        }
    }
}

#[cfg(test)]
mod tests;
