//! `outcomes_map.csv`: what the columns of the department's own sheet mean, one row for each column.
//! The program proposes it and writes beside each column what speaks for it and what is to be
//! decided; the user corrects `meaning`, `of`, `form` and `values`, and what then stands there is
//! followed. A row with an empty meaning waits for a decision.

use std::collections::BTreeMap;
use std::path::Path;

use strum::{EnumIter, EnumString, IntoStaticStr, VariantNames};

use super::cells::Unit;
use crate::user::user_file::{ReadError, UserFile};
use crate::write_file::{Access, WriteError};

/// The file.
pub const FILE: &str = "outcomes_map.csv";

const COLUMNS: &[&str] =
    &["column", "meaning", "of", "form", "values", "evidence", "to_decide", "comment"];

/// What a column is.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    EnumIter,
    EnumString,
    IntoStaticStr,
    VariantNames,
)]
#[strum(serialize_all = "snake_case")]
pub enum Meaning {
    /// The patient: pseudonym or ID of the hospital.
    Patient,
    /// The plan: plan_id, or the number of the course.
    Plan,
    /// The lesion.
    Lesion,
    /// The first day of the treatment.
    TreatmentDate,
    /// Whether the event of column `of` happened.
    Event,
    /// When the event of column `of` happened.
    Time,
    /// When it happened, or until when it was looked for.
    TimeOrEnd,
    /// Grade of the event.
    Grade,
    /// Scale of the grades.
    GradeScale,
    /// What the diagnosis rests on.
    Basis,
    /// Whether there were symptoms.
    Symptomatic,
    /// The kind of event, where each row is one event.
    EventType,
    /// When the last images were taken.
    LastImaging,
    /// When the patient was last known of.
    LastContact,
    /// Whether the patient is dead.
    Dead,
    /// When the patient died.
    Death,
    /// Anything else that is known of patient, plan or lesion.
    Covariate,
    /// Not used, on purpose.
    NotUsed,
}

impl Meaning {
    /// The word in the file.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }

    /// What it says of a column, for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Patient => "the patient: patient_id of the tables, or the hospital's ID",
            Self::Plan => "the plan: plan_id of the tables, or the number of the course",
            Self::Lesion => "the lesion: lesion_id, its structure, or the clinic's label",
            Self::TreatmentDate => "first day of the treatment; tells the plan",
            Self::Event => "whether an event happened; `of` names the event",
            Self::Time => "when the event of `of` happened",
            Self::TimeOrEnd => "when it happened, else until when it was looked for",
            Self::Grade => "grade of the event of `of`, 0 to 5",
            Self::GradeScale => "scale of the grades",
            Self::Basis => "what the diagnosis rests on: biopsy, imaging or clinical",
            Self::Symptomatic => "whether there were symptoms",
            Self::EventType => "the kind of event, where each row is one event",
            Self::LastImaging => "when the last images were taken",
            Self::LastContact => "when the patient was last known of",
            Self::Dead => "whether the patient is dead",
            Self::Death => "when the patient died",
            Self::Covariate => "a covariate; `of` is its name in tables and figures",
            Self::NotUsed => "not used, on purpose",
        }
    }

    /// Whether its cells are moments.
    #[must_use]
    pub const fn is_moment(self) -> bool {
        matches!(
            self,
            Self::TreatmentDate
                | Self::Time
                | Self::TimeOrEnd
                | Self::LastImaging
                | Self::LastContact
                | Self::Death
        )
    }

    /// Whether it belongs to one kind of event, which `of` names.
    #[must_use]
    pub const fn is_of_event(self) -> bool {
        matches!(
            self,
            Self::Event
                | Self::Time
                | Self::TimeOrEnd
                | Self::Grade
                | Self::GradeScale
                | Self::Basis
                | Self::Symptomatic
        )
    }
}

/// How cells are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, EnumIter, EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
pub enum Form {
    /// Dates that can be read in one way only.
    Date,
    /// Dates; where day and month can be exchanged, the day comes first.
    DateDayFirst,
    /// Dates; where day and month can be exchanged, the month comes first.
    DateMonthFirst,
    /// Days since the first fraction.
    Days,
    /// Weeks of 7 days since the first fraction.
    Weeks,
    /// Months of 30.4375 days since the first fraction, rounded to a day.
    Months,
    /// Years of 365.25 days since the first fraction, rounded to a day.
    Years,
    /// A covariate that is a number.
    Number,
    /// A covariate of few words.
    Category,
}

impl Form {
    /// The word in the file.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }

    /// What it says of the cells, for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Date => "dates that can be read in one way; others are held back",
            Self::DateDayFirst => "dates; where both are possible, the day comes first",
            Self::DateMonthFirst => "dates; where both are possible, the month comes first",
            Self::Days => "days since the first fraction",
            Self::Weeks => "weeks of 7 days since the first fraction",
            Self::Months => "months of 30.4375 days since the first fraction, rounded to a day",
            Self::Years => "years of 365.25 days since the first fraction, rounded to a day",
            Self::Number => "a covariate that is a number",
            Self::Category => "a covariate of few words",
        }
    }

    /// The unit of a duration.
    #[must_use]
    pub const fn unit(self) -> Option<Unit> {
        match self {
            Self::Days => Some(Unit::Days),
            Self::Weeks => Some(Unit::Weeks),
            Self::Months => Some(Unit::Months),
            Self::Years => Some(Unit::Years),
            _ => None,
        }
    }

    /// Whether it is a form of dates.
    #[must_use]
    pub const fn is_date(self) -> bool {
        matches!(self, Self::Date | Self::DateDayFirst | Self::DateMonthFirst)
    }
}

/// A row of the file, proposed or decided.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct MapRow {
    /// Name of the column in the sheet.
    pub column: String,
    /// What it is; absent where that is to be decided.
    pub meaning: Option<Meaning>,
    /// The event or the name that it belongs to.
    pub of: String,
    /// How its cells are written.
    pub form: Option<Form>,
    /// What words of it mean, small letters; an empty meaning waits for a decision.
    pub values: BTreeMap<String, String>,
    /// What speaks for it.
    pub evidence: String,
    /// What a person should look at.
    pub to_decide: String,
}

/// What stands for an empty cell in `values`.
pub(super) const BLANK: &str = "(blank)";

impl MapRow {
    /// Why it cannot be followed yet.
    #[must_use]
    pub fn open(&self) -> Option<String> {
        let waiting: Vec<&str> =
            self.values.iter().filter(|(_, m)| m.is_empty()).map(|(w, _)| w.as_str()).collect();
        let dates = self.meaning.is_some_and(Meaning::is_moment) && self.form.is_none();
        if self.meaning.is_none() {
            Some(format!("`{}`: column meaning is empty", self.column))
        } else if dates {
            Some(format!("`{}`: column form is empty", self.column))
        } else if waiting.is_empty() {
            None
        } else {
            Some(format!("`{}`: values say nothing of {}", self.column, waiting.join(", ")))
        }
    }

    /// What the text of a cell stands for by `values`; the text itself where they say nothing.
    #[must_use]
    pub fn translated<'a>(&'a self, cell: &'a str) -> &'a str {
        let key = if cell.is_empty() { BLANK.to_owned() } else { cell.to_lowercase() };
        self.values.get(&key).map_or(cell, String::as_str)
    }
}

/// The file with what is decided in it.
#[derive(Debug, Clone)]
pub struct OutcomeMap {
    file: UserFile,
    rows: Vec<MapRow>,
}

impl OutcomeMap {
    /// Reads the file; empty where there is none.
    ///
    /// # Errors
    /// When it cannot be read, or a word is none that is accepted.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let (file, rows) =
            UserFile::read_decided(path, [&["column", "meaning"], COLUMNS], decided)?;
        Ok(Self { file, rows })
    }

    /// All rows.
    #[must_use]
    pub fn rows(&self) -> &[MapRow] {
        &self.rows
    }

    /// The row of a column.
    #[must_use]
    pub fn row(&self, column: &str) -> Option<&MapRow> {
        self.rows.iter().find(|r| r.column == column)
    }

    /// Adds a proposal; a column that has its row keeps it.
    pub fn propose(&mut self, row: MapRow) {
        if self.row(&row.column).is_some() {
            return;
        }
        self.file.add(&[
            ("column", &row.column),
            ("meaning", row.meaning.map_or("", Meaning::word)),
            ("of", &row.of),
            ("form", row.form.map_or("", Form::word)),
            ("values", &written(&row.values)),
            ("evidence", &row.evidence),
            ("to_decide", &row.to_decide),
        ]);
        self.rows.push(row);
    }

    /// Writes the file if something was added.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), WriteError> {
        self.file.write(path, Access::Shared)
    }
}

fn written(values: &BTreeMap<String, String>) -> String {
    values.iter().map(|(word, meaning)| format!("{word}={meaning}")).collect::<Vec<_>>().join("; ")
}

fn decided(file: &UserFile) -> Result<Vec<MapRow>, String> {
    let mut rows: Vec<MapRow> = Vec::new();
    for number in 0..file.row_count() {
        let text = |column: &str| file.text(number, column).to_owned();
        let line = UserFile::line(number);
        if text("column").is_empty() {
            continue;
        }
        let row = MapRow {
            column: text("column"),
            meaning: word(&text("meaning"), "meaning", line, Meaning::VARIANTS)?,
            of: text("of"),
            form: word(&text("form"), "form", line, Form::VARIANTS)?,
            values: values(&text("values"), line)?,
            evidence: text("evidence"),
            to_decide: text("to_decide"),
        };
        if let Some(earlier) = rows.iter().position(|r| r.column == row.column) {
            let first = UserFile::line(earlier);
            return Err(format!(
                "row {line}: `{}` stands in row {first} too; keep one",
                row.column
            ));
        }
        if row.meaning.is_some_and(|m| m == Meaning::Event) && row.of.is_empty() {
            return Err(format!("row {line}, column `of`: the name of the event is needed"));
        }
        rows.push(row);
    }
    Ok(rows)
}

fn word<T: std::str::FromStr>(
    text: &str,
    column: &str,
    line: usize,
    accepted: &[&str],
) -> Result<Option<T>, String> {
    if text.is_empty() {
        return Ok(None);
    }
    let plain = text.to_lowercase().replace([' ', '-'], "_");
    plain.parse().map(Some).map_err(|_| {
        let accepted = accepted.join(", ");
        format!("row {line}, column `{column}`: `{text}`; {accepted} or nothing is accepted")
    })
}

fn values(text: &str, line: usize) -> Result<BTreeMap<String, String>, String> {
    let mut values = BTreeMap::new();
    for pair in text.split(';').map(str::trim).filter(|p| !p.is_empty()) {
        let Some((word, meaning)) = pair.rsplit_once('=') else {
            return Err(format!(
                "row {line}, column `values`: `{pair}`; word=meaning, separated by semicolons, is \
                 accepted"
            ));
        };
        values.insert(word.trim().to_lowercase(), meaning.trim().to_owned());
    }
    Ok(values)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(rows: &str) -> Result<OutcomeMap, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE);
        std::fs::write(&path, format!("column;meaning;of;form;values\n{rows}")).unwrap();
        OutcomeMap::read(&path).map_err(|e| e.reason)
    }

    #[test]
    fn what_a_person_wrote_is_followed_and_a_proposal_never_replaces_it() {
        let mut map = read("RN;Event;necrosis;;\"ja=yes; (blank)=no\"\nFU;last contact;;Months;\n");
        let map = map.as_mut().unwrap();
        let row = map.row("RN").unwrap();
        assert_eq!(
            (row.meaning, row.translated("Ja"), row.translated("")),
            (Some(Meaning::Event), "yes", "no")
        );
        assert_eq!(map.row("FU").unwrap().form, Some(Form::Months));
        map.propose(MapRow { column: "FU".into(), ..MapRow::default() });
        assert_eq!(map.row("FU").unwrap().meaning, Some(Meaning::LastContact));
        assert_eq!(map.rows.len(), 2);
    }

    #[test]
    fn what_waits_for_a_decision_says_so() {
        let map =
            read("a;;;;\nb;event;x;;\"ja=yes; evtl=\"\nc;time;x;;\nd;covariate;;;\n").unwrap();
        let open = |c| map.row(c).unwrap().open();
        assert_eq!(open("a").unwrap(), "`a`: column meaning is empty");
        assert_eq!(open("b").unwrap(), "`b`: values say nothing of evtl");
        assert_eq!(open("c").unwrap(), "`c`: column form is empty");
        assert_eq!(open("d"), None);
    }

    #[test]
    fn a_word_that_is_none_is_named_with_those_that_are() {
        for (rows, said) in [
            ("a;when;;;\n", "row 2, column `meaning`: `when`; patient, plan, lesion"),
            ("a;time;x;hours;\n", "row 2, column `form`: `hours`; date, date_day_first"),
            ("a;event;x;;ja\n", "row 2, column `values`: `ja`; word=meaning"),
            ("a;event;;;\n", "row 2, column `of`: the name of the event"),
            ("a;plan;;;\na;lesion;;;\n", "row 3: `a` stands in row 2 too"),
        ] {
            let found = read(rows).unwrap_err();
            assert!(found.contains(said), "{found}");
        }
    }
}
