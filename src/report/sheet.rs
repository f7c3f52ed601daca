//! One sheet for each case: pictures, numbers with bounds and definitions, comparable cases, limits,
//! and room to write the decision down.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use maud::{Markup, html};

use super::cohort::{Case, Cohort, verdict_place, verdict_words};
use super::elsewhere;
use super::html_page::{Page, part};
use super::meeting::{notes, said};
use super::number::{bounds, fractions_of_limit, shown, spaced};
use super::picture::{Marked, Picture, pictures};
use super::place::rank;
use super::run_chart::date_of;
use super::{LEAST_CASES, SheetPage};
use tidydose_table::read::{
    CellError, Checked, DictionaryRow, FindingDetailRow, LimitCheckRow, MetricRow, SensitivityRow,
    Severity, State, Tables, rows, rows_where,
};
use tidydose_table::run::CAUTION;

/// Metrics of every sheet besides that of the page and those with a limit.
const ALWAYS: [&str; 4] = ["Volume[cc]", "Max[Gy]", "D1cc[Gy]", "Mean[Gy]"];

/// What sheets are made of besides the cases, read once for the page and for the folder.
pub(super) struct Sources<'t> {
    pictures: Vec<Picture<'t>>,
    meanings: BTreeMap<&'t str, String>,
    findings: Vec<FindingDetailRow<'t>>,
    elsewhere: Vec<SensitivityRow<'t>>,
}

impl<'t> Sources<'t> {
    /// Pictures of the cases that have a sheet: all of them where a folder is named.
    pub(super) fn read(cohort: &Cohort<'_>, tables: &'t Tables) -> Result<Self, CellError> {
        let shown = if cohort.request.sheets.is_some() { usize::MAX } else { cohort.sheets() };
        let with_sheet: BTreeSet<&str> =
            cohort.cases.iter().take(shown).map(|c| c.plan.plan_id).collect();
        Ok(Self {
            pictures: pictures(tables, |plan| with_sheet.contains(plan))?,
            meanings: meanings(tables)?,
            findings: rows(tables)?,
            elsewhere: rows(tables)?,
        })
    }
}

/// The file of the sheet of the case at a place, from 1.
pub(super) fn file_of(place: usize) -> String {
    format!("case-{place}.html")
}

/// A page for every case, where a folder for them is named.
pub(super) fn pages(cohort: &Cohort<'_>, sources: &Sources<'_>) -> Vec<SheetPage> {
    let Some(folder) = cohort.request.sheets else { return Vec::new() };
    let back = format!("../{}#cases", folder.page);
    let mut pages = Vec::new();
    for (place, case) in (1..).zip(&cohort.cases) {
        let title = format!("{} review: case {}", cohort.request.organ, case.plan.plan_id);
        let page = Page {
            title,
            skip: (format!("#case-{place}"), "Skip to the sheet"),
            head: html! { header {
                h1 { (cohort.request.organ) " " span.metric { (cohort.request.metric) } }
                p.caution role="note" { (CAUTION) }
            } },
            script: None,
            images: !cohort.request.backdrops.is_empty(),
        };
        let html = page.with(&html! {
            h2 { "Case sheet" }
            (sheet(cohort, case, place, sources, &back))
        });
        pages.push(SheetPage { file: file_of(place), html });
    }
    pages
}

/// The part of the page.
pub(super) fn section(cohort: &Cohort<'_>, sources: &Sources<'_>) -> Markup {
    let all = cohort.cases.len();
    let shown = cohort.sheets();
    part(
        "sheets",
        "Case sheets",
        &html! {
            @if shown < all { p.note
                { "Sheets of the worst " (shown) " cases; " (all - shown)
                " were left out here and are "
                @match cohort.request.sheets {
                    Some(to) => { "in folder " (to.folder) "." },
                    None => { "in the table of cases; --all-sheets writes a sheet of every case." },
                } } }
            @for (i, case) in cohort.cases.iter().take(shown).enumerate()
                { (sheet(cohort, case, i + 1, sources, "#cases")) }
        },
    )
}

/// What each metric is, from the dictionary.
fn meanings(tables: &Tables) -> Result<BTreeMap<&str, String>, CellError> {
    let mut found = BTreeMap::new();
    for row in rows_where::<DictionaryRow<'_>>(tables, "table", |t| t == "metrics")? {
        if let Some(metric) = row.value {
            let text = match row.reference {
                Some(source) => format!("{} [{source}]", row.meaning),
                None => row.meaning.to_owned(),
            };
            found.insert(metric, text);
        }
    }
    Ok(found)
}

/// `back` leads to the table of cases.
fn sheet(
    cohort: &Cohort<'_>,
    case: &Case<'_>,
    place: usize,
    sources: &Sources<'_>,
    back: &str,
) -> Markup {
    let verdict = case.verdict(cohort.limits_there);
    let id = format!("case-{place}");
    html! {
        article.sheet id=(id) aria-labelledby={ (id) "-h" } {
            h3 id={ (id) "-h" } { (place) ". " (case.plan.plan_id) " " span
                class={ "verdict v" (verdict_place(verdict)) }
                { (case.verdict_words(cohort.limits_there)) } }
            p.caution.print { (CAUTION) }
            (facts(cohort, case))
            @if case.counted() {
                div.pictures { (planes(cohort, case, &id, sources)) }
                (numbers(cohort, case, sources))
                (shifts(cohort, case, sources))
                (comparable(cohort, case))
                (limits(case))
                (warnings(case, sources))
            } @else { p.note { "Left out: " (case.exclusion) } }
            (decision(cohort, case))
            p.back { a href=(back) { "Back to the cases" } }
        }
    }
}

fn facts(cohort: &Cohort<'_>, case: &Case<'_>) -> Markup {
    let course = match (case.plan.course, case.plan.n_courses) {
        (Some(n), Some(of)) => format!("{n} of {of}"),
        _ => "not known".to_owned(),
    };
    html! {
        dl.facts {
            div { dt { "Patient" } dd
                { @if case.plan.patient_id.is_empty() { "not stated" } @else { (case.plan.patient_id) } } }
            div { dt { "Technology" } dd { (spaced(case.plan.technology)) } }
            div { dt { "Fractions" } dd
                { @match case.fractions() { Some(n) => { (n) }, None => { "not stated" } } } }
            div { dt { "Highest prescription" } dd
                { @match case.plan.prescription_dose_gy
                { Some(d) => { (shown(d)) " Gy" }, None => { "not stated" } } } }
            div { dt { "Course" } dd
                { (course) @if let Some(d) = case.plan.days_since_course
                { ", " (d) " days after the one before" } } }
            (day(cohort, case))
            div { dt { "Nearest target" } dd
                { @match &case.gap { Some((mm, name)) => { (name) ", " (shown(*mm)) " mm" }, None =>
                { "distance unknown" } } } }
        }
    }
}

/// The date of the plan, or its day from a zero that is hidden for each patient.
fn day(cohort: &Cohort<'_>, case: &Case<'_>) -> Markup {
    let date = case.plan.day_plan.filter(|_| cohort.request.true_dates).and_then(date_of);
    html! {
        @if cohort.request.true_dates {
            div { dt { "Date of the plan" } dd
                { @match date { Some(date) => { (date.to_string()) }, None => { "not stated" } } } }
        } @else {
            div { dt { "Day (hidden zero)" } dd
                { @match case.plan.day_plan { Some(d) => { (d) }, None => { "not stated" } } } }
        }
    }
}

/// Planes through the hottest point of the organ; of the nearest target (or the first) where the
/// organ has none.
fn planes(cohort: &Cohort<'_>, case: &Case<'_>, id: &str, sources: &Sources<'_>) -> Markup {
    let of_case = || sources.pictures.iter().filter(|p| p.plan_id == case.plan.plan_id);
    let organ: Vec<_> = of_case().filter(|p| p.structure == cohort.request.organ).collect();
    if !organ.is_empty() {
        let limit = case.deciding().and_then(LimitCheckRow::isodose_gy).map(Marked::limit);
        let backdrops = cohort.request.backdrops;
        let own = backdrops.iter().find(|b| b.plane.plan_id == case.plan.plan_id);
        return html! { @for (n, p) in organ.iter().enumerate() {
            @let layer = own.filter(|_| p.is_axial_as_drawn()).and_then(|b| b.layer(p));
            (p.drawn(&format!("{id}-organ-{n}"), limit, layer.as_ref()))
        } };
    }
    let nearest = case.gap.as_ref().map(|(_, name)| name);
    let target = of_case()
        .find(|p| Some(&p.structure) == nearest)
        .or_else(|| of_case().find(|p| p.is_of_target()));
    html! {
        p.note { "No picture of the organ: " (why_no_numbers(cohort, case)) }
        @match target {
            Some(target) => { @for (n, p) in
                of_case().filter(|p| p.structure_id == target.structure_id).enumerate()
                { (p.drawn(&format!("{id}-target-{n}"), None, None)) } },
            None => { p.note { "No picture of a target." } },
        }
    }
}

fn numbers(cohort: &Cohort<'_>, case: &Case<'_>, sources: &Sources<'_>) -> Markup {
    let limited = case.checks.iter().map(|c| c.metric);
    let mut wanted: Vec<&str> = vec![cohort.request.metric];
    for metric in limited.chain(ALWAYS) {
        if !wanted.contains(&metric) {
            wanted.push(metric);
        }
    }
    let readings: Vec<&MetricRow<'_>> =
        wanted.into_iter().filter_map(|m| case.reading(m)).collect();
    let reason = said_once(readings.iter().map(|r| r.reason));
    let method = said_once(readings.iter().map(|r| r.method));
    html! {
        div.scroll tabindex="0" role="region" aria-label={ "Numbers of case " (case.plan.plan_id) } { table {
            caption { (cohort.request.organ) " of this case: values with numerical bounds" }
            thead { tr { th scope="col" { "Metric" } th.n scope="col" { "Value" } th scope="col"
                { "Bounds" } th scope="col" { "What it is" } } }
            tbody {
                @if readings.is_empty() { tr
                    { td colspan="4" { (why_no_numbers(cohort, case)) } } }
                // On paper the limits below have their own values.
                @for r in &readings { @let below = case.checks.iter().any(|c| c.metric == r.metric);
                tr.screen[below] {
                    th scope="row" { (r.metric) }
                    td.n data-value=[r.value]
                        { @match r.value { Some(v) => { (shown(v)) " " (r.unit) }, None =>
                        { (spaced(r.status.word())) } } }
                    td { (bounds(r.low, r.high)) (reason_words(r.reason, reason)) }
                    td { @if let Some(text) = sources.meanings.get(r.metric)
                        { span.sub.meaning { (text) } }
                        @if method.is_none() { span.sub { (r.method) } } }
                } }
            }
        } }
        (below(reason))
        @if let Some(method) = method { p.trace { "All by " (method) "." } }
        @if let Some(r) = cohort.reading(case)
            { p.trace { "Row of table metrics: " (r.structure_id) ", " (r.metric)
                ". Where it comes from: tidydose explain " (case.plan.plan_id) " " (cohort.request.organ)
                " '" (r.metric) "'" } }
    }
}

/// What shifts and margins do to the value of the page and to that of the limit that decides, for who
/// had them measured.
fn shifts(cohort: &Cohort<'_>, case: &Case<'_>, sources: &Sources<'_>) -> Markup {
    let Some(reading) = cohort.reading(case) else { return html! {} };
    let mut metrics = vec![cohort.request.metric];
    let deciding = case.deciding();
    metrics.extend(deciding.map(|c| c.metric).filter(|m| *m != cohort.request.metric));
    let own = |r: &&SensitivityRow<'_>| {
        r.structure_id == reading.structure_id && metrics.contains(&r.metric)
    };
    let rows: Vec<&SensitivityRow<'_>> = sources.elsewhere.iter().filter(own).collect();
    if rows.is_empty() {
        return html! {};
    }
    html! {
        div.scroll tabindex="0" role="region" aria-label={ "Shifts and margins of case " (case.plan.plan_id) } { table {
            caption { (elsewhere::HEADING) ": " (elsewhere::NOTE) }
            thead { tr { th scope="col" { "Metric" }
                @for words in elsewhere::HEADS { th scope="col" { (words) } } } }
            tbody { @for row in rows { tr {
                th scope="row" { (row.metric) }
                @for cell in elsewhere::cells(row) { td { (cell) } }
            } } }
        } }
        @if let Some(words) = deciding.and_then(|c| elsewhere::about_limit(&sources.elsewhere, c)) {
            p { (deciding.map_or("", |c| c.metric)) ": " (words) }
        }
    }
}

/// A text that two or more rows have and no row has another one: it is said once, below the table.
fn said_once<'t>(texts: impl Iterator<Item = &'t str>) -> Option<&'t str> {
    let said: Vec<&str> = texts.filter(|text| !text.is_empty()).collect();
    let first = said.first().copied()?;
    (said.len() > 1 && said.iter().all(|text| *text == first)).then_some(first)
}

/// The reason of a row, or a sign for the one below the table.
fn reason_words(reason: &str, once: Option<&str>) -> Markup {
    html! {
        @if Some(reason) == once { " *" } @else if !reason.is_empty() { span.sub { (reason) } }
    }
}

fn below(once: Option<&str>) -> Markup {
    html! { @if let Some(reason) = once { p.trace { "* " (reason) "." } } }
}

/// Why the organ has no numbers, in the words of the trade.
fn why_no_numbers(cohort: &Cohort<'_>, case: &Case<'_>) -> String {
    let organ = cohort.request.organ;
    if case.waits_for_name() {
        let n = case.candidates.len();
        let may = if n == 1 { "one structure may be it" } else { "several structures may be it" };
        return format!(
            "name undecided: no structure is called {organ}, but {may} (see Undecided names)."
        );
    }
    if !case.contoured {
        return format!("{organ} is not contoured.");
    }
    "it lies outside of the dose grid, or could not be measured; see the findings.".to_owned()
}

/// Where the case stands among those with as many fractions.
fn comparable(cohort: &Cohort<'_>, case: &Case<'_>) -> Markup {
    let metric = cohort.request.metric;
    let Some(value) = cohort.reading(case).and_then(|r| r.value) else {
        return html! { p { "Comparable cases: the value is unknown." } };
    };
    let all = cohort.comparable(case.fractions(), metric);
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

fn limits(case: &Case<'_>) -> Markup {
    let rows = by_tier(case);
    let reason = said_once(rows.iter().map(|(c, _)| c.reason));
    html! {
        @if case.checks.iter().any(|c| c.limit_value.is_some()) {
            div.scroll tabindex="0" role="region" aria-label={ "Limits of case " (case.plan.plan_id) } { table.limits {
                caption { "Limits for this number of fractions, the most binding first; objectives of \
                     planning are in table limit_checks" }
                thead { tr { @for words in
                    ["Limit", "Value", "Margin", "Verdict", "Tier", "Source and evidence"]
                    { th scope="col" { (words) } } } }
                tbody { @for (c, sources) in &rows { tr {
                    th.fixed scope="row" { (c.metric) " " (c.operator) " "
                        (c.limit_value.map(shown).unwrap_or_default()) " " (c.unit) span.sub.meaning
                        { "for " (fractions_of_limit(c.limit_fractions)) } }
                    td.n data-value=[c.value]
                        { @match c.value { Some(v) =>
                        { (shown(v)) " " span.sub.beside { (bounds(c.low, c.high)) } }, None =>
                        { "unknown" } } }
                    td.n { @match c.margin { Some(m) => { (shown(m)) }, None => { "–" } } }
                    td { (verdict_words(Some(c.verdict))) (reason_words(c.reason, reason)) }
                    td { (c.tier_word()) }
                    td { @for s in sources { (source(s)) } }
                } } }
            } }
            (below(reason))
        } @else { p { "No limit was checked for this case." } }
    }
}

/// Where a limit comes from, how far that was checked, and what harm and risk it is about.
fn source(check: &LimitCheckRow<'_>) -> Markup {
    let checked = match check.checked {
        Some(Checked::NotChecked) => "; not yet checked against the source",
        _ => "",
    };
    let about: Vec<&str> =
        [check.endpoint, check.stated_risk].into_iter().filter(|t| !t.is_empty()).collect();
    html! { span.sub {
        (check.limit_source) span.meaning { " (" (check.evidence) ")" } (checked)
        @if !about.is_empty() { ": " (about.join(", ")) }
        @if !check.limit_note.is_empty() { span.meaning { "; " (check.limit_note) } }
    } }
}

/// The limits of a case, the most binding tier first, each with all rows that state the same; what is
/// only an objective of planning is no limit.
fn by_tier<'c, 't>(case: &'c Case<'t>) -> Vec<(&'c LimitCheckRow<'t>, Vec<&'c LimitCheckRow<'t>>)> {
    let place = |c: &LimitCheckRow<'_>| c.tier.and_then(rank);
    let is_limit = |c: &&LimitCheckRow<'_>| c.limit_value.is_some() && place(c).is_some();
    let mut limits: Vec<_> = case.checks.iter().filter(is_limit).collect();
    limits.sort_by_key(|c| (place(c), c.metric));
    let mut grouped: Vec<(&LimitCheckRow<'t>, Vec<&LimitCheckRow<'t>>)> = Vec::new();
    for check in limits {
        let same = |c: &LimitCheckRow<'_>| {
            (c.tier, c.metric, c.limit_value, c.structure_id)
                == (check.tier, check.metric, check.limit_value, check.structure_id)
        };
        match grouped.iter_mut().find(|(first, _)| same(first)) {
            Some((_, rows)) => rows.push(check),
            None => grouped.push((check, vec![check])),
        }
    }
    grouped
}

/// Kinds of findings of the case that ask to look or stop something, and are not decided.
fn warnings(case: &Case<'_>, sources: &Sources<'_>) -> Markup {
    let mut kinds: BTreeMap<(Reverse<Severity>, &str), Vec<&str>> = BTreeMap::new();
    for f in &sources.findings {
        let of_case = f.plan_id == Some(case.plan.plan_id) && f.state == State::Open;
        if of_case && f.severity != Severity::Note {
            kinds.entry((Reverse(f.severity), f.code)).or_default().push(f.message);
        }
    }
    html! {
        @if !kinds.is_empty() {
            h4 { "Findings that may change the reading" }
            ul { @for ((_, code), messages) in &kinds {
                li { strong { (code) } ": " (messages.first().copied().unwrap_or_default())
                    @if messages.len() > 1 { ", and " (messages.len() - 1) " more of its kind" } }
            } }
        }
    }
}

fn decision(cohort: &Cohort<'_>, case: &Case<'_>) -> Markup {
    let before: Vec<_> = notes(cohort, case).collect();
    html! {
        div.decision {
            h4 { "Decision of the committee" }
            @for note in before { (said(note)) }
            p.lines { span { "Seen by" } span { "Date" } }
            p.line {} p.line {} p.line {}
        }
    }
}
