//! The quantities that cross a module border, as types: dose in gray, length in millimetre, volume
//! in cubic centimetre (the trade writes "cc"), and a day count without a calendar date.
//!
//! Local floats carry the unit in their name instead (`dose_gy`, `spacing_mm`, `volume_cc`).
//! This module knows nothing else of the program.

pub mod typed;

use serde::{Deserialize, Serialize};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $from:ident, $symbol:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
        pub struct $name(f64);

        impl $name {
            /// Builds the quantity from a number in its own unit.
            #[must_use]
            pub const fn $from(value: f64) -> Self {
                Self(value)
            }

            /// The number in its own unit.
            #[must_use]
            pub const fn value(self) -> f64 {
                self.0
            }

            /// The unit's symbol as the tables print it.
            pub const SYMBOL: &'static str = $symbol;
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                write!(f, "{} {}", self.0, $symbol)
            }
        }
    };
}

quantity!(
    /// Absorbed dose in gray.
    Gray, gy, "Gy"
);
quantity!(
    /// Length in millimetre.
    Millimetre, mm, "mm"
);
quantity!(
    /// Volume in cubic centimetre, written "cc" in TG-263 metric names.
    CubicCentimetre, cc, "cc"
);

impl CubicCentimetre {
    /// Builds a volume from cubic millimetres (1 cc = 1000 mm³).
    #[must_use]
    pub const fn from_mm3(volume_mm3: f64) -> Self {
        Self(volume_mm3 / 1000.0)
    }

    /// The volume in cubic millimetres.
    #[must_use]
    pub const fn mm3(self) -> f64 {
        self.0 * 1000.0
    }
}

/// A day count whose zero is hidden: differences within one patient are true days, the calendar
/// date is not recoverable without the study key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Day(pub i64);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thousand_cubic_millimetres_are_one_cc() {
        assert_eq!(CubicCentimetre::from_mm3(30.0), CubicCentimetre::cc(0.03));
        assert_eq!(CubicCentimetre::cc(2.0).mm3(), 2000.0);
        assert_eq!(Gray::gy(20.0).to_string(), "20 Gy");
    }
}
