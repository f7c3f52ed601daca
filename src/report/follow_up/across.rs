//! Figures across patients: the volume of each treated lesion over time in percent of that at its
//! treatment, and the smallest of each.

use std::collections::{BTreeMap, BTreeSet};

use maud::{Markup, html};

use super::patients::{Patient, Treated};
use super::{days, with_bounds};
use crate::chart::{self, Frame, at, figure, mark};
use crate::number::{counted, plain, rounded};
use tidydose_table::read::{Compared, RESPONSES_BY, WithBounds};

/// Ends of steps of the axis of percents, on which halving and doubling are as far apart.
const PERCENTS: [f64; 14] =
    [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 400.0, 800.0, 1600.0, 3200.0, 6400.0, 12800.0];

/// More bars than this have no names below them.
const MOST_NAMES: usize = 24;

/// The volume of each treated lesion over time.
pub(super) fn over_time(list: &[Patient<'_>]) -> Markup {
    let lesions: Vec<Treated<'_>> = list.iter().flat_map(Patient::treated).collect();
    let known: Vec<(&Treated<'_>, Vec<(i64, WithBounds)>)> = lesions
        .iter()
        .map(|l| (l, l.relative()))
        .filter(|(_, points)| !points.is_empty())
        .collect();
    html! {
        p { "Each line is a treated lesion: its volume at each time at which it was drawn again, in \
            percent of that at its treatment (100 % on day 0). The axis is logarithmic. Bars through \
            the marks are numerical bounds of both volumes, not those of drawing or of images." }
        (counts("drawn", known.len(), &known.iter().map(|(l, _)| l.patient_id).collect::<Vec<_>>()))
        (left_out(list, &lesions))
        @if !known.is_empty() {
            figure.single {
                (lines(&known))
                figcaption { "Line: lesion" @if known.iter().any(|(l, _)| l.recurred) {
                    "; dashed with squares: lesions.csv calls it a recurrence at one of the times" } "." }
            }
        }
    }
}

fn lines(known: &[(&Treated<'_>, Vec<(i64, WithBounds)>)]) -> Markup {
    let points = || known.iter().flat_map(|(_, points)| points);
    let last = points().map(|(day, _)| *day).max().unwrap_or(1).max(1);
    let low =
        points().map(|(_, p)| p.low.unwrap_or(p.value)).fold(100.0, f64::min).max(PERCENTS[0]);
    let high = points().map(|(_, p)| p.high.unwrap_or(p.value)).fold(100.0, f64::max);
    let from = PERCENTS.into_iter().rfind(|p| *p <= low).unwrap_or(PERCENTS[0]);
    let to = PERCENTS.into_iter().find(|p| *p >= high).unwrap_or(high);
    let y_ticks: Vec<(f64, String)> = PERCENTS
        .into_iter()
        .filter(|p| (from..=to).contains(p))
        .map(|p| (p.log10(), format!("{p}")))
        .collect();
    #[expect(clippy::cast_precision_loss, reason = "days")]
    let end = last as f64;
    let frame = Frame::new([0.0, end], [from.log10(), to.log10()]);
    let (left, right) = Frame::sides();
    let hundred = at(frame.py(2.0));
    let name = "Volume of treated lesions over time, in percent of that at their treatment";
    let description = format!(
        "{} of {} days after the treatment; the numbers are on the sheets of the patients.",
        counted(known.len(), "lesion"),
        last
    );
    figure(
        "over-time-figure",
        name,
        &description,
        &html! {
            (frame.axes_at([&chart::ticks([0.0, end]), &y_ticks], "Days since the treatment",
                "Volume, % of that at the treatment"))
            line.limit x1=(left) x2=(right) y1=(hundred) y2=(hundred) {}
            @for (lesion, points) in known { (line(&frame, lesion, points)) }
        },
    )
}

fn line(frame: &Frame, lesion: &Treated<'_>, points: &[(i64, WithBounds)]) -> Markup {
    let y = |percent: f64| frame.py(percent.max(PERCENTS[0]).log10());
    #[expect(clippy::cast_precision_loss, reason = "days")]
    let x = |day: i64| frame.px(day as f64);
    let mut path = format!("M{} {}", at(x(0)), at(y(100.0)));
    for (day, p) in points {
        path.push_str(&format!("L{} {}", at(x(*day)), at(y(p.value))));
    }
    let class = if lesion.recurred { "curve part" } else { "curve" };
    let rank = usize::from(lesion.recurred);
    html! {
        g {
            title { (lesion.patient_id) ", " (lesion.structure) }
            path class=(class) d=(path) {}
            @for (day, p) in points {
                (whisker(x(*day), [p.low, p.high].map(|b| b.map(y))))
                (mark(rank, x(*day), y(p.value)))
            }
        }
    }
}

/// A bar from one end to the other where both are known.
pub(super) fn whisker(x: f64, [low, high]: [Option<f64>; 2]) -> Markup {
    html! {
        @if let (Some(low), Some(high)) = (low, high) {
            path.whisker d={ "M" (at(x - 3.0)) " " (at(low)) "h6M" (at(x)) " " (at(low)) "V" (at(high))
                "M" (at(x - 3.0)) " " (at(high)) "h6" } {}
        }
    }
}

/// The smallest volume of each treated lesion after its treatment.
pub(super) fn best(list: &[Patient<'_>]) -> Markup {
    let lesions: Vec<Treated<'_>> = list.iter().flat_map(Patient::treated).collect();
    let mut known: Vec<(&Treated<'_>, WithBounds)> =
        lesions.iter().filter_map(|l| Some((l, l.best()?))).collect();
    known.sort_by(|(a, x), (b, y)| {
        y.value.total_cmp(&x.value).then_with(|| a.lesion_id.cmp(b.lesion_id))
    });
    html! {
        p { "Each bar is a treated lesion: the change of its volume when it was smallest after its \
            treatment, against that at its treatment, whatever came later. Whiskers are numerical \
            bounds of both volumes." }
        (counts("drawn", known.len(), &known.iter().map(|(l, _)| l.patient_id).collect::<Vec<_>>()))
        @if known.len() < lesions.len() { p { "Who is left out and why stands above." } }
        @if !known.is_empty() {
            figure.single {
                (bars(&known))
                figcaption { "Dotted lines: thresholds of the volumes of spheres, "
                    (thresholds().map(plain).join(" and ")) " %, by which table responses adds up \
                    lesions of a patient; single lesions have no response by them." }
            }
            (numbers(&known))
        }
    }
}

/// Changes from which on volumes count as a partial response and as progression, percent.
fn thresholds() -> [f64; 2] {
    let volumes = RESPONSES_BY.iter().find(|d| d.of == Compared::SumOfVolumes);
    volumes.map_or([0.0; 2], |d| [d.partial_percent, d.progressive_percent])
}

fn bars(known: &[(&Treated<'_>, WithBounds)]) -> Markup {
    #[expect(clippy::cast_precision_loss, reason = "lesions")]
    let n = known.len() as f64;
    let high = known.iter().map(|(_, c)| c.high.unwrap_or(c.value)).fold(0.0, f64::max);
    let end = if high > 0.0 { chart::axis_end(high.max(thresholds()[1])) } else { 20.0 };
    let frame = Frame::new([0.0, n], [-100.0, end]);
    let zero = frame.py(0.0);
    let (left, right) = Frame::sides();
    let (_, bottom) = Frame::ends();
    let width = frame.px(1.0) - frame.px(0.0);
    let description = known
        .iter()
        .map(|(l, c)| format!("{} {}: {} %", l.patient_id, l.structure, rounded(c.value)))
        .collect::<Vec<_>>()
        .join("; ");
    let x_title = if known.len() > MOST_NAMES {
        "Lesions, the largest growth first"
    } else {
        "Lesions, the largest growth first; numbers as in the table below"
    };
    figure(
        "best-figure",
        "Smallest volume of each lesion against that at its treatment",
        &description,
        &html! {
            (frame.axes_at([&[], &chart::ticks([-100.0, end])], x_title, "Change of volume, %"))
            @for (place, (lesion, change)) in (0..).zip(known) {
                @let x = frame.px(f64::from(place));
                @let y = frame.py(change.value);
                g {
                    title { (lesion.patient_id) ", " (lesion.structure) ": " (rounded(change.value)) " %" }
                    rect.wide x=(at(x + 0.15 * width)) width=(at(0.7 * width)) y=(at(y.min(zero)))
                        height=(at((y - zero).abs())) {}
                    (whisker(x + 0.5 * width, [change.low, change.high].map(|b| b.map(|b| frame.py(b)))))
                    @if known.len() <= MOST_NAMES {
                        text.tick x=(at(x + 0.5 * width)) y=(bottom + 16.0) text-anchor="middle" { (place + 1) }
                    }
                }
            }
            @for threshold in thresholds() { @if threshold < end {
                @let y = at(frame.py(threshold));
                line.limit x1=(left) x2=(right) y1=(y) y2=(y) {}
            } }
            line.axis x1=(left) x2=(right) y1=(at(zero)) y2=(at(zero)) {}
        },
    )
}

fn numbers(known: &[(&Treated<'_>, WithBounds)]) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label="Smallest volumes" { table {
            caption { "The numbers of the figure" }
            thead { tr { @for words in ["No.", "Patient", "Lesion", "Change of volume %", "Last drawn, day"] {
                th scope="col" { (words) } } } }
            tbody { @for (place, (lesion, change)) in (1..).zip(known) { tr {
                td.n { (place) }
                th scope="row" { (lesion.patient_id) }
                td { (lesion.structure) }
                td.n { (with_bounds(Some(*change))) }
                td.n { (days(lesion.times.last().and_then(|t| t.days_since_treatment))) }
            } } }
        } }
    }
}

fn counts(what: &str, lesions: usize, patients: &[&str]) -> Markup {
    let patients: BTreeSet<&&str> = patients.iter().collect();
    html! { p { (counted(lesions, "lesion")) " of " (counted(patients.len(), "patient")) " "
    (what) "." } }
}

/// Who is not drawn, and why.
fn left_out(list: &[Patient<'_>], lesions: &[Treated<'_>]) -> Markup {
    let mut reasons: BTreeMap<String, usize> = BTreeMap::new();
    for lesion in lesions.iter().filter(|l| l.relative().is_empty()) {
        *reasons.entry(format!("lesion: {}", lesion.why_not())).or_insert(0) += 1;
    }
    for time in list.iter().flat_map(|p| &p.times).filter(|t| t.is_later()) {
        if time.treated_lesion_id.is_none() {
            *reasons.entry(format!("later drawing: {}", time.reason)).or_insert(0) += 1;
        }
    }
    html! {
        @if !reasons.is_empty() { ul.note {
            @for (reason, n) in reasons { li { "not drawn: " (n) " " (reason) } }
        } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_patient_counts_once_wherever_the_lesions_stand() {
        let words = counts("drawn", 3, &["b", "a", "b"]).into_string();
        assert_eq!(words, "<p>3 lesions of 2 patients drawn.</p>");
    }
}
