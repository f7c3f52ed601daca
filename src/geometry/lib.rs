//! Geometry without a word of radiotherapy, and the page that fixes the conventions of the whole
//! crate. Knows no DICOM object, no dose, no name and no file.
//!
//! # Conventions
//!
//! **Coordinate system.** The DICOM patient coordinate system (PS3.3 C.7.6.2.1.1): x grows to the
//! patient's left, y to the back, z to the head; right-handed; fixed to the patient, whatever the
//! position on the couch. A [`Point`] is `[x, y, z]`. Lengths are in mm, areas in mm², volumes in mm³
//! inside the computation. Two objects share coordinates only when they share a frame of reference;
//! nothing is moved from one frame to another.
//!
//! **Directions.** No function assumes that planes are axial. The normal of a [`PlaneStack`] is
//! taken from its contours; local coordinates are `(u, v, w)` with `w` along the normal
//! ([`stack::Axes`]), and `u = x`, `v = y` for an axial stack.
//!
//! **Arrays.** Axis order is `[plane, row, column]`, the column index runs fastest, as pixels are
//! stored. In DICOM's words the row direction is the one in which the *column* index grows, and
//! Pixel Spacing names the distance between rows first, between columns second. [`Grid`] keeps both
//! orders.
//!
//! **Voxels.** A position belongs to the *centre* of a voxel: Image Position (Patient) is the centre
//! of the first one, not its corner. Planes lie at true offsets along the normal and need not be
//! evenly spaced. The grid ends half a voxel beyond the outermost centres. In this rim the dose is
//! that of the interpolation continued; beyond it there is no dose. Isodose volumes are counted
//! between the outermost centres, and say so when they reach them.
//!
//! **Contours.** A ring closes itself: the last vertex is joined to the first, which is not
//! repeated. Sides are straight. The points of one contour lie on one plane within
//! [`stack::PLANAR_MM`]; planes closer than [`stack::SAME_PLANE_SHARE`] of the typical gap are one.
//!
//! **Holes.** A ring inside another is a hole, inside two an island, and so on by parity. Rings that
//! overlap in part are united; a ring that is drawn twice counts once; a ring that crosses itself is
//! filled by even-odd, which also reads a keyhole. Rings of the type `CLOSEDPLANAR_XOR` are combined
//! by exclusive-or instead. Outer rings turn counter-clockwise seen against the normal, holes
//! clockwise; how they were drawn plays no part ([`region`]).
//!
//! **Between planes and at the ends.** Contours fix the solid on their planes only; what lies between
//! and beyond is a convention with a name, written beside each number:
//!
//! | name | between planes | beyond the first and last plane |
//! |---|---|---|
//! | `closed_caps` ([`smooth`]), the default | parabolas along the normal through the squared signed distances of neighbouring planes | the solid closes where the parabola does; a flat end of half a gap where it does not close within one gap |
//! | `half_slice` ([`slab`]) | each plane stands for half the gap to either neighbour | half a gap beyond |
//!
//! Gaps wider than [`slab::WIDE_GAP`] of the typical one are bridged, unless it is known that the
//! planes in between exist and are empty. A single plane stands for the spacing of its images; with
//! no spacing known there is no solid.
//!
//! **Occupancy.** A solid is filled with small square cells on thin sheets. A cell on the boundary
//! counts with its exact area share and at its centre of mass, not by whether its centre is inside
//! ([`rasterise`]). Volume and dose are sums over the same cells.
//!
//! **Interpolation.** Dose between voxel centres follows a named method, `cubic_b_spline` by
//! default; see `src/dose`.
//!
//! **Units at the borders.** Dose is in Gy, of all fractions, volume in cc (cm³), length in mm; the
//! types of [`crate::units`] carry them between rooms, local numbers carry the unit in their name.

pub mod body;
pub mod cut;
pub mod diameter;
pub mod distance;
pub mod grid;
mod links;
pub mod locate;
mod march;
pub mod occupancy;
pub mod offset;
mod outline;
mod pieces;
pub mod pixels;
pub mod plane_field;
pub mod point;
pub mod polygon;
pub mod rasterise;
pub mod region;
mod separate;
pub mod shared_cells;
mod shares;
pub mod slab;
pub mod smooth;
pub mod stack;
mod strand;
pub mod surface;
pub mod units;

/// Radius of the ball of a volume, mm.
#[must_use]
pub fn ball_radius_mm(volume_mm3: f64) -> f64 {
    (volume_mm3 * 0.75 / std::f64::consts::PI).cbrt()
}

pub use grid::{Grid, GridError};
pub use occupancy::Occupancy;
pub use point::Point;
pub use region::{Combine, Region};
pub use separate::separate_pieces;
pub use stack::{PlaneStack, StackError};
