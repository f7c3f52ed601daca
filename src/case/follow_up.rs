//! Structures drawn after a treatment: when, and which dose that was given lies under them. Plain
//! values that the joining fills, and the prescription that a shape drawn later is held against.

use std::collections::BTreeMap;

use strum::{IntoStaticStr, VariantNames};

use super::{Case, Prescription, PrescriptionBasis, Technology};
use tidydose_geometry::Point;
use tidydose_geometry::point::{distance_2, midpoint};
use tidydose_geometry::units::{Day, Gray};
use tidydose_rt::identity::Token;

/// Where the day of a follow-up comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
pub enum FollowUpDay {
    /// The images that the structure set refers to.
    Images,
    /// Structure Set Date.
    StructureSet,
}

impl FollowUpDay {
    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// A structure set that was drawn after a treatment.
#[derive(Debug, Clone, PartialEq)]
pub struct FollowUp {
    /// The day of its images, else of the structure set.
    pub day: Day,
    /// Which of the two.
    pub day_source: FollowUpDay,
    /// The dose that lies under its structures; absent where nothing brings them together.
    pub given: Option<GivenDose>,
}

/// The dose of an earlier plan under structures that were drawn later.
#[derive(Debug, Clone, PartialEq)]
pub struct GivenDose {
    /// The plan.
    pub plan: Token,
    /// Digest of the structure set that the plan was made on; empty without one.
    pub structures_digest: String,
    /// Day of the registration that joins the frames of reference, where one does and states it.
    pub registration_day: Option<Day>,
    /// Fractions planned.
    pub fractions: Option<u32>,
    /// The targets of the plan, by ascending ROI Number.
    pub targets: Vec<TreatedTarget>,
}

/// A target of the plan whose dose was given.
#[derive(Debug, Clone, PartialEq)]
pub struct TreatedTarget {
    /// ROI Number in the structure set of the plan.
    pub roi_number: i64,
    /// Middle of the box around it, mm, in the frame of reference of the dose.
    pub middle_mm: Option<Point>,
    /// The dose prescribed to it.
    pub prescription: Option<Gray>,
}

impl Case {
    /// Whether its structures were drawn after a treatment.
    #[must_use]
    pub const fn is_follow_up(&self) -> bool {
        self.follow_up.is_some()
    }

    /// The plan whose dose lies under structures that were drawn later.
    #[must_use]
    pub fn given(&self) -> Option<&GivenDose> {
        self.follow_up.as_ref()?.given.as_ref()
    }

    /// Middle of the box around a structure, mm, in the frame of reference of the dose; absent
    /// without contours.
    pub(super) fn middle_in_dose_frame(&self, roi_number: i64) -> Option<Point> {
        let set = self.structure_set.as_ref()?;
        let [low, high] = *set.extents.get(&roi_number)?;
        let middle = midpoint(low, high);
        let own = set.rois.iter().find(|r| r.number == roi_number)?.frame.as_ref();
        let motion = own.or(set.frame.as_ref()).and_then(|f| self.frames.motions.get(f));
        Some(motion.map_or(middle, |motion| motion.apply(middle)))
    }
}

/// Tells every follow-up the targets of the plan whose dose lies under it, and holds its own
/// targets against what was prescribed to the nearest of them, where the user has not decided.
pub(super) fn hold_against_given(cases: &mut [Case]) {
    let plans = || cases.iter().filter(|c| !c.is_follow_up());
    let treated: BTreeMap<Token, Vec<TreatedTarget>> =
        plans().map(|c| (c.id.clone(), targets(c))).collect();
    let technologies: BTreeMap<Token, Technology> =
        plans().map(|c| (c.id.clone(), c.technology)).collect();
    for case in cases.iter_mut() {
        let Some(given) = case.follow_up.as_mut().and_then(|f| f.given.as_mut()) else { continue };
        given.targets = treated.get(&given.plan).cloned().unwrap_or_default();
        case.technology = technologies.get(&given.plan).copied().unwrap_or(Technology::Unknown);
        let targets = given.targets.clone();
        let numbers: Vec<i64> =
            case.names.iter().filter(|n| n.role.is_target()).map(|n| n.number).collect();
        for roi_number in numbers {
            if case.prescriptions.iter().any(|p| p.roi_number == roi_number) {
                continue;
            }
            let middle = case.middle_in_dose_frame(roi_number);
            if let Some(dose) = nearest_prescription(middle, &targets) {
                let basis = PrescriptionBasis::TreatedTarget;
                case.prescriptions.push(Prescription { roi_number, dose, basis });
            }
        }
        case.prescriptions.sort_by_key(|p| p.roi_number);
    }
}

fn targets(case: &Case) -> Vec<TreatedTarget> {
    let of = |number: i64| TreatedTarget {
        roi_number: number,
        middle_mm: case.middle_in_dose_frame(number),
        prescription: case.prescriptions.iter().find(|p| p.roi_number == number).map(|p| p.dose),
    };
    let mut list: Vec<TreatedTarget> =
        case.names.iter().filter(|n| n.role.is_target()).map(|n| of(n.number)).collect();
    list.sort_by_key(|t| t.roi_number);
    list
}

/// The dose prescribed to the nearest treated target that has one, by the middles of the boxes
/// around them; of targets equally near the highest dose, as the outer one of a boost has less.
fn nearest_prescription(middle: Option<Point>, targets: &[TreatedTarget]) -> Option<Gray> {
    let mut best: Option<(f64, Gray)> = None;
    for target in targets {
        let (Some(dose), Some(there)) = (target.prescription, target.middle_mm) else { continue };
        let apart = middle.map_or(0.0, |own| distance_2(own, there));
        let nearer = best.is_none_or(|(least, highest)| {
            apart < least || (apart <= least && dose.value() > highest.value())
        });
        if nearer {
            best = Some((apart, dose));
        }
    }
    best.map(|(_, dose)| dose)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_treated_target_says_what_was_prescribed() {
        let target = |number, x, gy: Option<f64>| TreatedTarget {
            roi_number: number,
            middle_mm: Some([x, 0.0, 0.0]),
            prescription: gy.map(Gray::gy),
        };
        let list = [target(1, 0.0, Some(20.0)), target(2, 40.0, Some(18.0)), target(3, 30.0, None)];
        let at = |x| nearest_prescription(Some([x, 0.0, 0.0]), &list).map(Gray::value);
        assert_eq!(
            (at(5.0), at(31.0)),
            (Some(20.0), Some(18.0)),
            "one without a dose says nothing"
        );
        let nested = [target(1, 0.0, Some(54.0)), target(2, 0.0, Some(60.0))];
        assert_eq!(nearest_prescription(Some([1.0; 3]), &nested).map(Gray::value), Some(60.0));
        assert_eq!(nearest_prescription(None, &[]), None);
    }
}
