//! Doses for the tests of this room: a formula on a grid that favours no voxel.

use ndarray::Array3;

use super::{DoseField, Interpolation};
use crate::geometry::{Grid, Point};
use crate::rt::Dose;
use crate::units::Gray;

/// A dose of the formula at voxels 1 mm apart, `half` of them on either side of the middle.
pub(super) fn field(f: impl Fn(Point) -> f64, half: i32) -> DoseField {
    let n = usize::try_from(2 * half + 1).unwrap();
    let o = -f64::from(half) + 0.3;
    let grid = Grid::new(
        [o, o + 0.1, o - 0.2],
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]],
        [1.0, 1.0],
        (0..=2 * half).map(f64::from).collect(),
        [n, n],
    )
    .unwrap();
    #[allow(clippy::cast_possible_truncation)]
    let values =
        Array3::from_shape_fn(grid.shape(), |(k, i, j)| f(grid.position([k, i, j])) as f32);
    DoseField::new(Dose { grid, values, step: Gray::gy(1e-6) }, Interpolation::CubicBSpline)
}
