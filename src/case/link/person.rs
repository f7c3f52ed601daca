//! Whether the objects under one patient number are of one person: birth dates and sexes that
//! contradict each other tell of an import under the wrong number, or of two records made one.

use std::collections::{BTreeMap, BTreeSet};

use crate::Case;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::Token;
use tidydose_rt::{Inventory, Origin};

/// What the objects of one patient say.
#[derive(Default)]
struct Said<'a> {
    birth_dates: BTreeSet<&'a Token>,
    sexes: BTreeSet<char>,
}

/// A finding for each case of a patient whose objects contradict each other.
pub(super) fn contradictions(inventory: &Inventory, cases: &[Case]) -> Vec<Finding> {
    let mut patients: BTreeMap<&Token, Said<'_>> = BTreeMap::new();
    for origin in origins(inventory) {
        let Some(patient) = &origin.patient else { continue };
        let said = patients.entry(patient).or_default();
        said.birth_dates.extend(&origin.person.birth_date);
        said.sexes.extend(origin.person.sex);
    }
    let of_case = |case: &Case| {
        let said = patients.get(case.patient.as_ref()?)?;
        let subject = Subject {
            patient: case.patient.clone(),
            case: Some(case.id.clone()),
            ..Subject::default()
        };
        Some(Finding::new(Code::PersonContradicts, subject, said.contradiction()?))
    };
    cases.iter().filter_map(of_case).collect()
}

fn origins(inventory: &Inventory) -> impl Iterator<Item = &Origin> {
    let plans = inventory.plans.iter().map(|p| &p.origin);
    let doses = inventory.doses.iter().map(|d| &d.origin);
    let sets = inventory.structure_sets.iter().map(|s| &s.origin);
    let records = inventory.records.iter().map(|r| &r.origin);
    plans.chain(doses).chain(sets).chain(records)
}

impl Said<'_> {
    /// The sentence; nothing where all agree.
    fn contradiction(&self) -> Option<String> {
        let many = [(self.birth_dates.len(), "birth dates"), (self.sexes.len(), "sexes")];
        let many = many.into_iter().filter(|(n, _)| *n > 1);
        let texts: Vec<String> = many.map(|(n, what)| format!("{n} {what}")).collect();
        (!texts.is_empty()).then(|| {
            format!(
                "objects under the number of this patient state {}; one would be accepted",
                texts.join(" and ")
            )
        })
    }
}
