//! A stack of parallel planes of equally spaced rows and columns, anywhere in space: where the
//! centre of each voxel lies, and which fractional index a point has.

use super::point::{Point, add, cross, dot, scale, sub};

/// Where the voxels of an array `[plane, row, column]` are.
///
/// The centre of voxel `(k, i, j)` is
/// `origin + offsets[k]·normal + i·row_spacing·column_direction + j·column_spacing·row_direction`
/// (DICOM PS3.3 C.7.6.2.1.1 with the Grid Frame Offset Vector of C.8.8.3.2).
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    origin: Point,
    row_direction: Point,
    column_direction: Point,
    normal: Point,
    spacing_mm: [f64; 2],
    offsets_mm: Vec<f64>,
    shape: [usize; 3],
}

/// Why a [`Grid`] cannot be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GridError {
    /// The two directions are not unit vectors at a right angle.
    #[error("row and column directions are not perpendicular unit vectors (off by {0:.2e})")]
    Directions(f64),
    /// A spacing is zero, negative or not a number.
    #[error("spacing {0} mm is not positive")]
    Spacing(f64),
    /// Plane offsets do not strictly increase.
    #[error("plane offsets do not strictly increase at plane {0}")]
    Offsets(usize),
    /// No plane, row or column.
    #[error("the grid has no voxels")]
    Empty,
}

/// Largest departure of the direction cosines from an orthonormal pair that is accepted (rounded
/// decimal strings of 16 characters stay far below it).
pub const DIRECTION_TOLERANCE: f64 = 1e-3;

impl Grid {
    /// Builds a grid.
    ///
    /// * `origin`: centre of voxel (0, 0, 0), mm
    /// * `directions`: unit vectors along a row (column index grows) and down a column (row index
    ///   grows)
    /// * `spacing_mm`: between rows, then between columns, as DICOM Pixel Spacing
    /// * `offsets_mm`: of each plane along `row × column`, strictly increasing; its length is the
    ///   number of planes
    /// * `rows_columns`: number of rows and of columns
    ///
    /// # Errors
    /// When the directions are not orthonormal within [`DIRECTION_TOLERANCE`], a spacing is not
    /// positive, offsets do not increase, or there is no voxel.
    pub fn new(
        origin: Point,
        directions: [Point; 2],
        spacing_mm: [f64; 2],
        offsets_mm: Vec<f64>,
        rows_columns: [usize; 2],
    ) -> Result<Self, GridError> {
        let [r, c] = directions;
        let off = (dot(r, r) - 1.0).abs().max((dot(c, c) - 1.0).abs()).max(dot(r, c).abs());
        if off.is_nan() || off > DIRECTION_TOLERANCE {
            return Err(GridError::Directions(off));
        }
        if let Some(bad) = spacing_mm.iter().find(|s| !(s.is_finite() && **s > 0.0)) {
            return Err(GridError::Spacing(*bad));
        }
        if let Some(k) = (1..offsets_mm.len()).find(|&k| {
            offsets_mm[k].partial_cmp(&offsets_mm[k - 1]) != Some(std::cmp::Ordering::Greater)
        }) {
            return Err(GridError::Offsets(k));
        }
        if offsets_mm.is_empty() || rows_columns.contains(&0) {
            return Err(GridError::Empty);
        }
        let r = scale(r, 1.0 / dot(r, r).sqrt());
        let c = sub(c, scale(r, dot(r, c)));
        let c = scale(c, 1.0 / dot(c, c).sqrt());
        let shape = [offsets_mm.len(), rows_columns[0], rows_columns[1]];
        Ok(Self {
            origin,
            row_direction: r,
            column_direction: c,
            normal: cross(r, c),
            spacing_mm,
            offsets_mm,
            shape,
        })
    }

    /// Number of planes, rows and columns.
    #[must_use]
    pub const fn shape(&self) -> [usize; 3] {
        self.shape
    }

    /// Distance between rows and between columns, mm.
    #[must_use]
    pub const fn spacing_mm(&self) -> [f64; 2] {
        self.spacing_mm
    }

    /// Offset of each plane along the normal, mm, increasing.
    #[must_use]
    pub fn offsets_mm(&self) -> &[f64] {
        &self.offsets_mm
    }

    /// Unit vectors across the planes, down the columns and along the rows: the directions in
    /// which plane, row and column index grow.
    #[must_use]
    pub const fn directions(&self) -> [Point; 3] {
        [self.normal, self.column_direction, self.row_direction]
    }

    /// Centre of voxel `[plane, row, column]`, mm. The indices must lie inside [`Self::shape`].
    #[must_use]
    pub fn position(&self, index: [usize; 3]) -> Point {
        #[allow(clippy::cast_precision_loss)] // a row index is far below 2^52
        let (i, j) = (index[1] as f64, index[2] as f64);
        let along = add(
            scale(self.column_direction, i * self.spacing_mm[0]),
            scale(self.row_direction, j * self.spacing_mm[1]),
        );
        add(add(self.origin, scale(self.normal, self.offsets_mm[index[0]])), along)
    }

    /// Position of a point along plane normal (mm from the origin's plane), in rows and in
    /// columns (fractional indices).
    #[must_use]
    pub fn local(&self, point: Point) -> [f64; 3] {
        let q = sub(point, self.origin);
        [
            dot(q, self.normal),
            dot(q, self.column_direction) / self.spacing_mm[0],
            dot(q, self.row_direction) / self.spacing_mm[1],
        ]
    }

    /// Typical distance between planes (median), mm; the larger pixel spacing when there is one
    /// plane only.
    #[must_use]
    pub fn plane_spacing_mm(&self) -> f64 {
        let mut gaps: Vec<f64> = self.offsets_mm.windows(2).map(|w| w[1] - w[0]).collect();
        gaps.sort_by(f64::total_cmp);
        gaps.get(gaps.len() / 2).copied().unwrap_or(self.spacing_mm[0].max(self.spacing_mm[1]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked example of DICOM PS3.3 C.8.8.3.2: position (4, 5, 6) and 2 mm planes put the
    /// planes at z = 6, 8, 10.
    #[test]
    fn planes_of_the_standards_example() {
        let g = Grid::new(
            [4.0, 5.0, 6.0],
            [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]],
            [2.0, 3.0],
            vec![0.0, 2.0, 4.0],
            [10, 10],
        )
        .unwrap();
        assert_eq!(g.position([0, 0, 0]), [4.0, 5.0, 6.0]);
        assert_eq!(g.position([2, 1, 2]), [10.0, 7.0, 10.0]);
        assert_eq!(g.local([10.0, 7.0, 10.0]), [4.0, 1.0, 2.0]);
        assert_eq!(g.plane_spacing_mm(), 2.0);
    }

    #[test]
    fn contradictions_are_refused() {
        let d = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let o = [0.0; 3];
        assert!(matches!(
            Grid::new(o, [d[0], d[0]], [1.0, 1.0], vec![0.0], [1, 1]),
            Err(GridError::Directions(_))
        ));
        assert_eq!(Grid::new(o, d, [0.0, 1.0], vec![0.0], [1, 1]), Err(GridError::Spacing(0.0)));
        assert_eq!(Grid::new(o, d, [1.0, 1.0], vec![0.0, 0.0], [1, 1]), Err(GridError::Offsets(1)));
        assert_eq!(Grid::new(o, d, [1.0, 1.0], vec![0.0], [0, 1]), Err(GridError::Empty));
    }
}
