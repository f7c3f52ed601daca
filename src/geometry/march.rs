//! Marching tetrahedra: points and triangles where the share of filled cells passes one half.

use std::sync::LazyLock;

use super::occupancy::Occupancy;
use super::pieces::Facet;
use super::point::{self, Point};
use super::shares::{LEVEL, Shares};

/// Six tetrahedra about the diagonal of a cube from corner 0 to corner 7. The bits of a corner tell
/// on which side of the cube it is along w, v and u.
const TETRAHEDRA: [[usize; 4]; 6] =
    [[0, 1, 3, 7], [0, 3, 2, 7], [0, 2, 6, 7], [0, 6, 4, 7], [0, 4, 5, 7], [0, 5, 1, 7]];

/// Finds the surface of a solid: points of it, about one for each cell, and its triangles, corners
/// counter-clockwise as seen from outside; all in mm.
pub(super) fn surface(
    solid: &Occupancy,
    mut found: impl FnMut(Point),
    mut triangle: impl FnMut(Facet),
) {
    each_cube(solid, |cube| {
        cube.points(&mut found);
        for (corners, cases) in TETRAHEDRA.iter().zip(CASES.iter()) {
            let filled =
                (0..4).fold(0, |bits, i| bits | usize::from(cube.is_filled(corners[i])) << i);
            let Case { count, triangles } = &cases[filled];
            for edges in triangles.iter().take(*count) {
                triangle(edges.map(|edge| cube.crossing(edge)));
            }
        }
    });
}

/// Finds the points only.
pub(super) fn points(solid: &Occupancy, mut found: impl FnMut(Point)) {
    each_cube(solid, |cube| cube.points(&mut found));
}

/// Calls `at` with every cube between eight neighbouring cell centres through which the surface goes.
fn each_cube(solid: &Occupancy, mut at: impl FnMut(&mut Cube<'_>)) {
    let Some(shares) = Shares::of(solid) else { return };
    let [nw, nv, nu] = shares.shape();
    let mut filled = vec![0_u8; nu];
    let mut cube = Cube {
        solid,
        shares: &shares,
        base: [0.0; 3],
        values: [0.0; 8],
        known: 0,
        crossings: [[0.0; 3]; 64],
    };
    for k in 0..nw - 1 {
        for j in 0..nv - 1 {
            shares.count_filled([k, j], &mut filled);
            // Most cubes lie wholly inside or outside; those have no surface.
            let crossed = filled.windows(2).enumerate().filter(|(_, n)| {
                let corners: u8 = n.iter().sum();
                corners != 0 && corners != 8
            });
            for (i, _) in crossed {
                cube.move_to([k, j, i]);
                at(&mut cube);
            }
        }
    }
}

/// From one corner to another.
type Edge = [usize; 2];

/// The cube that is looked at.
struct Cube<'a> {
    solid: &'a Occupancy,
    shares: &'a Shares,
    /// Cell of its first corner along w, v and u.
    base: [f64; 3],
    /// Shares at its corners.
    values: [f32; 8],
    /// Which of the crossings are known, by edge.
    known: u64,
    crossings: [Point; 64],
}

impl Cube<'_> {
    fn move_to(&mut self, [k, j, i]: [usize; 3]) {
        for (corner, value) in self.values.iter_mut().enumerate() {
            let [dk, dj, di] = [corner >> 2 & 1, corner >> 1 & 1, corner & 1];
            *value = self.shares.filled[[k + dk, j + dj, i + di]];
        }
        #[allow(clippy::cast_precision_loss)] // lattice sizes are far below 2^52
        let base = [k as f64, j as f64, i as f64];
        (self.base, self.known) = (base, 0);
    }

    fn is_filled(&self, corner: usize) -> bool {
        self.values[corner] >= LEVEL
    }

    /// Crossings of the three sides from the first corner.
    fn points(&mut self, found: &mut impl FnMut(Point)) {
        for end in [1, 2, 4] {
            if self.is_filled(0) != self.is_filled(end) {
                found(self.crossing([0, end]));
            }
        }
    }

    /// Where the share passes the level along an edge, mm. Tetrahedra share edges.
    fn crossing(&mut self, edge: Edge) -> Point {
        let index = edge[0] * 8 + edge[1];
        if self.known >> index & 1 == 0 {
            self.crossings[index] = self.solid.axes.point(self.passes(edge));
            self.known |= 1 << index;
        }
        self.crossings[index]
    }

    /// The same in local coordinates (u, v, w).
    fn passes(&self, [from, to]: Edge) -> Point {
        let (a, b) = (f64::from(self.values[from]), f64::from(self.values[to]));
        let t = if (b - a).abs() > 0.0 { (f64::from(LEVEL) - a) / (b - a) } else { 0.5 };
        let (start, end) = (corner_at(from), corner_at(to));
        let mm = |axis: usize| {
            // Corners are numbered along w, v, u.
            let (start, end) = (self.base[axis] + start[2 - axis], self.base[axis] + end[2 - axis]);
            (start + t * (end - start) + 0.5 + self.shares.low[axis]) * self.shares.size[axis]
        };
        [mm(2), mm(1), mm(0)]
    }
}

/// A corner of a cube of edge 1 along (u, v, w).
fn corner_at(corner: usize) -> Point {
    [0, 1, 2].map(|bit| if corner >> bit & 1 == 1 { 1.0 } else { 0.0 })
}

/// The triangles of a tetrahedron.
#[derive(Debug, Clone, Copy, Default)]
struct Case {
    count: usize,
    triangles: [[Edge; 3]; 2],
}

/// For each tetrahedron and each choice of filled corners.
static CASES: LazyLock<[[Case; 16]; 6]> =
    LazyLock::new(|| TETRAHEDRA.map(|corners| std::array::from_fn(|filled| case(corners, filled))));

fn case(corners: [usize; 4], filled: usize) -> Case {
    let is_filled = |i: &usize| filled >> i & 1 == 1;
    let mut sides = [0, 1, 2, 3];
    // Filled corners first.
    sides.sort_by_key(|i| !is_filled(i));
    let [a, b, c, d] = sides.map(|i| corners[i]);
    // From a filled corner to an empty one.
    let outward = point::sub(corner_at(d), corner_at(a));
    let triangle = |edges: [Edge; 3]| {
        let middle = |[x, y]: Edge| point::scale(point::add(corner_at(x), corner_at(y)), 0.5);
        let [p, q, r] = edges.map(middle);
        let normal = point::cross(point::sub(q, p), point::sub(r, p));
        let [first, second, third] = edges;
        let turned = point::dot(normal, outward) < 0.0;
        if turned { [first, third, second] } else { edges }
    };
    let none = [[0; 2]; 3];
    let (count, triangles) = match filled.count_ones() {
        1 => (1, [triangle([[a, b], [a, c], [a, d]]), none]),
        3 => (1, [triangle([[a, d], [b, d], [c, d]]), none]),
        2 => (2, [triangle([[a, c], [a, d], [b, d]]), triangle([[a, c], [b, d], [b, c]])]),
        _ => (0, [none; 2]),
    };
    Case { count, triangles }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every triangle of every case, for any place of the crossings on their edges: the filled
    /// corners lie behind it, the empty ones before it.
    #[test]
    fn triangles_look_outward() {
        let mut seen = 0;
        for (corners, cases) in TETRAHEDRA.iter().zip(CASES.iter()) {
            for (filled, case) in cases.iter().enumerate() {
                assert_eq!(case.count, [0, 1, 2, 1, 0][filled.count_ones() as usize]);
                for t in [0.1, 0.5, 0.8] {
                    for edges in &case.triangles[..case.count] {
                        let at = |[x, y]: Edge| {
                            let step = point::sub(corner_at(y), corner_at(x));
                            point::add(corner_at(x), point::scale(step, t))
                        };
                        let [p, q, r] = edges.map(at);
                        let normal = point::cross(point::sub(q, p), point::sub(r, p));
                        for (i, corner) in corners.iter().enumerate() {
                            let height = point::dot(normal, point::sub(corner_at(*corner), p));
                            let inside = filled >> i & 1 == 1;
                            assert!(if inside { height < 1e-12 } else { height > -1e-12 });
                        }
                        seen += 1;
                    }
                }
            }
        }
        // Eight cases with one triangle, six with two.
        assert_eq!(seen, 3 * 6 * (8 + 12));
    }
}
