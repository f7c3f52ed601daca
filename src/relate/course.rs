//! What the sheet says of one patient, plan or lesion, in days from its treatment. An event belongs to
//! the course that precedes it: a later course ends the follow-up of the first, since its dose may have
//! caused what comes after. Of a lesion only another course of the same lesion does so.

use super::join::{Lesions, Stage};
use super::study::{Cohort, GroupedPlan};
use super::words::counted;
use super::{Grain, Request};
use tidydose_statistics::survival::End;
use tidydose_table::user::outcomes::{DEATH, LOST, Outcome};

/// What became of somebody.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Course {
    pub(super) event: bool,
    /// Last day on which the event would have been seen.
    pub(super) seen: Option<i64>,
    pub(super) time: Option<(f64, End)>,
    pub(super) life: Option<(f64, bool)>,
    /// Whether a later course ended the follow-up.
    pub(super) by_course: bool,
}

/// The sheet, with the study it is about.
pub(super) struct OutcomesOf<'c> {
    pub(super) cohort: &'c Cohort<'c>,
    pub(super) lesions: &'c Lesions<'c>,
    pub(super) outcomes: &'c [Outcome],
    pub(super) request: &'c Request,
}

/// A subject: its plan, and the lesion where it is one.
#[derive(Clone, Copy)]
pub(super) struct Of<'s> {
    pub(super) plan: &'s GroupedPlan<'s>,
    pub(super) lesion: Option<&'s str>,
}

impl<'c> OutcomesOf<'c> {
    /// What the sheet says of a subject.
    pub(super) fn course(&self, of: Of<'_>) -> Result<Course, (Stage, String)> {
        let rows = || self.outcomes.iter().filter(|o| o.patient_id == of.plan.row.patient_id);
        let of_patient: Vec<&Outcome> = rows().filter(|o| o.held_back.is_none()).collect();
        let own: Vec<&Outcome> =
            of_patient.iter().copied().filter(|o| self.is_own(o, of)).collect();
        if own.is_empty() {
            let held = rows().filter(|o| self.is_own(o, of)).find_map(|o| o.held_back.as_ref());
            return Err(match held {
                Some(reason) => (Stage::Outcome, format!("held back: {reason}")),
                None => (Stage::Matched, "no row".to_owned()),
            });
        }
        let next = self.next_course(of);
        let events = self.graded(&self.events(of, &of_patient, next)?)?;
        if events.is_empty() {
            self.is_known(of, &own)?;
        }
        let day = |o: &Outcome, d: Option<i64>| self.since_plan(of.plan, o, d);
        let earliest = events.iter().filter_map(|o| day(o, o.day_event)).min();
        // An event without day could be the first.
        let all_dated = events.iter().all(|o| day(o, o.day_event).is_some());
        let event = !events.is_empty();
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
        let death = self.request.event == DEATH;
        let seen = if death { end } else { imaging.or(end) };
        let earliest = earliest.filter(|_| all_dated);
        let time = time(event, earliest, (dead && !death).then_some(end), seen);
        let ends =
            Course { event, seen, time, life: end.map(|e| (real(e), dead)), by_course: false };
        Ok(ends.until(next))
    }

    /// What is held back, and which events follow a later course than the plan of their row.
    pub(super) fn notes(&self) -> Vec<String> {
        let held = self.outcomes.iter().filter(|o| o.held_back.is_some()).count();
        let moved = self.outcomes.iter().filter(|o| self.is_moved(o)).count();
        let mut notes = Vec::new();
        if held > 0 {
            notes.push(format!(
                "held back since the sheet contradicts itself: {} (held_back in outcomes_read.csv)",
                counted(held, "row")
            ));
        }
        if moved > 0 {
            let event = &self.request.event;
            notes.push(format!(
                "{} with {event} after a later course of the patient than the plan that is named there: \
                 the event is told of that course",
                counted(moved, "row")
            ));
        }
        notes
    }

    fn is_moved(&self, o: &Outcome) -> bool {
        let whole = o.held_back.is_none() && o.lesion_id.is_none();
        let plan = o.plan_id.as_deref().and_then(|p| self.cohort.plan(p));
        let next = plan.and_then(|plan| self.next_course(Of { plan, lesion: None }));
        let after = next.zip(o.day_event).is_some_and(|(next, day)| day > next);
        whole && after && o.event_type == self.request.event
    }

    /// Whether a row is about a subject.
    pub(super) fn is_own(&self, o: &Outcome, of: Of<'_>) -> bool {
        match (of.lesion, self.lesions.find(o)) {
            (Some(lesion), Ok(Some(found))) => found == lesion,
            (Some(_), _) | (None, Err(_)) => false,
            (None, Ok(_)) if self.request.grain == Grain::Plan => self.is_here(o, of),
            (None, Ok(_)) => true,
        }
    }

    /// Whether a row is about the plan, or about the patient as a whole.
    fn is_here(&self, o: &Outcome, of: Of<'_>) -> bool {
        self.plan_of(o).is_none_or(|plan| plan == of.plan.row.plan_id)
    }

    /// The plan that a row names, or that its lesion belongs to.
    fn plan_of(&self, o: &'c Outcome) -> Option<&'c str> {
        match self.lesions.find(o) {
            Ok(Some(lesion)) => self.lesions.plan(lesion),
            _ => o.plan_id.as_deref(),
        }
    }

    /// Rows of the event that belong to a subject.
    fn events<'o>(
        &self,
        of: Of<'_>,
        of_patient: &[&'o Outcome],
        next: Option<i64>,
    ) -> Result<Vec<&'o Outcome>, (Stage, String)> {
        let mut found = Vec::new();
        let later = next.is_some();
        let earlier = self.has_earlier(of);
        for o in of_patient.iter().copied().filter(|o| o.event_type == self.request.event) {
            let own = match (of.lesion, self.request.event == DEATH) {
                (_, true) => true,
                (Some(_), false) => self.is_own(o, of),
                (None, false) => self.lesions.find(o).is_ok(),
            };
            if !own {
                continue;
            }
            let belongs = match self.since_plan(of.plan, o, o.day_event) {
                // What was there on the day of a course was there before it.
                Some(day) => next.is_none_or(|n| day <= n) && (day > 0 || !earlier),
                // It lies before this plan.
                None if o.day_event.is_some() => false,
                None if !later && !earlier => true,
                None => match self.plan_of(o) {
                    Some(plan) => plan == of.plan.row.plan_id,
                    None => {
                        let reason = "an event without day, of several courses";
                        return Err((Stage::Outcome, reason.to_owned()));
                    }
                },
            };
            if belongs {
                found.push(o);
            }
        }
        Ok(found)
    }

    /// Whether the rows of somebody without event know that there was none.
    fn is_known(&self, of: Of<'_>, own: &[&Outcome]) -> Result<(), (Stage, String)> {
        let here: Vec<&&Outcome> = own.iter().filter(|o| self.is_here(o, of)).collect();
        if own.iter().all(|o| o.event_type == LOST) {
            return Err((Stage::Outcome, "the sheet says lost".to_owned()));
        }
        let unknown = here.iter().any(|o| o.event_unknown.contains(&self.request.event));
        if unknown {
            return Err((Stage::Outcome, "the sheet does not say whether".to_owned()));
        }
        Ok(())
    }

    /// The events that count.
    fn graded<'e>(&self, events: &[&'e Outcome]) -> Result<Vec<&'e Outcome>, (Stage, String)> {
        let Some(least) = self.request.least_grade else { return Ok(events.to_vec()) };
        let enough = |o: &&&'e Outcome| o.grade.is_some_and(|g| g >= least);
        let found: Vec<&Outcome> = events.iter().filter(enough).copied().collect();
        if found.is_empty() && events.iter().any(|o| o.grade.is_none()) {
            return Err((Stage::Outcome, "an event without grade".to_owned()));
        }
        Ok(found)
    }

    /// A day of a row, counted from the treatment by `plan`: rows of a lesion or a plan count from
    /// their own plan, others from the patient's first course. Absent before the plan.
    pub(super) fn since_plan(
        &self,
        plan: &GroupedPlan<'_>,
        outcome: &'c Outcome,
        day: Option<i64>,
    ) -> Option<i64> {
        let day = day?;
        self.lesions.find(outcome).ok()?;
        let own = match self.plan_of(outcome) {
            Some(own) => self.cohort.plan(own)?,
            None => first_course(self.cohort, plan.row.patient_id)?,
        };
        if own.row.plan_id == plan.row.plan_id {
            return Some(day);
        }
        let shifted = day + own.row.day()? - plan.row.day()?;
        (shifted >= 0).then_some(shifted)
    }

    /// Days from the plan to the course that ends its follow-up.
    pub(super) fn next_course(&self, of: Of<'_>) -> Option<i64> {
        let own = of.plan.row.day()?;
        let days = self.cohort.plans.iter().filter(|p| p.row.patient_id == of.plan.row.patient_id);
        let days = days.filter(|p| match of.lesion {
            Some(lesion) => self.treats_again(lesion, p.row.plan_id),
            None => p.row.is_in_study() && is_later(p, of.plan),
        });
        days.filter_map(|p| Some(p.row.day()? - own)).filter(|d| *d > 0).min()
    }

    fn treats_again(&self, lesion: &str, plan: &str) -> bool {
        let mut own = self.cohort.earlier.iter().filter(|(_, before)| **before == lesion);
        own.any(|(later, _)| self.lesions.plan(later) == Some(plan))
    }

    fn has_earlier(&self, of: Of<'_>) -> bool {
        if let Some(lesion) = of.lesion {
            return self.cohort.earlier.contains_key(lesion);
        }
        let plans = self.cohort.plans.iter().filter(|p| p.row.patient_id == of.plan.row.patient_id);
        plans.into_iter().any(|p| p.row.is_in_study() && is_later(of.plan, p))
    }
}

/// Whether a plan is of a later course than another.
fn is_later(plan: &GroupedPlan<'_>, than: &GroupedPlan<'_>) -> bool {
    let courses = plan.row.course.zip(than.row.course);
    let days = plan.row.day().zip(than.row.day());
    days.is_some_and(|(a, b)| a > b) && courses.is_none_or(|(a, b)| a > b)
}

pub(super) fn first_course<'c>(
    cohort: &'c Cohort<'c>,
    patient: &str,
) -> Option<&'c GroupedPlan<'c>> {
    let plans = cohort.plans.iter().filter(|p| p.row.patient_id == patient);
    plans.min_by(|a, b| order(a).cmp(&order(b)))
}

/// Plans that can be used come first, then those of earlier days.
pub(super) fn order<'p>(plan: &'p GroupedPlan<'_>) -> (bool, bool, i64, &'p str) {
    let plan = &plan.row;
    let day = plan.day().unwrap_or(i64::MAX);
    (!plan.is_in_study(), !plan.is_measured(), day, plan.plan_id)
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
pub(super) const fn real(day: i64) -> f64 {
    day as f64
}

impl Course {
    /// Ends with a later course, where there is one before any other end.
    fn until(self, next: Option<i64>) -> Self {
        let Some(next) = next.filter(|_| !self.event) else { return self };
        // Whoever was treated again was seen then.
        let seen = Some(self.seen.map_or(next, |s| s.min(next)));
        let longer = self.time.is_none_or(|(days, _)| days > real(next));
        let time = if longer { Some((real(next), End::Censored)) } else { self.time };
        Self { seen, time, by_course: longer, ..self }
    }

    pub(super) fn long_enough(&self, least: Option<i64>) -> Result<(), (Stage, String)> {
        let Some(least) = least.filter(|_| !self.event) else { return Ok(()) };
        match self.seen {
            Some(seen) if seen >= least => Ok(()),
            Some(_) if self.by_course => Err((Stage::FollowUp, "treated again before".to_owned())),
            Some(_) if self.life.is_some_and(|(_, dead)| dead) => {
                Err((Stage::FollowUp, "died before".to_owned()))
            }
            Some(_) => Err((Stage::FollowUp, "followed for too short".to_owned())),
            None => Err((Stage::FollowUp, "no day of follow-up".to_owned())),
        }
    }
}
