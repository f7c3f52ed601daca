//! `choices.csv`: what only the user can tell about a case. The program adds a row for every
//! question that keeps a case from being measured, and for every plan of which nothing tells
//! whether it was treated; the user answers in the column `decision`; a row left blank there is no
//! decision.
//!
//! | `question` | `decision` |
//! |---|---|
//! | `same_frame` | `yes`: structures and dose lie in one frame of reference though their UIDs differ |
//! | `dose_id` | the dose of the candidates that is to be measured |
//! | `treated` | `yes` or `no`: whether this plan, or this version of it, was the one treated |
//! | `relative_unit_gy` | the dose in Gy that relative value 1 stands for |
//! | `patient_id` | under which of several Patient IDs a plan is meant of which there are copies |
//!
//! Under plan_id `*` an answer to `treated` holds for every plan that is neither marked as approved
//! nor named by a treatment record and has no answer of its own. It does not choose between
//! versions.
//!
//! A question that is not in this list is left alone and said.

use std::collections::BTreeSet;
use std::path::Path;

use strum::VariantNames;

use super::unmatched::{CaseIndex, Known, Spot, Unmatched};
use super::user_file::{ReadError, UserFile};
use crate::write_file::{Access, WriteError};
use tidydose_case::alike::Existing;
use tidydose_case::{Case, Decisions, Question, RoleReason, Standing};
use tidydose_geometry::units::Gray;
use tidydose_geometry::units::typed::{self, NotANumber};
use tidydose_rt::finding::Code;
use tidydose_rt::identity::Token;

/// Stands in plan_id for all plans.
pub const ALL_PLANS: &str = "*";

pub(super) const COLUMNS: &[&str] = &["plan_id", "question", "evidence", "decision", "comment"];

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
        decisions.patient.extend(own.patient);
        decisions.treated_all = own.treated_all.or(decisions.treated_all);
    }

    /// The answered rows that mean no question, no plan or no dose that is there.
    #[must_use]
    pub fn unmatched(&self, known: &Known, cases: &[Case]) -> Vec<Unmatched> {
        let words: Existing = Question::VARIANTS.iter().copied().collect();
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
            if self.file.text(row, "plan_id") != ALL_PLANS {
                unmatched.extend(spot("plan_id").case(&cases).err());
            }
            unmatched.extend(answer.and_then(Result::err));
        }
        unmatched
    }

    /// Adds a row for every case that an answer would put right and that has none yet, with one row
    /// for all plans where several may have been treated.
    pub fn propose(&mut self, cases: &[Case]) {
        let mut sorted: Vec<_> = cases.iter().collect();
        sorted.sort_by_key(|c| (&c.patient, &c.id));
        let mut known = self.file.keys(&["plan_id", "question"]);
        let mut add = |plan: &str, question: Question, evidence: &str| {
            if known.insert(vec![plan.to_owned(), question.word().to_owned()]) {
                self.file.add(&[
                    ("plan_id", plan),
                    ("question", question.word()),
                    ("evidence", evidence),
                ]);
            }
        };
        let unproven =
            |c: &&Case| c.left_out.is_none() && c.treatment.reason == RoleReason::Unproven;
        let several = sorted.iter().copied().filter(unproven).count();
        if several > 1 {
            let text = format!(
                "{several} plans are neither marked as approved nor named by a treatment record; \
                 one answer here holds for all of them that have no answer of their own"
            );
            add(ALL_PLANS, Question::Treated, &text);
        }
        for case in sorted {
            for (question, evidence) in questions(case) {
                add(case.id.as_str(), question, &evidence);
            }
        }
    }

    /// How many of the questions that are put wait for an answer.
    #[must_use]
    pub fn open(&self, cases: &[Case]) -> usize {
        let asked = cases.iter().flat_map(|c| questions(c).into_iter().map(|(q, _)| (&c.id, q)));
        // A row that was answered and is still asked waits for another answer.
        asked.collect::<BTreeSet<_>>().len()
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

/// What is to be asked about a case, with what speaks for either answer.
pub(super) fn questions(case: &Case) -> Vec<(Question, String)> {
    let mut list = Vec::new();
    if let Some((code, reason)) = &case.left_out
        && let Some(question) = Question::about(*code)
    {
        list.push((question, reason.clone()));
    }
    // Of a plan that is left out for want of a dose nothing hangs on the answer.
    let matters = case.left_out.as_ref().is_none_or(|(code, _)| *code == Code::PlanSuperseded);
    if case.treatment.asked && matters {
        list.push((Question::Treated, evidence(case)));
    }
    list
}

/// What is known of a plan of which nothing tells whether it was treated.
fn evidence(case: &Case) -> String {
    let plan = case.plan.as_ref();
    let approval = plan.and_then(|p| p.approval.as_deref()).filter(|a| !a.trim().is_empty());
    let approval = approval
        .map_or_else(|| "no Approval Status".to_owned(), |word| format!("Approval Status {word}"));
    let known = match case.treatment.reason {
        RoleReason::Unproven => format!("{approval}, no treatment record"),
        reason => format!("{approval}; {}", reason.words()),
    };
    let without = match case.treatment.standing() {
        Standing::Presumed => "; it counts unless you say no",
        Standing::Undecided => {
            "; another plan of the patient was treated: it does not count unless you say yes"
        }
        Standing::Counts | Standing::Aside => "; it does not count unless you say yes",
    };
    format!("{known}{without}")
}

fn decisions(file: &UserFile) -> Result<Decisions, String> {
    let mut all = Decisions::default();
    for row in 0..file.row_count() {
        let line = UserFile::line(row);
        let (word, answer) = (file.text(row, "question"), file.text(row, "decision"));
        let question = word.parse::<Question>().ok();
        let Some(question) = question.filter(|_| !answer.is_empty()) else { continue };
        let plan = file.text(row, "plan_id");
        if plan.is_empty() {
            return Err(format!("row {line}: plan_id is empty; copy it from table plans"));
        }
        if plan == ALL_PLANS && question != Question::Treated {
            return Err(format!(
                "row {line}: plan_id `{ALL_PLANS}` answers question {} only; name one plan",
                Question::Treated.word()
            ));
        }
        let new = take(&mut all, &Token::new(plan), question, answer)
            .map_err(|accepted| format!("row {line}: {word} `{answer}` is not {accepted}"))?;
        if !new {
            return Err(format!("row {line}: an earlier row says otherwise; keep one of them"));
        }
    }
    Ok(all)
}

/// Whether an answer to a question about a plan, or about all, is accepted.
///
/// # Errors
/// What would be.
pub(super) fn accepts(plan_id: &str, question: Question, answer: &str) -> Result<(), String> {
    if plan_id == ALL_PLANS && question != Question::Treated {
        return Err(format!("one plan is to be named for question {}", question.word()));
    }
    take(&mut Decisions::default(), &Token::new(plan_id), question, answer)
        .map(|_| ())
        .map_err(|accepted| format!("it is not {accepted}"))
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
            if case.as_str() == ALL_PLANS {
                return Ok(all.treated_all.replace(treated).is_none_or(|b| b == treated));
            }
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
        Question::Patient => {
            let patient = Token::new(answer);
            all.patient.insert(case, patient.clone()).is_none_or(|before| before == patient)
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::example::Example;

    fn read(rows: &str) -> Result<ChoicesFile, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("choices.csv");
        std::fs::write(&path, format!("{}\r\n{rows}", COLUMNS.join(";"))).unwrap();
        ChoicesFile::read(&path).map_err(|e| e.reason)
    }

    #[test]
    fn every_question_takes_its_answer() {
        let rows = "P1;same_frame;;Yes;\r\nP2;dose_id;;D7;\r\nP3;treated;;no;\r\n\
                    P4;relative_unit_gy;;0,2;per cent\r\nP5;treated;;;\r\nP5;of_others;;x;\r\n\
                    P6;patient_id;;A;\r\n*;treated;;YES;\r\n";
        let d = read(rows).unwrap().decisions;
        let token = Token::new;
        assert!(d.same_frame.contains(&token("P1")) && d.same_frame.len() == 1);
        assert_eq!(d.dose[&token("P2")], token("D7"));
        assert_eq!((d.treated.len(), d.treated[&token("P3")]), (1, false));
        assert_eq!(d.relative_unit[&token("P4")], Gray::gy(0.2));
        assert_eq!((&d.patient[&token("P6")], d.treated_all), (&token("A"), Some(true)));
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
            ("*;treated;;yes;\n*;treated;;no;\n", "row 3: an earlier row"),
            ("*;same_frame;;yes;\n", "row 2: plan_id `*` answers question treated only"),
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

    #[test]
    fn plans_of_which_nothing_tells_are_asked_about_one_by_one_and_all_at_once() {
        let mut cases = Example::new().cases;
        for case in &mut cases {
            case.left_out = None;
            case.treatment.reason = RoleReason::Unproven;
            case.treatment.asked = true;
        }
        let mut file = read("").unwrap();
        file.propose(&cases);
        file.propose(&cases);
        assert_eq!(file.file.row_count(), 1 + cases.len());
        assert_eq!(file.file.text(0, "plan_id"), "*");
        assert!(file.file.text(1, "evidence").contains("it counts unless you say no"));
        assert_eq!(file.open(&cases), cases.len());
        cases[1].left_out = Some((Code::LinkMissing, "no dose".to_owned()));
        let mut file = read("").unwrap();
        file.propose(&cases);
        assert_eq!(file.file.row_count(), 1, "nothing hangs on a plan without dose");
    }
}
