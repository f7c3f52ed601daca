//! From figures to marks on paper. Sizes are tenths of a millimetre.

use maud::{Markup, html};

use super::{COLUMN_MM, Figure, Layer, Look, UNITS, at, document};

pub(super) const WIDTH: f64 = COLUMN_MM * UNITS;
const LEFT: f64 = 110.0;
const RIGHT: f64 = 40.0;
const TOP: f64 = 22.0;
const PLOT: f64 = 440.0;
/// Height of one plot among several.
const PANEL: f64 = 300.0;
pub(super) const LINE: f64 = 32.0;
/// Height of letters: 7.1 points on paper; journals refuse less than 7.
pub(super) const LETTERS: f64 = 25.0;
/// Width of most letters.
pub(super) const LETTER: f64 = 13.0;
/// From the axis to the middle of its title, to the left.
const TITLE: f64 = 88.0;
/// Outline of a light area, which alone would be lost on bad paper.
const OUTLINE: &str = "#707070";
/// Letters in the title of a panel.
const HEADING: usize = 54;

struct Place<'f> {
    figure: &'f Figure,
    /// Where its title or legend begins.
    start: f64,
    /// Where the plot begins.
    top: f64,
    left: f64,
    /// Height of the plot.
    plot: f64,
    heading: Vec<String>,
}

impl Place<'_> {
    fn x(&self, value: f64) -> f64 {
        self.left + self.figure.x.share(value) * (WIDTH - self.left - RIGHT)
    }

    fn y(&self, value: f64) -> f64 {
        self.top + (1.0 - self.figure.y.share(value)) * self.plot
    }

    fn bottom(&self) -> f64 {
        self.top + self.plot
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
    let (drawing, end) = plot(figure, TOP, PLOT, Vec::new());
    document(&figure.title, &[&figure.description, &figure.foot], end, &drawing)
}

pub(super) fn panels(title: &str, description: &str, figures: &[Figure], foot: &str) -> String {
    let mut end = TOP;
    let mut drawings = Vec::new();
    for figure in figures {
        let (drawing, below) = plot(figure, end, PANEL, wrapped(&figure.title, HEADING));
        drawings.push(drawing);
        end = below + 14.0;
    }
    let drawing = html! { @for drawing in &drawings { (drawing) } };
    document(title, &[description, foot], end, &drawing)
}

/// The plot with its legend and the rows below, and where it ends.
fn plot(figure: &Figure, start: f64, height: f64, heading: Vec<String>) -> (Markup, f64) {
    let labels = figure.below.iter().map(|r| r.label.chars().count());
    // Room for the labels of the rows below, before their first number.
    let left = LEFT.max(40.0 + LETTER * count(labels.max().unwrap_or(0)));
    let top = start + LINE * count(figure.legend.len() + heading.len());
    let place = Place { figure, start, top, left, plot: height, heading };
    let below = place.bottom() + 98.0;
    let drawing = html! {
        (legend(&place))
        @for layer in figure.layers.iter().filter(|l| is_area(l)) { (drawn(&place, layer)) }
        (axes(&place))
        @for layer in figure.layers.iter().filter(|l| !is_area(l)) { (drawn(&place, layer)) }
        @for (i, row) in figure.below.iter().enumerate() {
            @let y = at(below + LINE * count(i));
            text x="4" y=(y) { (row.label) }
            @for (x, words) in &row.cells { text x=(at(place.x(*x))) y=(y) text-anchor="middle" { (words) } }
        }
    };
    let rows = count(figure.below.len());
    (drawing, below + LINE * rows + if rows > 0.0 { 0.0 } else { -12.0 })
}

#[expect(clippy::cast_precision_loss, reason = "a number of lines")]
pub(super) const fn count(n: usize) -> f64 {
    n as f64
}

fn legend(place: &Place<'_>) -> Markup {
    let left = place.left;
    let lines = place.heading.len();
    html! {
        @for (i, line) in place.heading.iter().enumerate() {
            text x=(at(left)) y=(at(place.start + LINE * (count(i) + 0.5))) font-weight="bold" { (line) }
        }
        @for (i, (look, words)) in place.figure.legend.iter().enumerate() {
            @let y = place.start + LINE * (count(lines + i) + 0.4);
            @if has_line(place.figure, *look) {
                line x1=(at(left)) x2=(at(left + 70.0)) y1=(at(y)) y2=(at(y)) stroke=(look.colour()) stroke-width="4" stroke-dasharray=(look.dash()) {}
            }
            @if has_mark(place.figure, *look) { (mark(*look, left + 35.0, y)) }
            text x=(at(left + 84.0)) y=(at(y + 8.0)) { (words) }
        }
    }
}

/// Whether marks of that look are drawn: a legend shows no mark that the figure lacks.
fn has_mark(figure: &Figure, wanted: Look) -> bool {
    let is_mark = |layer: &Layer| match layer {
        Layer::Mark { look, .. } => *look == wanted,
        Layer::Points { look, points } => *look == wanted && !points.is_empty(),
        _ => false,
    };
    figure.layers.iter().any(is_mark)
}

/// Whether a line of that look is drawn, not only marks.
fn has_line(figure: &Figure, wanted: Look) -> bool {
    let is_line = |layer: &Layer| match layer {
        Layer::Line { look, .. } | Layer::Steps { look, .. } => *look == wanted,
        _ => false,
    };
    figure.layers.iter().any(is_line)
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
        text transform={ "translate(" (at(left - TITLE)) " " (at(middle)) ") rotate(-90)" } text-anchor="middle" { (figure.y.title) }
    }
}

fn drawn(place: &Place<'_>, layer: &Layer) -> Markup {
    match layer {
        Layer::Line { points, look } => line(&place.path(points, false), *look),
        Layer::Steps { points, look } => line(&place.path(points, true), *look),
        Layer::Band { points, steps, inner } => {
            let path = area(place, points, *steps);
            let fill = if *inner { "#b4b4b4" } else { "#e2e2e2" };
            html! { path d=(path) fill=(fill) stroke=(OUTLINE) stroke-width="1.5" {} }
        }
        Layer::Tint { points, steps, look } => html! {
            path d=(area(place, points, *steps)) fill=(look.colour()) fill-opacity="0.15" stroke=(look.colour()) stroke-width="1.5" {}
        },
        Layer::Mark { at: (x, y), whisker, look, words } => {
            let (px, py) = (place.x(*x), place.y(*y));
            html! {
                @if let Some((low, high)) = whisker {
                    path d={ "M" (at(px)) " " (at(place.y(*low))) "V" (at(place.y(*high))) } stroke=(look.colour()) stroke-width="3" {}
                }
                (mark(*look, px, py))
                // White around the letters: no line crosses them.
                text x=(at(px + 14.0)) y=(at(py - 10.0)) paint-order="stroke" stroke="#fff" stroke-width="6" { (words) }
            }
        }
        Layer::Thin { points } => html! {
            path d=(place.path(points, false)) fill="none" stroke="#707070" stroke-width="1.5" {}
        },
        Layer::Points { points, look } => html! {
            @for (x, y) in points { (small_mark(*look, place.x(*x), place.y(*y))) }
        },
        Layer::Box { x, half, quartiles, median } => {
            let (from, to) = (at(place.x(x - half)), at(place.x(x + half)));
            html! {
                @if let Some((lower, upper)) = quartiles {
                    path d={ "M" (from) " " (at(place.y(*lower))) "H" (to) "V" (at(place.y(*upper))) "H" (from) "Z" } fill="none" stroke="#000" stroke-width="2.5" {}
                }
                path d={ "M" (from) " " (at(place.y(*median))) "H" (to) } stroke="#000" stroke-width="6" {}
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

/// Areas lie behind the axes and everything else.
const fn is_area(layer: &Layer) -> bool {
    matches!(layer, Layer::Band { .. } | Layer::Tint { .. })
}

/// The outline of an area between a lower and an upper line.
fn area(place: &Place<'_>, points: &[(f64, f64, f64)], steps: bool) -> String {
    let upper: Vec<_> = points.iter().map(|(x, _, high)| (*x, *high)).collect();
    let mut lower: Vec<_> = points.iter().map(|(x, low, _)| (*x, *low)).collect();
    if steps {
        // Back along the lower line, whose steps keep the earlier value.
        lower = stepped(&lower);
    }
    lower.reverse();
    let back = place.path(&lower, false).replacen('M', "L", 1);
    format!("{}{back}Z", place.path(&upper, steps))
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
    html! { path d={ "M" (at(x)) " " (at(y)) (look.mark()) } fill="#fff" stroke=(look.colour()) stroke-width="4" {} }
}

fn small_mark(look: Look, x: f64, y: f64) -> Markup {
    html! { path d={ "M" (at(x)) " " (at(y)) (look.small_mark()) } fill="none" stroke=(look.colour()) stroke-width="2.2" {} }
}

/// Lines of no more letters than that, broken between words.
pub(super) fn wrapped(text: &str, letters: usize) -> Vec<String> {
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
    fn panels_stand_below_each_other_with_one_foot() {
        let svg = panels("Two", "Both.", &[example(), example()], "common");
        assert_eq!(svg.matches("font-weight=\"bold\"").count(), 2);
        // What is said outside of the frame is in the file and not in the drawing.
        assert!(svg.contains("<desc>Both. common</desc>") && !svg.contains("small print"), "{svg}");
        let height = |svg: &str| -> f64 {
            svg.split("height=\"").nth(1).unwrap().split("mm").next().unwrap().parse().unwrap()
        };
        assert!(height(&svg) > 1.3 * height(&example().svg()));
    }

    #[test]
    fn a_legend_has_the_marks_that_the_figure_has() {
        let marks = |figure: &Figure| figure.svg().matches("fill=\"#fff\" stroke=").count();
        let mut figure = example();
        figure.legend = vec![(Look(0), "line".to_owned())];
        assert_eq!(marks(&figure), 0, "a line without marks");
        figure.layers.push(Layer::Mark {
            at: (1.0, 0.2),
            whisker: None,
            look: Look(0),
            words: "1/2".to_owned(),
        });
        assert_eq!(marks(&figure), 2, "the mark, and that of the legend");
    }

    /// 7 points are 2.47 mm.
    #[test]
    fn no_letter_is_smaller_than_seven_points() {
        let mut figure = example();
        figure.below = vec![super::super::Below {
            label: "at risk".to_owned(),
            cells: vec![(0.0, "4".into())],
        }];
        for svg in [figure.svg(), panels("Two", "Both.", &[example()], "x")] {
            let sizes: Vec<f64> = svg
                .match_indices("font-size")
                .map(|(at, _)| {
                    let digits = svg[at + 9..].trim_start_matches(['=', '"', ':']);
                    let end = digits.find(|c: char| !c.is_ascii_digit()).unwrap();
                    digits[..end].parse().unwrap()
                })
                .collect();
            assert!(!sizes.is_empty() && sizes.iter().all(|s| *s >= 24.7), "{sizes:?}");
        }
    }

    #[test]
    fn lines_break_between_words() {
        assert_eq!(wrapped("one two three", 8), ["one two", "three"]);
        assert_eq!(wrapped("incomprehensibilities", 5), ["incomprehensibilities"]);
        assert!(wrapped("", 5).is_empty());
    }
}
