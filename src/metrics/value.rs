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
            Self::Ok => {
                "there is a value, and its bounds are narrow enough to use it; they may still lie up to \
                 half of it away, so read them. It says nothing about how good the plan is"
            }
            Self::Uncertain => {
                "there is a value, but its bounds are too wide to use it: they lie farther away than \
                 half of the value (unless the study says otherwise) and than a small fixed amount, such \
                 as 0.03 cc of an organ. Leave it out of statistics; value and bounds are shown"
            }
            Self::Bound => {
                "only one side is known: where low is given, the true value is at least the value shown, \
                 where high is given at most. Do not average it with the others"
            }
            Self::Absent => {
                "no structure of the plan has this name, and none whose name is undecided may be it: not \
                 drawn, or not exported. Its dose and distance are unknown, not zero"
            }
            Self::Unmapped => {
                "the name of the structure was not recognised: it has values under its own name. Decide it \
                 in names.csv"
            }
            Self::Ambiguous => {
                "several structures have the name of this organ, or a name may mean several organs: decide \
                 in names.csv which one it is"
            }
            Self::NameUndecided => {
                "no structure has the name of this organ, but one with an undecided name may be it: \
                 decide that name in names.csv"
            }
            Self::Empty => "the structure is listed, but nothing with a volume is drawn for it",
            Self::OutsideGrid => {
                "the structure lies outside the dose grid as a whole: its dose is unknown, not zero"
            }
            Self::PartlyOutsideGrid => {
                "the dose grid leaves out a part of the structure, however small, or of the isodose, and \
                 the metric needs all of it"
            }
            Self::BelowResolution => {
                "the structure is smaller than the volume in the metric (such as 0.03 cc), or too small to \
                 measure at all; reason says which"
            }
            Self::RelativeDose => {
                "the dose grid is in percent or another relative unit, so no value in gray is known"
            }
            Self::Unlinked => {
                "the plan has no dose that can be used, or dose and structures do not belong together; \
                 there may be a volume"
            }
            Self::NotApplicable => {
                "the metric cannot be computed here, see reason in table metrics: often no prescription is \
                 known (state it in prescriptions.csv and it can be), or the isodose holds other \
                 lesions too, or there is no second lesion. It is seldom so by chance: report how many"
            }
            Self::Excluded => {
                "the plan was left out (see plans.exclusion_reason), or the contours of the structure were \
                 refused (see findings)"
            }
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
