//! Solids and doses whose metrics are known in closed form.
mod balls;
pub mod bench;
