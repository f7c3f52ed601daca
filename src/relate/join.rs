//! Patients or lesions of the study with their outcomes, and what has no partner on either side.
//! Whoever is not analysed leaves at the first stage whose condition fails, so that counts add up.

use std::collections::{BTreeMap, BTreeSet};

use strum::{EnumIter, IntoStaticStr};

use super::centres::CENTRE;
use super::course::{Course, Of, OutcomesOf, order, real};
use super::predictor::Predictor;
use super::study::{Cohort, GroupedPlan};
use super::{Grain, RelateError, Request};
use tidydose_statistics::survival::End;
use tidydose_table::user::outcomes::{LOST, NONE, Outcome};

/// Where somebody leaves, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, EnumIter, IntoStaticStr)]
pub(super) enum Stage {
    #[strum(serialize = "plan measured")]
    Measured,
    #[strum(serialize = "plan in the study")]
    Treated,
    #[strum(serialize = "number of fractions as asked")]
    Fractions,
    #[strum(serialize = "predictor known")]
    Predictor,
    #[strum(serialize = "adjuster known")]
    Adjuster,
    #[strum(serialize = "outcome in the sheet")]
    Matched,
    #[strum(serialize = "outcome known")]
    Outcome,
    #[strum(serialize = "followed long enough, or event before")]
    FollowUp,
}

impl Stage {
    /// What holds for those who are left after it.
    pub(super) fn words(self) -> &'static str {
        self.into()
    }

    /// What would keep those who leave at it.
    pub(super) const fn remedy(self) -> &'static str {
        match self {
            Self::Measured => "see exclusion_reason in table plans",
            Self::Treated => "answer question treated in choices.csv, column decision: yes",
            Self::Fractions => "ask for another --fractions, or for none",
            Self::Predictor => "choose another --predictor, or decide names in names.csv",
            Self::Adjuster => "choose another --adjust, or decide names in names.csv",
            Self::Matched => {
                "patients, plans and lesions of the sheet must be those of the tables; --key \
                 translates IDs of the hospital"
            }
            Self::Outcome => "fill in event_type, day_event and grade in the sheet",
            Self::FollowUp => "ask for a shorter --least-follow-up",
        }
    }
}

/// What is analysed of one patient or lesion.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Known {
    pub(super) event: bool,
    pub(super) predictor: f64,
    /// In the order of the request.
    pub(super) adjusters: Vec<f64>,
    /// Days until the observation ended, and how; absent where a day is missing.
    pub(super) time: Option<(f64, End)>,
    /// Days until which the event would have been seen.
    pub(super) looked: Option<f64>,
    /// Days until death or last contact.
    pub(super) life: Option<(f64, bool)>,
    /// Whether a later course ended the observation.
    pub(super) by_course: bool,
}

/// One patient or lesion.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Subject {
    pub(super) patient_id: String,
    pub(super) plan_id: String,
    pub(super) lesion_id: Option<String>,
    pub(super) group: String,
    /// The centre it comes from, in a study of several.
    pub(super) centre: Option<String>,
    pub(super) fractions: Option<i64>,
    /// What is known, or where it left and why.
    pub(super) state: Result<Known, (Stage, String)>,
    /// What is known over time of somebody who left for a short follow-up only: rates and the model
    /// do without, incidence and survival do not.
    pub(super) short: Option<Known>,
    /// Whether somebody who left for short follow-up had died.
    pub(super) died: bool,
    /// What the sheet says besides, in the order of the request; empty where it says nothing.
    pub(super) covariates: Vec<String>,
}

/// Something without partner.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Unmatched {
    /// `sheet` or `study`.
    pub(super) side: &'static str,
    pub(super) patient_id: String,
    pub(super) lesion_id: String,
    /// Row of the sheet; 0 for the study.
    pub(super) row: usize,
    pub(super) reason: &'static str,
}

/// Both sides together.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Joined {
    pub(super) predictor: Predictor,
    pub(super) adjusters: Vec<Predictor>,
    pub(super) subjects: Vec<Subject>,
    pub(super) unmatched: Vec<Unmatched>,
    /// Rows of the sheet by kind of event.
    pub(super) kinds: BTreeMap<String, usize>,
    /// Scales of the grades of the events that count.
    pub(super) scales: BTreeSet<String>,
    /// What should be known of the predictors, and of events that follow a later course.
    pub(super) notes: Vec<String>,
}

pub(super) fn join(
    cohort: &Cohort<'_>,
    outcomes: &[Outcome],
    request: &Request,
) -> Result<Joined, RelateError> {
    let mut kinds: BTreeMap<String, usize> = BTreeMap::new();
    for o in outcomes {
        *kinds.entry(o.event_type.clone()).or_insert(0) += 1;
    }
    let known = kinds.contains_key(&request.event) || is_looked_for(outcomes, request);
    if !known || [NONE, LOST].contains(&request.event.as_str()) {
        let events = kinds.iter().filter(|(k, _)| ![NONE, LOST].contains(&k.as_str()));
        let there = events.map(|(kind, n)| format!("{kind} ({n})")).collect::<Vec<_>>();
        let there = if there.is_empty() { "none".to_owned() } else { there.join(", ") };
        return Err(RelateError::Event { wanted: request.event.clone(), there });
    }
    let parse = |words: &str| Predictor::parse(words, cohort, request.grain);
    let predictor = parse(&request.predictor)?;
    let adjusters: Vec<Predictor> =
        request.adjust.iter().map(|a| parse(a)).collect::<Result<_, _>>()?;
    let lesions = Lesions::of(cohort);
    let sheet = OutcomesOf { cohort, lesions: &lesions, outcomes, request };
    let subject = |(plan, lesion): (&GroupedPlan<'_>, Option<String>)| {
        sheet.subject(plan, lesion, &predictor, &adjusters)
    };
    let subjects: Vec<Subject> = starts(cohort, request.grain).into_iter().map(subject).collect();
    let scales = outcomes.iter().filter(|o| o.event_type == request.event);
    let scales = scales.filter_map(|o| o.grade_scale.clone()).collect();
    let unmatched = unmatched(&sheet, &subjects);
    let mut notes = predictor.notes(cohort);
    notes.extend(adjusters.iter().flat_map(|a| a.notes(cohort)));
    notes.extend(sheet.notes());
    Ok(Joined { predictor, adjusters, subjects, unmatched, kinds, scales, notes })
}

/// Whether the sheet says of an event that it was looked for, though no row has it.
fn is_looked_for(outcomes: &[Outcome], request: &Request) -> bool {
    request.looked_for.contains(&request.event)
        || outcomes.iter().any(|o| o.event_unknown.contains(&request.event))
}

/// Whom the flow starts with: each patient with the plan of the first course, each plan, or each
/// lesion.
fn starts<'c>(cohort: &'c Cohort<'_>, grain: Grain) -> Vec<(&'c GroupedPlan<'c>, Option<String>)> {
    if grain == Grain::Plan {
        return cohort.plans.iter().map(|p| (p, None)).collect();
    }
    if grain == Grain::Lesion {
        let lesions = cohort.lesions.iter();
        return lesions
            .filter_map(|l| Some((cohort.plan(l.plan_id)?, Some(l.lesion_id.to_owned()))))
            .collect();
    }
    let mut first: BTreeMap<&str, &'c GroupedPlan<'c>> = BTreeMap::new();
    for plan in &cohort.plans {
        let now = first.entry(plan.row.patient_id).or_insert(plan);
        if order(plan) < order(now) {
            *now = plan;
        }
    }
    first.into_values().map(|p| (p, None)).collect()
}

/// Lesions by all names that the sheet may use.
pub(super) struct Lesions<'c> {
    by_id: BTreeMap<&'c str, &'c str>,
    /// Plans by their lesions.
    plans: BTreeMap<&'c str, &'c str>,
    /// Patients by their plans.
    patients: BTreeMap<&'c str, &'c str>,
    by_label: BTreeMap<(&'c str, &'c str), Vec<&'c str>>,
}

impl<'c> Lesions<'c> {
    fn of(cohort: &'c Cohort<'c>) -> Self {
        let patients = cohort.plans.iter().map(|p| (p.row.plan_id, p.row.patient_id)).collect();
        let (by_id, by_label) = (BTreeMap::new(), BTreeMap::new());
        let mut out = Self { by_id, plans: BTreeMap::new(), patients, by_label };
        for lesion in &cohort.lesions {
            let Some(plan) = cohort.plan(lesion.plan_id) else { continue };
            out.by_id.insert(lesion.lesion_id, plan.row.patient_id);
            out.plans.insert(lesion.lesion_id, plan.row.plan_id);
            let label = lesion.clinical_label.filter(|l| *l != lesion.structure);
            for name in label.into_iter().chain([lesion.structure]) {
                let key = (plan.row.patient_id, name);
                out.by_label.entry(key).or_default().push(lesion.lesion_id);
            }
        }
        out
    }

    /// The plan of a lesion.
    pub(super) fn plan(&self, lesion: &str) -> Option<&'c str> {
        self.plans.get(lesion).copied()
    }

    /// The lesion that a row means.
    pub(super) fn find<'o>(&self, outcome: &'o Outcome) -> Result<Option<&'o str>, &'static str>
    where
        'c: 'o,
    {
        if let Some(plan) = outcome.plan_id.as_deref()
            && self.patients.get(plan) != Some(&outcome.patient_id.as_str())
        {
            return Err("the study has no such plan of the patient");
        }
        let Some(name) = outcome.lesion_id.as_deref() else { return Ok(None) };
        if let Some(patient) = self.by_id.get(name) {
            let own = *patient == outcome.patient_id;
            return if own { Ok(Some(name)) } else { Err("the lesion is another patient's") };
        }
        match self.by_label.get(&(outcome.patient_id.as_str(), name)).map(Vec::as_slice) {
            Some([one]) => Ok(Some(one)),
            Some(_) => Err("several lesions have this name"),
            None => Err("the study has no such lesion"),
        }
    }
}

impl<'c> OutcomesOf<'c> {
    fn subject(
        &self,
        plan: &GroupedPlan<'_>,
        lesion_id: Option<String>,
        predictor: &Predictor,
        adjusters: &[Predictor],
    ) -> Subject {
        let mut died = false;
        let mut short = None;
        let mut state = || -> Result<Known, (Stage, String)> {
            let row = &plan.row;
            if !row.is_measured() {
                let code = row.exclusion_code.unwrap_or_default();
                return Err((Stage::Measured, code.to_owned()));
            }
            if !row.is_in_study() {
                return Err((Stage::Treated, row.role_word().to_owned()));
            }
            if self.request.fractions.is_some_and(|n| row.fractions_planned != Some(n)) {
                let found = row.fractions_planned.map_or("unknown".to_owned(), |n| n.to_string());
                return Err((Stage::Fractions, format!("{found} fractions")));
            }
            let value = |p: &Predictor| p.value(self.cohort, row.plan_id, lesion_id.as_deref());
            let x = value(predictor).map_err(|status| (Stage::Predictor, status))?;
            if self.request.doubling && x <= 0.0 {
                return Err((Stage::Predictor, "0 has no logarithm".to_owned()));
            }
            let adjusters: Result<Vec<f64>, String> = adjusters.iter().map(value).collect();
            let adjusters = adjusters.map_err(|s| (Stage::Adjuster, s))?;
            let course = self.course(Of { plan, lesion: lesion_id.as_deref() })?;
            died = course.life.is_some_and(|(_, dead)| dead);
            let long_enough = course.long_enough(self.request.least_follow_up);
            let Course { event, seen, time, life, by_course } = course;
            let looked = seen.map(real);
            let known = Known { event, predictor: x, adjusters, time, looked, life, by_course };
            if let Err(left) = long_enough {
                short = Some(known);
                return Err(left);
            }
            Ok(known)
        };
        let state = state();
        let told = self.request.covariates.iter();
        let lesion = lesion_id.as_deref();
        let covariates =
            told.map(|name| self.cohort.told(name, plan.row.plan_id, lesion)).collect();
        let centre = self.cohort.plan_levels.get(CENTRE);
        Subject {
            patient_id: plan.row.patient_id.to_owned(),
            plan_id: plan.row.plan_id.to_owned(),
            lesion_id,
            group: plan.group.clone(),
            centre: centre.and_then(|c| c.get(plan.row.plan_id)).cloned(),
            fractions: plan.row.fractions_planned,
            state,
            short,
            died,
            covariates,
        }
    }
}

fn unmatched(sheet: &OutcomesOf<'_>, subjects: &[Subject]) -> Vec<Unmatched> {
    let known: BTreeSet<&str> = sheet.cohort.plans.iter().map(|p| p.row.patient_id).collect();
    let of_sheet = sheet.outcomes.iter().filter_map(|o| {
        // Who is not of the study may stand there with a name that must not get into it.
        let (patient_id, reason) = if known.contains(o.patient_id.as_str()) {
            (o.patient_id.clone(), sheet.lesions.find(o).err()?)
        } else {
            (String::new(), "the study has no such patient")
        };
        let lesion_id = o.lesion_id.clone().unwrap_or_default();
        Some(Unmatched { side: "sheet", patient_id, lesion_id, row: o.row, reason })
    });
    let of_study = subjects.iter().filter(|s| {
        !sheet.outcomes.iter().any(|o| {
            let same = o.patient_id == s.patient_id;
            let Some(plan) = sheet.cohort.plan(&s.plan_id).filter(|_| same) else { return false };
            sheet.is_own(o, Of { plan, lesion: s.lesion_id.as_deref() })
        })
    });
    let of_study = of_study.map(|s| Unmatched {
        side: "study",
        patient_id: s.patient_id.clone(),
        lesion_id: s.lesion_id.clone().unwrap_or_default(),
        row: 0,
        reason: "the sheet has no row",
    });
    let mut all: Vec<Unmatched> = of_sheet.chain(of_study).collect();
    all.sort();
    all
}
