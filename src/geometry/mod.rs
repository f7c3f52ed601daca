//! Geometry without a word of radiotherapy.
pub mod cut;
pub mod distance;
pub mod grid;
pub mod occupancy;
pub mod plane_field;
pub mod point;
pub mod polygon;
pub mod rasterise;
pub mod region;
pub mod slab;
pub mod smooth;
pub mod stack;
pub use grid::{Grid, GridError};
pub use occupancy::Occupancy;
pub use point::Point;
pub use region::{Combine, Region};
pub use stack::{PlaneStack, StackError};
