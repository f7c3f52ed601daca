//! `review`: the committee's page of a study, written as one HTML file.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::args::Review;
use super::fault::Fault;
use super::outcome::Outcome;
use super::say_stale;
use super::terminal::Terminal;
use tidydose_case::is_standard_name;
use tidydose_metrics as metrics;
use tidydose_report::difference::Side;
use tidydose_report::{self as report, Before, Meeting, OrganOverview, Request, ReviewError};
use tidydose_table::frame::texts;
use tidydose_table::nobody;
use tidydose_table::open_names::names_by_words;
use tidydose_table::read::{CellError, LimitCheckRow, StructureRow, Tables, rows};
use tidydose_table::read_study::StudyTables;
use tidydose_table::replace_file;
use tidydose_table::run::{CAUTION, RunTexts, is_complete, run_document, run_texts};
use tidydose_table::user::reviews::{self, ReviewsFile};
use tidydose_table::write_file::Access;

/// Runs the command.
///
/// # Errors
/// When the study has no tables, organ or metric are not in them, or the page cannot be written.
pub(super) fn run(typed: &Review, terminal: &Terminal) -> Result<Outcome, Fault> {
    let mut wanted = report::TABLES.to_vec();
    if typed.since.is_some() {
        wanted.extend(report::TABLES_FOR_CAUSES);
    }
    let tables = StudyTables::of_study(&typed.study)?.read_all(&wanted)?;
    let complete = is_complete(&typed.study) != Some(false);
    if !complete {
        terminal.warn("the study was interrupted: it does not hold all cases; measure it again");
    }
    let stale = say_stale(&typed.study, terminal);
    let document = run_document(&typed.study).unwrap_or_default();
    let inputs = document.get("inputs_sha256").and_then(|v| v.as_str()).unwrap_or_default();
    let identity = document.pointer("/settings/identity").and_then(|v| v.as_str());
    let study = name_of(&typed.study);
    let notes_path = typed.study.join(reviews::FILE);
    let mut notes_file = ReviewsFile::read(&notes_path)?;
    say_unmatched(&notes_file, &tables, terminal);
    let notes = notes_file.notes().to_vec();
    let earlier =
        typed.since.as_deref().map(|folder| Earlier::read(folder, typed, &wanted)).transpose()?;
    let before = earlier.as_ref().map(|e| e.before(&tables));
    let request = Request {
        complete,
        group: &typed.group,
        true_dates: identity == Some("kept"),
        stale: stale.as_deref(),
        meeting: Meeting {
            committee: typed.committee.as_deref(),
            period: typed.period.as_deref(),
            date: typed.date.as_deref(),
            study: &study,
            inputs,
        },
        notes: &notes,
        before: before.as_ref(),
        ..Request::new("", &typed.metric)
    };
    let organs = organs(typed, &tables)?;
    let first = typed.output.clone().unwrap_or_else(|| typed.study.join("review.html"));
    let pages = pages(&organs, &first);
    let overviews = overviews(&pages, &tables, &request, (typed, terminal))?;
    let several = if pages.len() > 1 { overviews.as_slice() } else { &[] };
    let mut set = PageSet { tables: &tables, request, overviews: several, notes: &mut notes_file };
    let mut added = 0;
    for page in pages.iter().filter(|p| overviews.iter().any(|o| o.organ() == p.organ)) {
        added += set.write(page, &typed.study)?;
        let path = page.path.display();
        terminal.say(&format!("{path}: {} and {}. {CAUTION}", page.organ, typed.metric));
    }
    if added > 0 {
        notes_file.write(&notes_path, Access::Shared)?;
        say_added(&notes_path, added, terminal);
    }
    if overviews.is_empty() {
        return Ok(Outcome::Empty);
    }
    let why = tables.get("plans").and_then(nobody::nobody);
    Ok(Outcome::unless_nobody(why.as_deref(), terminal))
}

/// What all pages of a run share.
struct PageSet<'s> {
    tables: &'s Tables,
    request: Request<'s>,
    overviews: &'s [OrganOverview],
    notes: &'s mut ReviewsFile,
}

impl PageSet<'_> {
    /// Writes a page. Returns how many of its cases have a new row in `reviews.csv`.
    fn write(&mut self, page: &OrganPage<'_>, study: &Path) -> Result<usize, Fault> {
        let request = Request { organ: page.organ, organs: self.overviews, ..self.request };
        let made = report::review(self.tables, &request)
            .map_err(|e| Fault::folder(study, e.to_string()))?;
        replace_file(&page.path, |to| to.write_all(made.html.as_bytes()))?;
        Ok(self.notes.propose(page.organ, &made.to_discuss))
    }
}

/// An organ with the file of its page.
struct OrganPage<'o> {
    organ: &'o str,
    path: PathBuf,
}

/// The organs that were asked for, each once; or all with a value held against a limit that a
/// structure is called, or may be by its words. What a name says nothing about may be anything, and
/// would make a page of every organ there is.
fn organs(typed: &Review, tables: &Tables) -> Result<Vec<String>, Fault> {
    let mut organs: Vec<String> = Vec::new();
    if typed.all_organs {
        let fault = |e: CellError| Fault::folder(&typed.study, e.to_string());
        let checks: Vec<LimitCheckRow<'_>> = rows(tables).map_err(fault)?;
        let structures: Vec<StructureRow<'_>> = rows(tables).map_err(fault)?;
        let held: BTreeSet<&str> =
            checks.iter().filter(|c| c.value.is_some()).map(|c| c.structure).collect();
        for organ in held {
            if structures.iter().any(|s| s.structure == organ || names_by_words(s, organ)) {
                organs.push(organ.to_owned());
            }
        }
        if organs.is_empty() {
            let reason = "no organ has a value that was held against a limit; name one by --organ";
            return Err(Fault::folder(&typed.study, reason));
        }
    } else {
        for organ in &typed.organ {
            if !organs.contains(organ) {
                organs.push(organ.clone());
            }
        }
    }
    Ok(organs)
}

/// The page of the first organ is `first`, the others lie beside it.
fn pages<'o>(organs: &'o [String], first: &Path) -> Vec<OrganPage<'o>> {
    let stem = first.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let mut pages = Vec::new();
    for organ in organs {
        let path = if pages.is_empty() {
            first.to_path_buf()
        } else {
            let safe: String =
                organ.chars().map(|c| if c.is_alphanumeric() { c } else { '_' }).collect();
            first.with_file_name(format!("{stem}_{safe}.html"))
        };
        pages.push(OrganPage { organ, path });
    }
    pages
}

/// What each page will say in the table of all organs. A known organ that the study does not have is
/// said and has no page; a slip of the pen is a fault.
fn overviews(
    pages: &[OrganPage<'_>],
    tables: &Tables,
    request: &Request<'_>,
    (typed, terminal): (&Review, &Terminal),
) -> Result<Vec<OrganOverview>, Fault> {
    let mut overviews = Vec::new();
    for page in pages {
        let request = Request { organ: page.organ, ..*request };
        let file = page.path.file_name().unwrap_or_default().to_string_lossy();
        match OrganOverview::read(tables, &request, &file) {
            Ok(overview) => overviews.push(overview),
            // A name of the trade that nobody in the study has: no case, and no slip.
            Err(e) if is_gap(&e) => {
                let words = format!("no page: {e}; names that nobody has decided are in names.csv");
                terminal.warn(&words);
            }
            Err(e) => return Err(Fault::folder(&typed.study, e.to_string())),
        }
    }
    Ok(overviews)
}

/// Whether what was asked for is known and only not in this study.
fn is_gap(error: &ReviewError) -> bool {
    match error {
        ReviewError::Table(_) | ReviewError::Cell(_) | ReviewError::Group { .. } => false,
        ReviewError::Organ { wanted, .. } => is_standard_name(wanted),
        ReviewError::Metric { wanted, .. } => metrics::parse(wanted).is_ok(),
    }
}

/// The last part of the folder's path, by which people know it.
fn name_of(study: &Path) -> String {
    let name = study.canonicalize().ok().and_then(|p| Some(p.file_name()?.to_owned()));
    name.map_or_else(|| study.display().to_string(), |n| n.to_string_lossy().into_owned())
}

fn say_added(file: &Path, added: usize, terminal: &Terminal) {
    let (file, cases) = (file.display(), if added == 1 { "case" } else { "cases" });
    terminal.say(&format!(
        "{file}: {added} {cases} to talk about added; write there what the committee decides"
    ));
}

/// Says which rows of `reviews.csv` are about no plan of the study.
fn say_unmatched(notes: &ReviewsFile, tables: &Tables, terminal: &Terminal) {
    let Some(plans) = tables.get("plans") else { return };
    let plans: BTreeSet<&str> = texts(plans, "plan_id").into_iter().flatten().collect();
    for sentence in notes.unmatched(&plans) {
        terminal.warn(&sentence);
    }
}

/// The study of an earlier meeting, and what tells why something changed since.
struct Earlier {
    name: String,
    tables: Tables,
    runs: [RunTexts; 2],
}

impl Earlier {
    fn read(folder: &Path, typed: &Review, wanted: &[&str]) -> Result<Self, Fault> {
        let tables = StudyTables::of_study(folder)?.read_all(wanted)?;
        let runs = [run_texts(folder), run_texts(&typed.study)];
        Ok(Self { name: name_of(folder), tables, runs })
    }

    fn before<'e>(&'e self, now: &'e Tables) -> Before<'e> {
        let [then, today] = &self.runs;
        let side = |tables, run: &'e RunTexts| Side {
            tables,
            version: &run.version,
            settings: &run.settings,
        };
        Before { name: &self.name, sides: [side(&self.tables, then), side(now, today)] }
    }
}
