//! What the shapes of a case say about who is who: on which side of the brain's middle plane a
//! structure lies, where it is against the brain, whether it has a plausible size, and whether one
//! shape goes under two names. It names nothing and changes no role; people decide.
//!
//! Coordinates are those of the patient (x to the left, y to the back, z to the head) whatever the
//! position in which the patient was imaged, so that a side needs no correction for it.

use serde::{Deserialize, Serialize};
use strum::{EnumIter, IntoStaticStr, VariantNames};

use super::shape::Shape;
use tidydose_case::{Case, Role, VolumeWindow, side_of_target, volume_window};
use tidydose_geometry::Point;
use tidydose_geometry::point::{add, dot, midpoint, scale, sub, unit};
use tidydose_rt::finding::{Code, Finding, Subject};

/// Nearer to the middle plane than this a centre says no side, mm: half the width of a chiasm.
const MIDDLE_MM: f64 = 3.0;

/// The side on which a structure lies, from its shape alone.
#[derive(EnumIter, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum SeenSide {
    /// Left of the middle plane.
    Left,
    /// Right of the middle plane.
    Right,
    /// On the middle plane.
    Middle,
}

impl SeenSide {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Left => "on the patient's left, by more than 3 mm",
            Self::Right => "on the patient's right, by more than 3 mm",
            Self::Middle => "within 3 mm of the middle plane of the brain",
        }
    }

    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// What the shape of one structure says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShapeEvidence {
    /// ROI Number.
    pub roi_number: i64,
    /// Volume of the contours times their thickness, cc.
    pub volume_cc: f64,
    /// Centre of mass, mm.
    pub centre_mm: Point,
    /// The side; absent where no middle plane is known.
    pub side: Option<SeenSide>,
    /// Centre of mass from that of the brain, mm: to the left, to the back, to the head; absent
    /// without brain.
    pub from_brain_mm: Option<Point>,
    /// The plausible volumes of its standard name, where known.
    pub window: Option<VolumeWindow>,
}

/// The plane between left and right: points with `normal · p = offset`, the normal to the left.
#[derive(Debug, Clone, Copy)]
struct MiddlePlane {
    normal: Point,
    offset: f64,
}

impl MiddlePlane {
    /// From the brain's centre and the middles of paired organs. It does not matter which of a pair
    /// is called left: that is what it shall tell.
    fn of(case: &Case, shapes: &[Shape]) -> Option<Self> {
        let pairs = pairs(case, shapes);
        let leftward = |[a, b]: &[Point; 2]| {
            let across = sub(*a, *b);
            if across[0] < 0.0 { scale(across, -1.0) } else { across }
        };
        let sum = pairs.iter().map(leftward).fold([0.0; 3], add);
        let normal = unit(sum).filter(|n| n[0] > 0.8).unwrap_or([1.0, 0.0, 0.0]);
        let middles = pairs.iter().map(|[a, b]| midpoint(*a, *b));
        let brain = one_named(case, shapes, "Brain").map(|s| s.centre_mm);
        let mut offsets: Vec<f64> = middles.chain(brain).map(|p| dot(normal, p)).collect();
        offsets.sort_by(f64::total_cmp);
        let offset = *offsets.get(offsets.len() / 2)?;
        Some(Self { normal, offset })
    }

    /// How far to the left of it a point lies, mm; less than nothing to the right.
    fn leftward_mm(self, point: Point) -> f64 {
        dot(self.normal, point) - self.offset
    }

    fn side(self, point: Point) -> SeenSide {
        match self.leftward_mm(point) {
            d if d > MIDDLE_MM => SeenSide::Left,
            d if d < -MIDDLE_MM => SeenSide::Right,
            _ => SeenSide::Middle,
        }
    }
}

fn standard<'c>(case: &'c Case, shape: &Shape) -> Option<&'c str> {
    case.name(shape.roi_number)?.standard.as_deref()
}

/// The shape with this standard name, if there is exactly one.
fn one_named<'s>(case: &Case, shapes: &'s [Shape], name: &str) -> Option<&'s Shape> {
    let mut fitting = shapes.iter().filter(|s| standard(case, s) == Some(name));
    fitting.next().filter(|_| fitting.next().is_none())
}

/// Centres of what is there once with `_L` and once with `_R`.
fn pairs(case: &Case, shapes: &[Shape]) -> Vec<[Point; 2]> {
    let roots = shapes.iter().filter_map(|s| standard(case, s)?.strip_suffix("_L"));
    let pair = |root: &str| {
        let one = |side: &str| one_named(case, shapes, &format!("{root}_{side}"));
        Some([one("L")?.centre_mm, one("R")?.centre_mm])
    };
    roots.filter_map(pair).collect()
}

/// What the shapes of a case say, one for each shape.
#[must_use]
pub fn evidence(case: &Case, shapes: &[Shape]) -> Vec<ShapeEvidence> {
    let plane = MiddlePlane::of(case, shapes);
    let brain = one_named(case, shapes, "Brain").map(|s| s.centre_mm);
    let of = |shape: &Shape| ShapeEvidence {
        roi_number: shape.roi_number,
        volume_cc: shape.volume_cc,
        centre_mm: shape.centre_mm,
        side: plane.map(|p| p.side(shape.centre_mm)),
        from_brain_mm: brain.map(|b| sub(shape.centre_mm, b)),
        window: standard(case, shape).and_then(volume_window),
    };
    shapes.iter().map(of).collect()
}

/// Where names and shapes contradict each other.
#[must_use]
pub fn findings(case: &Case, shapes: &[Shape], evidence: &[ShapeEvidence]) -> Vec<Finding> {
    let mut findings = Vec::new();
    let plane = MiddlePlane::of(case, shapes);
    for (shape, seen) in shapes.iter().zip(evidence) {
        findings.extend(plane.and_then(|plane| target_on_wrong_side(case, seen, plane)));
        let Some(name) = standard(case, shape) else { continue };
        findings.extend(wrong_side(case, name, seen));
        findings.extend(wrong_size(case, name, seen));
    }
    findings.extend(shapes_twice(case, shapes));
    findings
}

/// The subject of a finding about a structure of a case.
pub(super) fn about(case: &Case, roi_number: i64) -> Subject {
    Subject {
        patient: case.patient.clone(),
        case: Some(case.id.clone()),
        roi_number: Some(roi_number),
        ..Subject::default()
    }
}

fn wrong_side(case: &Case, name: &str, seen: &ShapeEvidence) -> Option<Finding> {
    let said = if name.ends_with("_L") {
        SeenSide::Left
    } else if name.ends_with("_R") {
        SeenSide::Right
    } else {
        return None;
    };
    let side = seen.side.filter(|s| *s != SeenSide::Middle && *s != said)?;
    let text = format!("{name} lies {} of the middle plane", side.word());
    Some(Finding::new(Code::SideContradicts, about(case, seen.roi_number), text))
}

/// A target that its name places on one side ("met re frontal") and that lies on the other.
///
/// A tumour may push the middle plane of the brain aside or cross it, so that its centre alone says
/// too little: the ball of its volume has to lie on the other side as a whole.
fn target_on_wrong_side(case: &Case, seen: &ShapeEvidence, plane: MiddlePlane) -> Option<Finding> {
    let named = case.name(seen.roi_number).filter(|n| n.role.is_target())?;
    let left = side_of_target(&named.original)?;
    // 1 cc is 1000 mm³.
    let radius_mm = (0.75 / std::f64::consts::PI * 1000.0 * seen.volume_cc).cbrt();
    let leftward_mm = plane.leftward_mm(seen.centre_mm);
    let away_mm = if left { -leftward_mm } else { leftward_mm };
    let (said, lies) = if left { ("left", "right") } else { ("right", "left") };
    (away_mm > radius_mm + MIDDLE_MM).then(|| {
        let text = format!(
            "the target's name says {said}, but all of it lies {lies} of the middle plane, its \
             centre by {away_mm:.0} mm"
        );
        Finding::new(Code::SideContradicts, about(case, seen.roi_number), text)
    })
}

fn wrong_size(case: &Case, name: &str, seen: &ShapeEvidence) -> Option<Finding> {
    let window = seen.window.filter(VolumeWindow::may_contradict)?;
    let plausible = (window.low_cc..=window.high_cc).contains(&seen.volume_cc);
    (!plausible).then(|| {
        let text = format!(
            "{name} of {:.3} cc; {} to {} cc are plausible ({})",
            seen.volume_cc, window.low_cc, window.high_cc, window.source
        );
        Finding::new(Code::VolumeImplausible, about(case, seen.roi_number), text)
    })
}

/// One shape under two names.
fn shapes_twice(case: &Case, shapes: &[Shape]) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (i, a) in shapes.iter().enumerate() {
        for b in shapes.iter().skip(i + 1).filter(|b| a.is_same_as(b)) {
            let role = |s: &Shape| case.name(s.roi_number).map_or(Role::Unknown, |n| n.role);
            let targets = role(a).is_target() && role(b).is_target() && role(a) != role(b);
            let (code, text) = if targets {
                (Code::TargetWithoutMargin, "have the same shape: a margin of zero")
            } else {
                (Code::ShapeRepeated, "have the same shape in the same place")
            };
            let text = format!("ROI Numbers {} and {} {text}", a.roi_number, b.roi_number);
            findings.push(Finding::new(code, about(case, b.roi_number), text));
        }
    }
    findings
}

#[cfg(test)]
mod tests;
