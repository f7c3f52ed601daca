//! Which plan each dose belongs to, before any case is made.

use std::collections::{BTreeMap, BTreeSet};

use super::archive::{ObjectsByUid, same_patient};
use super::choice::{dose_defect, is_whole_dose};
use super::{list, subject};
use crate::LinkMethod;
use tidydose_rt::DoseHeader;
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::identity::Token;

/// The doses of every plan and those of none.
pub(super) struct Owners<'a> {
    /// Doses by plan, with how they were joined.
    pub(super) by_plan: BTreeMap<&'a Token, Vec<(&'a DoseHeader, LinkMethod)>>,
    /// Doses that fit several plans, by plan.
    pub(super) undecided: BTreeMap<&'a Token, Vec<&'a DoseHeader>>,
    /// Doses without a plan: those that name the same absent plan together, the others alone.
    pub(super) orphans: Vec<Vec<&'a DoseHeader>>,
    /// Findings about doses that come into no case.
    pub(super) findings: Vec<Finding>,
}

impl<'a> Owners<'a> {
    /// Assigns the doses: first by reference, then the rest by frame of reference to plans that
    /// have no dose of their own yet.
    pub(super) fn new(archive: &ObjectsByUid<'a>) -> Self {
        let mut owners = Self {
            by_plan: BTreeMap::new(),
            undecided: BTreeMap::new(),
            orphans: Vec::new(),
            findings: Vec::new(),
        };
        let mut homeless = Vec::new();
        for dose in archive.doses.values().copied() {
            match dose.plans.as_slice() {
                [_, _, ..] => owners.refuse_sum(dose),
                [plan] => match archive.plans.get_key_value(plan) {
                    Some((plan, _)) => owners.join(plan, dose, LinkMethod::Reference),
                    None => homeless.push(dose),
                },
                [] => homeless.push(dose),
            }
        }
        owners.place(archive, homeless);
        owners
    }

    fn join(&mut self, plan: &'a Token, dose: &'a DoseHeader, method: LinkMethod) {
        self.by_plan.entry(plan).or_default().push((dose, method));
    }

    fn refuse_sum(&mut self, dose: &DoseHeader) {
        let message = format!(
            "the dose is a sum over {} plans ({}); a dose of one plan would be accepted",
            dose.plans.len(),
            list(&dose.plans)
        );
        let about = subject(&dose.origin, None);
        self.findings.push(Finding::new(Code::DoseSummationUnused, about, message));
    }

    /// Joins doses whose plan is absent or not named. Served plans are settled beforehand, so
    /// that the order of the doses plays no part.
    fn place(&mut self, archive: &ObjectsByUid<'a>, homeless: Vec<&'a DoseHeader>) {
        let served: BTreeSet<&Token> = self
            .by_plan
            .iter()
            .filter(|(_, doses)| {
                doses.iter().any(|(d, _)| is_whole_dose(d) && dose_defect(d).is_none())
            })
            .map(|(plan, _)| *plan)
            .collect();
        let mut orphans: BTreeMap<&Token, Vec<&DoseHeader>> = BTreeMap::new();
        for dose in homeless {
            let plans = candidates(archive, dose, &served);
            match plans.as_slice() {
                [] => {
                    let key = dose.plans.first().unwrap_or(&dose.origin.object);
                    orphans.entry(key).or_default().push(dose);
                }
                [plan] => self.join(plan, dose, LinkMethod::Frame),
                several => self.leave_undecided(several, dose),
            }
        }
        self.orphans = orphans.into_values().collect();
    }

    fn leave_undecided(&mut self, plans: &[&'a Token], dose: &'a DoseHeader) {
        let message = format!(
            "{} plans of the same patient and frame of reference could be the plan of this dose; \
             one would be accepted: {}",
            plans.len(),
            list(plans.iter().copied())
        );
        let about = subject(&dose.origin, None);
        self.findings.push(Finding::new(Code::LinkAmbiguous, about, message));
        for plan in plans {
            self.undecided.entry(plan).or_default().push(dose);
        }
    }
}

fn candidates<'a>(
    archive: &ObjectsByUid<'a>,
    dose: &DoseHeader,
    served: &BTreeSet<&Token>,
) -> Vec<&'a Token> {
    let Some(frame) = &dose.frame else { return Vec::new() };
    archive
        .plans
        .values()
        .filter(|p| !served.contains(&p.origin.object))
        .filter(|p| same_patient(p.origin.patient.as_ref(), dose.origin.patient.as_ref()))
        .filter(|p| archive.plan_frames(p).contains(frame))
        .map(|p| &p.origin.object)
        .collect()
}
