//! What a metric may look at: one structure's histogram and volume, and for a target its
//! prescription with the isodoses that belong to it.

use super::value::{Outcome, Status};
use crate::dose::{Dvh, Isodose};

/// A target's prescription and the isodose volumes that are judged against it.
#[derive(Debug, Clone, PartialEq)]
pub struct PrescriptionIsodoses {
    /// Prescription dose over all fractions, Gy.
    pub dose_gy: f64,
    /// Volume of the prescription isodose; or why there is none for this target alone.
    pub whole: Result<Isodose, String>,
    /// Volume of half the prescription dose; or why there is none for this target alone.
    pub half: Result<Isodose, String>,
}

/// One structure as the metrics see it.
#[derive(Debug, Clone)]
pub struct Subject<'a> {
    /// Volume of the whole structure, cc.
    pub volume_cc: f64,
    /// Histogram of the part inside the dose grid; or status and reason why there is none.
    pub dvh: Result<&'a Dvh, (Status, String)>,
    /// Share of the structure inside the dose grid, 0 to 1.
    pub cover: f64,
    /// For targets: the prescription; or the reason why there is none.
    pub prescription: Result<&'a PrescriptionIsodoses, String>,
}

/// Shares of the volume outside the grid up to this are rounding at the border.
const COVERED: f64 = 1.0 - 1e-6;

impl<'a> Subject<'a> {
    /// The histogram, when the grid covers the whole structure.
    ///
    /// # Errors
    /// The outcome to report instead.
    pub fn complete_dvh(&self) -> Result<&'a Dvh, Outcome> {
        let dvh = self.any_dvh()?;
        if self.is_covered() {
            return Ok(dvh);
        }
        Err(Outcome::none(Status::PartlyOutsideGrid, self.cover_words()))
    }

    /// The histogram of whatever lies inside the grid.
    ///
    /// # Errors
    /// The outcome to report instead.
    pub fn any_dvh(&self) -> Result<&'a Dvh, Outcome> {
        self.dvh.clone().map_err(|(status, reason)| Outcome::none(status, reason))
    }

    /// `value` as it is when the grid covers the structure, else as a lower bound: the part
    /// outside can only add to it.
    #[must_use]
    pub fn at_least(&self, value: f64) -> Outcome {
        if self.is_covered() {
            Outcome::of(value)
        } else {
            Outcome::at_least(value, self.cover_words())
        }
    }

    /// Whether the dose grid covers the whole structure.
    #[must_use]
    pub fn is_covered(&self) -> bool {
        self.cover >= COVERED
    }

    fn cover_words(&self) -> String {
        format!("the dose grid covers {:.1} % of the structure", 100.0 * self.cover)
    }
}
