//! How far a row of a list of limits was checked against the source that it names.

use serde::{Deserialize, Serialize};
use strum::{EnumIter, EnumString, IntoStaticStr, VariantNames};

/// Where somebody has read the value.
#[derive(EnumIter, EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
pub enum Checked {
    /// In the source: its text, a table or its abstract.
    Source,
    /// In another text that states it.
    Quotation,
    /// In a list of the user's own, who answers for it.
    Own,
    /// Nowhere.
    #[default]
    NotChecked,
}

impl Checked {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Source => "read in the source itself: its text, a table or its abstract",
            Self::Quotation => "read where another text states it; the source was not reached",
            Self::Own => "of your own list: you answer for it",
            Self::NotChecked => "not yet checked against the source; off unless switched on",
        }
    }

    /// The word used in lists and tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}
