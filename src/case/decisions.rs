//! What the user has decided, as plain values. Reading and writing the decision files is the work
//! of others; a row that the user left blank is no decision and does not come here.

use std::collections::BTreeMap;

use super::Role;
use crate::identity::Token;
use crate::units::Gray;

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
}

impl Decisions {
    /// The decision about a structure, if there is one.
    #[must_use]
    pub fn name(&self, case: &Token, roi_number: i64, original: &str) -> Option<&NameDecision> {
        let own = self.structures.get(&(case.clone(), roi_number));
        own.or_else(|| self.names.get(original))
    }
}
