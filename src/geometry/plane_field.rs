//! The field of one contour plane: a number for each lattice node that is negative inside the
//! region, zero on its boundary and, for a circle of radius r at distance ρ from the middle,
//! exactly ρ² − r². Fields of neighbouring planes of a ball or ellipsoid then lie on parabolas
//! along the normal, which is what makes the space between planes computable.
//!
//! Two fields, both in mm². [`Kind::Gauge`] scales the region about its centre of mass:
//! (A/π)(g² − 1) with g = 1 on the boundary; exact for every ellipse, and so for ellipsoids in any
//! orientation. It needs a single ring that the centre sees whole. [`Kind::Distance`] takes the
//! signed distance s and the radius r of the largest inscribed circle, s·(s + 2r), and serves any
//! region.

use super::distance::{Lattice, signed_distance};
use super::polygon::{self, Point2};
use super::region::Region;

/// Which field is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Squared scaling about the centre of mass.
    Gauge,
    /// Squared signed distance.
    Distance,
}

/// Centre of mass of a region, mm; the middle of its bounding box when it has no area.
#[must_use]
pub fn centre(region: &Region) -> Point2 {
    let (area, m) = (region.area(), region.moments());
    if area > 0.0 {
        return m.map(|x| x / area);
    }
    let b = region.bounds();
    [0, 1].map(|a| f64::midpoint(b.low[a], b.high[a]))
}

/// Whether the gauge field exists and means something: one ring, every part of it seen from the
/// centre of mass, and no waist. Beyond a waist nearer than half of the equivalent radius the
/// field of an outline that is not convex grows without measure.
#[must_use]
pub fn has_gauge(region: &Region) -> bool {
    let [ring] = region.rings() else { return false };
    let c = centre(region);
    if !polygon::edges(ring).all(|(a, b)| cross(sub(a, c), sub(b, c)) > 0.0) {
        return false;
    }
    let nearest =
        ring.iter().map(|p| (p[0] - c[0]).hypot(p[1] - c[1])).fold(f64::INFINITY, f64::min);
    let area = region.area();
    nearest >= WAIST * (area / std::f64::consts::PI).sqrt()
        || area >= CONVEX_SHARE * hull_area(ring)
}

/// See [`has_gauge`].
const WAIST: f64 = 0.5;
/// An outline with this share of the area of its convex hull counts as convex: drawn outlines are
/// uneven.
const CONVEX_SHARE: f64 = 0.95;

/// Area of the convex hull: the monotone chain of Andrew 1979 (from memory).
fn hull_area(ring: &[Point2]) -> f64 {
    let mut points = ring.to_vec();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let chain = |points: &mut dyn Iterator<Item = &Point2>| {
        let mut out: Vec<Point2> = Vec::new();
        for p in points {
            while let [.., a, b] = out[..] {
                if cross(sub(b, a), sub(*p, b)) > 0.0 {
                    break;
                }
                out.pop();
            }
            out.push(*p);
        }
        out.pop();
        out
    };
    let mut hull = chain(&mut points.iter());
    hull.extend(chain(&mut points.iter().rev()));
    polygon::signed_area(&hull)
}

/// The field on the nodes of `lattice`, whose origin is put at the region's centre of mass.
#[must_use]
pub fn field(region: &Region, kind: Kind, lattice: &Lattice) -> Vec<f64> {
    let c = centre(region);
    match kind {
        Kind::Gauge => gauge(region, c, lattice),
        Kind::Distance => distance(&region.moved([-c[0], -c[1]]), lattice),
    }
}

fn sub(a: Point2, b: Point2) -> Point2 {
    [a[0] - b[0], a[1] - b[1]]
}

fn cross(a: Point2, b: Point2) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

/// Rises with the angle of a vector from -2 to 2, without a transcendental function: directions are
/// only put in order.
fn angle_rank([x, y]: Point2) -> f64 {
    let size = x.abs() + y.abs();
    if size == 0.0 {
        return 0.0;
    }
    let across = x / size;
    if y < 0.0 { across - 1.0 } else { 1.0 - across }
}

fn gauge(region: &Region, c: Point2, lattice: &Lattice) -> Vec<f64> {
    let Some(ring) = region.rings().first() else { return vec![f64::INFINITY; lattice.nodes()] };
    let scale = region.area() / std::f64::consts::PI;
    let mut edges: Vec<(f64, Point2, Point2)> = polygon::edges(ring)
        .map(|(a, b)| (sub(a, c), sub(b, c)))
        .map(|(a, b)| (angle_rank(a), sub(b, a), a))
        .collect();
    edges.sort_by(|x, y| x.0.total_cmp(&y.0));
    let mut out = Vec::with_capacity(lattice.nodes());
    // Edges that begin before the direction of a node: from one node to the next few more or less.
    let mut after = 0;
    for row in 0..lattice.size[1] {
        for column in 0..lattice.size[0] {
            let p = lattice.position(column, row);
            let angle = angle_rank(p);
            while edges.get(after).is_some_and(|e| e.0 <= angle) {
                after += 1;
            }
            while after > 0 && edges[after - 1].0 > angle {
                after -= 1;
            }
            // Before the first edge lies the last one, across the cut of the angle.
            let at = if after == 0 { edges.len() } else { after } - 1;
            let (_, along, start) = edges[at];
            let g = cross(p, along) / cross(start, along);
            out.push(scale * (g * g - 1.0));
        }
    }
    out
}

fn distance(region: &Region, lattice: &Lattice) -> Vec<f64> {
    let found = signed_distance(region, lattice);
    // The largest inscribed circle of each piece; what holds no node gets 2A/P (a circle's radius).
    let mut radius = vec![0.0_f64; region.pieces().max(1)];
    for (s, &piece) in found.values.iter().zip(&found.pieces) {
        radius[piece] = radius[piece].max(-s);
    }
    for (piece, r) in radius.iter_mut().enumerate() {
        if *r <= 0.0 {
            let own = region.filtered(|p| p == piece);
            let around: f64 = own
                .rings()
                .iter()
                .flat_map(|ring| polygon::edges(ring))
                .map(|(a, b)| (b[0] - a[0]).hypot(b[1] - a[1]))
                .sum();
            *r = if around > 0.0 { 2.0 * own.area() / around } else { 0.0 };
        }
    }
    found.values.iter().zip(&found.pieces).map(|(s, &p)| s * (s + 2.0 * radius[p])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::region::Combine;

    fn ellipse(a: f64, b: f64) -> Region {
        let ring: Vec<Point2> = (0..400)
            .map(|i| {
                let t = f64::from(i) * std::f64::consts::TAU / 400.0;
                [5.0 + a * t.cos(), -3.0 + b * t.sin()]
            })
            .collect();
        Region::fill(&[ring], Combine::Nested).0
    }

    #[test]
    fn a_circle_has_the_paraboloid_in_both_fields() {
        let region = ellipse(2.0, 2.0);
        assert!(has_gauge(&region));
        let lattice = Lattice { low: [-20, -20], size: [41, 41], pitch_mm: 0.15 };
        for kind in [Kind::Gauge, Kind::Distance] {
            let f = field(&region, kind, &lattice);
            for row in 0..41 {
                for column in 0..41 {
                    let p = lattice.position(column, row);
                    let exact = p[0] * p[0] + p[1] * p[1] - 4.0;
                    let got = f[row * 41 + column];
                    assert!((got - exact).abs() < 3e-3, "{kind:?} {p:?}: {got} {exact}");
                }
            }
        }
    }

    #[test]
    fn an_ellipse_has_its_quadratic_form() {
        let region = ellipse(3.0, 1.5);
        let lattice = Lattice { low: [-20, -20], size: [41, 41], pitch_mm: 0.2 };
        let f = field(&region, Kind::Gauge, &lattice);
        for row in 0..41 {
            for column in 0..41 {
                let p = lattice.position(column, row);
                let exact = 4.5 * (p[0] * p[0] / 9.0 + p[1] * p[1] / 2.25 - 1.0);
                assert!((f[row * 41 + column] - exact).abs() < 1e-3 * (1.0 + exact.abs()));
            }
        }
    }

    /// Two lobes that touch in a neck of 0.9 mm are seen whole from the middle, but have no gauge. A
    /// long ellipse keeps its own, and so does an uneven circle.
    #[test]
    fn a_narrow_waist_has_no_gauge() {
        let outline = |f: &dyn Fn(f64) -> f64| -> Region {
            let at = |i: i32| f64::from(i) * std::f64::consts::TAU / 360.0;
            let ring = (0..360).map(|i| [f(at(i)) * at(i).cos(), f(at(i)) * at(i).sin()]).collect();
            Region::fill(&[ring], Combine::Nested).0
        };
        let neck = |t: f64| 0.45 + 3.5 * t.cos().powi(2);
        assert!(!has_gauge(&outline(&neck)));
        assert!(has_gauge(&ellipse(8.0, 1.0)));
        assert!(has_gauge(&outline(&|t| 2.0 + 0.08 * (15.0 * t).sin())));
    }

    #[test]
    fn a_ring_with_a_hole_has_no_gauge() {
        let square = |h: f64| vec![[-h, -h], [h, -h], [h, h], [-h, h]];
        let (region, _) = Region::fill(&[square(3.0), square(1.0)], Combine::Nested);
        assert!(!has_gauge(&region));
        let lattice = Lattice { low: [-4, -4], size: [9, 9], pitch_mm: 1.0 };
        let f = field(&region, Kind::Distance, &lattice);
        assert!(f[4 * 9 + 4] > 0.0, "the hole is outside");
        assert!(f[4 * 9 + 6] < 0.0, "the ring is inside");
    }
}
