//! `review`: the committee's page of a study, written as one HTML file.

use super::Outcome;
use super::args::Review;
use super::fault::Fault;
use super::terminal::Terminal;
use tidydose_report::{self as report, Request};
use tidydose_table::read_study::{StudyTables, is_complete};
use tidydose_table::replace_file;
use tidydose_table::run::CAUTION;

/// Runs the command.
///
/// # Errors
/// When the study has no tables, organ or metric are not in them, or the page cannot be written.
pub(super) fn run(typed: &Review, terminal: &Terminal) -> Result<Outcome, Fault> {
    let tables = StudyTables::of_study(&typed.study)?.read_all(report::TABLES)?;
    let complete = is_complete(&typed.study) != Some(false);
    if !complete {
        terminal.warn("the study was interrupted: it does not hold all cases; measure it again");
    }
    let request = Request { organ: &typed.organ, metric: &typed.metric, complete };
    let page = report::review(&tables, &request)
        .map_err(|e| Fault::folder(&typed.study, e.to_string()))?;
    let path = typed.output.clone().unwrap_or_else(|| typed.study.join("review.html"));
    replace_file(&path, |to| to.write_all(page.as_bytes()))?;
    terminal.say(&format!("{}: {} and {}. {CAUTION}", path.display(), typed.organ, typed.metric));
    Ok(Outcome::Complete)
}
