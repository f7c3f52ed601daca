//! Patients or lesions of the study with their outcomes, and what has no partner on either side.
//! Whoever is not analysed leaves at the first stage whose condition fails, so that counts add up.

use std::collections::{BTreeMap, BTreeSet};

use strum::{EnumIter, IntoStaticStr};

use super::predictor::Predictor;
use super::study::{Cohort, GroupedPlan};
use super::{Grain, RelateError, Request};
use tidydose_statistics::survival::End;
use tidydose_table::user::outcomes::{DEATH, LOST, NONE, Outcome};

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
                "columns patient_id and lesion_id of the sheet must be those of the tables; \
                 --patient-key translates"
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
    pub(super) adjuster: Option<f64>,
    /// Days until the observation ended, and how; absent where a day is missing.
    pub(super) time: Option<(f64, End)>,
    /// Days until death or last contact.
    pub(super) life: Option<(f64, bool)>,
}

/// One patient or lesion.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Subject {
    pub(super) patient_id: String,
    pub(super) plan_id: String,
    pub(super) lesion_id: Option<String>,
    pub(super) group: String,
    pub(super) fractions: Option<i64>,
    /// What is known, or where it left and why.
    pub(super) state: Result<Known, (Stage, String)>,
    /// Whether somebody who left for short follow-up had died.
    pub(super) died: bool,
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
    pub(super) adjuster: Option<Predictor>,
    pub(super) subjects: Vec<Subject>,
    pub(super) unmatched: Vec<Unmatched>,
    /// Rows of the sheet by kind of event.
    pub(super) kinds: BTreeMap<String, usize>,
    /// Scales of the grades of the events that count.
    pub(super) scales: BTreeSet<String>,
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
    if !kinds.contains_key(&request.event) || [NONE, LOST].contains(&request.event.as_str()) {
        let events = kinds.iter().filter(|(k, _)| ![NONE, LOST].contains(&k.as_str()));
        let there = events.map(|(kind, n)| format!("{kind} ({n})")).collect::<Vec<_>>();
        let there = if there.is_empty() { "none".to_owned() } else { there.join(", ") };
        return Err(RelateError::Event { wanted: request.event.clone(), there });
    }
    let parse = |words: &str| Predictor::parse(words, cohort, request.grain);
    let predictor = parse(&request.predictor)?;
    let adjuster = request.adjust.as_deref().map(parse).transpose()?;
    let lesions = Lesions::of(cohort);
    let sheet = OutcomesOf { cohort, lesions: &lesions, outcomes, request };
    let subject = |(plan, lesion): (&GroupedPlan<'_>, Option<String>)| {
        sheet.subject(plan, lesion, &predictor, adjuster.as_ref())
    };
    let subjects: Vec<Subject> = starts(cohort, request.grain).into_iter().map(subject).collect();
    let scales = outcomes.iter().filter(|o| o.event_type == request.event);
    let scales = scales.filter_map(|o| o.grade_scale.clone()).collect();
    let unmatched = unmatched(&sheet, &subjects);
    Ok(Joined { predictor, adjuster, subjects, unmatched, kinds, scales })
}

/// Whom the flow starts with: each patient with the plan of the first course, or each lesion.
fn starts<'c>(cohort: &'c Cohort<'_>, grain: Grain) -> Vec<(&'c GroupedPlan<'c>, Option<String>)> {
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

/// Plans that can be used come first, then those of earlier days.
fn order<'p>(plan: &'p GroupedPlan<'_>) -> (bool, bool, i64, &'p str) {
    let plan = &plan.row;
    let day = plan.day().unwrap_or(i64::MAX);
    (!plan.is_in_study(), !plan.is_measured(), day, plan.plan_id)
}

/// Lesions by all names that the sheet may use.
struct Lesions<'c> {
    by_id: BTreeMap<&'c str, &'c str>,
    by_label: BTreeMap<(&'c str, &'c str), Vec<&'c str>>,
}

impl<'c> Lesions<'c> {
    fn of(cohort: &'c Cohort<'c>) -> Self {
        let mut out = Self { by_id: BTreeMap::new(), by_label: BTreeMap::new() };
        for lesion in &cohort.lesions {
            let Some(plan) = cohort.plan(lesion.plan_id) else { continue };
            out.by_id.insert(lesion.lesion_id, plan.row.patient_id);
            let label = lesion.clinical_label.filter(|l| *l != lesion.structure);
            for name in label.into_iter().chain([lesion.structure]) {
                let key = (plan.row.patient_id, name);
                out.by_label.entry(key).or_default().push(lesion.lesion_id);
            }
        }
        out
    }

    /// The lesion that a row means.
    fn find(&self, outcome: &'c Outcome) -> Result<Option<&'c str>, &'static str> {
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

struct OutcomesOf<'c> {
    cohort: &'c Cohort<'c>,
    lesions: &'c Lesions<'c>,
    outcomes: &'c [Outcome],
    request: &'c Request,
}

impl<'c> OutcomesOf<'c> {
    fn subject(
        &self,
        plan: &GroupedPlan<'_>,
        lesion_id: Option<String>,
        predictor: &Predictor,
        adjuster: Option<&Predictor>,
    ) -> Subject {
        let mut died = false;
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
            let z = adjuster.map(value).transpose().map_err(|s| (Stage::Adjuster, s))?;
            let course = self.course(plan, lesion_id.as_deref())?;
            died = course.life.is_some_and(|(_, dead)| dead);
            course.long_enough(self.request.least_follow_up)?;
            let Course { event, time, life, .. } = course;
            Ok(Known { event, predictor: x, adjuster: z, time, life })
        };
        let state = state();
        Subject {
            patient_id: plan.row.patient_id.to_owned(),
            plan_id: plan.row.plan_id.to_owned(),
            lesion_id,
            group: plan.group.clone(),
            fractions: plan.row.fractions_planned,
            state,
            died,
        }
    }

    /// What the sheet says of a patient or lesion, in days from the treatment by `plan`.
    fn course(
        &self,
        plan: &GroupedPlan<'_>,
        lesion: Option<&str>,
    ) -> Result<Course, (Stage, String)> {
        let of_patient: Vec<&Outcome> =
            self.outcomes.iter().filter(|o| o.patient_id == plan.row.patient_id).collect();
        let own: Vec<&Outcome> = of_patient
            .iter()
            .copied()
            .filter(|o| match (lesion, self.lesions.find(o)) {
                (Some(lesion), Ok(Some(found))) => found == lesion,
                (Some(_), _) => false,
                (None, found) => found.is_ok(),
            })
            .collect();
        if own.is_empty() {
            return Err((Stage::Matched, "no row".to_owned()));
        }
        let death = self.request.event == DEATH;
        let rows = if death { &of_patient } else { &own };
        let of_event = rows.iter().filter(|o| o.event_type == self.request.event);
        let events: Vec<&&Outcome> = of_event.collect();
        let graded = self.graded(&events)?;
        if graded.is_empty() && own.iter().all(|o| o.event_type == LOST) {
            return Err((Stage::Outcome, "the sheet says lost".to_owned()));
        }
        let day = |o: &Outcome, d: Option<i64>| self.since_plan(plan, o, d);
        let earliest = graded.iter().filter_map(|o| day(o, o.day_event)).min();
        // An event without day could be the first.
        let all_dated = graded.iter().all(|o| day(o, o.day_event).is_some());
        let event = !graded.is_empty();
        let dead = of_patient.iter().any(|o| o.dead == Some(true) || o.event_type == DEATH);
        let contact = of_patient.iter().filter_map(|o| day(o, o.day_last_contact)).max();
        let deaths = of_patient.iter().filter(|o| o.event_type == DEATH);
        let day_death = deaths.filter_map(|o| day(o, o.day_event)).max();
        let end = if dead { day_death.or(contact) } else { contact };
        let imaging = own.iter().filter_map(|o| day(o, o.day_last_imaging)).max();
        let imaging = imaging.or_else(|| {
            let patient = of_patient.iter().filter(|o| o.lesion_id.is_none());
            patient.filter_map(|o| day(o, o.day_last_imaging)).max()
        });
        let seen = if death { end } else { imaging.or(end) };
        Ok(Course {
            event,
            seen,
            time: time(
                event,
                earliest.filter(|_| all_dated),
                (dead && !death).then_some(end),
                seen,
            ),
            life: end.map(|e| (real(e), dead)),
        })
    }

    /// The events that count.
    fn graded<'e>(&self, events: &[&&'e Outcome]) -> Result<Vec<&'e Outcome>, (Stage, String)> {
        let Some(least) = self.request.least_grade else {
            return Ok(events.iter().map(|o| **o).collect());
        };
        let enough = |o: &&&&'e Outcome| o.grade.is_some_and(|g| g >= least);
        let found: Vec<&Outcome> = events.iter().filter(enough).map(|o| **o).collect();
        if found.is_empty() && events.iter().any(|o| o.grade.is_none()) {
            return Err((Stage::Outcome, "an event without grade".to_owned()));
        }
        Ok(found)
    }

    /// A day of a row, counted from the treatment by `plan`: rows of a lesion count from its own
    /// plan, others from the patient's first course.
    fn since_plan(
        &self,
        plan: &GroupedPlan<'_>,
        outcome: &Outcome,
        day: Option<i64>,
    ) -> Option<i64> {
        let day = day?;
        let own = match self.lesions.find(outcome).ok()? {
            Some(lesion) => {
                let lesion = self.cohort.lesions.iter().find(|l| l.lesion_id == lesion)?;
                self.cohort.plan(lesion.plan_id)?
            }
            None => first_course(self.cohort, plan.row.patient_id)?,
        };
        if own.row.plan_id == plan.row.plan_id {
            return Some(day);
        }
        let shifted = day + own.row.day()? - plan.row.day()?;
        (shifted >= 0).then_some(shifted)
    }
}

fn first_course<'c>(cohort: &'c Cohort<'c>, patient: &str) -> Option<&'c GroupedPlan<'c>> {
    let plans = cohort.plans.iter().filter(|p| p.row.patient_id == patient);
    plans.min_by(|a, b| order(a).cmp(&order(b)))
}

/// When the observation ended and how; `death` holds the day of a death that is another event.
fn time(
    event: bool,
    day_event: Option<i64>,
    death: Option<Option<i64>>,
    seen: Option<i64>,
) -> Option<(f64, End)> {
    match (event, death) {
        (true, _) => Some((real(day_event?), End::Event)),
        (false, Some(day)) => Some((real(day?), End::Competing)),
        (false, None) => Some((real(seen?), End::Censored)),
    }
}

#[expect(clippy::cast_precision_loss, reason = "days of a life")]
const fn real(day: i64) -> f64 {
    day as f64
}

/// What became of somebody.
struct Course {
    event: bool,
    /// Last day on which the event would have been seen.
    seen: Option<i64>,
    time: Option<(f64, End)>,
    life: Option<(f64, bool)>,
}

impl Course {
    fn long_enough(&self, least: Option<i64>) -> Result<(), (Stage, String)> {
        let Some(least) = least.filter(|_| !self.event) else { return Ok(()) };
        match self.seen {
            Some(seen) if seen >= least => Ok(()),
            Some(_) if self.life.is_some_and(|(_, dead)| dead) => {
                Err((Stage::FollowUp, "died before".to_owned()))
            }
            Some(_) => Err((Stage::FollowUp, "followed for too short".to_owned())),
            None => Err((Stage::FollowUp, "no day of follow-up".to_owned())),
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
            let lesion = sheet.lesions.find(o);
            same && match &s.lesion_id {
                Some(own) => lesion == Ok(Some(own.as_str())),
                None => lesion.is_ok(),
            }
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
