//! `review`: the committee's page of a study, written as one HTML file.

use std::collections::BTreeMap;

use super::Outcome;
use super::args::Review;
use super::fault::Fault;
use super::terminal::Terminal;
use crate::report::{self, Request};
use crate::table::read_study::{TableFiles, is_complete};
use crate::table::replace_file;
use crate::table::run::CAUTION;

/// Runs the command.
///
/// # Errors
/// When the study has no tables, organ or metric are not in them, or the page cannot be written.
pub(super) fn run(typed: &Review, terminal: &Terminal) -> Result<Outcome, Fault> {
    let files = TableFiles::of_study(&typed.study)?;
    let mut tables = BTreeMap::new();
    for name in report::TABLES {
        if let Some(frame) = files.read(name) {
            tables.insert((*name).to_owned(), frame?);
        }
    }
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
