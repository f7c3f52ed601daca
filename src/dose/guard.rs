//! The overshoot guard of the cubic interpolations: what a dose may be between eight voxels.
//!
//! A cubic swings beside a jump: where the dose is cut off, saturated, or set to zero outside the
//! patient, it would fall below and rise above every voxel around. Between eight voxels it may be
//! no less than their smallest and no more than their largest, widened by the summit or the hollow
//! that the voxels themselves show: along each axis by 1.5/8 of the second difference that *both*
//! ends of an edge share in sign, the smaller of the two. A parabola has 1/8 of it. A smooth summit
//! bends the same way at either end and is left alone; beside a jump the second differences are
//! nought on one side or turn their sign, and nothing may stand out. Where no voxel is negative no
//! dose is. Takes voxel values; knows no interpolation.

use std::ops::Range;

use ndarray::Array3;

use super::basis::Axis;

/// A parabola stands out by an eighth of its second difference; half as much again for a cubic.
const SUMMIT_SHARE: f64 = 1.5 / 8.0;

/// Smallest and largest of the eight voxels around a cell.
#[inline]
pub(super) fn corners(values: &Array3<f32>, cell: [usize; 3]) -> [f64; 2] {
    let (planes, rows, columns) = values.dim();
    let last = [planes, rows, columns].map(|n| n.saturating_sub(1));
    if let Some(found) = four_pairs(values, cell, last) {
        return found;
    }
    let far = [0, 1, 2].map(|a| (cell[a] + 1).min(last[a]));
    let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
    for k in [cell[0], far[0]] {
        for i in [cell[1], far[1]] {
            for j in [cell[2], far[2]] {
                if let Some(v) = values.get([k, i, j]) {
                    low = low.min(*v);
                    high = high.max(*v);
                }
            }
        }
    }
    [f64::from(low), f64::from(high)]
}

/// The same for a cell that has all eight, from the four pairs along a row.
#[inline]
fn four_pairs(values: &Array3<f32>, cell: [usize; 3], last: [usize; 3]) -> Option<[f64; 2]> {
    let values = values.as_slice().filter(|_| (0..3).all(|a| cell[a] < last[a]))?;
    let columns = last[2] + 1;
    let plane = columns * (last[1] + 1);
    let first = cell[0] * plane + cell[1] * columns + cell[2];
    let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
    for start in [0, columns, plane, plane + columns] {
        let [a, b] = *values.get(first + start..)?.first_chunk::<2>()?;
        low = lesser(low, lesser(a, b));
        high = greater(high, greater(a, b));
    }
    Some([f64::from(low), f64::from(high)])
}

/// Smallest and largest of the four voxels of each column on either side of a place across the planes
/// and down the rows; into memory that is kept.
pub(super) fn columns(
    values: &Array3<f32>,
    [plane, row]: [usize; 2],
    wanted: Range<usize>,
    out: &mut Vec<[f32; 2]>,
) {
    let (planes, rows, columns) = values.dim();
    out.clear();
    let Some(values) = values.as_slice() else { return };
    for k in [plane, (plane + 1).min(planes - 1)] {
        for i in [row, (row + 1).min(rows - 1)] {
            let first = (k * rows + i) * columns;
            let voxels = values.get(first..first + columns).unwrap_or_default();
            let wanted = wanted.start.min(columns)..wanted.end.min(columns);
            let voxels = voxels.get(wanted).unwrap_or_default();
            if out.is_empty() {
                out.extend(voxels.iter().map(|v| [*v; 2]));
            } else {
                let ranges = out.iter_mut().zip(voxels);
                ranges.for_each(|(r, v)| *r = [lesser(r[0], *v), greater(r[1], *v)]);
            }
        }
    }
}

/// Smallest and largest of the voxels around a cell, from those of its columns.
#[inline]
pub(super) fn between(columns: &[[f32; 2]], at: usize) -> Option<[f64; 2]> {
    let a = columns.get(at)?;
    let b = columns.get(at + 1).unwrap_or(a);
    Some([f64::from(lesser(a[0], b[0])), f64::from(greater(a[1], b[1]))])
}

/// Not `min` and `max` of the numbers themselves, which care for what is no number and are slow
/// for it.
#[inline]
fn lesser<T: PartialOrd>(a: T, b: T) -> T {
    if a < b { a } else { b }
}

#[inline]
fn greater<T: PartialOrd>(a: T, b: T) -> T {
    if a > b { a } else { b }
}

/// Voxels are kept in single precision, of which this is four last places: a share of a dose that
/// means nothing.
const ROUNDING: f64 = 4.0 * (f32::EPSILON as f64);
/// A dose that means nothing, Gy: where the dose is nought the interpolation still swings by what is
/// left of the nearest dose, a quarter of it from one voxel to the next.
const NOTHING_GY: f64 = 1e-7;

/// The dose itself between the corners, the nearer end where it stands out by rounding only;
/// nothing where the bends have to be looked at. Far away from every beam doses are constant, and
/// the interpolation differs from them by its rounding.
#[inline]
pub(super) fn plain([low, high]: [f64; 2], dose: f64) -> Option<f64> {
    let held = dose.clamp(low, high);
    ((dose - held).abs() <= greater(ROUNDING * held.abs(), NOTHING_GY)).then_some(held)
}

/// The axes as they are looked along: numbers of one row lie together.
const ORDER: [usize; 3] = [2, 1, 0];

/// What the dose may be in a cell whose corners span `corners`.
pub(super) fn allowed(
    values: &Array3<f32>,
    axes: &[Axis; 3],
    cell: [usize; 3],
    corners: [f64; 2],
) -> [f64; 2] {
    let bends = Bends { values, axes, cell, inside: inner(values, axes, cell) };
    let range = ORDER.iter().fold(corners, |range, axis| bends.widened(range, *axis));
    [range[0].max(corners[0].min(0.0)), range[1]]
}

/// A dose in a cell whose corners span `corners`, or the nearest one that it may be there. Bends
/// only widen what is allowed, so that most doses need a look along one axis.
pub(super) fn held(
    values: &Array3<f32>,
    axes: &[Axis; 3],
    cell: [usize; 3],
    corners: [f64; 2],
    dose: f64,
) -> f64 {
    let bends = Bends { values, axes, cell, inside: inner(values, axes, cell) };
    let least = corners[0].min(0.0);
    let mut range = corners;
    for axis in ORDER {
        range = bends.widened(range, axis);
        if (range[0].max(least)..=range[1]).contains(&dose) {
            return dose;
        }
    }
    dose.clamp(range[0].max(least), range[1])
}

/// What the voxels show about a cell.
struct Bends<'a> {
    values: &'a Array3<f32>,
    axes: &'a [Axis; 3],
    cell: [usize; 3],
    inside: Option<Inner<'a>>,
}

impl Bends<'_> {
    /// What is allowed, with the summit and the hollow along one axis more.
    fn widened(&self, [low, high]: [f64; 2], axis: usize) -> [f64; 2] {
        let [hollow, summit] = match self.inside {
            Some(inside) => inside.shared_bend(&self.axes[axis], axis, self.cell[axis]),
            None => shared_bend(self.values, self.axes, self.cell, axis),
        };
        [low - SUMMIT_SHARE * hollow, high + SUMMIT_SHARE * summit]
    }
}

/// A cell with at least one more voxel on every side: its second differences need no look at
/// borders.
#[derive(Clone, Copy)]
struct Inner<'a> {
    values: &'a [f32],
    first: usize,
    stride: [usize; 3],
}

fn inner<'a>(values: &'a Array3<f32>, axes: &[Axis; 3], cell: [usize; 3]) -> Option<Inner<'a>> {
    let (_, rows, columns) = values.dim();
    let fits = |a: usize| cell[a] > 0 && cell[a] + 2 < axes[a].len();
    let values = values.as_slice().filter(|_| (0..3).all(fits))?;
    let stride = [rows * columns, columns, 1];
    let first = (0..3).map(|a| cell[a] * stride[a]).sum();
    Some(Inner { values, first, stride })
}

impl Inner<'_> {
    /// As [`shared_bend`].
    fn shared_bend(&self, nodes: &Axis, axis: usize, interval: usize) -> [f64; 2] {
        let along = self.stride[axis];
        let even = nodes.is_even();
        let gap = |n: usize| nodes.gap(interval + n - 1);
        let bend = |x: [f64; 3], at: usize| {
            if even { plain_bend(x) } else { uneven_bend(x, [gap(at), gap(at + 1)], gap(1)) }
        };
        let [p, q] = [self.stride[(axis + 1) % 3], self.stride[(axis + 2) % 3]];
        let mut most = [0.0_f64; 2];
        for start in [0, p, q, p + q] {
            let from = self.first + start - along;
            let value = |n: usize| f64::from(self.values[from + n * along]);
            let (a, b, c, d) = (value(0), value(1), value(2), value(3));
            let (left, right) = (bend([a, b, c], 0), bend([b, c, d], 1));
            most[0] = greater(most[0], lesser(left, right));
            most[1] = greater(most[1], lesser(-left, -right));
        }
        most
    }
}

/// The largest second difference upward (a hollow) and downward (a summit) that both ends of an
/// edge along an axis share.
fn shared_bend(values: &Array3<f32>, axes: &[Axis; 3], cell: [usize; 3], axis: usize) -> [f64; 2] {
    let mut most = [0.0_f64; 2];
    if axes[axis].len() < 3 {
        return most;
    }
    let across = [0, 1, 2].map(|a| if a == axis { 1 } else { axes[a].len().min(2) });
    for k in 0..across[0] {
        for i in 0..across[1] {
            for j in 0..across[2] {
                let start = [cell[0] + k, cell[1] + i, cell[2] + j];
                let ends = [0, 1].map(|e| {
                    let mut node = start;
                    node[axis] += e;
                    second_difference(values, &axes[axis], node, axis, cell[axis])
                });
                // At the border of the grid the one end that is known speaks for both.
                let (a, b) = match ends {
                    [Some(a), Some(b)] => (a, b),
                    [Some(a), None] | [None, Some(a)] => (a, a),
                    [None, None] => continue,
                };
                most[0] = most[0].max(a.min(b));
                most[1] = most[1].max((-a).min(-b));
            }
        }
    }
    most
}

/// Second difference at a node for a step of the length of interval `interval`; none at a border.
fn second_difference(
    values: &Array3<f32>,
    axis: &Axis,
    node: [usize; 3],
    along: usize,
    interval: usize,
) -> Option<f64> {
    let (mut before, mut after) = (node, node);
    before[along] = node[along].checked_sub(1)?;
    after[along] += 1;
    let [a, m, b] = [before, node, after].map(|n| values.get(n).copied().map(f64::from));
    let (a, m, b) = (a?, m?, b?);
    if axis.is_even() {
        return Some(plain_bend([a, m, b]));
    }
    let gaps = [axis.gap(node[along] - 1), axis.gap(node[along])];
    Some(uneven_bend([a, m, b], gaps, axis.gap(interval)))
}

/// Second difference of three values at even distances.
fn plain_bend([a, m, b]: [f64; 3]) -> f64 {
    a - 2.0 * m + b
}

/// The same of values `g` and `h` apart, for a step of another length.
fn uneven_bend([a, m, b]: [f64; 3], [g, h]: [f64; 2], step: f64) -> f64 {
    2.0 * step * step * ((b - m) / h - (m - a) / g) / (g + h)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lattice::Lattice;
    use crate::{DoseField, Interpolation, IsodoseMap};
    use tidydose_geometry::units::Gray;
    use tidydose_geometry::{Grid, Point};
    use tidydose_rt::Dose;

    fn field(f: impl Fn(Point) -> f64, offsets: Vec<f64>) -> DoseField {
        let directions = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let grid = Grid::new([-10.0; 3], directions, [1.0; 2], offsets, [21, 21]).unwrap();
        #[allow(clippy::cast_possible_truncation)]
        let values =
            Array3::from_shape_fn(grid.shape(), |(k, i, j)| f(grid.position([k, i, j])) as f32);
        DoseField::new(Dose { grid, values, step: Gray::gy(1e-6) }, Interpolation::CubicBSpline)
    }

    fn even() -> Vec<f64> {
        (0..21).map(f64::from).collect()
    }

    fn uneven() -> Vec<f64> {
        (0..14).map(|k| 1.5 * f64::from(k) + f64::from(k % 2) * 0.5).collect()
    }

    fn gaussian(p: Point, width: f64) -> f64 {
        let q = [p[0] - 0.31, p[1] + 0.23, p[2] - 0.47];
        30.0 * (-q.iter().map(|x| x * x).sum::<f64>() / (2.0 * width * width)).exp()
    }

    /// Smallest and largest dose at some ten thousand points of a box, by all three ways of asking.
    fn ends(field: &DoseField, low: Point, high: Point) -> [f64; 2] {
        let mut out = [f64::INFINITY, f64::NEG_INFINITY];
        let mut take = |d: f64| out = [out[0].min(d), out[1].max(d)];
        for i in 0..10_000_u32 {
            let t = f64::from(i);
            let part = [0.819_172_5, 0.671_043_6, 0.549_700_4].map(|a: f64| (a * t).fract());
            let p = [0, 1, 2].map(|a| low[a] + part[a] * (high[a] - low[a]));
            let at = field.at(p).unwrap();
            take(at);
            let local = field.local(p);
            assert_eq!(field.with_slope(local).unwrap().0, at);
            let (mut cell, mut t) = ([0; 3], [0.0; 3]);
            for (a, axis) in field.axes().iter().enumerate() {
                (cell[a], t[a]) = axis.locate(local[a]).unwrap();
            }
            let within = Lattice::new(field, t.map(|t| vec![t])).read(cell)[0];
            assert!((within - at).abs() < 1e-9 + ROUNDING * at, "{within} {at}");
        }
        out
    }

    /// Away from the border both ways of looking see the same bends.
    #[test]
    fn cells_inside_are_bent_as_the_others() {
        for offsets in [even(), uneven()] {
            let planes = offsets.len();
            let f = field(|p| gaussian(p, 2.0) + gaussian(p.map(|x| x - 4.0), 3.0), offsets);
            let (values, axes) = (f.values(), f.axes());
            assert!(inner(values, axes, [0, 5, 5]).is_none());
            assert!(inner(values, axes, [5, 5, 19]).is_none());
            let mut bent = 0;
            for (k, i, j) in ndarray::indices([planes - 3, 18, 18]) {
                let cell = [k + 1, i + 1, j + 1];
                let inside = inner(values, axes, cell).unwrap();
                for axis in 0..3 {
                    let own = inside.shared_bend(&axes[axis], axis, cell[axis]);
                    assert_eq!(own, shared_bend(values, axes, cell, axis));
                    bent += usize::from(own[0] > 0.1) + usize::from(own[1] > 0.1);
                }
            }
            assert!(bent > 1000, "{bent}");
        }
    }

    #[test]
    fn a_step_does_not_ring() {
        for offsets in [even(), uneven()] {
            let f = field(|p| if p[0] < 0.0 { 0.0 } else { 20.0 }, offsets);
            assert_eq!(ends(&f, [-9.0; 3], [9.0; 3]), [0.0, 20.0]);
            // Apart from the one cell of the jump every point has its side's dose.
            assert_eq!(ends(&f, [-9.0; 3], [-1.0, 9.0, 9.0]), [0.0, 0.0]);
            assert_eq!(ends(&f, [0.0, -9.0, -9.0], [9.0; 3]), [20.0, 20.0]);
        }
    }

    /// A slanting step and one across a corner: still nothing outside what the voxels have.
    #[test]
    fn slanting_steps_stay_between_their_doses() {
        for normal in [[1.0, 0.7, 0.4], [1.0, 1.0, 1.0], [0.2, 1.0, -0.5]] {
            let side = |p: Point| p[0] * normal[0] + p[1] * normal[1] + p[2] * normal[2];
            let f = field(|p| if side(p) < 0.3 { 2.0 } else { 20.0 }, even());
            let [low, high] = ends(&f, [-9.0; 3], [9.0; 3]);
            // Corners of a staircase are small summits of their own.
            assert!(low >= 0.0 && high < 20.0 + 18.0 * 3.0 * SUMMIT_SHARE, "{low} {high}");
        }
    }

    #[test]
    fn no_dose_is_negative_where_the_outside_is_set_to_zero() {
        let padded = |p: Point| if p[0] < -2.0 || p[2] > 3.0 { 0.0 } else { gaussian(p, 3.0) };
        for offsets in [even(), uneven()] {
            let f = field(padded, offsets);
            assert!(ends(&f, [-9.0; 3], [9.0; 3])[0] >= 0.0);
            assert_eq!(ends(&f, [-9.0; 3], [-3.0, 9.0, 9.0]), [0.0, 0.0]);
        }
    }

    #[test]
    fn a_saturated_summit_stays_flat() {
        let f = field(|p| gaussian(p, 5.0).min(20.0), even());
        // A row of voxels that grazes the flat top (4.5 mm wide, 3.6 Gy/mm beside it) may show two
        // of 20 Gy between two that are up to 0.78 Gy lower: a summit of its own.
        let most = 20.0 + 3.0 * SUMMIT_SHARE * 0.78;
        assert!(ends(&f, [-9.0; 3], [9.0; 3])[1] <= most);
        assert_eq!(ends(&f, [-2.0; 3], [2.0; 3]), [20.0, 20.0]);
    }

    /// Smooth doses from the steepest that a 1 mm grid meets are not touched anywhere: the guard
    /// costs no accuracy.
    #[test]
    fn smooth_summits_and_slopes_are_left_alone() {
        for (width, worst_gy) in [(1.5, 0.05), (2.0, 0.01), (2.4, 0.01), (4.0, 0.01), (7.0, 0.01)] {
            for offsets in [even(), uneven()] {
                let f = field(|p| gaussian(p, width), offsets);
                let mut most = 0.0_f64;
                for i in 0..40_000_u32 {
                    let t = f64::from(i);
                    let part = [0.819_172_5, 0.671_043_6, 0.549_700_4];
                    let p = part.map(|a: f64| -9.0 + 18.0 * (a * t).fract());
                    let read = f.read(f.local(p)).unwrap();
                    most = most.max((read.unguarded_gy - read.dose_gy).abs());
                }
                println!("width {width}: moved by {most} Gy");
                assert!(most < worst_gy, "{width}: {most}");
            }
        }
    }

    /// Half of space at 20 Gy: every isodose between is the same but for the cell of the jump.
    #[test]
    fn isodose_volumes_do_not_ring() {
        let f = field(|p| if p[0] < 0.0 { 0.0 } else { 20.0 }, even());
        let map = IsodoseMap::new(&f);
        for dose in [0.05, 1.0, 10.0, 19.0, 19.95] {
            let volume = map.whole(dose).volume_mm3;
            assert!((4000.0..=4400.0).contains(&volume), "{dose}: {volume}");
        }
        // Small boxes are cut by planes, one of which may stick out beside the jump.
        let beyond = map.whole(20.01).volume_mm3;
        assert!(beyond < 0.05 * 400.0, "{beyond}");
    }
}
