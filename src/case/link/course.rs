//! Which of several versions of a plan was the one treated: the one that treatment records name,
//! else the approved one, else the newest. Plans are versions of each other when one names the
//! other as predecessor or alternative, or when label, structure set and targets are the same.
//! What that leaves open is refused, with the candidates; the user's word comes first.

use std::collections::{BTreeMap, BTreeSet};

use super::draft::Draft;
use super::{list, subject};
use crate::treatment::delivery;
use crate::{Decisions, PlanRole};
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::identity::Token;
use tidydose_rt::{DoseReferenceType, Plan, PlanRelation, TreatmentRecord};

/// Gives every draft with a plan its part in the treatment; returns what there is to say about
/// records that lead to no plan.
pub(super) fn settle(
    drafts: &mut [Draft],
    records: &[TreatmentRecord],
    decisions: &Decisions,
) -> Vec<Finding> {
    let by_plan = by_plan(records);
    for draft in drafts.iter_mut() {
        let Some(plan) = draft.case.plan.clone() else { continue };
        if let Some(own) = by_plan.get(&plan.origin.object) {
            let same = |r: &&&TreatmentRecord| r.origin.patient == plan.origin.patient;
            let own: Vec<&TreatmentRecord> = own.iter().filter(same).copied().collect();
            draft.case.treatment.delivery = delivery(&plan, &own);
        }
        draft.set_apart(&plan);
    }
    let known: BTreeSet<Token> = drafts.iter().map(|d| d.case.id.clone()).collect();
    for group in versions(drafts) {
        Round { drafts, decisions }.decide(&group);
    }
    let lost = records.iter().filter(|r| !r.plans.iter().any(|p| known.contains(p)));
    lost.map(|record| {
        let text = "the plan that this treatment record names is not in the archive";
        Finding::new(Code::ObjectUnused, subject(&record.origin, None), text)
    })
    .collect()
}

fn by_plan(records: &[TreatmentRecord]) -> BTreeMap<Token, Vec<&TreatmentRecord>> {
    // A record that is there twice under one SOP instance counts once.
    let mut once: BTreeMap<&Token, &TreatmentRecord> = BTreeMap::new();
    for record in records {
        once.entry(&record.origin.object).or_insert(record);
    }
    let mut map: BTreeMap<Token, Vec<&TreatmentRecord>> = BTreeMap::new();
    for record in once.into_values() {
        for plan in record.plans.iter().collect::<BTreeSet<_>>() {
            map.entry(plan.clone()).or_default().push(record);
        }
    }
    map
}

impl Draft {
    /// Plans that verify others stand apart from all versions.
    fn set_apart(&mut self, plan: &Plan) {
        let left_out = self.case.left_out.as_ref().map(|(code, _)| *code);
        let verifies = plan.related.iter().find(|(r, _)| *r == PlanRelation::Verified);
        if let Some((_, verified)) = verifies {
            let text = format!(
                "it serves to verify the plan {verified} (RT Plan Relationship VERIFIED_PLAN)"
            );
            if left_out != Some(Code::PlanNotTreatment) {
                self.stop(Code::PlanNotTreatment, &plan.origin, text);
            }
            self.set_role(PlanRole::Qa, "it verifies another plan");
        } else if matches!(left_out, Some(Code::PlanNotTreatment | Code::PlanGeometryDevice)) {
            self.set_role(PlanRole::Qa, "it is no treatment of a patient");
        }
        let concurrent = plan.related.iter().filter(|(r, _)| *r == PlanRelation::Concurrent);
        let others: Vec<&Token> = concurrent.map(|(_, other)| other).collect();
        if !others.is_empty() {
            let text = format!("given together with {}", list(others));
            self.remark(Code::PlanConcurrent, &plan.origin, text);
        }
    }

    fn set_role(&mut self, role: PlanRole, reason: &str) {
        self.case.treatment.role = role;
        reason.clone_into(&mut self.case.treatment.reason);
    }
}

/// Versions of one plan with the index of their draft.
type Group<'a> = Vec<(usize, &'a Plan)>;

/// Groups of drafts whose plans are versions of each other, by index; single plans as well.
fn versions(drafts: &[Draft]) -> Vec<Vec<usize>> {
    let plans: Vec<(usize, &Plan)> = drafts
        .iter()
        .enumerate()
        .filter(|(_, d)| d.case.treatment.role != PlanRole::Qa)
        .filter_map(|(i, d)| Some((i, d.case.plan.as_ref()?)))
        .collect();
    let mut by_patient: BTreeMap<Option<&Token>, Vec<Group<'_>>> = BTreeMap::new();
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

/// One group of versions being decided.
struct Round<'a> {
    drafts: &'a mut [Draft],
    decisions: &'a Decisions,
}

impl Round<'_> {
    fn decide(&mut self, group: &[usize]) {
        let (left, reason) = self.narrowed(group);
        for index in group.iter().copied().filter(|i| !left.contains(i)) {
            let winners = list(left.iter().filter_map(|i| self.drafts.get(*i)).map(|d| &d.case.id));
            self.supersede(index, &winners, reason);
        }
        let treated = |d: &Draft| d.case.treatment.delivery.is_some();
        match left.as_slice() {
            [one] => self.settle_one(*one, group.len(), reason),
            several if several.iter().all(|i| self.drafts.get(*i).is_some_and(treated)) => {
                let all =
                    list(several.iter().filter_map(|i| self.drafts.get(*i)).map(|d| &d.case.id));
                for index in several {
                    self.remark(*index, Code::PlanSeveralTreated, format!("versions: {all}"));
                    self.role(*index, PlanRole::Treated, RECORDED);
                }
            }
            several => self.refuse(several),
        }
    }

    /// Narrows a group by one rule after the other; the last rule that took some out is the reason.
    fn narrowed(&self, group: &[usize]) -> (Vec<usize>, &'static str) {
        let mut left = group.to_vec();
        let mut reason = "";
        for (rule, words) in RULES {
            let kept: Vec<usize> = left.iter().copied().filter(|i| rule(self, *i, &left)).collect();
            if !kept.is_empty() && kept.len() < left.len() {
                left = kept;
                reason = words;
            }
            // Versions that records name were all treated: nothing else tells them apart.
            let all_recorded = words == RECORDED && left.iter().all(|i| self.has_record(*i));
            if left.len() == 1 || all_recorded {
                break;
            }
        }
        (left, reason)
    }

    fn plan(&self, index: usize) -> Option<&Plan> {
        self.drafts.get(index)?.case.plan.as_ref()
    }

    fn decided(&self, index: usize) -> Option<bool> {
        self.decisions.treated.get(&self.drafts.get(index)?.case.id).copied()
    }

    fn has_record(&self, index: usize) -> bool {
        self.drafts.get(index).is_some_and(|d| d.case.treatment.delivery.is_some())
    }

    fn role(&mut self, index: usize, role: PlanRole, reason: &str) {
        if let Some(draft) = self.drafts.get_mut(index) {
            draft.set_role(role, reason);
        }
    }

    fn remark(&mut self, index: usize, code: Code, text: String) {
        let Some(draft) = self.drafts.get_mut(index) else { return };
        let Some(origin) = draft.case.plan.as_ref().map(|p| p.origin.clone()) else { return };
        draft.remark(code, &origin, text);
    }

    fn stop(&mut self, index: usize, code: Code, text: String) {
        let Some(draft) = self.drafts.get_mut(index) else { return };
        let Some(origin) = draft.case.plan.as_ref().map(|p| p.origin.clone()) else { return };
        draft.stop(code, &origin, text);
    }

    /// The only version, or the only one that is left.
    fn settle_one(&mut self, index: usize, of: usize, reason: &str) {
        let approval = self.plan(index).and_then(|p| p.approval.clone()).unwrap_or_default();
        let decided = self.decided(index) == Some(true);
        let (role, words) = match (decided, self.has_record(index), of) {
            (true, ..) => (PlanRole::Treated, "the user says so"),
            (_, true, _) => (PlanRole::Treated, RECORDED),
            (_, _, 2..) => (PlanRole::Treated, reason),
            _ if approval == "APPROVED" => {
                (PlanRole::Treated, "approved, the only version, no treatment record")
            }
            _ => (
                PlanRole::Candidate,
                "the only version, not marked as approved, no treatment record",
            ),
        };
        self.role(index, role, words);
        if decided && of > 1 {
            self.remark(index, Code::PlanDecided, format!("{of} versions of the plan"));
        }
        if self.decided(index) == Some(false) {
            self.role(index, PlanRole::Superseded, "the user says that it was not treated");
            let text = "the user says in choices.csv that it was not treated";
            self.stop(index, Code::PlanSuperseded, text.to_owned());
        } else if approval == "REJECTED" && !decided && !self.has_record(index) {
            self.role(index, PlanRole::Candidate, "marked as rejected");
            let text = "Approval Status is REJECTED; APPROVED, or a treatment record, would be \
                        accepted";
            self.stop(index, Code::PlanRejected, text.to_owned());
        }
    }

    fn supersede(&mut self, index: usize, by: &str, reason: &str) {
        self.role(index, PlanRole::Superseded, reason);
        self.stop(index, Code::PlanSuperseded, format!("superseded by {by}: {reason}"));
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
            self.role(*index, PlanRole::Candidate, "no rule tells the versions apart");
            self.stop(*index, Code::PlanAmbiguous, message.clone());
        }
    }
}

/// Whether a draft stays among the ones that are left.
type Rule = fn(&Round<'_>, usize, &[usize]) -> bool;

/// The reason of the rule that treatment records give.
const RECORDED: &str = "a treatment record names it";

/// The rules in their order.
const RULES: [(Rule, &str); 6] = [
    (|round, i, _| round.decided(i) == Some(true), "the user says which one was treated"),
    (|round, i, _| round.decided(i) != Some(false), "the user says which ones were not treated"),
    (|round, i, _| round.has_record(i), RECORDED),
    (
        |round, i, _| round.plan(i).is_some_and(|p| p.approval.as_deref() == Some("APPROVED")),
        "it is the approved version",
    ),
    (
        |round, i, left| {
            let own = round.plan(i).map(|p| &p.origin.object);
            let succeeds = |j: &usize| {
                round.plan(*j).is_some_and(|p| {
                    p.related.iter().any(|(r, o)| *r == PlanRelation::Predecessor && Some(o) == own)
                })
            };
            !left.iter().any(succeeds)
        },
        "it was derived from the others",
    ),
    (
        |round, i, left| {
            let when = |i: usize| round.plan(i).and_then(|p| p.day.map(|d| (d, p.second)));
            let all: Option<Vec<_>> = left.iter().map(|j| when(*j)).collect();
            let newest = all.and_then(|all| all.into_iter().max());
            newest.is_none() || when(i) == newest
        },
        "it is the newest version",
    ),
];

#[cfg(test)]
mod tests {
    use super::super::link_decided;
    use super::*;
    use crate::Case;
    use crate::fixtures::{dose, plan, structure_set, token};
    use tidydose_geometry::units::Day;
    use tidydose_rt::{Inventory, Origin, SessionBeam};

    fn version(object: &str, approval: &str, day: i64) -> Plan {
        let mut p = plan(object, "s");
        p.label = Some(token("label"));
        p.approval = Some(approval.to_owned());
        p.day = Some(Day(day));
        p
    }

    fn record(object: &str, of: &str) -> TreatmentRecord {
        let mut origin: Origin = plan(object, "s").origin;
        origin.file = token(object);
        let beam = SessionBeam {
            beam: None,
            fraction: Some(1),
            treats: true,
            ended_normally: true,
            specified: None,
            delivered: None,
        };
        let (plans, beams) = (vec![token(of)], vec![beam]);
        TreatmentRecord { origin, plans, day: Some(Day(7)), beams, summary: None }
    }

    fn cases(plans: Vec<Plan>, records: Vec<TreatmentRecord>, decisions: &Decisions) -> Vec<Case> {
        let doses = plans.iter().map(|p| {
            let object = p.origin.object.as_str();
            dose(&format!("d-{object}"), object)
        });
        let inventory = Inventory {
            doses: doses.collect(),
            structure_sets: vec![structure_set("s")],
            plans,
            records,
            ..Inventory::default()
        };
        link_decided(&inventory, decisions).0
    }

    /// Code for which each case is left out, by plan.
    fn left_out(cases: &[Case]) -> Vec<(&str, Option<Code>)> {
        cases.iter().map(|c| (c.id.as_str(), c.left_out.as_ref().map(|l| l.0))).collect()
    }

    #[test]
    fn a_record_beats_approval_and_approval_beats_the_date() {
        let plans = || vec![version("old", "APPROVED", 1), version("new", "UNAPPROVED", 5)];
        let none = Decisions::default();
        let by_approval = cases(plans(), vec![], &none);
        assert_eq!(left_out(&by_approval), [("new", Some(Code::PlanSuperseded)), ("old", None)]);
        assert_eq!(by_approval[1].treatment.reason, "it is the approved version");
        let by_record = cases(plans(), vec![record("r", "new")], &none);
        assert_eq!(left_out(&by_record), [("new", None), ("old", Some(Code::PlanSuperseded))]);
        assert_eq!(by_record[0].treatment.delivery.unwrap().fractions, Some(1));
        let both = vec![version("a", "APPROVED", 1), version("b", "APPROVED", 2)];
        let by_date = cases(both, vec![], &none);
        assert_eq!(left_out(&by_date), [("a", Some(Code::PlanSuperseded)), ("b", None)]);
    }

    #[test]
    fn what_no_rule_decides_the_user_decides() {
        let plans = || vec![version("a", "APPROVED", 1), version("b", "APPROVED", 1)];
        let open = cases(plans(), vec![], &Decisions::default());
        let ambiguous = Some(Code::PlanAmbiguous);
        assert_eq!(left_out(&open), [("a", ambiguous), ("b", ambiguous)]);
        let message = &open[0].left_out.as_ref().unwrap().1;
        assert!(message.contains("a (APPROVED, day 1); b (APPROVED, day 1)"), "{message}");
        let mut decisions = Decisions::default();
        decisions.treated.insert(token("a"), true);
        let decided = cases(plans(), vec![], &decisions);
        assert_eq!(left_out(&decided), [("a", None), ("b", Some(Code::PlanSuperseded))]);
        assert_eq!(decided[0].treatment.role, PlanRole::Treated);
    }

    #[test]
    fn other_labels_targets_or_structure_sets_are_other_plans() {
        let mut other = version("b", "APPROVED", 2);
        other.label = Some(token("boost"));
        let two =
            cases(vec![version("a", "APPROVED", 1), other.clone()], vec![], &Decisions::default());
        assert_eq!(left_out(&two), [("a", None), ("b", None)]);
        other.related = vec![(PlanRelation::Predecessor, token("a"))];
        let chain = cases(vec![version("a", "APPROVED", 1), other], vec![], &Decisions::default());
        assert_eq!(left_out(&chain), [("a", Some(Code::PlanSuperseded)), ("b", None)]);
        assert_eq!(chain[1].treatment.reason, "it was derived from the others");
    }

    #[test]
    fn plans_that_verify_and_plans_that_were_rejected_are_left_out() {
        let mut check = version("check", "APPROVED", 9);
        check.related = vec![(PlanRelation::Verified, token("a"))];
        let all = cases(vec![version("a", "APPROVED", 1), check], vec![], &Decisions::default());
        assert_eq!(left_out(&all), [("a", None), ("check", Some(Code::PlanNotTreatment))]);
        assert_eq!(all[1].treatment.role, PlanRole::Qa);
        let rejected = || vec![version("a", "REJECTED", 1)];
        let alone = cases(rejected(), vec![], &Decisions::default());
        assert_eq!(left_out(&alone), [("a", Some(Code::PlanRejected))]);
        let treated = cases(rejected(), vec![record("r", "a")], &Decisions::default());
        assert_eq!(left_out(&treated), [("a", None)]);
    }

    #[test]
    fn two_versions_with_records_are_both_measured() {
        let plans = vec![version("a", "APPROVED", 1), version("b", "APPROVED", 2)];
        let records = vec![record("r1", "a"), record("r2", "b")];
        let both = cases(plans, records, &Decisions::default());
        assert_eq!(left_out(&both), [("a", None), ("b", None)]);
    }
}
