//! The organ's dose over time. Days are shifted by a hidden amount for each patient, so they order
//! the courses of one patient only; across patients the five-year band of the plan is what is known.

use std::collections::BTreeSet;

use maud::{Markup, html};

use super::LEAST_CASES;
use super::chart::{Frame, at, axis_end, figure, mark, shape_words};
use super::cohort::{Case, Cohort, fractions_words};
use super::html_page::part;
use super::number::{counted, percentile, shown};

/// The part of the page.
pub(super) fn section(cohort: &Cohort<'_>) -> Markup {
    let valued: Vec<(&Case<'_>, f64, i64)> = cohort
        .cases
        .iter()
        .filter(|c| c.counted())
        .filter_map(|c| Some((c, cohort.reading(c)?.value?, c.plan.era?)))
        .collect();
    let undated = cohort.cases.iter().filter(|c| c.counted() && c.plan.era.is_none()).count();
    part(
        "time",
        "Over time",
        &html! {
            p { "The days of a patient are shifted by a hidden amount, so that they order the \
                 courses of that patient but not the patients. Across patients this chart uses \
                 the five-year band of the plan; inside a band cases stand by dose." }
            @if valued.is_empty() { p.note { "No case has both a value and a date." } } @else
                { (chart(cohort, &valued)) }
            @if undated > 0 { p.note
                { (counted(undated, "measured case")) " without a date of the plan." } }
            (repeated(cohort))
        },
    )
}

fn chart(cohort: &Cohort<'_>, valued: &[(&Case<'_>, f64, i64)]) -> Markup {
    let eras: Vec<i64> = valued.iter().map(|v| v.2).collect::<BTreeSet<_>>().into_iter().collect();
    let groups = cohort.fraction_groups();
    let top = axis_end(valued.iter().map(|v| v.1).fold(0.0, f64::max) * 1.05);
    #[expect(clippy::cast_precision_loss, reason = "a few bands of five years")]
    let width = eras.len() as f64;
    let frame = Frame::new([0.0, width], [0.0, top]);
    let drawing = html! {
        (frame.axes("first year of the five-year band",
            &format!("{} {}", cohort.request.organ, cohort.request.metric), false))
        @for (i, era) in eras.iter().enumerate() { (column(&frame, i, *era, valued, &groups)) }
    };
    let description =
        format!("{} in {}.", counted(valued.len(), "case"), counted(eras.len(), "band"));
    html! {
        figure.single {
            figcaption { @for (rank, group) in groups.iter().enumerate() {
                @if rank > 0 { "; " } (fractions_words(*group)) ": " (shape_words(rank))
            } }
            (figure("time-0", "Dose by five-year band", &description, &drawing))
            (listed(&eras, valued, cohort.unit))
        }
    }
}

fn of_era<'c>(era: i64, valued: &[(&'c Case<'c>, f64, i64)]) -> Vec<(&'c Case<'c>, f64)> {
    let mut list: Vec<_> = valued.iter().filter(|v| v.2 == era).map(|v| (v.0, v.1)).collect();
    list.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.plan.plan_id.cmp(b.0.plan.plan_id)));
    list
}

fn median(list: &[(&Case<'_>, f64)]) -> Option<f64> {
    let values: Vec<f64> = list.iter().map(|v| v.1).collect();
    percentile(&values, 50.0).filter(|_| values.len() >= LEAST_CASES)
}

#[expect(clippy::cast_precision_loss, reason = "places of cases and bands on a page")]
fn column(
    frame: &Frame,
    i: usize,
    era: i64,
    valued: &[(&Case<'_>, f64, i64)],
    groups: &[Option<i64>],
) -> Markup {
    let list = of_era(era, valued);
    let (left, n) = (i as f64, list.len() as f64);
    let (_, bottom) = Frame::ends();
    html! {
        text.tick x=(at(frame.px(left + 0.5))) y=(bottom + 16.0) text-anchor="middle" { (era) }
        @if i > 0 { line.grid x1=(at(frame.px(left))) x2=(at(frame.px(left)))
            y1=(at(frame.py(f64::MAX))) y2=(bottom) {} }
        @if let Some(m) = median(&list) {
            line.median x1=(at(frame.px(left + 0.06))) x2=(at(frame.px(left + 0.94)))
                y1=(at(frame.py(m))) y2=(at(frame.py(m))) {}
        }
        @for (k, (case, value)) in list.iter().enumerate() {
            @let rank = groups.iter().position(|g| *g == case.fractions()).unwrap_or_default();
            g { title { (case.plan.plan_id) ": " (shown(*value)) }
                (mark(rank, frame.px(left + 0.08 + 0.84 * (k as f64 + 0.5) / n),
                    frame.py(*value))) }
        }
    }
}

fn listed(eras: &[i64], valued: &[(&Case<'_>, f64, i64)], unit: &str) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label="Dose by band of years" { table {
            caption { "By five-year band; the median is the line across a band" }
            thead { tr { th scope="col" { "From" } th.n scope="col" { "Cases with a value" } th.n
                scope="col" { "Highest " (unit) } th.n scope="col" { "Median " (unit) } } }
            tbody { @for era in eras {
                @let list = of_era(*era, valued);
                tr {
                    th scope="row" { (era) } td.n { (list.len()) }
                    td.n { @if let Some(v) = list.last() { (shown(v.1)) } }
                    td.n { @match median(&list)
                        { Some(m) => { (shown(m)) }, None =>
                        { "fewer than " (LEAST_CASES) " cases" } } }
                }
            } }
        } }
    }
}

/// Patients who came again: there the days mean something.
fn repeated(cohort: &Cohort<'_>) -> Markup {
    let mut again: Vec<&Case<'_>> =
        cohort.cases.iter().filter(|c| c.plan.n_courses.is_some_and(|n| n > 1)).collect();
    again.sort_by(|a, b| {
        (&a.plan.patient_id, a.plan.course, &a.plan.plan_id).cmp(&(
            &b.plan.patient_id,
            b.plan.course,
            &b.plan.plan_id,
        ))
    });
    if again.is_empty() {
        return html! { p.note { "No patient has more than one course in the study." } };
    }
    html! {
        details {
            summary { "Patients with more than one course: " (counted(again.len(), "case")) }
            div.scroll tabindex="0" role="region" aria-label="Patients with more than one course"
                { table {
                caption { "Courses of the same patient in their order" }
                thead { tr { @for words in
                    ["Patient", "Case", "Course", "Days since the course before",
                    cohort.request.metric] { th scope="col" { (words) } } } }
                tbody { @for case in &again { tr {
                    th scope="row" { (case.plan.patient_id) } td { (case.plan.plan_id) }
                    td { @if let Some(n) = case.plan.course { (n) } @else { "unknown" } }
                    td { @if let Some(n) = case.plan.days_since_course { (n) } @else { "–" } }
                    td { @match cohort.reading(case).and_then(|r| r.value)
                        { Some(v) => { (shown(v)) " " (cohort.unit) }, None => { "unknown" } } }
                } } }
            } }
        }
    }
}
