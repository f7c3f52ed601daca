//! The `tidydose` program: parse, run, exit code.
//!
//! 0: the run did its work, whatever it left out and says so; 1: what was asked for is empty; 2: the
//! run could not be done.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(tidydose_cli::run(std::env::args_os()).exit_code())
}
