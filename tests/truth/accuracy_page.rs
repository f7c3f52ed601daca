//! `notebooks-md/accuracy.md`: our errors on the sphere set beside the published ranges of five
//! systems and beside the common conventions in our own code. `UPDATE=1` writes the page.

use std::fmt::Write;

use tidydose_analyse::{Ends, Outlines};
use tidydose_dose::Interpolation;

use super::score::{Score, Scores, spread};
use super::{balls, pixels};

const PAGE: &str = "notebooks-md/accuracy.md";
const SIZES: [f64; 6] = [3.0, 5.0, 7.0, 10.0, 15.0, 20.0];
/// Placements per size on the page.
const PLACEMENTS: u32 = 20;

const HEAD: &str = "\
# How right are the numbers?

Research and quality review only, not for treatment decisions; local protocol and licensed practice
decide.

For whoever must know how far a number can be off before using it. At the end you know the error to expect
at each size of lesion, and what it was measured against.

Balls of 3, 5, 7, 10, 15 and 20 mm at random places of the lattice (not aligned to slices or voxels),
1 mm slices, 120 vertices a contour, 1 mm dose grid, a Gaussian dose with the fall-off of published
plans: 20 Gy on the surface, 10 Gy at 1.37 mm + 0.23 R outside it. The truth is a closed form. Errors
in percent: mean [smallest, largest]. This page is written by the tests (`UPDATE=1 cargo test
accuracy_page`) and compared by them.

## All sizes together, beside published figures

The figures of five clinical systems are those of Stanley et al. 2021 (Med Phys 48:1461; abstract read),
from the smallest to the largest: their means, and all their ranges together. 50 balls per size, same sizes, 1 mm grid, an analytic radial dose whose formula the abstract does not
give. Their V10 Gy and V20 Gy are volumes of all space, ours are the isodose volumes 0.15 mm outside
the ball (prescription) and of half that dose.

| | volume | prescription isodose | half of it |
|---|---|---|---|
| five clinical systems | -4.73 to 1.15 [-33.2, 9.5] | -3.79 to 0.26 [-27.3, 9.8] | -0.44 to 0.09 [-1.8, 2.7] |
";

const PIXELS: &str = "
## Outlines that were traced around pixels

Drawing programs often export the steps of a pixel mask. Balls in the same dose, outlines along the
edges of pixels whose centres lie inside, at random places; a pixel of 1 or 0.5 mm. The corners of
pixels stick out of the target where the dose is low, so a coverage dose of the outlines as drawn is
too low. `smoothed` (the default) measures the smoothest outlines of the same mask, plane by plane
with the area of the mask, and fits planes less than about two pixels apart together; `as_drawn` keeps
the steps. The last rows are the common convention on the steps. Bounds hold the truth in at least 95 %
of the cases of each row of the first two (`tests/truth/pixels.rs`).

| outlines | ball, pixel | volume | D99% | D95% | D0.03cc | inside 20 Gy |
|---|---|---|---|---|---|---|
";

const PIXELS_TAIL: &str = "
Where this does not help: a ball of four pixels across has lost its shape; its coverage dose stays too
low by several percent, and the bounds say so. Which pixels a program counts as inside is taken to go
by their centres (common practice); a program that counts every pixel it touches draws half a pixel
too far out, which no outline shows. Points of a lattice without steps (outlines rounded to whole
millimetres, or thinned) may lie on either side: their bounds reach half a pixel.
";

const TAIL: &str = "
## Where this is not better

- Mean errors of a pooled set can be small by cancellation: the half-dose volume of one of the five has a
  mean of -0.05 %, no larger than many of ours. It is the ranges that differ.
- Doses here are smooth formulas and contours lie exactly on the surface. A contour that is drawn 0.1 mm
  off changes a 4 mm ball by about 6 % (own simulation), whatever the program.
- Flat ends cannot be known from contours: a cylinder or a cut-off solid is uncertain by up to half a
  slice at each end by any method, and the bounds say so.
- Where the section of a solid changes its number of pieces between planes (a ring on its edge, two
  lobes side by side, a hollow), slabs have the smaller mean error in volume: the field between such
  planes is a guess. Bounds hold the truth there too (`tests/truth/shapes.rs`).
- The median of bound width over error is far above 20 for the volume of small balls (see the tests):
  their ends happen to be rounded as the method assumes, which the contours alone do not prove. The
  bounds stay as wide as a flat or a pointed end needs.
- Voxels that scatter (Monte Carlo calculations, 1 to 2 % of the maximum) are found by the
  signs and sizes of high differences and reported; bounds are then widened
  for the noise (`tests/truth/noise.rs`: the truth lies inside in at least 95 % of
  all values). The smallest and largest dose stay biased outward by the noise. Scatter that was
  smoothed, and means over voxels of a dose without scatter, look like any smooth dose and are not
  seen: the bounds do not include them.
- Beside a jump of the dose (cut off, saturated, set to zero outside) the spline is kept between the
  voxels around, and bounds are wider; where in the voxel the jump lies nobody knows.
";

fn cell(scores: &[Score]) -> String {
    let [mean, low, high] = spread(scores).map(|x| (x * 100.0).round() / 100.0 + 0.0);
    format!("{mean:.2} [{low:.2}, {high:.2}]")
}

fn pooled(sets: &[Scores], metric: &str) -> Vec<Score> {
    sets.iter().filter_map(|s| s.get(metric)).flatten().copied().collect()
}

fn rows_of_pixels() -> String {
    let ways = [
        ("`smoothed`", Outlines::Smoothed, Interpolation::CubicBSpline, Ends::ClosedCaps),
        ("`as_drawn`", Outlines::AsDrawn, Interpolation::CubicBSpline, Ends::ClosedCaps),
        ("common convention", Outlines::AsDrawn, Interpolation::Trilinear, Ends::HalfSlice),
    ];
    let mut out = String::new();
    for (words, outlines, interpolation, ends) in ways {
        for (diameter, pixel) in
            [(4.4, 1.0), (8.0, 1.0), (12.0, 1.0), (20.0, 1.0), (4.4, 0.5), (8.0, 0.5)]
        {
            let scores = pixels::balls_of(diameter, pixel, |s| {
                s.settings.outlines = outlines;
                s.settings.interpolation = interpolation;
                s.settings.ends = ends;
            });
            let cells = ["Volume[cc]", "D99%[Gy]", "D95%[Gy]", "D0.03cc[Gy]", "V20Gy[cc]"]
                .map(|m| scores.get(m).map_or_else(|| "none".to_owned(), |s| cell(s)));
            writeln!(out, "| {words} | {diameter} mm, {pixel} mm | {} |", cells.join(" | "))
                .unwrap();
        }
    }
    out
}

fn page() -> String {
    let methods = [
        ("tidydose", Interpolation::CubicBSpline, Ends::ClosedCaps),
        ("the common convention, in our code", Interpolation::Trilinear, Ends::HalfSlice),
    ];
    let mut out = HEAD.to_owned();
    let mut by_size = String::new();
    for (name, interpolation, ends) in methods {
        let sets: Vec<Scores> = SIZES
            .iter()
            .map(|d| {
                balls::score(*d, PLACEMENTS, |s| {
                    s.settings.interpolation = interpolation;
                    s.settings.ends = ends;
                })
            })
            .collect();
        let words = format!("{name} (`{}`, `{}`)", interpolation.word(), ends.word());
        let all = ["Volume[cc]", "PIV[cc]", "PIV50%[cc]"].map(|m| cell(&pooled(&sets, m)));
        writeln!(out, "| {words} | {} |", all.join(" | ")).unwrap();
        write!(by_size, "\n### {words}\n\n").unwrap();
        by_size.push_str(
            "| diameter | volume | D99% | D95% | D0.03cc | isodose | conformity | gradient |\n",
        );
        by_size.push_str("|---|---|---|---|---|---|---|---|\n");
        for (d, set) in SIZES.iter().zip(&sets) {
            let cells = [
                "Volume[cc]",
                "D99%[Gy]",
                "D95%[Gy]",
                "D0.03cc[Gy]",
                "PIV[cc]",
                "PaddickConformity",
                "PaddickGradient",
            ]
            .map(|m| set.get(m).map_or_else(|| "none".to_owned(), |s| cell(s)));
            writeln!(by_size, "| {d} mm | {} |", cells.join(" | ")).unwrap();
        }
    }
    out.push_str("\n## By size\n");
    out + &by_size + PIXELS + &rows_of_pixels() + PIXELS_TAIL + TAIL
}

#[test]
fn the_accuracy_page_is_what_the_code_gives() {
    let now = page();
    if std::env::var_os("UPDATE").is_some() {
        std::fs::write(PAGE, &now).unwrap();
    }
    let kept = std::fs::read_to_string(PAGE).unwrap_or_default();
    assert!(kept == now, "{PAGE} differs: run UPDATE=1 cargo test accuracy_page\n{now}");
}
