//! How structures are called in the tables, and their names by what a finding says of them: the plan
//! or the structure set, and the ROI Number.

use std::collections::BTreeMap;

use tidydose_case::{Case, NamedRoi};
use tidydose_rt::Inventory;
use tidydose_rt::finding::Finding;
use tidydose_rt::identity::Token;

/// The name by which a structure goes in the tables: the standard one, else the original.
pub(super) fn shown_name(name: &NamedRoi) -> &str {
    name.standard.as_deref().unwrap_or(&name.original)
}

/// Key of a structure: the case and its ROI Number.
pub(super) fn structure_id(case: &Case, roi_number: i64) -> String {
    format!("{}/{roi_number}", case.id)
}

/// The name of a structure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Name<'a> {
    /// The standard one, else the original.
    pub(super) shown: &'a str,
    /// As in the file.
    pub(super) original: &'a str,
}

impl Name<'_> {
    /// Whether somebody who wrote this meant the structure.
    pub(super) fn is(&self, written: &str) -> bool {
        self.shown == written || self.original.trim() == written
    }
}

/// Names by plan, or by structure set for findings that were made before plans were joined.
#[derive(Debug, Clone, Default)]
pub struct StructureNames<'a> {
    of_plan: BTreeMap<(&'a Token, i64), Name<'a>>,
    of_set: BTreeMap<(&'a Token, i64), Name<'a>>,
}

impl<'a> StructureNames<'a> {
    /// The names of all structures; a set that no plan uses has the original ones.
    #[must_use]
    pub fn of(inventory: &'a Inventory, cases: &'a [Case]) -> Self {
        let mut names = Self::default();
        for set in &inventory.structure_sets {
            for roi in &set.rois {
                let name = Name { shown: &roi.name, original: &roi.name };
                names.of_set.insert((&set.origin.object, roi.number), name);
            }
        }
        for case in cases {
            for roi in &case.names {
                let name = Name { shown: shown_name(roi), original: &roi.original };
                names.of_plan.insert((&case.id, roi.number), name);
                if let Some(set) = &case.structure_set {
                    names.of_set.insert((&set.origin.object, roi.number), name);
                }
            }
        }
        names
    }

    /// The structure that a finding is about; absent for one about something else.
    pub(super) fn name(&self, finding: &Finding) -> Option<Name<'a>> {
        let about = &finding.subject;
        let number = about.roi_number?;
        let of_plan = about.case.as_ref().and_then(|case| self.of_plan.get(&(case, number)));
        let of_set = || about.object.as_ref().and_then(|set| self.of_set.get(&(set, number)));
        of_plan.or_else(of_set).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::example::Example;
    use tidydose_rt::finding::{Code, Subject};

    #[test]
    fn a_structure_has_its_name_by_plan_and_by_structure_set() {
        let example = Example::new();
        let names = StructureNames::of(&example.inventory, &example.cases);
        let case = &example.cases[0];
        let roi = &case.names[0];
        let set = case.structure_set.as_ref().map(|s| s.origin.object.clone());
        let name = |case: Option<&Token>, object: Option<&Token>| {
            let (case, object) = (case.cloned(), object.cloned());
            let roi_number = Some(roi.number);
            let subject = Subject { case, object, roi_number, ..Subject::default() };
            names.name(&Finding::new(Code::PlanesFew, subject, ""))
        };
        let own = name(Some(&case.id), None).unwrap();
        assert!(own.is(&roi.original) && own.is(shown_name(roi)) && !own.is("another"));
        assert_eq!(name(None, set.as_ref()), set.as_ref().map(|_| own));
        assert_eq!(name(None, None), None);
    }
}
