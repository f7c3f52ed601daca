//! What a metric may look at: one structure's histogram and volume, for a target its prescription
//! with the isodoses that belong to it, and what the radiobiological models need.

use super::local::Surroundings;
use super::organ_models::OrganModel;
use super::plan_wide::PlanTotals;
use super::size::Form;
use super::value::{Outcome, Status};
use tidydose_dose::{Dvh, Isodose};

/// A target's prescription and the isodose volumes that are judged against it.
#[derive(Debug, Clone, PartialEq)]
pub struct PrescriptionIsodoses {
    /// Prescription dose over all fractions, Gy.
    pub dose_gy: f64,
    /// Volume of the prescription isodose; or why there is none for this target alone.
    pub whole: Result<Isodose, String>,
    /// Volume of half the prescription dose; or why there is none for this target alone.
    pub half: Result<Isodose, String>,
    /// Volumes of the isodoses at the shares [`super::gradient::PENUMBRA`] of the largest dose in
    /// the target; absent where they were not asked for.
    pub penumbra: Option<[Result<Isodose, String>; 2]>,
    /// What lies around the target.
    pub around: Surroundings,
}

/// What the radiobiological models are computed with. Research models, not for decisions.
#[derive(Debug, Clone, PartialEq)]
pub struct Biology {
    /// Number of fractions; absent when the plan does not state it.
    pub fractions: Option<u32>,
    /// Days from the first treatment to the last, both counted; absent without treatment records.
    pub days: Option<u32>,
    /// α/β of the linear-quadratic model, Gy.
    pub alpha_beta_gy: f64,
    /// Where that comes from, as it goes into column `method`.
    pub alpha_beta_basis: String,
    /// Model parameters of the organ; absent for structures without any.
    pub organ: Option<&'static OrganModel>,
    /// Whether the structure is a target.
    pub is_target: bool,
}

impl Default for Biology {
    fn default() -> Self {
        Self {
            fractions: None,
            days: None,
            alpha_beta_gy: 10.0,
            alpha_beta_basis: "default".to_owned(),
            organ: None,
            is_target: true,
        }
    }
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
    /// Fractions, α/β and organ models; or the reason why there are none.
    pub biology: Option<&'a Biology>,
    /// Size, shape and place; absent where only a histogram is known.
    pub form: Option<&'a Form>,
    /// What all targets of the plan add up to; for rows of the plan only.
    pub totals: Option<&'a PlanTotals>,
}

/// Shares of the volume outside the grid up to this are rounding at the border.
const COVERED: f64 = 1.0 - 1e-6;

impl<'a> Subject<'a> {
    /// A structure wholly inside the grid, with nothing known but its volume and histogram.
    #[must_use]
    pub fn new(volume_cc: f64, dvh: Result<&'a Dvh, (Status, String)>) -> Self {
        Self {
            volume_cc,
            dvh,
            cover: 1.0,
            prescription: Err("no prescription dose is known for this structure".to_owned()),
            biology: None,
            form: None,
            totals: None,
        }
    }

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

    /// The prescription.
    ///
    /// # Errors
    /// The outcome that says why there is none.
    pub fn rx(&self) -> Result<&'a PrescriptionIsodoses, Outcome> {
        self.prescription.clone().map_err(|reason| Outcome::none(Status::NotApplicable, reason))
    }

    /// Dose that the hottest `percent` of the structure receive at least, Gy.
    ///
    /// # Errors
    /// When the grid does not cover the structure.
    pub fn dose_at_percent(&self, percent: f64) -> Result<f64, Outcome> {
        let dvh = self.complete_dvh()?;
        let volume = percent / 100.0 * dvh.volume_mm3();
        dvh.dose_at_volume(volume).ok_or_else(|| {
            Outcome::none(Status::BelowResolution, format!("no volume of {percent} % was sampled"))
        })
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
