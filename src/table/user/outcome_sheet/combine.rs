//! Rows of a sheet held against each other: what cannot have happened in that order is marked and held
//! back, the rest becomes the tidy sheet, one row for each event, and covariates, each at the coarsest
//! grain at which the sheet does not contradict itself.

use std::collections::{BTreeMap, BTreeSet};

use super::account::{AccountRow, Became};
use super::covariates::{Covariate, Grain, Values};
use super::map::Meaning;
use super::read::{AllRead, EventRead, Place, RowRead, Sheet, Told, by_patient};
use crate::user::outcomes::{DEATH, LOST, NONE, Outcome};

/// A sheet that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetRead {
    /// The tidy rows; those that are held back say why.
    pub outcomes: Vec<Outcome>,
    /// What else is known.
    pub covariates: Vec<Covariate>,
    /// A row for each cell.
    pub account: Vec<AccountRow>,
    /// What one row of the sheet is.
    pub grain: Grain,
    /// Rows of the sheet.
    pub rows: usize,
    /// Rows without partner in the study.
    pub without_partner: usize,
    /// Rows that are held back, each with its reason.
    pub held: Vec<(usize, String)>,
}

/// Puts together what was read.
pub(super) fn combined(sheet: &Sheet<'_>, mut all: AllRead) -> SheetRead {
    for row in &mut all.rows {
        row.held = row.held.take().or_else(|| impossible(row));
    }
    hold_deaths(&mut all.rows);
    hold_repeated(&mut all.rows);
    let held: BTreeMap<usize, String> =
        all.rows.iter().filter_map(|r| Some((r.line, r.held.clone()?))).collect();
    for cell in &mut all.account {
        let about = ["covariate", "patient", "plan", "lesion", "treatment_date"];
        let outcome = !about.contains(&cell.meaning);
        if let (Some(reason), Became::Used, true) = (held.get(&cell.row), cell.became, outcome) {
            cell.set(Became::HeldBack, reason.clone());
        }
    }
    let covariates = covariates(sheet, &all.told, &mut all.account);
    let places: BTreeSet<usize> = all.rows.iter().map(|r| r.line).collect();
    let rows = sheet.grid.rows.len();
    let has = |of: fn(&Place) -> bool| all.rows.iter().any(|r| of(&r.place));
    let grain = if has(|p| p.lesion.is_some()) {
        Grain::Lesion
    } else if has(|p| p.plan.is_some()) {
        Grain::Plan
    } else {
        Grain::Patient
    };
    SheetRead {
        outcomes: tidy(sheet, &all.rows),
        covariates,
        grain,
        rows,
        without_partner: rows - places.len(),
        held: held.into_iter().collect(),
        account: all.account,
    }
}

/// Why the moments of a row cannot be true together.
fn impossible(row: &RowRead) -> Option<String> {
    let ends = [("last imaging", row.imaging), ("last contact", row.contact), ("death", row.death)];
    for (what, day) in ends {
        if day.is_some_and(|d| d < 0) {
            return Some(format!("{what} before the treatment"));
        }
    }
    let after = |a: Option<i64>, b: Option<i64>| a.zip(b).is_some_and(|(a, b)| a > b);
    let dead = row.death.or(row.contact.filter(|_| row.dead == Some(true)));
    for event in &row.events {
        let what = event.name.replace('_', " ");
        // What was found without images may be later than the last of them.
        let on_images = !matches!(event.basis.as_deref(), Some("clinical" | "biopsy"));
        if event.day.is_some_and(|d| d < 0) {
            return Some(format!("{what} before the treatment"));
        }
        if after(event.day, dead) && event.name != DEATH {
            return Some(format!("{what} after death"));
        }
        if after(event.day, row.contact) {
            return Some(format!("{what} after the last contact"));
        }
        if on_images && event.name != DEATH && after(event.day, row.imaging) {
            return Some(format!("{what} after the last imaging"));
        }
    }
    if after(row.imaging, dead) {
        return Some("last imaging after death".to_owned());
    }
    if after(row.contact, row.death) {
        return Some("last contact after death".to_owned());
    }
    after(row.imaging, row.contact).then(|| "last imaging after the last contact".to_owned())
}

/// A moment of a row as a day of the study.
fn absolute(row: &RowRead, day: Option<i64>) -> Option<i64> {
    Some(row.place.base? + day?)
}

/// Of one patient, death is one day, and nothing comes after it.
fn hold_deaths(rows: &mut [RowRead]) {
    let mut reasons: Vec<(usize, String)> = Vec::new();
    for own in by_patient(rows).values() {
        let live: Vec<usize> = own.iter().copied().filter(|r| rows[*r].held.is_none()).collect();
        let dead = live.iter().filter(|r| rows[**r].dead == Some(true));
        let dead: Vec<usize> = dead.copied().collect();
        let exact: BTreeSet<i64> =
            dead.iter().filter_map(|r| absolute(&rows[*r], rows[*r].death)).collect();
        let lines = |list: &[usize]| {
            list.iter().map(|r| rows[*r].line.to_string()).collect::<Vec<_>>().join(", ")
        };
        if exact.len() > 1 {
            let words = format!("two days of death (rows {})", lines(&dead));
            reasons.extend(dead.iter().map(|r| (*r, words.clone())));
            continue;
        }
        let implied = dead.iter().filter_map(|r| absolute(&rows[*r], rows[*r].contact)).max();
        let Some(death) = exact.first().copied().or(implied) else { continue };
        let later = |row: &RowRead| {
            let moments = row.events.iter().map(|e| e.day).chain([row.imaging, row.contact]);
            moments.filter_map(|day| absolute(row, day)).any(|day| day > death)
        };
        let after: Vec<usize> = live.iter().copied().filter(|r| later(&rows[*r])).collect();
        if !after.is_empty() {
            let words = format!(
                "known of after death (dead in row {}, later in row {})",
                lines(&dead),
                lines(&after)
            );
            reasons.extend(dead.iter().chain(&after).map(|r| (*r, words.clone())));
        }
    }
    for (row, reason) in reasons {
        rows[row].held.get_or_insert(reason);
    }
}

type Subject = (String, Option<usize>, Option<String>);

fn subject(row: &RowRead) -> Subject {
    (row.place.patient.clone(), row.place.plan, row.place.lesion.clone())
}

/// What makes rows the same: the subject, and the kind and day of the event, where there is one.
type EventKey = (Subject, Option<(String, Option<i64>)>);

/// The same subject twice says the same event once, and never something and nothing.
fn hold_repeated(rows: &mut [RowRead]) {
    let mut seen: BTreeMap<EventKey, usize> = BTreeMap::new();
    let mut reasons: Vec<(usize, String)> = Vec::new();
    for (at, row) in rows.iter().enumerate().filter(|(_, r)| r.held.is_none()) {
        let told: Vec<&EventRead> = row.events.iter().filter(|e| e.state == Some(true)).collect();
        let keys: Vec<Option<(String, Option<i64>)>> = match told.as_slice() {
            [] => vec![None],
            told => told.iter().map(|e| Some((e.name.clone(), e.day))).collect(),
        };
        for key in keys {
            if let Some(first) = seen.insert((subject(row), key), row.line) {
                reasons.push((at, format!("row {first} says the same of this subject")));
            }
        }
    }
    let quiet: BTreeMap<Subject, usize> = seen
        .iter()
        .filter(|((_, key), _)| key.is_none())
        .map(|((subject, _), line)| (subject.clone(), *line))
        .collect();
    for (at, row) in rows.iter().enumerate().filter(|(_, r)| r.held.is_none()) {
        let loud = row.events.iter().any(|e| e.state == Some(true));
        if let Some(line) = quiet.get(&subject(row)).filter(|line| loud && **line != row.line) {
            reasons.push((at, format!("row {line} says that nothing happened to this subject")));
        }
    }
    for (row, reason) in reasons {
        rows[row].held.get_or_insert(reason);
    }
}

fn tidy(sheet: &Sheet<'_>, rows: &[RowRead]) -> Vec<Outcome> {
    let tells = sheet.map.iter().any(|m| {
        let meaning = m.meaning.filter(|m| *m != Meaning::TreatmentDate);
        meaning.is_some_and(|m| {
            m.is_moment() || m.is_of_event() || [Meaning::Dead, Meaning::EventType].contains(&m)
        })
    });
    if !tells {
        return Vec::new();
    }
    let mut out = Vec::new();
    for row in rows {
        out.extend(of_row(sheet, row));
    }
    out.extend(by_patient(rows).values().filter_map(|own| death(sheet, rows, own)));
    same_ends(&mut out);
    out
}

fn base(sheet: &Sheet<'_>, row: &RowRead) -> Outcome {
    let plan = row.place.plan.and_then(|p| sheet.facts.plans.get(p));
    Outcome {
        row: row.line,
        patient_id: row.place.patient.clone(),
        plan_id: plan.map(|p| p.plan_id.clone()),
        lesion_id: row.place.lesion.clone(),
        day_last_imaging: row.imaging,
        day_last_contact: if row.dead == Some(true) {
            row.death.or(row.contact)
        } else {
            row.contact
        },
        dead: row.dead,
        held_back: row.held.clone(),
        ..Outcome::default()
    }
}

fn of_row(sheet: &Sheet<'_>, row: &RowRead) -> Vec<Outcome> {
    let unknown: Vec<String> =
        row.events.iter().filter(|e| e.state.is_none()).map(|e| e.name.clone()).collect();
    let base = Outcome { event_unknown: unknown, ..base(sheet, row) };
    let told = row.events.iter().filter(|e| e.state == Some(true) && e.name != DEATH);
    let mut out: Vec<Outcome> = told
        .map(|e| Outcome {
            event_type: e.name.clone(),
            day_event: e.day,
            grade: e.grade,
            grade_scale: e.scale.clone(),
            basis: e.basis.clone(),
            symptomatic: e.symptomatic,
            ..base.clone()
        })
        .collect();
    let only_death = row.events.iter().any(|e| e.name == DEATH);
    if out.is_empty() && !(only_death && row.held.is_none()) {
        let event_type = if row.lost { LOST } else { NONE }.to_owned();
        out.push(Outcome { event_type, ..base });
    }
    out
}

/// The death of a patient, in the row that knows its day best.
fn death(sheet: &Sheet<'_>, rows: &[RowRead], own: &[usize]) -> Option<Outcome> {
    let day = |row: &RowRead| {
        let told = row.events.iter().find(|e| e.name == DEATH).and_then(|e| e.day);
        row.death.or(told).or(row.contact)
    };
    let dead = own.iter().map(|r| &rows[*r]).filter(|r| r.dead == Some(true) && r.held.is_none());
    let best = dead.max_by_key(|r| (r.death.is_some(), absolute(r, day(r))))?;
    let day = day(best);
    Some(Outcome {
        lesion_id: None,
        day_last_imaging: None,
        event_type: DEATH.to_owned(),
        day_event: day,
        day_last_contact: day.or(best.contact),
        ..base(sheet, best)
    })
}

/// All rows of a subject have the same ends, the latest that any of them tells.
fn same_ends(rows: &mut [Outcome]) {
    type Ends = (Option<i64>, Option<i64>, Option<bool>);
    let key = |o: &Outcome| (o.patient_id.clone(), o.plan_id.clone(), o.lesion_id.clone());
    let mut ends: BTreeMap<_, Ends> = BTreeMap::new();
    for o in rows.iter().filter(|o| o.held_back.is_none()) {
        let own = ends.entry(key(o)).or_default();
        own.0 = own.0.max(o.day_last_imaging);
        own.1 = own.1.max(o.day_last_contact);
        own.2 = own.2.max(o.dead);
    }
    for o in rows.iter_mut().filter(|o| o.held_back.is_none()) {
        if let Some((imaging, contact, dead)) = ends.get(&key(o)) {
            (o.day_last_imaging, o.day_last_contact, o.dead) = (*imaging, *contact, *dead);
        }
    }
}

/// The covariates of a sheet.
fn covariates(sheet: &Sheet<'_>, told: &[Told], account: &mut [AccountRow]) -> Vec<Covariate> {
    let mut out = Vec::new();
    for (at, row) in sheet.map.iter().enumerate() {
        if row.meaning != Some(Meaning::Covariate) {
            continue;
        }
        let own: Vec<&Told> = told.iter().filter(|t| t.column == at).collect();
        let grains = [Grain::Patient, Grain::Plan, Grain::Lesion];
        let agree = |grain: &Grain| conflicts(&own, *grain, sheet).is_some_and(|c| c.is_empty());
        let finest = |grain: &&Grain| conflicts(&own, **grain, sheet).is_some();
        let grain = grains.iter().find(|g| agree(g)).or_else(|| grains.iter().rev().find(finest));
        let grain = grain.copied().unwrap_or(Grain::Patient);
        let bad = conflicts(&own, grain, sheet).unwrap_or_default();
        let name = super::cells::slug(if row.of.is_empty() { &row.column } else { &row.of });
        let mut numbers = BTreeMap::new();
        let mut levels = BTreeMap::new();
        let mut spelling: BTreeMap<String, String> = BTreeMap::new();
        for t in own {
            let Some(key) = key_of(t, grain, sheet) else { continue };
            if bad.contains(&key) {
                let words = format!("rows of one {} differ", grain.word());
                account[t.account].set(Became::HeldBack, words);
                continue;
            }
            // Letter case does not make another level.
            let first = spelling.entry(t.text.to_lowercase()).or_insert_with(|| t.text.clone());
            match t.number {
                Some(number) => numbers.insert(key, number).is_some(),
                None => levels.insert(key, first.clone()).is_some(),
            };
        }
        let is_number = row.form.is_some_and(|f| f.is_date() || f == super::map::Form::Number);
        let values = if is_number { Values::Numbers(numbers) } else { Values::Levels(levels) };
        out.push(Covariate { name, column: row.column.clone(), grain, values });
    }
    out
}

fn key_of(told: &Told, grain: Grain, sheet: &Sheet<'_>) -> Option<String> {
    match grain {
        Grain::Patient => Some(told.place.patient.clone()),
        Grain::Plan => Some(sheet.facts.plans.get(told.place.plan?)?.plan_id.clone()),
        Grain::Lesion => told.place.lesion.clone(),
    }
}

/// Subjects of which rows differ; absent where rows do not name subjects of this grain.
fn conflicts(told: &[&Told], grain: Grain, sheet: &Sheet<'_>) -> Option<BTreeSet<String>> {
    let mut first: BTreeMap<String, String> = BTreeMap::new();
    let mut bad = BTreeSet::new();
    for t in told {
        let key = key_of(t, grain, sheet)?;
        let text = t.number.map_or_else(|| t.text.to_lowercase(), |n| n.to_string());
        if *first.entry(key.clone()).or_insert_with(|| text.clone()) != text {
            bad.insert(key);
        }
    }
    Some(bad)
}
