//! The whole cells that several variants of one solid share: whatever is found there holds for all
//! of them, and only what is left, a shell and the ends, differs.

use std::collections::BTreeMap;

use super::occupancy::{Layer, Occupancy, Run, Sheet};

/// Whole cells of one sheet that all variants fill, none next to an outline.
#[derive(Debug, Clone, PartialEq)]
pub struct SharedSheet {
    /// The sheet.
    pub sheet: Sheet,
    /// By how much its cells are moved in the plane, mm.
    pub shift_mm: [f64; 2],
    /// The cells, by row, then column.
    pub runs: Vec<Run>,
}

/// The cells that several occupancies share.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SharedCells {
    /// Sheet by sheet.
    pub sheets: Vec<SharedSheet>,
    places: BTreeMap<Key, usize>,
}

/// Where a sheet lies: its middle, thickness and shift to the last bit, since cells that lie beside
/// each other by a hair are not the same cells.
type Key = [u64; 4];

fn key(layer: &Layer, sheet: Sheet) -> Key {
    let [du, dv] = layer.shift_mm;
    [sheet.w_mm, sheet.thickness_mm, du, dv].map(f64::to_bits)
}

impl SharedCells {
    /// The cells that all of `variants`, of one pitch, share; none of a single one. Sheets on which one of them ends
    /// are left out, since smallest and largest doses are looked for on their faces.
    #[must_use]
    pub fn of(variants: &[&Occupancy]) -> Self {
        let Some(([first], rest)) =
            variants.split_at_checked(1).filter(|(_, rest)| !rest.is_empty())
        else {
            return Self::default();
        };
        let mut shared = inner_sheets(first);
        for other in rest {
            let mut own = inner_sheets(other);
            shared.retain(|key, _| own.contains_key(key));
            for (key, sheet) in &mut shared {
                let other = own.remove(key).map(|o| o.runs).unwrap_or_default();
                sheet.runs = both(&sheet.runs, &other);
            }
        }
        shared.retain(|_, sheet| !sheet.runs.is_empty());
        let (keys, sheets): (Vec<Key>, Vec<SharedSheet>) = shared.into_iter().unzip();
        Self { sheets, places: keys.into_iter().zip(0..).collect() }
    }

    /// What of a sheet is shared.
    #[must_use]
    pub fn runs(&self, layer: &Layer, sheet: Sheet) -> &[Run] {
        let found = self.places.get(&key(layer, sheet)).and_then(|i| self.sheets.get(*i));
        found.map_or(&[], |s| &s.runs)
    }
}

/// What of a run lies outside `shared`, which is sorted by row and column.
pub fn outside(run: Run, shared: &[Run]) -> impl Iterator<Item = Run> {
    let from = shared.partition_point(|s| (s.row, s.end) <= (run.row, run.start));
    let inside =
        shared.iter().skip(from).take_while(move |s| s.row == run.row && s.start < run.end);
    // The gap before each shared run, and the one behind the last.
    let starts = std::iter::once(run.start).chain(inside.clone().map(|s| s.end));
    let ends = inside.map(|s| s.start).chain(std::iter::once(run.end));
    starts.zip(ends).filter(|(start, end)| start < end).map(move |(start, end)| Run {
        start,
        end,
        ..run
    })
}

/// The sheets of a solid but for those it ends on, with their cells that have a whole cell on either
/// side along the row. Sheets that lie in the same place (of pieces side by side) are left out: it
/// could not be told which is which.
fn inner_sheets(solid: &Occupancy) -> BTreeMap<Key, SharedSheet> {
    let faces = solid.faces_mm();
    let mut out: BTreeMap<Key, Option<SharedSheet>> = BTreeMap::new();
    for layer in &solid.layers {
        let runs: Vec<Run> = layer
            .footprint
            .runs
            .iter()
            .map(|run| Run { start: run.start + 1, end: run.end - 1, ..*run })
            .filter(|run| run.start < run.end)
            .collect();
        for sheet in &layer.sheets {
            if sheet.touches(faces).is_some() {
                continue;
            }
            let (sheet, shift_mm) = (*sheet, layer.shift_mm);
            let new = Some(SharedSheet { sheet, shift_mm, runs: runs.clone() });
            let place = out.entry(key(layer, sheet));
            place.and_modify(|there| *there = None).or_insert(new);
        }
    }
    out.into_iter().filter_map(|(key, sheet)| Some((key, sheet?))).collect()
}

/// The cells that are in both of two sorted lists.
fn both(a: &[Run], b: &[Run]) -> Vec<Run> {
    let mut out = Vec::new();
    let (mut i, mut j) = (0, 0);
    while let (Some(p), Some(q)) = (a.get(i), b.get(j)) {
        if p.row == q.row {
            let (start, end) = (p.start.max(q.start), p.end.min(q.end));
            if start < end {
                out.push(Run { start, end, ..*p });
            }
        }
        // The one that ends first has nothing more to meet.
        if (p.row, p.end) <= (q.row, q.end) { i += 1 } else { j += 1 }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::occupancy::Footprint;
    use crate::stack::Axes;

    fn run(row: i32, start: i32, end: i32) -> Run {
        Run { row, start, end }
    }

    fn solid(sheets: &[f64], runs: &[Run]) -> Occupancy {
        let layer = |w_mm: &f64| Layer {
            footprint: Footprint { runs: runs.to_vec(), cuts: Vec::new() },
            shift_mm: [0.0; 2],
            sheets: vec![Sheet { w_mm: *w_mm, thickness_mm: 1.0 }],
        };
        let axes = Axes::of_normal([0.0, 0.0, 1.0]);
        Occupancy { axes, pitch_mm: 1.0, layers: sheets.iter().map(layer).collect() }
    }

    #[test]
    fn shared_cells_and_the_rest_are_all_cells() {
        let a = solid(&[0.0, 1.0, 2.0, 3.0], &[run(0, 0, 9), run(1, 2, 6), run(1, 8, 12)]);
        let b = solid(&[0.0, 1.0, 2.0], &[run(0, 1, 7), run(1, 0, 20)]);
        let shared = SharedCells::of(&[&a, &b]);
        // b ends on the sheets at 0 and 2, and a on those at 0 and 3.
        assert_eq!(shared.sheets.len(), 1);
        assert_eq!(shared.sheets[0].sheet.w_mm, 1.0);
        assert_eq!(shared.sheets[0].runs, [run(0, 2, 6), run(1, 3, 5), run(1, 9, 11)]);
        for solid in [&a, &b] {
            let layer = &solid.layers[1];
            let shared = shared.runs(layer, layer.sheets[0]);
            let mut cells = 0;
            for run in &layer.footprint.runs {
                for rest in outside(*run, shared) {
                    assert!(run.start <= rest.start && rest.end <= run.end);
                    assert!(shared.iter().all(|s| {
                        s.row != rest.row || s.end <= rest.start || rest.end <= s.start
                    }));
                    cells += rest.end - rest.start;
                }
            }
            let count = |runs: &[Run]| runs.iter().map(|r| r.end - r.start).sum::<i32>();
            assert_eq!(cells + count(shared), count(&layer.footprint.runs));
        }
    }

    #[test]
    fn one_alone_shares_nothing_and_pieces_in_one_place_neither() {
        let a = solid(&[0.0, 1.0, 2.0], &[run(0, 0, 9)]);
        assert_eq!(SharedCells::of(&[&a]), SharedCells::default());
        let twice = solid(&[0.0, 1.0, 1.0, 2.0], &[run(0, 0, 9)]);
        assert!(SharedCells::of(&[&a, &twice]).sheets.is_empty());
    }
}
