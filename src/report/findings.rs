//! What the reading and the measuring found, and what waits for a decision of a person.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use maud::{Markup, html};

use super::html_page::part;
use super::number::counted;
use tidydose_table::read::{CellError, ChoiceRow, FindingRow, Severity, State, Tables, rows};
use tidydose_table::user::choices::ALL_PLANS;

/// Open findings that are listed one by one.
const LISTED: usize = 200;

/// The part of the page.
pub(super) fn section(tables: &Tables) -> Result<Markup, CellError> {
    let mut questions: Vec<ChoiceRow<'_>> = rows(tables)?;
    questions.retain(|q| q.decision.is_empty());
    let findings: Vec<FindingRow<'_>> = rows(tables)?;
    let for_all: Vec<&str> =
        questions.iter().filter(|q| q.plan_id == ALL_PLANS).map(|q| &*q.question).collect();
    let (answered_together, alone): (Vec<_>, Vec<_>) =
        questions.iter().partition(|q| q.plan_id != ALL_PLANS && for_all.contains(&&*q.question));
    Ok(part(
        "findings",
        "Findings and open decisions",
        &html! {
            @if questions.is_empty() { p { "No question waits in choices.csv." } } @else {
                h3 { "Questions that only a person can answer" }
                p { "Answer them in the column decision of choices.csv, then measure again." }
                (list(&alone))
                @if !answered_together.is_empty() { details {
                    summary { (counted(answered_together.len(), "question")) " that an answer under * "
                        "holds for" }
                    (list(&answered_together))
                } }
            }
            @if tables.contains_key("findings") { (kinds(&findings)) (open(&findings)) }
            @else { p.note { "The study has no table of findings." } }
        },
    ))
}

fn list(questions: &[&ChoiceRow<'_>]) -> Markup {
    html! { ul { @for q in questions {
        li { strong { (q.plan_id) " " (q.question) } ": " (q.evidence) }
    } } }
}

#[derive(Default)]
struct Kind<'f> {
    open: usize,
    decided: usize,
    meaning: &'f str,
    consequence: &'f str,
    action: &'f str,
}

fn kinds(findings: &[FindingRow<'_>]) -> Markup {
    // What stops something comes first.
    let mut kinds: BTreeMap<(Reverse<Severity>, &str), Kind<'_>> = BTreeMap::new();
    for f in findings {
        let kind = kinds.entry((Reverse(f.severity), f.code)).or_default();
        *(if f.state == State::Open { &mut kind.open } else { &mut kind.decided }) += 1;
        (kind.meaning, kind.consequence, kind.action) = (f.meaning, f.consequence, f.action);
    }
    html! {
        div.scroll tabindex="0" role="region" aria-label="Kinds of findings" { table {
            caption { "Kinds of findings: stop refuses something, check asks to look, note \
                 informs" }
            thead { tr { @for words in
                ["Severity", "Kind", "Open", "Decided", "What it is", "What it does to the numbers",
                "What a person can do"] { th scope="col" { (words) } } } }
            tbody { @for ((severity, code), kind) in &kinds { tr {
                td { (severity.0.word()) } th scope="row" { (code) } td.n { (kind.open) } td.n
                    { (kind.decided) }
                td { (kind.meaning) } td { (kind.consequence) } td { (kind.action) }
            } } }
        } }
    }
}

/// What stands for a case where a finding has none.
fn whole(details: Option<i64>) -> &'static str {
    if details.is_some_and(|n| n > 1) { "several" } else { "no case" }
}

fn open(findings: &[FindingRow<'_>]) -> Markup {
    let mut open: Vec<&FindingRow<'_>> = findings
        .iter()
        .filter(|f| f.state == State::Open && f.severity != Severity::Note)
        .collect();
    open.sort_by_key(|f| (Reverse(f.severity), f.plan_id, f.code));
    let rest = open.len().saturating_sub(LISTED);
    html! {
        details {
            summary { "Open findings one by one: " (counted(open.len(), "finding")) }
            @if rest > 0 { p.note { "The first " (LISTED) " are listed; " (rest)
                " more are in table findings." } }
            div.scroll tabindex="0" role="region" aria-label="Open findings" { table {
                caption { "Findings that stop something or ask to look, not decided yet" }
                thead { tr { @for words in ["Severity", "Kind", "Case", "What was seen"]
                    { th scope="col" { (words) } } } }
                tbody { @for f in open.into_iter().take(LISTED) { tr {
                    td { (f.severity.word()) }
                    td { (f.code) }
                    th scope="row" { (f.plan_id.unwrap_or_else(|| whole(f.n_details))) }
                    td { (f.message) }
                } } }
            } }
        }
    }
}
