//! Volumes of isodoses in all space: how much of the space between the outermost voxel centres
//! receives at least a dose, as a whole or as the connected island around given points.
//!
//! A cell is the box between eight neighbouring voxel centres. Cells that the isodose surface
//! crosses are divided, and each small box is cut by the plane that the dose has there, so there
//! is no counting of voxels and no dose bin.

use std::cell::RefCell;

use super::field::DoseField;
use super::guard;
use super::lattice::Lattice;
use super::peaks::Peaks;
use tidydose_geometry::cut::{PlaneCut, plane_cut};
use tidydose_geometry::locate::Locator;
use tidydose_geometry::{Point, ball_radius_mm};

/// The volume above a dose.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Isodose {
    /// Volume, mm³.
    pub volume_mm3: f64,
    /// Whether the isodose reaches the border of the grid, so that the volume is a lower bound.
    pub cut_by_grid: bool,
    /// Area of its surface, mm², but for where the grid cuts it.
    pub area_mm2: f64,
    /// Integral of the dose over it, Gy·mm³.
    pub integral_gy_mm3: f64,
}

impl std::ops::AddAssign for Isodose {
    fn add_assign(&mut self, other: Self) {
        self.volume_mm3 += other.volume_mm3;
        self.cut_by_grid |= other.cut_by_grid;
        self.area_mm2 += other.area_mm2;
        self.integral_gy_mm3 += other.integral_gy_mm3;
    }
}

/// Answers questions about isodoses of one dose.
#[derive(Debug, Clone)]
pub struct IsodoseMap<'a> {
    field: &'a DoseField,
    pub(super) peaks: Peaks,
    pub(super) cells: [usize; 3],
    /// Only what lies in this solid counts: the outline of the patient.
    body: Option<&'a Locator<'a>>,
    /// What every isodose asks of its cells, each found once, by rows; empty where no isodose went.
    known: RefCell<Vec<Box<[Known]>>>,
}

/// What is known of a cell; not a number until somebody asks. Single precision is a thousand times
/// finer than either is known.
#[derive(Debug, Clone, Copy)]
struct Known {
    mean_gy: f32,
    share_in_body: f32,
}

const UNKNOWN: Known = Known { mean_gy: f32::NAN, share_in_body: f32::NAN };

/// Small boxes are no larger than this share of the isodose's equivalent radius ...
const BOX_SHARE_OF_RADIUS: f64 = 1.0 / 16.0;
/// ... and lie between these edge lengths, mm.
const BOX_MM: [f64; 2] = [0.08, 0.35];
// Those of a thinned dose are twice as large, as its cells are: it only tells how far the dose itself
// can be trusted, and boxes of an eighth of the radius are right to half a percent.
/// No cell is divided more often than this along an axis.
const MAX_DIVISION: usize = 24;

impl<'a> IsodoseMap<'a> {
    /// Prepares the map of a dose.
    #[must_use]
    pub fn new(field: &'a DoseField) -> Self {
        let cells = [0, 1, 2].map(|a| field.axes()[a].len().saturating_sub(1));
        let known = RefCell::new(vec![Box::default(); cells[0] * cells[1]]);
        Self { field, peaks: Peaks::of(field.values()), cells, body: None, known }
    }

    /// The same, but only what lies inside a solid counts: the outline of the patient.
    #[must_use]
    pub const fn within(mut self, body: Option<&'a Locator<'a>>) -> Self {
        self.body = body;
        self
    }

    /// Whether only what lies inside a solid counts.
    #[must_use]
    pub const fn is_within_body(&self) -> bool {
        self.body.is_some()
    }

    /// The dose.
    #[must_use]
    pub const fn field(&self) -> &'a DoseField {
        self.field
    }

    /// Largest voxel dose, Gy.
    #[must_use]
    pub fn maximum_gy(&self) -> f64 {
        self.peaks.largest()
    }

    /// Volume of all space that receives at least `dose_gy`. A grid of fewer than two planes, rows
    /// or columns has no volume.
    #[must_use]
    pub fn whole(&self, dose_gy: f64) -> Isodose {
        let mut out = Isodose::default();
        self.each_cell(dose_gy, |_, piece| out += piece);
        out
    }

    /// Calls `found` with every cell that receives the dose in part, and what of it does.
    pub(super) fn each_cell(&self, dose_gy: f64, mut found: impl FnMut([usize; 3], Isodose)) {
        let mut boxes = Boxes::of(self.field, self.box_mm(self.rough_radius(dose_gy)));
        let mut columns = Vec::new();
        for k in 0..self.cells[0] {
            for i in 0..self.cells[1] {
                let mut from = 0;
                while from < self.cells[2] {
                    let to = Peaks::next_block(from).min(self.cells[2]);
                    if self.peaks.about([k, i, from]) >= dose_gy * NEAR {
                        guard::columns(self.field.values(), [k, i], from..to + 1, &mut columns);
                        for j in from..to {
                            let Some(corners) = guard::between(&columns, j - from) else {
                                continue;
                            };
                            let piece = self.piece([k, i, j], corners, dose_gy, &mut boxes);
                            if piece.volume_mm3 > 0.0 {
                                found([k, i, j], piece);
                            }
                        }
                    }
                    from = to;
                }
            }
        }
    }

    /// The cell that holds a point; absent outside the outermost voxel centres.
    pub(super) fn cell_of(&self, point: Point) -> Option<[usize; 3]> {
        let local = self.field.local(point);
        let mut cell = [0; 3];
        for (a, axis) in self.field.axes().iter().enumerate() {
            cell[a] = axis.locate(local[a])?.0;
        }
        (0..3).all(|a| cell[a] < self.cells[a]).then_some(cell)
    }

    fn rough_radius(&self, dose_gy: f64) -> f64 {
        #[allow(clippy::cast_possible_truncation)] // voxels are single precision
        let level = dose_gy as f32;
        let values = self.field.values();
        let (planes, rows, columns) = values.dim();
        let mut count = 0_usize;
        for k in 0..planes {
            for i in 0..rows {
                let mut j = 0;
                while j < columns {
                    if self.peaks.about([k, i, j]) < f64::from(level) {
                        j = Peaks::next_block(j);
                        continue;
                    }
                    count += usize::from(values[[k, i, j]] >= level);
                    j += 1;
                }
            }
        }
        let [plane, row, column] = self.field.cell_size_mm([0; 3]);
        #[allow(clippy::cast_precision_loss)] // a count of voxels
        let volume = count as f64 * plane * row * column;
        ball_radius_mm(volume)
    }

    fn box_mm(&self, radius_mm: f64) -> f64 {
        let edge_mm = (radius_mm * BOX_SHARE_OF_RADIUS).clamp(BOX_MM[0], BOX_MM[1]);
        if self.field.is_thinned() { 2.0 * edge_mm } else { edge_mm }
    }

    /// The part of a cell that receives the dose; `corners` are its smallest and largest voxel.
    fn piece(
        &self,
        cell: [usize; 3],
        corners: [f64; 2],
        dose_gy: f64,
        boxes: &mut Boxes<'_>,
    ) -> Isodose {
        let (low, high) = self.range(cell, corners, dose_gy);
        if high < dose_gy {
            return Isodose::default();
        }
        let size = self.field.cell_size_mm(cell);
        let part = if low >= dose_gy {
            Part { share: 1.0, excess: self.mean(cell) - dose_gy, area_per_mm3: 0.0 }
        } else {
            boxes.share(cell, dose_gy, size)
        };
        if part.share <= 0.0 {
            return Isodose::default();
        }
        let in_body = self.body.map_or(1.0, |body| self.share_in(body, cell));
        let volume = size[0] * size[1] * size[2] * in_body;
        let border = (0..3).any(|a| cell[a] == 0 || cell[a] + 1 == self.cells[a]);
        Isodose {
            volume_mm3: part.share * volume,
            cut_by_grid: border && volume > 0.0 && self.reaches_border(cell, dose_gy),
            area_mm2: part.area_per_mm3 * volume,
            integral_gy_mm3: (part.share * dose_gy + part.excess) * volume,
        }
    }

    /// What is known of a cell, found out where it is not.
    fn known_or(
        &self,
        cell: [usize; 3],
        which: fn(&mut Known) -> &mut f32,
        find: impl FnOnce() -> f64,
    ) -> f64 {
        let mut known = self.known.borrow_mut();
        let Some(row) = known.get_mut(cell[0] * self.cells[1] + cell[1]) else { return find() };
        if row.is_empty() {
            *row = vec![UNKNOWN; self.cells[2]].into();
        }
        let Some(value) = row.get_mut(cell[2]).map(which) else { return find() };
        if value.is_nan() {
            #[allow(clippy::cast_possible_truncation)] // as finely as it is known
            let found = find() as f32;
            *value = found;
        }
        f64::from(*value)
    }

    /// Share of a cell that lies in a solid, from the middles of its eighths.
    fn share_in(&self, body: &Locator<'_>, cell: [usize; 3]) -> f64 {
        let eighth = |corner: usize| {
            let local = self.within_cell(cell, [0, 1, 2].map(|a| [0.25, 0.75][corner >> a & 1]));
            body.share_at(self.field.point(local))
        };
        let find = || (0..8).map(eighth).sum::<f64>() / 8.0;
        self.known_or(cell, |known| &mut known.share_in_body, find)
    }

    /// The position of a point of a cell, from 0 to 1 along each axis, in field coordinates.
    pub(super) fn within_cell(&self, cell: [usize; 3], at: [f64; 3]) -> [f64; 3] {
        let axes = self.field.axes();
        [0, 1, 2].map(|a| axes[a].node(cell[a]) + at[a] * axes[a].gap(cell[a]))
    }

    /// Mean dose of a cell, Gy.
    fn mean(&self, cell: [usize; 3]) -> f64 {
        self.known_or(cell, |known| &mut known.mean_gy, || self.mean_of_corners(cell))
    }

    /// Of its corners, less a twelfth of the curvature.
    fn mean_of_corners(&self, cell: [usize; 3]) -> f64 {
        let values = self.field.values();
        let mut sum = 0.0;
        for node in corners(cell) {
            sum += f64::from(values[node]);
            for axis in 0..3 {
                sum -= self.second_difference(node, axis).map_or(0.0, |second| second / 12.0);
            }
        }
        sum / 8.0
    }

    /// Largest voxel dose at the corners of a cell, Gy.
    pub(super) fn corner_max(&self, cell: [usize; 3]) -> f64 {
        let values = self.field.values();
        guard::corners(values, cell)[1]
    }

    /// Bounds of the dose in a cell: its corners, widened by what the curvature at the corners
    /// lets the interpolation do in between.
    fn range(&self, cell: [usize; 3], [low, high]: [f64; 2], dose_gy: f64) -> (f64, f64) {
        if high < dose_gy * NEAR || low > dose_gy * FAR {
            return (low, high);
        }
        let bend: f64 = (0..3).map(|a| self.bend(cell, a)).sum();
        (low - bend, high + bend)
    }

    /// An eighth of the largest second difference along an axis at the cell's corners (the sagitta
    /// of a parabola over one interval), with half as much again for what a cubic adds.
    fn bend(&self, cell: [usize; 3], axis: usize) -> f64 {
        let seconds = corners(cell).filter_map(|node| self.second_difference(node, axis));
        seconds.fold(0.0_f64, |most, second| most.max(second.abs())) * 1.5 / 8.0
    }

    /// Second difference of the voxels along an axis, Gy; absent at the border. Looked at some
    /// dozen times for each cell, so that the place of a voxel is worked out once.
    #[inline]
    fn second_difference(&self, node: [usize; 3], axis: usize) -> Option<f64> {
        if node[axis] == 0 || node[axis] >= self.cells[axis] {
            return None;
        }
        let values = self.field.voxels();
        let columns = self.cells[2] + 1;
        let stride = [columns * (self.cells[1] + 1), columns, 1];
        let at = node[0] * stride[0] + node[1] * stride[1] + node[2];
        let value = |at: usize| values.get(at).map(|v| f64::from(*v));
        let (below, here) = (value(at - stride[axis])?, value(at)?);
        Some(below - 2.0 * here + value(at + stride[axis])?)
    }

    fn reaches_border(&self, cell: [usize; 3], dose_gy: f64) -> bool {
        let shape = self.cells.map(|n| n + 1);
        corners(cell).any(|node| {
            let border = (0..3).any(|a| node[a] == 0 || node[a] + 1 == shape[a]);
            border && f64::from(self.field.values()[node]) >= dose_gy
        })
    }
}

/// What of a cell receives a dose: share of its volume, integral of the dose above it and area of
/// the surface, both per volume of the cell.
#[derive(Debug, Clone, Copy, Default)]
struct Part {
    share: f64,
    excess: f64,
    area_per_mm3: f64,
}

impl Part {
    /// Adds a box of these edges.
    #[inline]
    fn add(&mut self, cut: PlaneCut, changes: [f64; 3], edges_mm: [f64; 3]) {
        self.share += cut.share;
        self.excess += cut.excess;
        if cut.density > 0.0 {
            let slope: f64 = (0..3).map(|a| (changes[a] / edges_mm[a]).powi(2)).sum();
            self.area_per_mm3 += cut.density * slope.sqrt();
        }
    }
}

/// The small boxes of a cell, cell after cell.
struct Boxes<'a> {
    field: &'a DoseField,
    edge_mm: f64,
    /// Boxes along each axis, and the doses in their middles with one more on either side, for
    /// slopes by differences.
    count: [usize; 3],
    lattice: Lattice<'a>,
}

impl<'a> Boxes<'a> {
    /// Boxes no larger than `edge_mm`.
    fn of(field: &'a DoseField, edge_mm: f64) -> Self {
        let lattice = Lattice::new(field, [const { Vec::new() }; 3]);
        Self { field, edge_mm, count: [0; 3], lattice }
    }

    /// Divides a cell of this size.
    fn divide(&mut self, size: [f64; 3]) {
        let count = size.map(|s| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // few boxes
            let n = (s / self.edge_mm).ceil() as usize;
            n.clamp(2, MAX_DIVISION)
        });
        if count != self.count {
            #[allow(clippy::cast_precision_loss)]
            let middles = count.map(|n| (0..n + 2).map(|i| (i as f64 - 0.5) / n as f64).collect());
            (self.count, self.lattice) = (count, Lattice::new(self.field, middles));
        }
    }

    /// What of a cell receives a dose.
    fn share(&mut self, cell: [usize; 3], dose_gy: f64, size: [f64; 3]) -> Part {
        self.divide(size);
        let n = self.count;
        let doses = self.lattice.read(cell);
        let (plane, row) = ((n[1] + 2) * (n[2] + 2), n[2] + 2);
        #[allow(clippy::cast_precision_loss)]
        let edges: [f64; 3] = std::array::from_fn(|a| size[a] / n[a] as f64);
        let mut sum = Part::default();
        let mut along = [Sloped::default(); MAX_DIVISION];
        for k in 1..=n[0] {
            for i in 1..=n[1] {
                let start = k * plane + i * row;
                let [own, before, after, above, below] =
                    [start, start - plane, start + plane, start - row, start + row]
                        .map(|from| doses.get(from..from + row).unwrap_or_default());
                let sides = before.iter().zip(after).zip(above.iter().zip(below)).skip(1);
                for ((to, around), sides) in along.iter_mut().zip(own.windows(3)).zip(sides) {
                    let ((before, after), (above, below)) = sides;
                    let pairs = [[*before, *after], [*above, *below], [around[0], around[2]]];
                    *to = Sloped::of(around[1], pairs);
                }
                for Sloped { mean, changes } in along.iter().take(n[2]) {
                    sum.add(plane_cut(mean - dose_gy, *changes), *changes, edges);
                }
            }
        }
        #[allow(clippy::cast_precision_loss)]
        let boxes = (n[0] * n[1] * n[2]) as f64;
        Part {
            share: sum.share / boxes,
            excess: sum.excess / boxes,
            area_per_mm3: sum.area_per_mm3 / boxes,
        }
    }
}

/// A box in which the dose is taken as linear: its mean, and its change from face to face.
#[derive(Debug, Clone, Copy, Default)]
struct Sloped {
    mean: f64,
    changes: [f64; 3],
}

impl Sloped {
    /// From the dose in its middle and those in the middles of its neighbours along each axis.
    #[inline]
    fn of(middle: f64, neighbours: [[f64; 2]; 3]) -> Self {
        let bend = neighbours.iter().fold(0.0, |sum, [a, b]| sum + (b - 2.0 * middle + a));
        // The mean of the box differs from its middle by a 24th of the curvature.
        Self { mean: middle + bend / 24.0, changes: neighbours.map(|[a, b]| (b - a) / 2.0) }
    }
}

/// The eight nodes around a cell.
fn corners(cell: [usize; 3]) -> impl Iterator<Item = [usize; 3]> {
    (0..8_usize).map(move |corner| [0, 1, 2].map(|a| cell[a] + (corner >> a & 1)))
}

/// Cells whose hottest corner lies below this share of the dose are not looked at closely, nor
/// those whose coldest corner lies above the second.
const NEAR: f64 = 0.7;
const FAR: f64 = 1.3;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::field;

    fn gaussian(d0: f64, s: f64) -> impl Fn(Point) -> f64 {
        move |p| d0 * (-(p[0] * p[0] + p[1] * p[1] + p[2] * p[2]) / (2.0 * s * s)).exp()
    }

    fn ball(d0: f64, s: f64, d: f64) -> f64 {
        4.0 / 3.0 * std::f64::consts::PI * s.powi(3) * (2.0 * (d0 / d).ln()).powf(1.5)
    }

    /// Isodose volumes of a Gaussian in closed form: 4/3 π s³ (2 ln(D0/D))^1.5. A 4 mm target
    /// with a realistic fall-off on a 1 mm grid errs below 0.2 % (trilinear: 13 %).
    #[test]
    fn isodoses_of_a_gaussian_are_balls() {
        let (d0, s) = (25.9354, 2.7742);
        let f = field(gaussian(d0, s), 12);
        let map = IsodoseMap::new(&f);
        for (d, share) in [(20.0, 3e-3), (12.0, 1e-3), (10.0, 1e-3), (5.0, 1e-3)] {
            let got = map.whole(d);
            let exact = ball(d0, s, d);
            assert!((got.volume_mm3 / exact - 1.0).abs() < share, "{d}: {got:?} {exact}");
            assert!(!got.cut_by_grid);
            let r = (exact * 0.75 / std::f64::consts::PI).cbrt();
            let area = 4.0 * std::f64::consts::PI * r * r;
            assert!((got.area_mm2 / area - 1.0).abs() < 5e-3, "{d}: {got:?} {area}");
            // ∫ D dV of a ball by Simpson's rule over shells.
            let shell =
                |x: f64| 4.0 * std::f64::consts::PI * x * x * d0 * (-x * x / (2.0 * s * s)).exp();
            let n = 200;
            let h = r / f64::from(n);
            let sum: f64 = (0..n)
                .map(|i| f64::from(i) * h)
                .map(|x| h / 6.0 * (shell(x) + 4.0 * shell(x + h / 2.0) + shell(x + h)))
                .sum();
            assert!((got.integral_gy_mm3 / sum - 1.0).abs() < 3e-3, "{d}: {got:?} {sum}");
        }
        assert!(map.whole(1e-3).cut_by_grid);
        assert_eq!(map.whole(40.0), Isodose::default());
    }
}
