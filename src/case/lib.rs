//! What belongs together and who is who: an inventory becomes cases, each with its plan, structure
//! set and dose and with the reason for every join; structure names become standard names and
//! roles; prescriptions find their targets. Works on headers only and never opens a file.

pub mod alike;
mod course;
mod decisions;
mod dose_source;
mod follow_up;
mod identify;
mod link;
mod names;
mod open;
mod prescription;
mod role;
mod sums;
mod technology;
mod treatment;

pub use course::{Course, DateSource, courses};
pub use decisions::{Decisions, NameDecision, Question};
pub use dose_source::{DosePart, DoseSource, FrameJoin, FrameLink};
pub use follow_up::{FollowUp, FollowUpDay, GivenDose, TreatedTarget};
pub use identify::identify;
pub use link::{
    copied_patients, dose_defect, is_whole_dose, link, link_decided, registered_motion,
};
pub use names::{
    BrainRegion, ClinicalLabel, Company, Decoration, ELSEWHERE, Language, OWN, OpenName,
    PossibleOrgans, Proposal, Recognition, VolumeWindow, clinical_label, decoration, has_size_of,
    is_standard_name, meaning, nearest_standard, own_name, proposals, recognise, recognise_among,
    side_of_target, standard_name, standard_names, volume_window,
};
pub use open::{DecisionFile, OpenDecision, open_decisions};
pub use role::{PlanRole, RoleReason, Standing};
pub use sums::{
    CountedFractions, PlanSum, ResolvedSum, SumBasis, SumPart, can_be_summed, frames_join,
    latest_missed, resolve,
};
pub use technology::{isocentres, planned_meterset};

pub use treatment::{Delivery, DeliverySource, Treatment};

#[cfg(test)]
mod fixtures;

use strum::{EnumIter, EnumString, IntoStaticStr, VariantNames};

use tidydose_geometry::units::Gray;
use tidydose_rt::identity::Token;
use tidydose_rt::{DoseHeader, Plan, StructureSetHeader};

/// How two objects were joined.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
pub enum LinkMethod {
    /// By the SOP Instance UID the object refers to.
    Reference,
    /// The referenced object is absent (or none is named); exactly one of the same patient and
    /// frame of reference fits.
    #[strum(serialize = "frame_of_reference")]
    Frame,
    /// Nothing to join, or not joined.
    None,
}

impl LinkMethod {
    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// Delivery technology of a plan.
#[derive(EnumIter, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Technology {
    /// Many fixed cobalt-60 sources.
    CobaltUnit,
    /// A linear accelerator on a robot arm.
    RoboticLinac,
    /// A linear accelerator on a gantry.
    GantryLinac,
    /// Something else that is recognised, such as ions.
    Other,
    /// Not recognised.
    Unknown,
}

impl Technology {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::CobaltUnit => "a unit with many fixed cobalt-60 sources",
            Self::RoboticLinac => "a linear accelerator on a robot arm",
            Self::GantryLinac => "a linear accelerator on a gantry",
            Self::Other => "another kind, such as ions or electrons",
            Self::Unknown => "not recognised, or there is no plan",
        }
    }

    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// What a structure is for.
#[derive(EnumIter, EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case", ascii_case_insensitive)]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// Gross tumour volume.
    Gtv,
    /// Clinical target volume.
    Ctv,
    /// Planning target volume.
    Ptv,
    /// A target whose kind is not stated.
    Target,
    /// A union of several targets, kept out of per-lesion tables.
    TargetSum,
    /// Organ at risk.
    Organ,
    /// Planning organ at risk volume: an organ with a margin.
    Prv,
    /// The outline of the patient.
    External,
    /// A ring, a subtraction, an isodose or another aid to planning.
    Helper,
    /// A point or marker: isocentre, reference point.
    Marker,
    /// Not known.
    Unknown,
}

impl Role {
    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }

    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Gtv => "gross tumour volume",
            Self::Ctv => "clinical target volume",
            Self::Ptv => "planning target volume",
            Self::Target => "a target whose kind is not stated",
            Self::TargetSum => "several targets as one structure; in no table of lesions",
            Self::Organ => "organ at risk",
            Self::Prv => "planning organ at risk volume: an organ with a margin",
            Self::External => "the outline of the patient",
            Self::Helper => "a ring, a subtraction, an isodose or another aid to planning",
            Self::Marker => "a point or marker, such as the isocentre",
            Self::Unknown => "not known",
        }
    }

    /// Whether it is a single target: GTV, CTV, PTV or a target of unstated kind.
    #[must_use]
    pub const fn is_target(self) -> bool {
        matches!(self, Self::Gtv | Self::Ctv | Self::Ptv | Self::Target)
    }
}

/// How a structure got its standard name.
#[derive(EnumIter, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum NameBasis {
    /// The user decided it in `names.csv`.
    User,
    /// The name is a TG-263 name already, but for case and separators.
    Exact,
    /// A rule or a synonym.
    Rule,
    /// Several organs are possible; none is taken.
    Ambiguous,
    /// Nothing fits.
    None,
}

impl NameBasis {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::User => "decided in names.csv",
            Self::Exact => "a standard name already, but for case and separators",
            Self::Rule => "by a rule or a synonym",
            Self::Ambiguous => "several organs are possible; none is taken",
            Self::None => "nothing fits",
        }
    }

    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// Who one structure of a case is.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedRoi {
    /// ROI Number in the structure set.
    pub number: i64,
    /// ROI Name as in the file.
    pub original: String,
    /// The standard (TG-263) name, if any.
    pub standard: Option<String>,
    /// What it is for.
    pub role: Role,
    /// How the standard name came about.
    pub basis: NameBasis,
}

/// Where a prescription dose came from.
#[derive(EnumIter, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum PrescriptionBasis {
    /// The user's `prescriptions.csv`.
    User,
    /// Target Prescription Dose of a dose reference that names this structure.
    PlanStructure,
    /// Target Prescription Dose of the plan's only target reference.
    #[strum(serialize = "plan")]
    PlanOnly,
    /// Beam doses times fractions.
    BeamDose,
    /// What an earlier plan prescribed to the treated target nearest to it, for a structure that
    /// was drawn after the treatment.
    TreatedTarget,
}

impl PrescriptionBasis {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::User => "stated in prescriptions.csv",
            Self::PlanStructure => "the plan states it for this structure",
            Self::PlanOnly => "the plan states one dose for all its targets",
            Self::BeamDose => "sum of the beam doses times the number of fractions",
            Self::TreatedTarget => {
                "of a structure drawn after the treatment: the dose that was prescribed to the nearest treated target"
            }
        }
    }

    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// The dose prescribed to one structure, over all fractions.
#[derive(Debug, Clone, PartialEq)]
pub struct Prescription {
    /// ROI Number of the target.
    pub roi_number: i64,
    /// Total dose.
    pub dose: Gray,
    /// Where it came from.
    pub basis: PrescriptionBasis,
}

/// One plan with what belongs to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// The case's name in the tables: the plan's token, or the dose's (or structure set's) where
    /// there is no plan.
    pub id: Token,
    /// The patient.
    pub patient: Option<Token>,
    /// The plan.
    pub plan: Option<Plan>,
    /// The structure set.
    pub structure_set: Option<StructureSetHeader>,
    /// The dose grid that is measured.
    pub dose: Option<DoseHeader>,
    /// How the dose that is measured comes from stored grids.
    pub dose_source: DoseSource,
    /// How structures and dose come to lie in one frame of reference.
    pub frames: FrameJoin,
    /// Which part the plan had in the treatment, and what was delivered of it.
    pub treatment: Treatment,
    /// What is known of a structure set that was drawn after a treatment; absent for all others.
    pub follow_up: Option<FollowUp>,
    /// How many dose objects refer to the plan, used or not.
    pub doses_seen: usize,
    /// How dose and plan were joined.
    pub dose_link: LinkMethod,
    /// How the structure set was joined.
    pub structure_link: LinkMethod,
    /// Delivery technology.
    pub technology: Technology,
    /// Which attributes say so.
    pub technology_basis: String,
    /// Who is who, by ascending ROI Number.
    pub names: Vec<NamedRoi>,
    /// Prescriptions by ascending ROI Number.
    pub prescriptions: Vec<Prescription>,
    /// Why the case is not measured: the finding's code id and a sentence. Structure volumes are
    /// still computed when a structure set is there and only the dose is missing.
    pub left_out: Option<(tidydose_rt::finding::Code, String)>,
}

impl Case {
    /// A case of which nothing is known but its name: no object, no join, no decision.
    #[must_use]
    pub fn named(id: Token) -> Self {
        Self {
            id,
            patient: None,
            plan: None,
            structure_set: None,
            dose: None,
            dose_source: DoseSource::default(),
            frames: FrameJoin::default(),
            treatment: Treatment::default(),
            follow_up: None,
            doses_seen: 0,
            dose_link: LinkMethod::None,
            structure_link: LinkMethod::None,
            technology: Technology::Unknown,
            technology_basis: String::new(),
            names: Vec::new(),
            prescriptions: Vec::new(),
            left_out: None,
        }
    }

    /// The part of the plan in the treatment.
    #[must_use]
    pub const fn role(&self) -> PlanRole {
        self.treatment.role()
    }

    /// Whether the case counts in a study: it is not left out, and its plan counts by the one rule
    /// of [`Standing`].
    #[must_use]
    pub const fn counts(&self) -> bool {
        self.left_out.is_none() && self.treatment.standing().counts()
    }
}
