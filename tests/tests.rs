//! The one test program: every check that needs more than one room of the crate.
//!
//! `phantom` holds solids, dose fields and DICOM objects with truth known in closed form, and their
//! own unit tests; `truth` measures them in memory. `archive` puts files in a folder and does with
//! them what the program does. `worked_examples` goes from files to metrics with truth known in closed
//! form; `linking` does so with doses, frames and versions of plans of every kind, `regions` with what
//! is measured beside structures. `encodings` writes one case in every way, `containers` packs it,
//! `damage` harms its files, and `quirks` has one file for each defect and quirk of real archives.
//! `properties` holds what no structure and no dose may break. `cli` runs the program as a person
//! does: help, exit codes, messages, files left behind. `measured` runs it once over the invented
//! cohort: `golden` compares the tables with those kept, `coherent` holds their values against each
//! other, `sample` compares them with the formulas behind the cohort, `numbers_version` says when a new
//! version of the numbers is due, `queries` puts the program's questions to them, `review` reads the committee's page made of them, `explain` traces values back
//! through them, `relate` joins outcomes to them, `outcome_sheet` brings a department's own sheet
//! there, `paper` makes a registrar's folder of them; `pool` puts studies of several centres together.
//! `statistics` holds the estimates against cohorts of known truth. `names` scores the rules for
//! structure names on labels they have not seen, `decisions` plays a round of decisions, `user_files`
//! leaves the files as spreadsheets and slips do. `resume` kills runs and lets them go on, shares work
//! and damages what was kept; `handoff` holds the study against what it says of itself; `faults` takes
//! disk, rights and memory away. `architecture` reads the sources for who knows whom, `documents` runs
//! what the Markdown files show and compares what they state. `wording` and `spelling` read every text
//! that the program can print, `colours` computes what people see of its colours. `one_more_metric` adds a metric and
//! looks for its row. `bench_timings` holds what a bench makes
//! of the times that a run wrote.
//!
//! `outside` compares with what is not built here: Python and its libraries, R, a browser, files of
//! other origin. It is behind a feature of that name, so that the rest needs nothing but Rust and a C
//! compiler.
// A test program has no readers of its documentation and no users of its items.
#![allow(missing_docs, unreachable_pub)]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)]
#![allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // tests, not numbers to keep

mod anonymise;
mod architecture;
mod archive;
mod array_job;
mod bench_timings;
mod cli;
mod coherent;
mod colours;
mod containers;
mod damage;
mod decisions;
mod documents;
mod encodings;
mod explain;
mod faults;
mod follow_up;
mod follow_up_page;
mod golden;
mod handoff;
mod leaks;
mod library;
mod linking;
mod measured;
mod names;
mod numbers_version;
mod one_more_metric;
mod outcome_sheet;
#[cfg(feature = "outside")]
mod outside;
mod paper;
mod phantom;
mod pool;
mod properties;
mod queries;
mod quirks;
mod regions;
mod relate;
mod relations;
mod resume;
mod review;
mod review_sheets;
mod sample;
mod sensitivity;
mod spelling;
mod statistics;
mod truth;
mod user_files;
mod wording;
mod worked_examples;
