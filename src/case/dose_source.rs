//! How the dose that is measured comes from stored grids, and how structures come to lie in its
//! frame of reference: plain values that the joining fills and the reading follows.

use std::collections::BTreeMap;

use strum::{IntoStaticStr, VariantNames};

use super::Case;
use tidydose_rt::identity::Token;
use tidydose_rt::{DoseHeader, Rigid};

/// A stored grid and the factor with which it enters the sum.
#[derive(Debug, Clone, PartialEq)]
pub struct DosePart {
    /// The grid.
    pub dose: DoseHeader,
    /// Number of fractions for the dose of one session, the dose of relative value 1 for a relative
    /// one, else 1.
    pub factor: f64,
}

/// How the dose that is measured comes from stored grids.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DoseSource {
    /// The grids that are added up; empty when the case's dose is taken as it is.
    pub parts: Vec<DosePart>,
    /// Further grids that hold the same dose in other regions.
    pub local: Vec<DoseHeader>,
    /// How the dose came about, in words; empty without a dose.
    pub words: String,
}

/// How structures and dose came into one frame of reference.
#[derive(IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum FrameLink {
    /// They state the same one.
    Same,
    /// By a rigid Spatial Registration.
    Registration,
    /// By the user's word.
    User,
    /// Not at all, or there is nothing to bring together.
    #[default]
    None,
}

impl FrameLink {
    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// How structures come to lie in the frame of reference of the dose.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FrameJoin {
    /// The weakest of the ways that were taken.
    pub link: FrameLink,
    /// Motion into the frame of the dose, by frame of the structures.
    pub motions: BTreeMap<Token, Rigid>,
}

impl Case {
    /// The grids that are added up to the dose that is measured, with their factors; none without
    /// a dose.
    #[must_use]
    pub fn dose_parts(&self) -> Vec<(&DoseHeader, f64)> {
        if self.dose_source.parts.is_empty() {
            return self.dose.iter().map(|dose| (dose, 1.0)).collect();
        }
        self.dose_source.parts.iter().map(|part| (&part.dose, part.factor)).collect()
    }

    /// Every stored grid that the measurement needs, summed or local.
    pub fn all_doses(&self) -> impl Iterator<Item = &DoseHeader> {
        self.dose_parts().into_iter().map(|(dose, _)| dose).chain(&self.dose_source.local)
    }
}
