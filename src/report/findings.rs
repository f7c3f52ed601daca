//! What the reading and the measuring found, and what waits for a decision of a person.

use std::collections::BTreeMap;

use maud::{Markup, html};
use tidydose_table::frame::LoadedTable;

use super::cohort::cell;
use super::number::counted;
use super::part;
use tidydose_table::frame::{integers, texts};

/// Open findings that are listed one by one.
const LISTED: usize = 200;

/// The part of the page.
pub(super) fn section(tables: &BTreeMap<String, LoadedTable>) -> Markup {
    let questions = tables.get("choices").map_or_else(Vec::new, open_questions);
    part(
        "findings",
        "Findings and open decisions",
        &html! {
            @if questions.is_empty() { p { "No question waits in choices.csv." } } @else {
                h3 { "Questions that only a person can answer" }
                p { "Answer them in the column decision of choices.csv, then measure again." }
                ul { @for (plan, question, evidence) in &questions {
                    li { strong { (plan) " " (question) } ": " (evidence) }
                } }
            }
            @match tables.get("findings") {
                Some(frame) => { (kinds(frame)) (open(frame)) },
                None => { p.note { "The study has no table of findings." } },
            }
        },
    )
}

fn open_questions(choices: &LoadedTable) -> Vec<(&str, &str, &str)> {
    let text = |name| texts(choices, name);
    let (plan, question) = (text("plan_id"), text("question"));
    let (evidence, decision) = (text("evidence"), text("decision"));
    let open = (0..choices.height()).filter(|i| cell(&decision, *i).is_none_or(str::is_empty));
    open.map(|i| {
        (
            cell(&plan, i).unwrap_or_default(),
            cell(&question, i).unwrap_or_default(),
            cell(&evidence, i).unwrap_or_default(),
        )
    })
    .collect()
}

#[derive(Default)]
struct Kind<'f> {
    open: usize,
    decided: usize,
    meaning: &'f str,
    consequence: &'f str,
    action: &'f str,
}

/// `stop` before `check` before `note`.
fn severity_rank(word: &str) -> u8 {
    match word {
        "stop" => 0,
        "check" => 1,
        _ => 2,
    }
}

fn kinds(frame: &LoadedTable) -> Markup {
    let text = |name| texts(frame, name);
    let (severity, code, state) = (text("severity"), text("code"), text("state"));
    let (meaning, consequence, action) = (text("meaning"), text("consequence"), text("action"));
    let mut kinds: BTreeMap<(u8, &str, &str), Kind<'_>> = BTreeMap::new();
    for i in 0..frame.height() {
        let word = cell(&severity, i).unwrap_or_default();
        let key = (severity_rank(word), word, cell(&code, i).unwrap_or_default());
        let kind = kinds.entry(key).or_default();
        let open = cell(&state, i) == Some("open");
        *(if open { &mut kind.open } else { &mut kind.decided }) += 1;
        kind.meaning = cell(&meaning, i).unwrap_or_default();
        kind.consequence = cell(&consequence, i).unwrap_or_default();
        kind.action = cell(&action, i).unwrap_or_default();
    }
    html! {
        div.scroll tabindex="0" role="region" aria-label="Kinds of findings" { table {
            caption { "Kinds of findings: stop refuses something, check asks to look, note \
                 informs" }
            thead { tr { @for words in
                ["Severity", "Kind", "Open", "Decided", "What it is", "What it does to the numbers",
                "What a person can do"] { th scope="col" { (words) } } } }
            tbody { @for ((_, severity, code), kind) in &kinds { tr {
                td { (severity) } th scope="row" { (code) } td.n { (kind.open) } td.n
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

fn open(frame: &LoadedTable) -> Markup {
    let text = |name| texts(frame, name);
    let (severity, code, state) = (text("severity"), text("code"), text("state"));
    let (plan, message) = (text("plan_id"), text("message"));
    let details = integers(frame, "n_details");
    let mut open: Vec<usize> = (0..frame.height())
        .filter(|i| cell(&state, *i) == Some("open") && cell(&severity, *i) != Some("note"))
        .collect();
    open.sort_by_key(|i| {
        (severity_rank(cell(&severity, *i).unwrap_or_default()), cell(&plan, *i), cell(&code, *i))
    });
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
                tbody { @for i in open.into_iter().take(LISTED) { tr {
                    td { (cell(&severity, i).unwrap_or_default()) }
                    td { (cell(&code, i).unwrap_or_default()) }
                    th scope="row" { (cell(&plan, i).unwrap_or_else(|| whole(cell(&details, i)))) }
                    td { (cell(&message, i).unwrap_or_default()) }
                } } }
            } }
        }
    }
}
