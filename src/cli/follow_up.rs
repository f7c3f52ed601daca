//! `follow-up`: the page of the time after the treatment, from the tables of a study.

use super::args::FollowUp;
use super::fault::Fault;
use super::outcome::Outcome;
use super::say_stale;
use super::terminal::Terminal;
use tidydose_report::follow_up::{self as report, Request};
use tidydose_table::read_study::StudyTables;
use tidydose_table::replace_file;
use tidydose_table::run::{CAUTION, is_complete};

/// The page in the folder of the study.
const FILE: &str = "follow_up.html";

/// Runs the command.
///
/// # Errors
/// When the study has no tables or the page cannot be written.
pub(super) fn run(typed: &FollowUp, terminal: &Terminal) -> Result<Outcome, Fault> {
    let tables = StudyTables::of_study(&typed.study)?.read_all(report::TABLES)?;
    let complete = is_complete(&typed.study) != Some(false);
    if !complete {
        terminal.warn("the study was interrupted: it does not hold all cases; measure it again");
    }
    let stale = say_stale(&typed.study, terminal);
    let request = Request { complete, stale: stale.as_deref() };
    let page =
        report::page(&tables, &request).map_err(|e| Fault::folder(&typed.study, e.to_string()))?;
    let path = typed.output.clone().unwrap_or_else(|| typed.study.join(FILE));
    replace_file(&path, |to| to.write_all(page.html.as_bytes()))?;
    let patients = if page.patients == 1 { "patient" } else { "patients" };
    terminal.say(&format!(
        "{}: {} {patients} looked at again. {CAUTION}",
        path.display(),
        page.patients
    ));
    if page.open > 0 {
        let drawings = if page.open == 1 { "drawing is" } else { "drawings are" };
        terminal.warn(&format!(
            "{} {drawings} matched to no lesion and in no change, response or figure; say in \
             lesions.csv or decide.html which they are, then measure again",
            page.open
        ));
    }
    if page.patients == 0 {
        terminal.warn(
            "no structure set was drawn on images after a treatment that counts; findings.csv says \
             why structure sets were left aside (object-unused)",
        );
        return Ok(Outcome::Empty);
    }
    Ok(Outcome::Complete)
}
