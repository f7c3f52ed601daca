//! What a metric yields: a value with numerical bounds, or a status with a reason.

use serde::{Deserialize, Serialize};
use strum::{EnumIter, EnumString, IntoStaticStr, VariantNames};

use tidydose_dose::Isodose;

/// Why there is or is not a value.
#[derive(EnumIter, EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Status {
    /// A value with two-sided bounds.
    Ok,
    /// A value with two-sided bounds that are too wide to say anything; see [`super::weigh`].
    Uncertain,
    /// One-sided: only `low` or only `high` is meant.
    Bound,
    /// The structure does not exist in this case.
    Absent,
    /// The structure has no standard name.
    Unmapped,
    /// The name could mean several organs.
    Ambiguous,
    /// No structure has the name yet, but one whose name nobody has decided may be it.
    NameUndecided,
    /// The structure has no contours.
    Empty,
    /// The structure lies outside the dose grid.
    OutsideGrid,
    /// The dose grid covers only part of the structure.
    PartlyOutsideGrid,
    /// The structure is smaller than the metric asks for, or too small to measure.
    BelowResolution,
    /// The dose is relative, with no reference value.
    RelativeDose,
    /// Dose, plan and structures could not be joined.
    Unlinked,
    /// The metric has no meaning here, such as coverage without a prescription.
    NotApplicable,
    /// The case or structure is excluded or refused.
    Excluded,
}

impl Status {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Ok => "a value with two bounds",
            Self::Uncertain => "a value with two bounds too far apart to be used by itself",
            Self::Bound => "the true value is at least, or at most, this",
            Self::Absent => "the case has no such structure",
            Self::Unmapped => "the structure has no standard name yet",
            Self::Ambiguous => "the name could mean several organs",
            Self::NameUndecided => {
                "no structure is called so yet, but one whose name nobody has decided may be it"
            }
            Self::Empty => "the structure has no contours",
            Self::OutsideGrid => "the structure lies outside the dose grid",
            Self::PartlyOutsideGrid => "the dose grid covers too little of the structure",
            Self::BelowResolution => {
                "the structure is smaller than the metric asks for, or too small to measure"
            }
            Self::RelativeDose => "the dose is not in gray",
            Self::Unlinked => "dose, plan and structures could not be joined",
            Self::NotApplicable => "the metric has no meaning here",
            Self::Excluded => "the case or structure was left out or refused",
        }
    }

    /// Whether there is a value with bounds on both sides, wide or not.
    #[must_use]
    pub const fn has_both_bounds(self) -> bool {
        matches!(self, Self::Ok | Self::Uncertain)
    }

    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// A metric's outcome for one structure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// The value; absent when there is none (see `status`).
    pub value: Option<f64>,
    /// Lower numerical bound.
    pub low: Option<f64>,
    /// Upper numerical bound.
    pub high: Option<f64>,
    /// Why there is or is not a value.
    pub status: Status,
    /// The reason in words; empty when `status` is ok.
    pub reason: String,
}

impl Outcome {
    /// A plain value, bounds not (yet) stated.
    #[must_use]
    pub const fn of(value: f64) -> Self {
        Self {
            value: Some(value),
            low: None,
            high: None,
            status: Status::Ok,
            reason: String::new(),
        }
    }

    /// A lower bound: the true value is at least this.
    #[must_use]
    pub fn at_least(value: f64, reason: impl Into<String>) -> Self {
        Self {
            value: Some(value),
            low: Some(value),
            high: None,
            status: Status::Bound,
            reason: reason.into(),
        }
    }

    /// An isodose volume in cc: a lower bound when the grid cuts it, for the reason `cut`.
    #[must_use]
    pub fn of_isodose(isodose: &Result<Isodose, String>, cut: &str) -> Self {
        match isodose {
            Ok(i) if i.cut_by_grid => Self::at_least(i.volume_mm3 / 1000.0, cut),
            Ok(i) => Self::of(i.volume_mm3 / 1000.0),
            Err(reason) => Self::none(Status::NotApplicable, reason.clone()),
        }
    }

    /// The plain value, or the outcome that stands for it.
    #[must_use]
    pub fn from_result(result: Result<f64, Self>) -> Self {
        result.map_or_else(|outcome| outcome, Self::of)
    }

    /// No value, with status and reason.
    #[must_use]
    pub fn none(status: Status, reason: impl Into<String>) -> Self {
        Self { value: None, low: None, high: None, status, reason: reason.into() }
    }
}
