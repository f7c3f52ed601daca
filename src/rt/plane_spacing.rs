//! How far apart the planes are that a structure could have been drawn on, and who says so. Matters
//! for a structure on a single plane, whose contours alone have no thickness. In order of evidence:
//! what its own items state; the planes of the other structures of the set; the slices of its images.

use super::{ContourType, Roi};
use tidydose_geometry::point::{Point, dot};
use tidydose_geometry::stack::{PLANAR_MM, PlanePlaces};
use tidydose_geometry::units::Millimetre;

/// Who states a plane spacing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum SpacingSource {
    /// The items of the structure: Spacing Between Slices of (3006,004A), else Contour Slab
    /// Thickness (3006,0044).
    Stated,
    /// The planes of so many other structures of the set.
    Structures(usize),
    /// The image slices at the place of the structure, of the series its contours refer to.
    Images,
}

/// A plane spacing and who states it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneSpacing {
    /// Distance between neighbouring planes.
    pub distance: Millimetre,
    /// Who states it.
    pub source: SpacingSource,
}

impl PlaneSpacing {
    /// Where the thickness of a structure on a single plane comes from, in words.
    #[must_use]
    pub fn words(self) -> String {
        let mm = self.distance.value();
        match self.source {
            SpacingSource::Stated => format!("{mm:.2} mm as its items state"),
            SpacingSource::Structures(1) => {
                format!("{mm:.2} mm, the plane distance of the only other structure there")
            }
            SpacingSource::Structures(n) => {
                format!("{mm:.2} mm, the median plane distance of {n} other structures")
            }
            SpacingSource::Images => format!("{mm:.2} mm, the distance of its image slices there"),
        }
    }
}

/// Two normals within a degree are parallel.
const PARALLEL_COSINE: f64 = 0.999_85;

/// Gives the structures that lie on one plane, and state no spacing, that of the other structures of
/// the set on parallel planes in the same frame: of those that have a plane there or on either
/// side, else of all. The median, so that one structure drawn on every second plane does not count.
pub fn from_other_structures(rois: &mut [Roi]) {
    let alone = |roi: &Roi| roi.header.plane_spacing.is_none() && lies_on_one_plane(roi);
    if !rois.iter().any(alone) {
        return;
    }
    let places: Vec<Option<PlanePlaces>> =
        rois.iter().map(|roi| PlanePlaces::of(&closed(roi).collect::<Vec<_>>())).collect();
    for i in 0..rois.len() {
        let Some(own) = places[i].as_ref().filter(|_| alone(&rois[i])) else { continue };
        let others = rois.iter().zip(&places).enumerate().filter(|(j, (roi, _))| {
            *j != i && roi.header.frame == rois[i].header.frame && roi.refused.is_none()
        });
        let others: Vec<&PlanePlaces> = others.filter_map(|(_, (_, p))| p.as_ref()).collect();
        rois[i].header.plane_spacing = median_spacing(own, &others);
    }
}

fn median_spacing(own: &PlanePlaces, others: &[&PlanePlaces]) -> Option<PlaneSpacing> {
    let at = own.places_mm.first()?;
    let (mut there, mut anywhere) = (Vec::new(), Vec::new());
    for other in others {
        let cosine = dot(own.normal, other.normal);
        let Some(gap) = other.typical_gap_mm().filter(|_| cosine.abs() >= PARALLEL_COSINE) else {
            continue;
        };
        anywhere.push(gap);
        let at = at * cosine.signum();
        let (first, last) = (other.places_mm.first()?, other.places_mm.last()?);
        if (first - gap..=last + gap).contains(&at) {
            there.push(gap);
        }
    }
    let mut gaps = if there.is_empty() { anywhere } else { there };
    gaps.sort_by(f64::total_cmp);
    let distance = Millimetre::mm(*gaps.get(gaps.len() / 2)?);
    Some(PlaneSpacing { distance, source: SpacingSource::Structures(gaps.len()) })
}

fn closed(roi: &Roi) -> impl Iterator<Item = &Vec<Point>> {
    let is_closed = |kind| matches!(kind, ContourType::ClosedPlanar | ContourType::ClosedPlanarXor);
    roi.contours.iter().filter(move |c| is_closed(c.kind)).map(|c| &c.points)
}

/// Whether all closed contours lie on the plane of the first; ends at the first point that does not.
fn lies_on_one_plane(roi: &Roi) -> bool {
    let Some(own) = closed(roi).next().and_then(|first| PlanePlaces::of(&[first])) else {
        return false;
    };
    let Some(at) = own.places_mm.first() else { return false };
    closed(roi).flatten().all(|p| (dot(*p, own.normal) - at).abs() <= PLANAR_MM)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::identity::Token;
    use crate::{Contour, RoiHeader};

    /// Squares of 10 mm on planes at these places along z.
    fn roi(number: i64, planes: &[f64]) -> Roi {
        let square = |z: f64| [[0.0, 0.0, z], [10.0, 0.0, z], [10.0, 10.0, z], [0.0, 10.0, z]];
        let contours: Vec<Contour> = planes
            .iter()
            .map(|z| Contour { kind: ContourType::ClosedPlanar, points: square(*z).to_vec() })
            .collect();
        let header = RoiHeader {
            frame: Some(Token::new("frame")),
            contours: contours.len(),
            ..RoiHeader::named(number, "")
        };
        Roi { header, contours, refused: None }
    }

    fn found(rois: &mut [Roi]) -> Option<(f64, SpacingSource)> {
        from_other_structures(rois);
        rois[0].header.plane_spacing.map(|s| (s.distance.value(), s.source))
    }

    #[test]
    fn structures_that_are_drawn_there_tell_the_distance() {
        let (near, far) = ([0.0, 3.0, 6.0, 9.0], [100.0, 101.0, 102.0]);
        let mut rois =
            [roi(1, &[4.5, 4.5]), roi(2, &near), roi(3, &far), roi(4, &[0.0, 6.0, 12.0])];
        // Two are there, 3 and 6 mm apart: of an even number the upper one in the middle.
        assert_eq!(found(&mut rois), Some((6.0, SpacingSource::Structures(2))));
        assert!(rois[1..].iter().all(|r| r.header.plane_spacing.is_none()));
        let mut three = [roi(1, &[3.0]), roi(2, &near), roi(3, &near), roi(4, &[0.0, 6.0, 12.0])];
        assert_eq!(found(&mut three), Some((3.0, SpacingSource::Structures(3))));
        let mut elsewhere = [roi(1, &[50.0]), roi(2, &near)];
        assert_eq!(found(&mut elsewhere), Some((3.0, SpacingSource::Structures(1))));
    }

    #[test]
    fn nothing_else_is_evidence() {
        let near = [0.0, 3.0, 6.0];
        assert_eq!(found(&mut [roi(1, &[3.0]), roi(2, &[6.0])]), None, "two lone planes");
        let mut elsewhere = [roi(1, &[3.0]), roi(2, &near)];
        elsewhere[1].header.frame = Some(Token::new("other"));
        assert_eq!(found(&mut elsewhere), None);
        let mut across = [roi(1, &[3.0]), roi(2, &near)];
        let turned = |p: &mut Point| *p = [p[2], p[0], p[1]];
        across[1].contours.iter_mut().flat_map(|c| &mut c.points).for_each(turned);
        assert_eq!(found(&mut across), None);
        let mut refused = [roi(1, &[3.0]), roi(2, &near)];
        refused[1].refused = Some("no".to_owned());
        assert_eq!(found(&mut refused), None);
        let mut stated = [roi(1, &[3.0]), roi(2, &near)];
        let own = PlaneSpacing { distance: Millimetre::mm(1.5), source: SpacingSource::Stated };
        stated[0].header.plane_spacing = Some(own);
        assert_eq!(found(&mut stated), Some((1.5, SpacingSource::Stated)));
        let mut two = [roi(1, &[3.0, 4.0]), roi(2, &near)];
        assert_eq!(found(&mut two), None, "two planes have a distance of their own");
    }
}
