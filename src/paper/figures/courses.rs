//! What happened to each patient: courses, events and death along the months since the first course.

use std::collections::{BTreeMap, BTreeSet};

use super::{Drawn, Source};
use crate::{counted, number, sheet, word};
use tidydose_figure::{Axis, Lane, Lanes, Look, MOST_LANES};
use tidydose_table::Cell;
use tidydose_table::run::CAUTION;
use tidydose_table::user::outcome_sheet::cells::MONTH;
use tidydose_table::user::outcomes::{DEATH, LOST, NONE, Outcome};

const COLUMNS: &[&str] = &["patient_id", "what", "months"];
const COURSE: &str = "course";

/// A patient; days since the first course.
#[derive(Debug, Clone, PartialEq, Default)]
struct Swimmer {
    courses: Vec<f64>,
    events: Vec<(String, f64)>,
    last: f64,
    dead: bool,
    /// Whether anything is told after the last course.
    followed: bool,
}

/// The figure; none without a plan that has a day.
pub(super) fn figure(source: &Source<'_>, outcomes: &[Outcome]) -> Option<Drawn> {
    let swimmers = swimmers(source, outcomes);
    if swimmers.is_empty() {
        return None;
    }
    let events: BTreeSet<&str> =
        swimmers.values().flat_map(|s| s.events.iter().map(|(name, _)| name.as_str())).collect();
    let names: Vec<&str> = std::iter::once(COURSE).chain(events.iter().copied()).collect();
    let look = |name: &str| Look(names.iter().position(|n| *n == name).unwrap_or(0));
    let mut order: Vec<&Swimmer> = swimmers.values().collect();
    // By length and not by pseudonym: the same plans give the same figure under any key.
    order.sort_by(|a, b| b.last.total_cmp(&a.last).then(a.courses.len().cmp(&b.courses.len())));
    order.truncate(MOST_LANES);
    let lane = |s: &&Swimmer| {
        let courses = s.courses.iter().map(|day| (COURSE, *day));
        let events = s.events.iter().map(|(name, day)| (name.as_str(), *day));
        Lane {
            from: 0.0,
            to: s.last / MONTH,
            marks: courses.chain(events).map(|(name, day)| (day / MONTH, look(name))).collect(),
            goes_on: s.followed && !s.dead,
        }
    };
    let last = order.iter().map(|s| s.last / MONTH).fold(1.0, f64::max);
    let caption = caption(source, &swimmers, outcomes.is_empty());
    let lanes = Lanes {
        title: "Courses of the patients over time".to_owned(),
        description: caption.clone(),
        x: Axis::months("Months since the first course", last),
        side: format!("Patients (n = {})", swimmers.len()),
        lanes: order.iter().map(lane).collect(),
        legend: names.iter().map(|n| (look(n), n.replace('_', " "))).collect(),
        foot: CAUTION.to_owned(),
    };
    Some(Drawn { name: "courses".to_owned(), svg: lanes.svg(), csv: table(&swimmers), caption })
}

fn caption(source: &Source<'_>, swimmers: &BTreeMap<&str, Swimmer>, alone: bool) -> String {
    let courses: usize = swimmers.values().map(|s| s.courses.len()).sum();
    let undated = source.places.values().map(|p| p.patient.as_str()).collect::<BTreeSet<_>>().len()
        - swimmers.len();
    let mut text = format!(
        "A line for each of {} from the first course on, with {} as marks.",
        counted(swimmers.len(), "patient"),
        counted(courses, "course")
    );
    if alone {
        text.push_str(" Without a sheet of outcomes lines end at the last course.");
    } else {
        text.push_str(
            " Further marks: events of the sheet, death among them; arrow: alive at the last contact. \
             Events without a day are not drawn.",
        );
    }
    text.push_str(&format!(
        " Left out: {} without a day of treatment.",
        counted(undated, "patient")
    ));
    text
}

fn swimmers<'s>(source: &'s Source<'_>, outcomes: &[Outcome]) -> BTreeMap<&'s str, Swimmer> {
    let mut days: BTreeMap<&str, BTreeSet<i64>> = BTreeMap::new();
    for plan in source.study.plans.iter().filter(|p| source.included.contains(p.plan_id)) {
        if let Some(day) = plan.day().filter(|_| !plan.patient_id.is_empty()) {
            days.entry(plan.patient_id).or_default().insert(day);
        }
    }
    let mut found = BTreeMap::new();
    for (patient, days) in &days {
        let first = days.first().copied().unwrap_or_default();
        let courses: Vec<f64> = days.iter().map(|day| since(*day, first)).collect();
        let last = courses.last().copied().unwrap_or_default();
        found.insert(*patient, Swimmer { courses, last, ..Swimmer::default() });
    }
    // Days of an outcome count from the first fraction of its own course.
    let start_of = |row: &Outcome| -> Option<f64> {
        let days = days.get(row.patient_id.as_str())?;
        let own = source.study.plans.iter().find(|p| Some(p.plan_id) == row.plan_id.as_deref());
        let start = own.and_then(|p| p.day()).or(days.first().copied())?;
        Some(since(start, *days.first()?))
    };
    for row in outcomes.iter().filter(|o| o.held_back.is_none()) {
        let (Some(start), Some(swimmer)) = (start_of(row), found.get_mut(row.patient_id.as_str()))
        else {
            continue;
        };
        swimmer.tell(row, start);
    }
    found
}

impl Swimmer {
    /// Adds what a row of the sheet tells, whose days begin at `start`.
    fn tell(&mut self, row: &Outcome, start: f64) {
        let day = |d: Option<i64>| d.map(|d| start + since(d, 0));
        let named = ![NONE, LOST].contains(&row.event_type.as_str());
        if let Some(when) = day(row.day_event).filter(|_| named) {
            let event = (row.event_type.clone(), when);
            if !self.events.contains(&event) {
                self.events.push(event);
            }
            self.reach(when);
        }
        for when in [day(row.day_last_imaging), day(row.day_last_contact)].into_iter().flatten() {
            self.reach(when);
        }
        let died = row.dead == Some(true) || row.event_type == DEATH;
        let death = day(row.day_last_contact).filter(|_| row.dead == Some(true));
        if let Some(when) = death.filter(|_| !self.events.iter().any(|(name, _)| name == DEATH)) {
            self.events.push((DEATH.to_owned(), when));
        }
        self.dead |= died;
    }

    fn reach(&mut self, when: f64) {
        self.last = self.last.max(when);
        self.followed = true;
    }
}

/// Days from one to the other.
#[expect(clippy::cast_precision_loss, reason = "days")]
fn since(day: i64, first: i64) -> f64 {
    (day - first) as f64
}

fn table(swimmers: &BTreeMap<&str, Swimmer>) -> Vec<u8> {
    let mut rows: Vec<Vec<Cell<'static>>> = Vec::new();
    for (patient, swimmer) in swimmers {
        let courses = swimmer.courses.iter().map(|day| (COURSE, *day));
        let events = swimmer.events.iter().map(|(name, day)| (name.as_str(), *day));
        let end = [("last known", swimmer.last)];
        for (what, day) in courses.chain(events).chain(end) {
            rows.push(vec![word(patient), word(what), number(day / MONTH)]);
        }
    }
    sheet(COLUMNS, rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_adds_its_event_and_the_last_contact_once() {
        let row = Outcome {
            event_type: "necrosis".to_owned(),
            day_event: Some(60),
            day_last_contact: Some(90),
            dead: Some(true),
            ..Outcome::default()
        };
        let mut swimmer = Swimmer { courses: vec![0.0, 30.0], last: 30.0, ..Swimmer::default() };
        swimmer.tell(&row, 30.0);
        swimmer.tell(&row, 30.0);
        assert_eq!(swimmer.events, [("necrosis".to_owned(), 90.0), (DEATH.to_owned(), 120.0)]);
        assert_eq!((swimmer.last, swimmer.dead, swimmer.followed), (120.0, true, true));
    }
}
