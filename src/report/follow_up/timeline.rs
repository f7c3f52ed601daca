//! A patient's time: treatments, later structure sets and what was seen then on one line, the volume
//! of each lesion with its bounds below, on the same days.

use maud::{Markup, html};

use super::across::whisker;
use super::patients::Patient;
use crate::chart::{self, Frame, SHAPES, at, axis_end, figure, mark, shape_words};
use crate::number::{counted, plain, rounded};
use tidydose_table::read::{LesionTimeRow, ResponseRow, WithBounds};

/// Height of the strip above the volumes, in units of the figure.
const STRIP: f64 = 64.0;
/// Rows of words in it.
const ROWS: [f64; 3] = [12.0, 26.0, 40.0];

/// One lesion with its volumes.
struct Line<'p> {
    name: String,
    points: Vec<(i64, WithBounds, &'p LesionTimeRow<'p>)>,
}

/// What happened on a day, for the strip.
struct Event {
    day: i64,
    words: String,
    is_treatment: bool,
}

/// The figure with its legend; nothing where no day is known.
pub(super) fn figure_of(n: usize, patient: &Patient<'_>) -> Markup {
    let events = events(patient);
    let lines = lines(patient);
    let days =
        events.iter().map(|e| e.day).chain(lines.iter().flat_map(|l| l.points.iter().map(|p| p.0)));
    let Some(last) = days.max() else {
        return html! { p.note { "No day of a treatment is known: nothing can be drawn over time." } };
    };
    #[expect(clippy::cast_precision_loss, reason = "days")]
    let end = (last as f64 * 1.04).max(1.0);
    let top = lines
        .iter()
        .flat_map(|l| &l.points)
        .map(|(_, v, _)| v.high.unwrap_or(v.value))
        .fold(0.0, f64::max);
    let frame = Frame::new([0.0, end], [0.0, axis_end(top)]);
    let id = format!("time-{n}");
    let description = described(&events, &lines);
    html! {
        ol.legend { @for event in &events { li { "Day " (event.day) ": " (event.words) } } }
        figure.single {
            (strip(&frame, &events, end))
            (figure(&id, &format!("Volumes of patient {}", patient.patient_id), &description, &html! {
                (frame.axes("Days since the first treatment", "Volume cc", true))
                @for event in &events { @let x = at(x_of(&frame, event.day)); @let (top, bottom) = Frame::ends();
                    line class=(if event.is_treatment { "limit own" } else { "limit" })
                        x1=(x) x2=(x) y1=(top) y2=(bottom) {} }
                @for (rank, line) in lines.iter().enumerate() { (drawn(&frame, rank, line)) }
            }))
            figcaption {
                ul.legend { @for (rank, line) in lines.iter().enumerate() {
                    li { (shape_words(rank)) ": " (line.name) } } }
                "Bars: numerical bounds. Lines down: dashed a treatment, dotted a later structure set. \
                 The axis of volumes is linear and begins at 0."
                @if lines.len() > SHAPES { " Marks repeat after " (SHAPES) " lesions." }
            }
        }
    }
}

fn x_of(frame: &Frame, day: i64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "days")]
    let day = day as f64;
    frame.px(day)
}

fn events(patient: &Patient<'_>) -> Vec<Event> {
    let mut events = Vec::new();
    for plan in &patient.plans {
        if let Some(day) = patient.since(plan.day()) {
            let dose = plan.prescription_dose_gy.map(|d| format!(", {} Gy", plain(d)));
            let fractions = plan.fractions_planned.map(|n| format!(" in {n}"));
            let words =
                format!("treatment{}{}", dose.unwrap_or_default(), fractions.unwrap_or_default());
            events.push(Event { day, words, is_treatment: true });
        }
    }
    for (day, plan_id) in patient.scans() {
        let mut words = vec!["later structure set".to_owned()];
        let own = patient.later.iter().filter(|r| r.plan_id == plan_id);
        let n = own.filter(|r| r.recurrence == "yes").count();
        if n > 0 {
            words.push(counted(n, "recurrence"));
        }
        let new: i64 =
            patient.looks.iter().filter(|l| l.plan_id == plan_id).filter_map(|l| l.n_new).sum();
        if new > 0 {
            words.push(format!("{new} new"));
        }
        let by_images = |r: &&ResponseRow<'_>| r.plan_id == plan_id && r.response == "progressive";
        if patient.responses.iter().any(|r| by_images(&r)) {
            words.push("progressive by images".to_owned());
        }
        events.push(Event { day, words: words.join(", "), is_treatment: false });
    }
    events.sort_by_key(|e| (e.day, !e.is_treatment));
    events
}

/// The treated lesions, then new ones, then what nobody has matched, each with its volumes.
fn lines<'p>(patient: &'p Patient<'_>) -> Vec<Line<'p>> {
    let mut list: Vec<Line<'p>> = Vec::new();
    for lesion in patient.treated() {
        let name = format!("{} (treated)", lesion.structure);
        let mut line = Line { name, points: Vec::new() };
        for time in lesion.times {
            if let (Some(day), Some(volume)) = (patient.since(time.day), time.volume()) {
                line.points.push((day, volume, time));
            }
        }
        list.push(line);
    }
    for time in patient.times.iter().filter(|t| t.treated_lesion_id.is_none()) {
        let called = if time.is_unmatched() { "nobody has matched it" } else { "new" };
        if let (Some(day), Some(volume)) = (patient.since(time.day), time.volume()) {
            let name = format!("{} ({called})", time.structure);
            list.push(Line { name, points: vec![(day, volume, time)] });
        }
    }
    list
}

fn drawn(frame: &Frame, rank: usize, line: &Line<'_>) -> Markup {
    let points: Vec<String> = line
        .points
        .iter()
        .map(|(day, v, _)| format!("{} {}", at(x_of(frame, *day)), at(frame.py(v.value))))
        .collect();
    html! {
        g {
            title { (line.name) }
            @if points.len() > 1 { polyline.curve points=(points.join(" ")) {} }
            @for (day, v, time) in &line.points {
                @let x = x_of(frame, *day);
                (whisker(x, [v.low, v.high].map(|b| b.map(|b| frame.py(b)))))
                g { title { (time.structure) ": " (rounded(v.value)) " cc on day " (day) }
                    (mark(rank, x, frame.py(v.value))) }
            }
        }
    }
}

/// What happened, above the volumes: words in rows so that none lies on another.
fn strip(frame: &Frame, events: &[Event], end: f64) -> Markup {
    let (left, right) = Frame::sides();
    let middle = STRIP - 10.0;
    // Letters are some 6.2 units wide.
    let mut ends = [f64::NEG_INFINITY; ROWS.len()];
    let mut placed = Vec::new();
    for event in events {
        let x = x_of(frame, event.day);
        let text = format!("{}: {}", event.day, event.words);
        #[expect(clippy::cast_precision_loss, reason = "letters")]
        let width = text.chars().count() as f64 * 6.2;
        let start = x.min(right - width).max(left);
        // A word without a free row stands in the list below alone.
        let mut row = None;
        for (taken, y) in ends.iter_mut().zip(ROWS) {
            if row.is_none() && *taken < start {
                *taken = start + width + 8.0;
                row = Some(y);
            }
        }
        placed.push((event, x, start, row, text));
    }
    html! {
        svg viewBox={ "0 0 " (chart::WIDTH) " " (STRIP) } aria-hidden="true" {
            line.axis x1=(at(frame.px(0.0))) x2=(at(frame.px(end))) y1=(middle) y2=(middle) {}
            @for (event, x, start, row, text) in placed {
                (mark(if event.is_treatment { 2 } else { 1 }, x, middle))
                @if let Some(y) = row { text.tick x=(at(start)) y=(at(y)) { (text) } }
            }
        }
    }
}

fn described(events: &[Event], lines: &[Line<'_>]) -> String {
    let mut parts: Vec<String> =
        events.iter().map(|e| format!("day {}: {}", e.day, e.words)).collect();
    for line in lines {
        let volumes: Vec<String> = line
            .points
            .iter()
            .map(|(day, v, _)| format!("{} on day {day}", rounded(v.value)))
            .collect();
        parts.push(format!("{}: {} cc", line.name, volumes.join(", ")));
    }
    parts.join(". ")
}
