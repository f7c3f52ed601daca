//! The one test program: every check that needs more than one room of the crate.
//!
//! `phantom` holds solids, dose fields and DICOM objects with truth known in closed form, and their
//! own unit tests; the other modules measure them. `cli` runs the program as a person does: help,
//! exit codes, messages, files left behind.
#![allow(
    missing_docs,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout
)]
#![allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // tests, not numbers to keep

mod cli;
mod phantom;

mod truth;
