//! The one test program: every check that needs more than one room of the crate.
//!
//! `phantom` holds solids, dose fields and DICOM objects with truth known in closed form, and their
//! own unit tests; the other modules measure them. `cli` runs the program as a person does: help,
//! exit codes, messages, files left behind.
#![allow(missing_docs)] // a test program has no readers of its documentation

mod cli;
mod phantom;

mod truth;
