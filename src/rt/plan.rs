//! What was intended: prescription, fractions, and how the beams are arranged.

use super::Origin;
use crate::identity::Token;
use tidydose_geometry::Point;
use tidydose_geometry::units::{Day, Gray};

/// Dose Reference Type (300A,0020).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DoseReferenceType {
    /// TARGET.
    Target,
    /// ORGAN_AT_RISK.
    OrganAtRisk,
}

/// One item of the Dose Reference Sequence (300A,0010).
#[derive(Debug, Clone, PartialEq)]
pub struct DoseReference {
    /// Dose Reference Number (300A,0012).
    pub number: i64,
    /// Dose Reference Structure Type (300A,0014): POINT, VOLUME, COORDINATES, SITE.
    pub structure_type: String,
    /// Dose Reference Type.
    pub kind: Option<DoseReferenceType>,
    /// Referenced ROI Number (3006,0084).
    pub roi_number: Option<i64>,
    /// Target Prescription Dose (300A,0026).
    pub prescription: Option<Gray>,
}

/// One beam of a fraction group (300C,0004).
#[derive(Debug, Clone, PartialEq)]
pub struct BeamShare {
    /// Referenced Beam Number (300C,0006).
    pub beam_number: i64,
    /// Beam Dose (300A,0084): Gy of one fraction.
    pub dose: Option<Gray>,
    /// Beam Meterset (300A,0086), in the unit of the beam's Primary Dosimeter Unit.
    pub meterset: Option<f64>,
}

/// One fraction group (300A,0070).
#[derive(Debug, Clone, PartialEq)]
pub struct FractionGroup {
    /// Fraction Group Number (300A,0071).
    pub number: i64,
    /// Number of Fractions Planned (300A,0078).
    pub fractions: Option<u32>,
    /// Its beams.
    pub beams: Vec<BeamShare>,
}

/// One beam (300A,00B0), or one shot of a multi-source cobalt unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Beam {
    /// Beam Number (300A,00C0).
    pub number: i64,
    /// Beam Type (300A,00C4): STATIC or DYNAMIC.
    pub beam_type: Option<String>,
    /// Radiation Type (300A,00C6).
    pub radiation_type: Option<String>,
    /// Treatment Delivery Type (300A,00CE); absent means TREATMENT.
    pub delivery_type: Option<String>,
    /// Treatment Machine Name (300A,00B2) as a token.
    pub machine: Option<Token>,
    /// Primary Dosimeter Unit (300A,00B3): MU or MINUTE.
    pub dosimeter_unit: Option<String>,
    /// Applicator Types (300A,0109).
    pub applicators: Vec<String>,
    /// Number of control points found.
    pub control_points: usize,
    /// Distinct Isocenter Positions (300A,012C), mm, in order of first use.
    pub isocentres: Vec<Point>,
    /// Smallest and largest Gantry Angle (300A,011E) of the control points, degrees.
    pub gantry_angles: Option<[f64; 2]>,
    /// Distinct Patient Support Angles (300A,0122), degrees.
    pub couch_angles: Vec<f64>,
}

/// RT Plan Relationship (300A,0055): what another plan is to this one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum PlanRelation {
    /// PRIOR: delivered before the current treatment.
    Prior,
    /// ALTERNATIVE: prepared for the current treatment as well.
    Alternative,
    /// PREDECESSOR: this plan was derived from it.
    Predecessor,
    /// VERIFIED_PLAN: this plan serves to verify it.
    Verified,
    /// CONCURRENT: given together with this plan.
    Concurrent,
}

impl PlanRelation {
    /// All defined terms with their spelling in DICOM.
    pub const TERMS: &'static [(Self, &'static str)] = &[
        (Self::Prior, "PRIOR"),
        (Self::Alternative, "ALTERNATIVE"),
        (Self::Predecessor, "PREDECESSOR"),
        (Self::Verified, "VERIFIED_PLAN"),
        (Self::Concurrent, "CONCURRENT"),
    ];
}

/// An RT Plan (or RT Ion Plan).
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// File, SOP instance and patient.
    pub origin: Origin,
    /// Frame of reference at the top level, where there is one.
    pub frame: Option<Token>,
    /// RT Plan Date (300A,0006): last change, not the day of treatment.
    pub day: Option<Day>,
    /// Second of the day of RT Plan Time (300A,0007); only to tell versions of one day apart.
    pub second: Option<u32>,
    /// RT Plan Label (300A,0002) as a token: equality is all that is known of it.
    pub label: Option<Token>,
    /// First year of the five-year band of the plan date (…, 2015, 2020, …).
    pub era: Option<i32>,
    /// Plan Intent (300A,000A).
    pub intent: Option<String>,
    /// Approval Status (300E,0002).
    pub approval: Option<String>,
    /// RT Plan Geometry (300A,000C) is TREATMENT_DEVICE.
    pub on_device: bool,
    /// Referenced Structure Set (300C,0060), by SOP instance.
    pub structure_set: Option<Token>,
    /// Referenced RT Plan (300C,0002): what the named plan is to this one.
    pub related: Vec<(PlanRelation, Token)>,
    /// Dose references.
    pub dose_references: Vec<DoseReference>,
    /// Fraction groups.
    pub fraction_groups: Vec<FractionGroup>,
    /// Beams.
    pub beams: Vec<Beam>,
    /// Fixation Device Types (300A,0192) of the patient setups: frame, mask and so on.
    pub fixation: Vec<String>,
    /// Whether it is an RT Ion Plan.
    pub ion: bool,
}

impl Plan {
    /// Sum of Number of Fractions Planned over all fraction groups, if every group states it.
    #[must_use]
    pub fn fractions(&self) -> Option<u32> {
        if self.fraction_groups.is_empty() {
            return None;
        }
        self.fraction_groups.iter().map(|g| g.fractions).sum()
    }
}
