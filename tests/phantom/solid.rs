//! Solids with exact truth: volume, membership, and the outline of the cut by any plane, with
//! every vertex on the true surface. Knows nothing of dose or DICOM.
//!
//! All lengths are mm, all volumes mm³, in the patient system (x left, y back, z head).

pub mod mask;
mod outline;

use std::f64::consts::PI;

use tidydose_geometry::Point;
use tidydose_geometry::point::{add, cross, dot, length, scale, sub};

use super::closed_form::{ball, lens};
use outline::{
    about, ball_exit, ellipse, exit_of_tube, farthest, lowest, nearest, quadric_exit, stretch,
    trace, two_discs,
};

/// A closed outline in one plane; vertices in order, the first not repeated.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// Vertices, mm.
    pub points: Vec<Point>,
    /// Whether the outline bounds a hole of the solid.
    pub hole: bool,
}

/// Parallel planes without end: plane 0 at `{p : p·normal = first}`, the others at distances that
/// repeat in turn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneStack {
    /// Unit normal.
    pub normal: Point,
    /// Distance between planes, mm.
    pub spacing: f64,
    /// Offset of plane 0 from the origin along the normal, mm.
    pub first: f64,
    /// What the distance from plane 0, 1, 2 ... to the next is as a multiple of the spacing, over
    /// and over.
    pub gaps: &'static [f64],
}

/// Planes that were not drawn at even distances: one, two or three spacings apart, in no order.
pub const UNEVEN: &[f64] = &[1.0, 3.0, 2.0, 1.0, 1.0, 2.0, 3.0, 3.0, 2.0, 2.0, 1.0, 3.0];

impl PlaneStack {
    /// Axial planes at `z = first + k·spacing`.
    pub fn axial(spacing: f64, first: f64) -> Self {
        Self { normal: [0.0, 0.0, 1.0], spacing, first, gaps: &[1.0] }
    }

    /// Offsets of the planes strictly between `low` and `high`, increasing.
    pub fn offsets(&self, low: f64, high: f64) -> Vec<f64> {
        let period = self.gaps.iter().sum::<f64>() * self.spacing;
        let from = ((low - self.first) / period).floor() as i64;
        let to = ((high - self.first) / period).ceil() as i64;
        let within = |k: usize| self.gaps[..k].iter().sum::<f64>() * self.spacing;
        let of_period =
            |p: i64| (0..self.gaps.len()).map(move |k| self.first + p as f64 * period + within(k));
        (from..=to).flat_map(of_period).filter(|o| *o > low && *o < high).collect()
    }
}

/// Three perpendicular unit vectors, the third along `direction` (need not be a unit vector).
pub fn axes_along(direction: Point) -> [Point; 3] {
    let w = scale(direction, 1.0 / length(direction));
    let other = if w[0].abs() < 0.8 { [1.0, 0.0, 0.0] } else { [0.0, 1.0, 0.0] };
    let u = sub(other, scale(w, dot(w, other)));
    let u = scale(u, 1.0 / length(u));
    [u, cross(w, u), w]
}

/// The coordinate axes turned about x, then y, then z by angles in degrees.
pub fn axes_turned(degrees: [f64; 3]) -> [Point; 3] {
    let turn = |p: Point, i: usize, j: usize, angle: f64| {
        let (s, c) = angle.to_radians().sin_cos();
        let mut q = p;
        q[i] = c * p[i] - s * p[j];
        q[j] = s * p[i] + c * p[j];
        q
    };
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(|a| {
        let a = turn(a, 1, 2, degrees[0]);
        let a = turn(a, 2, 0, degrees[1]);
        turn(a, 0, 1, degrees[2])
    })
}

/// The axes of the patient system.
pub const UPRIGHT: [Point; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

/// A solid.
#[derive(Debug, Clone, PartialEq)]
pub enum Solid {
    /// A ball.
    Ball { centre: Point, radius: f64 },
    /// An ellipsoid with semi-axes along three perpendicular unit vectors.
    Ellipsoid { centre: Point, axes: [Point; 3], semi: [f64; 3] },
    /// A cylinder; `axis` is a unit vector, `centre` lies at mid-height.
    Cylinder { centre: Point, axis: Point, radius: f64, height: f64 },
    /// A cone; `axis` points from base to apex, `centre` lies on it at mid-height.
    Cone { centre: Point, axis: Point, radius: f64, height: f64 },
    /// A box with edges along three perpendicular unit vectors.
    Box { centre: Point, axes: [Point; 3], edges: [f64; 3] },
    /// A ball with a concentric hole.
    Shell { centre: Point, outer: f64, inner: f64 },
    /// The union of two balls, apart or overlapping.
    TwoBalls { centres: [Point; 2], radii: [f64; 2] },
    /// All points within `radius` of the segment between two ends.
    Capsule { ends: [Point; 2], radius: f64 },
}

impl Solid {
    /// A ball.
    pub fn ball(centre: Point, radius: f64) -> Self {
        Self::Ball { centre, radius }
    }

    /// An ellipsoid along the patient axes.
    pub fn ellipsoid(centre: Point, semi: [f64; 3]) -> Self {
        Self::Ellipsoid { centre, axes: UPRIGHT, semi }
    }

    /// A cylinder about `axis`, which is made a unit vector.
    pub fn cylinder(centre: Point, axis: Point, radius: f64, height: f64) -> Self {
        Self::Cylinder { centre, axis: axes_along(axis)[2], radius, height }
    }

    /// A cone with its apex in the direction of `axis`, which is made a unit vector.
    pub fn cone(centre: Point, axis: Point, radius: f64, height: f64) -> Self {
        Self::Cone { centre, axis: axes_along(axis)[2], radius, height }
    }

    /// Exact volume, mm³.
    pub fn volume(&self) -> f64 {
        match self {
            Self::Ball { radius, .. } => ball(*radius),
            Self::Ellipsoid { semi, .. } => 4.0 / 3.0 * PI * semi[0] * semi[1] * semi[2],
            Self::Cylinder { radius, height, .. } => PI * radius * radius * height,
            Self::Cone { radius, height, .. } => PI * radius * radius * height / 3.0,
            Self::Box { edges, .. } => edges[0] * edges[1] * edges[2],
            Self::Shell { outer, inner, .. } => ball(*outer) - ball(*inner),
            Self::TwoBalls { centres: [a, b], radii: [p, q] } => {
                ball(*p) + ball(*q) - lens(*p, *q, length(sub(*a, *b)))
            }
            Self::Capsule { ends: [a, b], radius } => {
                ball(*radius) + PI * radius * radius * length(sub(*a, *b))
            }
        }
    }

    /// A point inside (for the shell: the centre of the hole; for two balls: of the first).
    pub fn centre(&self) -> Point {
        match self {
            Self::Ball { centre, .. }
            | Self::Ellipsoid { centre, .. }
            | Self::Cylinder { centre, .. }
            | Self::Cone { centre, .. }
            | Self::Box { centre, .. }
            | Self::Shell { centre, .. } => *centre,
            Self::TwoBalls { centres, .. } => centres[0],
            Self::Capsule { ends: [a, b], .. } => scale(add(*a, *b), 0.5),
        }
    }

    /// Whether the point belongs to the solid (its surface included).
    pub fn contains(&self, p: Point) -> bool {
        match self {
            Self::Ball { centre, radius } => length(sub(p, *centre)) <= *radius,
            Self::Ellipsoid { centre, axes, semi } => {
                let q = sub(p, *centre);
                (0..3).map(|i| (dot(q, axes[i]) / semi[i]).powi(2)).sum::<f64>() <= 1.0
            }
            Self::Cylinder { centre, axis, radius, height } => {
                let (h, rho) = about(sub(p, *centre), *axis);
                h.abs() <= 0.5 * height && rho <= *radius
            }
            Self::Cone { centre, axis, radius, height } => {
                let (h, rho) = about(sub(p, *centre), *axis);
                h >= -0.5 * height && rho <= radius * (0.5 - h / height)
            }
            Self::Box { centre, axes, edges } => {
                let q = sub(p, *centre);
                (0..3).all(|i| dot(q, axes[i]).abs() <= 0.5 * edges[i])
            }
            Self::Shell { centre, outer, inner } => {
                (*inner..=*outer).contains(&length(sub(p, *centre)))
            }
            Self::TwoBalls { centres, radii } => {
                (0..2).any(|i| length(sub(p, centres[i])) <= radii[i])
            }
            Self::Capsule { ends: [a, b], radius } => {
                let along = sub(*b, *a);
                let t = (dot(sub(p, *a), along) / dot(along, along)).clamp(0.0, 1.0);
                length(sub(sub(p, *a), scale(along, t))) <= *radius
            }
        }
    }

    /// Smallest and largest `p·normal` over the solid, mm; `normal` is a unit vector.
    pub fn extent(&self, normal: Point) -> [f64; 2] {
        let opposite = scale(normal, -1.0);
        [-self.support(opposite), self.support(normal)]
    }

    fn support(&self, n: Point) -> f64 {
        let of_ball = |c: Point, r: f64| dot(c, n) + r;
        let of_disc = |axis: Point, r: f64| r * (1.0 - dot(axis, n).powi(2)).max(0.0).sqrt();
        match self {
            Self::Ball { centre, radius } => of_ball(*centre, *radius),
            Self::Shell { centre, outer, .. } => of_ball(*centre, *outer),
            Self::TwoBalls { centres, radii } => {
                of_ball(centres[0], radii[0]).max(of_ball(centres[1], radii[1]))
            }
            Self::Capsule { ends, radius } => {
                of_ball(ends[0], *radius).max(of_ball(ends[1], *radius))
            }
            Self::Ellipsoid { centre, axes, semi } => {
                let square: f64 = (0..3).map(|i| (semi[i] * dot(axes[i], n)).powi(2)).sum();
                dot(*centre, n) + square.sqrt()
            }
            Self::Box { centre, axes, edges } => {
                dot(*centre, n)
                    + (0..3).map(|i| 0.5 * edges[i] * dot(axes[i], n).abs()).sum::<f64>()
            }
            Self::Cylinder { centre, axis, radius, height } => {
                dot(*centre, n) + 0.5 * height * dot(*axis, n).abs() + of_disc(*axis, *radius)
            }
            Self::Cone { centre, axis, radius, height } => {
                let up = 0.5 * height * dot(*axis, n);
                dot(*centre, n) + up.max(of_disc(*axis, *radius) - up)
            }
        }
    }

    /// Outlines of the cut by the plane `p·normal = offset`, with `vertices` vertices each (some
    /// more where the outline has corners). Empty when the plane misses the solid.
    ///
    /// Ellipses are closed form; the other outlines are traced by rays from inside, whose exits
    /// are closed form too, and every corner becomes a vertex.
    pub fn section(&self, normal: Point, offset: f64, vertices: usize) -> Vec<Outline> {
        let [low, high] = self.extent(normal);
        if !(low < offset && offset < high) {
            return Vec::new();
        }
        let solid = |points: Vec<Point>| Outline { points, hole: false };
        match self {
            Self::Ball { centre, radius } => {
                let s = [*radius; 3];
                ellipse(*centre, (UPRIGHT, s), (normal, offset), vertices)
                    .map(solid)
                    .into_iter()
                    .collect()
            }
            Self::Ellipsoid { centre, axes, semi } => {
                ellipse(*centre, (*axes, *semi), (normal, offset), vertices)
                    .map(solid)
                    .into_iter()
                    .collect()
            }
            Self::Shell { centre, outer, inner } => {
                let ring = |r: f64| ellipse(*centre, (UPRIGHT, [r; 3]), (normal, offset), vertices);
                let hole = ring(*inner).map(|points| Outline { points, hole: true });
                ring(*outer).map(solid).into_iter().chain(hole).collect()
            }
            Self::TwoBalls { centres, radii } => two_discs(
                self,
                [(centres[0], radii[0]), (centres[1], radii[1])],
                (normal, offset),
                vertices,
            ),
            _ => self.inner_point(normal, offset).map_or_else(Vec::new, |inside| {
                let [u, v, _] = axes_along(normal);
                let first = trace(self, inside, [u, v], vertices.max(90));
                // Again from the middle, stretched as the outline is, so that vertices spread.
                let (middle, frame) = stretch(&first, [u, v]);
                vec![solid(trace(self, middle, frame, vertices))]
            }),
        }
    }

    /// Outlines on every plane of the stack, plane by plane.
    pub fn sections(&self, stack: &PlaneStack, vertices: usize) -> Vec<Outline> {
        let [low, high] = self.extent(stack.normal);
        let planes = stack.offsets(low, high);
        planes.iter().flat_map(|o| self.section(stack.normal, *o, vertices)).collect()
    }

    /// Distance from an inner point to the surface along a unit vector, mm.
    pub fn reach(&self, from: Point, along: Point) -> f64 {
        self.exit(from, along).0
    }

    /// Distance from an inner point to the last surface point along a unit vector, and which face
    /// is met there.
    fn exit(&self, from: Point, along: Point) -> (f64, usize) {
        match self {
            Self::Cylinder { centre, axis, radius, height } => {
                let q = sub(from, *centre);
                nearest(&[
                    quadric_exit(q, along, *axis, (0.0, *radius)),
                    (0.5 * height - dot(q, *axis)) / dot(along, *axis),
                    (-0.5 * height - dot(q, *axis)) / dot(along, *axis),
                ])
            }
            Self::Cone { centre, axis, radius, height } => {
                let q = sub(from, *centre);
                nearest(&[
                    quadric_exit(q, along, *axis, (-radius / height, 0.5 * radius)),
                    (-0.5 * height - dot(q, *axis)) / dot(along, *axis),
                ])
            }
            Self::Box { centre, axes, edges } => {
                let q = sub(from, *centre);
                let face = |i: usize| {
                    let side = if i.is_multiple_of(2) { 0.5 } else { -0.5 };
                    (side * edges[i / 2] - dot(q, axes[i / 2])) / dot(along, axes[i / 2])
                };
                nearest(&[face(0), face(1), face(2), face(3), face(4), face(5)])
            }
            Self::TwoBalls { centres, radii } => farthest(&[
                ball_exit(sub(from, centres[0]), along, radii[0]),
                ball_exit(sub(from, centres[1]), along, radii[1]),
            ]),
            Self::Capsule { ends: [a, b], radius } => {
                let axis = axes_along(sub(*b, *a))[2];
                let height = length(sub(*b, *a));
                let tube = Self::cylinder(scale(add(*a, *b), 0.5), axis, *radius, height);
                let through = if tube.contains(from) { tube.exit(from, along).0 } else { 0.0 };
                let past_tube = exit_of_tube(sub(from, *a), along, axis, (*radius, height));
                farthest(&[
                    through.max(past_tube),
                    ball_exit(sub(from, *a), along, *radius),
                    ball_exit(sub(from, *b), along, *radius),
                ])
            }
            Self::Ball { centre, radius } | Self::Shell { centre, outer: radius, .. } => {
                (ball_exit(sub(from, *centre), along, *radius), 0)
            }
            Self::Ellipsoid { centre, axes, semi } => {
                let into = |p: Point| [0, 1, 2].map(|i| dot(p, axes[i]) / semi[i]);
                let (q, d) = (into(sub(from, *centre)), into(along));
                (ball_exit(q, scale(d, 1.0 / length(d)), 1.0) / length(d), 0)
            }
        }
    }

    /// Distance from the centre over distance to the surface in the same direction: convex, and
    /// below 1 inside.
    fn gauge(&self, p: Point) -> f64 {
        let q = sub(p, self.centre());
        let r = length(q);
        if r == 0.0 { 0.0 } else { r / self.exit(self.centre(), scale(q, 1.0 / r)).0 }
    }

    /// The point of the plane that lies deepest in the convex solid, if any lies in it.
    fn inner_point(&self, normal: Point, offset: f64) -> Option<Point> {
        let [u, v, n] = axes_along(normal);
        let foot = add(self.centre(), scale(n, offset - dot(self.centre(), n)));
        let at = |s: f64, t: f64| add(foot, add(scale(u, s), scale(v, t)));
        let reach = |a: Point| {
            let [low, high] = self.extent(a);
            [low - dot(foot, a), high - dot(foot, a)]
        };
        let row = |s: f64| lowest(&|t| self.gauge(at(s, t)), reach(v));
        let (s, _) = lowest(&|s| row(s).1, reach(u));
        let p = at(s, row(s).0);
        (self.gauge(p) < 1.0).then_some(p)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all() -> Vec<Solid> {
        let axes = axes_turned([20.0, -35.0, 50.0]);
        let c = [3.0, -4.0, 7.5];
        vec![
            Solid::ball(c, 5.0),
            Solid::Ellipsoid { centre: c, axes, semi: [2.0, 3.5, 5.0] },
            Solid::cylinder(c, axes[0], 4.0, 9.0),
            Solid::cone(c, axes[1], 4.0, 9.0),
            Solid::Box { centre: c, axes, edges: [4.0, 6.0, 9.0] },
            Solid::Shell { centre: c, outer: 6.0, inner: 3.0 },
            Solid::TwoBalls { centres: [c, add(c, scale(axes[2], 6.0))], radii: [4.0, 5.0] },
            Solid::Capsule { ends: [c, add(c, scale(axes[1], 8.0))], radius: 3.0 },
        ]
    }

    /// Area of a plane polygon: half the length of the summed cross products.
    fn area(points: &[Point]) -> f64 {
        let n = points.len();
        let sum = (1..n - 1).fold([0.0; 3], |sum, i| {
            add(sum, cross(sub(points[i], points[0]), sub(points[i + 1], points[0])))
        });
        0.5 * length(sum)
    }

    #[test]
    fn uneven_planes_repeat_their_distances() {
        let uneven = PlaneStack { gaps: &[1.0, 3.0, 2.0], ..PlaneStack::axial(0.5, 10.0) };
        assert_eq!(uneven.offsets(6.9, 13.1), [7.0, 7.5, 9.0, 10.0, 10.5, 12.0, 13.0]);
        assert_eq!(PlaneStack::axial(2.0, 0.5).offsets(-2.0, 3.0), [-1.5, 0.5, 2.5]);
    }

    /// Summing exact cross-sections over thin planes gives the exact volume (Cavalieri).
    #[test]
    fn cross_sections_add_up_to_the_volume() {
        let directions = [UPRIGHT[2], axes_turned([10.0, 65.0, 20.0])[0]];
        for solid in all() {
            for normal in directions {
                let stack = PlaneStack { normal, ..PlaneStack::axial(0.05, 0.013) };
                let outlines = solid.sections(&stack, 360);
                let signed = |o: &Outline| if o.hole { -area(&o.points) } else { area(&o.points) };
                let sum: f64 = outlines.iter().map(signed).sum::<f64>() * 0.05;
                let error = sum / solid.volume() - 1.0;
                assert!(error.abs() < 6e-4, "{solid:?}: {error:e}");
            }
        }
    }

    #[test]
    fn every_vertex_lies_on_the_surface() {
        for solid in all() {
            let stack = PlaneStack::axial(0.7, 0.1);
            for outline in solid.sections(&stack, 40) {
                let count = outline.points.len() as f64;
                let sum = outline.points.iter().fold([0.0; 3], |s, p| add(s, *p));
                let middle = scale(sum, 1.0 / count);
                let plane = stack.offsets(middle[2] - 0.01, middle[2] + 0.01);
                for p in &outline.points {
                    assert!((p[2] - plane[0]).abs() < 1e-9);
                    let inward = add(*p, scale(sub(middle, *p), 1e-6));
                    let outward = add(*p, scale(sub(*p, middle), 1e-6));
                    assert!(solid.contains(if outline.hole { outward } else { inward }));
                    assert!(!solid.contains(if outline.hole { inward } else { outward }));
                }
            }
        }
    }

    /// Cuts along the axis: a square of side 2 r through a cylinder, a triangle through a cone.
    #[test]
    fn cuts_along_the_axis_have_exact_corners() {
        let cylinder = Solid::cylinder([0.0; 3], [0.0, 1.0, 0.0], 5.0, 10.0);
        let cut = cylinder.section([1.0, 0.0, 0.0], 3.0, 16);
        assert!((area(&cut[0].points) - 8.0 * 10.0).abs() < 1e-9);
        let cone = Solid::cone([0.0; 3], [0.0, 1.0, 0.0], 5.0, 10.0);
        let cut = cone.section([1.0, 0.0, 0.0], 0.0, 16);
        assert!((area(&cut[0].points) - 50.0).abs() < 1e-6);
    }

    /// The share of a lattice of points inside agrees with the volume.
    #[test]
    fn membership_agrees_with_the_volume() {
        for solid in all() {
            let [x, y, z] = UPRIGHT.map(|n| solid.extent(n));
            let step = 0.2;
            let count = |e: [f64; 2]| ((e[1] - e[0]) / step) as usize + 1;
            let mut inside = 0usize;
            for i in 0..count(x) {
                for j in 0..count(y) {
                    for k in 0..count(z) {
                        let p = [
                            x[0] + (i as f64 + 0.5) * step,
                            y[0] + (j as f64 + 0.5) * step,
                            z[0] + (k as f64 + 0.5) * step,
                        ];
                        inside += usize::from(solid.contains(p));
                    }
                }
            }
            let error = inside as f64 * step.powi(3) / solid.volume() - 1.0;
            assert!(error.abs() < 5e-3, "{solid:?}: {error:e}");
        }
    }
}
