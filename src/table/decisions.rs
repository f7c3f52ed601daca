//! `decisions.csv`: what people decided about findings. The program adds a row for every finding to
//! look at, the user fills `state`, `decided_by`, `decided_on` and `why`; a row without a state is
//! no decision. The key is the finding's own name (code and subject, as in table findings), so
//! that a decision outlives renamed files, further cases and new messages. Of the row only the state
//! goes into the tables: who decided, and why, stays with the user.

use std::collections::BTreeMap;
use std::path::Path;

use super::findings::named;
use super::user_file::{ReadError, UserFile};
use super::write_file::{Access, WriteError};
use tidydose_rt::finding::{Finding, Severity};
use tidydose_rt::identity::Token;

const COLUMNS: &[&str] = &[
    "finding_id",
    "code",
    "plan_id",
    "roi_number",
    "message",
    "state",
    "decided_by",
    "decided_on",
    "why",
];
const REQUIRED: &[&str] = &["finding_id", "state"];

/// What a person made of a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum State {
    /// Nobody has decided.
    Open,
    /// Looked at; the numbers stand as they are.
    Accepted,
    /// Put right at the source or in a decision file.
    Corrected,
    /// Not to be looked at for this study.
    Waived,
}

const STATES: [State; 4] = [State::Open, State::Accepted, State::Corrected, State::Waived];

impl State {
    /// The word used in the tables.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Accepted => "accepted",
            Self::Corrected => "corrected",
            Self::Waived => "waived",
        }
    }

    /// Every word.
    pub(super) const WORDS: &'static [&'static str] =
        &[Self::Open.word(), Self::Accepted.word(), Self::Corrected.word(), Self::Waived.word()];

    fn of(word: &str) -> Option<Self> {
        STATES.into_iter().find(|s| s.word().eq_ignore_ascii_case(word))
    }
}

/// The decided states by finding; what is not in it is open.
pub type States = BTreeMap<String, State>;

/// The file with its decisions.
#[derive(Debug, Clone)]
pub struct DecisionsFile {
    file: UserFile,
    states: States,
}

impl DecisionsFile {
    /// Reads `decisions.csv`; empty where there is none.
    ///
    /// # Errors
    /// When it cannot be read, a state is unknown, or two rows decide one finding differently.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let (file, states) = UserFile::read_decided(path, [REQUIRED, COLUMNS], states)?;
        Ok(Self { file, states })
    }

    /// The decided states.
    #[must_use]
    pub const fn states(&self) -> &States {
        &self.states
    }

    /// The findings about which nobody has decided, in their order.
    #[must_use]
    pub fn open<'f>(&self, findings: impl Iterator<Item = &'f Finding>) -> Vec<&'f Finding> {
        let mut sorted: Vec<_> = findings.collect();
        sorted.sort();
        sorted.dedup();
        let open = named(sorted).into_iter().filter(|(id, _)| !self.states.contains_key(id));
        open.map(|(_, finding)| finding).collect()
    }

    /// Adds a row for every finding to look at that has none yet.
    pub fn propose<'f>(&mut self, findings: impl Iterator<Item = &'f Finding>) {
        let mut sorted: Vec<_> = findings.collect();
        sorted.sort();
        sorted.dedup();
        let mut known = self.file.keys(&["finding_id"]);
        for (id, finding) in named(sorted) {
            let decidable = finding.severity() == Severity::Check;
            if !decidable || !known.insert(vec![id.clone()]) {
                continue;
            }
            let subject = &finding.subject;
            self.file.add(&[
                ("finding_id", &id),
                ("code", finding.code.definition().id),
                ("plan_id", subject.case.as_ref().map_or("", Token::as_str)),
                ("roi_number", &subject.roi_number.map_or(String::new(), |n| n.to_string())),
                ("message", &finding.message),
            ]);
        }
    }

    /// Writes the file if rows were added.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), WriteError> {
        self.file.write(path, Access::Shared)
    }
}

fn states(file: &UserFile) -> Result<States, String> {
    let mut states = States::new();
    for row in 0..file.row_count() {
        let line = UserFile::line(row);
        let word = file.text(row, "state");
        if word.is_empty() {
            continue;
        }
        let state = State::of(word).ok_or_else(|| {
            format!(
                "row {line}: state `{word}` is unknown; {} is accepted",
                State::WORDS.join(", ")
            )
        })?;
        let id = file.text(row, "finding_id").to_owned();
        if id.is_empty() {
            return Err(format!("row {line}: finding_id is empty; copy it from table findings"));
        }
        if states.insert(id, state).is_some_and(|earlier| earlier != state) {
            return Err(format!("row {line}: an earlier row has another state; keep one of them"));
        }
    }
    states.retain(|_, state| *state != State::Open);
    Ok(states)
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_rt::finding::{Code, Subject};

    fn finding(code: Code, roi: i64, message: &str) -> Finding {
        let subject = Subject {
            case: Some(Token::new("plan-1")),
            file: Some(Token::new("file")),
            roi_number: Some(roi),
            ..Subject::default()
        };
        Finding::new(code, subject, message)
    }

    fn read(text: &str) -> Result<DecisionsFile, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("decisions.csv");
        std::fs::write(&path, text).unwrap();
        DecisionsFile::read(&path).map_err(|e| e.reason)
    }

    #[test]
    fn findings_to_look_at_are_proposed_once_and_decided_ones_stay_decided() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("decisions.csv");
        let seen = [
            finding(Code::PlanesFew, 1, "2 planes"),
            finding(Code::NameUnmapped, 1, "a note is nothing to decide"),
            finding(Code::PlanesFew, 2, "1 plane"),
        ];
        let mut file = DecisionsFile::read(&path).unwrap();
        file.propose(seen.iter());
        file.write(&path).unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        assert_eq!(text.lines().count(), 3, "{text}");
        let decided = text.replacen("2 planes,,,,", "2 planes,accepted,HD,2024-05-01,seen", 1);
        std::fs::write(&path, &decided).unwrap();
        // A file renamed and a message in other words: the same finding.
        let mut later = seen.clone();
        later[0].subject.file = Some(Token::new("renamed"));
        later[0].message = "two planes".to_owned();
        let mut file = DecisionsFile::read(&path).unwrap();
        assert_eq!(file.open(later.iter()), [&later[2], &later[1]]);
        file.propose(later.iter());
        file.write(&path).unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), decided);
    }

    /// Decisions of earlier versions are found again: the name of a finding never changes. The digits
    /// are the start of SHA-256 over code, patient, case, file, object, number and attribute, with a
    /// zero byte between.
    #[test]
    fn the_name_of_a_finding_is_the_same_in_every_version() {
        let finding = finding(Code::PlanesFew, 1, "2 planes");
        assert_eq!(named(vec![&finding])[0].0, "6e7883916b1e");
    }

    #[test]
    fn faults_name_the_row_and_the_remedy() {
        let head = "finding_id,state\n";
        let message = |rows: &str| read(&format!("{head}{rows}")).unwrap_err();
        assert!(message("a,done\n").contains("row 2: state `done` is unknown; open, accepted"));
        assert!(message(",waived\n").contains("row 2: finding_id is empty"));
        assert!(message("a,waived\na,accepted\n").contains("row 3: an earlier row"));
        assert!(read(&format!("{head}a,open\n")).unwrap().states().is_empty());
    }
}
