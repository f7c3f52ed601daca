//! The organ's dose over time, each number of fractions by itself. Where the study has true dates:
//! the cases in the order of treatment, with median and control limits. Else days are shifted by a
//! hidden amount for each patient, so that the five-year band of the plan is all that is known across
//! patients.

use std::collections::BTreeMap;

use chrono::{Datelike, Days, NaiveDate};
use maud::{Markup, html};

use super::LEAST_CASES;
use super::chart::{self, Frame, at, axis_end, figure, mark};
use super::cohort::{Case, Cohort, fractions_words};
use super::html_page::part;
use super::number::{counted, percentile, shown};

/// With fewer cases than this the mean moving range says too little for control limits.
const LEAST_FOR_LIMITS: usize = 12;

/// Three standard deviations, which are estimated as mean moving range of two by 1.128: the
/// individuals chart of ISO 7870-2 (from memory).
const MOVING_RANGES: f64 = 3.0 / 1.128;

/// A case with a value and a time.
struct Point<'c> {
    case: &'c Case<'c>,
    /// Place in the table of cases, from 1.
    place: usize,
    value: f64,
    /// Where it stands: the period, by which points are sorted, then the day in it.
    period: Period,
    day: i64,
}

/// A stretch of time with its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Period {
    /// A band of five years by its first.
    Band(i64),
    Year(i32),
    /// A year with its quarter, 1 to 4.
    Quarter(i32, u32),
}

impl Period {
    fn words(self) -> String {
        match self {
            Self::Band(first) => format!("{first} to {}", first + 4),
            Self::Year(year) => year.to_string(),
            Self::Quarter(year, quarter) => format!("{year} Q{quarter}"),
        }
    }

    /// For an axis.
    fn short(self) -> String {
        match self {
            Self::Band(first) => first.to_string(),
            _ => self.words(),
        }
    }
}

/// Mean of all values and how far single ones may lie from it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct ControlLimits {
    low: f64,
    high: f64,
}

impl ControlLimits {
    /// Of values in the order of time; absent for few. No dose lies below 0.
    #[expect(clippy::cast_precision_loss, reason = "counts of cases")]
    fn of(values: &[f64]) -> Option<Self> {
        if values.len() < LEAST_FOR_LIMITS {
            return None;
        }
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let ranges: Vec<f64> = values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect();
        let reach = MOVING_RANGES * ranges.iter().sum::<f64>() / ranges.len() as f64;
        Some(Self { low: (mean - reach).max(0.0), high: mean + reach })
    }
}

/// The part of the page.
pub(super) fn section(cohort: &Cohort<'_>) -> Markup {
    let true_dates = cohort.request.true_dates;
    let valued = valued(cohort);
    let without = cohort.cases.iter().filter(|c| c.counted() && time(c, true_dates).is_none());
    let undated = without.count();
    part(
        "time",
        "Over time",
        &html! {
            @if true_dates { p { "Cases in the order of their first fraction, else of the date of \
                 the plan; each number of fractions by itself. The line is the median. Dashed: \
                 control limits of single values, mean and three standard deviations, taken from \
                 the mean difference of neighbours (individuals chart, ISO 7870-2, not yet checked against it), \
                 from " (LEAST_FOR_LIMITS) " cases on. A point beyond them asks for a look; it is \
                 no verdict." } }
            @else { p { "The days of a patient are shifted by a hidden amount: dates compare \
                 within a patient, not between patients. Across patients this chart uses \
                 the five-year band of the plan, each number of fractions by itself; inside a band \
                 the order means nothing, and so there are no control limits. A study measured \
                 with --keep-ids has true dates." } }
            @if valued.is_empty() { p.note { "No case has both a value and a date." } }
            div.panels { @for (rank, group) in cohort.fraction_groups().iter().enumerate() {
                (panel(cohort, *group, rank, &valued))
            } }
            @if undated > 0 { p.note
                { (counted(undated, "measured case")) " without a date of the plan." } }
            (repeated(cohort))
        },
    )
}

/// The cases with a value and a time, in the order of time.
fn valued<'c>(cohort: &'c Cohort<'_>) -> Vec<Point<'c>> {
    let true_dates = cohort.request.true_dates;
    let mut points = Vec::new();
    for (place, case) in (1..).zip(&cohort.cases) {
        let value = cohort.reading(case).and_then(|r| r.value);
        let (Some(value), Some((period, day))) = (value, time(case, true_dates)) else { continue };
        if case.counted() {
            points.push(Point { case, place, value, period, day });
        }
    }
    if true_dates && is_sparse(&points) {
        for point in &mut points {
            if let Period::Quarter(year, _) = point.period {
                point.period = Period::Year(year);
            }
        }
    }
    points.sort_by_key(|p| (p.period, p.day, p.case.plan.plan_id));
    points
}

/// Whether quarters would hold fewer cases than a median needs.
fn is_sparse(points: &[Point<'_>]) -> bool {
    let mut quarters: Vec<Period> = points.iter().map(|p| p.period).collect();
    quarters.sort_unstable();
    quarters.dedup();
    points.len() < quarters.len() * LEAST_CASES
}

/// The period of a case and its day there; absent without a date.
fn time(case: &Case<'_>, true_dates: bool) -> Option<(Period, i64)> {
    if !true_dates {
        return Some((Period::Band(case.plan.era?), 0));
    }
    let day = case.plan.day()?;
    let date = date_of(day)?;
    Some((Period::Quarter(date.year(), date.month0() / 3 + 1), day))
}

/// The date of a day counted from 1970-01-01.
pub(super) fn date_of(day: i64) -> Option<NaiveDate> {
    NaiveDate::default().checked_add_days(Days::new(u64::try_from(day).ok()?))
}

fn panel(cohort: &Cohort<'_>, group: Option<i64>, rank: usize, valued: &[Point<'_>]) -> Markup {
    let points: Vec<&Point<'_>> = valued.iter().filter(|p| p.case.fractions() == group).collect();
    if points.is_empty() {
        return html! {};
    }
    let mut periods: BTreeMap<Period, Vec<f64>> = BTreeMap::new();
    for point in &points {
        periods.entry(point.period).or_default().push(point.value);
    }
    let values: Vec<f64> = points.iter().map(|p| p.value).collect();
    let limits = ControlLimits::of(&values).filter(|_| cohort.request.true_dates);
    let words = fractions_words(group);
    let drawing = drawn(cohort, &points, limits, rank);
    let description =
        format!("{} in {}.", counted(points.len(), "case"), counted(periods.len(), "period"));
    let id = format!("time-{rank}");
    html! {
        figure {
            figcaption { strong { (words) } ", " (counted(points.len(), "case")) }
            (figure(&id, &format!("Dose over time, {words}"), &description, &drawing))
            @if let Some(limits) = limits { p.note { "Control limits: " (shown(limits.low)) " to "
                (shown(limits.high)) " " (cohort.unit) "; beyond them: "
                (points.iter().filter(|p| p.value > limits.high || p.value < limits.low).count())
                "." } }
            (listed(&periods, cohort.unit, &words))
        }
    }
}

#[expect(clippy::cast_precision_loss, reason = "places of cases on a page")]
fn drawn(
    cohort: &Cohort<'_>,
    points: &[&Point<'_>],
    limits: Option<ControlLimits>,
    rank: usize,
) -> Markup {
    let most = points.iter().map(|p| p.value).chain(limits.map(|l| l.high)).fold(0.0, f64::max);
    let frame = Frame::new([0.0, points.len() as f64], [0.0, axis_end(most * 1.05)]);
    let mut values: Vec<f64> = points.iter().map(|p| p.value).collect();
    values.sort_by(f64::total_cmp);
    let median = percentile(&values, 50.0).filter(|_| values.len() >= LEAST_CASES);
    let (left, right) = Frame::sides();
    let (top, bottom) = Frame::ends();
    let across = |class: &str, value: f64| {
        let y = at(frame.py(value));
        html! { line class=(class) x1=(left) x2=(right) y1=(y) y2=(y) {} }
    };
    let x_title = if cohort.request.true_dates { "cases by date" } else { "band of the plan" };
    let y_title = format!("{} {}", cohort.request.organ, cohort.request.metric);
    html! {
        (frame.axes(x_title, &y_title, false))
        @for (first, period) in begins(points) {
            line.grid x1=(at(frame.px(first))) x2=(at(frame.px(first))) y1=(top) y2=(bottom) {}
            text.tick x=(at(frame.px(first) + 3.0)) y=(bottom + 16.0) { (period.short()) }
        }
        @if let Some(median) = median { (across("median", median)) }
        @if let Some(limits) = limits {
            (across("limit own", limits.low))
            (across("limit own", limits.high))
        }
        @for (k, point) in points.iter().enumerate() {
            @let title = format!(
                "{}. {}: {}", point.place, point.case.plan.plan_id, shown(point.value)
            );
            @let at = mark(rank, frame.px(k as f64 + 0.5), frame.py(point.value));
            (chart::point(cohort.sheet_of(point.place).as_deref(), &title, &at))
        }
    }
}

/// Where each period begins, as many as have room for their names.
#[expect(clippy::cast_precision_loss, reason = "places of cases on a page")]
fn begins(points: &[&Point<'_>]) -> Vec<(f64, Period)> {
    const ROOM: f64 = 9.0;
    let mut begins: Vec<(f64, Period)> = Vec::new();
    let least = points.len() as f64 / ROOM;
    let mut last = None;
    for (k, point) in points.iter().enumerate() {
        if last == Some(point.period) {
            continue;
        }
        last = Some(point.period);
        let first = k as f64;
        if begins.last().is_none_or(|(before, _)| first - before >= least) {
            begins.push((first, point.period));
        }
    }
    begins
}

fn listed(periods: &BTreeMap<Period, Vec<f64>>, unit: &str, group: &str) -> Markup {
    html! {
        details {
            summary { "Numbers of this figure" }
            div.scroll tabindex="0" role="region" aria-label={ "Dose over time, " (group) } { table {
                caption { "By period, " (group) }
                thead { tr { th scope="col" { "Period" } th.n scope="col" { "Cases with a value" }
                    th.n scope="col" { "Highest " (unit) } th.n scope="col" { "Median " (unit) } } }
                tbody { @for (period, values) in periods {
                    @let median = median(values);
                    tr {
                        th scope="row" { (period.words()) } td.n { (values.len()) }
                        td.n { (shown(values.iter().copied().fold(0.0, f64::max))) }
                        td.n { @match median { Some(m) => { (shown(m)) },
                            None => { "fewer than " (LEAST_CASES) " cases" } } }
                    }
                } }
            } }
        }
    }
}

/// The median of enough values.
fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    percentile(&sorted, 50.0).filter(|_| sorted.len() >= LEAST_CASES)
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand: differences 2, 2, ..., mean 11, so that the limits are 11 and 3 · 2 / 1.128.
    #[test]
    fn control_limits_come_from_the_differences_of_neighbours() {
        let values: Vec<f64> = (0..12).map(|k| if k % 2 == 0 { 10.0 } else { 12.0 }).collect();
        let limits = ControlLimits::of(&values).unwrap();
        assert!((limits.high - (11.0 + 6.0 / 1.128)).abs() < 1e-12, "{limits:?}");
        assert!((limits.low - (11.0 - 6.0 / 1.128)).abs() < 1e-12, "{limits:?}");
        let low: Vec<f64> = values.iter().map(|v| v - 9.5).collect();
        assert_eq!(ControlLimits::of(&low).unwrap().low, 0.0, "no dose lies below 0");
        assert_eq!(ControlLimits::of(&values[..11]), None, "too few");
    }

    #[test]
    fn days_become_quarters_where_dates_are_true() {
        let mut case = Case::example("p");
        case.plan.day_plan = Some(15_809);
        // 15,809 days after 1970-01-01 is 2013-04-14.
        assert_eq!(time(&case, true), Some((Period::Quarter(2013, 2), 15_809)));
        assert_eq!(time(&case, false), None, "no band is stated");
        case.plan.era = Some(2010);
        assert_eq!(time(&case, false), Some((Period::Band(2010), 0)));
    }
}
