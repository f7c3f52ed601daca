//! One case and the settings in, one [`Analysis`] and its findings out.
pub mod result;
pub use result::{Analysis, DoseResult, DvhPoint, Measurement, StructureResult};
