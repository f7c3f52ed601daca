//! A solid as its surface, for distances from points and from other solids.
//!
//! The distance of a point is that to the nearest of the surface's triangles, with the sign of the
//! side on which the point lies. The triangles of a curved surface lie inward of it by the variance
//! of the smoothed shares over twice the radius in each direction ([`super::surface`]); the mean of
//! that for a ball of the same volume is given back.

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
        let distance = self.facets.distance_2(p)?.sqrt();
        if self.distance_to_box_mm(p) > 0.0 {
            return Some(distance - self.inward_mm);
        }
        // At an edge several triangles are as near; the one that the point is most above decides.
        let reach = distance + SAME_DISTANCE_MM;
        let mut height = 0.0_f64;
        self.facets.within(p, reach * reach, &mut |facet| {
            let own = height_mm(*facet, p);
            if own.abs() > height.abs() {
                height = own;
            }
        });
        Some(if height < 0.0 { -distance } else { distance } - self.inward_mm)
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
            let mut asked = vec![(block.centre, middle)];
            let points = other.points.get(block.points.clone()).unwrap_or_default();
            for p in (0..STRIDE).flat_map(|start| points.iter().skip(start).step_by(STRIDE)) {
                let from = |(q, d): &(Point, f64)| d - point::length(point::sub(*p, *q));
                let can_be = asked.iter().map(from).fold(f64::NEG_INFINITY, f64::max);
                if can_be > least + SAME_DISTANCE_MM {
                    continue;
                }
                let distance = self.signed_distance_mm(*p)?;
                asked.push((*p, distance));
                if distance < least {
                    (least, found) = (distance, Some(distance - other.inward_mm));
                }
            }
        }
        found
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

/// Points of a block are asked in so many passes, so that the first ones lie all over it.
const STRIDE: usize = 7;

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
