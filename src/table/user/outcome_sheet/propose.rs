//! What the columns of a sheet probably mean: by what stands in their cells first, by their names
//! second. A proposal says what speaks for it; it shows no cell of a column that can hold names,
//! dates or free text, since the file lies in the study folder.

use std::collections::{BTreeMap, BTreeSet};

use super::cells;
use super::facts::Facts;
use super::forms;
use super::grid::Grid;
use super::map::{BLANK, Form, MapRow, Meaning};
use tidydose_geometry::units::typed;

/// A column with what its cells can be.
#[derive(Debug)]
pub(super) struct Column<'g> {
    name: &'g str,
    /// Words of the name.
    pub(super) tokens: Vec<String>,
    /// Cells that say something.
    pub(super) said: Vec<&'g str>,
    blank: usize,
    nothing: usize,
}

/// Proposes a row for each column.
#[must_use]
pub fn propose(grid: &Grid, facts: &Facts) -> Vec<MapRow> {
    let columns: Vec<Column<'_>> = (0..grid.columns.len()).map(|at| Column::of(grid, at)).collect();
    let patient = patient(&columns, facts);
    let events: Vec<(usize, String)> = columns
        .iter()
        .enumerate()
        .filter(|(at, c)| Some(*at) != patient.as_ref().map(|p| p.0) && c.is_event(&columns))
        .map(|(at, c)| (at, c.event_name()))
        .collect();
    let mut rows = Vec::new();
    for (at, column) in columns.iter().enumerate() {
        let event = events.iter().find(|(place, _)| *place == at).map(|(_, name)| name);
        let mut row = match (&patient, event) {
            (Some((place, row)), _) if *place == at => row.clone(),
            (_, Some(name)) => column.as_event(name, grid, at),
            _ => column.as_other(&events, facts),
        };
        row.column = column.name.to_owned();
        rows.push(row);
    }
    forms::settle(&mut rows, &columns);
    rows
}

/// A map row of a meaning, with what speaks for it.
fn row(meaning: Meaning, evidence: String) -> MapRow {
    MapRow { meaning: Some(meaning), evidence, ..MapRow::default() }
}

/// The column with most patients of the study; where no cell is one, the column that is called so.
fn patient(columns: &[Column<'_>], facts: &Facts) -> Option<(usize, MapRow)> {
    let hits = |c: &Column<'_>| c.said.iter().filter(|t| facts.patient(t).is_some()).count();
    let counts: Vec<usize> = columns.iter().map(hits).collect();
    let best = counts.iter().copied().max().unwrap_or(0);
    if best > 0 {
        let at = counts.iter().position(|n| *n == best)?;
        let evidence =
            format!("{best} of {} cells are patients of the study", columns[at].said.len());
        return Some((at, row(Meaning::Patient, evidence)));
    }
    let named = |c: &Column<'_>| {
        let name = cells::slug(c.name);
        const NAMES: &[&str] = &[
            "patient_id",
            "patient",
            "patid",
            "pat_id",
            "pid",
            "mrn",
            "id",
            "hospital_id",
            "patient_number",
            "patient_no",
            "patienten_id",
            "patientennummer",
            "case_id",
            "fall",
        ];
        NAMES.contains(&name.as_str())
    };
    let at = columns.iter().position(named)?;
    let mut found = row(Meaning::Patient, "its name; no cell is a patient of the study".to_owned());
    found.to_decide = if facts.has_key() {
        "are these patients of this study? nobody is found by these IDs".to_owned()
    } else {
        "IDs of the hospital need the key of the study: --key".to_owned()
    };
    Some((at, found))
}

const TIME_WORDS: &[&str] = &[
    "months",
    "month",
    "mo",
    "mos",
    "days",
    "day",
    "d",
    "date",
    "datum",
    "time",
    "times",
    "to",
    "of",
    "since",
    "until",
    "at",
    "weeks",
    "week",
    "years",
    "year",
    "yrs",
    "monate",
    "monaten",
    "tage",
    "wochen",
    "jahre",
    "zeit",
    "bis",
    "seit",
    "mois",
    "jours",
    "meses",
    "dias",
    "mesi",
    "giorni",
    "fecha",
    "data",
    "onset",
    "first",
    "dx",
    "diagnosis",
    "de",
    "a",
    "la",
    "der",
    "des",
    "in",
];
const ANSWER_WORDS: &[&str] =
    &["y", "n", "yes", "no", "ja", "nein", "status", "event", "occurred", "0", "1"];
const EVENT_STEMS: &[&str] = &[
    "necro",
    "nekro",
    "failure",
    "progress",
    "recurr",
    "relaps",
    "rezidiv",
    "recid",
    "edema",
    "oedem",
    "odem",
    "toxic",
    "adverse",
    "palsy",
    "haemorr",
    "hemorr",
    "bleed",
    "blutung",
    "seizure",
    "epilep",
    "hydroceph",
    "arre",
    "radiation_effect",
    "deficit",
    "event",
    "complic",
];
const DEATH_STEMS: &[&str] = &[
    "dead", "died", "death", "deceas", "tot", "tod", "verstorb", "exitus", "dod", "vital", "alive",
    "lebt", "vivant", "muert", "mort",
];
const CONTACT_STEMS: &[&str] =
    &["follow", "contact", "kontakt", "nachsorge", "fu", "os", "survival", "seen", "suivi"];
const IMAGING_STEMS: &[&str] = &["imag", "mri", "mrt", "mr", "irm", "scan", "radiolog", "bildgeb"];
const TREATMENT_STEMS: &[&str] = &[
    "treat",
    "srs",
    "srt",
    "sbrt",
    "radiosurg",
    "behandl",
    "fraction",
    "therap",
    "bestrahl",
    "rt",
];
/// A column called so is left out, whatever it holds.
const PERSON_STEMS: &[&str] = &[
    "surname",
    "forename",
    "firstname",
    "lastname",
    "vorname",
    "nachname",
    "birth",
    "geburt",
    "dob",
    "address",
    "adresse",
    "phone",
    "telefon",
    "email",
    "physician",
    "doctor",
    "arzt",
    "surgeon",
];

impl<'g> Column<'g> {
    fn of(grid: &'g Grid, at: usize) -> Self {
        let all: Vec<&str> = grid.column(at).collect();
        let said: Vec<&str> = all.iter().copied().filter(|t| !cells::is_nothing(t)).collect();
        let name = &grid.columns[at];
        Self {
            name,
            tokens: cells::slug(name).split('_').map(str::to_owned).collect(),
            nothing: all.len() - said.len(),
            blank: all.iter().filter(|t| t.is_empty()).count(),
            said,
        }
    }

    fn has(&self, stems: &[&str]) -> bool {
        // Short stems are whole words: "fu" is not in "fusion".
        let is = |token: &str, stem: &str| {
            if stem.len() <= 3 { token == stem } else { token.starts_with(stem) }
        };
        self.tokens.iter().any(|t| stems.iter().any(|s| is(t, s)))
    }

    fn without(&self, words: &[&str]) -> Vec<&str> {
        self.tokens.iter().map(String::as_str).filter(|t| !words.contains(t)).collect()
    }

    fn count(&self, what: impl Fn(&str) -> bool) -> usize {
        self.said.iter().filter(|t| what(t)).count()
    }

    fn all(&self, what: impl Fn(&str) -> bool) -> bool {
        !self.said.is_empty() && self.count(what) == self.said.len()
    }

    fn different(&self) -> BTreeMap<String, usize> {
        let mut counts = BTreeMap::new();
        for text in &self.said {
            *counts.entry((*text).to_owned()).or_insert(0) += 1;
        }
        counts
    }

    fn decimal(&self) -> Option<char> {
        typed::decimal_mark(self.said.iter().copied())
    }

    pub(super) fn durations(&self) -> usize {
        let decimal = self.decimal();
        self.count(|t| cells::duration(t, decimal).is_ok() && cells::date(t).is_none())
    }

    pub(super) fn dates(&self) -> usize {
        self.count(|t| cells::date(t).is_some())
    }

    /// Whether most cells are moments: the others are held back one by one.
    fn is_moment(&self) -> bool {
        10 * (self.dates() + self.durations()) >= 8 * self.said.len() && !self.said.is_empty()
    }

    /// Words of time in the name, and what is left of it.
    fn moment_of(&self) -> Option<Vec<&str>> {
        let rest = self.without(TIME_WORDS);
        (rest.len() < self.tokens.len() && !rest.is_empty()).then_some(rest)
    }

    fn event_name(&self) -> String {
        let plain = self.without(ANSWER_WORDS);
        if plain.is_empty() { self.tokens.join("_") } else { plain.join("_") }
    }

    /// Answers, and a column beside it with the time of the same, or a name that says so.
    fn is_event(&self, all: &[Column<'_>]) -> bool {
        let plain = self.without(ANSWER_WORDS);
        let mostly = 10 * self.count(|t| cells::answer(t).is_some()) >= 8 * self.said.len();
        if self.said.is_empty() || !mostly || self.has(DEATH_STEMS) || self.has(PERSON_STEMS) {
            return false;
        }
        self.has(EVENT_STEMS)
            || all.iter().any(|c| c.name != self.name && c.moment_of() == Some(plain.clone()))
    }

    fn as_event(&self, name: &str, grid: &Grid, at: usize) -> MapRow {
        let yes = self.count(|t| cells::answer(t) == Some(true));
        let no = self.count(|t| cells::answer(t) == Some(false));
        let unknown = self.nothing;
        let evidence = format!("{yes} yes, {no} no, {unknown} not known");
        let mut found = row(Meaning::Event, evidence);
        found.of = name.to_owned();
        for word in self.different().into_keys().filter(|w| cells::answer(w).is_none()) {
            found.values.insert(word.to_lowercase(), String::new());
        }
        let dash = grid.column(at).any(|t| t == "-") && self.said.contains(&"+");
        if dash {
            // A minus beside a plus is an answer.
            found.values.insert("-".to_owned(), "no".to_owned());
        }
        if no == 0 && yes > 0 && self.blank > 0 && !dash {
            found.values.insert(BLANK.to_owned(), String::new());
            found.to_decide =
                "only yes is written: does an empty cell mean no, or not known? write \
                               (blank)=no or (blank)=unknown into values"
                    .to_owned();
        } else if found.values.values().any(String::is_empty) {
            found.to_decide = "say in values what each word means: yes, no or unknown".to_owned();
        }
        found
    }

    fn as_other(&self, events: &[(usize, String)], facts: &Facts) -> MapRow {
        if self.said.is_empty() {
            return row(Meaning::NotUsed, "no cell says anything".to_owned());
        }
        if self.has(PERSON_STEMS) {
            return row(Meaning::NotUsed, "its name; such columns name persons".to_owned());
        }
        self.as_part_of_event(events)
            .or_else(|| self.as_place(facts))
            .or_else(|| self.as_end())
            .unwrap_or_else(|| self.as_covariate())
    }

    /// Time, grade and the like of an event that has its column.
    fn as_part_of_event(&self, events: &[(usize, String)]) -> Option<MapRow> {
        let of = |rest: &[&str]| {
            let name = rest.join("_");
            events.iter().map(|(_, e)| e).find(|e| **e == name).cloned()
        };
        let evidence = |of: &str| format!("its name, beside the column of {of}");
        if self.is_moment()
            && let Some(event) = self.moment_of().and_then(|rest| of(&rest))
        {
            let mut found = row(Meaning::Time, evidence(&event));
            found.of = event;
            return Some(found);
        }
        const PARTS: &[(&[&str], Meaning)] = &[
            (&["scale", "skala"], Meaning::GradeScale),
            (&["grade", "grad", "ctcae", "rtog"], Meaning::Grade),
            (&["symptomatic", "symptoms", "symptom"], Meaning::Symptomatic),
            (&["basis", "method", "diagnosed"], Meaning::Basis),
        ];
        let (words, meaning) = PARTS
            .iter()
            .find(|(words, _)| self.tokens.iter().any(|t| words.contains(&t.as_str())))?;
        let rest = self.without(&[*words, &["grade", "of", "ctcae", "rtog", "v5", "by"]].concat());
        let event = of(&rest).or_else(|| match (rest.as_slice(), events) {
            ([], [(_, only)]) => Some(only.clone()),
            _ => None,
        });
        let long = rest.is_empty() && events.is_empty();
        if event.is_none() && !long {
            return None;
        }
        let fits = match meaning {
            Meaning::Grade => self.all(|t| grade(t).is_some()),
            Meaning::Symptomatic => self.all(|t| cells::answer(t).is_some()),
            _ => true,
        };
        let mut found = row(*meaning, "its name".to_owned());
        found.of = event.unwrap_or_default();
        fits.then_some(found)
    }

    /// What tells plan, lesion and kind of event.
    fn as_place(&self, facts: &Facts) -> Option<MapRow> {
        let plans: BTreeSet<&str> = facts.plans.iter().map(|p| p.plan_id.as_str()).collect();
        let n = self.said.len();
        let hits = self.count(|t| plans.contains(t));
        if 2 * hits > n {
            return Some(row(Meaning::Plan, format!("{hits} of {n} cells are plans of the study")));
        }
        let is_lesion = |t: &str| {
            let t = t.to_lowercase();
            facts.lesions.iter().any(|l| l.names.contains(&t))
        };
        let hits = self.count(is_lesion);
        if 2 * hits > n || (hits > 0 && self.has(&["lesion", "gtv", "target", "met", "structure"]))
        {
            return Some(row(
                Meaning::Lesion,
                format!("{hits} of {n} cells are lesions of the study"),
            ));
        }
        if self.has(&["course", "kurs", "serie"]) && self.all(|t| t.parse::<i64>().is_ok()) {
            return Some(row(Meaning::Plan, "its name; whole numbers: the course".to_owned()));
        }
        if self.has(&["plan"]) {
            let mut found = row(Meaning::NotUsed, "no cell is a plan_id of table plans".to_owned());
            found.to_decide =
                "labels of plans are in no table: a column with the date of treatment, \
                               or the number of the course, tells the plan"
                    .to_owned();
            return Some(found);
        }
        let name = cells::slug(self.name);
        if ["event_type", "event", "events", "outcome", "ereignis", "endpoint"].contains(&&*name) {
            let kinds = self.different().len();
            return Some(row(Meaning::EventType, format!("its name; {kinds} kinds")));
        }
        None
    }

    /// Until when somebody was followed, and how that ended.
    fn as_end(&self) -> Option<MapRow> {
        let n = self.said.len();
        if self.has(DEATH_STEMS) && self.is_moment() && !self.all(|t| cells::is_dead(t).is_some()) {
            return Some(row(Meaning::Death, "its name".to_owned()));
        }
        let words = self.count(|t| cells::is_dead(t).is_some());
        if self.has(DEATH_STEMS) && words > 0 {
            let mut found =
                row(Meaning::Dead, format!("its name; {words} of {n} cells are understood"));
            let different = self.different();
            if self.has(&["alive", "lebt", "vivant", "living"]) {
                // The column asks the other way round.
                for word in different.keys() {
                    let meaning = match cells::answer(word) {
                        Some(true) => "alive",
                        Some(false) => "dead",
                        None => continue,
                    };
                    found.values.insert(word.to_lowercase(), meaning.to_owned());
                }
            }
            for word in different.into_keys().filter(|w| cells::is_dead(w).is_none()) {
                found.values.insert(word.to_lowercase(), String::new());
            }
            if found.values.values().any(String::is_empty) {
                found.to_decide =
                    "say in values what each word means: dead, alive or unknown".to_owned();
            }
            return Some(found);
        }
        if !self.is_moment() {
            return None;
        }
        if self.has(IMAGING_STEMS) {
            return Some(row(Meaning::LastImaging, "its name".to_owned()));
        }
        if self.has(TREATMENT_STEMS) && 2 * self.dates() > n {
            return Some(row(Meaning::TreatmentDate, "its name; dates".to_owned()));
        }
        if self.has(CONTACT_STEMS) {
            let mut found = row(Meaning::LastContact, "its name".to_owned());
            found.to_decide =
                "last contact is taken; if it is the last imaging, write last_imaging: \
                               events are seen on images"
                    .to_owned();
            return Some(found);
        }
        None
    }

    fn as_covariate(&self) -> MapRow {
        let n = self.said.len();
        let name = cells::slug(self.name);
        if 2 * self.dates() > n && self.durations() == 0 {
            let mut found =
                row(Meaning::NotUsed, format!("{} of {n} cells are dates", self.dates()));
            found.to_decide =
                "of what? write treatment_date, last_imaging, last_contact, death, or \
                               time with the event under `of`; covariate makes it days since the \
                               first fraction"
                    .to_owned();
            return found;
        }
        let different = self.different();
        let decimal = self.decimal();
        let numbers = self.count(|t| typed::number_beside(t, decimal).is_ok());
        let mut found = row(Meaning::Covariate, String::new());
        found.of = name;
        if numbers == n && different.len() > 2 {
            found.form = Some(Form::Number);
            found.evidence = format!("{n} numbers, {} not known", self.nothing);
            return found;
        }
        if different.len() <= LEVELS && 2 * different.len() <= n.max(4) {
            found.form = Some(Form::Category);
            let levels: Vec<String> = different.iter().map(|(w, k)| format!("{w} {k}")).collect();
            found.evidence = format!("{}; {} not known", levels.join(", "), self.nothing);
            if self.all(|t| cells::answer(t).is_some()) {
                found.to_decide = "if it is an event and no covariate, write event".to_owned();
            }
            return found;
        }
        let mut found = row(Meaning::NotUsed, format!("{} different texts", different.len()));
        found.to_decide =
            "free text, not shown here; write covariate if it holds categories or numbers"
                .to_owned();
        found
    }
}

/// More levels than these are no categories that a table could show.
const LEVELS: usize = 12;

/// A grade, also where somebody wrote its word before it.
pub(super) fn grade(text: &str) -> Option<i64> {
    let digits =
        text.trim_start_matches(|c: char| c.is_alphabetic() || matches!(c, ' ' | '.' | '°'));
    let digits = digits.strip_suffix(".0").unwrap_or(digits);
    digits.parse().ok().filter(|g| (0..=5).contains(g))
}
