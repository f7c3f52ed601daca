//! Geometry without a word of radiotherapy.
pub mod grid;
pub mod point;
pub use grid::{Grid, GridError};
pub use point::Point;
