//! One sheet for each case: pictures, numbers with bounds and definitions, comparable cases, limits,
//! and room to write the decision down.

use std::collections::{BTreeMap, BTreeSet};

use maud::{Markup, html};
use tidydose_table::frame::LoadedTable;

use super::cohort::{Case, Cohort, Reading, cell};
use super::number::{bounds, shown, spaced};
use super::picture::{Picture, pictures};
use super::{LEAST_CASES, part};
use tidydose_table::frame::texts;
use tidydose_table::run::CAUTION;

/// Metrics of every sheet besides that of the page and those with a limit.
const ALWAYS: [&str; 4] = ["Volume[cc]", "Max[Gy]", "D1cc[Gy]", "Mean[Gy]"];

struct Sources {
    pictures: Vec<Picture>,
    meanings: BTreeMap<String, String>,
}

/// The part of the page.
pub(super) fn section(cohort: &Cohort<'_>, tables: &BTreeMap<String, LoadedTable>) -> Markup {
    let all = cohort.cases.len();
    let shown = cohort.sheets();
    let with_sheet: BTreeSet<&str> =
        cohort.cases.iter().take(shown).map(|c| c.plan_id.as_str()).collect();
    let sources = Sources {
        pictures: tables
            .get("pictures")
            .map_or_else(Vec::new, |frame| pictures(frame, |plan| with_sheet.contains(plan))),
        meanings: tables.get("dictionary").map_or_else(BTreeMap::new, meanings),
    };
    part(
        "sheets",
        "Case sheets",
        &html! {
            @if shown < all { p.note
                { "Sheets of the worst " (shown) " cases; " (all - shown)
                " were left out here and are in the table of cases." } }
            @for (i, case) in cohort.cases.iter().take(shown).enumerate()
                { (sheet(cohort, case, i + 1, &sources)) }
        },
    )
}

/// What each metric is, from the dictionary.
fn meanings(dictionary: &LoadedTable) -> BTreeMap<String, String> {
    let (table, value) = (texts(dictionary, "table"), texts(dictionary, "value"));
    let (meaning, reference) = (texts(dictionary, "meaning"), texts(dictionary, "reference"));
    let mut found = BTreeMap::new();
    for i in 0..dictionary.height() {
        if let (Some("metrics"), Some(metric)) = (cell(&table, i), cell(&value, i)) {
            let text = cell(&meaning, i).unwrap_or_default();
            let text = match cell(&reference, i) {
                Some(source) => format!("{text} [{source}]"),
                None => text.to_owned(),
            };
            found.insert(metric.to_owned(), text);
        }
    }
    found
}

fn sheet(cohort: &Cohort<'_>, case: &Case, place: usize, sources: &Sources) -> Markup {
    let verdict = case.verdict(cohort.limits_there);
    let id = format!("case-{place}");
    html! {
        article.sheet id=(id) aria-labelledby={ (id) "-h" } {
            h3 id={ (id) "-h" } { (place) ". " (case.plan_id) " " span
                class={ "verdict v" (verdict as u8) } { (verdict.word()) } }
            p.caution.print { (CAUTION) }
            (facts(case))
            @if case.counted {
                div.pictures { (both_pictures(cohort, case, &id, sources)) }
                (numbers(cohort, case, sources))
                (comparable(cohort, case))
                (limits(case))
            } @else { p.note { "Left out: " (case.exclusion) } }
            (decision())
            p.back { a href="#cases" { "Back to the cases" } }
        }
    }
}

fn facts(case: &Case) -> Markup {
    let course = match (case.course, case.courses) {
        (Some(n), Some(of)) => format!("{n} of {of}"),
        _ => "not known".to_owned(),
    };
    html! {
        dl.facts {
            div { dt { "Patient" } dd
                { @if case.patient_id.is_empty() { "not stated" } @else { (case.patient_id) } } }
            div { dt { "Technology" } dd { (spaced(&case.technology)) } }
            div { dt { "Fractions" } dd
                { @match case.fractions { Some(n) => { (n) }, None => { "not stated" } } } }
            div { dt { "Highest prescription" } dd
                { @match case.prescription_gy
                { Some(d) => { (shown(d)) " Gy" }, None => { "not stated" } } } }
            div { dt { "Course" } dd
                { (course) @if let Some(d) = case.days_since_course
                { ", " (d) " days after the one before" } } }
            div { dt { "Day (hidden zero)" } dd
                { @match case.day { Some(d) => { (d) }, None => { "not stated" } } } }
            div { dt { "Nearest target" } dd
                { @match &case.gap { Some((mm, name)) => { (name) ", " (shown(*mm)) " mm" }, None =>
                { "distance unknown" } } } }
        }
    }
}

/// Through the hottest point of the organ, and through the nearest target (or the first).
fn both_pictures(cohort: &Cohort<'_>, case: &Case, id: &str, sources: &Sources) -> Markup {
    let mut of_case = sources.pictures.iter().filter(|p| p.plan_id == case.plan_id);
    let named = |name: &str| of_case.clone().find(|p| p.structure == name);
    let organ = named(cohort.request.organ);
    let nearest = case.gap.as_ref().and_then(|(_, name)| named(name));
    let first = || of_case.find(|p| p.is_of_target());
    let target = nearest.or_else(first);
    html! {
        @match organ {
            Some(p) => { (p.drawn(&format!("{id}-organ"))) },
            None => { p.note { "No picture of the organ: it has no dose there, or is not \
                 contoured." } },
        }
        @match target {
            Some(p) => { (p.drawn(&format!("{id}-target"))) },
            None => { p.note { "No picture of a target." } },
        }
    }
}

fn numbers(cohort: &Cohort<'_>, case: &Case, sources: &Sources) -> Markup {
    let limited = case.checks.iter().map(|c| c.metric.as_str());
    let mut wanted: Vec<&str> = vec![cohort.request.metric];
    for metric in limited.chain(ALWAYS) {
        if !wanted.contains(&metric) {
            wanted.push(metric);
        }
    }
    let readings: Vec<&Reading> = wanted.into_iter().filter_map(|m| case.reading(m)).collect();
    html! {
        div.scroll tabindex="0" role="region" aria-label={ "Numbers of case " (case.plan_id) } { table {
            caption { (cohort.request.organ) " of this case: values with numerical bounds" }
            thead { tr { th scope="col" { "Metric" } th.n scope="col" { "Value" } th scope="col"
                { "Bounds" } th scope="col" { "What it is" } } }
            tbody {
                @if readings.is_empty() { tr
                    { td colspan="4" { "The organ is not contoured, or not named so: unknown." } } }
                @for r in readings { tr {
                    th scope="row" { (r.metric) }
                    td.n data-value=[r.value]
                        { @match r.value { Some(v) => { (shown(v)) " " (r.unit) }, None =>
                        { (spaced(&r.status)) } } }
                    td { (bounds(r.low, r.high)) @if !r.reason.is_empty()
                        { span.sub { (r.reason) } } }
                    td { @if let Some(text) = sources.meanings.get(&r.metric)
                        { span.sub { (text) } } span.sub { (r.method) } }
                } }
            }
        } }
        @if let Some(r) = cohort.reading(case)
            { p.trace { "Row of table metrics: " (r.structure_id) ", " (r.metric)
                ". Where it comes from: tidydose explain " (case.plan_id) " " (cohort.request.organ)
                " '" (r.metric) "'" } }
    }
}

/// Where the case stands among those with as many fractions.
fn comparable(cohort: &Cohort<'_>, case: &Case) -> Markup {
    let metric = cohort.request.metric;
    let Some(value) = cohort.reading(case).and_then(|r| r.value) else {
        return html! { p { "Comparable cases: the value is unknown." } };
    };
    let all = cohort.comparable(case.fractions, metric);
    let below = all.iter().filter(|v| **v < value).count();
    let above = all.iter().filter(|v| **v > value).count();
    let words = case.fractions_words();
    html! {
        p { "Comparable cases (" (words) ", value known on both sides): " (all.len()) ". "
            @if all.len() < LEAST_CASES
                { span.few { "Fewer than " (LEAST_CASES) ": no rank and no percentile." } }
            @else { "Rank " (above + 1) " from the highest; "
                (format!("{:.0}", share(below, all.len()))) " % of them are lower." } }
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts of cases")]
fn share(part: usize, of: usize) -> f64 {
    100.0 * part as f64 / of.max(1) as f64
}

fn limits(case: &Case) -> Markup {
    html! {
        @if case.checks.iter().any(|c| c.limit.is_some()) {
            div.scroll tabindex="0" role="region" aria-label={ "Limits of case " (case.plan_id) } { table {
                caption { "Limits for this number of fractions" }
                thead { tr { @for words in
                    ["Limit", "Value", "Margin", "Verdict", "Tier", "Source and evidence"]
                    { th scope="col" { (words) } } } }
                tbody { @for c in case.checks.iter().filter(|c| c.limit.is_some()) { tr {
                    th scope="row" { (c.metric) " " (c.operator) " "
                        (c.limit.map(shown).unwrap_or_default()) " " (c.unit) span.sub
                        { "for " (c.fractions) " fractions" } }
                    td.n data-value=[c.value]
                        { @match c.value { Some(v) =>
                        { (shown(v)) span.sub { (bounds(c.low, c.high)) } }, None =>
                        { "unknown" } } }
                    td.n { @match c.margin { Some(m) => { (shown(m)) }, None => { "–" } } }
                    td { (c.verdict.word()) @if !c.reason.is_empty() { span.sub { (c.reason) } } }
                    td { (c.tier) } td { (c.source) span.sub { (c.evidence) } }
                } } }
            } }
        } @else { p { "No limit was checked for this case." } }
    }
}

fn decision() -> Markup {
    html! {
        div.decision {
            h4 { "Decision of the committee" }
            p.lines { span { "Seen by" } span { "Date" } }
            p.line {} p.line {} p.line {}
        }
    }
}
