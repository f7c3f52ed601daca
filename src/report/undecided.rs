//! The structures that may be the organ where none is called so: each with its dose and what that
//! would mean, so that nobody has to look for them. The name is decided elsewhere, never here.

use maud::{Markup, html};

use super::cohort::{Candidate, Case, Cohort};
use super::html_page::part;
use super::number::{bounds, counted, shown, spaced};
use super::place::limit_words;

/// So many of a case are listed.
const LISTED: usize = 5;

/// The part of the page.
pub(super) fn section(cohort: &Cohort<'_>) -> Markup {
    let organ = cohort.request.organ;
    let cases: Vec<&Case<'_>> =
        cohort.cases.iter().filter(|c| c.counted() && c.waits_for_name()).collect();
    // Without limits nobody can tell which of them matter.
    let (urgent, rest): (Vec<&Case<'_>>, Vec<&Case<'_>>) =
        cases.iter().partition(|c| c.share().is_none() || c.for_discussion());
    part(
        "undecided",
        "Undecided names",
        &html! {
            @if cases.is_empty() { p { "No case waits for the name of a structure that may be "
                (organ) "." } }
            @else {
                p { "In " (counted(cases.len(), "case")) " no structure is called " (organ)
                    ", and the words and the size of these allow that they are. Decide in \
                     names.csv, then measure again; until then no value is known." }
                (table(cohort, &urgent))
                @if !rest.is_empty() { details {
                    summary { "Where no such structure reaches a limit: " (counted(rest.len(), "case")) }
                    (table(cohort, &rest))
                } }
            }
        },
    )
}

fn table(cohort: &Cohort<'_>, cases: &[&Case<'_>]) -> Markup {
    let organ = cohort.request.organ;
    if cases.is_empty() {
        return html! { p { "None of them would reach the limit that decides." } };
    }
    html! {
        div.scroll tabindex="0" role="region" aria-label="Structures that may be the organ" { table {
            caption { "Structures that may be " (organ) ", the highest dose of a case first" }
            thead { tr {
                th scope="col" { "Case" } th scope="col" { "Structure" }
                th scope="col" { "Its name allows" } th.n scope="col" { "Volume cc" }
                th.n scope="col" { (cohort.request.metric) }
                th scope="col" { "If this is the " (organ) }
            } }
            tbody { @for case in cases {
                @for candidate in case.candidates.iter().take(LISTED)
                    { (row(case, candidate, cohort.request.metric)) }
                @if case.candidates.len() > LISTED { tr {
                    th scope="row" { (case.plan.plan_id) }
                    td colspan="5" { "and " (case.candidates.len() - LISTED)
                        " more with lower doses" }
                } }
            } }
        } }
    }
}

fn row(case: &Case<'_>, candidate: &Candidate<'_>, metric: &str) -> Markup {
    let allows = if candidate.may_be == "any" {
        "anything of this size".to_owned()
    } else {
        candidate.may_be.replace(' ', ", ")
    };
    let reading = candidate.reading(metric);
    html! {
        tr {
            th scope="row" { (case.plan.plan_id) }
            td { (candidate.name) }
            td { (allows) }
            td.n { @match candidate.volume_cc { Some(cc) => { (shown(cc)) }, None => { "unknown" } } }
            td.n { @match reading {
                Some(r) => { @match r.value {
                    Some(v) => { (shown(v)) " " (r.unit) span.sub { (bounds(r.low, r.high)) } },
                    None => { (spaced(r.status.word())) },
                } },
                None => { "unknown" },
            } }
            td { (consequence(case, candidate)) }
        }
    }
}

/// What the limit that decides would say of this structure.
fn consequence(case: &Case<'_>, candidate: &Candidate<'_>) -> String {
    let Some((check, limit)) = case.deciding().and_then(|c| Some((c, c.limit_value?))) else {
        return "no limit for its number of fractions".to_owned();
    };
    let Some(reading) = candidate.reading(check.metric) else {
        return format!("{} was not measured", check.metric);
    };
    let Some(value) = reading.value else { return spaced(reading.status.word()) };
    let side = match (reading.low, reading.high) {
        (Some(low), _) if low > limit => "above",
        (_, Some(high)) if high <= limit => "within",
        _ => "with bounds on both sides of",
    };
    format!("{} {}, {side} {}", shown(value), check.unit, limit_words(check))
}
