//! Dose in space and dose in a volume: interpolation of the grid, samples under an occupancy,
//! cumulative dose-volume histograms, and the volumes of isodoses in all space.
//!
//! Takes grids and occupancies; knows no case, no name and no table.

pub mod basis;
pub mod beyond;
pub mod bins;
mod block;
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

pub use bins::Bins;
pub use dvh::Dvh;
pub use field::{DoseField, Interpolation, Phase};
pub use isodose::{Isodose, IsodoseMap};
pub use noise::Noise;
pub use partition::Partition;
pub use sample::{Samples, sample, sample_variants, steepest_gy_per_mm};
pub use sum::sum;
