//! The registry of metrics.
pub mod value;
pub use value::{Outcome, Status};
