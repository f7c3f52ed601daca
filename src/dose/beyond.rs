//! The largest dose at a distance from a solid, as by "D2cm". Boxes of the grid are taken whole where
//! they lie near or far with all they hold, and halved where the distance goes through them.

use std::cmp::Ordering;
use std::ops::Range;

use super::field::{DoseField, Interpolation};
use super::isodose::IsodoseMap;
use super::lattice::Lattice;
use tidydose_geometry::Point;
use tidydose_geometry::surface::Shell;

/// The largest dose at least so far from a solid, Gy; and whether the grid ends before that.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beyond {
    /// Largest dose found, Gy.
    pub dose_gy: f64,
    /// The grid does not reach so far all round, so that this is a lower bound.
    pub cut_by_grid: bool,
}

/// Points of a cell along each axis where the largest dose is looked for.
const FINE: [f64; 6] = [0.0, 0.2, 0.4, 0.6, 0.8, 1.0];
/// Between voxels the dose may rise above the largest of them by this share.
const RISE: f64 = 1.05;
/// Far above the rounding of coordinates, far below any distance that counts, mm.
const ROUNDING_MM: f64 = 1e-9;

/// Looks for the largest dose at least `distance_mm` from the surface of a solid; absent when no
/// part of the grid lies so far out.
#[must_use]
pub fn largest_beyond(map: &IsodoseMap<'_>, shell: &Shell, distance_mm: f64) -> Option<Beyond> {
    let field = map.field();
    let search = Search { field, shell, distance_mm };
    let mut best = f64::NEG_INFINITY;
    let nodes = field.axes().each_ref().map(|axis| 0..axis.len());
    let most = |indices: &_| map.peaks.among(indices);
    let all = Boxes { most_gy: most(&nodes), indices: nodes, reach: 0, place: Place::Across };
    search.boxes(all, &most, &mut best, &mut |node, place, best| {
        let value = f64::from(field.values()[node]);
        if value > *best && (place == Place::Far || search.is_far(search.position(node))) {
            *best = value;
        }
    });
    if best == f64::NEG_INFINITY {
        return None;
    }
    let mut lattice = Lattice::new(field, [FINE; 3].map(Vec::from));
    let most = |indices: &_| map.peaks.among(indices) * RISE;
    let cells = map.cells.map(|n| 0..n);
    let all = Boxes { most_gy: most(&cells), indices: cells, reach: 1, place: Place::Across };
    search.boxes(all, &most, &mut best, &mut |cell, place, best| {
        if map.corner_max(cell) * RISE > *best {
            *best = search.in_cell((map, &mut lattice), cell, place, *best);
        }
    });
    Some(Beyond { dose_gy: best, cut_by_grid: search.is_cut() })
}

/// A dose, and how far from what it is looked at.
struct Search<'a> {
    field: &'a DoseField,
    shell: &'a Shell,
    distance_mm: f64,
}

/// A box of indices.
#[derive(Debug, Clone)]
struct Boxes {
    indices: [Range<usize>; 3],
    /// Each index reaches to the node so many after its own.
    reach: usize,
    /// What is known of all of it; `Across` where nothing is.
    place: Place,
    /// No dose of it is larger, Gy.
    most_gy: f64,
}

/// How a ball lies to the distance from a surface.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Place {
    Near,
    /// The distance goes through it, or may do so.
    Across,
    Far,
}

impl Search<'_> {
    /// Tells `leaf` of every index that may lie far out, but for boxes whose doses are no larger than
    /// the best; `most` tells the largest that a box may have, Gy.
    fn boxes(
        &self,
        boxes: Boxes,
        most: &dyn Fn(&[Range<usize>; 3]) -> f64,
        best: &mut f64,
        leaf: &mut dyn FnMut([usize; 3], Place, &mut f64),
    ) {
        let Boxes { indices, reach, place, most_gy } = boxes;
        let first = indices.each_ref().map(|range| range.start);
        if indices.iter().any(Range::is_empty) || most_gy <= *best {
            return;
        }
        if indices.iter().all(|range| range.len() == 1) {
            return leaf(first, place, best);
        }
        let last = indices.each_ref().map(|range| range.end - 1 + reach);
        // What is known of a box holds for its parts.
        let place = match place {
            Place::Across => self.place(self.ball(first, last)),
            known => known,
        };
        if place == Place::Near {
            return;
        }
        let longest = (0..3).max_by_key(|a| indices[*a].len()).unwrap_or(0);
        let middle = indices[longest].start + indices[longest].len() / 2;
        let (mut lower, mut upper) = (indices.clone(), indices);
        lower[longest].end = middle;
        upper[longest].start = middle;
        let half = |indices| Boxes { most_gy: most(&indices), indices, reach, place };
        let mut halves = [half(lower), half(upper)];
        // The hotter half first, so that the other is more often left out.
        if halves[1].most_gy > halves[0].most_gy {
            halves.reverse();
        }
        for half in halves {
            self.boxes(half, most, best, leaf);
        }
    }

    fn place(&self, (middle, radius_mm): (Point, f64)) -> Place {
        let near_mm = self.distance_mm - ROUNDING_MM - radius_mm;
        let far_mm = self.distance_mm + ROUNDING_MM + radius_mm;
        let [least, most] = self.shell.about_mm(middle);
        if most < near_mm {
            return Place::Near;
        }
        if least > far_mm {
            return Place::Far;
        }
        match self.shell.compare(middle, [near_mm, far_mm]) {
            Ordering::Less => Place::Near,
            Ordering::Equal => Place::Across,
            Ordering::Greater => Place::Far,
        }
    }

    /// The largest of the doses in a cell that lie far out; `best` where none is larger.
    fn in_cell(
        &self,
        (map, lattice): (&IsodoseMap<'_>, &mut Lattice<'_>),
        cell: [usize; 3],
        place: Place,
        best: f64,
    ) -> f64 {
        let place = match place {
            Place::Across => self.place(self.ball(cell, cell.map(|index| index + 1))),
            known => known,
        };
        // Where it is linear, the largest is at a corner, which is a node.
        let known = place == Place::Far && self.field.method() == Interpolation::Trilinear;
        if place == Place::Near || known {
            return best;
        }
        let doses = lattice.read(cell);
        let points = FINE
            .iter()
            .flat_map(|a| FINE.iter().flat_map(move |b| FINE.iter().map(move |c| [*a, *b, *c])));
        let mut most = best;
        for (&dose, at) in doses.iter().zip(points) {
            let point = || self.field.point(map.within_cell(cell, at));
            if dose > most && (place == Place::Far || self.is_far(point())) {
                most = dose;
            }
        }
        most
    }

    fn is_far(&self, p: Point) -> bool {
        let [least, most] = self.shell.about_mm(p);
        least >= self.distance_mm
            || (most >= self.distance_mm
                && self.shell.compare(p, [self.distance_mm; 2]) != Ordering::Less)
    }

    fn position(&self, node: [usize; 3]) -> Point {
        self.field.point(self.local(node))
    }

    fn local(&self, node: [usize; 3]) -> Point {
        let axes = self.field.axes();
        [0, 1, 2].map(|a| axes[a].node(node[a]))
    }

    /// Middle and radius of the ball about a box between two nodes, mm.
    fn ball(&self, first: [usize; 3], last: [usize; 3]) -> (Point, f64) {
        let (low, high) = (self.local(first), self.local(last));
        let unit = self.unit_mm();
        let half: Point = std::array::from_fn(|a| (high[a] - low[a]) / 2.0 * unit[a]);
        let middle = self.field.point(std::array::from_fn(|a| f64::midpoint(low[a], high[a])));
        (middle, half.iter().map(|x| x * x).sum::<f64>().sqrt())
    }

    /// Length of one step of the local coordinates, mm.
    fn unit_mm(&self) -> [f64; 3] {
        let [row, column] = self.field.grid().spacing_mm();
        [1.0, row, column]
    }

    /// Whether the grid ends before the distance somewhere.
    fn is_cut(&self) -> bool {
        let last = self.field.axes().each_ref().map(|axis| axis.len() - 1);
        let (low, high) = (self.local([0; 3]), self.local(last));
        let reach = self.shell.reach_mm() + self.distance_mm;
        let centre = self.field.local(self.shell.centre());
        let unit = self.unit_mm();
        (0..3).any(|a| {
            let margin = reach / unit[a];
            low[a] > centre[a] - margin || centre[a] + margin > high[a]
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{ball, field, field_by, gaussian};

    /// Largest dose 8 mm off a ball of 3 mm in a concentric Gaussian: that at 11 mm.
    #[test]
    fn the_largest_dose_beyond_a_distance() {
        let f = field(gaussian(0.0, 30.0, 6.0), 14);
        let map = IsodoseMap::new(&f);
        let shell = Shell::of(&ball(0.0, 3.0)).unwrap();
        let exact = gaussian(0.0, 30.0, 6.0)([11.0, 0.0, 0.0]);
        let got = largest_beyond(&map, &shell, 8.0).unwrap();
        // The points searched are 0.2 mm apart and the surface is known to 0.03 mm: 0.06 mm of
        // a slope of 1.7 Gy/mm.
        assert!((got.dose_gy - exact).abs() < 0.1, "{got:?} {exact}");
        assert!(!got.cut_by_grid);
        assert!(largest_beyond(&map, &shell, 11.5).unwrap().cut_by_grid);
        assert_eq!(largest_beyond(&map, &shell, 60.0), None);
    }

    /// Whole boxes are left out or taken in; the result is that of a look at every point.
    #[test]
    fn the_search_leaves_nothing_out() {
        for (x, method) in [
            (0.0, Interpolation::CubicBSpline),
            (2.5, Interpolation::CubicBSpline),
            (2.5, Interpolation::Trilinear),
        ] {
            let dose = |p| gaussian(x, 30.0, 6.0)(p) + gaussian(-9.0, 9.0, 1.5)(p);
            let f = field_by(method, dose, 11);
            let map = IsodoseMap::new(&f);
            let shell = Shell::of(&ball(0.0, 3.0)).unwrap();
            for distance in [0.5, 4.0, 7.5] {
                let mut most = f64::NEG_INFINITY;
                let [planes, rows, columns] = map.cells;
                let mut lattice = Lattice::new(&f, [FINE; 3].map(Vec::from));
                for cell in (0..planes * rows * columns)
                    .map(|n| [n / (rows * columns), n / columns % rows, n % columns])
                {
                    let doses = lattice.read(cell);
                    let at = |n: usize| [FINE[n / 36], FINE[n / 6 % 6], FINE[n % 6]];
                    for (n, &dose) in doses.iter().enumerate() {
                        let point = || f.point(map.within_cell(cell, at(n)));
                        if dose > most && shell.distance_mm(point()) >= distance {
                            most = dose;
                        }
                    }
                }
                let got = largest_beyond(&map, &shell, distance).unwrap().dose_gy;
                assert!((got - most).abs() < 1e-9 * most, "{x} {method:?} {distance}");
            }
        }
    }
}
