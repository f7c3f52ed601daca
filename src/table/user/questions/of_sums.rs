//! One question for each patient whose plans may be added up, which each plan can answer for itself.
//! Nothing is proposed: whether doses belong together is not in the files.

use std::collections::BTreeMap;

use strum::IntoEnumIterator;

use super::{Accepts, Fact, Key, Part, Place, Question, counted};
use crate::user::choices::ALL_PLANS;
use crate::user::sums_file::{APART, APART_MEANING, SumsFile};
use crate::words::Word;
use tidydose_case::SumBasis;

/// The patients with plans of which nobody has said whether they are added up.
#[must_use]
pub fn of_sums(file: &SumsFile) -> Vec<Question> {
    let mut by_patient: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for row in file.undecided() {
        by_patient.entry(file.rows().text(row, "patient_id")).or_default().push(row);
    }
    by_patient.into_iter().map(|(patient, rows)| question(file, patient, &rows)).collect()
}

fn question(file: &SumsFile, patient: &str, rows: &[usize]) -> Question {
    let subject = Key::of(Place::Sums, patient);
    let all = Key { patient_id: patient.to_owned(), ..subject }.in_plan(ALL_PLANS);
    let part = |row: &usize| {
        let plan = file.rows().text(*row, "plan_id");
        Part {
            key: Key { plan_id: plan.to_owned(), ..all.clone() },
            title: format!("plan {plan}"),
            seen: seen(file, *row),
            structure: None,
        }
    };
    let plans = counted(rows.len(), "plan");
    let follows = "as one dose with the structures of the latest plan, in table sums; each plan keeps \
                   its own rows as well. Without an answer nothing is added";
    let decided = file.sums().iter().filter(|sum| sum.patient.as_str() == patient);
    let decided: Vec<String> = decided
        .map(|sum| format!("{} of {}", sum.basis.word(), counted(sum.plans.len(), "plan")))
        .collect();
    let mut facts = vec![Fact { what: "What is added up", seen: follows.to_owned() }];
    if !decided.is_empty() {
        facts.push(Fact { what: "Decided already", seen: decided.join(", ") });
    }
    Question {
        place: Place::Sums,
        title: format!("patient {patient}, {plans}"),
        asks: "Are the doses of these plans to be added up, and how?".to_owned(),
        cases: rows.len(),
        facts,
        accepts: Accepts::Words(words()),
        suggestions: Vec::new(),
        all: Some(all.clone()),
        all_words: format!("{plans} of the patient"),
        parts: rows.iter().map(part).collect(),
        volume_cc: None,
    }
}

/// What may be said of a plan.
fn words() -> Vec<Word> {
    let word =
        |word: &str, meaning: &str| Word { word: word.to_owned(), meaning: meaning.to_owned() };
    let mut words: Vec<Word> =
        SumBasis::iter().map(|basis| word(basis.word(), basis.meaning())).collect();
    words.push(word(APART, APART_MEANING));
    words
}

/// What the file knows of a plan.
fn seen(file: &SumsFile, row: usize) -> String {
    let text = |column| file.rows().text(row, column);
    let mut said = Vec::new();
    for (before, column) in [("day ", "day_plan"), ("course ", "course")] {
        if !text(column).is_empty() {
            said.push(format!("{before}{}", text(column)));
        }
    }
    match text("fractions") {
        "" => {}
        "1" => said.push("1 fraction".to_owned()),
        n => said.push(format!("{n} fractions")),
    }
    if text("frame_of_latest").eq_ignore_ascii_case("no") {
        said.push("no registration to the images of the latest plan".to_owned());
    }
    said.join(", ")
}
