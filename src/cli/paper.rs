//! `paper`: the registrar's folder of a study.

use super::args::Paper;
use super::fault::Fault;
use super::outcome::Outcome;
use super::outcome_sheet::{Asked, Taken, take};
use super::relate::models_for_paper;
use super::say_stale;
use super::terminal::Terminal;
use tidydose_paper as paper;
use tidydose_table::nobody;
use tidydose_table::read_study::StudyTables;
use tidydose_table::replace_file;
use tidydose_table::run::{CAUTION, is_complete, run_document};
use tidydose_table::user::worksheet;

/// Runs the command.
///
/// # Errors
/// When the study has no tables, the grouping is no column, or the folder cannot be written.
pub(super) fn run(typed: &Paper, terminal: &Terminal) -> Result<Outcome, Fault> {
    let mut tables = StudyTables::of_study(&typed.study)?.read_all(paper::TABLES)?;
    let taken = match &typed.outcomes {
        None => Taken::default(),
        Some(sheet) => {
            let asked = Asked { study: &typed.study, sheet, key: typed.key.as_deref() };
            take(asked, &mut tables, terminal)?
        }
    };
    if is_complete(&typed.study) == Some(false) {
        terminal.warn("the study was interrupted: it does not hold all cases; measure it again");
    }
    let document = run_document(&typed.study)?;
    let checked = typed.checked.as_ref().map(|path| worksheet::read(path)).transpose()?;
    let asked = paper::Request {
        group: &typed.group,
        checked: checked.as_deref(),
        covariates: &taken.covariates,
    };
    let mut made = paper::paper(&tables, &document, &asked)
        .map_err(|e| Fault::folder(&typed.study, e.to_string()))?;
    made.extend(models_for_paper(&typed.study)?);
    let folder = typed.output.clone().unwrap_or_else(|| typed.study.join("paper"));
    let sheet = folder.join(paper::WORKSHEET);
    let theirs = worksheet::is_filled_in(&sheet);
    if theirs {
        terminal.say(&format!("{}: somebody wrote into it, it stays as it is", sheet.display()));
    }
    let stale = say_stale(&typed.study, terminal);
    for (name, bytes) in made.iter().filter(|(name, _)| !(theirs && *name == paper::WORKSHEET)) {
        let text = [".md", ".txt"].iter().any(|ending| name.ends_with(ending));
        let note = stale.as_ref().filter(|_| text).map(|words| format!("{words}.\n\n"));
        replace_file(&folder.join(name), |to| {
            to.write_all(note.as_deref().unwrap_or_default().as_bytes())?;
            to.write_all(bytes)
        })?;
    }
    terminal.say(&format!("{}: {} files. {CAUTION}", folder.display(), made.len()));
    let why = tables.get("plans").and_then(nobody::nobody);
    Ok(Outcome::unless_nobody(why.as_deref(), terminal))
}
