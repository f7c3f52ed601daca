//! The command line: typed arguments become settings, settings a run, the run an exit code. The
//! only module that prints, and one that nothing else uses.

mod anonymise;
mod args;
mod ask;
mod decide;
mod diff;
mod explain;
mod fault;
mod finish;
mod follow_up;
mod help;
mod interrupt;
mod limit_list;
mod lock;
mod made_tables;
mod measure;
mod one_case;
mod outcome;
mod outcome_sheet;
mod paper;
mod parallel;
mod part_key;
mod pool;
mod prepare;
mod relate;
mod review;
mod settings;
mod shape_reviews;
mod share;
mod share_result;
mod shell_files;
mod slices;
mod store;
mod study_folder;
mod study_key;
mod sums;
mod survey;
mod terminal;
mod timings;
mod vocabulary;

/// The small cases of the tests of `tidydose-analyse`.
#[cfg(test)]
#[path = "../analyse/testing.rs"]
#[allow(dead_code)]
mod testing;

use std::ffi::OsString;
use std::path::Path;

use clap::Parser;

use args::{Arguments, Command};
use fault::Fault;
pub use outcome::Outcome;
use settings::{Measuring, Settings};
use terminal::Terminal;
use tidydose_table::user::decided;

/// Runs the program with these arguments, the program's own name first.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> Outcome {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(message) => {
            // Help and version go to stdout, faults to stderr; neither has a reader to answer for.
            let _ = message.print();
            return if message.use_stderr() { Outcome::Failed } else { Outcome::Complete };
        }
    };
    let result = parallel::guarded(|| dispatch(arguments.command));
    match result.unwrap_or_else(|panic| Err(Fault::System(panic))) {
        Ok(outcome) => outcome,
        Err(fault) => {
            Terminal::new(true).warn(&fault.to_string());
            Outcome::Failed
        }
    }
}

fn dispatch(command: Command) -> Result<Outcome, Fault> {
    let start = |settings: &Settings| {
        parallel::quieten_panics();
        start_threads(settings.jobs)?;
        interrupt::stop_flag().map(|flag| (Terminal::new(settings.quiet), flag))
    };
    match command {
        Command::Survey(typed) => {
            let settings = Settings::from(typed);
            let (terminal, stop) = start(&settings)?;
            survey::survey(&settings, &terminal, &stop)
        }
        Command::Measure(typed) => {
            let measuring = Measuring::of(&typed)?;
            let settings = Settings::from(typed.common);
            let (terminal, stop) = start(&settings)?;
            measure::measure(&settings, &measuring, &terminal, &stop)
        }
        Command::Anonymise(typed) => {
            parallel::quieten_panics();
            let stop = interrupt::stop_flag()?;
            anonymise::run(&typed, &Terminal::new(typed.quiet), &stop)
        }
        Command::Ask(typed) => ask::run(&typed, &Terminal::new(typed.quiet)),
        Command::Diff(typed) => diff::run(&typed, &Terminal::new(typed.quiet)),
        Command::Limits(typed) => limit_list::run(&typed, &Terminal::new(typed.quiet)),
        Command::Shell(typed) => shell_files::run(&typed, &Terminal::new(typed.quiet)),
        Command::FollowUp(typed) => follow_up::run(&typed, &Terminal::new(typed.quiet)),
        Command::Review(typed) => review::run(&typed, &Terminal::new(typed.quiet)),
        Command::Explain(typed) => explain::run(&typed, &Terminal::new(typed.quiet)),
        Command::Paper(typed) => paper::run(&typed, &Terminal::new(typed.quiet)),
        Command::Pool(typed) => pool::run(&typed, &Terminal::new(typed.quiet)),
        Command::Relate(typed) => relate::run(&typed, &Terminal::new(typed.quiet)),
    }
}

/// The threads of the loops inside a case and of the scan.
fn start_threads(jobs: usize) -> Result<(), Fault> {
    rayon::ThreadPoolBuilder::new()
        .num_threads(jobs)
        .stack_size(parallel::STACK_BYTES)
        .build_global()
        .map_err(|e| Fault::System(format!("cannot start {jobs} threads: {e}")))
}

/// Says which files of a study were changed since its tables were made; the sentence for a page.
fn say_stale(study: &Path, terminal: &Terminal) -> Option<String> {
    let words = decided::stale_words(&decided::changed_since(study))?;
    terminal.warn(&words);
    Some(words)
}
