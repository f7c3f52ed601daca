//! Comparisons with what is not built here: Python with its libraries, R, a browser, files of other
//! origin that are fetched. Behind feature `outside`, so that `cargo test` needs nothing but Rust and a C
//! compiler; `.ci/run` installs the rest and runs them.

mod anonymise;
mod browser;
mod decide;
mod handoff;
mod installed;
mod logistic;
mod machines;
mod pages;
mod paper;
mod real_files;
mod reference;
mod relation_scripts;
mod review;
mod statistics;
mod texts;
