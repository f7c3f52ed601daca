//! `shell`: completions for the usual shells and manual pages, made from the same definitions as the
//! help.

use std::io;

use clap::{CommandFactory, ValueEnum};
use clap_complete::Shell;

use super::args::{Arguments, ShellFiles};
use super::fault::Fault;
use super::outcome::Outcome;
use super::terminal::Terminal;
use tidydose_table::run::{CAUTION, PROGRAM};

/// Runs the command.
///
/// # Errors
/// When a file cannot be written.
pub(super) fn run(typed: &ShellFiles, terminal: &Terminal) -> Result<Outcome, Fault> {
    let fault = |e: io::Error| Fault::folder(&typed.folder, e.to_string());
    std::fs::create_dir_all(&typed.folder).map_err(fault)?;
    let mut command = Arguments::command();
    for shell in Shell::value_variants() {
        clap_complete::generate_to(*shell, &mut command, PROGRAM, &typed.folder).map_err(fault)?;
    }
    clap_mangen::generate_to(command, &typed.folder).map_err(fault)?;
    let folder = typed.folder.display();
    terminal.say(&format!(
        "{folder}: completions for {} shells, manual pages. {CAUTION}",
        Shell::value_variants().len()
    ));
    Ok(Outcome::Complete)
}
