//! Why an analysis from memory stops.

/// Something has to be measured for which no dose is at hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Missing;
