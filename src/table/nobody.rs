//! What to say where nobody is in a study: why plans are left out, and which decision would bring
//! them back, with file, column and value.

use std::collections::BTreeMap;

use super::frame::{LoadedTable, flags, texts};
use tidydose_case::Question;
use tidydose_rt::finding::Code;

/// The sentence for table plans; nothing as soon as one plan is in the study.
#[must_use]
pub fn nobody(plans: &LoadedTable) -> Option<String> {
    if plans.cells("in_study").is_none() {
        return Some(
            "table plans has no column in_study: it was made by another version of the program; \
             measure the study again"
                .to_owned(),
        );
    }
    if flags(plans, "in_study").contains(&Some(true)) {
        return None;
    }
    let measured = flags(plans, "measured");
    let codes = texts(plans, "exclusion_code").into_iter().zip(measured);
    Some(sentence(codes.map(|(code, measured)| match (code, measured) {
        (None, Some(true)) => Some(Code::PlanUndecided),
        (code, _) => Code::from_id(code.unwrap_or_default()),
    })))
}

/// The sentence for plans that are left out with these codes, or without one.
#[must_use]
pub fn sentence(codes: impl Iterator<Item = Option<Code>>) -> String {
    let mut counts: BTreeMap<Option<Code>, usize> = BTreeMap::new();
    for code in codes {
        *counts.entry(code).or_insert(0) += 1;
    }
    if counts.is_empty() {
        return "no plan is in the study: the archive holds none".to_owned();
    }
    let mut list: Vec<(Option<Code>, usize)> = counts.into_iter().collect();
    list.sort_by_key(|(code, n)| (std::cmp::Reverse(*n), *code));
    let parts: Vec<String> = list.into_iter().map(part).collect();
    format!("no plan is in the study. {}", parts.join("; "))
}

fn part((code, n): (Option<Code>, usize)) -> String {
    let Some(code) = code else { return format!("{n} not measured") };
    let definition = code.definition();
    let what = format!("{n} {}: {}", definition.id, definition.meaning);
    match question(code) {
        Some(question) => format!(
            "{what} (answer in choices.csv, question {}, column decision: {})",
            question.word(),
            question.answer()
        ),
        None => format!("{what} ({})", definition.action),
    }
}

/// The question whose answer would put the plan into the study.
const fn question(code: Code) -> Option<Question> {
    match code {
        Code::PlanUndecided
        | Code::PlanNotTreated
        | Code::PlanNotTreatment
        | Code::PlanSuperseded => Some(Question::Treated),
        code => Question::about(code),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Cells;

    fn plans(rows: &[(bool, bool, Option<&str>)]) -> LoadedTable {
        let in_study = rows.iter().map(|r| Some(r.0)).collect();
        let measured = rows.iter().map(|r| Some(r.1)).collect();
        LoadedTable::new(vec![
            ("in_study".to_owned(), Cells::Boolean(in_study)),
            ("measured".to_owned(), Cells::Boolean(measured)),
            ("exclusion_code".to_owned(), Cells::texts(rows.iter().map(|r| r.2))),
        ])
    }

    #[test]
    fn the_sentence_says_what_to_decide_and_where() {
        let none = [
            (false, true, None),
            (false, false, Some("link-missing")),
            (false, false, Some("plan-not-treated")),
            (false, false, Some("plan-not-treated")),
        ];
        let text = nobody(&plans(&none)).unwrap();
        let treated = "choices.csv, question treated, column decision: yes";
        assert!(text.starts_with("no plan is in the study. 2 plan-not-treated"), "{text}");
        assert_eq!(text.matches(treated).count(), 2, "{text}");
        assert!(text.contains("1 plan-undecided") && text.contains("export the missing"), "{text}");
        assert!(nobody(&plans(&[])).unwrap().contains("holds none"));
    }

    #[test]
    fn one_plan_is_enough_and_an_older_table_is_said() {
        assert_eq!(nobody(&plans(&[(true, true, None), (false, false, None)])), None);
        let older =
            LoadedTable::new(vec![("measured".to_owned(), Cells::Boolean(vec![Some(true)]))]);
        assert!(nobody(&older).unwrap().contains("measure the study again"));
    }
}
