//! One structure of a case on its way to its numbers: its contours, its solid, and who it is.

use super::settings::{Outlines, Settings};
use super::structure::{self, NoSolid, Solid};
use super::target::Target;
use tidydose_case::{Case, NamedRoi, Role};
use tidydose_geometry::smooth::Variant;
use tidydose_metrics::{AppliesTo, Biology, Definition, Metric, organ_models};
use tidydose_rt::finding::{Finding, Subject as About};
use tidydose_rt::{Plan, Roi};

/// Who a structure is, or may be.
#[derive(Debug, Clone, Copy)]
pub(super) struct Who<'a> {
    pub(super) name: Option<&'a NamedRoi>,
}

impl<'a> Who<'a> {
    pub(super) fn role(self) -> Role {
        self.name.map_or(Role::Unknown, |n| n.role)
    }

    pub(super) fn standard(self) -> Option<&'a str> {
        self.name.and_then(|n| n.standard.as_deref())
    }

    /// The metrics of the study, then those that limits of this organ need.
    pub(super) fn metrics(self, settings: &Settings) -> Vec<Metric> {
        settings.metrics_of(self.standard())
    }

    /// Whether a metric is for structures like this one.
    pub(super) fn takes(self, definition: &Definition) -> bool {
        let is_target = self.role().is_target();
        match definition.applies_to {
            AppliesTo::Structure => true,
            AppliesTo::Target => is_target,
            AppliesTo::Plan => false,
            AppliesTo::ModelledOrgan => {
                !is_target && self.standard().is_some_and(|s| organ_models::of_organ(s).is_some())
            }
        }
    }

    /// What the radiobiological models are computed with.
    pub(super) fn biology(self, case: &Case, settings: &Settings) -> Biology {
        let (standard, is_target) = (self.standard(), self.role().is_target());
        let (alpha_beta_gy, alpha_beta_basis) =
            organ_models::alpha_beta(standard, is_target, &settings.alpha_beta);
        Biology {
            fractions: case.plan.as_ref().and_then(Plan::fractions),
            days: case.treatment.days(),
            alpha_beta_gy,
            alpha_beta_basis,
            organ: standard.filter(|_| !is_target).and_then(organ_models::of_organ),
            is_target,
        }
    }
}

/// One structure of the case on its way.
pub(super) struct Part<'a> {
    pub(super) roi: &'a Roi,
    pub(super) name: Option<&'a NamedRoi>,
    pub(super) prescription: Option<(f64, &'static str)>,
    pub(super) solid: Result<Solid, NoSolid>,
    pub(super) about: About,
}

impl<'a> Part<'a> {
    pub(super) fn of(
        roi: &'a Roi,
        case: &'a Case,
        outlines: Outlines,
        out: &mut Vec<Finding>,
    ) -> Self {
        let number = roi.header.number;
        let about = About {
            patient: case.patient.clone(),
            case: Some(case.id.clone()),
            object: case.structure_set.as_ref().map(|s| s.origin.object.clone()),
            roi_number: Some(number),
            ..About::default()
        };
        let prescription = case
            .prescriptions
            .iter()
            .find(|p| p.roi_number == number)
            .map(|p| (p.dose.value(), p.basis.word()));
        Self {
            roi,
            name: case.name(number),
            prescription,
            solid: structure::build(roi, &about, out).map(|solid| solid.by(outlines)),
            about,
        }
    }

    pub(super) const fn number(&self) -> i64 {
        self.roi.header.number
    }

    pub(super) const fn who(&self) -> Who<'a> {
        Who { name: self.name }
    }

    pub(super) fn role(&self) -> Role {
        self.who().role()
    }

    /// Whether a metric is for structures like this one.
    pub(super) fn takes(&self, definition: &Definition) -> bool {
        self.who().takes(definition)
    }

    /// Whether it is moved where that is asked for: targets, and organs with a standard name.
    pub(super) fn is_moved(&self) -> bool {
        self.role().is_target() || self.role() == Role::Organ && self.who().standard().is_some()
    }

    /// Whether nobody has decided its name, and it may be an organ.
    pub(super) fn is_open(&self) -> bool {
        self.name.is_some_and(|name| name.possible_organs().is_some())
    }

    pub(super) fn in_other_frame(&self, case: &Case) -> bool {
        let dose = case.dose.as_ref().and_then(|d| d.frame.as_ref());
        dose.zip(self.roi.header.frame.as_ref()).is_some_and(|(dose, own)| dose != own)
    }

    /// The prescription dose of a single target that has a solid, Gy.
    pub(super) fn target_dose_gy(&self) -> Option<f64> {
        let is_target = self.role().is_target() && self.solid.is_ok();
        self.prescription.filter(|_| is_target).map(|(dose_gy, _)| dose_gy)
    }

    pub(super) fn target(&self, settings: &Settings) -> Option<Target> {
        let (solid, dose_gy) = (self.solid.as_ref().ok()?, self.target_dose_gy()?);
        let cells = |coarse| solid.occupancy(settings.ends, coarse, Variant::default());
        Target::of(self.number(), dose_gy, cells(2.0), &cells(1.0))
    }
}
