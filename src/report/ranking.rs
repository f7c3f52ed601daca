//! The cases as one table, worst first: share of the limit that decides, what stands beside it, the
//! limit, value with bounds, distance. Sorting and filtering in the browser start from this order.

use maud::{Markup, html};

use super::cohort::{Case, Cohort, fractions_words, verdict_place};
use super::html_page::part;
use super::number::{bounds, shown, spaced};
use super::place::{LimitShare, limit_words};
use tidydose_table::read::{LimitCheckRow, Verdict};

/// The part of the page.
pub(super) fn section(cohort: &Cohort<'_>) -> Markup {
    let columns: [(&str, bool); 9] = [
        ("Place", true),
        ("Case", false),
        ("Share of the limit", true),
        ("Verdict", false),
        ("Limit that decides", false),
        (cohort.request.metric, true),
        ("Distance mm", true),
        ("Fractions", true),
        ("Technology", false),
    ];
    part(
        "cases",
        "Cases, worst first",
        &html! {
            p { "Order: the dose as a share of the limit that decides, the largest first. That \
                 limit is, of your own limits, else of the mandatory, else of the published, else \
                 of the optimal ones, the one with the largest share; objectives of planning \
                 decide nothing. A case of which nothing is known stands behind all that reach \
                 their limit and before all that do not. Where no structure is called "
                (cohort.request.organ) ", the value is that of one which may be it." }
            (controls(cohort))
            div.scroll tabindex="0" role="region" aria-label="Table of cases" {
                table #case-table {
                    caption { "All " (cohort.cases.len())
                        " cases of the study, also those left out" }
                    thead { tr { @for (words, number) in columns {
                        th scope="col" class=[number.then_some("n")] { (words) }
                    } } }
                    tbody { @for (i, case) in cohort.cases.iter().enumerate()
                        { (row(cohort, case, i + 1)) } }
                }
            }
            p.controls.below { button #more type="button" hidden { "Show all rows" } }
        },
    )
}

/// Search and filters; hidden until the script shows them, since they do nothing without it.
fn controls(cohort: &Cohort<'_>) -> Markup {
    let mut verdicts: Vec<String> = Vec::new();
    for case in &cohort.cases {
        let words = case.verdict_words(cohort.limits_there);
        if !verdicts.contains(&words) {
            verdicts.push(words);
        }
    }
    let mut technologies: Vec<&str> = cohort.cases.iter().map(|c| c.plan.technology).collect();
    technologies.sort_unstable();
    technologies.dedup();
    html! {
        form.controls #controls hidden {
            label { "Search " input #search type="search" autocomplete="off"; }
            label { "Verdict " select #verdict {
                option value="" { "all" }
                @for words in verdicts { option { (words) } }
            } }
            label { "Fractions " select #fractions {
                option value="" { "all" }
                @for g in cohort.fraction_groups() { option { (fractions_words(g)) } }
            } }
            label { "Technology " select #technology {
                option value="" { "all" }
                @for t in technologies { option { (spaced(t)) } }
            } }
            button #clear type="button" { "Show all" }
            p #shown role="status" aria-live="polite" {}
        }
    }
}

fn row(cohort: &Cohort<'_>, case: &Case<'_>, place: usize) -> Markup {
    let words = case.verdict_words(cohort.limits_there);
    let reading = cohort.reading(case);
    let value = reading.and_then(|r| r.value);
    let share = case.share();
    let gap = case.gap.as_ref();
    let technology = spaced(case.plan.technology);
    html! {
        tr data-verdict=(words) data-fractions=(case.fractions_words()) data-technology=(technology) {
            td.n data-value=(place) { (place) }
            th scope="row" {
                (case_link(cohort, place, case))
                span.sub { (case.plan.patient_id) }
            }
            td.n data-value=[share.map(|s| s.value)] { (share_words(share)) }
            td { (verdict_and_flags(cohort, case)) }
            td { (deciding_words(case)) }
            td.n data-value=[value] {
                @match value { Some(v) => { (shown(v)) " " (cohort.unit) }, None => { "unknown" } }
                @match reading {
                    Some(r) if r.value.is_some() => { span.sub { (bounds(r.low, r.high)) } },
                    Some(r) => { span.sub { (spaced(r.status.word())) } },
                    None => {},
                }
            }
            td.n data-value=[gap.map(|g| g.0)]
                { @match gap { Some((mm, _)) => { (shown(*mm)) }, None => { "unknown" } } }
            td.n data-value=[case.fractions()]
                { @match case.fractions() { Some(n) => { (n) }, None => { "not stated" } } }
            td { (technology) }
        }
    }
}

/// The name of a case, as a link to its sheet where it has one.
pub(super) fn case_link(cohort: &Cohort<'_>, place: usize, case: &Case<'_>) -> Markup {
    html! {
        @match cohort.sheet_of(place) {
            Some(sheet) => { a href=(sheet) { (case.plan.plan_id) } },
            None => { (case.plan.plan_id) },
        }
    }
}

/// A share as a number with its bounds.
pub(super) fn share_words(share: Option<LimitShare>) -> Markup {
    html! {
        @match share {
            Some(s) => { (shown(s.value)) span.sub { (bounds(s.low, s.high)) } },
            None => { "unknown" },
        }
    }
}

/// The verdict, and below it what has to be known beside the number.
pub(super) fn verdict_and_flags(cohort: &Cohort<'_>, case: &Case<'_>) -> Markup {
    let verdict = case.verdict(cohort.limits_there);
    html! {
        span class={ "verdict v" (verdict_place(verdict)) }
            { (case.verdict_words(cohort.limits_there)) }
        @for flag in case.flags() { span.sub.flag { (flag.words(cohort.request.organ)) } }
    }
}

/// The limit in one line, or why there is none.
pub(super) fn deciding_words(case: &Case<'_>) -> Markup {
    if !case.counted() {
        return html! { "left out: " (case.exclusion) };
    }
    let Some(check) = case.deciding() else { return html! { "no limit checked" } };
    if check.value.is_none() {
        return html! { (why_unknown(case, check)) };
    }
    html! {
        (value_words(check)) " against " (limit_words(check))
        span.sub { (check.limit_source) " (" (check.evidence) ")" }
        @if check.verdict != Verdict::Unknown && !check.reason.is_empty()
            { span.sub { (check.reason) } }
    }
}

/// The value that is held against the limit.
pub(super) fn value_words(check: &LimitCheckRow<'_>) -> String {
    let value = check.value.map(shown).unwrap_or_default();
    match bounds(check.low, check.high) {
        bounds if bounds.is_empty() => format!("{value} {}", check.unit),
        bounds => format!("{value} {} ({bounds})", check.unit),
    }
}

/// Why nothing is known: the reason of the check, in the words of the trade where it is the name.
fn why_unknown(case: &Case<'_>, check: &LimitCheckRow<'_>) -> String {
    if !case.contoured && !case.open && check.structure_id.is_empty() && check.limit_value.is_some()
    {
        return "not contoured".to_owned();
    }
    check.reason.to_owned()
}
