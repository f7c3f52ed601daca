//! Outcomes joined to the tables of a study, and one relation between a dose and an event described:
//! a logistic dose-response model, rates, discrimination, survival and incidence under competing
//! risks, with figures. Warnings stand beside the numbers; published values are drawn beside the data,
//! never as advice.
//!
//! Research and quality review only. Works on tables and gives files as bytes: opens none, prints
//! nothing. Nothing is imputed: who is not analysed is in the flow, with the first reason that holds.

mod analysis;
mod captions;
mod centres;
mod checks;
mod constant;
mod course;
mod figures;
mod join;
mod methods;
mod model;
mod model_words;
mod predictor;
mod published;
mod scripts;
mod sheets;
mod study;
mod time;
mod words;

use std::collections::BTreeMap;

use study::Cohort;

use analysis::Analysis;
pub use figures::FIGURES;
pub use tidydose_statistics::logistic::MOST_ADJUSTERS;
use tidydose_table::nobody::nobody;
use tidydose_table::read::{CellError, Tables};
use tidydose_table::user::models::{ModelRow, SUBJECTS};
use tidydose_table::user::outcomes::Outcome;

/// The file with the captions of all figures.
pub const CAPTIONS: &str = "captions.md";

/// The tables that are read.
pub const TABLES: &[&str] = &["plans", "lesions", "metrics", "structures"];

/// What one row of the analysis is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Grain {
    /// A patient, with the plan of the first course.
    Patient,
    /// A plan; an event belongs to the course that precedes it.
    Plan,
    /// A lesion, with the plan it belongs to.
    Lesion,
}

impl Grain {
    /// Grains by the words of the command line.
    pub const WORDS: &'static [(Self, &'static str)] =
        &[(Self::Patient, "patient"), (Self::Plan, "plan"), (Self::Lesion, "lesion")];

    /// Its word on the command line.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Patient => "patient",
            Self::Plan => "plan",
            Self::Lesion => "lesion",
        }
    }
}

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// `event_type` of the sheet.
    pub event: String,
    /// Predictor: `STRUCTURE:METRIC`, a metric of the lesion itself, or a numeric column.
    pub predictor: String,
    /// Further predictors to adjust for, at most [`MOST_ADJUSTERS`].
    pub adjust: Vec<String>,
    /// Patients or lesions.
    pub grain: Grain,
    /// Only plans of so many fractions.
    pub fractions: Option<i64>,
    /// Only events of at least this grade count.
    pub least_grade: Option<i64>,
    /// Who was followed for fewer days without event is left out.
    pub least_follow_up: Option<i64>,
    /// Fit to the binary logarithm of the predictor.
    pub doubling: bool,
    /// Column of plans by which survival is shown.
    pub group: String,
    /// Columns of the tables that come from the sheet, for table subjects.
    pub covariates: Vec<String>,
    /// Analyses that were tried before, this one included.
    pub tried: Vec<Tried>,
    /// Kinds of events that the sheet has a column for, though nobody need have had them.
    pub looked_for: Vec<String>,
    /// What scripts of an earlier run of this relation estimated, see [`tidydose_table::user::models`].
    pub models: Vec<ModelRow>,
    /// Name and version of the program, for the references.
    pub program: [String; 2],
    /// Whether figures are wanted as pictures of [`tidydose_figure::PICTURE_DPI`] too.
    pub tiff: bool,
    /// What to say where something was decided after the tables were made.
    pub stale: Option<String>,
    /// The run that the tables come from, for the captions; see [`tidydose_table::run::words`].
    pub run: String,
}

/// An analysis that was tried.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Tried {
    /// The event.
    pub event: String,
    /// Predictor, adjusters, grain and filters in words.
    pub what: String,
}

/// What came out.
#[derive(Debug, Clone, PartialEq)]
pub struct Relation {
    /// Files by name.
    pub files: BTreeMap<String, Vec<u8>>,
    /// The result in a few words, for the terminal.
    pub summary: String,
    /// What must be known beside it.
    pub warnings: Vec<String>,
    /// Why nobody is analysed, and what to decide; absent when somebody is.
    pub nobody: Option<String>,
}

/// A relation could not be described.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RelateError {
    /// A table is missing.
    #[error("has no table {0}; `tidydose measure` writes it")]
    Table(&'static str),
    /// A table cannot be understood.
    #[error("cannot be used: {0}")]
    Cell(#[from] CellError),
    /// The sheet has no such event.
    #[error("event {wanted} is not in the sheet; there are: {there}")]
    Event {
        /// As asked for.
        wanted: String,
        /// Kinds of events with their numbers, separated by commas.
        there: String,
    },
    /// The grouping is no column.
    #[error("grouping {wanted} is no column of plans; nearest: {there}")]
    Group {
        /// As asked for.
        wanted: String,
        /// Columns, the nearest first.
        there: String,
    },
    /// A predictor is not in the tables.
    #[error("{wanted}: {reason}; {there}")]
    Predictor {
        /// As asked for.
        wanted: String,
        /// What is wrong.
        reason: String,
        /// What there is.
        there: String,
    },
}

/// Describes a relation.
///
/// # Errors
/// [`RelateError`], with what there is instead. A model that cannot be fitted is no error: the report
/// says why, and everything else is written.
pub fn relate(
    tables: &Tables,
    outcomes: &[Outcome],
    request: &Request,
) -> Result<Relation, RelateError> {
    let cohort = Cohort::read(tables, &request.group)?;
    let mut relation = describe(&cohort, outcomes, request)?;
    if relation.nobody.is_some() {
        // Where no plan counts at all, that is the reason, and the tables know what to decide.
        relation.nobody = tables.get("plans").and_then(nobody).or(relation.nobody);
    }
    Ok(relation)
}

fn describe(
    cohort: &Cohort<'_>,
    outcomes: &[Outcome],
    request: &Request,
) -> Result<Relation, RelateError> {
    let (joined, followed) = constant::joined(cohort, outcomes, request)?;
    let request = &followed;
    let analysis = Analysis::of(joined, request);
    if let Some(wanted) = analysis.pooled_prescription(request) {
        return Err(RelateError::Predictor {
            wanted,
            reason: format!(
                "a prescribed dose is not pooled over numbers of fractions ({})",
                analysis.fraction_words()
            ),
            there: "ask for one of them with --fractions".to_owned(),
        });
    }
    let mut files = sheets::files(&analysis, request);
    let subjects = files.get(SUBJECTS).cloned().unwrap_or_default();
    files.extend(scripts::files(&subjects, request));
    let models = scripts::own(&request.models, &subjects);
    let drawn = figures::files(&analysis, request, &models);
    let (pressed, faults) = tidydose_figure::pressed(&drawn, request.tiff);
    files.extend(pressed);
    files.extend(drawn);
    files.insert(CAPTIONS.to_owned(), captions::file(&analysis, request, &files));
    let mut warnings: Vec<String> = request.stale.iter().cloned().collect();
    warnings.extend(analysis.warnings(request));
    warnings.extend(faults);
    let others = scripts::words(&models, request.models.len() - models.len());
    let text = words::report(&analysis, request, &warnings, others);
    files.insert("references.bib".to_owned(), methods::references(request));
    files.insert("report.txt".to_owned(), text.into_bytes());
    let summary = words::summary(&analysis, request);
    Ok(Relation { files, summary, warnings, nobody: words::nobody(&analysis, request) })
}

#[cfg(test)]
mod example;
#[cfg(test)]
mod known_truth_tests;
#[cfg(test)]
mod tests;
