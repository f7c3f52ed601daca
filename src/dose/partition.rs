//! One isodose taken apart: into connected islands, and into what is nearest to each of several
//! solids. And the largest dose beyond a distance from a solid.

use std::collections::VecDeque;

use ndarray::Array3;

use super::isodose::{Isodose, IsodoseMap};
use crate::geometry::Point;
use crate::geometry::surface::Shell;

/// An isodose cell by cell, with the islands that they make: cells that share a face and both
/// receive the dose in part are connected.
#[derive(Debug, Clone)]
pub struct Partition {
    cells: Vec<([usize; 3], Isodose)>,
    /// Island of each cell.
    island: Vec<usize>,
    /// Index of each cell plus one; 0 where the dose is not received.
    index: Array3<u32>,
    whole: Isodose,
    islands: Vec<Isodose>,
}

impl Partition {
    /// Takes the isodose of `dose_gy` apart.
    #[must_use]
    pub fn of(map: &IsodoseMap<'_>, dose_gy: f64) -> Self {
        let mut cells = Vec::new();
        let mut index = Array3::zeros(map.cells);
        let mut whole = Isodose::default();
        map.each_cell(dose_gy, |cell, piece| {
            whole += piece;
            cells.push((cell, piece));
            index[cell] = u32::try_from(cells.len()).unwrap_or(u32::MAX);
        });
        let mut out =
            Self { island: vec![usize::MAX; cells.len()], cells, index, whole, islands: vec![] };
        for first in 0..out.cells.len() {
            if out.island[first] == usize::MAX {
                out.flood(first);
            }
        }
        out
    }

    fn flood(&mut self, first: usize) {
        let label = self.islands.len();
        let mut sum = Isodose::default();
        let mut queue = VecDeque::from([first]);
        self.island[first] = label;
        while let Some(i) = queue.pop_front() {
            let (cell, piece) = self.cells[i];
            sum += piece;
            for axis in 0..3 {
                for step in [-1, 1] {
                    let mut next = cell;
                    let Some(n) = cell[axis].checked_add_signed(step) else { continue };
                    next[axis] = n;
                    let found = self.index.get(next).copied().unwrap_or(0);
                    let Some(j) = (found as usize).checked_sub(1) else { continue };
                    if self.island[j] == usize::MAX {
                        self.island[j] = label;
                        queue.push_back(j);
                    }
                }
            }
        }
        self.islands.push(sum);
    }

    /// All of it.
    #[must_use]
    pub const fn whole(&self) -> Isodose {
        self.whole
    }

    /// The islands that hold any of the points, ascending.
    #[must_use]
    pub fn islands_of(&self, map: &IsodoseMap<'_>, points: &[Point]) -> Vec<usize> {
        let label = |p: &Point| {
            let found = self.index.get(map.cell_of(*p)?)?;
            self.island.get((*found as usize).checked_sub(1)?).copied()
        };
        let mut out: Vec<usize> = points.iter().filter_map(label).collect();
        out.sort_unstable();
        out.dedup();
        out
    }

    /// Some islands together.
    #[must_use]
    pub fn together(&self, islands: &[usize]) -> Isodose {
        let mut out = Isodose::default();
        for piece in islands.iter().filter_map(|i| self.islands.get(*i)) {
            out += *piece;
        }
        out
    }

    /// What of it is nearest to each solid: cells by the distance of their middle from the
    /// surfaces, those inside a solid (`holds`) to that one.
    #[must_use]
    pub fn nearest(
        &self,
        map: &IsodoseMap<'_>,
        shells: &[&Shell],
        holds: impl Fn(usize, Point) -> bool,
    ) -> Vec<Isodose> {
        let mut out = vec![Isodose::default(); shells.len()];
        for (cell, piece) in &self.cells {
            let middle = map.field().point(map.within_cell(*cell, [0.5; 3]));
            if let Some(sum) = owner(middle, shells, &holds).and_then(|i| out.get_mut(i)) {
                *sum += *piece;
            }
        }
        out
    }
}

/// The solid that holds a point, else the one whose surface is nearest.
fn owner(p: Point, shells: &[&Shell], holds: &impl Fn(usize, Point) -> bool) -> Option<usize> {
    if shells.len() < 2 {
        return (!shells.is_empty()).then_some(0);
    }
    let about: Vec<[f64; 2]> = shells.iter().map(|s| s.about_mm(p)).collect();
    let most = about.iter().map(|a| a[1]).fold(f64::INFINITY, f64::min);
    let near = || (0..shells.len()).filter(|i| about[*i][0] <= most);
    let mut candidates = near();
    if let (Some(only), None) = (candidates.next(), candidates.next()) {
        return Some(only);
    }
    near().find(|i| about[*i][0] <= 0.0 && holds(*i, p)).or_else(|| {
        let distance = |i: &usize| shells.get(*i).map_or(f64::INFINITY, |s| s.distance_mm(p));
        near().map(|i| (distance(&i), i)).min_by(|a, b| a.0.total_cmp(&b.0)).map(|n| n.1)
    })
}

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

/// Looks for the largest dose at least `distance_mm` from the surface of a solid; absent when no
/// part of the grid lies so far out.
#[must_use]
pub fn largest_beyond(map: &IsodoseMap<'_>, shell: &Shell, distance_mm: f64) -> Option<Beyond> {
    let field = map.field();
    let far = |p: Point| {
        let [least, most] = shell.about_mm(p);
        least >= distance_mm || (most >= distance_mm && shell.distance_mm(p) >= distance_mm)
    };
    let mut best = f64::NEG_INFINITY;
    let axes = field.axes();
    for (node, value) in field.values().indexed_iter() {
        let value = f64::from(*value);
        if value > best {
            let at = [node.0, node.1, node.2];
            let local = [0, 1, 2].map(|a| axes[a].node(at[a]));
            if far(field.point(local)) {
                best = value;
            }
        }
    }
    if best == f64::NEG_INFINITY {
        return None;
    }
    let [planes, rows, columns] = map.cells;
    let cells =
        (0..planes).flat_map(|k| (0..rows).flat_map(move |i| (0..columns).map(move |j| [k, i, j])));
    for cell in cells {
        if map.corner_max(cell) * RISE <= best {
            continue;
        }
        let middle = field.point(map.within_cell(cell, [0.5; 3]));
        let size = field.cell_size_mm(cell);
        let half = size.iter().map(|s| s * s).sum::<f64>().sqrt() / 2.0;
        if shell.about_mm(middle)[1] + half < distance_mm {
            continue;
        }
        let doses = field.within(cell, [&FINE, &FINE, &FINE]);
        let points = FINE
            .iter()
            .flat_map(|a| FINE.iter().flat_map(move |b| FINE.iter().map(move |c| [*a, *b, *c])));
        for (dose, at) in doses.into_iter().zip(points) {
            if dose > best && far(field.point(map.within_cell(cell, at))) {
                best = dose;
            }
        }
    }
    let corner = |c: usize| {
        let cells = [0, 1, 2].map(|a| if c >> a & 1 == 1 { axes[a].len() - 1 } else { 0 });
        [0, 1, 2].map(|a| axes[a].node(cells[a]))
    };
    let (low, high) = (corner(0), corner(7));
    let reach = shell.reach_mm() + distance_mm;
    let centre = field.local(shell.centre());
    let [row, column] = field.grid().spacing_mm();
    let unit = [1.0, row, column];
    let inside = (0..3).all(|a| {
        let margin = reach / unit[a];
        low[a] <= centre[a] - margin && centre[a] + margin <= high[a]
    });
    Some(Beyond { dose_gy: best, cut_by_grid: !inside })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dose::testing::field;
    use crate::geometry::occupancy::Occupancy;
    use crate::geometry::slab::{Spacing, slabs};
    use crate::geometry::smooth::{Variant, closed_caps};
    use crate::geometry::{Combine, PlaneStack};
    use std::f64::consts::{PI, TAU};

    fn gaussian(x: f64, d0: f64, s: f64) -> impl Fn(Point) -> f64 {
        move |p| {
            let r2 = (p[0] - x).powi(2) + p[1] * p[1] + p[2] * p[2];
            d0 * (-r2 / (2.0 * s * s)).exp()
        }
    }

    fn ball_volume(d0: f64, s: f64, d: f64) -> f64 {
        4.0 / 3.0 * PI * s.powi(3) * (2.0 * (d0 / d).ln()).powf(1.5)
    }

    fn ball(x: f64, r: f64) -> Occupancy {
        let circle = |z: f64| -> Vec<Point> {
            let q = (r * r - z * z).sqrt();
            let at = |i: i32| f64::from(i) * TAU / 120.0;
            (0..120).map(|i| [x + q * at(i).cos(), q * at(i).sin(), z]).collect()
        };
        let z = (-20..=20).map(|k| f64::from(k) + 0.4).filter(|z| z.abs() < r);
        let curves: Vec<_> = z.map(circle).collect();
        let stack = PlaneStack::build(&curves, Combine::Nested).unwrap();
        let slabs = slabs(&stack, Spacing::default()).unwrap();
        closed_caps(&stack, &slabs, Spacing::default(), r / 9.0, Variant::default())
    }

    #[test]
    fn islands_are_told_apart_until_they_merge() {
        let f = field(|p| gaussian(6.0, 30.0, 2.5)(p) + gaussian(-6.0, 30.0, 2.5)(p), 16);
        let map = IsodoseMap::new(&f);
        let apart = Partition::of(&map, 15.0);
        let one = apart.islands_of(&map, &[[6.0, 0.0, 0.0]]);
        assert_eq!((one.len(), apart.islands.len()), (1, 2));
        let volume = apart.together(&one).volume_mm3;
        assert!((volume / ball_volume(30.0, 2.5, 15.0) - 1.0).abs() < 2e-2);
        assert_ne!(one, apart.islands_of(&map, &[[-6.0, 0.0, 0.0]]));
        let merged = Partition::of(&map, 1.0);
        let one = merged.islands_of(&map, &[[6.0, 0.0, 0.0]]);
        assert_eq!(one, merged.islands_of(&map, &[[-6.0, 0.0, 0.0]]));
        let whole = map.whole(1.0).volume_mm3;
        assert!((merged.together(&one).volume_mm3 / whole - 1.0).abs() < 1e-9);
        assert!(merged.islands_of(&map, &[[0.0, 14.0, 0.0]]).is_empty());
    }

    /// Two equal lesions share a merged isodose by halves; three on a line with one far away keep
    /// what is theirs, and the parts add up to all of it.
    #[test]
    fn a_merged_isodose_is_split_by_the_nearest_surface() {
        let f = field(|p| gaussian(6.0, 30.0, 2.5)(p) + gaussian(-6.0, 30.0, 2.5)(p), 16);
        let map = IsodoseMap::new(&f);
        let solids = [ball(6.0, 2.5), ball(-6.0, 2.5)];
        let shells = solids.each_ref().map(|s| Shell::of(s).unwrap());
        let locators = solids.each_ref().map(crate::geometry::locate::Locator::new);
        let holds = |i: usize, p: Point| locators[i].share_at(p) > 0.5;
        let merged = Partition::of(&map, 1.0);
        let parts = merged.nearest(&map, &[&shells[0], &shells[1]], holds);
        let whole = merged.whole().volume_mm3;
        assert!((parts[0].volume_mm3 + parts[1].volume_mm3 - whole).abs() < 1e-6 * whole);
        // The grid is not symmetric about the middle: a layer of cells there is given whole.
        assert!((parts[0].volume_mm3 / whole - 0.5).abs() < 0.02, "{parts:?}");
    }

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
}
