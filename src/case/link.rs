//! Which objects belong together. An inventory becomes cases: each plan with the dose that was
//! calculated for it and the structures it was made on, joined by the references the objects
//! carry and, where those lead nowhere, by patient and frame of reference if that leaves exactly
//! one choice. Folders and file names are never evidence; this module does not see them.
//!
//! Every object of the inventory ends in a case or in a finding. The result depends on the set of
//! objects, not on their order.

mod archive;
mod choice;
mod copies;
mod course;
mod draft;
mod follow_up;
mod frames;
mod owner;
mod person;
mod records;
mod region;
mod summation;

use std::collections::BTreeSet;

use super::{Case, Decisions, LinkMethod};
use archive::ObjectsByUid;
use draft::{Draft, DraftInputs};
use owner::Owners;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::Token;
use tidydose_rt::{Inventory, Origin, RoiHeader};

pub use choice::{dose_defect, is_whole_dose};
pub use copies::copied_patients;
pub use frames::registered_motion;

/// Joins plans, doses and structure sets into cases, sorted by patient and case token, with the
/// findings about every join that was not by reference, every refusal and every object left over.
#[must_use]
pub fn link(inventory: &Inventory) -> (Vec<Case>, Vec<Finding>) {
    link_decided(inventory, &Decisions::default())
}

/// As [`link`], with what the user decided about frames of reference, doses and versions of plans.
#[must_use]
pub fn link_decided(inventory: &Inventory, decisions: &Decisions) -> (Vec<Case>, Vec<Finding>) {
    let resolved = copies::resolve(inventory, decisions);
    let inventory: &Inventory = &resolved.inventory;
    let mut archive = ObjectsByUid::new(inventory);
    let mut findings = std::mem::take(&mut archive.repeated);
    findings.extend(resolved.findings);
    let owners = Owners::new(&archive);
    let registrations = &inventory.registrations;
    let inputs = DraftInputs { archive: &archive, decisions, registrations };
    let mut drafts: Vec<Draft> =
        archive.plans.values().map(|plan| Draft::of_plan(inputs, &owners, plan)).collect();
    drafts.extend(owners.orphans.iter().filter_map(|group| {
        Draft::of_orphans(inputs, group).map_err(|refused| findings.extend(refused)).ok()
    }));
    drafts.extend(archive.lone_structure_sets().map(Draft::of_structures));
    findings.extend(course::settle(&mut drafts, &inventory.records, decisions));
    let mut cases = resolved.waiting;
    for draft in drafts {
        findings.extend(draft.findings);
        cases.push(draft.case);
    }
    findings.extend(owners.findings);
    for draft in follow_up::later_sets(inputs, &cases, &used(&cases, &findings)) {
        findings.extend(draft.findings);
        cases.push(draft.case);
    }
    findings.extend(unused(&archive, &used(&cases, &findings)));
    findings.extend(person::contradictions(inventory, &cases));
    findings.extend(frames::refused(&inventory.registrations));
    cases.sort_by(|a, b| (&a.patient, &a.id).cmp(&(&b.patient, &b.id)));
    findings.sort();
    findings.dedup();
    (cases, findings)
}

impl Case {
    /// Whether a structure lies in the frame of reference of the case's dose, so that it may be
    /// laid on the dose grid. A structure without a frame of its own has that of its set.
    #[must_use]
    pub fn in_dose_frame(&self, roi: &RoiHeader) -> bool {
        let set = self.structure_set.as_ref().and_then(|s| s.frame.as_ref());
        let dose = self.dose.as_ref().and_then(|d| d.frame.as_ref());
        let own = roi.frame.as_ref().or(set);
        let moved = own.is_some_and(|frame| self.frames.motions.contains_key(frame));
        dose.is_some() && (own == dose || moved)
    }

    /// The frame of reference in which the shapes of the case are: that of the dose for a structure
    /// set that was moved into it, else the set's own. Absent without structures or without a UID.
    #[must_use]
    pub fn shape_frame(&self) -> Option<&Token> {
        let own = self.structure_set.as_ref()?.frame.as_ref()?;
        let dose = self.dose.as_ref().and_then(|d| d.frame.as_ref());
        dose.filter(|_| self.frames.motions.contains_key(own)).or(Some(own))
    }
}

/// The subject of a finding about `object` in `case`.
fn subject(origin: &Origin, case: Option<&Token>) -> Subject {
    Subject {
        patient: origin.patient.clone(),
        case: case.cloned(),
        file: Some(origin.file.clone()),
        object: Some(origin.object.clone()),
        ..Subject::default()
    }
}

/// The objects that are in a case or that a finding names.
fn used(cases: &[Case], findings: &[Finding]) -> BTreeSet<Token> {
    let in_cases = cases.iter().flat_map(|c| {
        let structures = c.structure_set.as_ref().map(|s| &s.origin.object);
        let doses = c.all_doses().map(|d| &d.origin.object).collect::<Vec<_>>();
        doses.into_iter().chain(structures)
    });
    let in_findings = findings.iter().filter_map(|f| f.subject.object.as_ref());
    in_cases.chain(in_findings).cloned().collect()
}

/// Notes for the objects that are not used.
fn unused(archive: &ObjectsByUid, used: &BTreeSet<Token>) -> Vec<Finding> {
    let doses = archive.doses.values().map(|d| (&d.origin, "dose"));
    let sets = archive.structure_sets.values().map(|s| (&s.origin, "structure set"));
    doses
        .chain(sets)
        .filter(|(origin, _)| !used.contains(&origin.object))
        .map(|(origin, what)| {
            let message = format!("no plan and no other object leads to this {what}");
            Finding::new(Code::ObjectUnused, subject(origin, None), message)
        })
        .collect()
}

/// Tokens as a list in a message.
fn list<'a>(tokens: impl IntoIterator<Item = &'a Token>) -> String {
    let mut texts: Vec<&str> = tokens.into_iter().map(Token::as_str).collect();
    texts.sort_unstable();
    texts.join(", ")
}

/// The sentence for a join by frame of reference.
fn frame_sentence(what: &str, named: Option<&Token>, method: LinkMethod) -> Option<String> {
    (method == LinkMethod::Frame).then(|| match named {
        Some(token) => format!(
            "the {what} it refers to ({token}) is not in the archive; the only one of the same \
             patient and frame of reference was taken"
        ),
        None => format!(
            "no {what} is named; the only one of the same patient and frame of reference was taken"
        ),
    })
}

#[cfg(test)]
mod tests;
