//! A plane of the patient laid on a page: where its points are there, which outlines and isodose
//! lines are seen in it. Knows no structure but as a stack of planes, and no case.

use contour::ContourBuilder;
use geo::{Coord, LineString, Simplify};

use super::section::section;
use super::{Drawn, HALF_WIDTH_MM, LineKind, Orientation, PictureLine, nearest};
use tidydose_dose::DoseField;
use tidydose_geometry::point::{Point, add, cross, dot, scale, sub, unit};

/// Distance of the points at which dose is read for isodose lines, mm.
const STEP_MM: f64 = 1.0;
/// Lines are thinned by no more than this, mm.
const THINNED_MM: f64 = 0.05;
/// And by no more than this where a picture only shows what lies where, mm: less than a screen shows.
const COARSE_MM: f64 = 0.5;
/// Cosine of the angle from which on two directions are no longer the same one.
const SAME_DIRECTION: f64 = 0.999_99;
/// Stands for no dose where isodose lines are sought: below every level.
const OUTSIDE_GY: f64 = -1.0;

/// A plane laid on a page.
pub(super) struct Page {
    normal: Point,
    centre: Point,
    pub(super) right: Point,
    pub(super) down: Point,
    /// Half of what is shown, mm.
    reach_mm: f64,
    thinned_mm: f64,
}

/// The doses of a page, for isodose lines of any level.
pub(super) struct Raster {
    side: usize,
    doses_gy: Vec<f64>,
}

impl Page {
    /// The patient's left to the right and posterior (in coronal and sagittal planes the feet) down.
    pub(super) fn new(normal: Point, centre: Point) -> Self {
        let (right, down) = match Orientation::of(normal) {
            Orientation::Sagittal => ([0.0, 1.0, 0.0], [0.0, 0.0, -1.0]),
            Orientation::Coronal => ([1.0, 0.0, 0.0], [0.0, 0.0, -1.0]),
            Orientation::Axial => ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0]),
        };
        let right = unit(sub(right, scale(normal, dot(normal, right)))).unwrap_or(right);
        let other = cross(normal, right);
        let down = if dot(other, down) < 0.0 { scale(other, -1.0) } else { other };
        let (reach_mm, thinned_mm) = (HALF_WIDTH_MM, THINNED_MM);
        Self { normal, centre, right, down, reach_mm, thinned_mm }
    }

    /// The same with another half width, for a picture that only shows what lies where.
    pub(super) fn wide(self, reach_mm: f64) -> Self {
        Self { reach_mm, thinned_mm: COARSE_MM, ..self }
    }

    fn shows(&self, p: [f64; 2]) -> bool {
        p.iter().all(|c| c.abs() <= self.reach_mm)
    }

    fn point(&self, [x, y]: [f64; 2]) -> Point {
        add(self.centre, add(scale(self.right, x), scale(self.down, y)))
    }

    fn on_page(&self, point: Point) -> [f64; 2] {
        let d = sub(point, self.centre);
        [dot(d, self.right), dot(d, self.down)]
    }

    /// The outlines of a structure in this plane: as drawn where its slices are parallel to it, cut
    /// across them where they stand upright on it; none where they are oblique to it.
    pub(super) fn outlines(&self, drawn: &Drawn<'_>) -> Vec<PictureLine> {
        let along = dot(drawn.stack.axes.directions[2], self.normal).abs();
        let rings = if along > SAME_DIRECTION {
            self.contours(drawn)
        } else if along < (1.0 - SAME_DIRECTION * SAME_DIRECTION).sqrt() {
            section(drawn.stack, self.normal, dot(self.normal, self.centre))
        } else {
            Vec::new()
        };
        let on_page = rings.iter().map(|ring| {
            let mut points: Vec<_> = ring.iter().map(|p| self.on_page(*p)).collect();
            points.extend(points.first().copied());
            points
        });
        // What encloses the whole page has no point on it and is there all the same.
        let seen = on_page.filter(|ring| ring.iter().any(|p| self.shows(*p)) || holds_middle(ring));
        let line = |points: Vec<[f64; 2]>| PictureLine {
            kind: LineKind::Contour,
            roi_number: Some(drawn.roi_number),
            dose_gy: None,
            points: thinned(&points, self.thinned_mm),
        };
        seen.map(line).collect()
    }

    /// The rings of a structure on its plane nearest to this one, when that is nearer than half its
    /// plane distance.
    fn contours(&self, drawn: &Drawn<'_>) -> Vec<Vec<Point>> {
        let axes = &drawn.stack.axes;
        let here = dot(axes.directions[2], self.centre);
        let reach = drawn.stack.typical_gap_mm().map_or(0.5, |gap| gap / 2.0) + 1e-3;
        let plane = nearest(drawn.stack, here).filter(|w| (w - here).abs() <= reach);
        let Some(plane) = drawn.stack.planes.iter().find(|p| Some(p.w_mm) == plane) else {
            return Vec::new();
        };
        let place = |p: &[f64; 2]| axes.point([p[0], p[1], plane.w_mm]);
        plane.region.rings().iter().map(|ring| ring.iter().map(place).collect()).collect()
    }

    /// Where the points of a raster lie, from the first on; a hundred along a side.
    #[allow(clippy::cast_precision_loss)]
    fn position(i: usize) -> f64 {
        i as f64 * STEP_MM - HALF_WIDTH_MM - STEP_MM
    }

    /// The doses of the whole page.
    pub(super) fn raster(&self, field: &DoseField) -> Raster {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a hundred points
        let side = (2.0 * HALF_WIDTH_MM / STEP_MM) as usize + 3;
        let mut doses_gy = Vec::with_capacity(side * side);
        for row in 0..side {
            for column in 0..side {
                let point = self.point([Self::position(column), Self::position(row)]);
                doses_gy.push(field.at(point).unwrap_or(OUTSIDE_GY));
            }
        }
        Raster { side, doses_gy }
    }

    /// The isodose lines of one level.
    pub(super) fn isodose(
        &self,
        field: &DoseField,
        raster: &Raster,
        level_gy: f64,
    ) -> Vec<PictureLine> {
        // The builder has its values in the middle of unit cells.
        let origin = Self::position(0) - STEP_MM / 2.0;
        let builder = ContourBuilder::new(raster.side, raster.side, true)
            .x_origin(origin)
            .y_origin(origin)
            .x_step(STEP_MM)
            .y_step(STEP_MM);
        let Ok(found) = builder.lines(&raster.doses_gy, &[level_gy]) else { return Vec::new() };
        let mut lines = Vec::new();
        for string in found.iter().flat_map(|line| &line.geometry().0) {
            let points: Vec<_> = string.0.iter().map(|c| [c.x, c.y]).collect();
            let pieces = points.split(|p| !self.is_on_level(field, *p, level_gy));
            lines.extend(pieces.filter(|p| p.len() > 1).map(|points| PictureLine {
                kind: LineKind::Isodose,
                roi_number: None,
                dose_gy: Some(level_gy),
                points: thinned(points, self.thinned_mm),
            }));
        }
        lines
    }

    /// Whether a line is there for the dose and not for the edge of the grid or of the picture.
    fn is_on_level(&self, field: &DoseField, p: [f64; 2], level_gy: f64) -> bool {
        let dose = field.at(self.point(p));
        p.iter().all(|c| c.abs() <= HALF_WIDTH_MM + STEP_MM)
            && dose.is_some_and(|d| (d - level_gy).abs() < 0.5 + 0.1 * level_gy)
    }
}

/// Whether a closed ring goes around the middle of the page.
fn holds_middle(ring: &[[f64; 2]]) -> bool {
    let mut inside = false;
    for pair in ring.windows(2) {
        let [[x, y], [u, v]] = [pair[0], pair[1]];
        // The edge crosses the horizontal axis, to the right of the middle.
        if (y > 0.0) != (v > 0.0) && x - y * (u - x) / (v - y) > 0.0 {
            inside = !inside;
        }
    }
    inside
}

fn thinned(points: &[[f64; 2]], by_mm: f64) -> Vec<[f64; 2]> {
    let line: LineString<f64> = points.iter().map(|p| Coord { x: p[0], y: p[1] }).collect();
    line.simplify(by_mm).0.iter().map(|c| [c.x, c.y]).collect()
}

#[cfg(test)]
mod tests {
    use super::super::letter;
    use super::*;

    #[test]
    fn a_ring_goes_around_the_middle_or_not() {
        let square = |x: f64| {
            [[x - 60.0, -60.0], [x + 60.0, -60.0], [x + 60.0, 60.0], [x - 60.0, 60.0]]
                .into_iter()
                .chain([[x - 60.0, -60.0]])
                .collect::<Vec<_>>()
        };
        assert!(holds_middle(&square(0.0)) && holds_middle(&square(59.0)));
        assert!(!holds_middle(&square(61.0)) && !holds_middle(&square(-130.0)));
    }

    #[test]
    fn letters_follow_the_patient_in_every_plane() {
        for (normal, wanted) in [
            ([0.0, 0.0, 1.0], ['L', 'P']),
            ([0.0, 0.0, -1.0], ['L', 'P']),
            ([0.0, 1.0, 0.0], ['L', 'F']),
            ([1.0, 0.0, 0.0], ['P', 'F']),
            ([0.0, 0.3, 0.954], ['L', 'P']),
        ] {
            let page = Page::new(unit(normal).unwrap(), [0.0; 3]);
            assert_eq!([letter(page.right), letter(page.down)], wanted, "{normal:?}");
        }
    }
}
