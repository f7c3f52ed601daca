//! Signed distance from the boundary of a region, on the nodes of a square lattice.
//!
//! Every node learns its nearest edge from its neighbours in four sweeps, so the cost per node
//! does not grow with the number of vertices; distances are then exact to the edge found.

use super::polygon::{self, Bounds, Point2};
use super::region::Region;

/// Square lattice of nodes: node `(row, column)` lies at
/// `((low[0] + column)·pitch, (low[1] + row)·pitch)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lattice {
    /// Index of the first column and of the first row.
    pub low: [i32; 2],
    /// Number of columns and of rows.
    pub size: [usize; 2],
    /// Distance between nodes, mm.
    pub pitch_mm: f64,
}

impl Lattice {
    /// The smallest lattice of this pitch that holds `bounds` with one spare node all round.
    #[must_use]
    pub fn around(bounds: Bounds, pitch_mm: f64) -> Self {
        #[allow(clippy::cast_possible_truncation)] // patient coordinates over a cell's edge
        let index = |x: f64| x as i32;
        let low = bounds.low.map(|x| index((x / pitch_mm).floor()) - 1);
        let high = bounds.high.map(|x| index((x / pitch_mm).ceil()) + 1);
        let size = [0, 1].map(|a| usize::try_from(high[a] - low[a] + 1).unwrap_or(0));
        Self { low, size, pitch_mm }
    }

    /// Number of nodes.
    #[must_use]
    pub const fn nodes(&self) -> usize {
        self.size[0] * self.size[1]
    }

    /// Where node `(column, row)` lies, mm.
    #[must_use]
    pub fn position(&self, column: usize, row: usize) -> Point2 {
        #[allow(clippy::cast_precision_loss)] // lattice sizes are far below 2^52
        let at = |low: i32, i: usize| (f64::from(low) + i as f64) * self.pitch_mm;
        [at(self.low[0], column), at(self.low[1], row)]
    }
}

/// Signed distance of each node (mm, negative inside) and the connected piece of the region whose
/// boundary is nearest.
#[derive(Debug, Clone, PartialEq)]
pub struct SignedDistance {
    /// Distances in mm, row by row.
    pub values: Vec<f64>,
    /// Piece numbers as in [`Region::piece_of_ring`].
    pub pieces: Vec<usize>,
}

struct Edge {
    start: Point2,
    along: Point2,
    inverse_square: f64,
    piece: usize,
}

impl Edge {
    fn squared_distance(&self, p: Point2) -> f64 {
        let q = [p[0] - self.start[0], p[1] - self.start[1]];
        let t =
            ((q[0] * self.along[0] + q[1] * self.along[1]) * self.inverse_square).clamp(0.0, 1.0);
        let d = [q[0] - t * self.along[0], q[1] - t * self.along[1]];
        d[0] * d[0] + d[1] * d[1]
    }
}

/// Signed distances of all nodes of `lattice`; infinite where the region is empty.
#[must_use]
pub fn signed_distance(region: &Region, lattice: &Lattice) -> SignedDistance {
    let edges: Vec<Edge> = region
        .rings()
        .iter()
        .zip(region.piece_of_ring())
        .flat_map(|(ring, &piece)| polygon::edges(ring).map(move |(a, b)| (a, b, piece)))
        .map(|(a, b, piece)| {
            let along = [b[0] - a[0], b[1] - a[1]];
            let square = along[0] * along[0] + along[1] * along[1];
            let inverse_square = if square > 0.0 { 1.0 / square } else { 0.0 };
            Edge { start: a, along, inverse_square, piece }
        })
        .collect();
    let mut nearest = Nearest::new(lattice, &edges);
    nearest.seed();
    for _ in 0..2 {
        nearest.sweep();
    }
    let pieces = nearest.edge.iter().map(|&e| edges.get(e).map_or(0, |e| e.piece)).collect();
    let mut values: Vec<f64> = nearest.square.iter().map(|s| s.sqrt()).collect();
    negate_inside(region, lattice, &mut values);
    SignedDistance { values, pieces }
}

struct Nearest<'a> {
    lattice: &'a Lattice,
    edges: &'a [Edge],
    square: Vec<f64>,
    edge: Vec<usize>,
}

impl<'a> Nearest<'a> {
    fn new(lattice: &'a Lattice, edges: &'a [Edge]) -> Self {
        let n = lattice.nodes();
        Self { lattice, edges, square: vec![f64::INFINITY; n], edge: vec![usize::MAX; n] }
    }

    /// Offers an edge to a node and, while that helps, the edges next to it along the ring: with
    /// edges shorter than the pitch the nearest one may be several away from the neighbour's.
    fn offer(&mut self, column: usize, row: usize, edge: usize) {
        let Some(e) = self.edges.get(edge) else { return };
        let at = row * self.lattice.size[0] + column;
        let p = self.lattice.position(column, row);
        let (mut best, mut square) = (edge, e.squared_distance(p));
        for step in [1, -1] {
            let mut next = best.checked_add_signed(step);
            while let Some((i, d)) =
                next.and_then(|i| Some((i, self.edges.get(i)?.squared_distance(p))))
                && d < square
            {
                (best, square) = (i, d);
                next = i.checked_add_signed(step);
            }
        }
        if square < self.square[at] {
            self.square[at] = square;
            self.edge[at] = best;
        }
    }

    /// Nodes around each edge learn of it.
    fn seed(&mut self) {
        let h = self.lattice.pitch_mm;
        for (i, e) in self.edges.iter().enumerate() {
            let end = [e.start[0] + e.along[0], e.start[1] + e.along[1]];
            let b = Bounds::of(&[e.start, end]).grown(h);
            let range = |a: usize| {
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
                let clamp = |x: f64| (x - f64::from(self.lattice.low[a])).max(0.0) as usize;
                let first = clamp((b.low[a] / h).floor());
                first..=clamp((b.high[a] / h).ceil()).min(self.lattice.size[a].saturating_sub(1))
            };
            let (columns, rows) = (range(0), range(1));
            for row in rows {
                for column in columns.clone() {
                    self.offer(column, row, i);
                }
            }
        }
    }

    fn sweep(&mut self) {
        let [columns, rows] = self.lattice.size;
        for row in 0..rows {
            for column in 0..columns {
                self.ask(column, row, [(-1, -1), (0, -1), (1, -1), (-1, 0)]);
            }
            for column in (0..columns).rev() {
                self.ask(column, row, [(1, 0); 4]);
            }
        }
        for row in (0..rows).rev() {
            for column in (0..columns).rev() {
                self.ask(column, row, [(1, 1), (0, 1), (-1, 1), (1, 0)]);
            }
            for column in 0..columns {
                self.ask(column, row, [(-1, 0); 4]);
            }
        }
    }

    fn ask(&mut self, column: usize, row: usize, neighbours: [(isize, isize); 4]) {
        let [columns, rows] = self.lattice.size;
        let here = row * columns + column;
        let mut last = self.edge[here];
        for (du, dv) in neighbours {
            let (Some(c), Some(r)) = (column.checked_add_signed(du), row.checked_add_signed(dv))
            else {
                continue;
            };
            if c < columns && r < rows {
                let edge = self.edge[r * columns + c];
                if edge != last && edge != self.edge[here] {
                    self.offer(column, row, edge);
                }
                last = edge;
            }
        }
    }
}

/// Nodes between an odd and an even crossing of their row lie inside.
fn negate_inside(region: &Region, lattice: &Lattice, values: &mut [f64]) {
    let h = lattice.pitch_mm;
    let mut crossings: Vec<Vec<f64>> = vec![Vec::new(); lattice.size[1]];
    for (a, b) in region.rings().iter().flat_map(|r| polygon::edges(r)) {
        let (low, high) = if a[1] < b[1] { (a, b) } else { (b, a) };
        if low[1] == high[1] {
            continue;
        }
        let slope = (high[0] - low[0]) / (high[1] - low[1]);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped at 0
        let first = ((low[1] / h).ceil() - f64::from(lattice.low[1])).max(0.0) as usize;
        for (row, cross) in crossings.iter_mut().enumerate().skip(first) {
            let y = lattice.position(0, row)[1];
            if y >= high[1] {
                break;
            }
            if y >= low[1] {
                cross.push(low[0] + (y - low[1]) * slope);
            }
        }
    }
    for (row, cross) in crossings.iter_mut().enumerate() {
        cross.sort_by(f64::total_cmp);
        for pair in cross.chunks_exact(2) {
            for column in 0..lattice.size[0] {
                let x = lattice.position(column, row)[0];
                if x >= pair[0] && x < pair[1] {
                    let v = &mut values[row * lattice.size[0] + column];
                    *v = -v.abs();
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::region::Combine;

    fn star(n: u32) -> Vec<Point2> {
        (0..n)
            .map(|i| {
                let a = f64::from(i) * std::f64::consts::TAU / f64::from(n);
                let r = 6.0 + 2.0 * (3.0 * a).sin();
                [1.3 + r * a.cos(), -0.4 + r * a.sin()]
            })
            .collect()
    }

    /// Against the plain definition: the smallest distance to any edge.
    #[test]
    fn sweeps_find_the_nearest_edge() {
        let hole: Vec<Point2> = (0..12)
            .map(|i| {
                let a = f64::from(i) * std::f64::consts::TAU / 12.0;
                [1.0 + 1.5 * a.cos(), 1.5 * a.sin()]
            })
            .collect();
        let (region, _) = Region::fill(&[star(70), hole], Combine::Nested);
        let lattice = Lattice::around(region.bounds().grown(4.0), 0.23);
        let found = signed_distance(&region, &lattice);
        let mut worst = 0.0_f64;
        for row in 0..lattice.size[1] {
            for column in 0..lattice.size[0] {
                let p = lattice.position(column, row);
                let plain = region
                    .rings()
                    .iter()
                    .flat_map(|r| polygon::edges(r))
                    .map(|(a, b)| {
                        let along = [b[0] - a[0], b[1] - a[1]];
                        let s = along[0] * along[0] + along[1] * along[1];
                        Edge { start: a, along, inverse_square: 1.0 / s, piece: 0 }
                            .squared_distance(p)
                    })
                    .fold(f64::INFINITY, f64::min)
                    .sqrt();
                let got = found.values[row * lattice.size[0] + column];
                worst = worst.max((got.abs() - plain).abs());
                let r = (p[0] - 1.0).hypot(p[1]);
                assert!(!(r < 1.2 && got < 0.0), "the hole is outside");
            }
        }
        assert!(worst < 1e-9, "{worst}");
        let inside = found.values.iter().filter(|v| **v < 0.0).count();
        #[allow(clippy::cast_precision_loss)]
        let area = inside as f64 * 0.23 * 0.23;
        assert!((area / region.area() - 1.0).abs() < 0.02);
    }
}
