//! What was calculated: a dose grid.

use ndarray::Array3;

use super::Origin;
use crate::identity::Token;
use tidydose_geometry::units::Gray;
use tidydose_geometry::{Grid, Point};

/// Dose Units (3004,0002).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DoseUnits {
    /// GY.
    Gray,
    /// RELATIVE, with no reference value in the object.
    Relative,
}

/// Dose Type (3004,0004).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DoseType {
    /// PHYSICAL.
    Physical,
    /// EFFECTIVE: biologically weighted.
    Effective,
    /// ERROR: a difference of doses.
    Error,
}

/// Dose Summation Type (3004,000A).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)] // the names are DICOM's defined terms
pub enum DoseSummation {
    Plan,
    MultiPlan,
    PlanOverview,
    Fraction,
    Beam,
    Brachy,
    FractionSession,
    BeamSession,
    BrachySession,
    ControlPoint,
    Record,
}

impl DoseSummation {
    /// All defined terms with their spelling in DICOM.
    pub const TERMS: &'static [(Self, &'static str)] = &[
        (Self::Plan, "PLAN"),
        (Self::MultiPlan, "MULTI_PLAN"),
        (Self::PlanOverview, "PLAN_OVERVIEW"),
        (Self::Fraction, "FRACTION"),
        (Self::Beam, "BEAM"),
        (Self::Brachy, "BRACHY"),
        (Self::FractionSession, "FRACTION_SESSION"),
        (Self::BeamSession, "BEAM_SESSION"),
        (Self::BrachySession, "BRACHY_SESSION"),
        (Self::ControlPoint, "CONTROL_POINT"),
        (Self::Record, "RECORD"),
    ];

    /// The defined term.
    #[must_use]
    pub fn term(self) -> &'static str {
        Self::TERMS.iter().find(|(t, _)| *t == self).map_or("", |(_, s)| s)
    }
}

/// What a dose states of one fraction group of its plan (300C,0020).
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct DoseGroup {
    /// Referenced Fraction Group Number (300C,0022).
    pub number: Option<i64>,
    /// Referenced Beam Numbers (300C,0006) of the group, ascending.
    pub beams: Vec<i64>,
}

/// What a stored dose-volume histogram says of its structure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StoredDvh {
    /// Referenced ROI Number (3006,0084).
    pub roi_number: i64,
    /// Volume, cc; absent when it is not stored in CM3.
    pub volume_cc: Option<f64>,
    /// DVH Mean Dose (3004,0074), else that of the curve, Gy.
    pub mean_gy: Option<f64>,
    /// Widest bin of the curve with any volume when the mean is taken from it, else 0, Gy.
    pub bin_gy: f64,
}

/// Everything of an RT Dose but the voxels.
#[derive(Debug, Clone, PartialEq)]
pub struct DoseHeader {
    /// File, SOP instance and patient.
    pub origin: Origin,
    /// Frame of reference (0020,0052).
    pub frame: Option<Token>,
    /// Dose Units.
    pub units: DoseUnits,
    /// Dose Type.
    pub kind: DoseType,
    /// Dose Summation Type.
    pub summation: DoseSummation,
    /// Referenced RT Plan (300C,0002), by SOP instance.
    pub plans: Vec<Token>,
    /// Structure set of the stored DVHs (300C,0060), where there are any.
    pub structure_set: Option<Token>,
    /// The stored DVHs (3004,0050) of single structures in gray.
    pub stored_dvhs: Vec<StoredDvh>,
    /// Fraction groups (300C,0020) below the referenced plan, with their beams.
    pub groups: Vec<DoseGroup>,
    /// Number of Fractions Included (300C,0119) of the plan overview.
    pub overview_fractions: Option<u32>,
    /// Where the voxels are; absent when the object has no grid.
    pub grid: Option<Grid>,
    /// Dose of one stored step: Dose Grid Scaling (3004,000E).
    pub step: Option<Gray>,
    /// Bits Allocated (0028,0100).
    pub bits: Option<u16>,
    /// Tissue Heterogeneity Correction (3004,0014).
    pub heterogeneity: Option<String>,
    /// Largest voxel value, in Gy or in the relative unit.
    pub maximum: Option<f64>,
    /// Centre of the first voxel that has it, mm.
    pub hottest: Option<Point>,
    /// SHA-256 of the voxel values: equal for equal doses, however they are stored.
    pub voxels: Option<String>,
}

/// A dose grid with its voxels.
#[derive(Debug, Clone, PartialEq)]
pub struct Dose {
    /// Where the voxels are.
    pub grid: Grid,
    /// Dose in Gy (or in the relative unit), indexed `[plane, row, column]`, planes in the
    /// order of the grid's increasing offsets.
    pub values: Array3<f32>,
    /// Dose of one stored step.
    pub step: Gray,
}
