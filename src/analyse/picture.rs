//! What a person should see of one structure: three planes at its hottest point or its middle, with
//! the outlines of structures and the isodose lines in them, as plain lines in mm.
//!
//! The first plane shows contours where they were drawn, so it is the contour plane nearest to the
//! point of interest; the other two stand upright on it and go through the point itself, with the
//! outlines in steps of the slices. Isodose lines are those of the interpolated dose in the plane.
//! Knows nothing of pages as HTML, colours or files.

mod page;
mod section;

use std::cell::OnceCell;

use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantNames};

use self::page::Page;
use super::GridMeasurement;
use super::fields::Fields;
use super::missing::Missing;
use super::part::Part;
use super::trace::StructureTrace;
use tidydose_case::Role;
use tidydose_geometry::point::{Point, add, dot, scale};
use tidydose_geometry::stack::PlaneStack;
use tidydose_metrics::limits::Limit;

/// What a picture is centred on.
#[derive(EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum View {
    /// The point of the structure with the highest dose.
    HottestPoint,
    /// Its centre of mass.
    Middle,
}

impl View {
    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// How a picture lies in the patient, by the axis that its normal follows most.
#[derive(EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Orientation {
    /// Seen along the body.
    Axial,
    /// Seen from the front.
    Coronal,
    /// Seen from the side.
    Sagittal,
}

impl Orientation {
    /// That of a plane with this normal, in patient coordinates.
    #[must_use]
    pub fn of(normal: Point) -> Self {
        let size = normal.map(f64::abs);
        if size[2] >= size[1] && size[2] >= size[0] {
            Self::Axial
        } else if size[1] >= size[0] {
            Self::Coronal
        } else {
            Self::Sagittal
        }
    }

    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// What a line of a picture is.
#[derive(EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum LineKind {
    /// A contour as drawn, closed.
    Contour,
    /// An isodose line.
    Isodose,
    /// The point of interest: one point, with its dose.
    Mark,
}

impl LineKind {
    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// One line of a picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PictureLine {
    /// What it is.
    pub kind: LineKind,
    /// ROI Number of a contour.
    pub roi_number: Option<i64>,
    /// Dose of an isodose line or of the mark, Gy.
    pub dose_gy: Option<f64>,
    /// Points right of and below the centre of the picture, mm.
    pub points: Vec<[f64; 2]>,
}

/// One structure seen in one plane.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Picture {
    /// ROI Number of the structure that it is about.
    pub roi_number: i64,
    /// What it is centred on.
    pub view: View,
    /// How its plane lies.
    pub orientation: Orientation,
    /// Whether the outline of the structure was drawn in this plane; else it is cut across slices.
    pub as_drawn: bool,
    /// Patient direction to the right and down the page, as DICOM letters (L, R, A, P, H, F).
    pub directions: [char; 2],
    /// Position of the plane along its normal, mm.
    pub plane_mm: f64,
    /// How far the point of interest lies off that plane, mm.
    pub off_plane_mm: f64,
    /// Contours first, then isodose lines by falling dose, then the mark.
    pub lines: Vec<PictureLine>,
}

/// Half the width of a picture, mm.
pub const HALF_WIDTH_MM: f64 = 45.0;
/// Isodose lines that are of interest in every plan, Gy.
const USUAL_GY: [f64; 3] = [12.0, 8.0, 4.0];

/// The levels worth drawing, falling: the doses of limits, the prescription, half of it, and a few of
/// common interest that are not close to those.
#[must_use]
pub fn levels_gy(prescription_gy: Option<f64>, limits_gy: &[f64]) -> Vec<f64> {
    let mut levels: Vec<f64> = prescription_gy.into_iter().flat_map(|d| [d, d / 2.0]).collect();
    for usual in USUAL_GY {
        if levels.iter().all(|l| (l / usual - 1.0).abs() > 0.15) {
            levels.push(usual);
        }
    }
    levels.extend(limits_gy.iter().filter(|l| **l > 0.0));
    levels.sort_by(|a, b| b.total_cmp(a));
    levels.dedup();
    levels
}

/// A structure whose contours may be seen in a picture.
#[derive(Debug, Clone, Copy)]
pub struct Drawn<'a> {
    /// ROI Number.
    pub roi_number: i64,
    /// Its planes.
    pub stack: &'a PlaneStack,
}

/// What the dose adds to a picture at one level.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct DoseLines {
    /// Isodose lines.
    pub isodoses: Vec<PictureLine>,
    /// Dose at the point of interest, Gy; absent outside the grid.
    pub mark_gy: Option<f64>,
}

/// A structure with the point of it that a picture is about.
#[derive(Debug, Clone, Copy)]
pub struct Seen<'a> {
    /// ROI Number.
    pub roi_number: i64,
    /// Its planes.
    pub stack: &'a PlaneStack,
    /// What the picture is centred on.
    pub view: View,
    /// The point of interest.
    pub point: Point,
    /// Which axis of the stack the picture is seen along: [`ALONG`] in contour planes.
    pub axis: usize,
}

/// The axis of a stack that is the normal of its contour planes.
pub const ALONG: usize = 2;

impl Seen<'_> {
    fn normal(&self) -> Point {
        self.stack.axes.directions[self.axis]
    }

    /// Position along the normal of the point, and of the plane that is drawn.
    fn positions(&self) -> Option<[f64; 2]> {
        let wanted = dot(self.normal(), self.point);
        let drawn = if self.axis == ALONG { nearest(self.stack, wanted) } else { Some(wanted) };
        Some([wanted, drawn?])
    }

    fn page(&self) -> Option<Page> {
        let [wanted, plane] = self.positions()?;
        let normal = self.normal();
        Some(Page::new(normal, add(self.point, scale(normal, plane - wanted))))
    }

    /// The picture without dose, wide enough to show where a structure lies: `reach_mm` to each
    /// side, with lines thinned by no more than half a millimetre. Absent without contour planes.
    #[must_use]
    pub fn outlines(&self, drawn: &[Drawn<'_>], reach_mm: f64) -> Option<Picture> {
        self.pictured(&self.page()?.wide(reach_mm), drawn)
    }

    /// The outlines of structures on a page.
    fn pictured(&self, page: &Page, drawn: &[Drawn<'_>]) -> Option<Picture> {
        let [wanted, plane] = self.positions()?;
        Some(Picture {
            roi_number: self.roi_number,
            view: self.view,
            orientation: Orientation::of(self.normal()),
            as_drawn: self.axis == ALONG,
            directions: [letter(page.right), letter(page.down)],
            plane_mm: plane,
            off_plane_mm: (plane - wanted).abs(),
            lines: drawn.iter().flat_map(|d| page.outlines(d)).collect(),
        })
    }
}

/// The picture of a structure about a point of it; absent without contour planes.
#[must_use]
pub fn picture(seen: Seen<'_>, dose: DoseLines, drawn: &[Drawn<'_>]) -> Option<Picture> {
    let mut picture = seen.pictured(&seen.page()?, drawn)?;
    picture.lines.extend(dose.isodoses);
    picture.lines.push(PictureLine {
        kind: LineKind::Mark,
        roi_number: None,
        dose_gy: dose.mark_gy,
        points: vec![[0.0, 0.0]],
    });
    Some(picture)
}

impl GridMeasurement<'_> {
    /// Each organ about its hottest point, each target about its middle.
    pub(super) fn pictures(
        &self,
        parts: &[Part<'_>],
        traces: &[StructureTrace],
    ) -> Result<Vec<Picture>, Missing> {
        let drawn: Vec<Drawn<'_>> = parts
            .iter()
            .filter(|p| self.is_drawn(p))
            .filter_map(|p| {
                let stack = &p.solid.as_ref().ok()?.stack;
                Some(Drawn { roi_number: p.number(), stack })
            })
            .collect();
        let mut pictures = Vec::new();
        for part in parts.iter().filter(|p| (self.turn.wanted)(p.number()) && self.is_drawn(p)) {
            let trace = traces.iter().find(|t| t.roi_number == part.number());
            let Some((view, point)) = trace.and_then(|t| point_of_interest(part.role(), t)) else {
                continue;
            };
            let Ok(solid) = &part.solid else { continue };
            let limits = self.limits_gy(part.who().standard());
            for axis in [ALONG, 1, 0] {
                let (roi_number, stack) = (part.number(), &solid.stack);
                let seen = Seen { roi_number, stack, view, point, axis };
                pictures.extend(picture(seen, self.dose_lines(&seen, &limits)?, &drawn));
            }
        }
        if self.notes.looks_ahead() {
            self.pictures_ahead(parts, traces)?;
        }
        Ok(pictures)
    }

    /// Whether a structure is seen in pictures.
    fn is_drawn(&self, part: &Part<'_>) -> bool {
        // The surface of a head is a face: it stays inside the site.
        let is_skin = part.role() == Role::External || part.who().standard() == Some("Skin");
        part.solid.is_ok()
            && !part.in_other_frame(self.case)
            && !matches!(part.role(), Role::Helper | Role::Marker)
            && !is_skin
    }

    /// The doses of the limits that hold for an organ in this case, or of all organs when it is not
    /// known which it is, Gy.
    fn limits_gy(&self, organ: Option<&str>) -> Vec<f64> {
        let Some(fractions) = self.case.plan.as_ref().and_then(tidydose_rt::Plan::fractions) else {
            return Vec::new();
        };
        let limits = self.settings.limits.iter().filter(|l| {
            l.tier.decides() && l.is_for(fractions) && organ.is_none_or(|o| l.organ == o)
        });
        limits.filter_map(Limit::isodose_gy).collect()
    }

    /// The isodose lines of a picture, each level remembered by itself: a decision on a name asks for
    /// other levels, and not for a new look at the dose.
    fn dose_lines(&self, seen: &Seen<'_>, limits_gy: &[f64]) -> Result<DoseLines, Missing> {
        let page = seen.page().filter(|_| self.dose.is_some());
        let Some(page) = page else { return Ok(DoseLines::default()) };
        let raster = OnceCell::new();
        let all = &self.case.prescriptions;
        let own = all.iter().find(|p| p.roi_number == seen.roi_number).map(|p| p.dose.value());
        // An organ is seen against the highest of all.
        let prescribed = own.or_else(|| all.iter().map(|p| p.dose.value()).reduce(f64::max));
        let mut lines = DoseLines::default();
        for level in levels_gy(prescribed, limits_gy) {
            let key = format!("{} {} {} {level}", seen.roi_number, seen.view.word(), seen.axis);
            let make = |fields: Fields<'_>| {
                let raster = raster.get_or_init(|| page.raster(fields.nominal));
                let isodoses = page.isodose(fields.nominal, raster, level);
                DoseLines { isodoses, mark_gy: fields.nominal.at(seen.point) }
            };
            let one = self.notes.picture_or(key, || self.fields.map(make).ok_or(Missing))?;
            lines.isodoses.extend(one.isodoses);
            lines.mark_gy = one.mark_gy;
        }
        Ok(lines)
    }

    /// Keeps what the pictures of structures of unknown kind will need when they turn out to be
    /// organs, whichever it is.
    fn pictures_ahead(&self, parts: &[Part<'_>], traces: &[StructureTrace]) -> Result<(), Missing> {
        if self.fields.is_none() {
            return Ok(());
        }
        let limits = self.limits_gy(None);
        for part in parts.iter().filter(|p| p.is_open() && p.role() == Role::Unknown) {
            let trace = traces.iter().find(|t| t.roi_number == part.number());
            let interest = trace.and_then(|t| point_of_interest(Role::Organ, t));
            let (Some((view, point)), Ok(solid)) = (interest, &part.solid) else { continue };
            for axis in [ALONG, 1, 0] {
                let (roi_number, stack) = (part.number(), &solid.stack);
                self.dose_lines(&Seen { roi_number, stack, view, point, axis }, &limits)?;
            }
        }
        Ok(())
    }
}

/// What the picture of a structure of a role is about; nothing for one that has none.
fn point_of_interest(role: Role, trace: &StructureTrace) -> Option<(View, Point)> {
    match role {
        Role::Organ => Some((View::HottestPoint, trace.hottest?.point_mm)),
        role if role.is_target() => Some((View::Middle, trace.middle_mm?)),
        _ => None,
    }
}

/// The contour plane nearest to a position along the normal.
fn nearest(stack: &PlaneStack, w_mm: f64) -> Option<f64> {
    let planes = stack.planes.iter().map(|p| p.w_mm);
    planes.min_by(|a, b| (a - w_mm).abs().total_cmp(&(b - w_mm).abs()))
}

/// The DICOM letter of the axis that a direction follows most.
fn letter(direction: Point) -> char {
    let letters = [['L', 'R'], ['P', 'A'], ['H', 'F']];
    let axis = (0..3)
        .max_by(|&a, &b| direction[a].abs().total_cmp(&direction[b].abs()))
        .unwrap_or_default();
    letters[axis][usize::from(direction[axis] < 0.0)]
}

#[cfg(test)]
mod tests {
    use ndarray::Array3;

    use super::*;
    use crate::trace::StructureTrace;
    use tidydose_dose::{DoseField, Interpolation};
    use tidydose_geometry::Grid;
    use tidydose_geometry::point::sub;
    use tidydose_geometry::units::Gray;
    use tidydose_rt::{Contour, ContourType, Dose, Roi, RoiHeader};

    /// A dose that falls by 1 Gy per mm from 30 Gy at `centre`.
    fn cone(centre: Point) -> DoseField {
        let grid = Grid::new(
            [-30.0; 3],
            [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]],
            [1.0, 1.0],
            (0..61).map(f64::from).collect(),
            [61, 61],
        )
        .unwrap();
        #[allow(clippy::cast_possible_truncation)]
        let values = Array3::from_shape_fn([61, 61, 61], |(k, i, j)| {
            let p = [j, i, k].map(|n| n as f64 - 30.0);
            (30.0 - tidydose_geometry::point::length(sub(p, centre))).max(0.0) as f32
        });
        DoseField::new(Dose { grid, values, step: Gray::gy(0.0) }, Interpolation::CubicBSpline)
    }

    fn square(z: f64, half: f64) -> Vec<Point> {
        [[-half, -half], [half, -half], [half, half], [-half, half]]
            .map(|[x, y]| [x, y, z])
            .to_vec()
    }

    fn pictured(view: View, field: &DoseField) -> Picture {
        seen_along(ALONG, view, field)
    }

    fn seen_along(axis: usize, view: View, field: &DoseField) -> Picture {
        let curves: Vec<_> = (0..9).map(|k| square(f64::from(k) - 4.0, 5.0)).collect();
        let contours = curves.into_iter();
        let contours = contours.map(|points| Contour { kind: ContourType::ClosedPlanar, points });
        let header = RoiHeader { contours: 9, ..RoiHeader::named(7, "Box") };
        let roi = Roi { header, contours: contours.collect(), refused: None };
        let solid = crate::structure::build(&roi, &Default::default(), &mut Vec::new()).unwrap();
        let cells = solid.occupancy(
            crate::Ends::HalfSlice,
            1.0,
            tidydose_geometry::smooth::Variant::default(),
        );
        let trace = StructureTrace::of(7, &solid, &cells, Some(field));
        let point = match view {
            View::HottestPoint => trace.hottest.unwrap().point_mm,
            View::Middle => trace.middle_mm.unwrap(),
        };
        let drawn = [Drawn { roi_number: 7, stack: &solid.stack }];
        let seen = Seen { roi_number: 7, stack: &solid.stack, view, point, axis };
        let page = seen.page().unwrap();
        let raster = page.raster(field);
        let lines = [25.0, 20.0].map(|level| page.isodose(field, &raster, level)).concat();
        let dose = DoseLines { isodoses: lines, mark_gy: field.at(point) };
        picture(seen, dose, &drawn).unwrap()
    }

    #[test]
    fn isodose_lines_of_a_cone_are_circles() {
        let centre = [9.0, 2.0, 1.0];
        let field = cone(centre);
        let p = pictured(View::Middle, &field);
        assert_eq!(p.directions, ['L', 'P']);
        assert!(p.plane_mm.abs() < 1e-9 && p.off_plane_mm < 1e-9, "{}", p.plane_mm);
        for level in [20.0, 25.0] {
            let radius = ((30.0_f64 - level).powi(2) - 1.0).sqrt(); // the plane is 1 mm off
            let lines: Vec<_> = p.lines.iter().filter(|l| l.dose_gy == Some(level)).collect();
            assert_eq!(lines.len(), 1, "{level}");
            assert!(lines[0].points.len() > 12);
            for q in &lines[0].points {
                let r = (q[0] - centre[0]).hypot(q[1] - centre[1]);
                // Linear between points 1 mm apart on a circle: off by 1/(8 r), and the spline.
                assert!((r - radius).abs() < 0.125 / radius + 0.05, "{level}: {r}");
            }
        }
    }

    #[test]
    fn the_other_planes_go_through_the_point_and_cut_the_slices() {
        let centre = [9.0, 2.0, 1.2];
        let field = cone(centre);
        for (axis, orientation, directions) in [
            (0, Orientation::Sagittal, ['P', 'F']),
            (1, Orientation::Coronal, ['L', 'F']),
            (2, Orientation::Axial, ['L', 'P']),
        ] {
            let p = seen_along(axis, View::Middle, &field);
            assert_eq!((p.orientation, p.directions), (orientation, directions));
            assert_eq!(p.as_drawn, axis == 2);
            let contour: Vec<_> = p.lines.iter().filter(|l| l.kind == LineKind::Contour).collect();
            assert_eq!(contour.len(), 1);
            // A box of 10 by 10 mm on nine slices of 1 mm.
            let reach = |n: usize| contour[0].points.iter().map(|q| q[n].abs()).fold(0.0, f64::max);
            let high = if axis == 2 { 5.0 } else { 4.5 };
            assert!((reach(0) - 5.0).abs() < 1e-6 && (reach(1) - high).abs() < 1e-6, "{axis}");
            // The circle of 20 Gy lies about the summit as it is seen in this plane.
            let seen = match axis {
                0 => [centre[1], -centre[2]],
                1 => [centre[0], -centre[2]],
                _ => [centre[0], centre[1]],
            };
            let off = if axis == 2 { centre[2] - p.plane_mm } else { centre[axis] };
            let radius = (100.0_f64 - off * off).sqrt();
            let lines: Vec<_> = p.lines.iter().filter(|l| l.dose_gy == Some(20.0)).collect();
            assert!(!lines.is_empty(), "{axis}");
            for q in lines.iter().flat_map(|l| &l.points) {
                let r = (q[0] - seen[0]).hypot(q[1] - seen[1]);
                // As above; where the plane passes far from the summit the circle is small.
                assert!((r - radius).abs() < 0.125 / radius + 0.05, "{axis}: {r} for {radius}");
            }
        }
    }

    #[test]
    fn the_hottest_point_is_the_nearest_to_the_summit() {
        let p = pictured(View::HottestPoint, &cone([9.0, 2.0, 1.2]));
        assert!((p.plane_mm - 1.0).abs() < 1e-9);
        let mark = p.lines.last().unwrap();
        assert_eq!((mark.kind, mark.points[0]), (LineKind::Mark, [0.0, 0.0]));
        // Cells are a quarter of a millimetre or so: the middle of the nearest is that far off.
        assert!((mark.dose_gy.unwrap() - 26.0).abs() < 0.5, "{:?}", mark.dose_gy);
        let contour = p.lines.iter().find(|l| l.kind == LineKind::Contour).unwrap();
        let right = contour.points.iter().map(|q| q[0]).fold(f64::MIN, f64::max);
        assert!(right > 0.0 && right < 0.5, "the face lies just right of the mark: {right}");
    }

    #[test]
    fn the_edge_of_the_grid_is_no_isodose_line() {
        let field = cone([29.0, 0.0, 0.0]);
        let p = pictured(View::Middle, &field);
        let line = p.lines.iter().filter(|l| l.dose_gy == Some(20.0));
        let most = line.flat_map(|l| &l.points).map(|q| q[0]).fold(f64::MIN, f64::max);
        assert!(most > 29.0 && most <= 30.5, "{most}");
        let straight = p.lines.iter().filter(|l| l.dose_gy == Some(20.0)).any(|l| {
            let ends = l.points.windows(2);
            ends.filter(|w| w.iter().all(|q| q[0] > 29.9)).any(|w| (w[0][1] - w[1][1]).abs() > 3.0)
        });
        assert!(!straight, "a line runs along the edge of the grid");
    }

    #[test]
    fn levels_that_nearly_repeat_are_left_out() {
        assert_eq!(levels_gy(Some(24.0), &[]), [24.0, 12.0, 8.0, 4.0]);
        assert_eq!(levels_gy(Some(20.0), &[]), [20.0, 12.0, 10.0, 8.0, 4.0]);
        assert_eq!(levels_gy(None, &[]), [12.0, 8.0, 4.0]);
    }

    #[test]
    fn a_limit_is_a_level_however_close_to_another() {
        assert_eq!(levels_gy(Some(24.0), &[12.5, 12.0]), [24.0, 12.5, 12.0, 8.0, 4.0]);
    }
}
