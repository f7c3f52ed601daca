//! Exact area shares of square cells under a region: edge by edge, the signed area and the first
//! moments that the edge sweeps are added to the cells it crosses and carried along the row.
//!
//! The idea of exact analytic coverage is that of Catmull and of Duff; Manson and Schaefer 2013
//! (10.1111/cgf.12070) give a later form. Area and moments are exact for polygons, not sampled.

use super::occupancy::{Cut, Footprint, Run};
use super::polygon::{self, Point2};
use super::region::Region;

/// Shares closer to 0 or 1 than this are rounding.
const ROUNDING: f64 = 1e-9;

/// The cells of edge length `pitch_mm` that `region` fills, wholly or in part.
///
/// **Units**: mm. **Shape**: cells as in [`super::occupancy::Occupancy`].
#[must_use]
pub fn footprint(region: &Region, pitch_mm: f64) -> Footprint {
    if region.is_empty() {
        return Footprint::default();
    }
    let bounds = region.bounds();
    let low = bounds.low.map(|x| (x / pitch_mm).floor());
    let size = [0, 1].map(|a| {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // finite and positive
        let n = (bounds.high[a] / pitch_mm).floor() - low[a] + 1.0;
        n as usize
    });
    let mut sums = Sums::new(size);
    for ring in region.rings() {
        for (a, b) in polygon::edges(ring) {
            let cell = |p: Point2| [p[0] / pitch_mm - low[0], p[1] / pitch_mm - low[1]];
            sums.add_edge(cell(a), cell(b));
        }
    }
    sums.collect(low, pitch_mm)
}

/// Per cell: area, moment about the cell's centre along u, and along v. Area and v-moment are
/// differences along the row; their running sum is the value.
struct Sums {
    columns: usize,
    rows: usize,
    cells: Vec<[f64; 3]>,
    /// The ends of the outline in each cell, from its lower corner.
    rims: Vec<Option<[Point2; 2]>>,
}

impl Sums {
    fn new([columns, rows]: [usize; 2]) -> Self {
        // One spare column takes what is carried past the last cell.
        let cells = (columns + 1) * rows;
        Self { columns: columns + 1, rows, cells: vec![[0.0; 3]; cells], rims: vec![None; cells] }
    }

    /// Splits an edge at the row borders; coordinates in cells.
    fn add_edge(&mut self, a: Point2, b: Point2) {
        if a[1] == b[1] {
            return;
        }
        // Counter-clockwise rings go up on the right: an edge going down opens the area to its
        // right, an edge going up closes it.
        let (low, high, sign) = if a[1] > b[1] { (b, a, 1.0) } else { (a, b, -1.0) };
        let slope = (high[0] - low[0]) / (high[1] - low[1]);
        let mut y = low[1];
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // y is not negative
        let mut row = y.floor() as usize;
        while y < high[1] && row < self.rows {
            #[allow(clippy::cast_precision_loss)] // row count is far below 2^52
            let top = high[1].min((row + 1) as f64);
            let (x0, x1) = (low[0] + (y - low[1]) * slope, low[0] + (top - low[1]) * slope);
            self.add_in_row(row, [x0, y], [x1, top], sign);
            y = top;
            row += 1;
        }
    }

    /// Splits a piece of an edge that stays in one row at the column borders.
    fn add_in_row(&mut self, row: usize, a: Point2, b: Point2, sign: f64) {
        #[allow(clippy::cast_precision_loss)] // row count is far below 2^52
        let base = row as f64;
        let (left, right) = if a[0] <= b[0] { (a, b) } else { (b, a) };
        let last = self.columns.saturating_sub(2);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped at 0
        let column_of = |x: f64| (x.max(0.0).floor() as usize).min(last);
        let (first, end) = (column_of(left[0]), column_of(right[0]));
        let mut from = left;
        for column in first..=end {
            #[allow(clippy::cast_precision_loss)] // column count is far below 2^52
            let border = (column + 1) as f64;
            let to = if column == end {
                right
            } else {
                let t = (border - left[0]) / (right[0] - left[0]);
                [border, left[1] + t * (right[1] - left[1])]
            };
            #[allow(clippy::cast_precision_loss)]
            let x = |p: Point2| (p[0] - column as f64).clamp(0.0, 1.0);
            self.add_in_cell(
                row * self.columns + column,
                [[x(from), from[1] - base], [x(to), to[1] - base]],
                sign,
            );
            from = to;
        }
    }

    /// Adds what lies to the right of a piece of edge inside one cell (coordinates 0 to 1).
    fn add_in_cell(&mut self, cell: usize, [a, b]: [Point2; 2], sign: f64) {
        self.rims[cell] = Some(polygon::farthest(self.rims[cell], [a, b]));
        let dy = (b[1] - a[1]).abs() * sign;
        if dy == 0.0 {
            return;
        }
        let m = [f64::midpoint(a[0], b[0]), f64::midpoint(a[1], b[1])];
        // Simpson's rule is exact: the integrands are quadratic along a straight edge.
        let simpson = |f: &dyn Fn(Point2) -> f64| dy / 6.0 * (f(a) + 4.0 * f(m) + f(b));
        let area = dy * (1.0 - m[0]);
        let mu = simpson(&|p| p[0] * (1.0 - p[0]) / 2.0);
        let mv = simpson(&|p| (1.0 - p[0]) * (p[1] - 0.5));
        let carried_mv = dy * (m[1] - 0.5);
        let here = &mut self.cells[cell];
        here[0] += area;
        here[1] += mu;
        here[2] += mv;
        let next = &mut self.cells[cell + 1];
        next[0] += dy - area;
        next[2] += carried_mv - mv;
    }

    fn collect(&self, low: Point2, pitch_mm: f64) -> Footprint {
        let mut out = Footprint::default();
        #[allow(clippy::cast_possible_truncation)] // patient coordinates over a cell's edge
        let (low_u, low_v) = (low[0] as i32, low[1] as i32);
        for row in 0..self.rows {
            let row_index = low_v + i32::try_from(row).unwrap_or(i32::MAX);
            let (mut share, mut mv) = (0.0, 0.0);
            let mut open: Option<i32> = None;
            for column in 0..self.columns {
                let c = self.cells[row * self.columns + column];
                share += c[0];
                mv += c[2];
                let index = low_u + i32::try_from(column).unwrap_or(i32::MAX);
                let whole = share > 1.0 - ROUNDING;
                match (whole, open) {
                    (true, None) => open = Some(index),
                    (false, Some(start)) => {
                        out.runs.push(Run { row: row_index, start, end: index });
                        open = None;
                    }
                    _ => {}
                }
                if !whole && share > ROUNDING {
                    let offset = [c[1] / share, mv / share].map(|o| o.clamp(-0.5, 0.5));
                    let mass = offset.map(|o| 0.5 + o);
                    let rim = self.rims[row * self.columns + column].unwrap_or([mass; 2]);
                    let placed = |p: Point2| {
                        [
                            (f64::from(index) + p[0]) * pitch_mm,
                            (f64::from(row_index) + p[1]) * pitch_mm,
                        ]
                    };
                    out.cuts.push(Cut {
                        centre: placed(mass),
                        area: share * pitch_mm * pitch_mm,
                        rim: rim.map(placed),
                    });
                }
            }
            if let Some(start) = open {
                let end = low_u + i32::try_from(self.columns).unwrap_or(i32::MAX);
                out.runs.push(Run { row: row_index, start, end });
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::region::Combine;
    use proptest::prelude::*;

    fn moments(f: &Footprint, h: f64) -> [f64; 2] {
        let mut m = [0.0; 2];
        for r in &f.runs {
            let n = f64::from(r.end - r.start) * h * h;
            m[0] += n * f64::from(r.start + r.end) / 2.0 * h;
            m[1] += n * (f64::from(r.row) + 0.5) * h;
        }
        for c in &f.cuts {
            m[0] += c.area * c.centre[0];
            m[1] += c.area * c.centre[1];
        }
        m
    }

    #[test]
    fn a_square_off_the_lattice_keeps_its_shares() {
        let ring = vec![[0.25, 0.5], [2.5, 0.5], [2.5, 2.0], [0.25, 2.0]];
        let (region, _) = Region::fill(&[ring], Combine::Nested);
        let f = footprint(&region, 1.0);
        assert_eq!(f.runs, vec![Run { row: 1, start: 1, end: 2 }]);
        assert_eq!(f.cuts.len(), 5);
        let corner = f.cuts.iter().find(|c| c.centre[0] < 1.0 && c.centre[1] < 1.0).unwrap();
        assert!((corner.area - 0.375).abs() < 1e-6);
        assert!((corner.centre[0] - 0.625).abs() < 1e-6);
        assert!((corner.centre[1] - 0.75).abs() < 1e-6);
    }

    proptest! {
        /// Area and first moments of the cells equal those of the polygon (closed form) whatever
        /// the shape, the place and the pitch; star-shaped rings with a hole.
        #[test]
        fn area_and_moments_are_exact(
            radii in prop::collection::vec(2.0_f64..9.0, 5..40),
            centre in [-50.0_f64..50.0, -50.0_f64..50.0],
            pitch in 0.05_f64..2.0,
        ) {
            let n = radii.len();
            let ring = |scale: f64| -> Vec<Point2> {
                radii.iter().enumerate().map(|(i, r)| {
                    #[allow(clippy::cast_precision_loss)]
                    let a = std::f64::consts::TAU * i as f64 / n as f64;
                    [centre[0] + scale * r * a.cos(), centre[1] + scale * r * a.sin()]
                }).collect()
            };
            let (region, _) = Region::fill(&[ring(1.0), ring(0.4)], Combine::Nested);
            let f = footprint(&region, pitch);
            let area = region.area();
            prop_assert!((f.area(pitch) - area).abs() < 1e-7 * area.max(1.0));
            let (m, exact) = (moments(&f, pitch), region.moments());
            for a in 0..2 {
                prop_assert!((m[a] - exact[a]).abs() < 1e-6 * (1.0 + area * 60.0));
            }
        }
    }
}
