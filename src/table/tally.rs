//! Counts of what was found, left out and counted, and the few values of each plan that wide tables
//! show, gathered case by case while the tables are written.

use std::collections::{BTreeMap, BTreeSet};

use strum::{EnumIter, IntoStaticStr, VariantNames};

use super::wide::values::PlanValues;
use tidydose_analyse::{Analysis, StructureResult};
use tidydose_case::{Case, copied_patients};
use tidydose_metrics::Status;
use tidydose_rt::Inventory;
use tidydose_rt::finding::Code;
use tidydose_rt::identity::Token;

/// What is counted.
#[derive(EnumIter, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Grain {
    Patient,
    Plan,
    Lesion,
    Structure,
    Value,
}

impl Grain {
    pub(super) fn word(self) -> &'static str {
        self.into()
    }
}

/// Who left something out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
pub(super) enum DecidedBy {
    Program,
    StrictRun,
    User,
}

impl DecidedBy {
    pub(super) fn word(self) -> &'static str {
        self.into()
    }
}

/// Why something is left out: a code of a finding or a status, and who decided; nothing for what is
/// counted.
pub(super) type Reason = Option<(&'static str, DecidedBy)>;

/// A patient whose objects make no case.
const NO_CASE: &str = "no_case";
/// A case without reason that has no results: it was not begun.
const NOT_MEASURED: &str = "not_measured";

/// Numbers by grain and reason, and the few values of each plan, gathered case by case.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tally {
    counts: BTreeMap<(Grain, Reason), usize>,
    patients: BTreeMap<String, Reason>,
    values: BTreeMap<Token, PlanValues>,
}

impl Tally {
    /// Adds a case with what was computed for it.
    pub fn add(&mut self, case: &Case, analysis: Option<&Analysis>) {
        // Structures that were drawn later are no plan: they are counted in table follow_up.
        if case.is_follow_up() {
            return;
        }
        self.values.insert(case.id.clone(), PlanValues::of(case, analysis));
        let of_plan = reason_of_plan(case, analysis);
        self.count(Grain::Plan, of_plan);
        // A plan without Patient ID stands for a patient of its own.
        let patient = case.patient.as_ref().unwrap_or(&case.id).to_string();
        let known = self.patients.entry(patient).or_insert(of_plan);
        if of_plan.is_none() {
            *known = None;
        }
        let results: &[StructureResult] = analysis.map_or(&[], |a| &a.structures);
        let volume = |number: i64| match results.iter().find(|r| r.roi_number == number) {
            None => Some((Status::Excluded.word(), DecidedBy::Program)),
            // One whose volume is uncertain was measured; its volume is left out as a value.
            Some(r) if r.volume.value.is_some() => None,
            Some(r) => reason_of_status(r.volume.status, &r.volume.reason),
        };
        for number in numbers(case, results) {
            self.count(Grain::Structure, of_plan.or_else(|| volume(number)));
        }
        let Some(analysis) = analysis else { return };
        for lesion in &analysis.lesions {
            self.count(Grain::Lesion, of_plan.or_else(|| volume(lesion.roi_number)));
        }
        let regions = analysis.regions.iter().map(|m| &m.outcome);
        for outcome in analysis.measurements.iter().map(|m| &m.outcome).chain(regions) {
            let own = || reason_of_status(outcome.status, &outcome.reason);
            self.count(Grain::Value, of_plan.or_else(own));
        }
    }

    /// What the wide tables show of a case; absent for one that was not added.
    pub(super) fn plan_values(&self, case: &Token) -> Option<&PlanValues> {
        self.values.get(case)
    }

    fn count(&mut self, grain: Grain, reason: Reason) {
        *self.counts.entry((grain, reason)).or_insert(0) += 1;
    }

    /// All numbers, with the patients; those of `inventory` that have no case are left out.
    pub(super) fn complete(&self, inventory: &Inventory) -> BTreeMap<(Grain, Reason), usize> {
        let mut patients = self.patients.clone();
        let copied = copied_patients(inventory);
        for patient in inventory.files.iter().filter_map(|f| f.patient.as_ref()) {
            if !patients.contains_key(patient.as_str()) {
                let others = copied.get(patient);
                let reason = others.map_or((NO_CASE, DecidedBy::Program), |o| self.of_copy(o));
                patients.insert(patient.to_string(), Some(reason));
            }
        }
        let mut counts = self.counts.clone();
        for reason in patients.into_values() {
            *counts.entry((Grain::Patient, reason)).or_insert(0) += 1;
        }
        counts
    }
}

impl Tally {
    /// The reason of a patient of whom there are copies under the numbers of `others` and no case:
    /// the user names one of these, or nobody has decided.
    fn of_copy(&self, others: &BTreeSet<Token>) -> (&'static str, DecidedBy) {
        let code = Code::PatientCopied.definition().id;
        let waits =
            |p: &Token| self.patients.get(p.as_str()) == Some(&Some((code, DecidedBy::Program)));
        (code, if others.iter().any(waits) { DecidedBy::Program } else { DecidedBy::User })
    }
}

/// Every ROI Number that table structures has a row for.
fn numbers(case: &Case, results: &[StructureResult]) -> BTreeSet<i64> {
    let listed = case.structure_set.iter().flat_map(|s| &s.rois).map(|r| r.number);
    let named = case.names.iter().map(|n| n.number);
    listed.chain(named).chain(results.iter().map(|r| r.roi_number)).collect()
}

/// Why a plan is left out: it was not measured, or it does not count as long as nobody says that it
/// was treated.
fn reason_of_plan(case: &Case, analysis: Option<&Analysis>) -> Reason {
    let Some((code, reason)) = &case.left_out else {
        let undecided = || (Code::PlanUndecided.definition().id, DecidedBy::Program);
        let not_measured = analysis.is_none().then_some((NOT_MEASURED, DecidedBy::Program));
        return not_measured.or_else(|| (!case.counts()).then(undecided));
    };
    let of_role = matches!(code, Code::PlanSuperseded | Code::PlanNotTreated);
    let by_user = of_role && case.treatment.reason.is_of_user();
    let by = if by_user { DecidedBy::User } else { decided(reason) };
    Some((code.definition().id, by))
}

fn reason_of_status(status: Status, reason: &str) -> Reason {
    let counted = matches!(status, Status::Ok | Status::Bound);
    (!counted).then(|| (status.word(), decided(reason)))
}

fn decided(reason: &str) -> DecidedBy {
    if reason.starts_with(tidydose_analyse::strict::PREFIX) {
        DecidedBy::StrictRun
    } else {
        DecidedBy::Program
    }
}
