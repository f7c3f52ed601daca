//! From figures to marks on paper. Sizes are tenths of a millimetre.

use maud::{Markup, html};

use super::{COLUMN_MM, Figure, Layer, Look, Stage, UNITS, at, document};

const WIDTH: f64 = COLUMN_MM * UNITS;
const LEFT: f64 = 110.0;
const RIGHT: f64 = 40.0;
const TOP: f64 = 22.0;
const PLOT: f64 = 440.0;
const LINE: f64 = 32.0;
/// Letters in a line of small print across the figure.
const LETTERS: usize = 74;

/// Blue, vermilion, green, purple and black of Okabe and Ito.
const COLOURS: [&str; 5] = ["#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000"];
const DASHES: [&str; 5] = ["none", "22 9", "5 7", "22 7 5 7", "40 9"];

impl Look {
    fn colour(self) -> &'static str {
        COLOURS[self.0 % COLOURS.len()]
    }

    fn dash(self) -> &'static str {
        DASHES[self.0 % DASHES.len()]
    }
}

struct Place<'f> {
    figure: &'f Figure,
    top: f64,
    left: f64,
}

impl Place<'_> {
    fn x(&self, value: f64) -> f64 {
        self.left + self.figure.x.share(value) * (WIDTH - self.left - RIGHT)
    }

    fn y(&self, value: f64) -> f64 {
        self.top + (1.0 - self.figure.y.share(value)) * PLOT
    }

    fn bottom(&self) -> f64 {
        self.top + PLOT
    }

    fn path(&self, points: &[(f64, f64)], steps: bool) -> String {
        let mut path = String::new();
        for (i, (x, y)) in points.iter().enumerate() {
            let (x, y) = (at(self.x(*x)), at(self.y(*y)));
            path.push_str(&match (i, steps) {
                (0, _) => format!("M{x} {y}"),
                (_, true) => format!("H{x}V{y}"),
                (_, false) => format!("L{x} {y}"),
            });
        }
        path
    }
}

pub(super) fn figure(figure: &Figure) -> String {
    let top = TOP + LINE * count(figure.legend.len());
    let labels = figure.below.iter().map(|r| r.label.chars().count());
    // Room for the labels of the rows below, before their first number.
    let left = LEFT.max(26.0 + 11.5 * count(labels.max().unwrap_or(0)));
    let place = Place { figure, top, left };
    let below = place.bottom() + 92.0;
    let foot =
        below + LINE * count(figure.below.len()) + if figure.below.is_empty() { 0.0 } else { 12.0 };
    let lines = wrapped(&figure.foot, LETTERS);
    let height = foot + 26.0 * count(lines.len()) + 10.0;
    let drawing = html! {
        (legend(&place))
        @for layer in figure.layers.iter().filter(|l| matches!(l, Layer::Band { .. })) { (drawn(&place, layer)) }
        (axes(&place))
        @for layer in figure.layers.iter().filter(|l| !matches!(l, Layer::Band { .. })) { (drawn(&place, layer)) }
        @for (i, row) in figure.below.iter().enumerate() {
            @let y = at(below + LINE * count(i));
            text x="4" y=(y) font-size="22" { (row.label) }
            @for (x, words) in &row.cells { text x=(at(place.x(*x))) y=(y) text-anchor="middle" font-size="23" { (words) } }
        }
        @for (i, line) in lines.iter().enumerate() {
            text x="4" y=(at(foot + 26.0 * count(i))) font-size="21" fill="#444" { (line) }
        }
    };
    document(&figure.title, &figure.description, height, &drawing)
}

#[expect(clippy::cast_precision_loss, reason = "a number of lines")]
const fn count(n: usize) -> f64 {
    n as f64
}

fn legend(place: &Place<'_>) -> Markup {
    let left = place.left;
    html! {
        @for (i, (look, words)) in place.figure.legend.iter().enumerate() {
            @let y = TOP + LINE * (count(i) + 0.4);
            line x1=(at(left)) x2=(at(left + 70.0)) y1=(at(y)) y2=(at(y)) stroke=(look.colour()) stroke-width="4" stroke-dasharray=(look.dash()) {}
            (mark(*look, left + 35.0, y))
            text x=(at(left + 84.0)) y=(at(y + 8.0)) { (words) }
        }
    }
}

fn axes(place: &Place<'_>) -> Markup {
    let (figure, left) = (place.figure, place.left);
    let (right, bottom) = (WIDTH - RIGHT, place.bottom());
    let middle = f64::midpoint(place.top, bottom);
    html! {
        path d={ "M" (at(left)) " " (at(place.top)) "V" (at(bottom)) "H" (at(right)) } fill="none" stroke="#000" stroke-width="2.5" {}
        @for (x, words) in figure.x.ticks() {
            path d={ "M" (at(place.x(x))) " " (at(bottom)) "v9" } stroke="#000" stroke-width="2.5" {}
            text x=(at(place.x(x))) y=(at(bottom + 34.0)) text-anchor="middle" { (words) }
        }
        @for (y, words) in figure.y.ticks() {
            path d={ "M" (at(left)) " " (at(place.y(y))) "h-9" } stroke="#000" stroke-width="2.5" {}
            text x=(at(left - 14.0)) y=(at(place.y(y) + 9.0)) text-anchor="end" { (words) }
        }
        text x=(at(f64::midpoint(left, right))) y=(at(bottom + 66.0)) text-anchor="middle" { (figure.x.title) }
        text transform={ "translate(22 " (at(middle)) ") rotate(-90)" } text-anchor="middle" { (figure.y.title) }
    }
}

fn drawn(place: &Place<'_>, layer: &Layer) -> Markup {
    match layer {
        Layer::Line { points, look } => line(&place.path(points, false), *look),
        Layer::Steps { points, look } => line(&place.path(points, true), *look),
        Layer::Band { points, steps, inner } => {
            let upper: Vec<_> = points.iter().map(|(x, _, high)| (*x, *high)).collect();
            let mut lower: Vec<_> = points.iter().map(|(x, low, _)| (*x, *low)).collect();
            if *steps {
                // Back along the lower line, whose steps keep the earlier value.
                lower = stepped(&lower);
            }
            lower.reverse();
            let back = place.path(&lower, false).replacen('M', "L", 1);
            let path = format!("{}{back}Z", place.path(&upper, *steps));
            html! { path d=(path) fill=(if *inner { "#b4b4b4" } else { "#e2e2e2" }) {} }
        }
        Layer::Mark { at: (x, y), whisker, look, words } => {
            let (px, py) = (place.x(*x), place.y(*y));
            html! {
                @if let Some((low, high)) = whisker {
                    path d={ "M" (at(px)) " " (at(place.y(*low))) "V" (at(place.y(*high))) } stroke=(look.colour()) stroke-width="3" {}
                }
                (mark(*look, px, py))
                text x=(at(px + 12.0)) y=(at(py - 8.0)) font-size="21" { (words) }
            }
        }
        Layer::Rug { x, top } => {
            let (from, by) = if *top { (place.top, 15.0) } else { (place.bottom(), -15.0) };
            html! { @for x in x {
                path d={ "M" (at(place.x(*x))) " " (at(from)) "v" (by) } stroke="#000" stroke-width="1.5" {}
            } }
        }
        Layer::Crosses { points } => html! { @for (x, y) in points {
            path d={ "M" (at(place.x(*x))) " " (at(place.y(*y) - 8.0)) "v16" } stroke="#000" stroke-width="1.5" {}
        } },
    }
}

fn stepped(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = Vec::new();
    for (x, y) in points {
        if let Some((_, before)) = out.last().copied() {
            out.push((*x, before));
        }
        out.push((*x, *y));
    }
    out
}

fn line(path: &str, look: Look) -> Markup {
    html! { path d=(path) fill="none" stroke=(look.colour()) stroke-width="4" stroke-dasharray=(look.dash()) {} }
}

fn mark(look: Look, x: f64, y: f64) -> Markup {
    let path = match look.0 % COLOURS.len() {
        0 => "m-9 0a9 9 0 1 0 18 0a9 9 0 1 0 -18 0",
        1 => "m0 -11l10 18h-20z",
        2 => "m-8 -8h16v16h-16z",
        3 => "m0 -11l11 11l-11 11l-11 -11z",
        _ => "m-8 -8l16 16m0 -16l-16 16",
    };
    html! { path d={ "M" (at(x)) " " (at(y)) (path) } fill="#fff" stroke=(look.colour()) stroke-width="4" {} }
}

const BOX: f64 = 400.0;
const SIDE: f64 = 350.0;

pub(super) fn flow(title: &str, stages: &[Stage], foot: &str) -> String {
    let mut y = 12.0;
    let mut parts: Vec<Markup> = Vec::new();
    for (place, stage) in stages.iter().enumerate() {
        let left: Vec<String> = stage.left.iter().flat_map(|l| wrapped(l, 27)).collect();
        if place > 0 {
            let gap = if left.is_empty() { 34.0 } else { 30.0 + 27.0 * count(left.len()) + 24.0 };
            let middle = y + gap / 2.0;
            parts.push(html! {
                path d={ "M" (BOX / 2.0) " " (at(y)) "v" (at(gap)) "m-7 -12l7 12l7 -12" } fill="none" stroke="#000" stroke-width="2.5" {}
                @if !left.is_empty() {
                    path d={ "M" (BOX / 2.0) " " (at(middle)) "H" (WIDTH - SIDE - 6.0) "m-12 -7l12 7l-12 7" } fill="none" stroke="#000" stroke-width="2.5" {}
                    (boxed(WIDTH - SIDE - 4.0, middle - 13.5 * count(left.len()) - 10.0, SIDE, &left))
                }
            });
            y += gap;
        }
        let words: Vec<String> = stage.words.iter().flat_map(|w| wrapped(w, 32)).collect();
        parts.push(boxed(4.0, y, BOX - 8.0, &words));
        y += 27.0 * count(words.len()) + 20.0;
    }
    let lines = wrapped(foot, LETTERS);
    let drawing = html! {
        @for part in &parts { (part) }
        @for (i, line) in lines.iter().enumerate() {
            text x="4" y=(at(y + 34.0 + 26.0 * count(i))) font-size="21" fill="#444" { (line) }
        }
    };
    let description = "Boxes from top to bottom: what is left at each stage, what left before it.";
    document(title, description, y + 34.0 + 26.0 * count(lines.len()), &drawing)
}

fn boxed(x: f64, y: f64, width: f64, lines: &[String]) -> Markup {
    html! {
        rect x=(at(x)) y=(at(y)) width=(at(width)) height=(at(27.0 * count(lines.len()) + 20.0)) fill="#fff" stroke="#000" stroke-width="2.5" {}
        @for (i, line) in lines.iter().enumerate() {
            text x=(at(x + 12.0)) y=(at(y + 32.0 + 27.0 * count(i))) font-size="23" { (line) }
        }
    }
}

/// Lines of no more letters than that, broken between words.
fn wrapped(text: &str, letters: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < letters => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::super::Axis;
    use super::*;

    fn example() -> Figure {
        Figure {
            title: "Risk <of> it".to_owned(),
            description: "A line.".to_owned(),
            x: Axis::new("V12Gy in cc", 0.0, 20.0),
            y: Axis::shares("risk", 0.5),
            layers: vec![
                Layer::Line { points: vec![(0.0, 0.1), (20.0, 0.6)], look: Look(0) },
                Layer::Band {
                    points: vec![(0.0, 0.0, 0.2), (20.0, 0.4, 0.9)],
                    steps: false,
                    inner: false,
                },
                Layer::Rug { x: vec![3.0], top: true },
            ],
            legend: vec![(Look(1), "group B & C".to_owned())],
            below: Vec::new(),
            foot: "small print".to_owned(),
        }
    }

    #[test]
    fn texts_are_escaped_bands_lie_behind_and_the_width_is_a_column() {
        let svg = example().svg();
        assert!(svg.contains("Risk &lt;of&gt; it") && svg.contains("group B &amp; C"), "{svg}");
        assert!(svg.contains("width=\"85mm\""));
        let (band, line) = (svg.find("#e2e2e2").unwrap(), svg.rfind("#0072B2").unwrap());
        assert!(band < line);
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
        assert_eq!(svg, example().svg());
    }

    #[test]
    fn lines_break_between_words() {
        assert_eq!(wrapped("one two three", 8), ["one two", "three"]);
        assert_eq!(wrapped("incomprehensibilities", 5), ["incomprehensibilities"]);
        assert!(wrapped("", 5).is_empty());
    }

    #[test]
    fn a_flow_has_a_box_for_each_stage() {
        let stage = |words: &str, left: &[&str]| Stage {
            words: vec![words.to_owned()],
            left: left.iter().map(|l| (*l).to_owned()).collect(),
        };
        let svg = flow(
            "Flow",
            &[stage("20 lesions", &[]), stage("12 lesions", &["8 without outcome"])],
            "x",
        );
        assert_eq!(svg.matches("<rect").count(), 4, "paper, two stages, one side box");
        assert!(svg.contains("8 without outcome"));
    }
}
