//! What was delivered: treatment records, one for each session, and treatment summaries.

use super::Origin;
use crate::identity::Token;
use tidydose_geometry::units::Day;

/// One beam (or brachytherapy setup) of one session.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionBeam {
    /// Referenced Beam Number (300C,0006).
    pub beam: Option<i64>,
    /// Current Fraction Number (3008,0022).
    pub fraction: Option<i64>,
    /// Whether it treats: Treatment Delivery Type (300A,00CE) TREATMENT, CONTINUATION or absent.
    pub treats: bool,
    /// Treatment Termination Status (3008,002A) is NORMAL.
    pub ended_normally: bool,
    /// Specified Primary Meterset (3008,0032).
    pub specified: Option<f64>,
    /// Delivered Primary Meterset (3008,0036).
    pub delivered: Option<f64>,
}

/// What a treatment summary states.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Summary {
    /// First Treatment Date (3008,0054).
    pub first_day: Option<Day>,
    /// Most Recent Treatment Date (3008,0056).
    pub last_day: Option<Day>,
    /// Sum of Number of Fractions Delivered (3008,005A) over the fraction groups that state it.
    pub fractions: Option<u32>,
}

/// A treatment record.
#[derive(Debug, Clone, PartialEq)]
pub struct TreatmentRecord {
    /// File, SOP instance and patient.
    pub origin: Origin,
    /// Referenced RT Plan (300C,0002).
    pub plans: Vec<Token>,
    /// Treatment Date (3008,0250).
    pub day: Option<Day>,
    /// What was delivered in the session; empty in a summary.
    pub beams: Vec<SessionBeam>,
    /// Present in a treatment summary.
    pub summary: Option<Summary>,
}
