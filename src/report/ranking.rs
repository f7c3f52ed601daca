//! The cases as one table, worst first: verdict, margin, the limit that decides, value with bounds,
//! distance. Sorting and filtering in the browser start from this order.

use maud::{Markup, html};

use super::cohort::{Case, Cohort, VERDICTS, fractions_words, verdict_place, verdict_words};
use super::html_page::part;
use super::number::{bounds, shown, spaced};
use tidydose_table::read::{LimitCheckRow, Verdict};

/// The part of the page.
pub(super) fn section(cohort: &Cohort<'_>) -> Markup {
    let columns: [(&str, bool); 9] = [
        ("Place", true),
        ("Case", false),
        ("Verdict", false),
        ("Margin", true),
        ("Limit that decides", false),
        (cohort.request.metric, true),
        ("Bounds", false),
        ("Fractions", true),
        ("Distance mm", true),
    ];
    part(
        "cases",
        "Cases, worst first",
        &html! {
            p { "Order: above a limit, undecided (the bounds straddle a limit), not applicable \
                 (judge clinically), unknown, within; in each by the least margin as a share of \
                 its limit. Each case is shown by the limit that puts it there." }
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
        },
    )
}

/// Search and filters; hidden until the script shows them, since they do nothing without it.
fn controls(cohort: &Cohort<'_>) -> Markup {
    let there = VERDICTS
        .into_iter()
        .filter(|v| cohort.cases.iter().any(|c| c.verdict(cohort.limits_there) == *v));
    html! {
        form.controls #controls hidden {
            label { "Search " input #search type="search" autocomplete="off"; }
            label { "Verdict " select #verdict {
                option value="" { "all" }
                @for v in there { option { (verdict_words(v)) } }
            } }
            label { "Fractions " select #fractions {
                option value="" { "all" }
                @for g in cohort.fraction_groups() { option { (fractions_words(g)) } }
            } }
            button #clear type="button" { "Show all" }
            p #shown role="status" aria-live="polite" {}
        }
    }
}

fn row(cohort: &Cohort<'_>, case: &Case<'_>, place: usize) -> Markup {
    let verdict = case.verdict(cohort.limits_there);
    let words = verdict_words(verdict);
    let worst = case.worst();
    let reading = cohort.reading(case);
    let value = reading.and_then(|r| r.value);
    let margin = worst.and_then(|c| c.margin);
    let share = worst.and_then(LimitCheckRow::relative_margin);
    let gap = case.gap.as_ref();
    html! {
        tr data-verdict=(words) data-fractions=(case.fractions_words()) {
            td.n data-value=(place) { (place) }
            th scope="row" {
                @if place <= cohort.sheets() { a href={ "#case-" (place) } { (case.plan.plan_id) } }
                @else { (case.plan.plan_id) }
                span.sub { (case.plan.patient_id) }
            }
            td { span class={ "verdict v" (verdict_place(verdict)) } { (words) } }
            td.n data-value=[share] {
                @match (margin, worst) {
                    (Some(m), Some(c)) => { (shown(m)) " " (c.unit)
                        @if let Some(s) = share { span.sub
                            { (format!("{:.0} % of the limit", s * 100.0)) } } }
                    _ => { "–" }
                }
            }
            td { (limit_words(case, worst)) }
            td.n data-value=[value] { @match value
                { Some(v) => { (shown(v)) " " (cohort.unit) }, None => { "unknown" } } }
            td { @match reading {
                Some(r) if r.value.is_some() => { (bounds(r.low, r.high)) },
                Some(r) => { (spaced(r.status.word())) },
                None => { "–" },
            } }
            td.n data-value=[case.fractions()]
                { @match case.fractions() { Some(n) => { (n) }, None => { "not stated" } } }
            td.n data-value=[gap.map(|g| g.0)]
                { @match gap { Some((mm, _)) => { (shown(*mm)) }, None => { "unknown" } } }
        }
    }
}

/// The limit in one line, or why there is none.
fn limit_words(case: &Case<'_>, worst: Option<&LimitCheckRow<'_>>) -> Markup {
    if !case.counted() {
        return html! { "left out: " (case.exclusion) };
    }
    let Some(check) = worst else { return html! { "no limit checked" } };
    if check.verdict == Verdict::Unknown {
        return html! { (check.reason) };
    }
    html! {
        @if let Some(limit) = check.limit_value {
            (check.metric) " " (check.operator) " " (shown(limit)) " " (check.unit) ", "
                (check.tier_word())
            span.sub { (check.limit_source) " (" (check.evidence) ")" }
        }
        @if !check.reason.is_empty() { span.sub { (check.reason) } }
    }
}
