//! The surface of a solid, from the shares of cells that it fills: triangles where the share passes
//! one half (marching tetrahedra). Counting the faces of cells would find a ball's surface half as
//! large again; the triangles follow it, whatever its direction, with an error that falls with the
//! square of the cells.

use std::cmp::Ordering;

use super::ball_radius_mm;
use super::march;
use super::occupancy::Occupancy;
use super::pieces::Pieces;
use super::point::{self, Point};

/// The surface of a solid.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Surface {
    /// Area, mm².
    pub area_mm2: f64,
    /// Points of it, about one for each cell, mm.
    pub points: Vec<Point>,
}

impl Surface {
    /// The surface of a solid; empty without volume.
    #[must_use]
    pub fn of(solid: &Occupancy) -> Self {
        let mut out = Self::default();
        let Self { area_mm2, points } = &mut out;
        march::surface(
            solid,
            |p| points.push(p),
            |[p, q, r]| {
                let normal = point::cross(point::sub(q, p), point::sub(r, p));
                *area_mm2 += point::length(normal) / 2.0;
            },
        );
        out
    }

    /// Largest distance between two of its points, mm; 0 without points.
    #[must_use]
    pub fn longest_mm(&self) -> f64 {
        let mut best = 0.0_f64;
        for i in 0..DIRECTIONS {
            let (mut direction, mut before) = (spread_direction(i), -1.0);
            // From the extremes along a direction to those along the line between them.
            while let Some((a, b)) = self.extremes(direction) {
                let across = point::sub(b, a);
                let length = point::length(across);
                if length <= before + 1e-9 {
                    break;
                }
                (before, best) = (length, best.max(length));
                let Some(next) = point::unit(across) else { break };
                if length < best * (1.0 - 1e-3) {
                    break;
                }
                direction = next;
            }
        }
        best
    }

    fn extremes(&self, direction: Point) -> Option<(Point, Point)> {
        let mut found: Option<([f64; 2], [Point; 2])> = None;
        for p in &self.points {
            let x = point::dot(*p, direction);
            let (range, ends) = found.get_or_insert(([x; 2], [*p; 2]));
            if x < range[0] {
                (range[0], ends[0]) = (x, *p);
            }
            if x > range[1] {
                (range[1], ends[1]) = (x, *p);
            }
        }
        found.map(|(_, [a, b])| (a, b))
    }
}

/// Directions along which the longest chord is looked for.
const DIRECTIONS: u32 = 32;

/// Directions spread evenly over a half-sphere, by the golden angle.
fn spread_direction(i: u32) -> Point {
    let z = (f64::from(i) + 0.5) / f64::from(DIRECTIONS);
    let angle = f64::from(i) * std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    let r = (1.0 - z * z).sqrt();
    [r * angle.cos(), r * angle.sin(), z]
}

/// A surface with the middle of its solid, for distances from far points.
#[derive(Debug, Clone, PartialEq)]
pub struct Shell {
    points: Pieces<Point>,
    centre: Point,
    /// Smallest and largest distance of the surface from the centre, mm.
    radii: [f64; 2],
    /// How far the points lie inside the surface for its curvature, on average, mm.
    inward_mm: f64,
}

/// Variance of the smoothed shares of a flat surface, in squares of a cell: by so much over the
/// radius a curved surface is drawn inward.
pub(super) const VARIANCE: f64 = 1.0 / 12.0 + 1.0 / 2.0;

impl Shell {
    /// The shell of a solid; absent without volume.
    #[must_use]
    pub fn of(solid: &Occupancy) -> Option<Self> {
        let centre = solid.centroid()?;
        let mut points = Vec::new();
        march::points(solid, |p| points.push(p));
        let radius = ball_radius_mm(solid.volume_mm3());
        let inward_mm = VARIANCE * solid.pitch_mm * solid.pitch_mm / radius;
        let distance = |p: &Point| point::length(point::sub(*p, centre)) + inward_mm;
        let fold = |f: fn(f64, f64) -> f64| points.iter().map(distance).reduce(f);
        let radii = [fold(f64::min)?, fold(f64::max)?];
        let points = Pieces::new(points, solid.pitch_mm);
        Some(Self { points, centre, radii, inward_mm })
    }

    /// The middle of the solid.
    #[must_use]
    pub const fn centre(&self) -> Point {
        self.centre
    }

    /// Largest distance of the surface from the middle, mm.
    #[must_use]
    pub const fn reach_mm(&self) -> f64 {
        self.radii[1]
    }

    /// Bounds of the distance from a point to the surface of a solid that holds its own centre, mm.
    #[must_use]
    pub fn about_mm(&self, p: Point) -> [f64; 2] {
        let d = point::length(point::sub(p, self.centre));
        [(d - self.radii[1]).max(0.0), (d - self.radii[0]).abs().max(0.0)]
    }

    /// Distance from a point to the surface, mm.
    #[must_use]
    pub fn distance_mm(&self, p: Point) -> f64 {
        let nearest = self.points.distance_2(p).unwrap_or(f64::INFINITY).sqrt();
        (nearest - self.inward_mm).max(0.0)
    }

    /// Whether the surface is nearer to a point than the first of two distances (less), farther away
    /// than the second (greater), or neither, mm. Quicker than the distance.
    #[must_use]
    pub fn compare(&self, p: Point, distances_mm: [f64; 2]) -> Ordering {
        let square = |mm: f64| if mm > 0.0 { (mm + self.inward_mm).powi(2) } else { -1.0 };
        self.points.compare(p, distances_mm.map(square))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::slab::{Spacing, slabs};
    use crate::smooth::{Variant, closed_caps};
    use crate::{Combine, PlaneStack};
    use std::f64::consts::{PI, TAU};

    fn solid(outline: impl Fn(f64) -> Option<Vec<[f64; 2]>>, offset: f64, pitch: f64) -> Occupancy {
        let curves: Vec<Vec<Point>> = (-30..=30)
            .filter_map(|k| {
                let z = f64::from(k) + offset;
                Some(outline(z)?.into_iter().map(|p| [p[0], p[1], z]).collect())
            })
            .collect();
        let stack = PlaneStack::build(&curves, Combine::Nested).unwrap();
        let slabs = slabs(&stack, Spacing::default()).unwrap();
        closed_caps(&stack, &slabs, Spacing::default(), pitch, Variant::default())
    }

    fn circle(r: f64) -> Vec<[f64; 2]> {
        let point = |i: i32| {
            let a = f64::from(i) * TAU / 200.0;
            [0.2 + r * a.cos(), 0.1 + r * a.sin()]
        };
        (0..200).map(point).collect()
    }

    /// 4πr² and 2r: smoothing over 0.76 cells moves a sphere of 18 cells inward by
    /// 0.58/18 of a cell, which takes 0.4 % of the area; 2r to a tenth of a cell.
    #[test]
    fn the_surface_of_a_ball() {
        for (r, offset) in [(2.0, 0.3), (5.0, 0.05), (12.0, 0.5)] {
            let ball = |z: f64| (z.abs() < r).then(|| circle((r * r - z * z).sqrt()));
            let s = Surface::of(&solid(ball, offset, r / 18.0));
            let area = s.area_mm2 / (4.0 * PI * r * r);
            println!("ball {r}: {area} {}", s.longest_mm() / (2.0 * r));
            assert!((area - 1.0).abs() < 0.01, "{r}: {area}");
            assert!((s.longest_mm() / (2.0 * r) - 1.0).abs() < 6e-3, "{r}: {}", s.longest_mm());
        }
    }

    /// Edges are rounded over two cells, which takes three quarters of a cell of each edge: 4.2 % of
    /// a box of 36 cells, 2.8 % of a cylinder. The bounds allow for it: coarse cells lose twice that.
    #[test]
    fn the_surfaces_of_a_cylinder_and_a_box() {
        let high = |z: f64| z.abs() <= 11.6;
        let cylinder = |z: f64| high(z).then(|| circle(12.0));
        let s = Surface::of(&solid(cylinder, 0.5, 12.0 / 18.0));
        let exact = 2.0 * PI * 144.0 + TAU * 12.0 * 24.0;
        println!("cylinder {}", s.area_mm2 / exact);
        assert!((s.area_mm2 / exact - 1.0).abs() < 0.035, "{}", s.area_mm2 / exact);
        let square = vec![[-12.0, -12.0], [12.0, -12.0], [12.0, 12.0], [-12.0, 12.0]];
        let s = Surface::of(&solid(|z| high(z).then(|| square.clone()), 0.5, 12.0 / 18.0));
        let exact = 6.0 * 24.0 * 24.0;
        println!("box {}", s.area_mm2 / exact);
        assert!((s.area_mm2 / exact - 1.0).abs() < 0.05, "{}", s.area_mm2 / exact);
        // A right-angled corner is rounded by 1.3 cells along its diagonal, at both ends.
        let longest = s.longest_mm();
        let rounded = 2.0 * 1.3 * 12.0 / 18.0;
        assert!((longest - 24.0 * 3.0_f64.sqrt()).abs() < rounded, "{longest}");
    }

    #[test]
    fn distances_from_a_shell() {
        let ball = |z: f64| (z.abs() < 5.0).then(|| circle((25.0 - z * z).sqrt()));
        let shell = Shell::of(&solid(ball, 0.3, 0.28)).unwrap();
        for p in [[20.2, 0.1, 0.0], [0.2, 0.1, 9.0], [3.2, 4.1, 12.0]] {
            let exact = point::length(point::sub(p, [0.2, 0.1, 0.0])) - 5.0;
            let [least, most] = shell.about_mm(p);
            let got = shell.distance_mm(p);
            assert!((got - exact).abs() < 0.03, "{got} {exact}");
            let by = |mm: [f64; 2]| shell.compare(p, mm.map(|mm| got + mm));
            assert_eq!(by([-1e-9, 1e-9]), Ordering::Equal);
            assert_eq!(by([1e-9, 1e-9]), Ordering::Less);
            assert_eq!(by([-2.0, -1e-9]), Ordering::Greater);
            assert_eq!(by([-99.0, -99.0]), Ordering::Greater);
            assert!(least <= got + 1e-9 && got <= most + 1e-9, "{least} {got} {most}");
        }
        assert_eq!(Surface::default().longest_mm(), 0.0);
    }
}
