//! Which targets of a case are one lesion: volumes that lie within each other, whatever they are
//! called, and whether a target is the sum of others under an unclear name. Numbers in the names
//! are held against the shapes; where they disagree the shapes are followed and a finding says so.

use serde::{Deserialize, Serialize};

use super::evidence::{ShapeEvidence, about};
use super::lesion_site::LesionSite;
use super::rows::{Word, word};
use super::shape::Shape;
use tidydose_case::{Case, NamedRoi, Role};
use tidydose_geometry::Point;
use tidydose_rt::finding::{Code, Finding};

/// From this share of its volume on a target lies within another one.
const INSIDE: f64 = 0.8;
/// A target is the sum of those within it when their volumes make up this share of its own.
const SUM: f64 = 0.9;

/// One lesion of a plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Lesion {
    /// ROI Number of its outermost target, which names it.
    pub roi_number: i64,
    /// Its gross tumour volumes.
    pub gtv: Vec<i64>,
    /// Its clinical target volumes.
    pub ctv: Vec<i64>,
    /// Its planning target volumes, outermost first.
    pub ptv: Vec<i64>,
    /// Its targets of unstated kind.
    pub other: Vec<i64>,
    /// Targets of one kind within another of the same kind: nested boosts.
    pub boosts: Vec<i64>,
    /// Centre of mass of the innermost target, mm; absent without a shape.
    pub centre_mm: Option<Point>,
    /// Where the innermost target lies and how large it is; absent without a shape.
    #[serde(rename = "look")] // as parts on disk have it
    pub site: Option<LesionSite>,
    /// How the targets were put together: "single", "geometry", or "no_shape" for a target without
    /// volume.
    #[serde(deserialize_with = "word")]
    pub basis: Word,
}

/// The lesions of a case by ascending ROI Number, and what is doubtful about them.
#[must_use]
pub fn lesions(
    case: &Case,
    shapes: &[Shape],
    evidence: &[ShapeEvidence],
) -> (Vec<Lesion>, Vec<Finding>) {
    let shape = |n: &NamedRoi| shapes.iter().find(|s| s.roi_number == n.number);
    let site = |shape: &Shape| LesionSite::of(case, shapes, evidence, shape);
    let mut findings = Vec::new();
    let mut targets: Vec<(&NamedRoi, &Shape)> = Vec::new();
    let mut lesions: Vec<Lesion> = Vec::new();
    for name in case.names.iter().filter(|n| n.role.is_target()) {
        match shape(name) {
            Some(shape) => targets.push((name, shape)),
            None => lesions.push(of(&[(name, None)], "no_shape", &site)),
        }
    }
    targets.retain(|(name, shape)| {
        let sum = sum_of(name, shape, &all(case, shapes));
        findings.extend(sum.iter().map(|parts| summed(case, name.number, parts)));
        sum.is_none()
    });
    // The largest first: each later one lies within an earlier group or begins its own.
    targets
        .sort_by(|a, b| b.1.volume_cc.total_cmp(&a.1.volume_cc).then(a.0.number.cmp(&b.0.number)));
    let mut groups: Vec<Vec<(&NamedRoi, &Shape)>> = Vec::new();
    for target in targets {
        let within = |group: &&mut Vec<(&NamedRoi, &Shape)>| {
            group.iter().any(|(_, outer)| target.1.share_inside(outer) >= INSIDE)
        };
        match groups.iter_mut().find(within) {
            Some(group) => group.push(target),
            None => groups.push(vec![target]),
        }
    }
    for group in &groups {
        findings.extend(numbers_disagree(case, group));
        let basis = if group.len() == 1 { "single" } else { "geometry" };
        let members: Vec<_> = group.iter().map(|(n, s)| (*n, Some(*s))).collect();
        lesions.push(of(&members, basis, &site));
    }
    lesions.sort_by_key(|l| l.roi_number);
    (lesions, findings)
}

fn all<'a>(case: &'a Case, shapes: &'a [Shape]) -> Vec<(&'a NamedRoi, &'a Shape)> {
    let targets = case.names.iter().filter(|n| n.role.is_target());
    targets.filter_map(|n| Some((n, shapes.iter().find(|s| s.roi_number == n.number)?))).collect()
}

/// The targets that `shape` is the sum of: at least two of its own kind (or of unstated kind) that
/// lie within it, apart from each other, and fill it.
fn sum_of(name: &NamedRoi, shape: &Shape, targets: &[(&NamedRoi, &Shape)]) -> Option<Vec<i64>> {
    let same_kind = |other: &NamedRoi| other.role == name.role || name.role == Role::Target;
    let parts: Vec<&Shape> = targets
        .iter()
        .filter(|(n, s)| {
            let smaller = s.volume_cc < shape.volume_cc;
            n.number != name.number && same_kind(n) && smaller && s.share_inside(shape) >= INSIDE
        })
        .map(|(_, s)| *s)
        .collect();
    let apart = parts.iter().enumerate().all(|(i, a)| {
        parts.iter().enumerate().all(|(k, b)| i == k || a.share_inside(b) < 1.0 - INSIDE)
    });
    let filled = parts.iter().map(|s| s.volume_cc).sum::<f64>() >= SUM * shape.volume_cc;
    (parts.len() > 1 && apart && filled).then(|| parts.iter().map(|s| s.roi_number).collect())
}

fn summed(case: &Case, roi_number: i64, parts: &[i64]) -> Finding {
    let text = format!("it is the sum of ROI Numbers {}", list(parts));
    Finding::new(Code::TargetSumByShape, about(case, roi_number), text)
}

fn list(numbers: &[i64]) -> String {
    numbers.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}

fn of(
    members: &[(&NamedRoi, Option<&Shape>)],
    basis: &'static str,
    site: &impl Fn(&Shape) -> LesionSite,
) -> Lesion {
    let of_role = |role: Role| -> Vec<i64> {
        members.iter().filter(|(n, _)| n.role == role).map(|(n, _)| n.number).collect()
    };
    let boosts = |role: Role| of_role(role).into_iter().skip(1);
    let inner = members.iter().rfind(|(n, _)| n.role == Role::Gtv);
    let inner = inner.or(members.last()).and_then(|(_, shape)| *shape);
    Lesion {
        roi_number: members.first().map_or(0, |(n, _)| n.number),
        gtv: of_role(Role::Gtv),
        ctv: of_role(Role::Ctv),
        ptv: of_role(Role::Ptv),
        other: of_role(Role::Target),
        boosts: boosts(Role::Ptv).chain(boosts(Role::Ctv)).collect(),
        centre_mm: inner.map(|s| s.centre_mm),
        site: inner.map(site),
        basis,
    }
}

/// The number a target's standard name ends its kind with: 3 of `PTV3_2400`.
fn numeral(name: &NamedRoi) -> Option<u32> {
    let text = name.standard.as_deref()?;
    let digits = text.trim_start_matches(|c: char| !c.is_ascii_digit());
    let end = digits.find(|c: char| !c.is_ascii_digit()).unwrap_or(digits.len());
    let before = text.len() - digits.len();
    let plain = text.get(..before).is_some_and(|head| !head.contains('_'));
    digits.get(..end).filter(|_| plain)?.parse().ok()
}

/// Targets of one lesion that carry different numbers.
fn numbers_disagree(case: &Case, group: &[(&NamedRoi, &Shape)]) -> Option<Finding> {
    let (first, _) = group.first()?;
    let own = numeral(first)?;
    let others: Vec<i64> = group
        .iter()
        .filter(|(n, _)| numeral(n).is_some_and(|number| number != own))
        .map(|(n, _)| n.number)
        .collect();
    (!others.is_empty()).then(|| {
        let text = format!(
            "ROI Numbers {} lie within it under another number in their names",
            list(&others)
        );
        Finding::new(Code::TargetNumbersDisagree, about(case, first.number), text)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::evidence;
    use crate::shape::shapes;
    use crate::testing::{ball, case_of, set_of};

    fn found(balls: &[(&str, Point, f64)]) -> (Vec<Lesion>, Vec<Code>) {
        let rois = (1..).zip(balls).map(|(n, (_, c, r))| ball(n, *c, *r)).collect();
        let names: Vec<_> = balls.iter().map(|b| b.0).collect();
        let case = case_of(&names);
        let shapes = shapes(&case, &set_of(rois));
        let (lesions, findings) = lesions(&case, &shapes, &evidence(&case, &shapes));
        (lesions, findings.iter().map(|f| f.code).collect())
    }

    const A: Point = [30.0, 0.0, 0.0];
    const B: Point = [-30.0, 0.0, 10.0];

    #[test]
    fn targets_within_each_other_are_one_lesion() {
        let (lesions, codes) = found(&[
            ("GTV1", A, 5.0),
            ("PTV1", A, 7.0),
            ("GTV2", B, 4.0),
            ("PTV2", B, 6.0),
            ("Met 3", [0.0, 50.0, 0.0], 3.0),
        ]);
        assert_eq!(codes, []);
        let pairs: Vec<_> = lesions.iter().map(|l| (l.gtv.clone(), l.ptv.clone())).collect();
        assert_eq!(pairs, [(vec![1], vec![2]), (vec![3], vec![4]), (vec![], vec![])]);
        assert_eq!(lesions.iter().map(|l| l.roi_number).collect::<Vec<_>>(), [2, 4, 5]);
        assert_eq!((lesions[2].basis, &lesions[2].other), ("single", &vec![5]));
    }

    #[test]
    fn a_boost_belongs_to_its_lesion_and_a_wrong_number_is_said() {
        let inner = [31.0, 0.0, 0.0];
        let (lesions, codes) = found(&[("PTV_Low", A, 9.0), ("PTV_High", inner, 5.0)]);
        assert_eq!((lesions.len(), &lesions[0].boosts, codes.len()), (1, &vec![2], 0));
        let (lesions, codes) = found(&[("GTV2", A, 5.0), ("PTV1", A, 7.0)]);
        assert_eq!((lesions.len(), codes), (1, vec![Code::TargetNumbersDisagree]));
    }

    #[test]
    fn a_sum_that_is_not_called_one_is_no_lesion() {
        let mut both = ball(3, A, 7.0);
        both.contours.extend(ball(3, B, 6.0).contours);
        let case = case_of(&["PTV1", "PTV2", "PTV9"]);
        let set = set_of(vec![ball(1, A, 7.0), ball(2, B, 6.0), both]);
        let shapes = shapes(&case, &set);
        let (lesions, findings) = lesions(&case, &shapes, &evidence(&case, &shapes));
        assert_eq!(lesions.iter().map(|l| l.roi_number).collect::<Vec<_>>(), [1, 2]);
        assert_eq!(findings[0].code, Code::TargetSumByShape);
        assert!(findings[0].message.contains("1, 2"));
    }
}
