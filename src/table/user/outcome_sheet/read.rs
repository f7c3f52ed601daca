//! One row of a department's sheet after the other, read as the map says: whom it is about, which events
//! it tells, until when somebody looked. What cannot be read is told for its cell and is not guessed;
//! what several rows say together is looked at afterwards.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::account::{AccountRow, Became};
use super::cells::{self, DateRead};
use super::facts::Facts;
use super::grid::{Grid, GridRow};
use super::map::{Form, MapRow, Meaning};
use super::propose::grade;
use crate::user::outcomes::{BASES, DEATH, LOST, NONE};
use tidydose_geometry::units::typed;

/// Whom a row is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Place {
    pub(super) patient: String,
    /// Place among the plans, where the row tells it.
    pub(super) plan: Option<usize>,
    pub(super) lesion: Option<String>,
    treated: Option<NaiveDate>,
    /// Day of the study that durations of the row count from; absent when it is not known.
    origin: Option<i64>,
    /// Day of the study that days of the tidy sheet count from.
    pub(super) base: Option<i64>,
}

/// An event of a row.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct EventRead {
    pub(super) name: String,
    /// Whether it happened; absent when that is not known.
    pub(super) state: Option<bool>,
    pub(super) day: Option<i64>,
    pub(super) grade: Option<i64>,
    pub(super) scale: Option<String>,
    pub(super) basis: Option<String>,
    pub(super) symptomatic: Option<bool>,
    /// Until when it was looked for, where its own column says so.
    looked: Option<i64>,
}

/// What a row says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct RowRead {
    pub(super) line: usize,
    pub(super) place: Place,
    pub(super) events: Vec<EventRead>,
    pub(super) lost: bool,
    pub(super) imaging: Option<i64>,
    pub(super) contact: Option<i64>,
    pub(super) dead: Option<bool>,
    pub(super) death: Option<i64>,
    /// Why it is held back.
    pub(super) held: Option<String>,
}

/// The value of a covariate in a row.
pub(super) struct Told {
    pub(super) column: usize,
    pub(super) place: Place,
    pub(super) text: String,
    pub(super) number: Option<f64>,
    /// Place of its cell in the account.
    pub(super) account: usize,
}

/// All that is read of a sheet, before rows are held against each other.
#[derive(Default)]
pub(super) struct AllRead {
    pub(super) rows: Vec<RowRead>,
    pub(super) told: Vec<Told>,
    pub(super) account: Vec<AccountRow>,
}

pub(super) struct Sheet<'s> {
    pub(super) grid: &'s Grid,
    /// One row of the map for each column.
    pub(super) map: &'s [MapRow],
    pub(super) facts: &'s Facts,
}

/// Days between a plan and its treatment up to which a plan belongs to a treatment.
const PLAN_BEFORE_TREATMENT: i64 = 30;

impl Sheet<'_> {
    pub(super) fn read(&self) -> AllRead {
        let mut all = AllRead::default();
        let decimal: Vec<Option<char>> =
            (0..self.map.len()).map(|at| typed::decimal_mark(self.grid.column(at))).collect();
        for row in &self.grid.rows {
            let account = self.map.iter().zip(&row.cells);
            let account = account.map(|(m, cell)| AccountRow::new(row.line, m, cell)).collect();
            let mut reader = RowReader { sheet: self, row, account, decimal: &decimal };
            reader.row(&mut all);
        }
        all
    }

    fn columns(&self, meaning: Meaning) -> impl Iterator<Item = usize> + '_ {
        let is = move |(_, m): &(usize, &MapRow)| m.meaning == Some(meaning);
        self.map.iter().enumerate().filter(is).map(|(at, _)| at)
    }

    /// Names of the events that have columns of their own.
    fn events(&self) -> BTreeSet<&str> {
        let own = self.map.iter().filter(|m| {
            matches!(m.meaning, Some(Meaning::Event | Meaning::Time | Meaning::TimeOrEnd))
        });
        own.map(|m| m.of.as_str()).filter(|of| !of.is_empty()).collect()
    }
}

struct RowReader<'r> {
    sheet: &'r Sheet<'r>,
    row: &'r GridRow,
    account: Vec<AccountRow>,
    decimal: &'r [Option<char>],
}

impl RowReader<'_> {
    /// The text of a cell as `values` translate it; absent where nothing is known.
    fn text(&mut self, at: usize) -> Option<String> {
        let cell = self.row.cells.get(at)?;
        let text = self.sheet.map.get(at)?.translated(cell);
        if cells::is_nothing(text) {
            self.account[at].set(Became::Empty, "");
            return None;
        }
        Some(text.to_owned())
    }

    fn only(&mut self, meaning: Meaning) -> Option<(usize, String)> {
        let columns: Vec<usize> = self.sheet.columns(meaning).collect();
        columns.into_iter().find_map(|at| Some((at, self.text(at)?)))
    }

    fn fail(&mut self, at: usize, became: Became, reason: &str) {
        self.account[at].set(became, reason);
    }

    fn note(&mut self, at: usize, read_as: impl Into<String>) {
        self.account[at].read_as = read_as.into();
    }

    fn row(&mut self, all: &mut AllRead) {
        for at in self.sheet.columns(Meaning::NotUsed) {
            self.account[at].set(Became::NotUsed, "the map says so");
        }
        let start = all.account.len();
        match self.place() {
            Err(reason) => self.without_partner(&reason),
            Ok(place) => {
                for cell in &mut self.account {
                    cell.patient_id.clone_from(&place.patient);
                }
                let read = self.rest(place.clone());
                for at in self.sheet.columns(Meaning::Covariate).collect::<Vec<_>>() {
                    all.told.extend(self.covariate(at, &place, start + at));
                }
                all.rows.extend(read);
            }
        }
        all.account.append(&mut self.account);
    }

    fn without_partner(&mut self, reason: &str) {
        for (at, cell) in self.account.iter_mut().enumerate() {
            let empty = self.row.cells.get(at).is_none_or(|c| cells::is_nothing(c));
            match cell.became {
                Became::Used if empty => cell.set(Became::Empty, ""),
                Became::Used => cell.set(Became::NoPartner, reason),
                _ => {}
            }
        }
    }

    fn place(&mut self) -> Result<Place, String> {
        let facts = self.sheet.facts;
        let (at, id) = self.only(Meaning::Patient).ok_or("the row names no patient")?;
        let patient = facts.patient(&id).ok_or_else(|| {
            let key = if facts.has_key() { "" } else { "; IDs of the hospital need --key" };
            format!("the study has no such patient{key}")
        })?;
        let patient = patient.to_owned();
        self.note(at, patient.clone());
        let treated = match self.only(Meaning::TreatmentDate) {
            None => None,
            Some((at, text)) => match self.date(at, &text) {
                Ok(date) => Some((at, date)),
                Err(reason) => {
                    self.fail(at, Became::NotUnderstood, &reason);
                    None
                }
            },
        };
        let mut plan = self.plan(&patient, treated.map(|t| t.1))?;
        let mut lesion = None;
        if let Some((at, name)) = self.only(Meaning::Lesion) {
            let all: Vec<usize> = facts.plans_of(&patient).collect();
            let among = plan.map_or(all, |p| vec![p]);
            let found = facts.lesion(&name, &among)?;
            plan = facts.plans.iter().position(|p| p.plan_id == found.plan_id);
            self.note(at, found.lesion_id.clone());
            lesion = Some(found.lesion_id.clone());
        }
        let base_plan = plan.or_else(|| facts.first_plan(&patient));
        let base = base_plan.and_then(|p| facts.plans.get(p)?.day);
        let day = treated.and_then(|(_, date)| facts.day(&patient, date));
        if let (Some((at, _)), Some(p)) = (treated, plan) {
            let plan = &facts.plans[p].plan_id;
            let before = day.zip(base).map_or(0, |(d, b)| d - b);
            let words =
                if before > 0 { format!(", planned {before} days before") } else { String::new() };
            self.note(at, format!("{plan}{words}"));
        }
        let treated = treated.map(|t| t.1);
        Ok(Place { patient, plan, lesion, treated, origin: day.or(base), base })
    }

    /// The plan that a row is about; none where it says nothing of it.
    fn plan(&mut self, patient: &str, treated: Option<NaiveDate>) -> Result<Option<usize>, String> {
        let facts = self.sheet.facts;
        let own: Vec<usize> = facts.plans_of(patient).collect();
        if let Some((at, text)) = self.only(Meaning::Plan) {
            let course = text.parse::<i64>().ok();
            let is = |p: &&usize| {
                let plan = &facts.plans[**p];
                plan.plan_id == text || (course.is_some() && plan.course == course)
            };
            let mut found: Vec<usize> = own.iter().filter(is).copied().collect();
            found.sort_by_key(|p| facts.plans[*p].order());
            let plan = found.first().copied().ok_or("the patient has no such plan or course")?;
            self.note(at, facts.plans[plan].plan_id.clone());
            return Ok(Some(plan));
        }
        let Some(date) = treated else { return Ok(None) };
        let Some(day) = facts.day(patient, date) else {
            return match own.as_slice() {
                [one] => Ok(Some(*one)),
                _ => Err("which plan? the date of treatment needs --key".to_owned()),
            };
        };
        // The plan of that day, else the last one made shortly before it.
        let before = |p: &&usize| {
            facts.plans[**p].day.is_some_and(|d| (0..=PLAN_BEFORE_TREATMENT).contains(&(day - d)))
        };
        let best = |p: &&usize| {
            let plan = &facts.plans[**p];
            (day - plan.day.unwrap_or(i64::MIN / 2), plan.order())
        };
        match own.iter().filter(before).min_by_key(best) {
            Some(plan) => Ok(Some(*plan)),
            None => {
                let gaps = own.iter().filter_map(|p| Some((facts.plans[*p].day? - day).abs()));
                let near = gaps.min().map_or_else(
                    || "its plans have no day".to_owned(),
                    |n| format!("the nearest is {n} days from it"),
                );
                Err(format!("the patient has no plan of this day; {near}"))
            }
        }
    }

    fn date(&self, at: usize, text: &str) -> Result<NaiveDate, String> {
        let form = self.sheet.map[at].form;
        match (cells::date(text), form) {
            (Some(DateRead::One(date, _)), _) => Ok(date),
            (Some(DateRead::Either { day_first, .. }), Some(Form::DateDayFirst)) => Ok(day_first),
            (Some(DateRead::Either { month_first, .. }), Some(Form::DateMonthFirst)) => {
                Ok(month_first)
            }
            (Some(DateRead::Either { .. }), _) => Err(
                "day and month can be exchanged; write it as YYYY-MM-DD, or the order into the \
                     column form of the map"
                    .to_owned(),
            ),
            (Some(DateRead::WithoutDay), _) => {
                Err("a month without its day; write the day, or the days since the first fraction"
                    .to_owned())
            }
            (None, _) => Err("is no date; YYYY-MM-DD would be accepted".to_owned()),
        }
    }

    /// A moment in days from the treatment.
    fn moment(&mut self, at: usize, place: &Place) -> Option<i64> {
        let text = self.text(at)?;
        match self.day(at, &text, place) {
            Ok(day) => {
                self.note(at, format!("day {day}"));
                Some(day)
            }
            Err(reason) => {
                self.fail(at, Became::NotUnderstood, &reason);
                None
            }
        }
    }

    fn day(&self, at: usize, text: &str, place: &Place) -> Result<i64, String> {
        let form = self.sheet.map[at].form;
        if form.is_some_and(Form::is_date) || cells::date(text).is_some() {
            return self.since_treatment(self.date(at, text)?, place);
        }
        let unit = form.and_then(Form::unit);
        let (number, own) = cells::duration(text, self.decimal[at])
            .map_err(|e| format!("{e}; a number or a date would be accepted"))?;
        let unit = own.or(unit).ok_or("its unit is not known; write it into form")?;
        // The day of an event is that on which most of its part of a month lies.
        let days = (number * unit.days()).round();
        if !(-40_000.0..40_000.0).contains(&days) {
            return Err("is longer than a life".to_owned());
        }
        #[expect(clippy::cast_possible_truncation, reason = "whole, and below 40000")]
        let days = days as i64;
        // Durations count from the treatment as the sheet dates it.
        Ok(days + place.origin.zip(place.base).map_or(0, |(o, b)| o - b))
    }

    fn since_treatment(&self, date: NaiveDate, place: &Place) -> Result<i64, String> {
        if let (Some(day), Some(base)) = (self.sheet.facts.day(&place.patient, date), place.base) {
            return Ok(day - base);
        }
        if let Some(treated) = place.treated {
            return Ok(date.signed_duration_since(treated).num_days());
        }
        Err(if self.sheet.facts.has_key() {
            "a date, and the plan has no day; a column with the date of treatment would be accepted"
        } else {
            "a date, and days of the study are shifted: give --key, or a column with the date of \
             treatment"
        }
        .to_owned())
    }

    fn rest(&mut self, place: Place) -> Option<RowRead> {
        let mut end = |meaning: Meaning| {
            let columns: Vec<usize> = self.sheet.columns(meaning).collect();
            columns.into_iter().filter_map(|at| self.moment(at, &place)).max()
        };
        let imaging = end(Meaning::LastImaging);
        let contact = end(Meaning::LastContact);
        let death = end(Meaning::Death);
        let dead = self.dead();
        let mut held = None;
        if dead == Some(false) && death.is_some() {
            held = Some("alive, with a day of death".to_owned());
        }
        let is_long = self.sheet.columns(Meaning::EventType).next().is_some();
        let (events, lost) = if is_long { self.long(&place)? } else { (self.wide(&place), false) };
        let looked = events.iter().filter_map(|e| e.looked).max();
        let imaging = imaging.max(looked);
        for e in &events {
            let plain = e.name.replace('_', " ");
            match (e.state, e.day) {
                (Some(false), Some(_)) => held = Some(format!("no {plain}, with its time")),
                (None, Some(_)) => held = Some(format!("a time of {plain}, and no yes or no")),
                _ => {}
            }
        }
        let dead = dead.or(death.is_some().then_some(true));
        let dead = dead.or(events.iter().any(|e| e.name == DEATH).then_some(true));
        Some(RowRead {
            line: self.row.line,
            place,
            events,
            lost,
            imaging,
            contact,
            dead,
            death,
            held,
        })
    }

    fn dead(&mut self) -> Option<bool> {
        let (at, text) = self.only(Meaning::Dead)?;
        let dead = cells::is_dead(&text);
        match dead {
            Some(dead) => self.note(at, if dead { "dead" } else { "alive" }),
            None => {
                self.fail(at, Became::NotUnderstood, "dead, alive, yes, no, 1 or 0 is accepted")
            }
        }
        dead
    }

    fn wide(&mut self, place: &Place) -> Vec<EventRead> {
        let names: Vec<String> = self.sheet.events().into_iter().map(str::to_owned).collect();
        names.into_iter().map(|name| self.event(name, place)).collect()
    }

    fn of(&self, meaning: Meaning, name: &str) -> Option<usize> {
        self.sheet.columns(meaning).find(|at| self.sheet.map[*at].of == name)
    }

    fn event(&mut self, name: String, place: &Place) -> EventRead {
        let own = self.of(Meaning::Event, &name);
        let mut state = own.and_then(|at| self.answer(at));
        let time = self.of(Meaning::Time, &name);
        let either = self.of(Meaning::TimeOrEnd, &name);
        let day = time.and_then(|at| self.moment(at, place));
        let until = either.and_then(|at| self.moment(at, place));
        if let (None, Some(at)) = (own, time) {
            // The time alone tells the event; what an empty cell means, `values` say.
            state = match day {
                Some(_) => Some(true),
                None => cells::answer(self.sheet.map[at].translated("")),
            };
        }
        let looked = until.filter(|_| state == Some(false));
        let day = day.or(until.filter(|_| state == Some(true)));
        let found = EventRead { state, day, looked, ..self.about(&name) };
        EventRead { name: cells::slug(&name), ..found }
    }

    /// Grade and the like of an event.
    fn about(&mut self, name: &str) -> EventRead {
        let scale_at = self.of(Meaning::GradeScale, name);
        let (basis_at, symptoms_at) =
            (self.of(Meaning::Basis, name), self.of(Meaning::Symptomatic, name));
        let grade_at = self.of(Meaning::Grade, name);
        let typed = grade_at.and_then(|at| Some((at, self.text(at)?)));
        let grade = typed.and_then(|(at, text)| {
            let found = grade(&text);
            match found {
                Some(grade) => self.note(at, format!("grade {grade}")),
                None => self.fail(at, Became::NotUnderstood, "a grade from 0 to 5 is accepted"),
            }
            found
        });
        let scale = scale_at.and_then(|at| self.text(at));
        let typed = basis_at.and_then(|at| Some((at, self.text(at)?.to_lowercase())));
        let basis = typed.and_then(|(at, word)| {
            let known = BASES.iter().any(|(w, _)| *w == word);
            if !known {
                self.fail(at, Became::NotUnderstood, "biopsy, imaging or clinical is accepted");
            }
            known.then_some(word)
        });
        let symptomatic = symptoms_at.and_then(|at| self.answer(at));
        let scale = scale.or_else(|| grade.map(|_| UNNAMED_SCALE.to_owned()));
        EventRead { grade, scale, basis, symptomatic, ..EventRead::default() }
    }

    fn answer(&mut self, at: usize) -> Option<bool> {
        // "none" and "-" are answers here before they are nothing.
        let cell = self.row.cells.get(at).cloned().unwrap_or_default();
        let text = self.sheet.map[at].translated(&cell).to_owned();
        if text.is_empty() || (cells::is_nothing(&text) && cells::answer(&text).is_none()) {
            self.account[at].set(Became::Empty, "");
            return None;
        }
        let found = cells::answer(&text);
        match found {
            Some(yes) => self.note(at, if yes { "yes" } else { "no" }),
            None => self.fail(at, Became::NotUnderstood, "say in values of the map what it means"),
        }
        found
    }

    /// A row that is one event; nothing where it does not say which.
    fn long(&mut self, place: &Place) -> Option<(Vec<EventRead>, bool)> {
        let at = self.sheet.columns(Meaning::EventType).next()?;
        let cell = self.row.cells.get(at).cloned().unwrap_or_default();
        let text = self.sheet.map[at].translated(&cell).to_owned();
        let name = match cells::slug(&text).as_str() {
            "none" | "no_event" | "no" | "keine" | "keines" | "aucun" | "nothing" => {
                NONE.to_owned()
            }
            "death" | "dead" | "died" | "tod" | "exitus" => DEATH.to_owned(),
            "lost" | "lost_to_follow_up" | "ltfu" => LOST.to_owned(),
            _ if cells::is_nothing(&text) => {
                self.fail(at, Became::NotUnderstood, "the row does not say which event");
                return None;
            }
            name => name.to_owned(),
        };
        self.note(at, name.clone());
        if name == NONE || name == LOST {
            return Some((Vec::new(), name == LOST));
        }
        let time = self.of(Meaning::Time, "");
        let day = time.and_then(|at| self.moment(at, place));
        let found = EventRead { state: Some(true), day, ..self.about("") };
        Some((vec![EventRead { name, ..found }], false))
    }

    fn covariate(&mut self, at: usize, place: &Place, account: usize) -> Option<Told> {
        let text = self.text(at)?;
        let form = self.sheet.map[at].form;
        let number = match form {
            Some(form) if form.is_date() => Some(self.moment(at, place)? as f64),
            Some(Form::Number) => match typed::number_beside(&text, self.decimal[at]) {
                Ok(number) => Some(number),
                Err(reason) => {
                    self.fail(at, Became::NotUnderstood, &reason.to_string());
                    return None;
                }
            },
            _ => None,
        };
        if number.is_none() {
            self.note(at, text.clone());
        }
        Some(Told { column: at, place: place.clone(), text, number, account })
    }
}

/// The scale of grades of which the sheet names none.
pub(super) const UNNAMED_SCALE: &str = "not_named";

/// Rows by patient.
pub(super) fn by_patient(rows: &[RowRead]) -> BTreeMap<&str, Vec<usize>> {
    let mut out: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (at, row) in rows.iter().enumerate() {
        out.entry(&row.place.patient).or_default().push(at);
    }
    out
}
