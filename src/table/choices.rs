//! `choices.csv`: what only the user can tell about a case. The program adds a row for every
//! question that keeps a case from being measured; the user answers in the column `decision`; a
//! row left blank there is no decision.
//!
//! | `question` | `decision` |
//! |---|---|
//! | `same_frame` | `yes`: structures and dose lie in one frame of reference though their UIDs differ |
//! | `dose_id` | the dose of the candidates that is to be measured |
//! | `treated` | `yes` or `no`: whether this version of the plan was the one treated |
//! | `relative_unit_gy` | the dose in Gy that relative value 1 stands for |
//!
//! A question that is not in this list is left alone and said.

use std::path::Path;

use super::unmatched::{CaseIndex, Known, Spot, Unmatched};
use super::user_file::{ReadError, UserFile};
use super::write_file::{Access, WriteError};
use tidydose_case::alike::Existing;
use tidydose_case::{Case, Decisions, Question};
use tidydose_geometry::units::Gray;
use tidydose_geometry::units::typed::{self, NotANumber};
use tidydose_rt::identity::Token;

const COLUMNS: &[&str] = &["plan_id", "question", "evidence", "decision", "comment"];

/// The file.
pub const FILE: &str = "choices.csv";

/// The file with its decisions.
#[derive(Debug, Clone)]
pub struct ChoicesFile {
    file: UserFile,
    decisions: Decisions,
}

impl ChoicesFile {
    /// Reads `choices.csv`; empty where there is none.
    ///
    /// # Errors
    /// When it cannot be read, an answer is none that its question accepts, or two rows answer the
    /// same question differently.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let (file, decisions) = UserFile::read_decided(path, [COLUMNS, COLUMNS], decisions)?;
        Ok(Self { file, decisions })
    }

    /// Adds what was decided here to `decisions`. A plan is meant in any letter case.
    pub fn decide(&self, known: &Known, decisions: &mut Decisions) {
        let named = |token: &Token| known.objects.one(token.as_str()).map(Token::new);
        let own = self.decisions.clone().with_cases(|token| named(&token).unwrap_or(token));
        decisions.same_frame.extend(own.same_frame);
        decisions.dose.extend(own.dose);
        decisions.treated.extend(own.treated);
        decisions.relative_unit.extend(own.relative_unit);
    }

    /// The answered rows that mean no question, no plan or no dose that is there.
    #[must_use]
    pub fn unmatched(&self, known: &Known, cases: &[Case]) -> Vec<Unmatched> {
        let words: Existing = Question::WORDS.iter().map(|(_, word)| *word).collect();
        let mut unmatched = Vec::new();
        let cases = CaseIndex::of(cases);
        for row in (0..self.file.row_count()).filter(|r| !self.file.text(*r, "decision").is_empty())
        {
            let spot = |column| {
                let value = self.file.text(row, column);
                Spot { file: FILE, line: UserFile::line(row), column, value }
            };
            let question = spot("question").among(&words, "question is put so");
            let dose = question.as_ref().is_ok_and(|q| *q == Question::Dose.word());
            let answer = dose.then(|| spot("decision").among(&known.objects, "dose is called so"));
            unmatched.extend(question.err());
            unmatched.extend(spot("plan_id").case(&cases).err());
            unmatched.extend(answer.and_then(Result::err));
        }
        unmatched
    }

    /// Adds a row for every case that an answer would put right and that has none yet.
    pub fn propose(&mut self, cases: &[Case]) {
        let mut sorted: Vec<_> = cases.iter().collect();
        sorted.sort_by_key(|c| (&c.patient, &c.id));
        let mut known = self.file.keys(&["plan_id", "question"]);
        for case in sorted {
            let Some((code, reason)) = &case.left_out else { continue };
            let Some(question) = Question::about(*code) else { continue };
            if known.insert(vec![case.id.to_string(), question.word().to_owned()]) {
                self.file.add(&[
                    ("plan_id", case.id.as_str()),
                    ("question", question.word()),
                    ("evidence", reason),
                ]);
            }
        }
    }

    /// Writes the file if rows were added; a study without questions has none.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), WriteError> {
        if self.file.row_count() == 0 {
            return Ok(());
        }
        self.file.write(path, Access::Shared)
    }
}

fn decisions(file: &UserFile) -> Result<Decisions, String> {
    let mut all = Decisions::default();
    for row in 0..file.row_count() {
        let line = UserFile::line(row);
        let (word, answer) = (file.text(row, "question"), file.text(row, "decision"));
        let asked = |w: &str| w.eq_ignore_ascii_case(word);
        let question = Question::WORDS.iter().find(|(_, w)| asked(w)).map(|(q, _)| *q);
        let Some(question) = question.filter(|_| !answer.is_empty()) else { continue };
        let plan = file.text(row, "plan_id");
        if plan.is_empty() {
            return Err(format!("row {line}: plan_id is empty; copy it from table plans"));
        }
        let new = take(&mut all, &Token::new(plan), question, answer)
            .map_err(|accepted| format!("row {line}: {word} `{answer}` is not {accepted}"))?;
        if !new {
            return Err(format!("row {line}: an earlier row says otherwise; keep one of them"));
        }
    }
    Ok(all)
}

/// Takes an answer over; false when the same question was answered differently before.
///
/// # Errors
/// What the question accepts.
fn take(
    all: &mut Decisions,
    case: &Token,
    question: Question,
    answer: &str,
) -> Result<bool, &'static str> {
    let word = answer.to_ascii_lowercase();
    let yes = match word.as_str() {
        "yes" | "true" | "1" => Some(true),
        "no" | "false" | "0" => Some(false),
        _ => None,
    };
    let case = case.clone();
    Ok(match question {
        Question::SameFrame => match yes.ok_or("yes or no")? {
            true => {
                all.same_frame.insert(case);
                true
            }
            false => !all.same_frame.contains(&case),
        },
        Question::Treated => {
            let treated = yes.ok_or("yes or no")?;
            all.treated.insert(case, treated).is_none_or(|before| before == treated)
        }
        Question::Dose => {
            let dose = Token::new(answer);
            all.dose.insert(case, dose.clone()).is_none_or(|before| before == dose)
        }
        Question::RelativeUnit => {
            let unit = match typed::number(answer) {
                Ok(value) if value > 0.0 => Gray::gy(value),
                Err(NotANumber::Ambiguous { .. }) => {
                    return Err(
                        "one number alone, since its mark can separate thousands; write it \
                                without a mark, or with fewer or more than three digits behind",
                    );
                }
                _ => return Err("a positive number of Gy"),
            };
            all.relative_unit.insert(case, unit).is_none_or(|before| before == unit)
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::example::Example;
    use tidydose_rt::finding::Code;

    fn read(rows: &str) -> Result<ChoicesFile, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("choices.csv");
        std::fs::write(&path, format!("{}\r\n{rows}", COLUMNS.join(";"))).unwrap();
        ChoicesFile::read(&path).map_err(|e| e.reason)
    }

    #[test]
    fn every_question_takes_its_answer() {
        let rows = "P1;same_frame;;Yes;\r\nP2;dose_id;;D7;\r\nP3;treated;;no;\r\n\
                    P4;relative_unit_gy;;0,2;per cent\r\nP5;treated;;;\r\nP5;of_others;;x;\r\n";
        let d = read(rows).unwrap().decisions;
        let token = Token::new;
        assert!(d.same_frame.contains(&token("P1")) && d.same_frame.len() == 1);
        assert_eq!(d.dose[&token("P2")], token("D7"));
        assert_eq!((d.treated.len(), d.treated[&token("P3")]), (1, false));
        assert_eq!(d.relative_unit[&token("P4")], Gray::gy(0.2));
    }

    #[test]
    fn faults_name_the_row() {
        for (rows, expected) in [
            ("P1;same_frame;;maybe;\n", "row 2: same_frame `maybe` is not yes or no"),
            ("P1;relative_unit_gy;;-1;\n", "is not a positive number of Gy"),
            ("P1;relative_unit_gy;;2.400;\n", "relative_unit_gy `2.400` is not one number alone"),
            (";treated;;yes;\n", "row 2: plan_id is empty"),
            ("P1;treated;;yes;\nP1;treated;;no;\n", "row 3: an earlier row"),
            ("P1;same_frame;;yes;\nP1;same_frame;;no;\n", "row 3: an earlier row"),
        ] {
            let message = read(rows).unwrap_err();
            assert!(message.contains(expected), "{message}");
        }
    }

    #[test]
    fn answers_to_nothing_are_said() {
        let rows = "plan;treatd;;yes;\nplna;treated;;yes;\nPLAN;Treated;;no;\n\
                    plan;dose_id;;dsoe;\nplan;of_others;;;\n";
        let file = read(rows).unwrap();
        let known = Known { objects: ["plan", "dose"].into_iter().collect(), ..Known::default() };
        let cases = [crate::testing::case_of(&["GTV"])];
        let said = file.unmatched(&known, &cases);
        let said: Vec<String> = said.iter().map(Unmatched::sentence).collect();
        let wanted = [
            "row 2 of choices.csv, column question: `treatd`: no question is put so; the nearest is \
             `treated`",
            "row 3 of choices.csv, column plan_id: `plna`: no plan of table plans is called so; the \
             nearest is `plan`",
            "row 5 of choices.csv, column decision: `dsoe`: no dose is called so; the nearest is \
             `dose`",
        ];
        assert_eq!(said, wanted);
        let mut decisions = Decisions::default();
        file.decide(&known, &mut decisions);
        assert!(!decisions.treated[&Token::new("plan")]);
    }

    #[test]
    fn only_questions_that_keep_a_case_out_are_put() {
        let mut cases = Example::new().cases;
        let mut file = read("").unwrap();
        file.propose(&cases);
        assert_eq!(file.file.row_count(), 0, "a missing object is no question");
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("choices.csv");
        file.write(&path).unwrap();
        assert!(!path.exists());
        cases[1].left_out = Some((Code::LinkFrameMismatch, "two frames".to_owned()));
        file.propose(&cases);
        file.propose(&cases);
        assert_eq!(file.file.row_count(), 1);
        assert_eq!(file.file.text(0, "question"), "same_frame");
        file.write(&path).unwrap();
        assert!(std::fs::read_to_string(path).unwrap().contains("two frames"));
    }
}
