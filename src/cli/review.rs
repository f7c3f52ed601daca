//! `review`: the committee's page of a study, written as one HTML file.

use super::args::Review;
use super::fault::Fault;
use super::outcome::Outcome;
use super::say_stale;
use super::terminal::Terminal;
use tidydose_case::is_standard_name;
use tidydose_metrics as metrics;
use tidydose_report::{self as report, Request, ReviewError};
use tidydose_table::nobody;
use tidydose_table::read_study::StudyTables;
use tidydose_table::replace_file;
use tidydose_table::run::{CAUTION, is_complete};

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
    let stale = say_stale(&typed.study, terminal);
    let (organ, metric, stale) = (&typed.organ, &typed.metric, stale.as_deref());
    let request = Request { organ, metric, complete, stale };
    let page = match report::review(&tables, &request) {
        Ok(page) => page,
        // A name of the trade that nobody in the study has: a page without a case, and no slip.
        Err(e) if is_gap(&e) => {
            let words = format!("no page: {e}; names that nobody has decided are in names.csv");
            terminal.warn(&words);
            return Ok(Outcome::Empty);
        }
        Err(e) => return Err(Fault::folder(&typed.study, e.to_string())),
    };
    let path = typed.output.clone().unwrap_or_else(|| typed.study.join("review.html"));
    replace_file(&path, |to| to.write_all(page.as_bytes()))?;
    terminal.say(&format!("{}: {} and {}. {CAUTION}", path.display(), typed.organ, typed.metric));
    let why = tables.get("plans").and_then(nobody::nobody);
    Ok(Outcome::unless_nobody(why.as_deref(), terminal))
}

/// Whether what was asked for is known and only not in this study.
fn is_gap(error: &ReviewError) -> bool {
    match error {
        ReviewError::Table(_) | ReviewError::Cell(_) => false,
        ReviewError::Organ { wanted, .. } => is_standard_name(wanted),
        ReviewError::Metric { wanted, .. } => metrics::parse(wanted).is_ok(),
    }
}
