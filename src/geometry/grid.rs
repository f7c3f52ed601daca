//! A stack of parallel planes of equally spaced rows and columns, anywhere in space: where the
//! centre of each voxel lies, and which fractional index a point has.

use super::point::{Point, add, cross, dot, scale, sub};

/// Where the voxels of an array `[plane, row, column]` are.
///
/// The centre of voxel `(k, i, j)` is
/// `origin + offsets[k]·normal + i·row_spacing·column_direction + j·column_spacing·row_direction`
/// (DICOM PS3.3 C.7.6.2.1.1 with the Grid Frame Offset Vector of C.8.8.3.2). The origin is the
/// centre of voxel (0, 0, 0) and offset 0 is 0, in whichever order the planes were stored: a grid
/// stored from the other end is the same grid.
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

/// A point this share of a voxel outside of the outermost voxel centres still lies between them:
/// positions and spacings are rounded to decimal strings.
const ROUNDING: f64 = 1e-3;

impl Grid {
    /// Builds a grid.
    ///
    /// * `origin`: centre of the first voxel of the plane at offset 0, mm; that plane need not be the
    ///   first, nor exist
    /// * `directions`: unit vectors along a row (column index grows) and down a column (row index
    ///   grows)
    /// * `spacing_mm`: between rows, then between columns, as DICOM Pixel Spacing
    /// * `offsets_mm`: of each plane along `row × column`, strictly increasing; its length is the
    ///   number of planes. They may begin anywhere: planes stored from the far end to the near one
    ///   run from −h to 0
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
        let normal = cross(r, c);
        // Everybody may rely on offset 0 being 0; of grids that begin there no digit changes.
        let first = offsets_mm[0];
        Ok(Self {
            origin: if first == 0.0 { origin } else { add(origin, scale(normal, first)) },
            row_direction: r,
            column_direction: c,
            normal,
            spacing_mm,
            offsets_mm: offsets_mm.into_iter().map(|offset| offset - first).collect(),
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

    /// Offset of each plane along the normal from the first one, mm, increasing from 0.
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

    /// Position of a point along plane normal (mm from the first plane), in rows and in columns
    /// (fractional indices).
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

    /// Volume of a voxel between planes of typical distance, mm³.
    #[must_use]
    pub fn voxel_mm3(&self) -> f64 {
        self.plane_spacing_mm() * self.spacing_mm[0] * self.spacing_mm[1]
    }

    /// Distances between the outermost voxel centres: across the planes in mm, down the columns
    /// and along the rows in voxels.
    #[must_use]
    pub fn ends(&self) -> [f64; 3] {
        #[allow(clippy::cast_precision_loss)] // a row index is far below 2^52
        let last = |n: usize| n as f64 - 1.0;
        [self.offsets_mm.last().copied().unwrap_or(0.0), last(self.shape[1]), last(self.shape[2])]
    }

    /// Whether a point lies between the outermost voxel centres, give or take a thousandth of a
    /// voxel.
    #[must_use]
    pub fn contains(&self, point: Point) -> bool {
        let slack = [ROUNDING * self.plane_spacing_mm(), ROUNDING, ROUNDING];
        let (at, ends) = (self.local(point), self.ends());
        (0..3).all(|a| (-slack[a]..=ends[a] + slack[a]).contains(&at[a]))
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

    /// Planes stored from the far end to the near one: the same voxels, the same grid.
    #[test]
    fn a_grid_stored_from_the_other_end_is_the_same_grid() {
        let d = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let grid = |z: f64, offsets| Grid::new([4.0, 5.0, z], d, [2.0, 3.0], offsets, [10, 10]);
        let up = grid(6.0, vec![0.0, 2.0, 5.0]).unwrap();
        let down = grid(11.0, vec![-5.0, -3.0, 0.0]).unwrap();
        assert_eq!(down, up);
        assert_eq!(down.position([0, 0, 0]), [4.0, 5.0, 6.0]);
        assert_eq!(down.offsets_mm(), [0.0, 2.0, 5.0]);
        assert_eq!(up.ends(), [5.0, 9.0, 9.0]);
        // Gaps of 2 and 3 mm: the larger one is the median of two.
        assert_eq!(up.voxel_mm3(), 18.0);
        for g in [&up, &down] {
            // Rows are 2 mm apart (y from 5 to 23), columns 3 mm (x from 4 to 31).
            assert!(g.contains([4.0, 5.0, 6.0]) && g.contains([31.0, 23.0, 11.0]));
            assert!(g.contains([3.998, 22.0, 10.0]), "a thousandth of 3 mm is rounding");
            for outside in [
                [3.99, 5.0, 8.0],
                [31.1, 5.0, 8.0],
                [4.0, 4.9, 8.0],
                [4.0, 5.0, 5.9],
                [4.0, 5.0, 11.1],
            ] {
                assert!(!g.contains(outside), "{outside:?}");
            }
        }
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
