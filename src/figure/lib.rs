//! Figures for print: one SVG each, and the same as PDF and TIFF; complete in itself, in millimetres,
//! readable in grey and at the width of one column (85 mm, type of 7 points and more). Line styles and
//! marks double every colour. What must be said of a figure stands in its description, not in the frame.
//!
//! Takes numbers and texts and draws them. Knows no table and no statistics, and opens no file.

mod axis;
mod blocks;
mod calibration;
mod draw;
mod look;
mod press;
mod ratios;
mod rows;

pub use axis::{Axis, Scale};
pub use calibration::{Calibrated, calibration};
pub use look::{LOOKS, Look};
pub use press::{PICTURE_DPI, pdf, pressed, tiff};
pub use ratios::{Ratio, ratios};
pub use rows::{Forest, ForestRow, Lane, Lanes, MOST_LANES};

use maud::{Markup, html};

/// Width of one column of a journal, mm.
pub const COLUMN_MM: f64 = 85.0;

/// Units of the drawing in one millimetre.
const UNITS: f64 = 10.0;

/// One thing in a figure.
#[derive(Debug, Clone, PartialEq)]
pub enum Layer {
    /// A line through points.
    Line {
        /// Points in the units of the axes.
        points: Vec<(f64, f64)>,
        /// Its look.
        look: Look,
    },
    /// A line that keeps its value until the next point.
    Steps {
        /// Points, by rising x.
        points: Vec<(f64, f64)>,
        /// Its look.
        look: Look,
    },
    /// A grey area between a lower and an upper line.
    Band {
        /// x, lower and upper end.
        points: Vec<(f64, f64, f64)>,
        /// Whether ends hold until the next point.
        steps: bool,
        /// Darker for the inner of two bands.
        inner: bool,
    },
    /// An area as [`Layer::Band`], in the colour of a group, through which others are seen.
    Tint {
        /// x, lower and upper end.
        points: Vec<(f64, f64, f64)>,
        /// Whether ends hold until the next point.
        steps: bool,
        /// Its look.
        look: Look,
    },
    /// A mark with a whisker.
    Mark {
        /// Where.
        at: (f64, f64),
        /// Ends of a vertical whisker.
        whisker: Option<(f64, f64)>,
        /// Its look.
        look: Look,
        /// Words beside it.
        words: String,
    },
    /// A thin grey line among many.
    Thin {
        /// Points in the units of the axes.
        points: Vec<(f64, f64)>,
    },
    /// Small marks without words.
    Points {
        /// Where.
        points: Vec<(f64, f64)>,
        /// Their look.
        look: Look,
    },
    /// A box from quartile to quartile with a stroke at the median; only the stroke without quartiles.
    Box {
        /// Its middle on the horizontal axis.
        x: f64,
        /// Half its width there.
        half: f64,
        /// Lower and upper quartile.
        quartiles: Option<(f64, f64)>,
        /// Median.
        median: f64,
    },
    /// Short strokes at one height, upwards or downwards.
    Rug {
        /// Their x.
        x: Vec<f64>,
        /// At the upper edge instead of the lower.
        top: bool,
    },
    /// Small strokes on a curve where somebody left.
    Crosses {
        /// Points.
        points: Vec<(f64, f64)>,
    },
}

/// A row of numbers below the axis, such as how many are at risk.
#[derive(Debug, Clone, PartialEq)]
pub struct Below {
    /// What is counted.
    pub label: String,
    /// Place on the horizontal axis and text.
    pub cells: Vec<(f64, String)>,
}

/// A figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Name for those who do not see it.
    pub title: String,
    /// What it shows, in a sentence.
    pub description: String,
    /// Horizontal axis.
    pub x: Axis,
    /// Vertical axis.
    pub y: Axis,
    /// What is drawn, from back to front.
    pub layers: Vec<Layer>,
    /// Names of the looks that need one.
    pub legend: Vec<(Look, String)>,
    /// Rows of numbers below the axis.
    pub below: Vec<Below>,
    /// What is said of it beside the frame, such as the caution: it stands in the description inside
    /// the file and in captions, since journals print no text of the kind.
    pub foot: String,
}

impl Figure {
    /// The figure as a file.
    #[must_use]
    pub fn svg(&self) -> String {
        draw::figure(self)
    }
}

/// Several figures below each other as one file: each under its title, with its own foot left out.
#[must_use]
pub fn panels(title: &str, description: &str, figures: &[Figure], foot: &str) -> String {
    draw::panels(title, description, figures, foot)
}

/// A map of states: a line of cells for each row, its columns in groups.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Map {
    /// Name for those who do not see it.
    pub title: String,
    /// What it shows, in a sentence.
    pub description: String,
    /// Names of the states, from the darkest to the blank one, at most four.
    pub states: Vec<String>,
    /// Names of groups of columns, each with its number of columns.
    pub groups: Vec<(String, usize)>,
    /// Name of each row, the rank of the state of each of its cells, and words at its end.
    pub rows: Vec<(String, Vec<usize>, String)>,
    /// As [`Figure::foot`].
    pub foot: String,
}

impl Map {
    /// The map as a file.
    #[must_use]
    pub fn svg(&self) -> String {
        blocks::map(self)
    }
}

/// A box of a flow diagram: what is left, and what went away before.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// What it holds.
    pub words: Vec<String>,
    /// What left before it, with reasons; empty for none.
    pub left: Vec<String>,
}

/// A flow diagram from top to bottom.
#[must_use]
pub fn flow(title: &str, stages: &[Stage], foot: &str) -> String {
    blocks::flow(title, stages, foot)
}

/// A file: `said` is its description, which is read out and not drawn.
fn document(title: &str, said: &[&str], height: f64, drawing: &Markup) -> String {
    let said: Vec<&str> = said.iter().copied().filter(|s| !s.is_empty()).collect();
    let width = COLUMN_MM * UNITS;
    let style =
        format!("font-family:Helvetica,Arial,sans-serif;font-size:{}px;fill:#000", draw::LETTERS);
    let markup = html! {
        svg xmlns="http://www.w3.org/2000/svg" width={ (COLUMN_MM) "mm" }
            height={ (at(height / UNITS)) "mm" } viewBox={ "0 0 " (at(width)) " " (at(height)) }
            role="img" style=(style) {
            title { (title) }
            desc { (said.join(" ")) }
            rect width=(at(width)) height=(at(height)) fill="#fff" {}
            (drawing)
        }
    };
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n", markup.into_string())
}

/// A coordinate with two decimals at most.
fn at(value: f64) -> String {
    let text = format!("{value:.2}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" { "0".to_owned() } else { short.to_owned() }
}
