//! Doses for the tests of this room: a formula on a grid that favours no voxel.

use std::f64::consts::TAU;

use ndarray::Array3;

use super::{DoseField, Interpolation};
use tidydose_geometry::occupancy::Occupancy;
use tidydose_geometry::slab::{Spacing, slabs};
use tidydose_geometry::smooth::{Variant, closed_caps};
use tidydose_geometry::units::Gray;
use tidydose_geometry::{Combine, Grid, PlaneStack, Point};
use tidydose_rt::Dose;

/// A dose of the formula at voxels 1 mm apart, `half` of them on either side of the middle.
pub(super) fn field(f: impl Fn(Point) -> f64, half: i32) -> DoseField {
    field_by(Interpolation::CubicBSpline, f, half)
}

/// The same by another interpolation.
pub(super) fn field_by(method: Interpolation, f: impl Fn(Point) -> f64, half: i32) -> DoseField {
    let n = usize::try_from(2 * half + 1).unwrap();
    let o = -f64::from(half) + 0.3;
    on(method, f, ([o, o + 0.1, o - 0.2], n), (0..=2 * half).map(f64::from).collect())
}

/// The same with planes 1 and 2 mm apart in turn, 10 mm on either side of the middle.
pub(super) fn uneven(method: Interpolation, f: impl Fn(Point) -> f64) -> DoseField {
    let offsets = (0..14).map(|k| 1.5 * f64::from(k) + f64::from(k % 2) * 0.5).collect();
    on(method, f, ([-10.0, -10.1, -9.8], 21), offsets)
}

/// A dose on so many rows and columns, 1 mm apart, and planes at these offsets.
fn on(
    method: Interpolation,
    f: impl Fn(Point) -> f64,
    (origin, n): (Point, usize),
    offsets: Vec<f64>,
) -> DoseField {
    let directions = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
    let grid = Grid::new(origin, directions, [1.0; 2], offsets, [n, n]).unwrap();
    #[allow(clippy::cast_possible_truncation)]
    let values =
        Array3::from_shape_fn(grid.shape(), |(k, i, j)| f(grid.position([k, i, j])) as f32);
    DoseField::new(Dose { grid, values, step: Gray::gy(1e-6) }, method)
}

/// A round dose about a point on the first axis: largest dose and width.
pub(super) fn gaussian(x: f64, d0: f64, s: f64) -> impl Fn(Point) -> f64 {
    move |p| {
        let r2 = (p[0] - x).powi(2) + p[1] * p[1] + p[2] * p[2];
        d0 * (-r2 / (2.0 * s * s)).exp()
    }
}

/// A ball about a point on the first axis, from contours.
pub(super) fn ball(x: f64, r: f64) -> Occupancy {
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
