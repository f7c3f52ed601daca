//! The shape of a structure without its solid, from areas of its contours times thickness: volume, centre
//! and box. Good enough to tell what is what; nothing that is reported as a measurement.

use super::structure::{self, Solid};
use tidydose_case::Case;
use tidydose_geometry::Point;
use tidydose_geometry::point::{length, sub};
use tidydose_rt::StructureSet;
use tidydose_rt::finding::Subject;

/// Volumes closer than this share ...
const SAME_VOLUME: f64 = 0.005;
/// ... and centres and boxes closer than this, mm, are of one shape: no contouring twice agrees so.
const SAME_PLACE_MM: f64 = 0.1;

/// One structure by the areas of its contours.
#[derive(Debug, Clone)]
pub struct Shape {
    /// ROI Number.
    pub roi_number: i64,
    /// Volume of the contours times their thickness, cc.
    pub volume_cc: f64,
    /// Centre of mass, mm, patient coordinates.
    pub centre_mm: Point,
    /// Half the longest diagonal of its planes' boxes and its length, mm: no point lies further
    /// from the middle of its box.
    pub extent_mm: Point,
    /// Lowest and highest corner, patient coordinates, of the box around it that lies along its
    /// planes, mm.
    pub box_mm: [Point; 2],
    solid: Solid,
}

impl Shape {
    /// Describes a solid. Absent without volume.
    #[must_use]
    pub fn of(roi_number: i64, solid: &Solid) -> Option<Self> {
        let (mut volume, mut moment) = (0.0, [0.0; 3]);
        let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
        for (plane, slab) in solid.planes() {
            let thickness = slab.thickness_mm();
            let area = plane.region.area();
            let [mu, mv] = plane.region.moments();
            let middle = (slab.low_mm + slab.high_mm) / 2.0;
            volume += area * thickness;
            moment[0] += mu * thickness;
            moment[1] += mv * thickness;
            moment[2] += area * thickness * middle;
            let bounds = plane.region.bounds();
            let [l, h] = [(bounds.low, slab.low_mm), (bounds.high, slab.high_mm)];
            for (i, (a, b)) in [(l.0[0], h.0[0]), (l.0[1], h.0[1]), (l.1, h.1)].iter().enumerate() {
                low[i] = f64::min(low[i], *a);
                high[i] = f64::max(high[i], *b);
            }
        }
        let axes = solid.stack.axes;
        (volume > 0.0).then(|| Self {
            roi_number,
            volume_cc: volume / 1000.0,
            centre_mm: axes.point(moment.map(|m| m / volume)),
            extent_mm: sub(high, low),
            box_mm: upright([low, high].map(|c| axes.point(c))),
            solid: solid.clone(),
        })
    }

    /// Whether both are the same shape in the same place.
    #[must_use]
    pub fn is_same_as(&self, other: &Self) -> bool {
        let near = |a: Point, b: Point| length(sub(a, b)) < SAME_PLACE_MM;
        (self.volume_cc / other.volume_cc - 1.0).abs() < SAME_VOLUME
            && near(self.centre_mm, other.centre_mm)
            && near(self.extent_mm, other.extent_mm)
    }

    /// Share of this one's volume inside `other`, 0 to 1, plane by plane; 0 where their planes are
    /// not parallel.
    #[must_use]
    pub fn share_inside(&self, other: &Self) -> f64 {
        if self.solid.stack.axes != other.solid.stack.axes {
            return 0.0;
        }
        let mut common = 0.0;
        for (plane, slab) in self.solid.planes() {
            let there = other
                .solid
                .planes()
                .find(|(_, s)| s.low_mm <= plane.w_mm && plane.w_mm <= s.high_mm);
            if let Some((there, _)) = there {
                common += plane.region.common_area(&there.region) * slab.thickness_mm();
            }
        }
        common / 1000.0 / self.volume_cc
    }
}

/// Two opposite corners as the lowest and the highest one.
fn upright([a, b]: [Point; 2]) -> [Point; 2] {
    [[0, 1, 2].map(|i| f64::min(a[i], b[i])), [0, 1, 2].map(|i| f64::max(a[i], b[i]))]
}

/// The shapes of a structure set; structures without volume have none.
#[must_use]
pub fn shapes(case: &Case, set: &StructureSet) -> Vec<Shape> {
    let subject = Subject { case: Some(case.id.clone()), ..Subject::default() };
    let solids = set.rois.iter().filter_map(|roi| {
        let solid = structure::build(roi, &subject, &mut Vec::new()).ok()?;
        Shape::of(roi.header.number, &solid)
    });
    solids.collect()
}
