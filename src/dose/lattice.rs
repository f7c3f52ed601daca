//! Doses at a small lattice of points within a cell, cell after cell: one tensor contraction, an
//! order of magnitude cheaper than single points. Keeps its weights and its memory from one cell to
//! the next.

use std::ops::Range;

use super::basis;
use super::field::{DoseField, Interpolation};
use super::guard;

/// A lattice of points at the same places of every cell of a dose.
#[derive(Debug, Clone)]
pub(super) struct Lattice<'a> {
    field: &'a DoseField,
    /// Places along each axis, ascending, 0 to 1; may reach outside.
    at: [Vec<f64>; 3],
    /// Those of the places that lie within the cell.
    inner: [Range<usize>; 3],
    /// Weights of the places, and the shape of the intervals that they belong to.
    weights: [Vec<[f64; 4]>; 3],
    shapes: [Option<usize>; 3],
    rows: Vec<f64>,
    planes: Vec<f64>,
    doses: Vec<f64>,
}

impl<'a> Lattice<'a> {
    /// A lattice of places along planes, rows and columns, each ascending.
    pub(super) fn new(field: &'a DoseField, at: [Vec<f64>; 3]) -> Self {
        let inner = at.each_ref().map(|places| {
            let before = |end: fn(f64) -> bool| places.partition_point(|t| end(*t));
            before(|t| t < 0.0)..before(|t| t <= 1.0)
        });
        let [nk, ni, nj] = at.each_ref().map(Vec::len);
        Self {
            field,
            inner,
            weights: [const { Vec::new() }; 3],
            shapes: [None; 3],
            rows: vec![0.0; 16 * nj],
            planes: vec![0.0; 4 * ni * nj],
            doses: vec![0.0; nk * ni * nj],
            at,
        }
    }

    /// Number of places along each axis.
    pub(super) fn shape(&self) -> [usize; 3] {
        self.at.each_ref().map(Vec::len)
    }

    /// The doses in a cell, Gy, row-major `[plane, row, column]`.
    pub(super) fn read(&mut self, cell: [usize; 3]) -> &[f64] {
        let field = self.field;
        for (a, (axis, index)) in field.axes().iter().zip(cell).enumerate() {
            let shape = Some(axis.shape_of(index));
            if self.shapes[a] != shape {
                let interval = axis.interval(index);
                self.weights[a] = self.at[a].iter().map(|t| basis::at(interval, *t)).collect();
                self.shapes[a] = shape;
            }
        }
        let [_, ni, nj] = self.shape();
        let [normal, down, along] = &self.weights;
        for (n, to) in self.rows.chunks_exact_mut(nj.max(1)).enumerate() {
            let four = field.row([cell[0] + n / 4, cell[1] + n % 4, cell[2]]).map(f64::from);
            for (x, w) in to.iter_mut().zip(along) {
                *x = w[0] * four[0] + w[1] * four[1] + w[2] * four[2] + w[3] * four[3];
            }
        }
        let blocks = self.planes.chunks_exact_mut((ni * nj).max(1));
        for (block, rows) in blocks.zip(self.rows.chunks_exact((4 * nj).max(1))) {
            for (to, w) in block.chunks_exact_mut(nj).zip(down) {
                four_together(to, rows, w);
            }
        }
        for (to, w) in self.doses.chunks_exact_mut((ni * nj).max(1)).zip(normal) {
            four_together(to, &self.planes, w);
        }
        self.guard(cell);
        &self.doses
    }

    /// Holds the doses when one of those within the cell is not allowed; those beyond its faces,
    /// which serve for slopes, otherwise go on as the cubic does.
    fn guard(&mut self, cell: [usize; 3]) {
        let field = self.field;
        if field.method() == Interpolation::Trilinear {
            return;
        }
        let corners = guard::corners(field.values(), cell);
        if !self.strays(corners) {
            return;
        }
        let allowed = guard::allowed(field.values(), field.axes(), cell, corners);
        if self.strays(allowed) {
            self.doses.iter_mut().for_each(|d| *d = d.clamp(allowed[0], allowed[1]));
        }
    }

    /// Whether a dose within the cell lies outside a range.
    fn strays(&self, [low, high]: [f64; 2]) -> bool {
        let [_, ni, nj] = self.shape();
        let [planes, rows, columns] = &self.inner;
        planes.clone().flat_map(|k| rows.clone().map(move |i| (k * ni + i) * nj)).any(|start| {
            let row = self.doses.get(start..start + nj).unwrap_or_default();
            let row = row.get(columns.clone()).unwrap_or_default();
            // No early end: several side by side.
            row.iter().fold(false, |any, d| any | (*d < low) | (*d > high))
        })
    }
}

/// Adds up four blocks that lie one after the other, weighted.
#[inline]
fn four_together(to: &mut [f64], blocks: &[f64], w: &[f64; 4]) {
    let n = to.len();
    let (ab, cd) = blocks.split_at(2 * n);
    let ((a, b), (c, d)) = (ab.split_at(n), cd.split_at(n));
    for ((((x, a), b), c), d) in to.iter_mut().zip(a).zip(b).zip(c).zip(d) {
        *x = w[0] * a + w[1] * b + w[2] * c + w[3] * d;
    }
}

#[cfg(test)]
mod tests {
    use super::super::basis::Axis;
    use super::*;
    use crate::testing::{gaussian, uneven};

    /// Cell after cell, also where each interval has weights of its own. A single point is put on the
    /// nearest voxel value within four last places of single precision of 30 Gy, a lattice is not.
    #[test]
    fn every_point_has_the_dose_that_a_look_at_it_alone_gives() {
        for method in [Interpolation::CubicBSpline, Interpolation::Trilinear] {
            let field = uneven(method, gaussian(0.7, 30.0, 4.0));
            let places = [vec![-0.25, 0.0, 0.4, 1.0], vec![0.1, 0.6], vec![0.0, 0.5, 0.9, 1.2]];
            let mut lattice = Lattice::new(&field, places.clone());
            let axes = field.axes();
            let [planes, rows, columns] = axes.each_ref().map(Axis::len);
            let mut most = 0.0_f64;
            for (k, i, j) in ndarray::indices([planes - 1, rows - 1, columns - 1]) {
                let cell = [k, i, j];
                let doses = lattice.read(cell).to_vec();
                for ((a, b, c), dose) in ndarray::indices([4, 2, 4]).into_iter().zip(doses) {
                    let t = [places[0][a], places[1][b], places[2][c]];
                    if t.iter().all(|t| (0.0..1.0).contains(t)) {
                        let at = |x: usize| axes[x].node(cell[x]) + t[x] * axes[x].gap(cell[x]);
                        let alone = field.at_local([0, 1, 2].map(at)).unwrap();
                        most = most.max((dose - alone).abs());
                    }
                }
            }
            assert!(most < 2e-5, "{method:?}: {most}");
        }
    }
}
