//! Rows of the user's files that mean nothing that is there: a name in the wrong character set, a
//! mangled identifier, a structure of another plan. Each is said with file, row, column and value and
//! with the nearest thing that exists; none is followed. Rows that nobody has decided are no matter.

use std::collections::BTreeMap;

use tidydose_case::Case;
use tidydose_case::alike::{Existing, Meant};
use tidydose_rt::Inventory;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::Token;

/// A row that cannot be followed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unmatched {
    /// The file, such as `names.csv`.
    pub file: &'static str,
    /// The row as a spreadsheet counts, the header is 1.
    pub line: usize,
    /// The column.
    pub column: &'static str,
    /// What stands there, as it was typed.
    pub value: String,
    /// Why it cannot be followed, in words and names of the tables.
    pub reason: String,
    /// The nearest things that exist, the best first.
    pub nearest: Box<[String]>,
    /// Which kind of finding it is.
    pub code: Code,
    /// The patient, where that is known.
    pub patient: Option<Box<Token>>,
}

impl Unmatched {
    /// The sentence for the person at the terminal.
    #[must_use]
    pub fn sentence(&self) -> String {
        self.worded(&format!("`{}`", self.value))
    }

    /// The finding, which leaves the hospital with the tables: a value that is like nothing there
    /// could be anything, also a name, and only its length is shown.
    #[must_use]
    pub fn finding(&self) -> Finding {
        let near: Existing = self.nearest.iter().collect();
        let alike = !near.nearest(&self.value, 1).is_empty();
        let harmless = alike || HARMLESS.contains(&self.column);
        let shown = match self.value.chars().count() {
            _ if harmless => format!("`{}`", self.value),
            0 => "empty".to_owned(),
            n => format!("a text of {n} characters"),
        };
        let subject = Subject { patient: self.patient.as_deref().cloned(), ..Subject::default() };
        Finding::new(self.code, subject, self.worded(&shown))
    }

    fn worded(&self, value: &str) -> String {
        let Self { file, line, column, reason, nearest, .. } = self;
        let nearest: Vec<_> = nearest.iter().map(|n| format!("`{n}`")).collect();
        let nearest = match nearest.as_slice() {
            [] => String::new(),
            names => format!("; the nearest is {}", names.join(", ")),
        };
        format!("row {line} of {file}, column {column}: {value}: {reason}{nearest}")
    }
}

/// Columns in which nobody writes what could name a person.
const HARMLESS: [&str; 3] = ["finding_id", "roi_number", "question"];

/// So many of the nearest things are named.
const SHOWN: usize = 3;

/// The names and identifiers of an archive that rows of the user's files can mean.
#[derive(Debug, Clone, Default)]
pub struct Known {
    /// Every ROI Name.
    pub roi_names: Existing,
    /// Tokens of plans, doses and structure sets; each case is called by one of them.
    pub objects: Existing,
    /// Tokens of patients.
    pub patients: Existing,
}

impl Known {
    /// What an archive holds.
    #[must_use]
    pub fn of(inventory: &Inventory) -> Self {
        let sets = &inventory.structure_sets;
        let plans = inventory.plans.iter().map(|p| &p.origin);
        let doses = inventory.doses.iter().map(|d| &d.origin);
        let origins: Vec<_> = plans.chain(doses).chain(sets.iter().map(|s| &s.origin)).collect();
        Self {
            roi_names: sets.iter().flat_map(|s| &s.rois).map(|roi| roi.name.as_str()).collect(),
            objects: origins.iter().map(|o| o.object.as_str()).collect(),
            patients: origins.iter().filter_map(|o| Some(o.patient.as_ref()?.as_str())).collect(),
        }
    }
}

/// A cell of a user's file.
#[derive(Debug, Clone, Copy)]
pub struct Spot<'a> {
    /// The file.
    pub file: &'static str,
    /// The row as a spreadsheet counts.
    pub line: usize,
    /// The column.
    pub column: &'static str,
    /// What stands there.
    pub value: &'a str,
}

impl Spot<'_> {
    /// That the row cannot be followed.
    #[must_use]
    pub fn unmatched(self, reason: impl Into<String>, nearest: Vec<String>) -> Unmatched {
        let Self { file, line, column, value } = self;
        let (value, reason) = (value.to_owned(), reason.into());
        let nearest = nearest.into_boxed_slice();
        let (code, patient) = (Code::UserRowUnmatched, None);
        Unmatched { file, line, column, value, reason, nearest, code, patient }
    }

    /// The one thing of `existing` that the cell means; `what` is what nothing is called so.
    ///
    /// # Errors
    /// The row that cannot be followed.
    pub fn among<'e>(self, existing: &'e Existing, what: &str) -> Result<&'e str, Unmatched> {
        match existing.meant(self.value) {
            Meant::One(name) => Ok(name),
            Meant::Several(names) => {
                let reason = format!(
                    "several are called so but for case, blanks or Unicode form; write one of them \
                     as it stands in the tables ({what})"
                );
                Err(self.unmatched(reason, names.to_vec()))
            }
            Meant::Nothing => {
                let near = existing.nearest(self.value, SHOWN);
                let near = near.into_iter().map(str::to_owned).collect();
                Err(self.unmatched(format!("no {what}"), near))
            }
        }
    }

    /// The case that the cell means.
    ///
    /// # Errors
    /// The row that cannot be followed.
    pub fn case<'c>(self, cases: &CaseIndex<'c>) -> Result<&'c Case, Unmatched> {
        let id = self.among(&cases.ids, PLAN)?;
        let found = cases.by_id.get(id).copied();
        found.ok_or_else(|| self.unmatched(format!("no {PLAN}"), Vec::new()))
    }
}

/// Cases by their names, for many rows.
#[derive(Debug, Clone)]
pub struct CaseIndex<'c> {
    ids: Existing,
    by_id: BTreeMap<&'c str, &'c Case>,
}

impl<'c> CaseIndex<'c> {
    /// Of these cases.
    #[must_use]
    pub fn of(cases: &'c [Case]) -> Self {
        let by_id: BTreeMap<&str, &Case> = cases.iter().map(|c| (c.id.as_str(), c)).collect();
        Self { ids: by_id.keys().collect(), by_id }
    }
}

/// What a plan_id names.
pub const PLAN: &str = "plan of table plans is called so";

#[cfg(test)]
mod tests {
    use super::*;

    const SPOT: Spot<'static> =
        Spot { file: "names.csv", line: 5, column: "name_original", value: "Trnco " };

    #[test]
    fn a_row_is_named_with_the_nearest_thing() {
        let names: Existing = ["Tronco", "GTV"].into_iter().collect();
        let row = SPOT.among(&names, "structure is called so").unwrap_err();
        let said = "row 5 of names.csv, column name_original: `Trnco `: no structure is called so; \
                    the nearest is `Tronco`";
        assert_eq!(row.sentence(), said);
        assert_eq!(row.finding().message, said);
        assert_eq!(Spot { value: "tronco ", ..SPOT }.among(&names, ""), Ok("Tronco"));
    }

    /// The findings leave the hospital; what is unlike all names there may be a person's.
    #[test]
    fn a_value_that_is_like_nothing_is_not_in_the_finding() {
        let names: Existing = ["Tronco"].into_iter().collect();
        let row = Spot { value: "Doe^Jane", ..SPOT }.among(&names, "structure so").unwrap_err();
        assert!(row.sentence().contains("`Doe^Jane`: no structure so"));
        let message = row.finding().message;
        assert!(message.contains("a text of 8 characters: no structure so"), "{message}");
        assert!(!message.contains("Doe"));
    }

    #[test]
    fn of_several_names_none_is_taken() {
        let names: Existing = ["GTV", "gtv"].into_iter().collect();
        let row = Spot { value: "Gtv", ..SPOT }.among(&names, "structure").unwrap_err();
        assert!(row.sentence().ends_with("the nearest is `GTV`, `gtv`"), "{}", row.sentence());
    }
}
