//! The largest voxel of each block of cells: most of a grid lies far below any dose that is looked
//! for, and is passed over block by block.

use std::ops::Range;

use ndarray::{Array3, Axis};

/// Cells of a block along each axis.
const CELLS: usize = 8;

/// Largest voxels, Gy, block by block.
#[derive(Debug, Clone)]
pub(super) struct Peaks(Array3<f32>);

impl Peaks {
    pub(super) fn of(values: &Array3<f32>) -> Self {
        let (planes, rows, columns) = values.dim();
        let blocks = |nodes: usize| nodes.saturating_sub(1).div_ceil(CELLS).max(1);
        let shape = [planes, rows, columns].map(blocks);
        let mut out = Array3::from_elem(shape, f32::NEG_INFINITY);
        let mut of_row = vec![f32::NEG_INFINITY; shape[2]];
        for (k, plane) in values.outer_iter().enumerate() {
            for (i, row) in plane.outer_iter().enumerate() {
                for (block, most) in of_row.iter_mut().enumerate() {
                    // A voxel between two blocks belongs to the cells of both.
                    let own = block * CELLS..(block * CELLS + CELLS + 1).min(columns);
                    let voxels = row.slice_axis(Axis(0), own.into());
                    *most =
                        voxels.fold(f32::NEG_INFINITY, |most, v| if *v > most { *v } else { most });
                }
                for k in blocks_of(k, shape[0]) {
                    for i in blocks_of(i, shape[1]) {
                        let blocks = out.index_axis_mut(Axis(0), k);
                        let blocks = blocks.index_axis_move(Axis(0), i);
                        blocks.into_iter().zip(&of_row).for_each(|(b, own)| *b = b.max(*own));
                    }
                }
            }
        }
        Self(out)
    }

    /// Largest voxel of all, Gy.
    pub(super) fn largest(&self) -> f64 {
        f64::from(self.0.iter().copied().fold(f32::NEG_INFINITY, f32::max))
    }

    /// Largest voxel of the block that a cell lies in, Gy; infinite beyond the last cell of an axis.
    pub(super) fn about(&self, cell: [usize; 3]) -> f64 {
        self.0.get(cell.map(|index| index / CELLS)).map_or(f64::INFINITY, |most| f64::from(*most))
    }

    /// Largest voxel of all blocks with a corner or a cell of these indices, Gy.
    pub(super) fn among(&self, indices: &[Range<usize>; 3]) -> f64 {
        let (planes, rows, columns) = self.0.dim();
        let counts = [planes, rows, columns];
        let [planes, rows, columns] = [0, 1, 2].map(|a| {
            let last = indices[a].end.saturating_sub(1) / CELLS;
            (indices[a].start / CELLS).min(counts[a] - 1)..(last + 1).min(counts[a])
        });
        let mut most = f32::NEG_INFINITY;
        for k in planes {
            for i in rows.clone() {
                for j in columns.clone() {
                    let here = self.0[[k, i, j]];
                    if here > most {
                        most = here;
                    }
                }
            }
        }
        f64::from(most)
    }

    /// The first column after `column` that lies in another block.
    pub(super) const fn next_block(column: usize) -> usize {
        (column / CELLS + 1) * CELLS
    }
}

/// The blocks that a voxel is a corner of.
fn blocks_of(node: usize, blocks: usize) -> Range<usize> {
    let own = (node / CELLS).min(blocks - 1);
    let first = if node.is_multiple_of(CELLS) { own.saturating_sub(1) } else { own };
    // The last voxel of an axis begins no cell.
    first.min(own)..own + 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_cell_has_a_larger_corner_than_its_block() {
        let values = Array3::from_shape_fn([17, 9, 21], |(k, i, j)| {
            #[allow(clippy::cast_precision_loss)]
            let value = ((k * 73 + i * 31 + j * 57) % 101) as f32;
            value
        });
        let peaks = Peaks::of(&values);
        let mut equal = 0;
        for (k, i, j) in ndarray::indices([16, 8, 20]) {
            let mut most = f32::NEG_INFINITY;
            for corner in 0..8 {
                let node = [k + (corner & 1), i + (corner >> 1 & 1), j + (corner >> 2)];
                most = most.max(values[node]);
            }
            let most = f64::from(most);
            assert!(peaks.about([k, i, j]) >= most);
            assert!(peaks.among(&[k..k + 1, i..i + 1, j..j + 1]) >= most);
            equal += usize::from(peaks.about([k, i, j]) == most);
        }
        assert!(equal > 0);
        assert_eq!(peaks.among(&[0..17, 0..9, 0..21]), 100.0);
        assert_eq!(peaks.largest(), 100.0);
        assert_eq!(Peaks::next_block(8), 16);
    }
}
