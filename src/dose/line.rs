//! The dose along a row of a grid: what planes and rows contribute is added up once for all points
//! of a straight line, and each point costs four columns instead of 64 nodes.

use super::basis::{Axis, Place};
use super::field::{DoseField, Interpolation, Read, value_and_slope};
use super::guard;

/// A line along the rows of a dose grid. Keeps its memory from one line to the next.
#[derive(Debug, Clone, Default)]
pub(super) struct Line {
    across: Place,
    down: Place,
    /// First padded column that is known.
    first: usize,
    /// Coefficients for the dose, its slope down the rows and its slope across the planes.
    columns: [Vec<f64>; 3],
    /// Smallest and largest voxel of each, Gy.
    ranges: Vec<[f32; 2]>,
}

impl Line {
    /// Starts the line at a local position, for `points` points from there to column `to`. False
    /// where the line lies outside the grid, or costs more than to ask the points one by one, each of
    /// which takes four columns.
    pub(super) fn start(
        &mut self,
        field: &DoseField,
        [across, down, from]: [f64; 3],
        to: f64,
        points: usize,
    ) -> bool {
        let [planes, rows, along] = field.axes();
        let Some([first, last]) = ends(along, from.min(to), from.max(to)) else { return false };
        let known = last + 4 - first;
        if known >= 4 * points {
            return false;
        }
        let (Some(across), Some(down)) = (Place::on(planes, across), Place::on(rows, down)) else {
            return false;
        };
        self.columns.iter_mut().for_each(Vec::clear);
        for start in (first..first + known).step_by(4) {
            let four = field.four_columns([&across, &down], start);
            for (all, four) in self.columns.iter_mut().zip(four) {
                all.extend(four);
            }
        }
        let place = [across.node, down.node];
        guard::columns(field.values(), place, first..last + 2, &mut self.ranges);
        (self.across, self.down, self.first) = (across, down, first);
        true
    }

    /// [`DoseField::read`] at a column of the line.
    #[inline]
    pub(super) fn read(&self, field: &DoseField, column: f64) -> Option<Read> {
        let along = Place::on(&field.axes()[2], column)?;
        let at = along.node.checked_sub(self.first)?;
        let four = |all: &Vec<f64>| all.get(at..)?.first_chunk::<4>().copied();
        let [plain, sloped, normal] = self.columns.each_ref().map(four);
        let columns = [plain?, sloped?, normal?];
        let (unguarded_gy, slope) = value_and_slope(columns, &along);
        if field.method() == Interpolation::Trilinear {
            // A straight line never swings beyond its ends.
            return Some(Read { unguarded_gy, slope, dose_gy: unguarded_gy });
        }
        let cell = [self.across.node, self.down.node, along.node];
        let dose_gy = field.guarded_between(guard::between(&self.ranges, at)?, cell, unguarded_gy);
        Some(Read { unguarded_gy, slope, dose_gy })
    }
}

/// The nodes before two positions, or before the nearest ones that the axis has.
fn ends(axis: &Axis, from: f64, to: f64) -> Option<[usize; 2]> {
    let nodes = [axis.node(0), axis.node(axis.len().checked_sub(1)?)];
    let node = |x: f64| Some(axis.locate(x.clamp(nodes[0], nodes[1]))?.0);
    Some([node(from)?, node(to)?])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{gaussian, uneven};

    /// To the last digit: all add up in the same order.
    #[test]
    fn points_of_a_line_have_the_dose_and_slope_that_a_look_at_them_alone_gives() {
        alone_and_together(&uneven(Interpolation::CubicBSpline, gaussian(0.7, 30.0, 4.0)));
        // Beside a jump most doses are held.
        let half = |p: [f64; 3]| if p[0] + p[1] < 0.3 { 0.0 } else { 20.0 };
        alone_and_together(&uneven(Interpolation::CubicBSpline, half));
        alone_and_together(&uneven(Interpolation::Trilinear, half));
    }

    fn alone_and_together(field: &DoseField) {
        let [_, _, columns] = field.axes();
        let last = columns.node(columns.len() - 1);
        let mut line = Line::default();
        for (across, down) in [(3.1, 4.0), (7.25, 0.2), (0.0, 9.9)] {
            for (from, to) in [(-0.4, last + 0.4), (last, 0.0), (2.3, 5.9)] {
                assert!(line.start(field, [across, down, from], to, 40));
                for i in 0..=40 {
                    let at = [across, down, from + (to - from) * f64::from(i) / 40.0];
                    let alone = field.read(at);
                    assert!(alone.is_some());
                    assert_eq!(line.read(field, at[2]), alone);
                    assert_eq!(field.at_local(at), alone.map(|read| read.dose_gy));
                }
                assert_eq!(line.read(field, last + 0.6), None);
            }
        }
    }

    #[test]
    fn a_line_is_laid_where_it_pays_and_within_the_grid() {
        let field = uneven(Interpolation::CubicBSpline, gaussian(0.7, 30.0, 4.0));
        let mut line = Line::default();
        // One point takes four columns, two points within one interval take four as well.
        assert!(!line.start(&field, [3.0, 3.0, 3.1], 3.2, 1));
        assert!(line.start(&field, [3.0, 3.0, 3.1], 3.2, 2));
        assert!(!line.start(&field, [3.0, 3.0, 3.1], 7.9, 2));
        assert!(!line.start(&field, [-9.0, 3.0, 3.1], 7.9, 9));
    }
}
