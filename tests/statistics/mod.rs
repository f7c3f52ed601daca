//! The estimates of the program held against general-purpose libraries (scipy, statsmodels,
//! scikit-learn, scikit-survival, firthmodels) on fixed data with ties, empty cells, separation and
//! clusters; and intervals against cohorts of known truth.
//!
//! `tests/reference/statistics.py` computes the other side.

mod against;
mod coverage;
mod data;
