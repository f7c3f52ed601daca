//! The dose at the points of a small lattice along the axes of a dose grid, such as the parts of one
//! cell: what each axis contributes is worked out once for all points that share it, so that a point
//! costs four products instead of 64.

use super::basis::Place;
use super::field::{DoseField, Interpolation};
use super::guard;

/// More points along an axis are not asked for, and lie within so many voxels.
const MOST_POINTS: usize = 8;
const MOST_NODES: usize = 24;

/// Reads blocks of points. Keeps its memory from one to the next.
#[derive(Debug, Clone, Default)]
pub(super) struct Block {
    /// Coefficients between two planes, row by row.
    plane: Vec<f64>,
    /// Coefficients between two rows.
    line: Vec<f64>,
    /// Smallest and largest voxel of each column, Gy, and the plane and row they are for.
    ranges: Vec<[f32; 2]>,
    ranges_of: Option<[usize; 2]>,
}

/// Positions along one axis of a field, evenly spaced.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spots {
    pub first: f64,
    pub step: f64,
    pub count: usize,
}

/// The same as places.
struct Places {
    places: [Place; MOST_POINTS],
    count: usize,
    /// The least of their nodes, and how many nodes they need.
    first: usize,
    nodes: usize,
}

impl Places {
    /// Absent where one of them lies outside the axis, or they need too many nodes.
    fn of(field: &DoseField, axis: usize, spots: Spots) -> Option<Self> {
        let axis = &field.axes()[axis];
        let mut out = Self {
            places: [Place::default(); MOST_POINTS],
            count: spots.count,
            first: 0,
            nodes: 0,
        };
        let mut position = spots.first;
        for place in out.places.get_mut(..spots.count)? {
            *place = Place::for_value(axis, position)?;
            position += spots.step;
        }
        let nodes = || out.all().iter().map(|p| p.node);
        let (first, last) = (nodes().min()?, nodes().max()?);
        (out.first, out.nodes) = (first, last + 4 - first);
        (out.nodes <= MOST_NODES).then_some(out)
    }

    fn all(&self) -> &[Place] {
        self.places.get(..self.count).unwrap_or_default()
    }
}

impl Block {
    /// Calls `take` with the dose at each point, Gy, columns fastest, planes slowest. False, without a
    /// call, where a point lies outside the grid or the points lie too far apart for this to pay.
    pub(super) fn read(
        &mut self,
        field: &DoseField,
        [across, down, along]: [Spots; 3],
        mut take: impl FnMut(f64),
    ) -> bool {
        let places = |axis, spots| Places::of(field, axis, spots);
        let (Some(across), Some(down), Some(along)) =
            (places(0, across), places(1, down), places(2, along))
        else {
            return false;
        };
        self.ranges_of = None;
        for plane in across.all() {
            self.between_planes(field, plane, &down, &along);
            for row in down.all() {
                self.between_rows(row, &down, along.nodes);
                self.look_at_voxels(field, [plane.node, row.node], &along);
                for column in along.all() {
                    let at = column.node - along.first;
                    let four = self.line.get(at..).and_then(|l| l.first_chunk::<4>());
                    let dose = column.value(four.copied().unwrap_or_default());
                    let cell = [plane.node, row.node, column.node];
                    take(match guard::between(&self.ranges, at) {
                        Some(range) => field.guarded_between(range, cell, dose),
                        // A straight line never swings beyond its ends.
                        None => dose,
                    });
                }
            }
        }
        true
    }

    fn between_planes(&mut self, field: &DoseField, plane: &Place, down: &Places, along: &Places) {
        self.plane.clear();
        for row in down.first..down.first + down.nodes {
            let from = |a: usize| field.padded_row([plane.node + a, row, along.first], along.nodes);
            let [a, b, c, d] = [from(0), from(1), from(2), from(3)];
            let w = &plane.weights;
            for (((a, b), c), d) in a.iter().zip(b).zip(c).zip(d) {
                let [a, b, c, d] = [*a, *b, *c, *d].map(f64::from);
                self.plane.push(w[0] * a + w[1] * b + w[2] * c + w[3] * d);
            }
        }
    }

    fn between_rows(&mut self, row: &Place, down: &Places, nodes: usize) {
        self.line.clear();
        self.line.resize(nodes, 0.0);
        let first = row.node - down.first;
        let rows = self.plane.chunks_exact(nodes).skip(first);
        for (row, weight) in rows.zip(row.weights) {
            self.line.iter_mut().zip(row).for_each(|(sum, x)| *sum += weight * x);
        }
    }

    fn look_at_voxels(&mut self, field: &DoseField, place: [usize; 2], along: &Places) {
        if self.ranges_of == Some(place) || field.method() == Interpolation::Trilinear {
            return;
        }
        let columns = along.first..along.first + along.nodes - 2;
        guard::columns(field.values(), place, columns, &mut self.ranges);
        self.ranges_of = Some(place);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{gaussian, uneven};

    /// To rounding: sums in another order.
    #[test]
    fn points_of_a_block_have_the_dose_that_a_look_at_them_alone_gives() {
        let half = |p: [f64; 3]| if p[0] + p[1] < 0.3 { 0.0 } else { 20.0 };
        for field in [
            uneven(Interpolation::CubicBSpline, gaussian(0.7, 30.0, 4.0)),
            uneven(Interpolation::CubicBSpline, half),
            uneven(Interpolation::Trilinear, half),
        ] {
            let spots = |first, step, count| Spots { first, step, count };
            let mut block = Block::default();
            for (planes, rows, columns) in [
                (spots(3.1, 0.3, 4), spots(4.0, 0.25, 5), spots(5.2, -0.4, 8)),
                (spots(0.0, 1.1, 3), spots(9.0, -0.1, 2), spots(0.1, 0.9, 3)),
            ] {
                let mut got = Vec::new();
                assert!(block.read(&field, [planes, rows, columns], |dose| got.push(dose)));
                assert_eq!(got.len(), planes.count * rows.count * columns.count);
                let at = |s: Spots, i: u32| s.first + f64::from(i) * s.step;
                let mut got = got.into_iter();
                for k in 0..u32::try_from(planes.count).unwrap() {
                    for j in 0..u32::try_from(rows.count).unwrap() {
                        for i in 0..u32::try_from(columns.count).unwrap() {
                            let place = [at(planes, k), at(rows, j), at(columns, i)];
                            let (alone, here) =
                                (field.at_local(place).unwrap(), got.next().unwrap());
                            assert!((alone - here).abs() < 1e-9, "{place:?}: {alone} {here}");
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn a_block_that_leaves_the_grid_is_not_read() {
        let field = uneven(Interpolation::CubicBSpline, gaussian(0.7, 30.0, 4.0));
        let inside = Spots { first: 3.0, step: 0.2, count: 4 };
        let across = Spots { first: -0.2, step: -0.3, count: 4 };
        let mut block = Block::default();
        let mut taken = 0;
        assert!(!block.read(&field, [inside, across, inside], |_| taken += 1));
        let far = Spots { step: 99.0, ..inside };
        assert!(!block.read(&field, [inside, inside, far], |_| taken += 1));
        assert_eq!(taken, 0);
    }
}
