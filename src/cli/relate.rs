//! `relate`: outcomes joined to a study, and a folder with one relation described.

use std::path::Path;

use super::args::Relate;
use super::fault::Fault;
use super::outcome::Outcome;
use super::outcome_sheet::{Asked, Taken, take};
use super::say_stale;
use super::terminal::Terminal;
use tidydose_case::is_standard_name;
use tidydose_metrics as metrics;
use tidydose_relate::{self as relate, Grain, RelateError, Request};
use tidydose_table::read_study::StudyTables;
use tidydose_table::replace_file;
use tidydose_table::run::{self, CAUTION, is_complete, run_document};
use tidydose_table::user::outcomes;
use tidydose_table::user::user_file::UserFile;
use tidydose_table::write_file::Access;

/// Predictors that were tried, in the folder of the study.
const TRIED: &str = "tried.csv";
const TRIED_COLUMNS: &[&str] = &["event", "predictor"];

/// Runs the command.
///
/// # Errors
/// When the study has no tables, the sheet has a fault, event or predictor are not there, or the
/// folder cannot be written.
pub(super) fn run(typed: &Relate, terminal: &Terminal) -> Result<Outcome, Fault> {
    let mut tables = StudyTables::of_study(&typed.study)?.read_all(relate::TABLES)?;
    let asked = Asked { study: &typed.study, sheet: &typed.outcomes, key: typed.key.as_deref() };
    let Taken { outcomes: sheet, covariates } = take(asked, &mut tables, terminal)?;
    if is_complete(&typed.study) == Some(false) {
        terminal.warn("the study was interrupted: it does not hold all cases; measure it again");
    }
    let (mut tried, before) = tried(typed)?;
    let run = run::words(&run_document(&typed.study)?);
    let stale = say_stale(&typed.study, terminal);
    let covariates = covariates.into_iter().map(|c| c.name).collect();
    let request = Request { run, stale, covariates, ..request(typed, &sheet, before) };
    let found = match relate::relate(&tables, &sheet, &request) {
        Ok(found) => found,
        // What is known and only not in this study makes a relation with nobody in it.
        Err(e) if is_gap(&e) => {
            let words = format!("nobody can be analysed: {e}; nothing was written");
            terminal.warn(&words);
            return Ok(Outcome::Empty);
        }
        Err(e) => return Err(Fault::folder(&typed.study, e.to_string())),
    };
    let folder = typed.output.clone().unwrap_or_else(|| typed.study.join("relate"));
    for (name, bytes) in &found.files {
        replace_file(&folder.join(name), |to| to.write_all(bytes))?;
    }
    let known = tried.keys(TRIED_COLUMNS);
    if !known.contains(&vec![typed.event.clone(), typed.predictor.clone()]) {
        tried.add(&[("event", &typed.event), ("predictor", &typed.predictor)]);
        tried.write(&typed.study.join(TRIED), Access::Shared)?;
    }
    // What is stale was said already.
    for warning in found.warnings.iter().filter(|w| request.stale.as_ref() != Some(*w)) {
        terminal.say(&format!("- {warning}"));
    }
    terminal.say(&format!("{}: {} {CAUTION}", folder.display(), found.summary));
    Ok(Outcome::unless_nobody(found.nobody.as_deref(), terminal))
}

/// Whether structure and metric of a predictor are known, though no plan of the study has them.
fn is_gap(error: &RelateError) -> bool {
    let RelateError::Predictor { wanted, .. } = error else { return false };
    let (structure, metric) = wanted.split_once(':').unwrap_or((wanted, ""));
    is_standard_name(structure) && metrics::parse(metric).is_ok()
}

fn request(typed: &Relate, sheet: &[outcomes::Outcome], mut tried: Vec<String>) -> Request {
    let of_lesions = sheet.iter().any(|o| o.event_type == typed.event && o.lesion_id.is_some());
    let of_plans = sheet.iter().any(|o| o.plan_id.is_some());
    let usual = match (of_lesions, of_plans) {
        (true, _) => Grain::Lesion,
        (false, true) => Grain::Plan,
        (false, false) => Grain::Patient,
    };
    tried.push(typed.predictor.clone());
    Request {
        event: typed.event.clone(),
        predictor: typed.predictor.clone(),
        adjust: typed.adjust.clone(),
        grain: typed.grain.unwrap_or(usual),
        fractions: typed.fractions,
        least_grade: typed.least_grade,
        least_follow_up: typed.least_follow_up,
        doubling: typed.doubling,
        group: typed.group.clone(),
        tried,
        covariates: Vec::new(),
        stale: None,
        run: String::new(),
    }
}

/// The file of what was tried, and the predictors tried for this event.
fn tried(typed: &Relate) -> Result<(UserFile, Vec<String>), Fault> {
    let path: &Path = &typed.study.join(TRIED);
    let file = UserFile::read(path, TRIED_COLUMNS, TRIED_COLUMNS)?;
    let own = (0..file.row_count()).filter(|row| file.text(*row, "event") == typed.event);
    let before = own.map(|row| file.text(row, "predictor").to_owned()).collect();
    Ok((file, before))
}
