//! `reviews.csv`: what a committee said about a case, meeting by meeting. The program adds a row for
//! each case to talk about that has none; people fill in the rest, in a spreadsheet or from paper, and
//! add further rows for later meetings. Nothing of it reaches a table: it is shown on the page alone.

use std::collections::BTreeSet;
use std::path::Path;

use super::user_file::{ReadError, UserFile};
use crate::write_file::{Access, WriteError};
use tidydose_rt::nearest::nearest;

const COLUMNS: &[&str] = &[
    "plan_id",
    "organ",
    "seen",
    "met_on",
    "who",
    "discussed",
    "outcome",
    "action",
    "due",
    "comment",
];
const REQUIRED: &[&str] = &["plan_id", "organ"];

/// The file.
pub const FILE: &str = "reviews.csv";

/// A row, as it was typed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ReviewNote {
    /// Row as a spreadsheet counts, the header is 1.
    pub line: usize,
    /// The case, as in table plans.
    pub plan_id: String,
    /// Standard name of the organ.
    pub organ: String,
    /// Date of the meeting.
    pub met_on: String,
    /// Who was there, or who decided.
    pub who: String,
    /// Whether it was talked about; absent where nothing stands there.
    pub discussed: Option<bool>,
    /// What was decided.
    pub outcome: String,
    /// What is to be done.
    pub action: String,
    /// Until when.
    pub due: String,
    /// Anything else.
    pub comment: String,
}

impl ReviewNote {
    /// Whether a person has written anything into the row.
    #[must_use]
    pub fn says_something(&self) -> bool {
        let texts =
            [&self.met_on, &self.who, &self.outcome, &self.action, &self.due, &self.comment];
        self.discussed.is_some() || texts.iter().any(|text| !text.is_empty())
    }
}

/// A case to talk about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    /// The case.
    pub plan_id: String,
    /// What the page says of it.
    pub seen: String,
}

/// The file with its rows.
#[derive(Debug, Clone)]
pub struct ReviewsFile {
    file: UserFile,
    notes: Vec<ReviewNote>,
}

impl ReviewsFile {
    /// Reads `reviews.csv`; empty where there is none.
    ///
    /// # Errors
    /// When it cannot be read, or a word in column `discussed` is not understood.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let (file, notes) = UserFile::read_decided(path, [REQUIRED, COLUMNS], notes)?;
        Ok(Self { file, notes })
    }

    /// All rows, in their order.
    #[must_use]
    pub fn notes(&self) -> &[ReviewNote] {
        &self.notes
    }

    /// Adds a row for each of these cases that has none for the organ. Returns how many were added.
    pub fn propose(&mut self, organ: &str, cases: &[Proposal]) -> usize {
        let there = self.file.keys(&["plan_id", "organ"]);
        let mut added = 0;
        for case in cases {
            if !there.contains(&vec![case.plan_id.clone(), organ.to_owned()]) {
                let row =
                    [("plan_id", case.plan_id.as_str()), ("organ", organ), ("seen", &case.seen)];
                self.file.add(&row);
                added += 1;
            }
        }
        added
    }

    /// A sentence for each row about a plan that is not among `plans`: it is kept and shown nowhere.
    #[must_use]
    pub fn unmatched(&self, plans: &BTreeSet<&str>) -> Vec<String> {
        let strange = self.notes.iter().filter(|n| !plans.contains(n.plan_id.as_str()));
        let sentence = |n: &ReviewNote| {
            let near = nearest(&n.plan_id, plans.iter().copied());
            let (line, plan) = (n.line, &n.plan_id);
            format!(
                "row {line} of {FILE}, column plan_id: `{plan}` is no plan of this study; the \
                 nearest: {near}"
            )
        };
        strange.map(sentence).collect()
    }

    /// Writes the rows that were added; otherwise the file stays as it is.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path, access: Access) -> Result<(), WriteError> {
        self.file.write(path, access)
    }
}

fn notes(file: &UserFile) -> Result<Vec<ReviewNote>, String> {
    let mut notes = Vec::new();
    for row in 0..file.row_count() {
        let text = |column: &str| file.text(row, column).to_owned();
        let (plan_id, organ) = (text("plan_id"), text("organ"));
        if plan_id.is_empty() && organ.is_empty() {
            continue;
        }
        let line = UserFile::line(row);
        notes.push(ReviewNote {
            line,
            plan_id,
            organ,
            met_on: text("met_on"),
            who: text("who"),
            discussed: discussed(&text("discussed"), line)?,
            outcome: text("outcome"),
            action: text("action"),
            due: text("due"),
            comment: text("comment"),
        });
    }
    Ok(notes)
}

fn discussed(text: &str, line: usize) -> Result<Option<bool>, String> {
    match text.to_lowercase().as_str() {
        "" => Ok(None),
        "yes" | "y" | "1" | "x" => Ok(Some(true)),
        "no" | "n" | "0" => Ok(Some(false)),
        _ => Err(format!(
            "row {line}, column discussed: `{text}`; yes or no are accepted, or nothing"
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn proposal(plan: &str) -> Proposal {
        Proposal { plan_id: plan.to_owned(), seen: "16.2 Gy against 15 Gy".to_owned() }
    }

    #[test]
    fn a_row_is_added_once_and_what_people_wrote_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE);
        let mut file = ReviewsFile::read(&path).unwrap();
        assert_eq!(file.propose("Brainstem", &[proposal("a"), proposal("b")]), 2);
        file.write(&path, Access::Shared).unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.contains("a,Brainstem,16.2 Gy against 15 Gy,,,,,,,\r\n"), "{text}");
        let filled = text.replace("15 Gy,,,,,,,\r\nb", "15 Gy,2031-03-02,KW,yes,accept,,,\r\nb");
        std::fs::write(&path, &filled).unwrap();
        let mut file = ReviewsFile::read(&path).unwrap();
        assert_eq!(file.propose("Brainstem", &[proposal("a"), proposal("b")]), 0);
        assert_eq!(file.propose("OpticChiasm", &[proposal("a")]), 1, "another organ");
        let [first, second] = file.notes() else { panic!("{:?}", file.notes()) };
        assert_eq!((first.discussed, first.outcome.as_str()), (Some(true), "accept"));
        assert!(first.says_something() && !second.says_something());
        file.write(&path, Access::Shared).unwrap();
        assert!(std::fs::read_to_string(&path).unwrap().starts_with(&filled));
    }

    #[test]
    fn rows_that_mean_nothing_are_said() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE);
        std::fs::write(&path, "plan_id;organ;discussed\nOab3;Brainstem;no\n").unwrap();
        let file = ReviewsFile::read(&path).unwrap();
        let said = file.unmatched(&BTreeSet::from(["Oab4"]));
        let wanted = "row 2 of reviews.csv, column plan_id: `Oab3` is no plan of this study";
        assert!(said.len() == 1 && said[0].starts_with(wanted), "{said:?}");
        assert!(said[0].ends_with("Oab4"));
        assert!(file.unmatched(&BTreeSet::from(["Oab3"])).is_empty());
        std::fs::write(&path, "plan_id,organ,discussed\nOab3,Brainstem,perhaps\n").unwrap();
        let fault = ReviewsFile::read(&path).unwrap_err().to_string();
        assert!(fault.contains("row 2, column discussed: `perhaps`; yes or no"), "{fault}");
    }
}
