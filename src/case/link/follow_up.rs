//! Structure sets that were drawn after a treatment: no plan refers to them and their images are
//! later than a plan of the patient that counts. Each becomes a case of its own, with the dose of
//! the latest such plan under its structures where one frame of reference or one rigid
//! registration brings them together. Which lesion is which is none of its business.

use std::collections::BTreeSet;

use super::draft::{Draft, DraftInputs};
use super::frames::{self, Joined};
use crate::follow_up::{FollowUp, FollowUpDay, GivenDose};
use crate::{Case, FrameJoin, FrameLink, RoleReason};
use tidydose_geometry::Point;
use tidydose_geometry::point::{distance_2, midpoint};
use tidydose_geometry::units::Day;
use tidydose_rt::finding::Code;
use tidydose_rt::identity::Token;
use tidydose_rt::{DoseHeader, Rigid, StructureSetHeader};

/// A registration is refused when its inverse brings structures of the same name closer together
/// and itself leaves them further apart than this, mm: heads that are registered rigidly agree to a
/// few millimetres.
const APART_MM: f64 = 10.0;

/// The cases of later structure sets among those that `used` does not name.
pub(super) fn later_sets(
    inputs: DraftInputs<'_>,
    cases: &[Case],
    used: &BTreeSet<Token>,
) -> Vec<Draft> {
    let mut later = Vec::new();
    for set in inputs.archive.structure_sets.values().copied() {
        if used.contains(&set.origin.object) {
            continue;
        }
        let mut treated: Vec<Treated<'_>> = cases
            .iter()
            .filter(|c| c.patient.is_some() && c.patient == set.origin.patient)
            .filter_map(Treated::of)
            .collect();
        treated.sort_by_key(|t| (std::cmp::Reverse(t.day), &t.case.id));
        let Some((day, day_source)) = when(set, &treated) else { continue };
        treated.retain(|t| t.day < day);
        if !treated.is_empty() {
            let follow_up = FollowUp { day, day_source, given: None };
            later.push(Draft::of_follow_up(inputs, set, follow_up, &treated));
        }
    }
    later
}

/// A plan that counts, with the day on which it was last treated, else planned.
struct Treated<'a> {
    case: &'a Case,
    day: Day,
}

impl<'a> Treated<'a> {
    fn of(case: &'a Case) -> Option<Self> {
        let plan = case.plan.as_ref().filter(|_| case.treatment.standing().counts())?;
        let delivered = case.treatment.delivery.and_then(|d| d.last_day.or(d.first_day));
        Some(Self { case, day: delivered.or(plan.day)? })
    }
}

/// When the structures were drawn. The day of the images counts. Without images the date of the
/// structure set counts only in a frame of reference that no plan has: planning contours that
/// were saved again have a later date as well.
fn when(set: &StructureSetHeader, treated: &[Treated<'_>]) -> Option<(Day, FollowUpDay)> {
    if let Some(day) = set.imaged {
        return Some((day, FollowUpDay::Images));
    }
    let of_plan = |t: &Treated<'_>| {
        let planning = t.case.structure_set.as_ref().and_then(|s| s.frame.as_ref());
        let dose = t.case.dose.as_ref().and_then(|d| d.frame.as_ref());
        set.frame.is_none() || planning == set.frame.as_ref() || dose == set.frame.as_ref()
    };
    let own_frame = !treated.iter().any(of_plan);
    set.day.filter(|_| own_frame).map(|day| (day, FollowUpDay::StructureSet))
}

impl Draft {
    /// The case of a structure set that was drawn after `treated` plans, the latest first.
    fn of_follow_up(
        inputs: DraftInputs<'_>,
        set: &StructureSetHeader,
        follow_up: FollowUp,
        treated: &[Treated<'_>],
    ) -> Self {
        let mut draft = Self::new(&set.origin);
        draft.case.structure_set = Some(set.clone());
        draft.case.treatment.reason = RoleReason::DrawnLater;
        let mut refused = Vec::new();
        let mut given = None;
        for plan in treated {
            match under(inputs, set, plan.case) {
                Ok(join) => {
                    given = Some((plan, join));
                    break;
                }
                Err(reasons) => refused.extend(reasons),
            }
        }
        let days = treated.iter().map(|t| follow_up.day.0 - t.day.0).min().unwrap_or_default();
        let text = format!("{days} d after the latest treatment");
        draft.remark(Code::FollowUpSet, &set.origin, text);
        match &given {
            Some((plan, join)) => {
                draft.lay_on_dose(plan.case, join);
                if treated.len() > 1 {
                    let text = format!(
                        "the dose of plan {}, the latest of {} that can be used, lies under it; \
                         what the others gave is not added",
                        plan.case.id,
                        treated.len()
                    );
                    draft.remark(Code::FollowUpSeveralPlans, &set.origin, text);
                }
            }
            None => {
                refused.sort();
                refused.dedup();
                draft.stop(Code::FollowUpUnjoined, &set.origin, refused.join("; "));
            }
        }
        let given = given.map(|(plan, join)| GivenDose {
            plan: plan.case.id.clone(),
            structures_digest: plan
                .case
                .structure_set
                .as_ref()
                .map_or_else(String::new, |s| s.origin.digest.clone()),
            registration_day: join.registration_day,
            fractions: plan.case.plan.as_ref().and_then(|p| p.fractions()),
            targets: Vec::new(),
        });
        draft.case.follow_up = Some(FollowUp { given, ..follow_up });
        draft
    }

    /// Takes the dose of a plan under the structures.
    fn lay_on_dose(&mut self, plan: &Case, join: &Under) {
        self.case.dose = plan.dose.clone();
        self.case.dose_source = plan.dose_source.clone();
        self.case.dose_link = plan.dose_link;
        self.case.doses_seen = plan.doses_seen;
        self.case.frames = join.frames.clone();
    }
}

/// How later structures come to lie in the frame of a dose.
struct Under {
    frames: FrameJoin,
    registration_day: Option<Day>,
}

/// Brings the structures into the frame of the plan's dose.
///
/// # Errors
/// Why they do not come there.
fn under(
    inputs: DraftInputs<'_>,
    set: &StructureSetHeader,
    plan: &Case,
) -> Result<Under, Vec<String>> {
    let of_plan = |text: &str| format!("plan {}: {text}", plan.id);
    if let Some((_, reason)) = &plan.left_out {
        return Err(vec![of_plan(&format!("it is not measured: {reason}"))]);
    }
    let Some(dose) = &plan.dose else { return Err(vec![of_plan("it has no dose")]) };
    let joined = frames::join(dose, set, inputs.registrations);
    if joined.link == FrameLink::None && inputs.decisions.same_frame.contains(&set.origin.object) {
        frames::plausible(dose, set).map_err(|evidence| vec![of_plan(&evidence)])?;
        let motions = frames::all_alike(dose, set);
        let frames = FrameJoin { link: FrameLink::User, motions };
        return Ok(Under { frames, registration_day: None });
    }
    if joined.link == FrameLink::None {
        let mut reasons = vec![of_plan(&format!(
            "frame of reference of its dose {}, of the structures {}; the same, or one rigid \
             registration between them, would be accepted",
            dose.frame.as_ref().map_or("none", Token::as_str),
            set.frame.as_ref().map_or("none", Token::as_str)
        ))];
        reasons.extend(joined.refused);
        return Err(reasons);
    }
    if let Some(reason) = implausible(&joined, set, plan, dose) {
        return Err(vec![of_plan(&reason)]);
    }
    let by = joined.used.first().map(|(origin, _)| &origin.object);
    let registration = inputs.registrations.iter().find(|r| Some(&r.origin.object) == by);
    Ok(Under {
        registration_day: registration.and_then(|r| r.day),
        frames: FrameJoin { link: joined.link, motions: joined.motions },
    })
}

/// What speaks against the motion: it leaves structures of the same name far apart that the way
/// back would bring together, or none of the structures ends in the dose grid.
fn implausible(
    joined: &Joined<'_>,
    set: &StructureSetHeader,
    plan: &Case,
    dose: &DoseHeader,
) -> Option<String> {
    let motion = set.frame.as_ref().and_then(|f| joined.motions.get(f))?;
    let twins = twins(set, plan);
    if !twins.is_empty() {
        let [there, back] = [*motion, motion.inverse()].map(|m| mean_distance_mm(&m, &twins));
        if there > APART_MM && back < there {
            return Some(format!(
                "the registration leaves structures of the same name {there:.1} mm apart on \
                 average, its inverse {back:.1} mm: it seems to be stored in the wrong direction"
            ));
        }
    }
    let grid = dose.grid.as_ref()?;
    let middles: Vec<Point> =
        set.extents.values().map(|[low, high]| midpoint(*low, *high)).collect();
    let inside = middles.iter().filter(|p| grid.contains(motion.apply(**p))).count();
    (inside == 0 && !middles.is_empty()).then(|| {
        "moved by the registration, no structure has its middle inside the dose grid".to_owned()
    })
}

/// Middles of structures that have the same name in both sets: the later one, the one of the plan
/// in the frame of its dose. Targets shrink and grow; their names count all the same, as their
/// middles move by less than the limit.
fn twins(set: &StructureSetHeader, plan: &Case) -> Vec<[Point; 2]> {
    let Some(planned) = &plan.structure_set else { return Vec::new() };
    let mut pairs = Vec::new();
    for roi in &set.rois {
        let same = |name: &str| name.trim().eq_ignore_ascii_case(roi.name.trim());
        let twin = planned.rois.iter().find(|r| !r.name.trim().is_empty() && same(&r.name));
        let Some(twin) = twin else { continue };
        let there = plan.middle_in_dose_frame(twin.number);
        if let (Some([low, high]), Some(there)) = (set.extents.get(&roi.number), there) {
            pairs.push([midpoint(*low, *high), there]);
        }
    }
    pairs
}

fn mean_distance_mm(motion: &Rigid, pairs: &[[Point; 2]]) -> f64 {
    let apart = |[own, there]: &[Point; 2]| distance_2(motion.apply(*own), *there).sqrt();
    #[allow(clippy::cast_precision_loss)] // a hundred structures
    let n = pairs.len().max(1) as f64;
    pairs.iter().map(apart).sum::<f64>() / n
}

#[cfg(test)]
mod tests;
