//! A solid as its surface, for distances from points and from other solids.
//!
//! The distance of a point is that to the nearest of the surface's triangles, with the sign of the
//! side on which the point lies. The triangles of a curved surface lie inward of it by the variance
//! of the smoothed shares over twice the radius in each direction ([`super::surface`]); the mean of
//! that for a ball of the same volume is given back.

use std::cmp::Ordering;

use super::occupancy::Occupancy;
use super::pieces::{Facet, Pieces};
use super::point::{self, Point};
use super::surface::VARIANCE;
use super::{ball_radius_mm, march};

/// A surface that answers questions about distances.
#[derive(Debug, Clone)]
pub struct Body {
    /// Points of the surface, block by block.
    points: Vec<Point>,
    blocks: Vec<Block>,
    facets: Pieces<Facet>,
    low: Point,
    high: Point,
    pitch_mm: f64,
    volume_mm3: f64,
    /// How far the triangles lie inside the surface, mm.
    inward_mm: f64,
}

/// Points of the surface that lie near each other.
#[derive(Debug, Clone)]
struct Block {
    points: std::ops::Range<usize>,
    centre: Point,
    radius_mm: f64,
}

/// Edge length of the cubes that make blocks, in cells.
const BLOCK_CELLS: f64 = 6.0;

/// The points sorted into cubes.
fn blocks(mut points: Vec<Point>, edge_mm: f64) -> (Vec<Point>, Vec<Block>) {
    #[allow(clippy::cast_possible_truncation)] // patient coordinates over an edge
    let cube = |p: &Point| p.map(|x| (x / edge_mm).floor() as i64);
    points.sort_by_cached_key(cube);
    let mut out = Vec::new();
    let mut from = 0;
    for chunk in points.chunk_by(|a, b| cube(a) == cube(b)) {
        let Some(first) = chunk.first() else { continue };
        #[allow(clippy::cast_precision_loss)] // as above
        let centre = cube(first).map(|i| (i as f64 + 0.5) * edge_mm);
        let far = chunk.iter().map(|p| point::length(point::sub(*p, centre)));
        let radius_mm = far.fold(0.0, f64::max);
        out.push(Block { points: from..from + chunk.len(), centre, radius_mm });
        from += chunk.len();
    }
    (points, out)
}

/// Triangles nearer to each other than this, mm, are equally near.
const SAME_DISTANCE_MM: f64 = 1e-9;

/// Height of a point above the plane of a triangle, mm; 0 for one without area.
fn height_mm([a, b, c]: Facet, p: Point) -> f64 {
    let normal = point::unit(point::cross(point::sub(b, a), point::sub(c, a)));
    normal.map_or(0.0, |n| point::dot(point::sub(p, a), n))
}

impl Body {
    /// The body of a solid; absent without volume.
    #[must_use]
    pub fn of(solid: &Occupancy) -> Option<Self> {
        let (mut points, mut facets) = (Vec::new(), Vec::new());
        march::surface(solid, |p| points.push(p), |facet| facets.push(facet));
        let volume_mm3 = solid.volume_mm3();
        let facets = Pieces::new(facets, solid.pitch_mm);
        let [low, high] = facets.bounds()?;
        let radius = ball_radius_mm(volume_mm3);
        let (points, blocks) = blocks(points, BLOCK_CELLS * solid.pitch_mm);
        Some(Self {
            blocks,
            facets,
            points,
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
        Some(self.signed_to_triangles_mm(p, f64::INFINITY)? - self.inward_mm)
    }

    /// Distances of points that lie near each other, one after the other.
    #[must_use]
    pub const fn distances(&self) -> Distances<'_> {
        Distances { body: self, last: None }
    }

    /// Signed distance from the triangles, of which one is known to be no farther away than
    /// `at_most_mm`.
    fn signed_to_triangles_mm(&self, p: Point, at_most_mm: f64) -> Option<f64> {
        let mut nearest = Vec::new();
        if self.distance_to_box_mm(p) > 0.0 {
            return self.facets.nearest(p, at_most_mm, 0.0, &mut nearest).map(f64::sqrt);
        }
        let square = self.facets.nearest(p, at_most_mm, SAME_DISTANCE_MM, &mut nearest)?;
        // At an edge several triangles are as near; the one that the point is most above decides.
        let mut height = 0.0_f64;
        for facet in nearest.iter().filter_map(|place| self.facets.piece(*place)) {
            let own = height_mm(*facet, p);
            if own.abs() > height.abs() {
                height = own;
            }
        }
        Some(if height < 0.0 { -square.sqrt() } else { square.sqrt() })
    }

    /// Distance from a point to the box around the surface, mm; 0 inside. No point of the surface
    /// is nearer.
    #[must_use]
    pub fn distance_to_box_mm(&self, p: Point) -> f64 {
        let out = |i: usize| (self.low[i] - p[i]).max(p[i] - self.high[i]).max(0.0);
        point::length([0, 1, 2].map(out))
    }

    /// Smallest signed distance of the points of `other` from this surface, mm; absent when it is not
    /// below `limit_mm`. A distance changes by no more than the way between two points: blocks and
    /// points that cannot come below what was found are not asked, and outside of the box around this
    /// surface not even the middle of a block is.
    fn nearest_of(&self, other: &Self, limit_mm: f64) -> Option<f64> {
        // The points of the other surface lie inward of it as well.
        let mut least = limit_mm + other.inward_mm;
        let mut found = None;
        let blocks: Option<Vec<Seen<'_>>> = other.blocks.iter().map(|b| self.seen(b)).collect();
        let mut blocks = blocks?;
        blocks.sort_by(|a, b| a.at_least_mm.total_cmp(&b.at_least_mm));
        for Seen { at_least_mm, middle_mm, block } in blocks {
            if at_least_mm > least + SAME_DISTANCE_MM {
                break;
            }
            let middle = match middle_mm {
                Some(known) => known,
                None => self.signed_distance_mm(block.centre)?,
            };
            let mut asked = vec![Asked::exactly(block.centre, middle + self.inward_mm)];
            let points = other.points.get(block.points.clone()).unwrap_or_default();
            for p in (0..STRIDE).flat_map(|start| points.iter().skip(start).step_by(STRIDE)) {
                let counts_below = least + SAME_DISTANCE_MM + self.inward_mm;
                let known = Asked::about(*p, &asked);
                if known.at_least_mm > counts_below {
                    continue;
                }
                let (asked_now, exact) = self.ask(known, counts_below)?;
                asked.push(asked_now);
                let distance = exact.unwrap_or(f64::INFINITY) - self.inward_mm;
                if distance < least {
                    (least, found) = (distance, Some(distance - other.inward_mm));
                }
            }
        }
        found
    }

    /// Asks for the signed distance of a point from the triangles, which counts only below
    /// `counts_below` mm: most points are seen to lie farther away, or less deep, at a glance.
    fn ask(&self, known: Asked, counts_below: f64) -> Option<(Asked, Option<f64>)> {
        let p = known.point;
        if counts_below < 0.0 {
            let deep_2 = counts_below * counts_below;
            if self.facets.compare(p, [deep_2, f64::INFINITY]) == Ordering::Less {
                // Some triangle is so near that the point is not so deep.
                let near = -counts_below;
                let at_least_mm = known.at_least_mm.max(-near);
                let at_most_mm = known.at_most_mm.min(near);
                return Some((Asked { at_least_mm, at_most_mm, ..known }, None));
            }
        } else if self.distance_to_box_mm(p) > 0.0
            && self.facets.compare(p, [0.0, counts_below * counts_below]) == Ordering::Greater
        {
            let at_least_mm = known.at_least_mm.max(counts_below);
            return Some((Asked { at_least_mm, ..known }, None));
        }
        let exact = self.signed_to_triangles_mm(p, known.at_most_mm)?;
        Some((Asked::exactly(p, exact), Some(exact)))
    }

    /// A block of another surface with what its points have at least.
    fn seen<'b>(&self, block: &'b Block) -> Option<Seen<'b>> {
        let outside = self.distance_to_box_mm(block.centre);
        if outside > 0.0 {
            let at_least_mm = outside - self.inward_mm - block.radius_mm;
            return Some(Seen { at_least_mm, middle_mm: None, block });
        }
        let middle = self.signed_distance_mm(block.centre)?;
        Some(Seen { at_least_mm: middle - block.radius_mm, middle_mm: Some(middle), block })
    }
}

/// Distances of one point after the other from a surface: what is known of one bounds the search for
/// the next.
#[derive(Debug, Clone)]
pub struct Distances<'b> {
    body: &'b Body,
    /// The last point and its distance from the triangles, mm.
    last: Option<(Point, f64)>,
}

impl Distances<'_> {
    /// [`Body::signed_distance_mm`].
    pub fn signed_mm(&mut self, p: Point) -> Option<f64> {
        let from = |(q, distance): (Point, f64)| distance.abs() + point::length(point::sub(p, q));
        let distance =
            self.body.signed_to_triangles_mm(p, self.last.map_or(f64::INFINITY, from))?;
        self.last = Some((p, distance));
        Some(distance - self.body.inward_mm)
    }

    /// A distance that lies between the same two of some limits (mm, ascending) as that of the point;
    /// a limit itself belongs to what is below it. Where the point before tells, no triangle is asked.
    pub fn between_limits_mm(&mut self, p: Point, limits_mm: &[f64]) -> Option<f64> {
        if let Some((q, distance)) = self.last {
            let distance = distance - self.body.inward_mm;
            let way = point::length(point::sub(p, q)) + SAME_DISTANCE_MM;
            let below = |mm: f64| limits_mm.partition_point(|limit| *limit < mm);
            if below(distance - way) == below(distance + way) {
                return Some(distance);
            }
        }
        self.signed_mm(p)
    }
}

/// Points of a block are asked in so many passes, so that the first ones lie all over it.
const STRIDE: usize = 7;

/// A point with what is known of its distance from the triangles of a surface.
#[derive(Clone, Copy)]
struct Asked {
    point: Point,
    /// Of the signed distance, mm.
    at_least_mm: f64,
    /// Of the distance without its sign, mm.
    at_most_mm: f64,
}

impl Asked {
    const fn exactly(point: Point, signed_mm: f64) -> Self {
        Self { point, at_least_mm: signed_mm, at_most_mm: signed_mm.abs() }
    }

    /// What those that were asked tell of another point: no distance changes by more than the way.
    fn about(point: Point, asked: &[Self]) -> Self {
        let mut out = Self { point, at_least_mm: f64::NEG_INFINITY, at_most_mm: f64::INFINITY };
        for known in asked {
            let way = point::length(point::sub(point, known.point));
            out.at_least_mm = out.at_least_mm.max(known.at_least_mm - way);
            out.at_most_mm = out.at_most_mm.min(known.at_most_mm + way);
        }
        out
    }
}

/// A block as another surface sees it.
struct Seen<'b> {
    /// No point of it is nearer, mm.
    at_least_mm: f64,
    /// Signed distance of its middle, where it was asked for.
    middle_mm: Option<f64>,
    block: &'b Block,
}

/// Smallest signed distance between two surfaces, mm: positive apart; negative where they overlap,
/// by the deepest that a point of either surface reaches into the other solid.
#[must_use]
pub fn gap_mm(a: &Body, b: &Body) -> Option<f64> {
    // The side with fewer points is quick, and what it finds spares most of the other's.
    let (small, large) = if a.points.len() <= b.points.len() { (a, b) } else { (b, a) };
    let first = large.nearest_of(small, f64::INFINITY)?;
    Some(small.nearest_of(large, first).unwrap_or(first))
}

#[cfg(test)]
mod tests;
