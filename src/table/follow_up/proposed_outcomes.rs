//! `outcomes_proposed.csv`: what the images of follow-ups say, as rows of an outcome sheet that
//! somebody may take over. Every row is held back until a person empties that cell, so that no
//! number rests on a proposal; the days of both scans between which something happened stand beside
//! it.

use std::path::Path;

use super::{Drawn, Identity, Patient, patients};
use crate::Cell;
use crate::study::Study;
use crate::user::outcomes::COLUMNS;
use crate::write_csv::write_records;
use crate::write_file::{WriteError, remove_file, replace_file};
use tidydose_metrics::follow_up::UNDECIDED;
use tidydose_metrics::follow_up::response::{RESPONSES_BY, Readings, ResponseDefinition};

/// The file.
pub(super) const FILE: &str = "outcomes_proposed.csv";

/// A treated lesion grows again.
const LOCAL: &str = "local_progression";
/// A lesion that was not there before.
const DISTANT: &str = "new_lesion";
/// Why every row stays out of all numbers.
const HELD_BACK: &str = "proposed from images alone: look at the patient's record, correct the row, \
                         then empty this cell";
/// The same for a row that bounds or decisions leave open.
const OPEN: &str = "images leave it open: decide from the patient's record, then empty this cell";

/// One row of the sheet.
struct Proposal {
    patient_id: String,
    plan_id: Option<String>,
    lesion_id: Option<String>,
    event_type: &'static str,
    day_event: Option<i64>,
    day_last_imaging: i64,
    open: bool,
    note: String,
}

/// Writes the proposals into the study; without a follow-up the file goes.
///
/// # Errors
/// When the file cannot be written or removed.
pub fn write_proposed_outcomes(study: &Study<'_>, folder: &Path) -> Result<(), WriteError> {
    let mut rows = Vec::new();
    for patient in patients(study) {
        rows.extend(lesions(&patient));
        rows.extend(new_lesions(&patient));
    }
    let path = folder.join(FILE);
    if rows.is_empty() {
        return remove_file(&path);
    }
    rows.sort_by(|a, b| {
        (&a.patient_id, &a.plan_id, &a.lesion_id).cmp(&(&b.patient_id, &b.plan_id, &b.lesion_id))
    });
    replace_file(&path, |output| write_records(COLUMNS, rows.iter().map(cells), output))
}

fn cells(row: &Proposal) -> Vec<Cell<'_>> {
    let text = |text: Option<&str>| text.map_or(Cell::Missing, |t| Cell::Text(t.to_owned().into()));
    let whole = |n: Option<i64>| n.map_or(Cell::Missing, Cell::Integer);
    COLUMNS
        .iter()
        .map(|column| match *column {
            "patient_id" => text(Some(&row.patient_id)),
            "plan_id" => text(row.plan_id.as_deref()),
            "lesion_id" => text(row.lesion_id.as_deref()),
            "event_type" => text(Some(row.event_type)),
            "day_event" => whole(row.day_event),
            "basis" => text(row.day_event.map(|_| "imaging")),
            "day_last_imaging" => whole(Some(row.day_last_imaging)),
            "held_back" => text(Some(if row.open { OPEN } else { HELD_BACK })),
            "source_note_code" => text(Some(&row.note)),
            _ => Cell::Missing,
        })
        .collect()
}

/// One row for each treated lesion that was drawn again: the first time at which it progressed, else
/// that nothing happened until it was last seen.
fn lesions(patient: &Patient<'_>) -> Vec<Proposal> {
    // The imaging part of RANO-BM for one lesion.
    let Some(definition) = RESPONSES_BY.first() else { return Vec::new() };
    let mut rows = Vec::new();
    for (id, treated) in &patient.drawn {
        let times = patient.times_of(id);
        let (Some(first), Some(last)) = (treated.day, times.last().and_then(|d| d.day)) else {
            continue;
        };
        if treated.entry.measured.case.is_follow_up() || times.len() < 2 {
            continue;
        }
        let looks: Vec<Look> =
            times.iter().filter_map(|d| look(patient, id, d, definition)).collect();
        let progressed = looks.iter().position(|l| l.response == "progressive");
        let event = progressed.and_then(|at| looks.get(at));
        let before = progressed.and_then(|at| at.checked_sub(1)).and_then(|at| looks.get(at));
        let until = progressed.map_or(looks.len(), |at| at);
        let open = looks.iter().take(until).any(|l| l.response == UNDECIDED);
        rows.push(Proposal {
            patient_id: treated.entry.measured.patient().unwrap_or_default().to_owned(),
            plan_id: None,
            lesion_id: Some(id.clone()),
            event_type: if event.is_some() { LOCAL } else { "none" },
            day_event: event.map(|l| l.day - first),
            day_last_imaging: last - first,
            open,
            note: event.map_or_else(String::new, |now| {
                let then = before.map_or(0, |l| l.day - first);
                format!("{}: between day {then} and day {}", definition.word, now.day - first)
            }),
        });
    }
    rows
}

/// What one time says of one lesion.
struct Look {
    day: i64,
    response: &'static str,
}

fn look(
    patient: &Patient<'_>,
    treated_id: &str,
    drawn: &Drawn<'_>,
    definition: &ResponseDefinition,
) -> Option<Look> {
    let day = drawn.day.filter(|_| drawn.entry.measured.case.is_follow_up())?;
    if drawn.entry.decision.and_then(|d| d.recurrence) == Some(true) {
        return Some(Look { day, response: "progressive" });
    }
    let before = patient.before(treated_id, day, super::Sizes::longest);
    let readings = before.zip(drawn.sizes.longest()).map(|(before, now)| Readings {
        baseline: before.baseline,
        nadir: before.nadir,
        now,
        growth: now.minus(before.nadir),
    });
    Some(Look { day, response: readings.map_or(UNDECIDED, |r| definition.response(&r, false)) })
}

/// One row for each plan after which a new lesion was seen, the first one; else that there was none.
fn new_lesions(patient: &Patient<'_>) -> Vec<Proposal> {
    let mut rows = Vec::new();
    for (number, (treated, plan)) in patient.plans.iter().enumerate() {
        // Until the next treatment: what appears later belongs to that one.
        let next = patient.plans.get(number + 1).map(|(day, _)| *day);
        let looks: Vec<i64> = patient
            .follow_ups
            .iter()
            .map(|(day, _)| *day)
            .filter(|day| day > treated && next.is_none_or(|next| *day <= next))
            .collect();
        let Some(last) = looks.iter().max().copied() else { continue };
        let in_time = |d: &&Drawn<'_>| d.day.is_some_and(|day| looks.contains(&day));
        let later = || patient.drawn.values().filter(in_time);
        let is_first =
            |d: &&Drawn<'_>| matches!(&d.identity, Identity::New(id) if *id == d.entry.id);
        let event = later().filter(is_first).filter_map(|d| d.day).min();
        let open = later()
            .any(|d| d.entry.measured.case.is_follow_up() && d.identity == Identity::Undecided);
        rows.push(Proposal {
            patient_id: plan.patient.as_ref().map_or_else(String::new, ToString::to_string),
            plan_id: Some(plan.id.to_string()),
            lesion_id: None,
            event_type: if event.is_some() { DISTANT } else { "none" },
            day_event: event.map(|day| day - treated),
            day_last_imaging: last - treated,
            open,
            note: event.map_or_else(String::new, |day| {
                let before = looks.iter().filter(|d| **d < day).max().map_or(0, |d| d - treated);
                format!("between day {before} and day {}", day - treated)
            }),
        });
    }
    rows
}
