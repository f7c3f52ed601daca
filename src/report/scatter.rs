//! The organ's dose against the distance of the nearest target, one panel for each number of
//! fractions, with numerical bounds as whiskers and the limits for that number.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::chart::{Frame, at, axis_end, figure, mark, point, shape_words};
use super::cohort::{Case, Cohort, fractions_words};
use super::html_page::part;
use super::number::{bounds, counted, shown, spaced};
use super::ranking::case_link;
use tidydose_statistics::outlying::{LEAST_POINTS, STANDS_OUT};
use tidydose_table::read::{LimitCheckRow, MetricRow, Tier};

/// Figures with more points than this leave the numbers to the table of cases.
const LISTED: usize = 60;
/// Metrics whose limits are about the hottest spot, so that their lines belong into one figure.
const HOT_SPOTS: [&str; 5] =
    ["Max[Gy]", "NearMax[Gy]", "D0.03cc[Gy]", "D0.035cc[Gy]", "D0.1cc[Gy]"];

struct Point<'c> {
    case: &'c Case<'c>,
    /// Place in the table of cases, from 1.
    place: usize,
    reading: &'c MetricRow<'c>,
    value: f64,
    x: f64,
}

/// A limit of the list with what it is for; several sources may state the same.
struct Line<'c> {
    check: &'c LimitCheckRow<'c>,
    limit: f64,
    letter: char,
}

/// What all panels show, in the same frame.
struct Plotted<'c> {
    frame: Frame,
    /// Whether the horizontal axis is a distance and not a rank.
    by_distance: bool,
    points: Vec<Point<'c>>,
}

/// The part of the page.
pub(super) fn section(cohort: &Cohort<'_>) -> Markup {
    let (points, by_distance) = points(cohort);
    let top = points.iter().filter_map(|p| p.reading.high.or(Some(p.value))).fold(0.0, f64::max);
    let groups = cohort.fraction_groups();
    let limit_top = groups.iter().flat_map(|g| lines(cohort, *g)).map(|l| l.limit);
    let end = axis_end(limit_top.filter(|l| *l < 3.0 * top).fold(top, f64::max) * 1.05);
    let x = points.iter().map(|p| p.x);
    let (low, high) = x.fold((0.0, 1.0), |(a, b): (f64, f64), x| (a.min(x), b.max(x)));
    let frame = Frame::new([low - 0.03 * (high - low), high * 1.03 + 0.1], [0.0, end]);
    let unplotted = cohort.cases.len() - points.len();
    let plotted = Plotted { frame, by_distance, points };
    part(
        "distance",
        "Dose against distance from the target",
        &html! {
            p { "Each mark is a case. Whiskers are the numerical bounds of the value (grid, \
                 interpolation, slice ends), not a clinical uncertainty; an arrow stands where a \
                 value has one side only." }
            @if !by_distance { p.note {
                @if cohort.relations_there
                    { "The table of relations holds no distance between a target and this organ \
                     for the cases with a value" }
                @else { "This study has no table of distances" }
                ": cases stand by rank of dose instead, the highest first." } }
            p.note { "A circle around a mark: the dose as share of the prescription is far off what the \
                 others with as many fractions have at such a distance, in radii of the target \
                 (modified z-score of " (STANDS_OUT) " or more off a Theil-Sen line on logarithmic \
                 scales; from " (LEAST_POINTS) " cases on). It asks for a look and is no verdict. "
                (counted(apart(cohort), "case")) " so marked. A click on a mark opens the sheet of \
                 the case." }
            p.note { (counted(unplotted, "case")) " of " (cohort.cases.len()) " cannot be drawn ("
                (why_not(cohort, &plotted.points)) ")." }
            div.panels {
                @for (rank, group) in groups.iter().enumerate() {
                    (panel(cohort, *group, rank, &plotted))
                }
            }
        },
    )
}

/// How many cases stand out.
fn apart(cohort: &Cohort<'_>) -> usize {
    cohort.cases.iter().filter(|c| c.stands_out.is_some()).count()
}

/// The cases that can be drawn, and whether a distance is known for any of them.
fn points<'c>(cohort: &'c Cohort<'_>) -> (Vec<Point<'c>>, bool) {
    let counted = (1..).zip(&cohort.cases).filter(|(_, c)| c.counted());
    let valued = counted.filter_map(|(place, case)| {
        let reading = cohort.reading(case)?;
        Some(Point { case, place, reading, value: reading.value?, x: 0.0 })
    });
    let mut points: Vec<_> = valued.collect();
    let by_distance = points.iter().any(|p| p.case.gap.is_some());
    if by_distance {
        points.retain(|p| p.case.gap.is_some());
        for p in &mut points {
            p.x = p.case.gap.as_ref().map_or(0.0, |(gap, _)| *gap);
        }
    } else {
        points.sort_by(|a, b| {
            b.value.total_cmp(&a.value).then(a.case.plan.plan_id.cmp(b.case.plan.plan_id))
        });
        let mut rank = 0.0;
        for p in &mut points {
            rank += 1.0;
            p.x = rank;
        }
    }
    (points, by_distance)
}

fn why_not(cohort: &Cohort<'_>, points: &[Point<'_>]) -> String {
    let mut reasons: BTreeMap<String, usize> = BTreeMap::new();
    for case in &cohort.cases {
        if points.iter().any(|p| std::ptr::eq(p.case, case)) {
            continue;
        }
        let reason = match cohort.reading(case) {
            _ if !case.counted() => "left out".to_owned(),
            Some(r) if r.value.is_some() => "distance unknown".to_owned(),
            Some(r) => spaced(r.status.word()),
            None if case.waits_for_name() => "name undecided".to_owned(),
            None => "organ not contoured".to_owned(),
        };
        *reasons.entry(reason).or_insert(0) += 1;
    }
    let list: Vec<String> = reasons.into_iter().map(|(r, n)| format!("{n} {r}")).collect();
    if list.is_empty() { "none".to_owned() } else { list.join(", ") }
}

/// The limits for that number of fractions that are about the metric, or about the hottest spot
/// when the metric is; equal ones of several sources side by side.
fn lines<'c>(cohort: &'c Cohort<'_>, fractions: Option<i64>) -> Vec<Line<'c>> {
    let metric = cohort.request.metric;
    let hot = HOT_SPOTS.contains(&metric);
    let of_group = cohort.cases.iter().filter(|c| c.fractions() == fractions);
    let mut found: Vec<(f64, &LimitCheckRow<'_>)> = Vec::new();
    let limits = of_group.flat_map(|c| &c.checks).filter(|c| c.tier != Some(Tier::Objective));
    for check in limits {
        let fits = check.metric == metric || (hot && HOT_SPOTS.contains(&check.metric));
        let same = |(l, c): &(f64, &LimitCheckRow<'_>)| {
            Some(*l) == check.limit_value
                && c.limit_source == check.limit_source
                && c.metric == check.metric
                && c.tier == check.tier
        };
        if let Some(limit) = check.limit_value.filter(|_| fits && !found.iter().any(same)) {
            found.push((limit, check));
        }
    }
    found.sort_by(|a, b| {
        a.0.total_cmp(&b.0)
            .then_with(|| (a.1.metric, a.1.limit_source).cmp(&(b.1.metric, b.1.limit_source)))
    });
    found
        .into_iter()
        .zip('a'..='z')
        .map(|((limit, check), letter)| Line { check, limit, letter })
        .collect()
}

fn panel(
    cohort: &Cohort<'_>,
    group: Option<i64>,
    rank: usize,
    &Plotted { ref frame, by_distance, ref points }: &Plotted<'_>,
) -> Markup {
    let own: Vec<&Point<'_>> = points.iter().filter(|p| p.case.fractions() == group).collect();
    if own.is_empty() {
        return html! { figure { figcaption {
            strong { (fractions_words(group)) } ": no case that can be drawn"
        } } };
    }
    let lines = lines(cohort, group);
    let id = format!("distance-{rank}");
    let name = format!(
        "{} against {}, {}",
        cohort.request.metric,
        if by_distance { "distance" } else { "rank" },
        fractions_words(group)
    );
    let highest = own.iter().map(|p| p.value).fold(f64::NAN, f64::max);
    let description =
        format!("{}, highest {} {}.", counted(own.len(), "case"), shown(highest), cohort.unit);
    let x_title = if by_distance {
        "distance of the nearest target in mm, negative: inside"
    } else {
        "rank of dose"
    };
    let y_title = format!("{}{}", cohort.request.organ, format_args!(" {}", cohort.request.metric));
    let drawing = html! {
        (frame.axes(x_title, &y_title, true))
        (limit_lines(frame, &lines, cohort.request.metric))
        @for p in &own { (drawn(cohort, frame, p, rank)) }
    };
    html! {
        figure {
            figcaption { strong { (fractions_words(group)) } " (" (shape_words(rank)) "), "
                (counted(own.len(), "case")) }
            (figure(&id, &name, &description, &drawing))
            (legend(&lines, cohort))
            (listed(&own, by_distance, cohort))
        }
    }
}

/// One line for each level, its letters by turns at the right and at the left end, so that near
/// levels stay readable.
fn limit_lines(frame: &Frame, lines: &[Line<'_>], metric: &str) -> Markup {
    let (left, right) = Frame::sides();
    let mut levels: Vec<(f64, String, bool)> = Vec::new();
    for line in lines {
        let own = line.check.metric == metric;
        match levels.last_mut().filter(|(limit, ..)| (limit - line.limit).abs() < 1e-9) {
            Some((_, letters, any)) => {
                letters.push(line.letter);
                *any |= own;
            }
            None => levels.push((line.limit, line.letter.to_string(), own)),
        }
    }
    levels.retain(|(limit, ..)| frame.py(*limit) > Frame::ends().0);
    // All lines first: a text with its halo then stands before the line of a near level.
    html! {
        @for (limit, _, own) in &levels {
            @let y = frame.py(*limit);
            line class=(if *own { "limit own" } else { "limit" })
                x1=(left) x2=(right) y1=(at(y)) y2=(at(y)) {}
        }
        @for (i, (limit, letters, _)) in levels.iter().enumerate() {
            @let y = frame.py(*limit);
            @let even = i % 2 == 0;
            @let (x, anchor) = if even { (right - 3.0, "end") } else { (left + 4.0, "start") };
            text.letter x=(x) y=(at(y - 3.0)) text-anchor=(anchor) { (letters) " " (shown(*limit)) }
        }
    }
}

fn drawn(cohort: &Cohort<'_>, frame: &Frame, p: &Point<'_>, rank: usize) -> Markup {
    let (x, y) = (frame.px(p.x), frame.py(p.value));
    let end = |bound: Option<f64>, open: f64| bound.map_or(y + open, |b| frame.py(b));
    let (low, high) = (end(p.reading.low, 14.0), end(p.reading.high, -14.0));
    let arrow =
        |tip: f64, back: f64| format!("M{} {}l-4 {back}m4 {}l4 {back}", at(x), at(tip), -back);
    let drawn = html! {
        line.whisker x1=(at(x)) x2=(at(x)) y1=(at(low)) y2=(at(high)) {}
        @if p.reading.high.is_none() { path.whisker d=(arrow(high, 5.0)) {} }
        @if p.reading.low.is_none() { path.whisker d=(arrow(low, -5.0)) {} }
        @if p.case.stands_out.is_some() { circle.apart cx=(at(x)) cy=(at(y)) r="10" {} }
        (mark(rank, x, y))
    };
    let (value, bounds) = (shown(p.value), bounds(p.reading.low, p.reading.high));
    let (place, plan) = (p.place, p.case.plan.plan_id);
    let title = format!("{place}. {plan}: {value} {} ({bounds})", cohort.unit);
    point(cohort.sheet_of(place).as_deref(), &title, &drawn)
}

fn legend(lines: &[Line<'_>], cohort: &Cohort<'_>) -> Markup {
    html! {
        @if lines.is_empty() {
            p.note {
                @if cohort.limits_there {
                    "The list holds no limit of this kind for this number of fractions." }
                @else { "No limits: the study has no table of limit checks." }
            }
        } @else {
            ul.legend {
                @for line in lines {
                    li { b { (line.letter) } " " (line.check.metric) " " (line.check.operator) " "
                        (shown(line.limit)) " " (line.check.unit)
                        ", " (line.check.tier_word()) ": " (line.check.limit_source) " (" (line.check.evidence)
                            ")" }
                }
            }
            @if lines.iter().any(|l| l.check.metric != cohort.request.metric) {
                p.note { "Dotted lines are limits of a neighbouring metric of the hottest spot, \
                     for comparison only; verdicts use the metric that the limit names." }
            }
        }
    }
}

fn listed(own: &[&Point<'_>], by_distance: bool, cohort: &Cohort<'_>) -> Markup {
    if own.len() > LISTED {
        return html! { p { a href="#cases" { "The numbers are in the table of cases." } } };
    }
    html! {
        details {
            summary { "Numbers of this figure" }
            div.scroll tabindex="0" role="region" aria-label="Numbers of the figure" { table {
                caption { (cohort.request.metric) " with bounds" }
                thead { tr { th scope="col" { "Case" } th.n scope="col"
                    { @if by_distance { "Distance mm" } @else { "Rank" } } th.n scope="col"
                    { "Value " (cohort.unit) } th scope="col" { "Bounds" } } }
                tbody { @for p in own { tr {
                    th scope="row" { (case_link(cohort, p.place, p.case)) }
                    td.n { @if by_distance { (shown(p.x)) } @else { (p.x) } }
                    td.n { (shown(p.value)) } td { (bounds(p.reading.low, p.reading.high)) }
                } } }
            } }
        }
    }
}
