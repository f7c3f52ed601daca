//! What a person should see of one structure: the contour plane through its hottest point or its
//! middle, with the contours that are drawn there and the isodose lines, as plain lines in mm.
//!
//! A picture shows contours where they were drawn, so its plane is the contour plane nearest to the
//! point of interest; isodose lines are those of the interpolated dose in that plane. Knows nothing
//! of pages, colours or files.

use contour::ContourBuilder;
use geo::{Coord, LineString, Simplify};
use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantNames};

use super::GridMeasurement;
use super::fields::Fields;
use super::missing::Missing;
use super::part::Part;
use super::trace::StructureTrace;
use tidydose_case::Role;
use tidydose_dose::DoseField;
use tidydose_geometry::point::{Point, add, cross, dot, scale, sub, unit};
use tidydose_geometry::stack::PlaneStack;

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
/// Distance of the points at which dose is read for isodose lines, mm.
const STEP_MM: f64 = 1.0;
/// Lines are thinned by no more than this, mm.
const THINNED_MM: f64 = 0.05;
/// And by no more than this where a picture only shows what lies where, mm: less than a screen shows.
const COARSE_MM: f64 = 0.5;
/// Isodose lines that are of interest in every plan, Gy.
const USUAL_GY: [f64; 3] = [12.0, 8.0, 4.0];

/// The levels worth drawing, falling: the prescription, half of it and a few of common interest
/// that are not close to those.
#[must_use]
pub fn levels_gy(prescription_gy: Option<f64>) -> Vec<f64> {
    let mut levels: Vec<f64> = prescription_gy.into_iter().flat_map(|d| [d, d / 2.0]).collect();
    for usual in USUAL_GY {
        if levels.iter().all(|l| (l / usual - 1.0).abs() > 0.15) {
            levels.push(usual);
        }
    }
    levels.sort_by(|a, b| b.total_cmp(a));
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

/// What the dose adds to a picture.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct DoseLines {
    /// Isodose lines by falling dose.
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
}

impl Seen<'_> {
    /// Position along the normal of the point, and of the plane that is drawn.
    fn positions(&self) -> Option<[f64; 2]> {
        let wanted = dot(self.stack.axes.directions[2], self.point);
        Some([wanted, nearest(self.stack, wanted)?])
    }

    fn page(&self, [wanted, plane]: [f64; 2]) -> Page {
        let normal = self.stack.axes.directions[2];
        Page::new(normal, add(self.point, scale(normal, plane - wanted)))
    }

    /// The picture without dose, wide enough to show where a structure lies: `reach_mm` to each
    /// side, with lines thinned by no more than half a millimetre. Absent without contour planes.
    #[must_use]
    pub fn outlines(&self, drawn: &[Drawn<'_>], reach_mm: f64) -> Option<Picture> {
        let [wanted, plane] = self.positions()?;
        let page = Page { reach_mm, thinned_mm: COARSE_MM, ..self.page([wanted, plane]) };
        Some(Picture {
            roi_number: self.roi_number,
            view: self.view,
            directions: [letter(page.right), letter(page.down)],
            plane_mm: plane,
            off_plane_mm: (plane - wanted).abs(),
            lines: drawn.iter().flat_map(|d| page.contours(d)).collect(),
        })
    }

    /// What a dose adds to the picture.
    #[must_use]
    pub fn dose_lines(&self, field: &DoseField, levels_gy: &[f64]) -> DoseLines {
        let lines = |at| self.page(at).isodoses(field, levels_gy);
        let isodoses = self.positions().map(lines).unwrap_or_default();
        DoseLines { isodoses, mark_gy: field.at(self.point) }
    }
}

/// The picture of a structure about a point of it; absent without contour planes.
#[must_use]
pub fn picture(seen: Seen<'_>, dose: DoseLines, drawn: &[Drawn<'_>]) -> Option<Picture> {
    let [wanted, plane] = seen.positions()?;
    let page = seen.page([wanted, plane]);
    let mut lines: Vec<PictureLine> = drawn.iter().flat_map(|d| page.contours(d)).collect();
    lines.extend(dose.isodoses);
    lines.push(PictureLine {
        kind: LineKind::Mark,
        roi_number: None,
        dose_gy: dose.mark_gy,
        points: vec![[0.0, 0.0]],
    });
    Some(Picture {
        roi_number: seen.roi_number,
        view: seen.view,
        directions: [letter(page.right), letter(page.down)],
        plane_mm: plane,
        off_plane_mm: (plane - wanted).abs(),
        lines,
    })
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
            let about = |(view, point): (View, Point)| {
                let stack = &part.solid.as_ref().ok()?.stack;
                Some(Seen { roi_number: part.number(), stack, view, point })
            };
            let Some(seen) = trace.and_then(|t| point_of_interest(part.role(), t)).and_then(about)
            else {
                continue;
            };
            pictures.extend(picture(seen, self.dose_lines(&seen)?, &drawn));
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

    fn dose_lines(&self, seen: &Seen<'_>) -> Result<DoseLines, Missing> {
        if self.dose.is_none() {
            return Ok(DoseLines::default());
        }
        let highest = self.case.prescriptions.iter().map(|p| p.dose.value()).reduce(f64::max);
        let levels = levels_gy(highest);
        let key = format!("{} {} {levels:?}", seen.roi_number, seen.view.word());
        let make = |fields: Fields<'_>| seen.dose_lines(fields.nominal, &levels);
        self.notes.picture_or(key, || self.fields.map(make).ok_or(Missing))
    }

    /// Keeps what the pictures of structures of unknown kind will need when they turn out to be
    /// organs.
    fn pictures_ahead(&self, parts: &[Part<'_>], traces: &[StructureTrace]) -> Result<(), Missing> {
        if self.fields.is_none() {
            return Ok(());
        }
        for part in parts.iter().filter(|p| p.is_open() && p.role() == Role::Unknown) {
            let trace = traces.iter().find(|t| t.roi_number == part.number());
            let interest = trace.and_then(|t| point_of_interest(Role::Organ, t));
            if let (Some((view, point)), Ok(solid)) = (interest, &part.solid) {
                let stack = &solid.stack;
                self.dose_lines(&Seen { roi_number: part.number(), stack, view, point })?;
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

/// A plane laid on a page.
struct Page {
    normal: Point,
    centre: Point,
    right: Point,
    down: Point,
    /// Half of what is shown, mm.
    reach_mm: f64,
    thinned_mm: f64,
}

impl Page {
    /// The patient's left to the right and posterior (in coronal and sagittal planes the feet) down.
    fn new(normal: Point, centre: Point) -> Self {
        let steepest =
            (0..3).max_by(|&a, &b| normal[a].abs().total_cmp(&normal[b].abs())).unwrap_or_default();
        let (right, down) = match steepest {
            0 => ([0.0, 1.0, 0.0], [0.0, 0.0, -1.0]),
            1 => ([1.0, 0.0, 0.0], [0.0, 0.0, -1.0]),
            _ => ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0]),
        };
        let right = unit(sub(right, scale(normal, dot(normal, right)))).unwrap_or(right);
        let other = cross(normal, right);
        let down = if dot(other, down) < 0.0 { scale(other, -1.0) } else { other };
        let (reach_mm, thinned_mm) = (HALF_WIDTH_MM, THINNED_MM);
        Self { normal, centre, right, down, reach_mm, thinned_mm }
    }

    fn point(&self, [x, y]: [f64; 2]) -> Point {
        add(self.centre, add(scale(self.right, x), scale(self.down, y)))
    }

    fn on_page(&self, point: Point) -> [f64; 2] {
        let d = sub(point, self.centre);
        [dot(d, self.right), dot(d, self.down)]
    }

    fn shows(&self, p: [f64; 2]) -> bool {
        p.iter().all(|c| c.abs() <= self.reach_mm)
    }

    /// The rings of a structure on its plane nearest to this one, when that is nearer than half its
    /// plane distance.
    fn contours(&self, drawn: &Drawn<'_>) -> Vec<PictureLine> {
        let axes = &drawn.stack.axes;
        let along = dot(axes.directions[2], self.normal);
        if along.abs() < 0.999_99 {
            return Vec::new();
        }
        let here = dot(axes.directions[2], self.centre);
        let reach = drawn.stack.typical_gap_mm().map_or(0.5, |gap| gap / 2.0) + 1e-3;
        let plane = nearest(drawn.stack, here).filter(|w| (w - here).abs() <= reach);
        let Some(plane) = drawn.stack.planes.iter().find(|p| Some(p.w_mm) == plane) else {
            return Vec::new();
        };
        let rings = plane.region.rings().iter().map(|ring| {
            let points = ring.iter().map(|p| axes.point([p[0], p[1], plane.w_mm]));
            let mut points: Vec<_> = points.map(|p| self.on_page(p)).collect();
            points.extend(points.first().copied());
            points
        });
        let seen = rings.filter(|ring| ring.iter().any(|p| self.shows(*p)));
        let line = |points: Vec<[f64; 2]>| PictureLine {
            kind: LineKind::Contour,
            roi_number: Some(drawn.roi_number),
            dose_gy: None,
            points: thinned(&points, self.thinned_mm),
        };
        seen.map(line).collect()
    }

    fn isodoses(&self, field: &DoseField, levels_gy: &[f64]) -> Vec<PictureLine> {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a hundred points
        let side = (2.0 * HALF_WIDTH_MM / STEP_MM) as usize + 3;
        let first = -HALF_WIDTH_MM - STEP_MM;
        #[allow(clippy::cast_precision_loss)] // a hundred points
        let position = |i: usize| first + i as f64 * STEP_MM;
        let mut doses = Vec::with_capacity(side * side);
        for row in 0..side {
            for column in 0..side {
                let point = self.point([position(column), position(row)]);
                doses.push(field.at(point).unwrap_or(OUTSIDE_GY));
            }
        }
        // The builder has its values in the middle of unit cells.
        let origin = first - STEP_MM / 2.0;
        let builder = ContourBuilder::new(side, side, true)
            .x_origin(origin)
            .y_origin(origin)
            .x_step(STEP_MM)
            .y_step(STEP_MM);
        let Ok(found) = builder.lines(&doses, levels_gy) else { return Vec::new() };
        let mut lines = Vec::new();
        for line in found {
            let level = line.threshold();
            for string in line.geometry() {
                let points: Vec<_> = string.0.iter().map(|c| [c.x, c.y]).collect();
                let pieces = points.split(|p| !self.is_on_level(field, *p, level));
                lines.extend(pieces.filter(|p| p.len() > 1).map(|points| PictureLine {
                    kind: LineKind::Isodose,
                    roi_number: None,
                    dose_gy: Some(level),
                    points: thinned(points, self.thinned_mm),
                }));
            }
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

/// Stands for no dose where isodose lines are sought: below every level.
const OUTSIDE_GY: f64 = -1.0;

fn thinned(points: &[[f64; 2]], by_mm: f64) -> Vec<[f64; 2]> {
    let line: LineString<f64> = points.iter().map(|p| Coord { x: p[0], y: p[1] }).collect();
    line.simplify(by_mm).0.iter().map(|c| [c.x, c.y]).collect()
}

#[cfg(test)]
mod tests {
    use ndarray::Array3;

    use super::*;
    use crate::trace::StructureTrace;
    use tidydose_dose::Interpolation;
    use tidydose_geometry::Grid;
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
        let seen = Seen { roi_number: 7, stack: &solid.stack, view, point };
        picture(seen, seen.dose_lines(field, &[20.0, 25.0]), &drawn).unwrap()
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

    #[test]
    fn levels_that_nearly_repeat_are_left_out() {
        assert_eq!(levels_gy(Some(24.0)), [24.0, 12.0, 8.0, 4.0]);
        assert_eq!(levels_gy(Some(20.0)), [20.0, 12.0, 10.0, 8.0, 4.0]);
        assert_eq!(levels_gy(None), [12.0, 8.0, 4.0]);
    }
}
