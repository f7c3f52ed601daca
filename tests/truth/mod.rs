//! Solids and doses whose metrics are known in closed form, measured at random places of the
//! lattice: errors against the goals, and bounds against the errors.
//!
//! Sources: closed forms are own derivations, checked in `phantom::closed_form`; the sphere sets
//! follow Stanley et al. 2021 (Med Phys 48:1461, abstract read), the linear-gradient set Nelms et
//! al. 2015 (Med Phys 42:4435, from memory), the fall-off Desai et al. 2021 (JACMP 22(2), table
//! read).

mod accuracy_page;
mod balls;
pub(crate) mod bench;
mod beside;
mod ellipsoids;
mod gradient;
mod grids;
mod noise;
mod organ;
mod pixels;
mod score;
mod shapes;
mod slope;
mod uneven;
