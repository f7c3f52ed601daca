//! A structure among the known ones of its case, as a small picture.

use maud::{Markup, html};

use crate::number::shown;
use crate::picture::{direction_words, opposite};

/// What a line of a picture belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OutlineKind {
    /// The structure that the question is about.
    Own,
    /// An organ that has its name.
    Organ,
    /// A target.
    Target,
}

/// A closed line.
#[derive(Debug, Clone, PartialEq)]
pub struct OutlineLine {
    /// Whose it is.
    pub name: String,
    /// What that is.
    pub kind: OutlineKind,
    /// Points right of and below the middle, mm.
    pub points: Vec<[f64; 2]>,
}

/// A structure in one contour plane; where there is none, why.
#[derive(Debug, Clone, PartialEq)]
pub struct OutlinePicture {
    /// The case.
    pub plan_id: String,
    /// The structure.
    pub roi_number: i64,
    /// Its name in the file.
    pub name: String,
    /// What is to be seen.
    pub seen: Result<Seen, String>,
}

/// What is to be seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    /// Patient direction to the right and down the page, as DICOM letters.
    pub directions: [char; 2],
    /// Position of the plane, mm.
    pub plane_mm: f64,
    /// Half of what is shown, mm.
    pub reach_mm: f64,
    /// The lines.
    pub lines: Vec<OutlineLine>,
}

/// Side of the drawing in its own units.
const SIDE: f64 = 240.0;

impl OutlinePicture {
    /// The picture with its words; `id` is unique on the page.
    pub(super) fn drawn(&self, id: &str) -> Markup {
        match &self.seen {
            Err(reason) => html! {
                p.note { "No picture of ROI Number " (self.roi_number) " of plan " (self.plan_id)
                    ": " (reason) "." }
            },
            Ok(seen) => html! {
                figure.picture.place {
                    svg viewBox={ "0 0 " (SIDE) " " (SIDE) } role="img"
                        aria-labelledby={ (id) "-t" } aria-describedby={ (id) "-d" } {
                        title id={ (id) "-t" } { "Where " (self.name) " lies in plan " (self.plan_id) }
                        (seen.canvas())
                    }
                    figcaption id={ (id) "-d" } { (self.words(seen)) }
                }
            },
        }
    }

    /// What the picture shows, so that it need not be seen.
    fn words(&self, seen: &Seen) -> String {
        let mut others: Vec<&str> = seen.others().map(|l| l.name.as_str()).collect();
        others.sort_unstable();
        others.dedup();
        let others = if others.is_empty() { "nothing known".to_owned() } else { others.join(", ") };
        let [right, down] = seen.directions;
        format!(
            "Plan {}: contour plane at {} mm, {} mm wide. Around it: {others}. Right edge: patient's \
             {}; lower edge: {}.",
            self.plan_id,
            shown(seen.plane_mm),
            shown(2.0 * seen.reach_mm),
            direction_words(right),
            direction_words(down)
        )
    }
}

impl Seen {
    fn others(&self) -> impl Iterator<Item = &OutlineLine> {
        self.lines.iter().filter(|line| line.kind != OutlineKind::Own)
    }

    fn canvas(&self) -> Markup {
        let scale = SIDE / 2.0 / self.reach_mm;
        let at = |mm: f64| format!("{:.1}", SIDE / 2.0 + mm * scale);
        let path = |line: &OutlineLine| {
            let points = line.points.iter().map(|[x, y]| format!("{} {}", at(*x), at(*y)));
            points.collect::<Vec<_>>().join(" ")
        };
        let class = |kind| match kind {
            OutlineKind::Own => "organ own",
            OutlineKind::Organ => "organ",
            OutlineKind::Target => "target",
        };
        let [right, down] = self.directions;
        let middle = SIDE / 2.0;
        // The structure itself lies over the others, its neighbours' names over all.
        let own = self.lines.iter().filter(|line| line.kind == OutlineKind::Own);
        html! {
            rect.ground width=(SIDE) height=(SIDE) {}
            @for line in self.others().chain(own) {
                polygon class=(class(line.kind)) points=(path(line)) {}
            }
            @for (name, [x, y]) in self.labels() {
                text.near x=(at(x)) y=(at(y)) text-anchor="middle" { (name) }
            }
            text.letter x=(middle) y="13" text-anchor="middle" { (opposite(down)) }
            text.letter x=(middle) y=(SIDE - 4.0) text-anchor="middle" { (down) }
            text.letter x="4" y=(middle + 4.0) { (opposite(right)) }
            text.letter x=(SIDE - 4.0) y=(middle + 4.0) text-anchor="end" { (right) }
        }
    }

    /// Each neighbour's name once, at the top of its largest line, as far as that is in sight and
    /// no other name is near.
    fn labels(&self) -> Vec<(&str, [f64; 2])> {
        let room_mm = 13.0 * 2.0 * self.reach_mm / SIDE;
        let inside = |[x, y]: [f64; 2]| {
            x.abs() < 0.75 * self.reach_mm && y.abs() < self.reach_mm - 1.9 * room_mm
        };
        let mut placed: Vec<(&str, [f64; 2])> = Vec::new();
        for line in self.others() {
            let top = line.points.iter().copied().filter(|p| inside(*p));
            let Some([x, y]) = top.min_by(|a, b| a[1].total_cmp(&b[1])) else { continue };
            let place = [x, y - 0.15 * room_mm];
            let near = |(name, [a, b]): &(&str, [f64; 2])| {
                let wide = 0.35 * room_mm * 16.0;
                *name == line.name || ((a - x).abs() < wide && (b - y).abs() < room_mm)
            };
            if !placed.iter().any(near) {
                placed.push((&line.name, place));
            }
        }
        placed
    }
}
