//! `paper`: the registrar's folder of a study.

use std::path::Path;

use super::args::Paper;
use super::fault::Fault;
use super::outcome::Outcome;
use super::outcome_sheet::{Asked, Taken, key_of, names, take};
use super::relate::relation_for_paper;
use super::say_stale;
use super::terminal::Terminal;
use tidydose_paper as paper;
use tidydose_table::nobody;
use tidydose_table::read_study::StudyTables;
use tidydose_table::replace_file;
use tidydose_table::run::{CAUTION, is_complete, run_document};
use tidydose_table::user::worksheet;
use tidydose_table::write_file::{Access, replace_file_for};

/// Runs the command.
///
/// # Errors
/// When the study has no tables, the grouping is no column, or the folder cannot be written.
pub(super) fn run(typed: &Paper, terminal: &Terminal) -> Result<Outcome, Fault> {
    let mut tables = StudyTables::of_study(&typed.study)?.read_plans(paper::TABLES)?;
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
    let names = names(&typed.study, typed.key.as_deref())?;
    let relation = relation_for_paper(&typed.study)?;
    let asked = paper::Request {
        group: &typed.group,
        checked: checked.as_deref(),
        covariates: &taken.covariates,
        outcomes: &taken.outcomes,
        relation: &relation,
        names: names.as_ref(),
        tiff: typed.tiff,
    };
    let made = paper::paper(&tables, &document, &asked)
        .map_err(|e| Fault::folder(&typed.study, e.to_string()))?;
    for remark in &made.remarks {
        terminal.warn(remark);
    }
    let folder = typed.output.clone().unwrap_or_else(|| typed.study.join("paper"));
    write_files(typed, &folder, &made.files, terminal)?;
    if let Some(sheet) = &made.hospital_worksheet {
        write_hospital_worksheet(typed, sheet, terminal)?;
    }
    terminal.say(&format!("{}: {} files. {CAUTION}", folder.display(), made.files.len()));
    let why = tables.get("plans").and_then(nobody::nobody);
    Ok(Outcome::unless_nobody(why.as_deref(), terminal))
}

/// Writes the folder; a worksheet into which somebody wrote stays.
fn write_files(
    typed: &Paper,
    folder: &Path,
    files: &paper::Files,
    terminal: &Terminal,
) -> Result<(), Fault> {
    let theirs = stays(&folder.join(paper::WORKSHEET), terminal);
    let stale = say_stale(&typed.study, terminal);
    for (name, bytes) in files.iter().filter(|(name, _)| !(theirs && *name == paper::WORKSHEET)) {
        let text = [".md", ".txt"].iter().any(|ending| name.ends_with(ending));
        // What is shared has checksums.
        let text = text && !name.starts_with(paper::SHARED);
        let note = stale.as_ref().filter(|_| text).map(|words| format!("{words}.\n\n"));
        replace_file(&folder.join(name), |to| {
            to.write_all(note.as_deref().unwrap_or_default().as_bytes())?;
            to.write_all(bytes)
        })?;
    }
    Ok(())
}

/// The worksheet that names patients lies beside the key, for whoever may read that.
fn write_hospital_worksheet(typed: &Paper, sheet: &[u8], terminal: &Terminal) -> Result<(), Fault> {
    let key = key_of(&typed.study, typed.key.as_deref())?;
    if !key.exists() {
        // A study that kept its identifiers has no key: its own worksheet names patients.
        return Ok(());
    }
    let path = key.folder().join(paper::HOSPITAL_WORKSHEET);
    if !stays(&path, terminal) {
        replace_file_for(&path, Access::OwnerOnly, |to| to.write_all(sheet))?;
        terminal.say(&format!(
            "{}: the blind check by hospital ID, date of the plan and name of the structure; it names \
             patients and stays with the key",
            path.display()
        ));
    }
    Ok(())
}

/// Whether somebody wrote into a worksheet, which then stays as it is.
fn stays(sheet: &Path, terminal: &Terminal) -> bool {
    let theirs = worksheet::is_filled_in(sheet);
    if theirs {
        terminal.say(&format!("{}: somebody wrote into it, it stays as it is", sheet.display()));
    }
    theirs
}
