//! One question for all findings of a kind that a person has to judge, each of which can be judged
//! for itself.

use std::collections::{BTreeMap, BTreeSet};

use strum::IntoEnumIterator;

use super::{ALL_OF, Accepts, Fact, Key, Part, Place, Question, counted};
use crate::causes::Cause;
use crate::user::states::State;
use crate::words::Word;
use tidydose_rt::finding::Code;

/// The findings that wait for somebody to look at them. One that somebody left open on purpose, as an
/// exception, is not asked about again.
#[must_use]
pub fn of_findings(causes: &[Cause<'_>]) -> Vec<Question> {
    let mut by_code: BTreeMap<Code, Vec<&Cause<'_>>> = BTreeMap::new();
    for cause in causes.iter().filter(|c| c.waits() && !c.stands_apart()) {
        if let Some(code) = cause.code() {
            by_code.entry(code).or_default().push(cause);
        }
    }
    by_code.into_iter().map(|(code, list)| question(code, &list)).collect()
}

fn question(code: Code, list: &[&Cause<'_>]) -> Question {
    let definition = code.definition();
    let facts = [
        ("What it is", definition.meaning),
        ("What follows from it", definition.consequence),
        ("What can be done", definition.action),
    ];
    let parts: Vec<Part> = list.iter().map(|cause| part(cause)).collect();
    let plans: BTreeSet<_> = list
        .iter()
        .flat_map(|cause| &cause.members)
        .filter_map(|member| member.finding.subject.case.as_ref())
        .collect();
    let all = Key::of(Place::Findings, format!("{ALL_OF}{}", definition.id));
    let n = list.len();
    Question {
        place: Place::Findings,
        title: format!("{} ({})", definition.id, counted(n, "finding")),
        asks: "Has somebody looked at it, and what came of it?".to_owned(),
        cases: plans.len(),
        facts: facts.map(|(what, seen)| Fact { what, seen: seen.to_owned() }).to_vec(),
        accepts: Accepts::Words(states()),
        suggestions: Vec::new(),
        all: if n > 1 { Some(all) } else { parts.first().map(|p| p.key.clone()) },
        all_words: if n > 1 {
            format!("{} of this kind, and later ones", counted(n, "finding"))
        } else {
            "this finding".to_owned()
        },
        parts,
        volume_cc: None,
    }
}

/// What may be said of a finding; that it stays open is said by no answer.
fn states() -> Vec<Word> {
    let said = State::iter().filter(|state| *state != State::Open);
    let word = |s: State| Word { word: s.word().to_owned(), meaning: s.meaning().to_owned() };
    said.map(word).collect()
}

fn part(cause: &Cause<'_>) -> Part {
    let plan = cause.shared(|s| s.case.as_ref());
    let number = cause.shared(|s| s.roi_number);
    let structures = cause.structures();
    let title = match (plan, structures.is_empty()) {
        (Some(plan), true) => format!("plan {plan}"),
        (Some(plan), false) => format!("{structures}, plan {plan}"),
        (None, false) => structures,
        (None, true) => cause.id.clone(),
    };
    Part {
        key: Key::of(Place::Findings, cause.id.clone()),
        title,
        seen: cause.message(),
        structure: plan.cloned().zip(number),
    }
}
