//! Whether an answer is accepted, by the same rules as the file that keeps it, and the cells that it
//! becomes there.

use std::collections::BTreeSet;

use super::Answer;
use crate::user::questions::{ALL_OF, Place, ROLE};
use crate::user::states::State;
use crate::user::sums_file::{APART, SUM_OF_ANSWERS};
use crate::user::{choices, lesion_file, names, prescriptions};
use strum::VariantNames;
use tidydose_case::{Question, Role, SumBasis, own_name};
use tidydose_rt::finding::Code;
use tidydose_rt::nearest::nearest;

/// Cells of a row: column and text.
pub(super) type Cells = Vec<(&'static str, String)>;

/// Names that are accepted without being standard ones.
pub(super) fn own_names(answers: &[Answer], known: &[String]) -> Vec<String> {
    let own = answers.iter().filter(|a| a.key.place == Place::Names);
    let own = own.filter_map(|a| own_name(&a.answer)).map(str::to_owned);
    own.chain(known.iter().cloned()).collect::<BTreeSet<_>>().into_iter().collect()
}

/// The cells that keep an answer.
///
/// # Errors
/// What would be accepted.
pub(super) fn decided(answer: &Answer, own: &[String]) -> Result<Cells, String> {
    let typed = answer.answer.as_str();
    match answer.key.place {
        Place::Names => name(typed, own),
        Place::Prescriptions => {
            prescriptions::dose(typed)?;
            Ok(vec![("prescription_gy", typed.to_owned())])
        }
        Place::Choices => {
            let question: Question = answer.key.subject.parse().map_err(|_| {
                let all = Question::VARIANTS.join(", ");
                format!("question `{}` is put nowhere; one of {all} is", answer.key.subject)
            })?;
            choices::accepts(&answer.key.plan_id, question, typed)?;
            Ok(vec![("decision", typed.to_owned())])
        }
        Place::Lesions => {
            lesion_file::accepts(&answer.key.subject, typed)?;
            Ok(vec![("same_as", typed.to_owned())])
        }
        Place::ClinicalLesions => Ok(vec![("lesion_id", typed.to_owned())]),
        Place::Sums => sum(typed),
        Place::Findings => {
            let state: State = typed.parse().map_err(|_| {
                format!("the state is unknown; {} is accepted", State::VARIANTS.join(", "))
            })?;
            Ok(vec![("state", state.word().to_owned())])
        }
    }
}

/// What is added up, or that a plan stands apart.
fn sum(typed: &str) -> Result<Cells, String> {
    if typed.eq_ignore_ascii_case(APART) {
        return Ok(vec![("sum", String::new()), ("basis", APART.to_owned())]);
    }
    let basis: SumBasis = typed
        .parse()
        .map_err(|_| format!("it is not {} or {APART}", SumBasis::VARIANTS.join(", ")))?;
    Ok(vec![("sum", SUM_OF_ANSWERS.to_owned()), ("basis", basis.word().to_owned())])
}

/// A standard name, a name of one's own, or a role behind its mark.
fn name(typed: &str, own: &[String]) -> Result<Cells, String> {
    let role = typed.split_at_checked(ROLE.len()).filter(|(m, _)| m.eq_ignore_ascii_case(ROLE));
    let Some((_, word)) = role else {
        names::accepts(typed, own)?;
        return Ok(vec![("name_standard", typed.to_owned()), ("role", String::new())]);
    };
    let role: Role = word.trim().parse().map_err(|_| {
        let all: Vec<String> = Role::VARIANTS.iter().map(|word| format!("{ROLE}{word}")).collect();
        format!("the role is unknown; one of {} is accepted", all.join(", "))
    })?;
    Ok(vec![("name_standard", String::new()), ("role", role.word().to_owned())])
}

/// The cells by which the row of an answer is found.
///
/// # Errors
/// What is wrong with the subject.
pub(super) fn key(answer: &Answer) -> Result<Cells, String> {
    let key = &answer.key;
    let (subject, plan) = (key.subject.clone(), key.plan_id.clone());
    let needed = |text: String, column: &str| {
        if text.is_empty() { Err(format!("{column} is empty")) } else { Ok(text) }
    };
    Ok(match key.place {
        Place::Names => vec![
            ("name_original", subject),
            ("plan_id", plan),
            ("roi_number", key.roi_number.clone()),
        ],
        Place::Prescriptions => {
            vec![("plan_id", needed(plan, "plan_id")?), ("roi_number", key.roi_number.clone())]
        }
        Place::Choices => {
            vec![("plan_id", needed(plan, "plan_id")?), ("question", needed(subject, "subject")?)]
        }
        Place::Lesions => vec![("lesion_id", needed(subject, "subject")?)],
        Place::ClinicalLesions => vec![
            ("patient_id", needed(key.patient_id.clone(), "patient_id")?),
            ("plan_id", plan),
            ("clinical_label", needed(subject, "subject")?),
        ],
        Place::Sums => vec![
            ("patient_id", needed(key.patient_id.clone(), "patient_id")?),
            ("plan_id", needed(plan, "plan_id")?),
        ],
        Place::Findings => match subject.strip_prefix(ALL_OF) {
            None => vec![("finding_id", needed(subject, "subject")?)],
            Some(code) => vec![("finding_id", "*".to_owned()), ("code", known_code(code)?)],
        },
    })
}

fn known_code(code: &str) -> Result<String, String> {
    match Code::from_id(code) {
        Some(known) => Ok(known.definition().id.to_owned()),
        None => {
            let near = nearest(code, Code::ALL.iter().map(|c| c.definition().id));
            Err(format!("no finding has the code `{code}`; nearest: {near}"))
        }
    }
}
