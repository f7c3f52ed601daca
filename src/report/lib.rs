//! Pages made from the tables of a study: that of a quality committee here, that of a single value
//! in [`explain`], and pictures as files. Each page is one HTML text that needs nothing else, no
//! file and no network. Every figure shows what a table holds.
//!
//! Texts from the tables go through the markup language, which escapes all of them. Opens no file,
//! prints nothing, and knows nothing of how the tables came about.

mod backdrop;
mod bands;
mod chart;
mod cohort;
mod compared;
mod counts;
pub mod decide;
pub mod difference;
mod drawing;
mod elsewhere;
pub mod explain;
mod findings;
pub mod follow_up;
mod html_page;
mod labels;
mod meeting;
mod number;
mod organs;
mod outliers;
mod picture;
mod place;
pub mod png;
mod ranking;
mod run_chart;
mod scatter;
mod sheet;
mod since;
mod undecided;

use maud::{Markup, html};

pub use backdrop::{Backdrop, ImagePlane, image_planes};
use cohort::Cohort;
use html_page::Page;
pub use meeting::Meeting;
pub use organs::OrganOverview;
pub use since::Before;
use since::Since;
use tidydose_table::curves::curves;
use tidydose_table::read::{CellError, Tables};
use tidydose_table::run::CAUTION;
use tidydose_table::user::groups::Groups;
use tidydose_table::user::reviews::{Proposal, ReviewNote};

/// The tables that a page is made from. Those after the first three may be missing.
pub const TABLES: &[&str] = &[
    "plans",
    "structures",
    "metrics",
    "dvh",
    "pictures",
    "findings",
    "finding_details",
    "limit_checks",
    "relations",
    "dictionary",
    "choices",
    "sensitivity",
];

/// What else it takes to tell why a case changed since an earlier study.
pub const TABLES_FOR_CAUSES: [&str; 2] = ["files", "lesions"];

/// Fewer cases than this have no percentile and no band.
pub(crate) const LEAST_CASES: usize = 5;

/// What a page is about.
#[derive(Debug, Clone, Copy)]
pub struct Request<'r> {
    /// Standard name of an organ, as in column `structure`.
    pub organ: &'r str,
    /// Metric as in table metrics.
    pub metric: &'r str,
    /// Whether the study holds all cases of its archive.
    pub complete: bool,
    /// Whether days are dates and not shifted by a hidden amount.
    pub true_dates: bool,
    /// What to say where something was decided after the tables were made.
    pub stale: Option<&'r str>,
    /// Column by which cases are compared: of the user's own ones, else of table plans.
    pub group: &'r str,
    /// The columns of the user's own.
    pub own_groups: Option<&'r Groups>,
    /// Where sheets of all cases are written, and so where cases without one on the page are linked
    /// to; absent where they are not.
    pub sheets: Option<SheetFolder<'r>>,
    /// What the head of the minutes says.
    pub meeting: Meeting<'r>,
    /// What was said at meetings before.
    pub notes: &'r [ReviewNote],
    /// The study of an earlier meeting.
    pub before: Option<&'r Before<'r>>,
    /// Slices of CT or MR to be shown behind outlines; nothing where nobody asks for them.
    pub backdrops: &'r [Backdrop],
    /// All organs of a set of pages, this one too; nothing for a page that stands alone.
    pub organs: &'r [OrganOverview],
}

impl<'r> Request<'r> {
    /// Of a complete study, without anything that a person says about the meeting.
    #[must_use]
    pub const fn new(organ: &'r str, metric: &'r str) -> Self {
        let meeting = Meeting { committee: None, period: None, date: None, study: "", inputs: "" };
        Self {
            organ,
            metric,
            complete: true,
            true_dates: false,
            group: "technology",
            own_groups: None,
            sheets: None,
            stale: None,
            meeting,
            notes: &[],
            before: None,
            backdrops: &[],
            organs: &[],
        }
    }
}

/// A folder beside a page with a sheet of every case.
#[derive(Debug, Clone, Copy)]
pub struct SheetFolder<'r> {
    /// Its name.
    pub folder: &'r str,
    /// Name of the page that it lies beside.
    pub page: &'r str,
}

/// The sheet of a case as a page of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetPage {
    /// Name of its file.
    pub file: String,
    /// The page as HTML.
    pub html: String,
}

/// A page with what a person may write about its cases.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReviewPage {
    /// The page as HTML.
    pub html: String,
    /// The cases to talk about, worst first.
    pub to_discuss: Vec<Proposal>,
    /// The sheets of all cases, where a folder for them was named.
    pub sheets: Vec<SheetPage>,
}

/// A page could not be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReviewError {
    /// A table is missing.
    #[error("has no table {0}; `tidydose measure` writes it")]
    Table(&'static str),
    /// A table cannot be understood.
    #[error("cannot be used: {0}")]
    Cell(#[from] CellError),
    /// No case has a structure of that name.
    #[error("organ {wanted} is in no case; nearest: {there}")]
    Organ {
        /// As asked for.
        wanted: String,
        /// Organs of the study, the nearest first.
        there: String,
    },
    /// Neither table plans nor groups.csv has such a column.
    #[error("group {wanted} is no column of groups.csv or of table plans; nearest: {there}")]
    Group {
        /// As asked for.
        wanted: String,
        /// Columns, the nearest first.
        there: String,
    },
    /// The organ has no such metric.
    #[error("metric {wanted} was not computed for {organ}; nearest: {there}")]
    Metric {
        /// As asked for.
        wanted: String,
        /// The organ.
        organ: String,
        /// Its metrics, the nearest first.
        there: String,
    },
}

/// The page, and the cases on it to talk about.
///
/// # Errors
/// [`ReviewError`], with what there is instead.
pub fn review(tables: &Tables, request: &Request<'_>) -> Result<ReviewPage, ReviewError> {
    let cohort = Cohort::read(tables, request)?;
    let since = match request.before {
        Some(before) => Some(Since::read(&cohort, before)?),
        None => None,
    };
    let curves = curves(tables, request.organ)?;
    let findings = findings::section(tables)?;
    let sources = sheet::Sources::read(&cohort, tables)?;
    let compared = compared::section(&cohort, tables)?;
    let page = Page {
        title: format!("{} review: {}", request.organ, request.metric),
        skip: ("#minutes".to_owned(), "Skip to the minutes"),
        head: head(&cohort),
        script: Some(include_str!("behaviour.js")),
        images: !request.backdrops.is_empty(),
    };
    let html = page.with(&html! {
        (meeting::section(&cohort, since.as_ref()))
        (organs::section(&cohort))
        (counts::section(&cohort))
        (scatter::section(&cohort))
        (ranking::section(&cohort))
        (undecided::section(&cohort))
        (bands::section(&cohort, curves))
        (run_chart::section(&cohort))
        (compared)
        (findings)
        (sheet::section(&cohort, &sources))
    });
    let mut to_discuss = Vec::new();
    for case in cohort.cases.iter().filter(|c| c.for_discussion()) {
        if let Some(seen) = meeting::seen(case) {
            to_discuss.push(Proposal { plan_id: case.plan.plan_id.to_owned(), seen });
        }
    }
    let sheets = sheet::pages(&cohort, &sources);
    Ok(ReviewPage { html, to_discuss, sheets })
}

fn head(cohort: &Cohort<'_>) -> Markup {
    let mut parts = vec![
        ("minutes", "For the minutes"),
        ("counts", "Who is counted"),
        ("distance", "Dose and distance"),
        ("cases", "Cases, worst first"),
        ("undecided", "Undecided names"),
        ("bands", "Dose-volume bands"),
        ("time", "Over time"),
        ("compared", "Groups compared"),
        ("findings", "Findings"),
        ("sheets", "Case sheets"),
    ];
    if !cohort.request.organs.is_empty() {
        parts.insert(1, ("organs", "All organs"));
    }
    html! {
        header {
            h1 { (cohort.request.organ) " " span.metric { (cohort.request.metric) } }
            p.caution role="note" { (CAUTION) }
            @if !cohort.request.complete {
                p.caution { "The run that wrote this study was interrupted: it does not hold all \
                     cases." }
            }
            @if let Some(stale) = cohort.request.stale {
                p.caution { (stale) "." }
            }
            nav aria-label="Parts of the page" {
                ol { @for (id, words) in parts { li { a href={ "#" (id) } { (words) } } } }
            }
        }
    }
}
