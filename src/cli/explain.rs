//! `explain`: where one value of a study comes from, as text on stdout and as a page; pictures of a
//! structure and of all structures of a case as files.

use std::collections::BTreeMap;
use std::path::Path;

use tidydose_table::frame::LoadedTable;

use super::args::Explain;
use super::fault::Fault;
use super::outcome::Outcome;
use super::say_stale;
use super::terminal::{Terminal, print};
use tidydose_report::explain::{self, CellName, ExplainError};
use tidydose_report::png::png;
use tidydose_table::read_study::StudyTables;
use tidydose_table::replace_file;
use tidydose_table::run::{CAUTION, is_complete};

/// Runs the command.
///
/// # Errors
/// When the study has no tables, the value is not in them, or a file cannot be written.
pub(super) fn run(typed: &Explain, terminal: &Terminal) -> Result<Outcome, Fault> {
    let tables = tables(&typed.study)?;
    let fault = |e: ExplainError| Fault::folder(&typed.study, e.to_string());
    let name = CellName {
        case: &typed.case,
        structure: typed.structure.as_deref(),
        metric: typed.metric.as_deref(),
    };
    if let Some(path) = &typed.contact_sheet {
        let svg = explain::contact_sheet(&tables, name.case).map_err(fault)?;
        write_picture(path, &svg, "--contact-sheet")?;
        terminal.say(&format!("{}: all pictures of the case. {CAUTION}", path.display()));
    }
    if let Some(path) = &typed.picture {
        let svg = explain::picture(&tables, &name).map_err(fault)?;
        write_picture(path, &svg, "--picture")?;
        terminal.say(&format!("{}: picture of the structure. {CAUTION}", path.display()));
    }
    let drawn = typed.contact_sheet.is_some() && name.structure.is_none();
    if drawn || typed.picture.is_some() && name.metric.is_none() {
        say_stale(&typed.study, terminal);
        return Ok(Outcome::Complete);
    }
    let explanation = explain::explain(&tables, &name).map_err(fault)?;
    let explanation = explanation.stale(say_stale(&typed.study, terminal));
    if is_complete(&typed.study) == Some(false) {
        terminal.warn("the study was interrupted: it does not hold all cases; measure it again");
    }
    if let Some(path) = &typed.page {
        replace_file(path, |to| to.write_all(explanation.page().as_bytes()))?;
        terminal.say(&format!("{}: the same as a page. {CAUTION}", path.display()));
    }
    let text = explanation.text();
    print(&text).map_err(|e| Fault::System(format!("stdout: {e}")))?;
    Ok(Outcome::Complete)
}

fn tables(study: &Path) -> Result<BTreeMap<String, LoadedTable>, Fault> {
    Ok(StudyTables::of_study(study)?.read_all(explain::TABLES)?)
}

/// Writes a drawing as its file's ending says.
fn write_picture(path: &Path, svg: &str, option: &'static str) -> Result<(), Fault> {
    let ending = path.extension().and_then(|e| e.to_str()).map(str::to_lowercase);
    let bytes = match ending.as_deref() {
        Some("svg") => svg.as_bytes().to_vec(),
        Some("png") => png(svg).map_err(|e| Fault::System(ExplainError::Drawing(e).to_string()))?,
        _ => {
            let reason = format!("found `{}`, expected a file .svg or .png", path.display());
            return Err(Fault::Option { option, reason });
        }
    };
    Ok(replace_file(path, |to| to.write_all(&bytes))?)
}
