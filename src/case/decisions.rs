//! What the user has decided, as plain values. Reading and writing the decision files is the work
//! of others; a row that the user left blank is no decision and does not come here.

use std::collections::{BTreeMap, BTreeSet};

use strum::{EnumIter, EnumString, IntoStaticStr, VariantNames};

use super::Role;
use tidydose_geometry::units::Gray;
use tidydose_rt::finding::Code;
use tidydose_rt::identity::Token;

/// What the user says about one name.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct NameDecision {
    /// The standard name; none when the structure has none.
    pub standard: Option<String>,
    /// What it is for; when absent, it follows from the standard name, else from the rules.
    pub role: Option<Role>,
}

/// All decisions of the user.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Decisions {
    /// By ROI Name exactly as in the files.
    pub names: BTreeMap<String, NameDecision>,
    /// By case and ROI Number; they beat [`Self::names`].
    pub structures: BTreeMap<(Token, i64), NameDecision>,
    /// Prescribed dose over all fractions, by case and ROI Number; without a number it holds for
    /// every single target of the case that has no decision of its own.
    pub prescriptions: BTreeMap<(Token, Option<i64>), Gray>,
    /// Cases whose structures and dose lie in one frame of reference, whatever their UIDs say.
    pub same_frame: BTreeSet<Token>,
    /// The dose to be measured, by case.
    pub dose: BTreeMap<Token, Token>,
    /// Whether a plan was the one treated, by case.
    pub treated: BTreeMap<Token, bool>,
    /// The same for every plan of which neither record nor approval nor [`Self::treated`] tells.
    pub treated_all: Option<bool>,
    /// Under which patient a plan is meant that is there under several, by case.
    pub patient: BTreeMap<Token, Token>,
    /// The dose that relative value 1 stands for, by case.
    pub relative_unit: BTreeMap<Token, Gray>,
}

/// What the user can be asked about a case, beside names and prescriptions.
#[derive(EnumIter, EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case", ascii_case_insensitive)]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Question {
    /// Do structures and dose lie in one frame of reference though their UIDs differ?
    SameFrame,
    /// Which of several doses is to be measured?
    #[strum(serialize = "dose_id")]
    Dose,
    /// Was this version of the plan the one treated?
    Treated,
    /// Which dose does relative value 1 stand for?
    #[strum(serialize = "relative_unit_gy")]
    RelativeUnit,
    /// Under which of several Patient IDs is the same plan meant?
    #[strum(serialize = "patient_id")]
    Patient,
}

impl Question {
    /// What it asks, in a sentence.
    #[must_use]
    pub const fn asks(self) -> &'static str {
        match self {
            Self::SameFrame => {
                "Do structures and dose lie in one frame of reference though their UIDs differ?"
            }
            Self::Dose => "Which of several doses is to be measured?",
            Self::Treated => "Was this plan, or this version of it, the one treated?",
            Self::RelativeUnit => "Which dose in gray does relative value 1 stand for?",
            Self::Patient => "Under which of several Patient IDs is the plan meant?",
        }
    }

    /// What is accepted as an answer.
    #[must_use]
    pub const fn accepts(self) -> &'static str {
        match self {
            Self::SameFrame | Self::Treated => "yes or no",
            Self::Dose => "a dose_id of the evidence beside it",
            Self::RelativeUnit => "a positive number of Gy",
            Self::Patient => "a patient_id of the evidence beside it",
        }
    }

    /// The word in `choices.csv`.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }

    /// What an answer is that puts a case right.
    #[must_use]
    pub const fn answer(self) -> &'static str {
        match self {
            Self::SameFrame | Self::Treated => "yes",
            Self::Dose => "a dose_id of the evidence",
            Self::RelativeUnit => "a dose in Gy",
            Self::Patient => "a patient_id of the evidence",
        }
    }

    /// The question whose answer would put a case right that is left out with this code.
    #[must_use]
    pub const fn about(code: Code) -> Option<Self> {
        match code {
            Code::LinkFrameMismatch | Code::FollowUpUnjoined => Some(Self::SameFrame),
            Code::DoseSeveral => Some(Self::Dose),
            Code::PlanAmbiguous | Code::PlanRejected => Some(Self::Treated),
            Code::DoseRelative => Some(Self::RelativeUnit),
            Code::PatientCopied => Some(Self::Patient),
            _ => None,
        }
    }
}

impl Decisions {
    /// The same about objects of other names.
    #[must_use]
    pub fn with_cases(self, name: impl Fn(Token) -> Token) -> Self {
        let of_structures = |((case, number), v)| ((name(case), number), v);
        let of_targets = |((case, number), v)| ((name(case), number), v);
        Self {
            names: self.names,
            structures: self.structures.into_iter().map(of_structures).collect(),
            prescriptions: self.prescriptions.into_iter().map(of_targets).collect(),
            same_frame: self.same_frame.into_iter().map(&name).collect(),
            dose: self.dose.into_iter().map(|(c, v)| (name(c), name(v))).collect(),
            treated: self.treated.into_iter().map(|(c, v)| (name(c), v)).collect(),
            treated_all: self.treated_all,
            patient: self.patient.into_iter().map(|(c, v)| (name(c), v)).collect(),
            relative_unit: self.relative_unit.into_iter().map(|(c, v)| (name(c), v)).collect(),
        }
    }

    /// The decision about a structure, if there is one.
    #[must_use]
    pub fn name(&self, case: &Token, roi_number: i64, original: &str) -> Option<&NameDecision> {
        let own = self.structures.get(&(case.clone(), roi_number));
        own.or_else(|| self.names.get(original))
    }
}
