//! What all figures share: a frame with two axes in SVG, ticks, marks that differ by shape and
//! filling, and lines that differ by dashes. Colours are blue, orange and greys by rank and carry no
//! meaning alone.

use maud::{Markup, html};

/// Outer size of a figure, in its own units.
pub(super) const WIDTH: f64 = 520.0;
/// Outer height.
pub(super) const HEIGHT: f64 = 330.0;
const LEFT: f64 = 52.0;
const RIGHT: f64 = 14.0;
const TOP: f64 = 14.0;
const BOTTOM: f64 = 46.0;

/// A frame over a range of values on both axes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    x: [f64; 2],
    y: [f64; 2],
}

impl Frame {
    /// A frame that holds both ranges; a range without extent gets some.
    pub(super) fn new(x: [f64; 2], y: [f64; 2]) -> Self {
        let widened = |[a, b]: [f64; 2]| if b > a { [a, b] } else { [a, a + 1.0] };
        Self { x: widened(x), y: widened(y) }
    }

    /// Place of a value on the horizontal axis.
    pub(super) fn px(&self, x: f64) -> f64 {
        let [from, to] = self.x;
        LEFT + (x - from) / (to - from) * (WIDTH - LEFT - RIGHT)
    }

    /// Place of a value on the vertical axis, kept inside of the frame.
    pub(super) fn py(&self, y: f64) -> f64 {
        let [from, to] = self.y;
        let share = ((y - from) / (to - from)).clamp(0.0, 1.0);
        HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM)
    }

    /// Left and right end of the frame.
    pub(super) const fn sides() -> (f64, f64) {
        (LEFT, WIDTH - RIGHT)
    }

    /// Top and bottom end of the frame.
    pub(super) const fn ends() -> (f64, f64) {
        (TOP, HEIGHT - BOTTOM)
    }

    /// Grid lines with their numbers, and the titles of the axes. `x_ticks` false leaves the
    /// numbers of the horizontal axis to the caller.
    pub(super) fn axes(&self, x_title: &str, y_title: &str, x_ticks: bool) -> Markup {
        let x = if x_ticks { ticks(self.x) } else { Vec::new() };
        self.axes_at([&x, &ticks(self.y)], x_title, y_title)
    }

    /// The same with grid lines at these places of both axes, each with its words.
    pub(super) fn axes_at(
        &self,
        [x_ticks, y_ticks]: [&[(f64, String)]; 2],
        x_title: &str,
        y_title: &str,
    ) -> Markup {
        let (left, right) = Self::sides();
        let (top, bottom) = Self::ends();
        html! {
            @for (y, label) in y_ticks {
                line.grid x1=(left) x2=(right) y1=(at(self.py(*y))) y2=(at(self.py(*y))) {}
                text.tick x=(left - 6.0) y=(at(self.py(*y) + 4.0)) text-anchor="end" { (label) }
            }
            @for (x, label) in x_ticks {
                line.grid x1=(at(self.px(*x))) x2=(at(self.px(*x))) y1=(top) y2=(bottom) {}
                text.tick x=(at(self.px(*x))) y=(bottom + 16.0) text-anchor="middle" { (label) }
            }
            line.axis x1=(left) x2=(right) y1=(bottom) y2=(bottom) {}
            line.axis x1=(left) x2=(left) y1=(top) y2=(bottom) {}
            text.title x=(f64::midpoint(left, right)) y=(HEIGHT - 8.0) text-anchor="middle"
                { (x_title) }
            text.title transform={ "translate(13 " (f64::midpoint(top, bottom)) ") rotate(-90)" }
                text-anchor="middle" { (y_title) }
        }
    }
}

/// Round numbers across a range, four to eight of them, with their text.
pub(super) fn ticks([from, to]: [f64; 2]) -> Vec<(f64, String)> {
    let rough = (to - from) / 5.0;
    let ten = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].map(|s| s * ten).into_iter().find(|s| *s >= rough);
    let step = step.unwrap_or(rough);
    let digits = if step >= 1.0 {
        0
    } else if step >= 0.1 {
        1
    } else {
        2
    };
    let first = (from / step - 1e-9).ceil();
    let all = (0..12).map(|k| (first + f64::from(k)) * step);
    all.take_while(|v| *v <= to + step * 1e-9)
        .map(|v| (v, format!("{:.digits$}", v + 0.0)))
        .collect()
}

/// A coordinate with one decimal.
pub(super) fn at(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

/// A whole figure with its name and description for those who do not see it.
pub(super) fn figure(id: &str, name: &str, description: &str, drawing: &Markup) -> Markup {
    html! {
        svg viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img"
            aria-labelledby={ (id) "-t " (id) "-d" } {
            title id={ (id) "-t" } { (name) }
            desc id={ (id) "-d" } { (description) }
            (drawing)
        }
    }
}

/// How many kinds of marks there are before they repeat.
pub(super) const SHAPES: usize = 6;

/// The shape of the marks of a group, in words for the legend.
pub(super) const fn shape_words(rank: usize) -> &'static str {
    match rank % SHAPES {
        0 => "filled circle",
        1 => "open square",
        2 => "filled triangle",
        3 => "open diamond",
        4 => "cross",
        _ => "open circle",
    }
}

/// A mark of the group of that rank.
pub(super) fn mark(rank: usize, x: f64, y: f64) -> Markup {
    let class = format!("mark rank{}", rank % SHAPES);
    let path = match rank % SHAPES {
        1 => "m-4.5 -4.5h9v9h-9z",
        2 => "m0 -6l5.5 10h-11z",
        3 => "m0 -6l6 6l-6 6l-6 -6z",
        4 => "m-5 -5l10 10m0 -10l-10 10",
        _ => "m-5 0a5 5 0 1 0 10 0a5 5 0 1 0 -10 0",
    };
    html! { path class=(class) d={ "M" (at(x)) " " (at(y)) (path) } {} }
}

/// A mark of a case, with its title; a click on it opens the sheet of the case where there is one.
/// Not a link, which a picture may not hold for programs that read it aloud: for the keyboard the
/// numbers beside each figure have the links.
pub(super) fn point(sheet: Option<&str>, title: &str, drawn: &Markup) -> Markup {
    html! { g data-sheet=[sheet] { title { (title) } (drawn) } }
}

/// The next round number at or above, for the end of an axis.
pub(super) fn axis_end(value: f64) -> f64 {
    let Some(step) = ticks([0.0, value.max(1e-3)]).get(1).map(|(v, _)| *v) else { return value };
    (value / step + 1e-9).ceil().max(1.0) * step
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let words = |range| ticks(range).into_iter().map(|(_, t)| t).collect::<Vec<_>>();
        assert_eq!(words([0.0, 20.0]), ["0", "5", "10", "15", "20"]);
        assert_eq!(words([-3.0, 7.0]), ["-2", "0", "2", "4", "6"]);
        assert_eq!(words([0.0, 1.0]), ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]);
        assert!((axis_end(18.8) - 20.0).abs() < 1e-9, "{}", axis_end(18.8));
    }

    /// Filling is in the style sheet: `tests/colours.rs`.
    #[test]
    fn marks_of_six_groups_differ_in_shape_but_for_the_filled_and_the_open_circle() {
        let shape = |rank| {
            let drawn = mark(rank, 0.0, 0.0).into_string();
            drawn.split("d=\"").nth(1).unwrap().to_owned()
        };
        for a in 0..SHAPES {
            for b in a + 1..SHAPES {
                assert_eq!(shape(a) == shape(b), (a, b) == (0, 5), "{a} {b}");
            }
        }
    }

    #[test]
    fn what_lies_outside_is_drawn_at_the_edge() {
        let frame = Frame::new([0.0, 0.0], [0.0, 10.0]);
        let (top, bottom) = Frame::ends();
        assert!((frame.py(99.0) - top).abs() < 1e-9 && (frame.py(-5.0) - bottom).abs() < 1e-9);
        assert!(frame.px(1.0).is_finite());
    }
}
