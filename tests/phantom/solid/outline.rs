//! Where rays leave a solid, and the outlines that follow: the geometry behind `Solid::section`.

use std::f64::consts::TAU;

use tidydose_geometry::Point;
use tidydose_geometry::point::{add, dot, length, scale, sub};

use super::{Outline, Solid, UPRIGHT, axes_along};

/// Height along the axis and distance from it.
pub(super) fn about(q: Point, axis: Point) -> (f64, f64) {
    let h = dot(q, axis);
    (h, length(sub(q, scale(axis, h))))
}

/// Smallest positive entry and its place.
pub(super) fn nearest(exits: &[f64]) -> (f64, usize) {
    let ahead = exits.iter().enumerate().filter(|(_, t)| **t > 0.0);
    ahead.fold((f64::INFINITY, 0), |best, (i, t)| if *t < best.0 { (*t, i) } else { best })
}

/// Largest entry and its place.
pub(super) fn farthest(exits: &[f64]) -> (f64, usize) {
    let all = exits.iter().enumerate();
    all.fold((0.0, 0), |best, (i, t)| if *t > best.0 { (*t, i) } else { best })
}

/// Exit of the ray `q + t·along` from a ball about the origin; 0 when it misses.
pub(super) fn ball_exit(q: Point, along: Point, radius: f64) -> f64 {
    let b = dot(q, along);
    let root = b * b - dot(q, q) + radius * radius;
    if root > 0.0 { (root.sqrt() - b).max(0.0) } else { 0.0 }
}

/// First crossing ahead with the surface `ρ = slope·h + level` around the axis.
pub(super) fn quadric_exit(q: Point, d: Point, axis: Point, (slope, level): (f64, f64)) -> f64 {
    let (hq, hd) = (dot(q, axis), dot(d, axis));
    let (rq, rd) = (sub(q, scale(axis, hq)), sub(d, scale(axis, hd)));
    let edge = slope * hq + level;
    let a = dot(rd, rd) - (slope * hd).powi(2);
    let b = dot(rq, rd) - slope * hd * edge;
    let c = dot(rq, rq) - edge * edge;
    if a.abs() < 1e-14 {
        return if b.abs() < 1e-14 { f64::INFINITY } else { -0.5 * c / b };
    }
    let root = (b * b - a * c).max(0.0).sqrt();
    nearest(&[(-b - root) / a, (-b + root) / a]).0
}

/// Last point of the ray inside the tube `0 ≤ h ≤ height`; 0 when it misses.
pub(super) fn exit_of_tube(q: Point, d: Point, axis: Point, (radius, height): (f64, f64)) -> f64 {
    let (hq, hd) = (dot(q, axis), dot(d, axis));
    let (rq, rd) = (sub(q, scale(axis, hq)), sub(d, scale(axis, hd)));
    let a = dot(rd, rd);
    if a < 1e-14 {
        return 0.0;
    }
    let root = dot(rq, rd).powi(2) - a * (dot(rq, rq) - radius * radius);
    let t = (root.max(0.0).sqrt() - dot(rq, rd)) / a;
    if root > 0.0 && t > 0.0 && (0.0..=height).contains(&(hq + t * hd)) { t } else { 0.0 }
}

/// Place and value of the minimum of a convex function, by golden section.
pub(super) fn lowest(f: &dyn Fn(f64) -> f64, [low, high]: [f64; 2]) -> (f64, f64) {
    let golden = 0.5 * (5f64.sqrt() - 1.0);
    let (mut a, mut b) = (low, high);
    let (mut c, mut d) = (b - golden * (b - a), a + golden * (b - a));
    let (mut fc, mut fd) = (f(c), f(d));
    for _ in 0..48 {
        if fc < fd {
            (b, d, fd) = (d, c, fc);
            c = b - golden * (b - a);
            fc = f(c);
        } else {
            (a, c, fc) = (c, d, fd);
            d = a + golden * (b - a);
            fd = f(d);
        }
    }
    if fc < fd { (c, fc) } else { (d, fd) }
}

/// The cut of an ellipsoid: an ellipse, as the image of a circle of the unit ball.
pub(super) fn ellipse(
    centre: Point,
    (axes, semi): ([Point; 3], [f64; 3]),
    (normal, offset): (Point, f64),
    vertices: usize,
) -> Option<Vec<Point>> {
    // In units of the semi-axes the plane is {q : q·m = level}.
    let m = [0, 1, 2].map(|i| semi[i] * dot(axes[i], normal));
    let level = (offset - dot(centre, normal)) / length(m);
    let [u, v, w] = axes_along(m);
    let radius = (1.0 - level * level).sqrt();
    (radius > 0.0).then(|| {
        let vertex = |k: usize| {
            let (s, c) = (TAU * k as f64 / vertices as f64).sin_cos();
            let q = add(scale(w, level), scale(add(scale(u, c), scale(v, s)), radius));
            (0..3).fold(centre, |p, i| add(p, scale(axes[i], semi[i] * q[i])))
        };
        (0..vertices).map(vertex).collect()
    })
}

/// The cut of two balls: two circles, or the outline of their union seen from a common point.
pub(super) fn two_discs(
    solid: &Solid,
    balls: [(Point, f64); 2],
    (normal, offset): (Point, f64),
    vertices: usize,
) -> Vec<Outline> {
    let disc = |(c, r): (Point, f64)| {
        let d = offset - dot(c, normal);
        (d.abs() < r).then(|| (add(c, scale(normal, d)), (r * r - d * d).sqrt()))
    };
    let circle = |(c, r): (Point, f64)| {
        let points = ellipse(c, (UPRIGHT, [r; 3]), (normal, offset), vertices);
        points.map(|points| Outline { points, hole: false })
    };
    match (disc(balls[0]), disc(balls[1])) {
        (Some((a, p)), Some((b, q))) => {
            let apart = length(sub(b, a));
            if apart >= p + q {
                return [circle((a, p)), circle((b, q))].into_iter().flatten().collect();
            }
            // A point of both discs: half-way across their common stretch on the line of centres.
            let along = if apart > 0.0 { scale(sub(b, a), 1.0 / apart) } else { [0.0; 3] };
            let middle = 0.5 * ((apart - q).max(-p) + (apart + q).min(p));
            let [u, v, _] = axes_along(normal);
            let points = trace(solid, add(a, scale(along, middle)), [u, v], vertices);
            vec![Outline { points, hole: false }]
        }
        (Some(one), None) | (None, Some(one)) => circle(one).into_iter().collect(),
        (None, None) => Vec::new(),
    }
}

/// Mean of an outline's vertices, and its two principal directions in the plane, each as long as the
/// outline reaches along it.
pub(super) fn stretch(points: &[Point], [u, v]: [Point; 2]) -> (Point, [Point; 2]) {
    let half = |axis: Point| {
        let all = points.iter().map(|p| dot(*p, axis));
        let low = all.clone().fold(f64::INFINITY, f64::min);
        0.5 * (all.fold(f64::NEG_INFINITY, f64::max) - low)
    };
    let count = points.len() as f64;
    let mean = scale(points.iter().fold([0.0; 3], |sum, p| add(sum, *p)), 1.0 / count);
    let moment = |a: Point, b: Point| {
        points.iter().map(|p| dot(sub(*p, mean), a) * dot(sub(*p, mean), b)).sum::<f64>()
    };
    let angle = 0.5 * (2.0 * moment(u, v)).atan2(moment(u, u) - moment(v, v));
    let first = add(scale(u, angle.cos()), scale(v, angle.sin()));
    let second = sub(scale(v, angle.cos()), scale(u, angle.sin()));
    // The mean of points of a convex outline lies inside it; the middle of its box need not.
    (mean, [scale(first, half(first)), scale(second, half(second))])
}

/// Exits of rays in the plane, plus the corners where the face changes. The rays are equally spaced
/// on the ellipse that the two vectors span.
pub(super) fn trace(
    solid: &Solid,
    inside: Point,
    [u, v]: [Point; 2],
    vertices: usize,
) -> Vec<Point> {
    let ray = |angle: f64| {
        let along = add(scale(u, angle.cos()), scale(v, angle.sin()));
        let along = scale(along, 1.0 / length(along));
        let (t, face) = solid.exit(inside, along);
        (add(inside, scale(along, t)), face)
    };
    let mut points = Vec::new();
    for k in 0..vertices {
        let step = TAU / vertices as f64;
        let (mut low, mut high) = (k as f64 * step, (k + 1) as f64 * step);
        let (point, face) = ray(low);
        points.push(point);
        if ray(high).1 != face {
            for _ in 0..60 {
                let middle = 0.5 * (low + high);
                if ray(middle).1 == face { low = middle } else { high = middle }
            }
            points.push(ray(low).0);
        }
    }
    points
}
