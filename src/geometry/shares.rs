//! How much of each cell of one lattice a solid fills, smoothed: what its surface is found from.

use ndarray::Array3;

use super::occupancy::{Footprint, Occupancy};

/// Lattice cells along the height of a flat solid, at least.
const CELLS_OF_HEIGHT: f64 = 6.0;
/// The level that is the surface.
pub(super) const LEVEL: f32 = 0.5;

/// Each number becomes a quarter of those in the same place of both neighbouring rows and half of
/// itself; rows lie one after the other, and beyond the first and last are zeros.
fn smooth_rows(rows: &mut [f32], length: usize) {
    let (mut before, zeros) = (vec![0.0; length], vec![0.0; length]);
    let mut rest = rows;
    while rest.len() >= length && length > 0 {
        let (row, next) = rest.split_at_mut(length);
        let after = next.get(..length).unwrap_or(&zeros);
        for ((here, before), after) in row.iter_mut().zip(&mut before).zip(after) {
            let own = *here;
            *here = (*before + 2.0 * own + after) / 4.0;
            *before = own;
        }
        rest = next;
    }
}

/// Filled shares of the cells of one lattice in local coordinates, with an empty cell all round.
pub(super) struct Shares {
    /// Index of the first cell along w, v and u.
    pub low: [f64; 3],
    /// Edge lengths along w, v and u, mm.
    pub size: [f64; 3],
    pub filled: Array3<f32>,
}

impl Shares {
    /// The shares of a solid; absent without volume.
    pub(super) fn of(solid: &Occupancy) -> Option<Self> {
        let h = solid.pitch_mm;
        let (low, high) = bounds(solid)?;
        let thickness = h.min((high[0] - low[0]) / CELLS_OF_HEIGHT);
        if !(h > 0.0 && thickness > 0.0) {
            return None;
        }
        let size = [thickness, h, h];
        let first: [f64; 3] = std::array::from_fn(|a| (low[a] / size[a]).floor() - 2.0);
        let count: [usize; 3] = std::array::from_fn(|a| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // finite, positive
            let n = ((high[a] / size[a]).ceil() - first[a]) as usize;
            n + 3
        });
        let mut out = Self { low: first, size, filled: Array3::zeros(count) };
        let mut plane = Plane::new(&out);
        for layer in &solid.layers {
            plane.fill(&layer.footprint, layer.shift_mm, &out);
            for sheet in &layer.sheets {
                out.add(&plane, sheet.faces_mm());
            }
        }
        out.smooth();
        Some(out)
    }

    /// Each share becomes a quarter of both neighbours and half of itself, along each axis. Shares
    /// alone change from 0 to 1 within one cell, and where a sloping surface crosses a line of cells
    /// would be read off in ripples; so it is off by less than a hundredth of a cell.
    fn smooth(&mut self) {
        let [nw, nv, nu] = self.shape();
        let Some(cells) = self.filled.as_slice_mut() else { return };
        for (count, stride) in [(nw, nv * nu), (nv, nu), (nu, 1)] {
            for block in cells.chunks_exact_mut(count * stride) {
                smooth_rows(block, stride);
            }
        }
    }

    /// Cells along w, v and u.
    pub(super) fn shape(&self) -> [usize; 3] {
        let (nw, nv, nu) = self.filled.dim();
        [nw, nv, nu]
    }

    /// For each cell along u, how many of it and its three neighbours along v and w are filled.
    pub(super) fn count_filled(&self, [k, j]: [usize; 2], out: &mut [u8]) {
        out.fill(0);
        let (rows, length) = (self.filled.dim().1, out.len());
        let cells = self.filled.as_slice().unwrap_or_default();
        for [k, j] in [[k, j], [k, j + 1], [k + 1, j], [k + 1, j + 1]] {
            let start = (k * rows + j) * length;
            let row = cells.get(start..start + length).unwrap_or_default();
            out.iter_mut().zip(row).for_each(|(n, share)| *n += u8::from(*share >= LEVEL));
        }
    }

    /// Adds a cross-section between two positions.
    fn add(&mut self, plane: &Plane, [from_mm, to_mm]: [f64; 2]) {
        let at = |mm: f64| mm / self.size[0] - self.low[0];
        let (from, to) = (at(from_mm), at(to_mm));
        let [rows, columns] = plane.touched;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // inside the lattice
        let (first, last) = (from.max(0.0) as usize, to.max(0.0) as usize);
        let planes = self.filled.shape()[0];
        let Some(cells) = self.filled.as_slice_mut() else { return };
        for k in first..=last.min(planes - 1) {
            #[allow(clippy::cast_precision_loss)] // a handful of sheets
            let start = k as f64;
            let part = to.min(start + 1.0) - from.max(start);
            if part <= 0.0 {
                continue;
            }
            #[allow(clippy::cast_possible_truncation)]
            let part = part as f32;
            for j in rows[0]..rows[1] {
                let row = plane.filled.get(j * plane.columns..).unwrap_or_default();
                let own = row.get(columns[0]..columns[1]).unwrap_or_default();
                let start = (k * plane.rows + j) * plane.columns + columns[0];
                let cells = cells.get_mut(start..).unwrap_or_default();
                cells.iter_mut().zip(own).for_each(|(cell, share)| *cell += part * share);
            }
        }
    }
}

/// Smallest and largest position along w, v and u, mm.
pub(super) fn bounds(solid: &Occupancy) -> Option<([f64; 3], [f64; 3])> {
    let h = solid.pitch_mm;
    let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    let mut include = |axis: usize, from: f64, to: f64| {
        low[axis] = low[axis].min(from);
        high[axis] = high[axis].max(to);
    };
    for layer in &solid.layers {
        let [du, dv] = layer.shift_mm;
        for run in &layer.footprint.runs {
            include(1, f64::from(run.row) * h + dv, f64::from(run.row + 1) * h + dv);
            include(2, f64::from(run.start) * h + du, f64::from(run.end) * h + du);
        }
        for cut in &layer.footprint.cuts {
            include(1, cut.centre[1] - h + dv, cut.centre[1] + h + dv);
            include(2, cut.centre[0] - h + du, cut.centre[0] + h + du);
        }
        for s in &layer.sheets {
            let [low, high] = s.faces_mm();
            include(0, low, high);
        }
    }
    (0..3).all(|a| low[a] < high[a]).then_some((low, high))
}

/// One cross-section on the common lattice.
struct Plane {
    columns: usize,
    rows: usize,
    filled: Vec<f32>,
    /// Rows and columns that are not empty.
    touched: [[usize; 2]; 2],
}

impl Plane {
    fn new(shares: &Shares) -> Self {
        let [rows, columns] = [shares.filled.shape()[1], shares.filled.shape()[2]];
        Self { columns, rows, filled: vec![0.0; rows * columns], touched: [[0, 0]; 2] }
    }

    /// Cells lie across those of the lattice, and share their area among them.
    fn fill(&mut self, footprint: &Footprint, shift_mm: [f64; 2], shares: &Shares) {
        self.filled.fill(0.0);
        self.touched = [[self.rows, 0], [self.columns, 0]];
        let h = shares.size[1];
        let (low_v, low_u) = (shares.low[1], shares.low[2]);
        let at_v = |cell: f64| cell + shift_mm[1] / h - low_v;
        let at_u = |cell: f64| cell + shift_mm[0] / h - low_u;
        for run in &footprint.runs {
            let (row, ends) = (f64::from(run.row), [run.start, run.end].map(f64::from));
            self.add([at_v(row), at_v(row + 1.0)], ends.map(at_u), 1.0);
        }
        for cut in &footprint.cuts {
            let [u, v] = cut.centre.map(|c| (c / h).floor());
            let share = cut.area / (h * h);
            self.add([at_v(v), at_v(v + 1.0)], [at_u(u), at_u(u + 1.0)], share);
        }
    }

    /// Adds a rectangle of which a share is filled.
    fn add(&mut self, v: [f64; 2], u: [f64; 2], share: f64) {
        for (row, height) in overlaps(v) {
            for (column, width) in overlaps(u) {
                if row >= self.rows || column >= self.columns {
                    continue;
                }
                #[allow(clippy::cast_possible_truncation)]
                let part = (share * height * width) as f32;
                self.filled[row * self.columns + column] += part;
                for (range, index) in self.touched.iter_mut().zip([row, column]) {
                    *range = [range[0].min(index), range[1].max(index + 1)];
                }
            }
        }
    }
}

/// The cells that an interval meets, with how much of each it covers.
fn overlaps([from, to]: [f64; 2]) -> impl Iterator<Item = (usize, f64)> {
    let (first, last) = (cells(from), cells(to));
    (first..=last).map(move |i| {
        #[allow(clippy::cast_precision_loss)] // lattice sizes are far below 2^52
        let start = i as f64;
        (i, (to.min(start + 1.0) - from.max(start)).max(0.0))
    })
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // indices inside the lattice
fn cells(x: f64) -> usize {
    x.max(0.0) as usize
}
