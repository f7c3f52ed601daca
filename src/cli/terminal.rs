//! Talking to the person at the terminal: stdout is data, stderr is talk. Progress is shown only
//! where stderr is a terminal, nothing is coloured, and a reader that goes away is a normal end.

use std::io::{self, BufWriter, IsTerminal, Write};
use std::time::Duration;

use super::outcome::Outcome;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde_json::json;

/// Who reads what is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reader {
    /// A person.
    Person,
    /// A script: each line is a JSON object with `level` and `text`.
    Script,
}

/// Where talk goes and how much of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Terminal {
    quiet: bool,
    reader: Reader,
}

impl Terminal {
    /// Talk on stderr; with `quiet` only warnings.
    #[must_use]
    pub(super) const fn new(quiet: bool, reader: Reader) -> Self {
        Self { quiet, reader }
    }

    /// Something worth knowing; not with `--quiet`.
    pub(super) fn say(&self, text: &str) {
        if !self.quiet {
            self.line("said", text);
        }
    }

    /// Something that must be known.
    pub(super) fn warn(&self, text: &str) {
        match self.reader {
            Reader::Person => line(&format!("tidydose: {text}")),
            Reader::Script => self.line("warning", text),
        }
    }

    /// Why the run could not be done.
    pub(super) fn fail(&self, text: &str) {
        match self.reader {
            Reader::Person => self.warn(text),
            Reader::Script => self.line("error", text),
        }
    }

    /// What became of the run, for a script: the last line that it reads.
    pub(super) fn end(&self, outcome: Outcome) {
        if self.reader == Reader::Script {
            let (word, code) = (outcome.word(), outcome.exit_code());
            line(&json!({"level": "end", "text": word, "exit_code": code}).to_string());
        }
    }

    fn line(&self, level: &str, text: &str) {
        match self.reader {
            Reader::Person => line(text),
            Reader::Script => line(&json!({"level": level, "text": text}).to_string()),
        }
    }

    /// The last line of a run; with `--quiet` only where it `matters`.
    pub(super) fn conclude(&self, text: &str, matters: bool) {
        if !self.quiet || matters {
            self.line("result", text);
        }
    }

    /// A progress bar of `total` steps; invisible where nobody would see it.
    #[must_use]
    pub(super) fn progress(&self, what: &'static str, total: usize) -> ProgressBar {
        let seen = !self.quiet && self.reader == Reader::Person && io::stderr().is_terminal();
        let target = if seen { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() };
        let bar = ProgressBar::with_draw_target(u64::try_from(total).ok(), target);
        let style = ProgressStyle::with_template("{msg} [{bar:30}] {pos}/{len} {eta}")
            .unwrap_or_else(|_| ProgressStyle::default_bar());
        bar.set_style(style.progress_chars("#- "));
        bar.set_message(what);
        if seen {
            bar.enable_steady_tick(Duration::from_millis(250));
        }
        bar
    }
}

/// Talk has no reader to answer for: an error on stderr is not reported anywhere.
fn line(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{text}");
}

/// Writes `text` to stdout. A closed pipe is a normal end.
///
/// # Errors
/// When stdout fails in another way.
pub(super) fn print(text: &str) -> io::Result<()> {
    let mut output = BufWriter::new(io::stdout().lock());
    match output.write_all(text.as_bytes()).and_then(|()| output.flush()) {
        Err(e) if e.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        result => result,
    }
}
