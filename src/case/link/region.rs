//! How several dose grids of one plan lie to each other: side by side, small ones within a large
//! one, or rivals that cover much the same. Whether they hold the same dose where they overlap is
//! settled when their voxels are read.

use tidydose_rt::{DoseHeader, DoseUnits};

/// How several grids lie to each other.
pub(super) enum GridLayout<'a> {
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
pub(super) fn layout<'a>(doses: &[&'a DoseHeader]) -> GridLayout<'a> {
    let Some(first) = doses.first() else { return GridLayout::Rivals };
    let alike = doses.iter().all(|d| {
        (&d.frame, d.units, d.kind) == (&first.frame, first.units, first.kind)
            && d.origin.patient == first.origin.patient
            && d.heterogeneity == first.heterogeneity
            && d.units == DoseUnits::Gray
    });
    if !alike {
        return GridLayout::Rivals;
    }
    let Some(largest) = doses.iter().copied().reduce(|a, b| {
        // Of equal ones the first by token: the list is sorted.
        if extent(b)[0] > extent(a)[0] { b } else { a }
    }) else {
        return GridLayout::Rivals;
    };
    let others = || doses.iter().filter(|d| d.origin != largest.origin);
    let small = |d: &DoseHeader| {
        let ([volume, voxel], [most, coarsest]) = (extent(d), extent(largest));
        volume <= REGION * most && voxel <= coarsest * (1.0 + 1e-9)
    };
    let held = |a: &DoseHeader, b: &DoseHeader| a.origin != b.origin && holds(a, b);
    if others().all(|d| held(largest, d) && small(d)) {
        return GridLayout::WholeAndRegions(largest);
    }
    let apart = doses.iter().all(|a| !doses.iter().any(|b| held(a, b)));
    if apart { GridLayout::Regions(largest) } else { GridLayout::Rivals }
}

/// Volume between the outermost voxel centres and volume of a voxel, mm³.
fn extent(dose: &DoseHeader) -> [f64; 2] {
    let Some(grid) = &dose.grid else { return [0.0; 2] };
    let [across, rows, columns] = grid.ends();
    let [row, column] = grid.spacing_mm();
    [across * rows * row * columns * column, grid.voxel_mm3()]
}

/// Whether all voxel centres of `b` lie between the outermost ones of `a`.
fn holds(a: &DoseHeader, b: &DoseHeader) -> bool {
    let (Some(a), Some(b)) = (&a.grid, &b.grid) else { return false };
    let [planes, rows, columns] = b.shape();
    let last = [planes - 1, rows - 1, columns - 1];
    (0..8).all(|i: usize| {
        let corner = [0, 1, 2].map(|axis| if i >> axis & 1 == 1 { last[axis] } else { 0 });
        a.contains(b.position(corner))
    })
}
