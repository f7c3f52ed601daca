//! Intervals of the estimates against cohorts of known truth. `tests/outside/statistics.rs` holds the
//! estimates against other libraries.

mod coverage;
pub(crate) mod data;
