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
use tidydose_paper as paper;
use tidydose_relate::{self as relate, Grain, MOST_ADJUSTERS, RelateError, Request, Tried};
use tidydose_table::citations;
use tidydose_table::read_study::StudyTables;
use tidydose_table::replace_file;
use tidydose_table::run::{self, CAUTION, is_complete, run_document};
use tidydose_table::user::models::{self, ModelRow};
use tidydose_table::user::outcomes;
use tidydose_table::user::user_file::UserFile;
use tidydose_table::write_file::Access;

/// Analyses that were tried, in the folder of the study.
const TRIED: &str = "tried.csv";
const TRIED_COLUMNS: &[&str] = &[
    "event",
    "predictor",
    "adjust",
    "grain",
    "fractions",
    "least_grade",
    "least_follow_up",
    "doubling",
];
/// What a file of an earlier version has.
const TRIED_REQUIRED: &[&str] = &["event", "predictor"];

/// Runs the command.
///
/// # Errors
/// When the study has no tables, the sheet has a fault, event or predictor are not there, or the
/// folder cannot be written.
pub(super) fn run(typed: &Relate, terminal: &Terminal) -> Result<Outcome, Fault> {
    let mut tables = StudyTables::of_study(&typed.study)?.read_plans(relate::TABLES)?;
    let asked = Asked { study: &typed.study, sheet: &typed.outcomes, key: typed.key.as_deref() };
    let Taken { outcomes: sheet, covariates, looked_for } = take(asked, &mut tables, terminal)?;
    if is_complete(&typed.study) == Some(false) {
        terminal.warn("the study was interrupted: it does not hold all cases; measure it again");
    }
    if typed.adjust.len() > MOST_ADJUSTERS {
        return Err(Fault::Option {
            option: "--adjust",
            reason: format!(
                "{} are named; at most {MOST_ADJUSTERS} are accepted",
                typed.adjust.len()
            ),
        });
    }
    let document = run_document(&typed.study)?;
    let run = run::words(&document);
    let program = citations::program(&document).map(str::to_owned);
    let stale = say_stale(&typed.study, terminal);
    let covariates = covariates.into_iter().map(|c| c.name).collect();
    let asked = request(typed, &sheet);
    let row = tried_row(&asked);
    let (mut file, tried) = tried(&typed.study.join(TRIED), &row)?;
    let folder = typed.output.clone().unwrap_or_else(|| typed.study.join("relate"));
    let models = models::read(&folder.join(models::FILE))?;
    let request = Request { run, program, stale, covariates, tried, looked_for, models, ..asked };
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
    for (name, bytes) in &found.files {
        replace_file(&folder.join(name), |to| to.write_all(bytes))?;
    }
    remove_others(&folder, &found)?;
    if !file.keys(TRIED_COLUMNS).contains(&row) {
        let pairs: Vec<(&str, &str)> =
            TRIED_COLUMNS.iter().copied().zip(row.iter().map(String::as_str)).collect();
        file.add(&pairs);
        file.write(&typed.study.join(TRIED), Access::Shared)?;
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

fn request(typed: &Relate, sheet: &[outcomes::Outcome]) -> Request {
    let of_lesions = sheet.iter().any(|o| o.event_type == typed.event && o.lesion_id.is_some());
    let of_plans = sheet.iter().any(|o| o.plan_id.is_some());
    let usual = match (of_lesions, of_plans) {
        (true, _) => Grain::Lesion,
        (false, true) => Grain::Plan,
        (false, false) => Grain::Patient,
    };
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
        tried: Vec::new(),
        looked_for: Vec::new(),
        covariates: Vec::new(),
        models: Vec::new(),
        program: [String::new(), String::new()],
        tiff: typed.tiff,
        stale: None,
        run: String::new(),
    }
}

/// The row of an analysis in the file of those that were tried: everything that makes another one.
fn tried_row(request: &Request) -> Vec<String> {
    let number = |n: Option<i64>| n.map(|n| n.to_string()).unwrap_or_default();
    let mut adjust = request.adjust.clone();
    adjust.sort();
    vec![
        request.event.clone(),
        request.predictor.clone(),
        adjust.join("; "),
        request.grain.word().to_owned(),
        number(request.fractions),
        number(request.least_grade),
        number(request.least_follow_up),
        if request.doubling { "true".to_owned() } else { String::new() },
    ]
}

/// An analysis of the file in words.
fn tried_words(row: &[String]) -> Tried {
    let mut words = row[1].clone();
    let more =
        ["", "", "adjusted for", "by", "fractions", "grade from", "followed days", "doubling"];
    for (cell, name) in row.iter().zip(more).skip(2).filter(|(cell, _)| !cell.is_empty()) {
        let cell = if name == "doubling" { "" } else { cell.as_str() };
        words = format!("{words}, {name} {cell}").trim_end().to_owned();
    }
    Tried { event: row[0].clone(), what: words }
}

/// The file of what was tried, and all of it with the analysis of `now`.
fn tried(path: &Path, now: &[String]) -> Result<(UserFile, Vec<Tried>), Fault> {
    let file = UserFile::read(path, TRIED_REQUIRED, TRIED_COLUMNS)?;
    let mut rows = file.keys(TRIED_COLUMNS);
    rows.insert(now.to_vec());
    let all = rows.iter().map(|row| tried_words(row)).collect();
    Ok((file, all))
}

/// What the relation in the study folder left for a paper; estimates of other subjects than those
/// beside them are counted only.
///
/// # Errors
/// When the estimates cannot be read.
pub(super) fn relation_for_paper(study: &Path) -> Result<paper::Relation, Fault> {
    let folder = study.join("relate");
    let rows = models::read(&folder.join(models::FILE))?;
    let file = |name: &str| std::fs::read(folder.join(name)).ok();
    // Without subjects nothing says what the estimates are of.
    let own = models::mark(&file(models::SUBJECTS).unwrap_or_default());
    let (models, others): (Vec<ModelRow>, Vec<ModelRow>) =
        rows.into_iter().partition(|r| r.relation == own);
    let of = |ending: &str| file(&format!("{}.{ending}", paper::CALIBRATION));
    let captions = file(relate::CAPTIONS).unwrap_or_default();
    Ok(paper::Relation {
        captions: String::from_utf8_lossy(&captions).into_owned(),
        calibration: of("svg").zip(of("csv")).map(|(svg, csv)| [svg, csv]),
        models,
        others: others.len(),
    })
}

/// Removes figures of an earlier relation that this one does not have: beside its captions they would
/// pass for its own.
fn remove_others(folder: &Path, found: &relate::Relation) -> Result<(), Fault> {
    for figure in relate::FIGURES {
        for ending in ["svg", "pdf", "tiff"] {
            let name = format!("{figure}.{ending}");
            let path = folder.join(&name);
            if !found.files.contains_key(&name) && path.exists() {
                std::fs::remove_file(&path).map_err(|e| Fault::folder(folder, e.to_string()))?;
            }
        }
    }
    Ok(())
}
