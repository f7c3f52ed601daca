//! Dose in space and dose in a volume: interpolation of the grid, samples under an occupancy,
//! cumulative dose-volume histograms without bins, and the volumes of isodoses in all space.
//!
//! Takes grids and occupancies; knows no case, no name and no table.

pub mod basis;
pub mod beyond;
pub mod dvh;
pub mod field;
mod guard;
pub mod isodose;
mod lattice;
mod line;
pub mod noise;
pub mod partition;
mod peaks;
mod prefilter;
pub mod sample;
pub mod sum;

#[cfg(test)]
mod testing;

pub use dvh::Dvh;
pub use field::{DoseField, Interpolation, Phase};
pub use isodose::{Isodose, IsodoseMap};
pub use noise::Noise;
pub use partition::Partition;
pub use sample::{Samples, sample};
pub use sum::sum;
