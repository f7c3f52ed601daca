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
use terminal::{Reader, Terminal};
use tidydose_table::user::decided;

/// Runs the program with these arguments, the program's own name first.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> Outcome {
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    // Arguments that are not accepted are told to a script as well.
    let is_script = arguments.iter().any(|a| a == "--json");
    let reader = if is_script { Reader::Script } else { Reader::Person };
    let terminal = Terminal::new(true, reader);
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(message) if is_script && message.use_stderr() => {
            terminal.fail(&message.to_string());
            terminal.end(Outcome::Failed);
            return Outcome::Failed;
        }
        Err(message) => {
            // Help and version go to stdout, faults to stderr; neither has a reader to answer for.
            let _ = message.print();
            return if message.use_stderr() { Outcome::Failed } else { Outcome::Complete };
        }
    };
    let result = parallel::guarded(|| dispatch(arguments.command, reader));
    let outcome = match result.unwrap_or_else(|panic| Err(Fault::System(panic))) {
        Ok(outcome) => outcome,
        Err(fault) => {
            terminal.fail(&fault.to_string());
            Outcome::Failed
        }
    };
    terminal.end(outcome);
    outcome
}

fn dispatch(command: Command, reader: Reader) -> Result<Outcome, Fault> {
    let terminal = |quiet| Terminal::new(quiet, reader);
    let start = |settings: &Settings| {
        parallel::quieten_panics();
        start_threads(settings.jobs)?;
        interrupt::stop_flag().map(|flag| (terminal(settings.quiet), flag))
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
            anonymise::run(&typed, &terminal(typed.quiet), &stop)
        }
        Command::Ask(typed) => ask::run(&typed, &terminal(typed.quiet)),
        Command::Diff(typed) => diff::run(&typed, &terminal(typed.quiet)),
        Command::Limits(typed) => limit_list::run(&typed, &terminal(typed.quiet)),
        Command::Shell(typed) => shell_files::run(&typed, &terminal(typed.quiet)),
        Command::FollowUp(typed) => follow_up::run(&typed, &terminal(typed.quiet)),
        Command::Review(typed) => review::run(&typed, &terminal(typed.quiet)),
        Command::Explain(typed) => explain::run(&typed, &terminal(typed.quiet)),
        Command::Paper(typed) => paper::run(&typed, &terminal(typed.quiet)),
        Command::Pool(typed) => pool::run(&typed, &terminal(typed.quiet)),
        Command::Relate(typed) => relate::run(&typed, &terminal(typed.quiet)),
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
