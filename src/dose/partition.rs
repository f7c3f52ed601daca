//! One isodose taken apart: into connected islands, and into what is nearest to each of several
//! solids.

use std::collections::VecDeque;

use ndarray::Array3;

use super::isodose::{Isodose, IsodoseMap};
use tidydose_geometry::Point;
use tidydose_geometry::surface::Shell;

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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{ball, field, gaussian};
    use std::f64::consts::PI;

    fn ball_volume(d0: f64, s: f64, d: f64) -> f64 {
        4.0 / 3.0 * PI * s.powi(3) * (2.0 * (d0 / d).ln()).powf(1.5)
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
        let locators = solids.each_ref().map(tidydose_geometry::locate::Locator::new);
        let holds = |i: usize, p: Point| locators[i].share_at(p) > 0.5;
        let merged = Partition::of(&map, 1.0);
        let parts = merged.nearest(&map, &[&shells[0], &shells[1]], holds);
        let whole = merged.whole().volume_mm3;
        assert!((parts[0].volume_mm3 + parts[1].volume_mm3 - whole).abs() < 1e-6 * whole);
        // The grid is not symmetric about the middle: a layer of cells there is given whole.
        assert!((parts[0].volume_mm3 / whole - 0.5).abs() < 0.02, "{parts:?}");
    }
}
