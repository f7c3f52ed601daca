//! One isodose taken apart: into connected islands, and into what is nearest to each of several
//! solids.

use std::collections::VecDeque;

use super::isodose::{Isodose, IsodoseMap};
use tidydose_geometry::Point;
use tidydose_geometry::surface::Shell;

/// An isodose cell by cell, with the islands that they make: cells that share a face and both
/// receive the dose in part are connected.
#[derive(Debug, Clone)]
pub struct Partition {
    /// By plane, row and column.
    cells: Vec<Piece>,
    /// Number of rows of cells in a plane.
    rows_of_plane: usize,
    /// Where in the list the cells of each row begin, plane by plane, and where the last one ends.
    rows: Vec<usize>,
    /// Island of each cell.
    island: Vec<u32>,
    whole: Isodose,
    islands: Vec<Isodose>,
}

/// What of one cell receives the dose. A low isodose has as many as the dose has voxels.
#[derive(Debug, Clone, Copy)]
struct Piece {
    plane: u32,
    row: u32,
    column: u32,
    isodose: Isodose,
}

impl Piece {
    fn cell(&self) -> [usize; 3] {
        [self.plane, self.row, self.column].map(|n| n as usize)
    }
}

/// Of a cell whose island is not known yet.
const NO_ISLAND: u32 = u32::MAX;

impl Partition {
    /// Takes the isodose of `dose_gy` apart.
    #[must_use]
    pub fn of(map: &IsodoseMap<'_>, dose_gy: f64) -> Self {
        let [planes, rows_of_plane, _] = map.cells;
        let mut cells = Vec::new();
        let mut rows = Vec::with_capacity(planes * rows_of_plane + 1);
        let mut whole = Isodose::default();
        map.each_cell(dose_gy, |cell, isodose| {
            whole += isodose;
            while rows.len() <= cell[0] * rows_of_plane + cell[1] {
                rows.push(cells.len());
            }
            let [plane, row, column] = cell.map(|n| u32::try_from(n).unwrap_or(u32::MAX));
            cells.push(Piece { plane, row, column, isodose });
        });
        rows.resize(planes * rows_of_plane + 1, cells.len());
        let island = vec![NO_ISLAND; cells.len()];
        let mut out = Self { cells, rows_of_plane, rows, island, whole, islands: Vec::new() };
        for first in 0..out.cells.len() {
            if out.island[first] == NO_ISLAND {
                out.flood(first);
            }
        }
        out
    }

    /// Where in the list a cell is; absent where it does not receive the dose.
    fn find(&self, [plane, row, column]: [usize; 3]) -> Option<usize> {
        let at = (row < self.rows_of_plane).then(|| plane * self.rows_of_plane + row)?;
        let from = *self.rows.get(at)?;
        let own = self.cells.get(from..*self.rows.get(at + 1)?)?;
        let column = u32::try_from(column).ok()?;
        own.binary_search_by_key(&column, |piece| piece.column).ok().map(|i| from + i)
    }

    fn flood(&mut self, first: usize) {
        let label = u32::try_from(self.islands.len()).unwrap_or(NO_ISLAND);
        let mut sum = Isodose::default();
        let mut queue = VecDeque::from([first]);
        self.island[first] = label;
        while let Some(i) = queue.pop_front() {
            let piece = self.cells[i];
            sum += piece.isodose;
            for axis in 0..3 {
                for step in [-1, 1] {
                    let mut next = piece.cell();
                    let Some(n) = next[axis].checked_add_signed(step) else { continue };
                    next[axis] = n;
                    let Some(j) = self.find(next) else { continue };
                    if self.island[j] == NO_ISLAND {
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
            let found = self.island.get(self.find(map.cell_of(*p)?)?)?;
            Some(*found as usize)
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
        for piece in &self.cells {
            let middle = map.field().point(map.within_cell(piece.cell(), [0.5; 3]));
            if let Some(sum) = owner(middle, shells, &holds).and_then(|i| out.get_mut(i)) {
                *sum += piece.isodose;
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
