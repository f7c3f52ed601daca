//! Which decisions a study still waits for, and how many cases each of them holds up. Counts names
//! and prescriptions; what is questionable beyond these is a finding and decided as one.

use std::collections::{BTreeMap, BTreeSet};

use super::{Case, NameBasis};
use tidydose_rt::identity::Token;

/// Where a decision is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum DecisionFile {
    /// A structure name, in `names.csv`.
    Names,
    /// The dose prescribed to the targets of a case, in `prescriptions.csv`.
    Prescriptions,
}

impl DecisionFile {
    /// The file.
    #[must_use]
    pub const fn file(self) -> &'static str {
        match self {
            Self::Names => "names.csv",
            Self::Prescriptions => "prescriptions.csv",
        }
    }
}

/// A decision that nobody has taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenDecision {
    /// Where it is taken.
    pub place: DecisionFile,
    /// The ROI Name, or the case.
    pub subject: String,
    /// The cases that wait for it.
    pub cases: usize,
}

/// Every open decision, those that hold up most cases first.
#[must_use]
pub fn open_decisions(cases: &[Case]) -> Vec<OpenDecision> {
    let mut waiting: BTreeMap<(DecisionFile, &str), BTreeSet<&Token>> = BTreeMap::new();
    for case in cases {
        let open = |basis| matches!(basis, NameBasis::Ambiguous | NameBasis::None);
        for roi in case.names.iter().filter(|n| open(n.basis)) {
            waiting.entry((DecisionFile::Names, &roi.original)).or_default().insert(&case.id);
        }
        let prescribed = |number| case.prescriptions.iter().any(|p| p.roi_number == number);
        let mut targets = case.names.iter().filter(|n| n.role.is_target());
        if case.left_out.is_none() && targets.any(|n| !prescribed(n.number)) {
            let key = (DecisionFile::Prescriptions, case.id.as_str());
            waiting.entry(key).or_default().insert(&case.id);
        }
    }
    let mut list: Vec<OpenDecision> = waiting
        .into_iter()
        .map(|((place, subject), cases)| OpenDecision {
            place,
            subject: subject.to_owned(),
            cases: cases.len(),
        })
        .collect();
    list.sort_by_key(|d| std::cmp::Reverse(d.cases));
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::{dose, plan, roi, structure_set};
    use crate::{Decisions, NameDecision, identify, link};
    use tidydose_geometry::units::Gray;
    use tidydose_rt::Inventory;

    #[test]
    fn the_decision_that_most_cases_wait_for_comes_first_and_goes_once_taken() {
        let mut common = structure_set("s");
        common.rois.push(roi(3, "BS"));
        let mut other = structure_set("t");
        other.rois.push(roi(3, "mystery"));
        let (mut cases, _) = link(&Inventory {
            plans: vec![plan("p", "s"), plan("q", "s"), plan("r", "t")],
            doses: vec![dose("d", "p"), dose("e", "q"), dose("f", "r")],
            structure_sets: vec![common, other],
            ..Inventory::default()
        });
        let mut decisions = Decisions::default();
        identify(&mut cases, &decisions);
        let list = open_decisions(&cases);
        assert_eq!((list[0].subject.as_str(), list[0].cases), ("BS", 2));
        let count = |place| list.iter().filter(|d| d.place == place).count();
        assert_eq!((count(DecisionFile::Names), count(DecisionFile::Prescriptions)), (2, 3));
        let brainstem = NameDecision { standard: Some("Brainstem".into()), role: None };
        decisions.names.insert("BS".into(), brainstem.clone());
        decisions.names.insert("mystery".into(), brainstem);
        for case in &cases {
            decisions.prescriptions.insert((case.id.clone(), None), Gray::gy(20.0));
        }
        identify(&mut cases, &decisions);
        assert_eq!(open_decisions(&cases), []);
    }
}
