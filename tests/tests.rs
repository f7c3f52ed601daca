//! The one test program: every check that needs more than one room of the crate.
//!
//! `phantom` holds solids, dose fields and DICOM objects with truth known in closed form, and their
//! own unit tests; `truth` measures them. `cli` runs the program as a person does: help, exit codes,
//! messages, files left behind. `measured` runs it once over the invented cohort: `golden` compares
//! the tables with those kept, `sample` compares them with the formulas behind the cohort.
//! `architecture` reads the sources for who knows whom, `documents` runs what the Markdown files
//! show and compares what they state.
#![allow(missing_docs)] // a test program has no readers of its documentation
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)]
#![allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // tests, not numbers to keep

mod architecture;
mod cli;
mod documents;
mod golden;
mod measured;
mod phantom;
mod sample;
mod truth;
