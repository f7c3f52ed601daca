//! A solid as its surface, for distances from points and from other solids.
//!
//! The distance of a point is that to the nearest of the surface's triangles, with the sign of the
//! side on which the point lies. The triangles of a curved surface lie inward of it by the variance
//! of the smoothed shares over twice the radius in each direction ([`super::surface`]); the mean of
//! that for a ball of the same volume is given back.

use rstar::{AABB, PointDistance, RTree, RTreeObject};

use super::occupancy::Occupancy;
use super::point::{self, Point};
use super::surface::{Surface, VARIANCE};

/// A surface that answers questions about distances.
#[derive(Debug, Clone)]
pub struct Body {
    points: Vec<Point>,
    facets: RTree<Facet>,
    low: Point,
    high: Point,
    pitch_mm: f64,
    volume_mm3: f64,
    /// How far the triangles lie inside the surface, mm.
    inward_mm: f64,
}

#[derive(Debug, Clone)]
struct Facet([Point; 3]);

impl RTreeObject for Facet {
    type Envelope = AABB<Point>;

    fn envelope(&self) -> Self::Envelope {
        AABB::from_points(&self.0)
    }
}

impl PointDistance for Facet {
    fn distance_2(&self, p: &Point) -> f64 {
        let d = point::sub(*p, nearest_of_triangle(self.0, *p));
        point::dot(d, d)
    }
}

impl Body {
    /// The body of a solid; absent without volume.
    #[must_use]
    pub fn of(solid: &Occupancy) -> Option<Self> {
        let surface = Surface::of(solid);
        let volume_mm3 = solid.volume_mm3();
        let fold = |f: fn(f64, f64) -> f64| {
            let corners = surface.facets.iter().flatten().copied();
            corners.reduce(|a, b| std::array::from_fn(|i| f(a[i], b[i])))
        };
        let (low, high) = (fold(f64::min)?, fold(f64::max)?);
        let radius = (volume_mm3 * 0.75 / std::f64::consts::PI).cbrt();
        Some(Self {
            facets: RTree::bulk_load(surface.facets.into_iter().map(Facet).collect()),
            points: surface.points,
            low,
            high,
            pitch_mm: solid.pitch_mm,
            volume_mm3,
            inward_mm: VARIANCE * solid.pitch_mm * solid.pitch_mm / radius,
        })
    }

    /// Volume of the solid, mm³.
    #[must_use]
    pub const fn volume_mm3(&self) -> f64 {
        self.volume_mm3
    }

    /// Edge length of the cells that the surface was found from, mm.
    #[must_use]
    pub const fn pitch_mm(&self) -> f64 {
        self.pitch_mm
    }

    /// Points spread over the surface, mm.
    #[must_use]
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// Distance from a point to the surface, mm; negative inside. Absent without a surface.
    #[must_use]
    pub fn signed_distance_mm(&self, p: Point) -> Option<f64> {
        let Facet([a, b, c]) = self.facets.nearest_neighbor(&p)?;
        let across = point::sub(p, nearest_of_triangle([*a, *b, *c], p));
        let normal = point::cross(point::sub(*b, *a), point::sub(*c, *a));
        let distance = point::length(across);
        let signed = if point::dot(across, normal) < 0.0 { -distance } else { distance };
        Some(signed - self.inward_mm)
    }

    /// Distance from a point to the box around the surface, mm; 0 inside. No point of the surface
    /// is nearer.
    #[must_use]
    pub fn distance_to_box_mm(&self, p: Point) -> f64 {
        let out = |i: usize| (self.low[i] - p[i]).max(p[i] - self.high[i]).max(0.0);
        point::length([0, 1, 2].map(out))
    }

    /// Signed distances of the points of `other` from this surface, smallest, mm. Points whose box
    /// distance exceeds what was found before are left out.
    fn nearest_of(&self, other: &Self) -> Option<f64> {
        let mut points: Vec<(f64, Point)> =
            other.points.iter().map(|p| (self.distance_to_box_mm(*p), *p)).collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut least: Option<f64> = None;
        for (box_mm, p) in points {
            if least.is_some_and(|found| box_mm > found.max(0.0) + self.inward_mm) {
                break;
            }
            let here = self.signed_distance_mm(p)?;
            least = Some(least.map_or(here, |found| found.min(here)));
        }
        // The points of the other surface lie inward of it as well.
        least.map(|d| d - other.inward_mm)
    }
}

/// Smallest signed distance between two surfaces, mm: positive apart; negative where they overlap,
/// by the deepest that a point of either surface reaches into the other solid.
#[must_use]
pub fn gap_mm(a: &Body, b: &Body) -> Option<f64> {
    Some(a.nearest_of(b)?.min(b.nearest_of(a)?))
}

/// The point of a triangle that is nearest to a point.
fn nearest_of_triangle([a, b, c]: [Point; 3], p: Point) -> Point {
    let (ab, ac, ap) = (point::sub(b, a), point::sub(c, a), point::sub(p, a));
    let normal = point::cross(ab, ac);
    let square = point::dot(normal, normal);
    if square > 0.0 {
        // Barycentric coordinates of the foot on the plane of the triangle.
        let along_c = point::dot(point::cross(ab, ap), normal) / square;
        let along_b = point::dot(point::cross(ap, ac), normal) / square;
        if along_b >= 0.0 && along_c >= 0.0 && along_b + along_c <= 1.0 {
            return point::add(a, point::add(point::scale(ab, along_b), point::scale(ac, along_c)));
        }
    }
    let edges = [[a, b], [b, c], [c, a]].map(|[from, to]| {
        let along = point::sub(to, from);
        let length = point::dot(along, along).max(f64::MIN_POSITIVE);
        let t = (point::dot(point::sub(p, from), along) / length).clamp(0.0, 1.0);
        let foot = point::add(from, point::scale(along, t));
        let d = point::sub(p, foot);
        (point::dot(d, d), foot)
    });
    let nearer = |x: (f64, Point), y: (f64, Point)| if y.0 < x.0 { y } else { x };
    edges.into_iter().reduce(nearer).map_or(a, |(_, foot)| foot)
}

#[cfg(test)]
mod tests;
