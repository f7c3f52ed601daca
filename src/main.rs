//! The `tidydose` program: parse, run, exit code.
//!
//! 0: everything was done; 1: something was left out, the table `findings` says what; 2: the run
//! could not be done.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(tidydose_cli::run(std::env::args_os()).exit_code())
}
