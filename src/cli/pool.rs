//! `pool`: studies of several centres as one study folder, with a report for the privacy office beside
//! it. What goes together, and what leaves, is decided in `tidydose-table`.

use std::path::{Path, PathBuf};

use super::args::Pool;
use super::fault::Fault;
use super::measure::hand_off;
use super::outcome::Outcome;
use super::study_folder::StudyFolder;
use super::terminal::Terminal;
use tidydose_table::pool::{self, Member, PoolError, Request, accepted_label, sharing};
use tidydose_table::run::{CAUTION, run_document};

impl From<PoolError> for Fault {
    fn from(error: PoolError) -> Self {
        match error {
            PoolError::Read(error) => Self::UserFile(error),
            PoolError::Write(error) => Self::Write(error),
            PoolError::Refused(words) => Self::System(words),
        }
    }
}

/// Runs the command.
///
/// # Errors
/// When a study cannot be read, the studies do not go together, or the folder cannot be written.
pub(super) fn run(typed: &Pool, terminal: &Terminal) -> Result<Outcome, Fault> {
    let folder = free_folder(typed)?;
    let mut members = Vec::new();
    for study in &typed.studies {
        let named = Named::of(study);
        members.push(Member::open(named.label, named.folder)?);
        if run_document(named.folder)?["complete"] != serde_json::json!(true) {
            terminal.warn(&format!(
                "{}: the study was interrupted and does not hold all cases; measure it again",
                named.folder.display()
            ));
        }
    }
    let request = Request { folder: folder.root(), keep_texts: typed.keep_texts };
    let made = pool::pool(&members, request)?;
    hand_off(&folder, (&made.tables, &made.columns), None)?;
    let rows = sharing::sharing(folder.root(), &made.columns, typed.keep_texts)?;
    let report = report_file(typed)?;
    sharing::write_report(&rows, &report)?;
    terminal.warn(&format!(
        "before {} leaves: {}. {} names each; what may leave is decided by people",
        folder.root().display(),
        sharing::summary(&rows),
        report.display()
    ));
    terminal.warn(pool::NOT_SEEN);
    let plans = made.tables.iter().find(|t| t.table == "plans").map_or(0, |t| t.rows);
    terminal.say(&format!(
        "{}: {plans} plans of {} centres ({}). {CAUTION}",
        folder.root().display(),
        made.centres.len(),
        made.centres.join(", ")
    ));
    Ok(Outcome::of_count(plans))
}

/// A study as it was named.
struct Named<'t> {
    label: Option<&'t str>,
    folder: &'t Path,
}

impl<'t> Named<'t> {
    /// `NAME=STUDY`, or a folder alone, which may hold `=` in its name where that is no label.
    fn of(text: &'t str) -> Self {
        match text.split_once('=') {
            Some((label, folder)) if accepted_label(label).is_ok() || !Path::new(text).exists() => {
                Self { label: Some(label), folder: Path::new(folder) }
            }
            _ => Self { label: None, folder: Path::new(text) },
        }
    }
}

/// The folder to write to: new, empty, or of an earlier pool.
fn free_folder(typed: &Pool) -> Result<StudyFolder, Fault> {
    let sources: Vec<PathBuf> =
        typed.studies.iter().map(|text| Named::of(text).folder.to_path_buf()).collect();
    let folder = StudyFolder::open(&typed.output, &sources)?;
    if folder.existed() && !run_document(&typed.output).is_ok_and(|run| run["centres"].is_array()) {
        return Err(Fault::folder(
            &typed.output,
            "is a study that was measured; a new or empty folder is accepted, or one that pool made",
        ));
    }
    Ok(folder)
}

/// The report lies beside the folder, so that it does not leave with it.
fn report_file(typed: &Pool) -> Result<PathBuf, Fault> {
    if let Some(path) = &typed.report {
        return Ok(path.clone());
    }
    let whole = std::path::absolute(&typed.output)
        .map_err(|e| Fault::folder(&typed.output, e.to_string()))?;
    let name = whole.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    Ok(whole.with_file_name(format!("{name}-sharing.csv")))
}
