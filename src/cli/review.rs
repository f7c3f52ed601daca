//! `review`: the committee's page of a study, written as one HTML file.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::args::Review;
use super::fault::Fault;
use super::outcome::Outcome;
use super::say_stale;
use super::slices::SliceFinder;
use super::terminal::Terminal;
use tidydose_case::is_standard_name;
use tidydose_metrics as metrics;
use tidydose_report::difference::Side;
use tidydose_report::{
    self as report, Before, Meeting, OrganOverview, Request, ReviewError, SheetFolder, SheetPage,
};
use tidydose_rt::nearest::nearest;
use tidydose_table::frame::texts;
use tidydose_table::nobody;
use tidydose_table::open_names::names_by_words;
use tidydose_table::read::{CellError, LimitCheckRow, StructureRow, Tables, rows};
use tidydose_table::read_study::StudyTables;
use tidydose_table::replace_file;
use tidydose_table::run::{CAUTION, RunTexts, is_complete, run_document, run_texts};
use tidydose_table::user::groups::{self, Groups};
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
    if !typed.images.is_empty() {
        wanted.push("traces");
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
    let kept = identity == Some("kept");
    let study = name_of(&typed.study);
    let mut notes_file = ReviewsFile::read(&typed.study.join(reviews::FILE))?;
    say_unmatched(&notes_file, &tables, terminal);
    let notes = notes_file.notes().to_vec();
    let own_groups = own_groups(&typed.study, &tables, terminal)?;
    let earlier =
        typed.since.as_deref().map(|folder| Earlier::read(folder, typed, &wanted)).transpose()?;
    let before = earlier.as_ref().map(|e| e.before(&tables));
    let request = Request {
        complete,
        group: &typed.group,
        own_groups: Some(&own_groups),
        true_dates: kept,
        stale: stale.as_deref(),
        meeting: meeting(typed, &study, inputs),
        notes: &notes,
        before: before.as_ref(),
        ..Request::new("", &typed.metric)
    };
    let written = write_pages(&tables, request, &mut notes_file, (typed, terminal))?;
    if written == 0 {
        return Ok(Outcome::Empty);
    }
    let why = tables.get("plans").and_then(nobody::nobody);
    Ok(Outcome::unless_nobody(why.as_deref(), terminal))
}

/// Writes a page for each organ, and `reviews.csv` where a case to talk about is new in it. Returns how
/// many pages there are.
fn write_pages(
    tables: &Tables,
    request: Request<'_>,
    notes: &mut ReviewsFile,
    (typed, terminal): (&Review, &Terminal),
) -> Result<usize, Fault> {
    let finder = match typed.images.as_slice() {
        [] => None,
        archive => Some(SliceFinder::open(&typed.study, archive, request.true_dates)?),
    };
    let organs = organs(typed, tables)?;
    let first = typed.output.clone().unwrap_or_else(|| typed.study.join("review.html"));
    let pages = pages(&organs, &first);
    // A page that stands alone has no table of all organs.
    let overviews = if pages.len() > 1 {
        overviews(&pages, tables, &request, (typed, terminal))?
    } else {
        Vec::new()
    };
    let finder = finder.as_ref();
    let mut set =
        PageSet { tables, request, overviews: &overviews, notes, finder, typed, added: 0 };
    let written = set.write_all(&pages, terminal)?;
    let added = set.added;
    if added > 0 {
        let path = typed.study.join(reviews::FILE);
        notes.write(&path, Access::Shared)?;
        say_added(&path, added, terminal);
    }
    Ok(written)
}

/// What the head of the minutes says.
fn meeting<'m>(typed: &'m Review, study: &'m str, inputs: &'m str) -> Meeting<'m> {
    Meeting {
        committee: typed.committee.as_deref(),
        period: typed.period.as_deref(),
        date: typed.date.as_deref(),
        study,
        inputs,
    }
}

/// What all pages of a run share.
struct PageSet<'s> {
    tables: &'s Tables,
    request: Request<'s>,
    overviews: &'s [OrganOverview],
    notes: &'s mut ReviewsFile,
    /// Where slices are found, if they are to be shown.
    finder: Option<&'s SliceFinder>,
    typed: &'s Review,
    /// Rows that are new in `reviews.csv`.
    added: usize,
}

impl PageSet<'_> {
    /// Writes the pages of organs that the study has. Returns how many.
    fn write_all(&mut self, pages: &[OrganPage<'_>], terminal: &Terminal) -> Result<usize, Fault> {
        let mut written = 0;
        for page in pages {
            let has_row = self.overviews.iter().any(|o| o.organ() == page.organ);
            if (has_row || pages.len() == 1) && self.write(page, terminal)? {
                written += 1;
            }
        }
        Ok(written)
    }

    /// Writes a page, and the sheets beside it where they were asked for. Returns whether there is one:
    /// a known organ that the study does not have is said.
    fn write(&mut self, page: &OrganPage<'_>, terminal: &Terminal) -> Result<bool, Fault> {
        let (name, folder) = (page.file(), page.sheet_folder());
        let sheets = self.typed.all_sheets.then_some(SheetFolder { folder: &folder, page: &name });
        let fault = |e: ReviewError| Fault::folder(&self.typed.study, e.to_string());
        let backdrops = match self.finder {
            Some(finder) => {
                let planes = report::image_planes(self.tables, page.organ).map_err(fault)?;
                finder.backdrops(planes, terminal)
            }
            None => Vec::new(),
        };
        let request = Request {
            organ: page.organ,
            organs: self.overviews,
            sheets,
            backdrops: &backdrops,
            ..self.request
        };
        let made = match report::review(self.tables, &request) {
            Ok(made) => made,
            Err(e) if is_gap(&e) => {
                say_gap(&e, terminal);
                return Ok(false);
            }
            Err(e) => return Err(fault(e)),
        };
        replace_file(&page.path, |to| to.write_all(made.html.as_bytes()))?;
        let path = page.path.display();
        terminal.say(&format!("{path}: {} and {}. {CAUTION}", page.organ, self.typed.metric));
        if sheets.is_some() {
            let folder = page.path.with_file_name(&folder);
            write_sheets(&folder, &made.sheets)?;
            terminal.say(&format!("{}: {} sheets", folder.display(), made.sheets.len()));
        }
        self.added += self.notes.propose(page.organ, &made.to_discuss);
        Ok(true)
    }
}

/// Writes the sheets, and takes those of an earlier page away that no longer stand for a case.
fn write_sheets(folder: &Path, sheets: &[SheetPage]) -> Result<(), Fault> {
    let fault = |e: std::io::Error| Fault::folder(folder, e.to_string());
    std::fs::create_dir_all(folder).map_err(fault)?;
    for sheet in sheets {
        replace_file(&folder.join(&sheet.file), |to| to.write_all(sheet.html.as_bytes()))?;
    }
    for entry in std::fs::read_dir(folder).map_err(fault)? {
        let entry = entry.map_err(fault)?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let is_sheet = name.starts_with("case-") && name.ends_with(".html");
        if is_sheet && sheets.iter().all(|s| s.file != name) {
            std::fs::remove_file(entry.path()).map_err(fault)?;
        }
    }
    Ok(())
}

/// An organ with the file of its page.
struct OrganPage<'o> {
    organ: &'o str,
    path: PathBuf,
}

impl OrganPage<'_> {
    fn file(&self) -> String {
        self.path.file_name().unwrap_or_default().to_string_lossy().into_owned()
    }

    /// Name of the folder of its sheets.
    fn sheet_folder(&self) -> String {
        let stem = self.path.file_stem().unwrap_or_default().to_string_lossy();
        format!("{stem}_sheets")
    }
}

/// The columns of the user's own, with a word on rows that are about no plan of the study.
fn own_groups(study: &Path, tables: &Tables, terminal: &Terminal) -> Result<Groups, Fault> {
    let own = Groups::read(&study.join(groups::FILE))?;
    let plans = tables.get("plans").map(|plans| texts(plans, "plan_id")).unwrap_or_default();
    let plans: BTreeSet<&str> = plans.into_iter().flatten().collect();
    let unknown: Vec<&str> = own.plans().filter(|plan| !plans.contains(plan)).collect();
    if let Some(first) = unknown.first() {
        let (n, file) = (unknown.len(), groups::FILE);
        let near = nearest(first, plans.iter().copied());
        let rows = if n == 1 { "row" } else { "rows" };
        terminal.warn(&format!(
            "{file}: {n} {rows} about no plan of the study, the first `{first}`; nearest: {near}"
        ));
    }
    Ok(own)
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
            let reason = "no organ has a value that was compared with a limit; name one by --organ";
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
        let (name, folder) = (page.file(), page.sheet_folder());
        let sheets = typed.all_sheets.then_some(SheetFolder { folder: &folder, page: &name });
        let request = Request { organ: page.organ, sheets, ..*request };
        match OrganOverview::read(tables, &request, &name) {
            Ok(overview) => overviews.push(overview),
            Err(e) if is_gap(&e) => say_gap(&e, terminal),
            Err(e) => return Err(Fault::folder(&typed.study, e.to_string())),
        }
    }
    Ok(overviews)
}

/// Says that there is no page, for a name of the trade that nobody in the study has.
fn say_gap(error: &ReviewError, terminal: &Terminal) {
    terminal.warn(&format!("no page: {error}; names that nobody has decided are in names.csv"));
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
