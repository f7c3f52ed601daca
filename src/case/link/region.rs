//! How several dose grids of one plan lie to each other: side by side, small ones within a large
//! one, or rivals that cover much the same. Whether they hold the same dose where they overlap is
//! settled when their voxels are read.

use tidydose_rt::{DoseHeader, DoseUnits};

/// How several grids lie to each other.
pub(super) enum Layout<'a> {
    /// None holds another; the largest stands for the case.
    Regions(&'a DoseHeader),
    /// This one holds all others, each much smaller and no coarser.
    WholeAndRegions(&'a DoseHeader),
    /// Anything else, and grids of different frame, patient or Dose Type, or not in gray.
    Rivals,
}

/// A grid is a region of another one when it covers at most half of its volume; a dose that was
/// calculated again on another grid covers about the same.
const REGION: f64 = 0.5;

/// Looks at the grids.
pub(super) fn layout<'a>(doses: &[&'a DoseHeader]) -> Layout<'a> {
    let Some(first) = doses.first() else { return Layout::Rivals };
    let alike = doses.iter().all(|d| {
        (&d.frame, d.units, d.kind) == (&first.frame, first.units, first.kind)
            && d.origin.patient == first.origin.patient
            && d.heterogeneity == first.heterogeneity
            && d.units == DoseUnits::Gray
    });
    if !alike {
        return Layout::Rivals;
    }
    let Some(largest) = doses.iter().copied().reduce(|a, b| {
        // Of equal ones the first by token: the list is sorted.
        if extent(b)[0] > extent(a)[0] { b } else { a }
    }) else {
        return Layout::Rivals;
    };
    let others = || doses.iter().filter(|d| d.origin != largest.origin);
    let small = |d: &DoseHeader| {
        let ([volume, voxel], [most, coarsest]) = (extent(d), extent(largest));
        volume <= REGION * most && voxel <= coarsest * (1.0 + 1e-9)
    };
    let held = |a: &DoseHeader, b: &DoseHeader| a.origin != b.origin && holds(a, b);
    if others().all(|d| held(largest, d) && small(d)) {
        return Layout::WholeAndRegions(largest);
    }
    let apart = doses.iter().all(|a| !doses.iter().any(|b| held(a, b)));
    if apart { Layout::Regions(largest) } else { Layout::Rivals }
}

/// Volume between the outermost voxel centres and volume of a voxel, mm³.
fn extent(dose: &DoseHeader) -> [f64; 2] {
    let Some(grid) = &dose.grid else { return [0.0; 2] };
    let [_, rows, columns] = grid.shape();
    let [row, column] = grid.spacing_mm();
    let depth = grid.offsets_mm().last().zip(grid.offsets_mm().first()).map_or(0.0, |(b, a)| b - a);
    #[allow(clippy::cast_precision_loss)] // a row index is far below 2^52
    let volume = depth * (rows as f64 - 1.0) * row * (columns as f64 - 1.0) * column;
    [volume, grid.plane_spacing_mm() * row * column]
}

/// Whether all voxel centres of `b` lie between the outermost ones of `a`, give or take a
/// thousandth of a voxel.
fn holds(a: &DoseHeader, b: &DoseHeader) -> bool {
    let (Some(a), Some(b)) = (&a.grid, &b.grid) else { return false };
    let [planes, rows, columns] = b.shape();
    let last = [planes - 1, rows - 1, columns - 1];
    let [_, high_row, high_column] = a.shape();
    let (low, high) = (a.offsets_mm().first(), a.offsets_mm().last());
    let Some((low, high)) = low.zip(high) else { return false };
    #[allow(clippy::cast_precision_loss)] // a row index is far below 2^52
    let bounds = [[*low, *high], [0.0, high_row as f64 - 1.0], [0.0, high_column as f64 - 1.0]];
    let slack = [1e-3 * a.plane_spacing_mm(), 1e-3, 1e-3];
    (0..8).all(|i: usize| {
        let corner = [0, 1, 2].map(|axis| if i >> axis & 1 == 1 { last[axis] } else { 0 });
        let at = a.local(b.position(corner));
        (0..3).all(|axis| {
            let [from, to] = bounds[axis];
            (from - slack[axis]..=to + slack[axis]).contains(&at[axis])
        })
    })
}
