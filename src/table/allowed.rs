//! The words that closed columns of several tables may hold and no type has.

/// Unit symbols of the metrics.
pub(super) const UNITS: &[&str] = &["Gy", "cc", "%", "mm", "1", "Gy*cc", "%/mm", "cm2"];
