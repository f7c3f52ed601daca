//! The same objects under several Patient IDs, as after an import under a wrong number or a second
//! pseudonym: which of the copies is meant nobody but the user can tell, so none of them is used
//! until the user names the patient. Works on SOP instances and never compares contents; what is no
//! copy in its content was refused when files were read.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use super::draft::Draft;
use super::{list, subject};
use crate::{Case, Decisions};
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::identity::Token;
use tidydose_rt::{Inventory, Origin};

/// Patients under whom one object is there; none for an empty Patient ID.
type Patients = BTreeSet<Option<Token>>;

/// The inventory without the copies that are not meant, and what there is to say about them.
pub(super) struct Resolved<'a> {
    pub(super) inventory: Cow<'a, Inventory>,
    /// A case that is left out for each plan (else dose, else structure set) that waits for the
    /// user.
    pub(super) waiting: Vec<Case>,
    pub(super) findings: Vec<Finding>,
}

/// Takes of every object that is there under several Patient IDs the copy of the patient whom the
/// user names, or none.
pub(super) fn resolve<'a>(inventory: &'a Inventory, decisions: &Decisions) -> Resolved<'a> {
    let copied = copied(inventory);
    if copied.is_empty() {
        let inventory = Cow::Borrowed(inventory);
        return Resolved { inventory, waiting: Vec::new(), findings: Vec::new() };
    }
    let answers = answers(inventory, &copied, decisions);
    let mut findings = Vec::new();
    let waiting = waiting(inventory, &copied, &answers, &mut findings);
    let mut kept = inventory.clone();
    let mut keeps = |origin: &Origin| {
        let Some(patients) = copied.get(&origin.object) else { return true };
        let meant = answers.get(patients);
        if meant.is_some() && meant == origin.patient.as_ref() {
            return true;
        }
        let text = match meant {
            Some(patient) => {
                format!("choices.csv says that the copy of patient {patient} is meant")
            }
            None => "it is there under several Patient IDs and none is named as meant".to_owned(),
        };
        findings.push(Finding::new(Code::ObjectUnused, subject(origin, None), text));
        false
    };
    kept.plans.retain(|o| keeps(&o.origin));
    kept.doses.retain(|o| keeps(&o.origin));
    kept.structure_sets.retain(|o| keeps(&o.origin));
    kept.records.retain(|o| keeps(&o.origin));
    kept.registrations.retain(|o| keeps(&o.origin));
    Resolved { inventory: Cow::Owned(kept), waiting, findings }
}

/// The patients of whom objects are there under other Patient IDs as well, with those others.
#[must_use]
pub fn copied_patients(inventory: &Inventory) -> BTreeMap<Token, BTreeSet<Token>> {
    let mut others: BTreeMap<Token, BTreeSet<Token>> = BTreeMap::new();
    for patients in copied(inventory).into_values() {
        for patient in patients.iter().flatten() {
            let rest = patients.iter().flatten().filter(|p| *p != patient);
            others.entry(patient.clone()).or_default().extend(rest.cloned());
        }
    }
    others
}

/// Patients of each object that is there under several Patient IDs.
fn copied(inventory: &Inventory) -> BTreeMap<&Token, Patients> {
    let mut patients: BTreeMap<&Token, Patients> = BTreeMap::new();
    for origin in origins(inventory) {
        patients.entry(&origin.object).or_default().insert(origin.patient.clone());
    }
    patients.retain(|_, patients| patients.len() > 1);
    patients
}

fn origins(inventory: &Inventory) -> impl Iterator<Item = &Origin> {
    let others = inventory.records.iter().map(|o| &o.origin);
    let others = others.chain(inventory.registrations.iter().map(|o| &o.origin));
    let plans = inventory.plans.iter().map(|o| &o.origin);
    let doses = inventory.doses.iter().map(|o| &o.origin);
    let sets = inventory.structure_sets.iter().map(|o| &o.origin);
    plans.chain(doses).chain(sets).chain(others)
}

/// Whom the user names of the same patients: an answer for one plan holds for all objects that are
/// there under the same Patient IDs. Answers that name somebody else, or several, are none.
fn answers<'c>(
    inventory: &Inventory,
    copied: &'c BTreeMap<&Token, Patients>,
    decisions: &Decisions,
) -> BTreeMap<&'c Patients, Token> {
    let mut named: BTreeMap<&Patients, BTreeSet<&Token>> = BTreeMap::new();
    for origin in origins(inventory) {
        let Some(patients) = copied.get(&origin.object) else { continue };
        if let Some(answer) = decisions.patient.get(&origin.object) {
            named.entry(patients).or_default().insert(answer);
        }
    }
    let one = |(patients, answers): (&'c Patients, BTreeSet<&Token>)| {
        let mut answers = answers.into_iter();
        let only = answers.next().filter(|_| answers.next().is_none())?;
        patients.contains(&Some(only.clone())).then(|| (patients, only.clone()))
    };
    named.into_iter().filter_map(one).collect()
}

/// One case that is left out for each group of objects of which nobody says which copy is meant.
fn waiting(
    inventory: &Inventory,
    copied: &BTreeMap<&Token, Patients>,
    answers: &BTreeMap<&Patients, Token>,
    findings: &mut Vec<Finding>,
) -> Vec<Case> {
    let mut drafts: BTreeMap<Token, Draft> = BTreeMap::new();
    let mut served: BTreeSet<&Patients> = BTreeSet::new();
    // Plans stand for all that belongs to them; doses and structure sets only where there is none.
    let kinds: [Vec<&Origin>; 3] = [
        inventory.plans.iter().map(|o| &o.origin).collect(),
        inventory.doses.iter().map(|o| &o.origin).collect(),
        inventory.structure_sets.iter().map(|o| &o.origin).collect(),
    ];
    for origins in kinds {
        let mut now: BTreeSet<&Patients> = BTreeSet::new();
        for origin in origins {
            let Some(patients) = copied.get(&origin.object) else { continue };
            if answers.contains_key(patients) || served.contains(patients) {
                continue;
            }
            now.insert(patients);
            let draft = drafts.entry(origin.object.clone()).or_insert_with(|| Draft::new(origin));
            let plan = inventory.plans.iter().find(|p| p.origin == *origin);
            draft.case.plan = draft.case.plan.take().or_else(|| plan.cloned());
            draft.stop(Code::PatientCopied, origin, sentence(patients));
        }
        served.extend(now);
    }
    let mut cases = Vec::new();
    for draft in drafts.into_values() {
        findings.extend(draft.findings);
        cases.push(draft.case);
    }
    cases
}

fn sentence(patients: &Patients) -> String {
    let unnamed = if patients.contains(&None) { " and without Patient ID" } else { "" };
    format!(
        "the same object is there under patient_id {}{unnamed}; the one that is meant would be \
         accepted in choices.csv",
        list(patients.iter().flatten())
    )
}

#[cfg(test)]
mod tests {
    use super::super::link_decided;
    use super::*;
    use crate::fixtures::{dose, plan, structure_set, token};
    use crate::{Question, RoleReason};

    /// A patient and a copy of all objects under another number; a third patient is nobody's copy.
    fn archive() -> Inventory {
        let mut inventory = Inventory::default();
        for (patient, file) in [("A", "one"), ("B", "two")] {
            let (mut p, mut d, mut s) = (plan("p", "s"), dose("d", "p"), structure_set("s"));
            for origin in [&mut p.origin, &mut d.origin, &mut s.origin] {
                origin.patient = Some(token(patient));
                origin.file = token(&format!("{}-{file}", origin.file));
            }
            inventory.plans.push(p);
            inventory.doses.push(d);
            inventory.structure_sets.push(s);
        }
        let (mut p, mut d, mut s) = (plan("q", "t"), dose("e", "q"), structure_set("t"));
        for origin in [&mut p.origin, &mut d.origin, &mut s.origin] {
            origin.patient = Some(token("C"));
        }
        inventory.plans.push(p);
        inventory.doses.push(d);
        inventory.structure_sets.push(s);
        inventory
    }

    fn answered(answer: &str) -> (Vec<Case>, Vec<Finding>) {
        let mut decisions = Decisions::default();
        decisions.patient.insert(token("p"), token(answer));
        link_decided(&archive(), &decisions)
    }

    #[test]
    fn a_copied_patient_waits_for_the_user_and_others_go_on() {
        let (cases, findings) = link_decided(&archive(), &Decisions::default());
        let [copy, other] = cases.as_slice() else { panic!("{cases:#?}") };
        let (code, text) = copy.left_out.as_ref().unwrap();
        assert_eq!((copy.id.as_str(), *code), ("p", Code::PatientCopied));
        assert!(text.contains("patient_id A, B"), "{text}");
        assert_eq!(Question::about(*code), Some(Question::Patient));
        assert!(copy.plan.is_some() && !copy.counts());
        assert!(other.left_out.is_none());
        let said = |code| findings.iter().filter(|f| f.code == code).count();
        assert_eq!(said(Code::PatientCopied), 2, "once for each copy of the plan");
        assert_eq!(said(Code::ObjectUnused), 6, "every object has its finding");
    }

    #[test]
    fn the_copy_that_the_user_names_is_used_whole() {
        for answer in ["A", "B"] {
            let (cases, findings) = answered(answer);
            let case = cases.iter().find(|c| c.id == token("p")).unwrap();
            assert_eq!((&case.left_out, &case.patient), (&None, &Some(token(answer))));
            assert_eq!(case.treatment.reason, RoleReason::Unproven);
            assert_eq!(case.dose.as_ref().unwrap().origin.patient, Some(token(answer)));
            assert!(findings.iter().all(|f| f.code != Code::PatientCopied));
        }
        let (cases, _) = answered("somebody else");
        let left_out = cases[0].left_out.as_ref().map(|l| l.0);
        assert_eq!(left_out, Some(Code::PatientCopied));
    }

    #[test]
    fn a_copied_dose_without_plan_waits_as_well() {
        let mut inventory = archive();
        inventory.plans.retain(|p| p.origin.object == token("q"));
        let (cases, _) = link_decided(&inventory, &Decisions::default());
        let waiting = cases.iter().filter(|c| c.left_out.is_some());
        assert_eq!(waiting.map(|c| c.id.as_str()).collect::<Vec<_>>(), ["d"]);
    }
}
