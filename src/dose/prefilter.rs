//! From voxel values to the coefficients of the interpolation: with those of the cubic B-spline the
//! curve goes through every value. Each axis is one tridiagonal system for every line of the grid;
//! lines are worked on side by side.
//!
//! Reference: Unser, Aldroubi and Eden 1993, IEEE Trans Signal Process 41:821 (from memory); solved
//! here by elimination, which also holds for uneven nodes.

use std::ops::Range;

use ndarray::{Array3, ArrayView2};
use rayon::prelude::*;

use super::basis::{Axis, Kernel};

/// So many rows are worked on side by side.
const ROWS: usize = 16;

/// Coefficients with one extra node on every side, row-major `[plane, row, column]`. A grid of one
/// row, column or plane still offers four nodes to the kernel.
pub(super) fn coefficients(values: &Array3<f32>, axes: &[Axis; 3], kernel: Kernel) -> Vec<f32> {
    let (planes, rows, columns) = values.dim();
    let (sp, sr) = ((rows + 2) * (columns + 2), columns + 2);
    let mut padded = vec![0.0_f32; (planes + 2) * sp + 2 * sr + 4];
    let [across, down, along] = axes.each_ref().map(|axis| Solver::new(axis, kernel));
    let grid = &mut padded[..(planes + 2) * sp];
    grid[sp..].par_chunks_mut(sp).take(planes).enumerate().for_each(|(k, plane)| {
        fill_rows(&mut plane[sr..], sr, values.index_axis(ndarray::Axis(0), k), &along);
        down.run(plane, sr, 0..sr);
    });
    // Row by row, so that what belongs together stays in the processor's nearer memory.
    for row in 0..rows + 2 {
        across.run(grid, sp, row * sr..(row + 1) * sr);
    }
    padded
}

/// Solves the rows of a plane.
fn fill_rows(rows: &mut [f32], length: usize, values: ArrayView2<'_, f32>, along: &Solver) {
    let blocks =
        rows.chunks_mut(ROWS * length).zip(values.axis_chunks_iter(ndarray::Axis(0), ROWS));
    let mut turned = Vec::new();
    for (rows, values) in blocks {
        let count = values.nrows();
        turned.clear();
        turned.resize(length * count, 0.0);
        for (i, row) in values.outer_iter().enumerate() {
            let places = turned.get_mut(count + i..).unwrap_or_default().iter_mut().step_by(count);
            places.zip(row).for_each(|(to, from)| *to = *from);
        }
        along.run(&mut turned, count, 0..count);
        for (i, row) in rows.chunks_mut(length).enumerate().take(count) {
            let places = turned.get(i..).unwrap_or_default().iter().step_by(count);
            row.iter_mut().zip(places).for_each(|(to, from)| *to = *from);
        }
    }
}

/// Turns the values along one axis into spline coefficients (or leaves them) and fills the extra
/// node at each end.
struct Solver {
    n: usize,
    spline: bool,
    /// Forward elimination: factor on the previous node and inverse pivot, per node.
    below: Vec<f32>,
    inverse_pivot: Vec<f32>,
    above: Vec<f32>,
    /// The extra nodes as weights of the two nodes next to them.
    before: [f32; 2],
    after: [f32; 2],
}

impl Solver {
    #[allow(clippy::cast_possible_truncation)] // coefficients are stored in single precision
    fn new(axis: &Axis, kernel: Kernel) -> Self {
        let spline = kernel == Kernel::BSpline;
        let n = axis.len();
        if n < 2 {
            let one = [1.0, 0.0];
            return Self {
                n,
                spline,
                below: vec![0.0; n],
                inverse_pivot: vec![1.0; n],
                above: vec![0.0; n],
                before: one,
                after: one,
            };
        }
        let (first, last) = (axis.interval(0), axis.interval(n - 2));
        // Zero curvature at the ends gives the extra node as a mix of the two next to it.
        let curve_start = [0, 1, 2].map(|m| 2.0 * first[m][2]);
        let curve_end = [1, 2, 3].map(|m| 2.0 * last[m][2] + 6.0 * last[m][3]);
        let (before, after) = if spline {
            (
                [-curve_start[1] / curve_start[0], -curve_start[2] / curve_start[0]],
                [-curve_end[1] / curve_end[2], -curve_end[0] / curve_end[2]],
            )
        } else {
            // The value kernels see a straight continuation.
            ([2.0, -1.0], [2.0, -1.0])
        };
        let (mut below, mut inverse_pivot, mut above) = (vec![0.0; n], vec![1.0; n], vec![0.0; n]);
        let mut carried = 0.0;
        for i in 0..n {
            let mut row = if i + 1 < n {
                let w = axis.interval(i);
                [w[0][0], w[1][0], w[2][0]]
            } else {
                [1, 2, 3].map(|m| last[m].iter().sum())
            };
            if i == 0 {
                row = [0.0, row[1] + row[0] * before[0], row[2] + row[0] * before[1]];
            } else if i + 1 == n {
                row = [row[0] + row[2] * after[1], row[1] + row[2] * after[0], 0.0];
            }
            let pivot = row[1] - row[0] * carried;
            carried = row[2] / pivot;
            below[i] = row[0] as f32;
            inverse_pivot[i] = (1.0 / pivot) as f32;
            above[i] = carried as f32;
        }
        let single = |x: [f64; 2]| x.map(|v| v as f32);
        let (before, after) = (single(before), single(after));
        Self { n, spline, below, inverse_pivot, above, before, after }
    }

    /// `lines` holds n + 2 nodes, each a block of `stride` neighbouring numbers, of which `part` is
    /// worked on.
    fn run(&self, lines: &mut [f32], stride: usize, part: Range<usize>) {
        let n = self.n;
        let block = |i: usize| i * stride + part.start..i * stride + part.end;
        if self.spline && n > 2 {
            for i in 1..=n {
                let (done, rest) = lines.split_at_mut(i * stride);
                let (b, p) = (self.below[i - 1], self.inverse_pivot[i - 1]);
                for (x, y) in rest[part.clone()].iter_mut().zip(&done[block(i - 1)]) {
                    *x = flushed((*x - b * y) * p);
                }
            }
            for i in (1..n).rev() {
                let (head, tail) = lines.split_at_mut((i + 1) * stride);
                let c = self.above[i - 1];
                for (x, y) in head[block(i)].iter_mut().zip(&tail[part.clone()]) {
                    *x = flushed(*x - c * y);
                }
            }
        }
        let second = if n > 1 { 2 } else { 1 };
        for x in part {
            let at = |i: usize| i * stride + x;
            lines[at(0)] = self.before[0] * lines[at(1)] + self.before[1] * lines[at(second)];
            lines[at(n + 1)] =
                self.after[0] * lines[at(n)] + self.after[1] * lines[at(n + 1 - second)];
        }
    }
}

/// Where the dose is nought the coefficients fall by a quarter from node to node; processors are
/// slow with the smallest of numbers.
#[inline]
fn flushed(x: f32) -> f32 {
    if x.abs() < SMALLEST { 0.0 } else { x }
}

const SMALLEST: f32 = 1e-25;
