//! The surface of an isodose as points, and how far a place lies from it. Knows no structure.

use tidydose_dose::DoseField;
use tidydose_geometry::Point;
use tidydose_geometry::point::{add, distance_2, dot, length, midpoint, scale, sub};

/// Halvings of a way between two voxel centres until the isodose is found: a voxel of 3 mm to
/// 0.001 mm.
const HALVINGS: usize = 12;
/// Steps by which the nearest point slides along the surface. Each squares the error of a surface
/// that is smooth over a voxel; the ninth no longer moved it in any dose that was tried.
const SLIDES: usize = 8;
/// A step along the surface is no longer than this, mm.
const FAR_MM: f64 = 2.0;
/// Steps back to the surface, at most, and how near counts as on it, mm.
const RETURNS: usize = 6;
const ON_SURFACE_MM: f64 = 0.002;
/// Half the way over which a slope is taken, mm.
const SLOPE_MM: f64 = 0.1;

/// Where the dose crosses a value: one point on each way between neighbouring voxel centres that it
/// crosses.
pub(super) struct IsodoseSurface<'a> {
    field: &'a DoseField,
    dose_gy: f64,
    points: Vec<Point>,
}

impl<'a> IsodoseSurface<'a> {
    /// The isodose `dose_gy` of a dose; absent where the dose crosses it nowhere.
    pub(super) fn of(field: &'a DoseField, dose_gy: f64) -> Option<Self> {
        let values = field.values();
        let (planes, rows, columns) = values.dim();
        let axes = field.axes();
        // A thinned dose has nodes at some of the voxels only.
        let position = |at: [usize; 3]| field.point([0, 1, 2].map(|a| axes[a].node(at[a])));
        let above = |at: [usize; 3]| values.get(at).is_some_and(|v| f64::from(*v) >= dose_gy);
        let mut surface = Self { field, dose_gy, points: Vec::new() };
        for k in 0..planes {
            for i in 0..rows {
                for j in 0..columns {
                    let own = above([k, i, j]);
                    for next in [[k + 1, i, j], [k, i + 1, j], [k, i, j + 1]] {
                        let inside = next[0] < planes && next[1] < rows && next[2] < columns;
                        if inside && above(next) != own {
                            let ends = [[k, i, j], next].map(position);
                            surface.points.push(surface.crossing(ends, own));
                        }
                    }
                }
            }
        }
        (!surface.points.is_empty()).then_some(surface)
    }

    /// Where the dose crosses the value between two points of which the first lies `above` it.
    fn crossing(&self, [mut a, mut b]: [Point; 2], above: bool) -> Point {
        for _ in 0..HALVINGS {
            let middle = midpoint(a, b);
            if self.is_above(middle) == above {
                a = middle;
            } else {
                b = middle;
            }
        }
        midpoint(a, b)
    }

    fn is_above(&self, p: Point) -> bool {
        self.field.at(p).is_some_and(|dose| dose >= self.dose_gy)
    }

    /// Distance of a point from the nearest point of the surface, mm: negative where the point
    /// receives the dose. Absent outside the grid.
    pub(super) fn signed_mm(&self, p: Point) -> Option<f64> {
        let dose = self.field.at(p)?;
        let start = self.nearest(p)?;
        let distance = length(sub(self.slid(p, start), p));
        Some(if dose >= self.dose_gy { -distance } else { distance })
    }

    /// The smallest signed distance of several points, mm; absent where none lies in the grid.
    pub(super) fn least_signed_mm(&self, points: &[Point]) -> Option<f64> {
        let mut best: Option<(f64, Point)> = None;
        for p in points {
            let (Some(dose), Some(near)) = (self.field.at(*p), self.nearest(*p)) else { continue };
            let rough = length(sub(near, *p));
            let rough = if dose >= self.dose_gy { -rough } else { rough };
            if best.is_none_or(|(least, _)| rough < least) {
                best = Some((rough, *p));
            }
        }
        self.signed_mm(best?.1)
    }

    fn nearest(&self, p: Point) -> Option<Point> {
        let by_distance =
            |a: &&Point, b: &&Point| distance_2(**a, p).total_cmp(&distance_2(**b, p));
        self.points.iter().min_by(by_distance).copied()
    }

    /// The point of the surface nearest to `p` that lies near `start`: the foot on the tangent plane,
    /// brought back to the surface along the slope, again and again as long as that is nearer.
    fn slid(&self, p: Point, start: Point) -> Point {
        let mut at = start;
        for _ in 0..SLIDES {
            let Some(next) = self.slide(p, at) else { break };
            if distance_2(next, p) >= distance_2(at, p) {
                break;
            }
            at = next;
        }
        at
    }

    fn slide(&self, p: Point, at: Point) -> Option<Point> {
        let slope = self.slope(at)?;
        let steep = dot(slope, slope);
        // A flat dose has no surface to slide along.
        if steep <= 0.0 {
            return None;
        }
        let foot = add(p, scale(slope, dot(sub(at, p), slope) / steep));
        let way = sub(foot, at);
        // Beyond a voxel or so the tangent plane tells nothing.
        let part = (FAR_MM / length(way).max(FAR_MM)).min(1.0);
        self.brought_back(add(at, scale(way, part)))
    }

    /// The point brought to the surface along the slope; absent where that does not arrive.
    fn brought_back(&self, from: Point) -> Option<Point> {
        let mut at = from;
        for _ in 0..RETURNS {
            let slope = self.slope(at)?;
            let steep = dot(slope, slope);
            let off = self.dose_gy - self.field.at(at)?;
            if steep <= 0.0 {
                return None;
            }
            if off.abs() / steep.sqrt() < ON_SURFACE_MM {
                return Some(at);
            }
            at = add(at, scale(slope, off / steep));
        }
        None
    }

    fn slope(&self, p: Point) -> Option<Point> {
        let mut slope = [0.0; 3];
        for axis in 0..3 {
            let mut step = [0.0; 3];
            step[axis] = SLOPE_MM;
            let [less, more] = [self.field.at(sub(p, step))?, self.field.at(add(p, step))?];
            slope[axis] = (more - less) / (2.0 * SLOPE_MM);
        }
        Some(slope)
    }
}

#[cfg(test)]
mod tests {
    use ndarray::Array3;

    use super::*;
    use tidydose_dose::Interpolation;
    use tidydose_geometry::Grid;
    use tidydose_geometry::units::Gray;
    use tidydose_rt::Dose;

    /// A Gaussian of 30 Gy and 8 mm about a point off the voxel centres: its isodoses are spheres.
    #[test]
    fn distances_from_a_sphere() {
        let centre = [0.4, -0.3, 0.7];
        let offsets = (0..31).map(|k| 2.0 * f64::from(k)).collect();
        let axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let grid = Grid::new([-30.0; 3], axes, [2.0; 2], offsets, [31, 31]).unwrap();
        let values = Array3::from_shape_fn(grid.shape(), |at| {
            let r2 = distance_2(grid.position(at.into()), centre);
            (30.0 * (-r2 / 128.0).exp()) as f32
        });
        let dose = Dose { grid, values, step: Gray::gy(1e-6) };
        let field = DoseField::new(dose, Interpolation::CubicBSpline);
        let radius: f64 = 11.0;
        let level = 30.0 * (-radius * radius / 128.0).exp();
        let surface = IsodoseSurface::of(&field, level).unwrap();
        for p in [[20.0, 3.0, 1.0], [2.0, 1.0, -3.0], [-5.0, 14.0, 9.0], [0.4, 10.0, 0.7]] {
            let truth = distance_2(p, centre).sqrt() - radius;
            let found = surface.signed_mm(p).unwrap();
            assert!((found - truth).abs() < 0.01, "{p:?}: {found} for {truth}");
        }
        let points = [[20.0, 0.0, 0.0], [15.4, -0.3, 0.7]];
        assert!((surface.least_signed_mm(&points).unwrap() - 4.0).abs() < 0.01);
        assert!(surface.signed_mm([500.0; 3]).is_none());
        assert!(IsodoseSurface::of(&field, 31.0).is_none());
    }
}
