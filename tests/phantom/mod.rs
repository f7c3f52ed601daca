//! Phantoms: solids, dose fields and DICOM objects of which the truth is known in closed form.
//!
//! For tests and for the invented sample cohort only. The tree is included by the one test program
//! (`tests/tests.rs`), by the example `make-sample`, which writes `sample-anonymised/`, and by
//! `make-archive`. Nothing
//! here calls the measuring code of the crate: it borrows points from `tidydose_geometry`
//! and no algorithm, so that the truth it states is independent of what it is used to judge.
//!
//! | file | gives |
//! |---|---|
//! | `numeric` | error function, roots, quadrature |
//! | `solid` | solids: volume, contains, cross-sections whose vertices lie on the surface |
//! | `field` | dose fields as formulas, sampled onto any lattice |
//! | `closed_form` | dose-volume truth: linear, radial and Gaussian dose, slice sums |
//! | `dicom` | structure sets, doses, plans and image headers from plain descriptions |
//! | `large` | archives of any size, for benches and fault tests |
//! | `sample` | the invented cohort: all of the above put together, with its truth |
//!
//! Not everything is used by both programs, hence the one `allow`.
#![allow(dead_code, unused_imports, unreachable_pub)]

pub mod closed_form;
pub mod dicom;
pub mod field;
pub mod large;
pub mod numeric;
pub mod sample;
pub mod solid;
