//! Treatment records by the plans they name, and what is odd about them: a record under another
//! Patient ID, one that tells of no treatment, records that contradict each other, and records of
//! plans that are not there. Must not decide which plan was treated.

use std::collections::{BTreeMap, BTreeSet};

use super::subject;
use crate::Delivery;
use crate::treatment::{contradiction, delivery};
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::identity::Token;
use tidydose_rt::{Origin, Plan, TreatmentRecord};

/// The records of an archive.
pub(super) struct Records<'a> {
    all: &'a [TreatmentRecord],
    by_plan: BTreeMap<&'a Token, Vec<&'a TreatmentRecord>>,
}

/// What the records tell of one plan.
pub(super) struct PlanRecords {
    /// What was delivered; absent without records.
    pub(super) delivery: Option<Delivery>,
    /// What is odd, with the object it is about.
    pub(super) remarks: Vec<(Code, Origin, String)>,
}

impl<'a> Records<'a> {
    /// Sorts records by plan; one that is there twice under one SOP instance counts once.
    pub(super) fn of(all: &'a [TreatmentRecord]) -> Self {
        let mut once: BTreeMap<&Token, &TreatmentRecord> = BTreeMap::new();
        for record in all {
            once.entry(&record.origin.object).or_insert(record);
        }
        let mut by_plan: BTreeMap<&Token, Vec<&TreatmentRecord>> = BTreeMap::new();
        for record in once.into_values() {
            for plan in record.plans.iter().collect::<BTreeSet<_>>() {
                by_plan.entry(plan).or_default().push(record);
            }
        }
        Self { all, by_plan }
    }

    /// What they tell of a plan. Records under another Patient ID are named and not believed.
    pub(super) fn of_plan(&self, plan: &Plan) -> PlanRecords {
        let named: &[_] = self.by_plan.get(&plan.origin.object).map_or(&[], Vec::as_slice);
        let (own, strange): (Vec<&TreatmentRecord>, Vec<&TreatmentRecord>) =
            named.iter().partition(|r| r.origin.patient == plan.origin.patient);
        let word = |p: Option<&Token>| p.map_or("none", Token::as_str).to_owned();
        let mut remarks: Vec<(Code, Origin, String)> = Vec::new();
        for record in strange {
            let text = format!(
                "the treatment record carries patient {}, the plan it names patient {}; the same \
                 would be accepted",
                word(record.origin.patient.as_ref()),
                word(plan.origin.patient.as_ref())
            );
            remarks.push((Code::RecordPatientDiffers, record.origin.clone(), text));
        }
        let delivery = delivery(plan, &own);
        if delivery.is_some_and(|d| !d.is_something()) {
            let text = format!(
                "{} treatment records name the plan, none tells of a beam or a fraction delivered",
                own.len()
            );
            remarks.push((Code::RecordEmpty, plan.origin.clone(), text));
        }
        if let Some(text) = contradiction(plan, &own) {
            remarks.push((Code::RecordContradicts, plan.origin.clone(), text));
        }
        PlanRecords { delivery, remarks }
    }

    /// Notes for the records of which no plan is among the `known` ones.
    pub(super) fn without_plan(&self, known: &BTreeSet<Token>) -> Vec<Finding> {
        let lost = self.all.iter().filter(|r| !r.plans.iter().any(|p| known.contains(p)));
        lost.map(|record| {
            let text = "the plan that this treatment record names is not in the archive";
            Finding::new(Code::ObjectUnused, subject(&record.origin, None), text)
        })
        .collect()
    }
}
