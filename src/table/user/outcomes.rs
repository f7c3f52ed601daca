//! `outcomes.csv`: what became of the patients, written by the user and only read here. One row for
//! each event of a patient or of a lesion; where nothing happened, one row that says so with
//! `event_type` none. Whoever has a row was followed for every kind of event of the sheet.
//!
//! Days are counted from the treatment: for a row with `lesion_id` from the first fraction of the
//! plan that the lesion belongs to, for a row with `plan_id` from that of the plan, else from that of
//! the patient's first course. The sheet is taken as a whole or refused as a whole, with every fault
//! named by row, column and value. Nothing is filled in. A row with a reason under `held_back` stays
//! out of every number.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::user_file::{ReadError, UserFile};
use crate::Cell;
use crate::write_csv::write_records;
use tidydose_geometry::units::typed::{self, NotANumber};

/// Columns that are understood. All but patient_id and event_type may be missing.
pub const COLUMNS: &[&str] = &[
    "patient_id",
    "plan_id",
    "lesion_id",
    "event_type",
    "day_event",
    "grade",
    "grade_scale",
    "basis",
    "symptomatic",
    "day_last_imaging",
    "day_last_contact",
    "vital_status",
    "event_unknown",
    "held_back",
    "source_note_code",
];
const REQUIRED: &[&str] = &["patient_id", "event_type"];

/// `event_type` of a row that says that nothing happened.
pub const NONE: &str = "none";
/// `event_type` of a row that says that nobody knows.
pub const LOST: &str = "lost";
/// `event_type` of death.
pub const DEATH: &str = "death";

/// Words of `basis` with what they mean.
pub const BASES: &[(&str, &str)] = &[
    ("biopsy", "the diagnosis rests on tissue"),
    ("imaging", "on images"),
    ("clinical", "on the course"),
];
/// Words of `vital_status` with what they mean.
pub const VITAL: &[(&str, &str)] = &[
    ("alive", "alive at the last contact"),
    ("dead", "dead; day_last_contact is the day of death"),
    ("unknown", "not known"),
];
const GRADES: std::ops::RangeInclusive<i64> = 0..=5;

/// One row of the sheet.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Outcome {
    /// Row as a spreadsheet counts, the header is 1.
    pub row: usize,
    /// Pseudonym as in table plans.
    pub patient_id: String,
    /// As in table plans; absent in rows of the patient.
    pub plan_id: Option<String>,
    /// As in table lesions, the clinic's label of `lesions.csv` or the name of the structure, where
    /// that names one lesion of the patient; absent in rows of the patient.
    pub lesion_id: Option<String>,
    /// The kind of event, or one of [`NONE`], [`LOST`], [`DEATH`].
    pub event_type: String,
    /// Day of the event; absent when it is not known.
    pub day_event: Option<i64>,
    /// Grade.
    pub grade: Option<i64>,
    /// Scale of the grade.
    pub grade_scale: Option<String>,
    /// What the diagnosis rests on.
    pub basis: Option<String>,
    /// Whether there were symptoms.
    pub symptomatic: Option<bool>,
    /// Day of the last imaging.
    pub day_last_imaging: Option<i64>,
    /// Day of the last contact; of death, when the patient is dead.
    pub day_last_contact: Option<i64>,
    /// Whether the patient was dead at the last contact; absent when not known.
    pub dead: Option<bool>,
    /// Kinds of events of which the row does not know whether they happened.
    pub event_unknown: Vec<String>,
    /// Why the row cannot be true; it enters no number then.
    pub held_back: Option<String>,
}

/// Reads the sheet.
///
/// # Errors
/// When it cannot be read or holds a fault; the message lists all faults.
pub fn read(path: &Path) -> Result<Vec<Outcome>, ReadError> {
    let fault = |reason: String| ReadError { path: path.to_path_buf(), reason };
    // An absent file of the user is an empty one elsewhere; here it was named.
    std::fs::metadata(path).map_err(|e| fault(e.to_string()))?;
    let file = UserFile::read(path, REQUIRED, &[])?;
    let (rows, faults) = rows(&file);
    if faults.is_empty() { Ok(rows) } else { Err(fault(listed(&faults))) }
}

/// The sheet in its own form, as [`read`] takes it.
#[must_use]
pub fn csv(rows: &[Outcome]) -> Vec<u8> {
    let text = |t: Option<&str>| match t {
        None | Some("") => Cell::Missing,
        Some(t) => Cell::Text(t.to_owned().into()),
    };
    let whole = |n: Option<i64>| n.map_or(Cell::Missing, Cell::Integer);
    let row = |o: &Outcome| {
        let vital = o.dead.map(|dead| if dead { "dead" } else { "alive" });
        let symptoms = o.symptomatic.map(|yes| if yes { "yes" } else { "no" });
        let unknown = o.event_unknown.join(" ");
        vec![
            text(Some(&o.patient_id)),
            text(o.plan_id.as_deref()),
            text(o.lesion_id.as_deref()),
            text(Some(&o.event_type)),
            whole(o.day_event),
            whole(o.grade),
            text(o.grade_scale.as_deref()),
            text(o.basis.as_deref()),
            text(symptoms),
            whole(o.day_last_imaging),
            whole(o.day_last_contact),
            text(vital),
            text(Some(&unknown)),
            text(o.held_back.as_deref()),
            text(Some(&format!("row {}", o.row))),
        ]
    };
    let mut bytes = Vec::new();
    // Writing into memory does not fail.
    let _ = write_records(COLUMNS, rows.iter().map(row), &mut bytes);
    bytes
}

/// Faults shown at once; a sheet with more has one cause.
const SHOWN: usize = 25;

fn listed(faults: &[String]) -> String {
    let more = faults.len().saturating_sub(SHOWN);
    let mut text = faults.iter().take(SHOWN).cloned().collect::<Vec<_>>().join("\n  ");
    if more > 0 {
        text.push_str(&format!("\n  and {more} more"));
    }
    let n = faults.len();
    format!("{n} fault{}; nothing was taken from it\n  {text}", if n == 1 { "" } else { "s" })
}

fn rows(file: &UserFile) -> (Vec<Outcome>, Vec<String>) {
    let mut faults = Vec::new();
    for name in file.columns().iter().filter(|c| !COLUMNS.contains(&c.as_str()) && looks_like(c)) {
        let near = COLUMNS.iter().find(|c| dense(c) == dense(name)).unwrap_or(&"");
        faults.push(format!("column `{name}`: `{near}` is accepted"));
    }
    let filled = |row: &usize| COLUMNS.iter().any(|c| !file.text(*row, c).is_empty());
    let mut rows = Vec::new();
    for row in (0..file.row_count()).filter(filled) {
        let mut reader = Reader { file, row, faults: &mut faults };
        let outcome = reader.outcome();
        if outcome.held_back.is_none() {
            reader.consistent(&outcome);
        }
        rows.push(outcome);
    }
    if rows.is_empty() && faults.is_empty() {
        faults.push("it has no rows; one for each event, or with event_type none".to_owned());
    }
    together(&rows, &mut faults);
    (rows, faults)
}

fn dense(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).collect::<String>().to_lowercase()
}

/// Whether a column is one of ours in another spelling; others are the user's own.
fn looks_like(name: &str) -> bool {
    COLUMNS.iter().any(|c| dense(c) == dense(name))
}

struct Reader<'f> {
    file: &'f UserFile,
    row: usize,
    faults: &'f mut Vec<String>,
}

impl Reader<'_> {
    fn text(&self, column: &str) -> Option<String> {
        Some(self.file.text(self.row, column).to_owned()).filter(|t| !t.is_empty())
    }

    fn fault(&mut self, column: &str, accepted: &str) {
        let found = self.file.text(self.row, column);
        let row = self.row + 2;
        self.faults.push(format!("row {row}, column `{column}`: `{found}`; {accepted}"));
    }

    fn word(&mut self, column: &str, words: &[&str]) -> Option<String> {
        let found = self.text(column)?;
        if words.contains(&found.as_str()) {
            return Some(found);
        }
        self.fault(column, &format!("{} or nothing is accepted", words.join(", ")));
        None
    }

    fn day(&mut self, column: &str) -> Option<i64> {
        let found = self.text(column)?;
        let ambiguous = typed::number(&found).err().filter(|e| *e != NotANumber::None);
        match found.parse::<i64>() {
            // What is held back may lie before the treatment: that is why.
            Ok(day) if day >= 0 || self.text("held_back").is_some() => return Some(day),
            Err(_) if ambiguous.is_some() => {
                self.fault(column, "a whole number of days without any mark is accepted");
            }
            Ok(_) => self.fault(column, "it lies before the treatment; 0 or more is accepted"),
            Err(_) if found.matches(['-', '/', '.']).count() >= 2 => {
                self.fault(column, "a date; the number of days since the treatment is accepted");
            }
            Err(_) => self.fault(column, "a whole number of days, or nothing, is accepted"),
        }
        None
    }

    fn outcome(&mut self) -> Outcome {
        let patient_id = self.text("patient_id").unwrap_or_else(|| {
            self.fault("patient_id", "a patient_id of table plans is accepted");
            String::new()
        });
        let event_type = self.event_type();
        let grade = self.text("grade").and_then(|t| {
            let grade = t.parse::<i64>().ok().filter(|g| GRADES.contains(g));
            if grade.is_none() {
                self.fault("grade", "a whole number from 0 to 5, or nothing, is accepted");
            }
            grade
        });
        let symptomatic = self.word("symptomatic", &["true", "false", "yes", "no", "1", "0"]);
        let of = |list: &[(&'static str, &str)]| list.iter().map(|(w, _)| *w).collect::<Vec<_>>();
        let dead = match self.word("vital_status", &of(VITAL)).as_deref() {
            Some("dead") => Some(true),
            Some("alive") => Some(false),
            _ => None,
        };
        Outcome {
            row: self.row + 2,
            patient_id,
            plan_id: self.text("plan_id"),
            lesion_id: self.text("lesion_id"),
            event_type,
            day_event: self.day("day_event"),
            grade,
            grade_scale: self.text("grade_scale"),
            basis: self.word("basis", &of(BASES)),
            symptomatic: symptomatic.map(|w| ["true", "yes", "1"].contains(&w.as_str())),
            day_last_imaging: self.day("day_last_imaging"),
            day_last_contact: self.day("day_last_contact"),
            dead,
            event_unknown: self
                .text("event_unknown")
                .map(|t| t.split_whitespace().map(str::to_owned).collect())
                .unwrap_or_default(),
            held_back: self.text("held_back"),
        }
    }

    fn event_type(&mut self) -> String {
        let accepted =
            "a word of a-z, 0-9 and _ such as necrosis, or none, lost, death, is accepted";
        let Some(found) = self.text("event_type") else {
            self.fault("event_type", accepted);
            return String::new();
        };
        let letters = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
        if !found.chars().all(letters) || !found.starts_with(|c: char| c.is_ascii_lowercase()) {
            self.fault("event_type", accepted);
        }
        found
    }

    /// What one row may not say.
    fn consistent(&mut self, o: &Outcome) {
        let quiet = o.event_type == NONE || o.event_type == LOST;
        for (column, there) in [("day_event", o.day_event.is_some()), ("grade", o.grade.is_some())]
        {
            if quiet && there {
                let reason = format!("nothing is accepted where event_type is {}", o.event_type);
                self.fault(column, &reason);
            }
        }
        if o.grade.is_some() && o.grade_scale.is_none() {
            self.fault("grade_scale", "the scale of the grade is needed, such as CTCAE_5");
        }
        if o.event_type == DEATH && o.lesion_id.is_some() {
            self.fault("lesion_id", "death is of the patient; nothing is accepted");
        }
        if o.event_type == DEATH && o.dead == Some(false) {
            self.fault("vital_status", "dead or nothing is accepted where event_type is death");
        }
        let after = |day: Option<i64>, last: Option<i64>| day.zip(last).is_some_and(|(d, l)| d > l);
        if after(o.day_event, o.day_last_contact) {
            self.fault("day_event", "it lies after day_last_contact of the row");
        }
        if after(o.day_last_imaging, o.day_last_contact) {
            self.fault("day_last_imaging", "it lies after day_last_contact of the row");
        }
        if o.event_type == DEATH && after(o.day_last_contact, o.day_event) {
            self.fault("day_last_contact", "it lies after death");
        }
    }
}

/// What several rows may not say together.
fn together(all: &[Outcome], faults: &mut Vec<String>) {
    let rows: Vec<&Outcome> = all.iter().filter(|o| o.held_back.is_none()).collect();
    let rows = rows.as_slice();
    let mut seen = BTreeMap::new();
    for o in rows {
        let key = (&o.patient_id, &o.plan_id, &o.lesion_id, &o.event_type, o.day_event);
        if let Some(first) = seen.insert(key, o.row) {
            faults.push(format!("row {}: row {first} says the same event; keep one", o.row));
        }
    }
    // Of one patient, plan or lesion, last days and states are the same in all rows. A plan was last
    // heard of when it was: its patient may have lived then and be dead in the row of a later one.
    let subject = |o: &Outcome| (o.patient_id.clone(), o.plan_id.clone(), o.lesion_id.clone());
    let last = |o: &Outcome| o.day_last_imaging.map(|d| d.to_string());
    differ(rows, faults, "day_last_imaging", (&subject, &last));
    let contact = |o: &Outcome| o.day_last_contact.map(|d| d.to_string());
    differ(rows, faults, "day_last_contact", (&subject, &contact));
    let patient = |o: &Outcome| (o.patient_id.clone(), o.plan_id.clone(), None);
    let state = |o: &Outcome| {
        let dead = o.dead.or((o.event_type == DEATH).then_some(true))?;
        Some(if dead { "dead" } else { "alive" }.to_owned())
    };
    differ(rows, faults, "vital_status", (&patient, &state));
    let is_quiet = |o: &&&Outcome| o.event_type == NONE || o.event_type == LOST;
    let quiet: BTreeSet<_> = rows.iter().filter(is_quiet).map(|o| subject(o)).collect();
    for o in rows {
        let loud = ![NONE, LOST, DEATH].contains(&o.event_type.as_str());
        if loud && quiet.contains(&subject(o)) {
            let who = o.lesion_id.as_ref().unwrap_or(&o.patient_id);
            let what = &o.event_type;
            faults.push(format!(
                "row {}, column `event_type`: `{what}`; another row says none or lost of {who}",
                o.row
            ));
        }
    }
}

type Subject = (String, Option<String>, Option<String>);
type SubjectOf<'f> = dyn Fn(&Outcome) -> Subject + 'f;
type ValueOf<'f> = dyn Fn(&Outcome) -> Option<String> + 'f;

fn differ(
    rows: &[&Outcome],
    faults: &mut Vec<String>,
    column: &str,
    (subject, value): (&SubjectOf<'_>, &ValueOf<'_>),
) {
    let mut first: BTreeMap<Subject, (usize, String)> = BTreeMap::new();
    for o in rows {
        let Some(found) = value(o) else { continue };
        let (row, earlier) = first.entry(subject(o)).or_insert_with(|| (o.row, found.clone()));
        if *earlier != found {
            let row_now = o.row;
            faults.push(format!(
                "row {row_now}, column `{column}`: `{found}`; row {row} has `{earlier}`"
            ));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = "patient_id;lesion_id;event_type;day_event;grade;grade_scale;basis;\
                          symptomatic;day_last_imaging;day_last_contact;vital_status";

    fn read_text(rows: &str) -> Result<Vec<Outcome>, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("outcomes.csv");
        std::fs::write(&path, format!("{HEADER}\n{rows}")).unwrap();
        read(&path).map_err(|e| e.to_string())
    }

    fn fault(row: &str) -> String {
        read_text(row).unwrap_err()
    }

    #[test]
    fn rows_are_read_as_they_stand_and_nothing_is_filled_in() {
        let text = "P1;p/1;necrosis;200;3;CTCAE_5;imaging;yes;310;400;alive\n\
                    ;;;;;;;;;;\nP2;;none;;;;;;;;\nP3;;death;90;;;;;;90;dead\n";
        let rows = read_text(text).unwrap();
        assert_eq!(rows.len(), 3);
        assert_eq!(
            (rows[0].day_event, rows[0].grade, rows[0].symptomatic),
            (Some(200), Some(3), Some(true))
        );
        assert_eq!((rows[0].row, rows[1].row), (2, 4));
        assert_eq!(
            (rows[1].day_last_contact, rows[1].dead, rows[1].lesion_id.as_ref()),
            (None, None, None)
        );
        assert_eq!(rows[2].dead, Some(true));
    }

    #[test]
    fn every_fault_names_row_column_value_and_what_is_accepted() {
        for (row, said) in [
            (";p/1;necrosis;1", "row 2, column `patient_id`: ``; a patient_id"),
            ("P1;;Necrosis;1", "row 2, column `event_type`: `Necrosis`; a word"),
            ("P1;;;1", "column `event_type`: ``"),
            ("P1;;necrosis;2021-03-04", "`2021-03-04`; a date; the number of days"),
            ("P1;;necrosis;-4", "`-4`; it lies before the treatment"),
            ("P1;;necrosis;1.5", "`1.5`; a whole number of days"),
            ("P1;;necrosis;1.000", "`1.000`; a whole number of days without any mark"),
            ("P1;;necrosis;1;7;CTCAE_5", "`7`; a whole number from 0 to 5"),
            ("P1;;necrosis;1;3;", "column `grade_scale`: ``; the scale"),
            ("P1;;necrosis;1;;;guess", "`guess`; biopsy, imaging, clinical or nothing"),
            ("P1;;necrosis;1;;;;maybe", "`maybe`; true, false"),
            ("P1;;none;1", "column `day_event`: `1`; nothing is accepted where event_type is none"),
            ("P1;p/1;death;1", "column `lesion_id`: `p/1`; death is of the patient"),
            ("P1;;death;1;;;;;;;alive", "column `vital_status`: `alive`; dead or nothing"),
            (
                "P1;;necrosis;50;;;;;;40;",
                "column `day_event`: `50`; it lies after day_last_contact",
            ),
            ("P1;;none;;;;;;50;40;", "column `day_last_imaging`: `50`; it lies after"),
            ("P1;;death;10;;;;;;40;", "column `day_last_contact`: `40`; it lies after death"),
            ("", "it has no rows"),
        ] {
            let found = fault(row);
            assert!(found.contains(said) && found.contains("outcomes.csv: "), "{found}");
        }
    }

    #[test]
    fn rows_that_contradict_each_other_are_refused() {
        let found = fault("P1;p/1;necrosis;9\nP1;p/1;necrosis;9\n");
        assert!(found.contains("row 3: row 2 says the same event"), "{found}");
        let found = fault("P1;p/1;none\nP1;p/1;necrosis;9\n");
        assert!(found.contains("row 3, column `event_type`: `necrosis`; another row"), "{found}");
        let found = fault("P1;;none;;;;;;;40;alive\nP1;p/1;necrosis;9;;;;;;;dead\n");
        assert!(
            found.contains("row 3, column `vital_status`: `dead`; row 2 has `alive`"),
            "{found}"
        );
        let found = fault("P1;;a;1;;;;;30\nP1;;b;1;;;;;40\n");
        assert!(found.contains("column `day_last_imaging`: `40`; row 2 has `30`"), "{found}");
        assert!(found.starts_with(&found[..1]) && found.contains("1 fault; nothing was taken"));
    }

    #[test]
    fn a_column_in_another_spelling_is_not_passed_over() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("outcomes.csv");
        std::fs::write(&path, "patient_id,event_type,Day Event,my note\nP1,none,,x\n").unwrap();
        let text = read(&path).unwrap_err().to_string();
        assert!(text.contains("column `Day Event`: `day_event` is accepted"), "{text}");
        std::fs::write(&path, "patient_id,my note\nP1,x\n").unwrap();
        assert!(read(&path).unwrap_err().to_string().contains("`event_type` is missing"));
        assert!(read(&folder.path().join("nowhere.csv")).is_err());
    }
}
