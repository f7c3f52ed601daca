//! The objects of an inventory by their tokens, and which of them share a patient and a frame of
//! reference. Knows nothing of cases.

use std::collections::{BTreeMap, BTreeSet};

use super::subject;
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::identity::Token;
use tidydose_rt::{
    DoseHeader, FileRecord, FileStatus, Inventory, Origin, Plan, StructureSetHeader,
};

/// What the inventory calls the class of a dose (PS3.6 annex A).
const DOSE_CLASS: &str = "RT Dose Storage";

/// Objects by SOP instance, so that their order in the inventory plays no part.
pub(super) struct ObjectsByUid<'a> {
    /// Plans.
    pub(super) plans: BTreeMap<&'a Token, &'a Plan>,
    /// Structure sets.
    pub(super) structure_sets: BTreeMap<&'a Token, &'a StructureSetHeader>,
    /// Doses.
    pub(super) doses: BTreeMap<&'a Token, &'a DoseHeader>,
    /// Files with a dose that was refused, by patient.
    refused_doses: BTreeMap<&'a Token, usize>,
    /// Notes about objects that share a SOP instance with another one.
    pub(super) repeated: Vec<Finding>,
}

impl<'a> ObjectsByUid<'a> {
    /// Sorts the objects of an inventory.
    pub(super) fn new(inventory: &'a Inventory) -> Self {
        let mut repeated = Vec::new();
        let plans = by_object(&inventory.plans, |p| &p.origin, &mut repeated);
        let structure_sets = by_object(&inventory.structure_sets, |s| &s.origin, &mut repeated);
        let doses = by_object(&inventory.doses, |d| &d.origin, &mut repeated);
        let mut refused_doses = BTreeMap::new();
        let refused =
            |f: &&FileRecord| f.status == FileStatus::Refused && f.sop_class == Some(DOSE_CLASS);
        for patient in inventory.files.iter().filter(refused).filter_map(|f| f.patient.as_ref()) {
            *refused_doses.entry(patient).or_default() += 1;
        }
        Self { plans, structure_sets, doses, refused_doses, repeated }
    }

    /// How many files with a dose of the patient were refused.
    pub(super) fn refused_doses(&self, patient: Option<&Token>) -> usize {
        patient.and_then(|p| self.refused_doses.get(p)).copied().unwrap_or_default()
    }

    /// Frames of reference of a plan: its own, else those of the structure set it names.
    pub(super) fn plan_frames(&self, plan: &'a Plan) -> BTreeSet<&'a Token> {
        if let Some(frame) = &plan.frame {
            return BTreeSet::from([frame]);
        }
        let set = plan.structure_set.as_ref().and_then(|s| self.structure_sets.get(s));
        set.map(|s| structure_frames(s)).unwrap_or_default()
    }

    /// Structure sets of patients who have neither a plan nor a dose.
    pub(super) fn lone_structure_sets(&self) -> impl Iterator<Item = &'a StructureSetHeader> {
        let plans = self.plans.values().map(|p| p.origin.patient.as_ref());
        let served: BTreeSet<Option<&Token>> =
            plans.chain(self.doses.values().map(|d| d.origin.patient.as_ref())).collect();
        let sets = self.structure_sets.values().copied();
        let lone = move |s: &&StructureSetHeader| !served.contains(&s.origin.patient.as_ref());
        sets.filter(lone).collect::<Vec<_>>().into_iter()
    }

    /// Structure sets of one patient in one of the frames.
    pub(super) fn structure_sets_in(
        &self,
        patient: Option<&Token>,
        frames: &BTreeSet<&Token>,
    ) -> Vec<&'a StructureSetHeader> {
        let fits = |s: &&StructureSetHeader| {
            same_patient(patient, s.origin.patient.as_ref())
                && !structure_frames(s).is_disjoint(frames)
        };
        self.structure_sets.values().copied().filter(fits).collect()
    }
}

/// Every frame of reference in which a structure set has structures, with that of the set.
pub(super) fn structure_frames(set: &StructureSetHeader) -> BTreeSet<&Token> {
    set.rois.iter().filter_map(|r| r.frame.as_ref()).chain(set.frame.as_ref()).collect()
}

/// Whether both patients are stated and are one. Two empty identifiers are no evidence.
pub(super) fn same_patient(a: Option<&Token>, b: Option<&Token>) -> bool {
    a.is_some() && a == b
}

fn by_object<'a, T>(
    items: &'a [T],
    origin: impl Fn(&'a T) -> &'a Origin,
    repeated: &mut Vec<Finding>,
) -> BTreeMap<&'a Token, &'a T> {
    let mut sorted: Vec<&T> = items.iter().collect();
    sorted.sort_by(|a, b| origin(a).cmp(origin(b)));
    let mut map = BTreeMap::new();
    // The smallest file token stands for an object that is there twice.
    sorted.sort_by_key(|item| &origin(item).file);
    for item in sorted {
        if map.contains_key(&origin(item).object) {
            let message = "another file holds the same SOP instance and stands for it";
            repeated.push(Finding::new(Code::ObjectUnused, subject(origin(item), None), message));
        } else {
            map.insert(&origin(item).object, item);
        }
    }
    map
}
