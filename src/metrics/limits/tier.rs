//! How binding a limit is.

use serde::{Deserialize, Serialize};
use strum::{EnumIter, EnumString, IntoStaticStr, VariantNames};

/// How binding a limit is in its source; the most binding first, which is the order of lists.
#[derive(EnumIter, EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Tier {
    /// Not to be exceeded.
    Mandatory,
    /// The user's own.
    #[strum(serialize = "local")]
    LocalPractice,
    /// To be aimed at.
    Optimal,
    /// Published without a tier.
    Published,
    /// An aim of planning, not a tolerance.
    Objective,
}

impl Tier {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Mandatory => "not to be exceeded, as its source says",
            Self::LocalPractice => "a limit of your own department",
            Self::Optimal => "to be kept where possible, as its source says",
            Self::Published => "published; its source does not say how binding it is",
            Self::Objective => {
                "an aim for planning (objective), no limit: shown, and no verdict is given"
            }
        }
    }

    /// The word used in lists and tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }

    /// Whether a value above it says anything of a case; an aim of planning does not.
    #[must_use]
    pub const fn decides(self) -> bool {
        !matches!(self, Self::Objective)
    }
}
