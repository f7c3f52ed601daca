//! Drawings of rows below each other: estimates with their intervals (a forest plot), and what happened
//! to each patient over time (a swimmer plot).

use maud::{Markup, html};

use super::draw::{LETTER, LINE, WIDTH, count, wrapped};
use super::ratios::room_for;
use super::{Axis, Look, at, document};

/// A row of a forest plot.
#[derive(Debug, Clone, PartialEq)]
pub struct ForestRow {
    /// What it is about.
    pub label: String,
    /// Estimate with the ends of its interval; absent in a heading and where there is none.
    pub estimate: Option<[f64; 3]>,
    /// Words at the end of the row.
    pub words: String,
}

/// A forest plot: a row for each estimate, with a line where there is no difference.
#[derive(Debug, Clone, PartialEq)]
pub struct Forest {
    /// Name for those who do not see it.
    pub title: String,
    /// What it shows, in a sentence.
    pub description: String,
    /// Axis of the estimates.
    pub x: Axis,
    /// Where there is no difference; absent where the estimates are none of differences.
    pub reference: Option<f64>,
    /// From top to bottom.
    pub rows: Vec<ForestRow>,
    /// As [`super::Figure::foot`].
    pub foot: String,
}

/// Paper for labels, and for words at the end at least and at most.
const LABELS: f64 = 270.0;
const ENDS: [f64; 2] = [200.0, 290.0];
const TOP: f64 = 10.0;
/// Above a heading that is not the first row.
const GAP: f64 = 10.0;
/// Below the rows: ticks, and the title of the axis.
const AXIS: f64 = 80.0;

impl Forest {
    /// The plot as a file.
    #[must_use]
    pub fn svg(&self) -> String {
        let (left, right) = (LABELS, WIDTH - room_for(&self.rows, ENDS));
        let x = |value: f64| left + self.x.share(value) * (right - left);
        let mut y = TOP;
        let mut rows: Vec<Markup> = Vec::new();
        for row in &self.rows {
            let heading = row.estimate.is_none() && row.words.is_empty();
            // Bold letters are wider by a sixth.
            let room = if heading { WIDTH / 7.0 * 6.0 } else { LABELS - 8.0 };
            if heading && !rows.is_empty() {
                y += GAP;
            }
            let lines = wrapped(&row.label, letters(room));
            let height = LINE * count(lines.len().max(1));
            let middle = y + height / 2.0;
            rows.push(html! {
                @for (i, line) in lines.iter().enumerate() {
                    @let baseline = at(y + LINE * (count(i) + 0.75));
                    @if heading {
                        // White around the letters: no line crosses them.
                        text x="4" y=(baseline) font-weight="bold" paint-order="stroke" stroke="#fff" stroke-width="6" { (line) }
                    } @else {
                        text x="4" y=(baseline) { (line) }
                    }
                }
                @if let Some([estimate, low, high]) = row.estimate {
                    path d={ "M" (at(x(low))) " " (at(middle)) "H" (at(x(high))) } stroke="#000" stroke-width="3" {}
                    (cut(&self.x, [x(low), x(high)], [low, high], middle))
                    rect x=(at(x(estimate) - 7.0)) y=(at(middle - 7.0)) width="14" height="14" fill=(Look(0).colour()) {}
                }
                text x=(at(right + 14.0)) y=(at(middle + 9.0)) { (row.words) }
            });
            y += height;
        }
        let bottom = y + 6.0;
        let drawing = html! {
            @if let Some(reference) = self.reference {
                path d={ "M" (at(x(reference))) " " (at(TOP)) "V" (at(bottom)) } stroke="#707070" stroke-width="2" stroke-dasharray="8 6" {}
            }
            @for row in &rows { (row) }
            (scale(&self.x, [left, right], bottom))
        };
        document(&self.title, &[&self.description, &self.foot], bottom + AXIS, &drawing)
    }
}

/// An arrow at each end of an interval that goes on beyond the axis.
fn cut(axis: &Axis, [from, to]: [f64; 2], [low, high]: [f64; 2], y: f64) -> Markup {
    html! {
        @if low < axis.low { path d={ "M" (at(from)) " " (at(y)) "m10 -8l-10 8l10 8" } fill="none" stroke="#000" stroke-width="3" {} }
        @if high > axis.high { path d={ "M" (at(to)) " " (at(y)) "m-10 -8l10 8l-10 8" } fill="none" stroke="#000" stroke-width="3" {} }
    }
}

/// The horizontal axis with ticks and title.
fn scale(axis: &Axis, [left, right]: [f64; 2], bottom: f64) -> Markup {
    let x = |value: f64| left + axis.share(value) * (right - left);
    html! {
        path d={ "M" (at(left)) " " (at(bottom)) "H" (at(right)) } stroke="#000" stroke-width="2.5" {}
        @for (value, words) in axis.ticks() {
            path d={ "M" (at(x(value))) " " (at(bottom)) "v9" } stroke="#000" stroke-width="2.5" {}
            text x=(at(x(value))) y=(at(bottom + 34.0)) text-anchor="middle" { (words) }
        }
        text x=(at(f64::midpoint(left, right))) y=(at(bottom + 66.0)) text-anchor="middle" { (axis.title) }
    }
}

/// Letters that fit.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a width of paper")]
fn letters(room: f64) -> usize {
    (room / LETTER) as usize
}

/// A patient of a swimmer plot.
#[derive(Debug, Clone, PartialEq)]
pub struct Lane {
    /// First and last moment.
    pub from: f64,
    /// Last moment that is known.
    pub to: f64,
    /// What happened when.
    pub marks: Vec<(f64, Look)>,
    /// Whether the patient was alive at the end: the lane ends in an arrow.
    pub goes_on: bool,
}

/// A swimmer plot: a lane for each patient, from top to bottom.
#[derive(Debug, Clone, PartialEq)]
pub struct Lanes {
    /// Name for those who do not see it.
    pub title: String,
    /// What it shows, in a sentence.
    pub description: String,
    /// Axis of time.
    pub x: Axis,
    /// Beside the lanes.
    pub side: String,
    /// From top to bottom.
    pub lanes: Vec<Lane>,
    /// Names of the looks of marks.
    pub legend: Vec<(Look, String)>,
    /// As [`super::Figure::foot`].
    pub foot: String,
}

/// Height of all lanes at most: with axis and legend a page of a journal.
const TALLEST: f64 = 1900.0;
/// Height of a lane where there is room, and where its marks begin to cover those of the next.
const LANE: [f64; 2] = [30.0, 7.0];

/// Patients of whom each has a lane that can be told from its neighbours.
pub const MOST_LANES: usize = 270;

impl Lanes {
    /// The plot as a file.
    #[must_use]
    pub fn svg(&self) -> String {
        let (left, right) = (60.0, WIDTH - 40.0);
        let x = |value: f64| left + self.x.share(value) * (right - left);
        let top = TOP + LINE * count(self.legend.len());
        let step = (TALLEST / count(self.lanes.len().max(1))).clamp(LANE[1], LANE[0]);
        let bottom = top + step * count(self.lanes.len());
        let wide = (step * 0.3).clamp(2.0, 8.0);
        let drawing = html! {
            @for (i, (look, words)) in self.legend.iter().enumerate() {
                @let y = TOP + LINE * (count(i) + 0.4);
                (mark(*look, left + 12.0, y, false))
                text x=(at(left + 34.0)) y=(at(y + 9.0)) { (words) }
            }
            @for (i, lane) in self.lanes.iter().enumerate() {
                @let y = top + step * (count(i) + 0.5);
                path d={ "M" (at(x(lane.from))) " " (at(y)) "H" (at(x(lane.to))) } stroke="#b4b4b4" stroke-width=(at(wide)) {}
                @if lane.goes_on {
                    path d={ "M" (at(x(lane.to))) " " (at(y)) "h14m-7 -6l7 6l-7 6" } fill="none" stroke="#000" stroke-width="2" {}
                }
                @for (when, look) in &lane.marks { (mark(*look, x(*when), y, step < LANE[0] * 0.6)) }
            }
            (scale(&self.x, [left, right], bottom + 6.0))
            text transform={ "translate(26 " (at(f64::midpoint(top, bottom))) ") rotate(-90)" } text-anchor="middle" { (self.side) }
        };
        document(&self.title, &[&self.description, &self.foot], bottom + AXIS + 6.0, &drawing)
    }
}

fn mark(look: Look, x: f64, y: f64, small: bool) -> Markup {
    let shape = if small { look.small_mark() } else { look.mark() };
    html! { path d={ "M" (at(x)) " " (at(y)) (shape) } fill="#fff" stroke=(look.colour()) stroke-width="3" {} }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_forest_has_a_square_for_each_estimate_and_arrows_where_it_is_cut() {
        let row = |label: &str, estimate, words: &str| ForestRow {
            label: label.to_owned(),
            estimate,
            words: words.to_owned(),
        };
        let forest = Forest {
            title: "Forest".to_owned(),
            description: "Two.".to_owned(),
            x: Axis::log("Odds ratio", 0.1, 10.0),
            reference: Some(1.0),
            rows: vec![
                row("Brain", None, ""),
                row("V12Gy (cm³)", Some([1.1, 1.0, 1.2]), "1.10"),
                row("age", Some([2.0, 0.5, 40.0]), "2.00"),
            ],
            foot: "caution".to_owned(),
        };
        let svg = forest.svg();
        assert_eq!(svg.matches("width=\"14\"").count(), 2, "{svg}");
        assert_eq!(svg.matches("m-10 -8l10 8l-10 8").count(), 1, "one end beyond the axis");
        assert_eq!(svg.matches("font-weight=\"bold\"").count(), 1);
        assert!(svg.contains("<desc>Two. caution</desc>") && !svg.contains("NaN"), "{svg}");
    }

    #[test]
    fn a_lane_has_its_marks_and_an_arrow_where_life_goes_on() {
        let lane = |to, goes_on| Lane { from: 0.0, to, marks: vec![(0.0, Look(0))], goes_on };
        let lanes = Lanes {
            title: "Courses".to_owned(),
            description: "Two.".to_owned(),
            x: Axis::months("Months", 24.0),
            side: "Patients".to_owned(),
            lanes: vec![lane(24.0, true), lane(3.0, false)],
            legend: vec![(Look(0), "course".to_owned())],
            foot: String::new(),
        };
        let svg = lanes.svg();
        assert_eq!(svg.matches("h14m-7 -6l7 6l-7 6").count(), 1, "{svg}");
        assert_eq!(svg.matches("fill=\"#fff\" stroke=\"#0072B2\"").count(), 3, "legend and lanes");
        let many = Lanes { lanes: vec![lane(3.0, false); MOST_LANES], ..lanes };
        let height = many.svg();
        let height = height.split("height=\"").nth(1).unwrap().split("mm").next().unwrap();
        assert!(height.parse::<f64>().unwrap() < 240.0, "a page: {height}");
    }
}
