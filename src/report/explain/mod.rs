//! One value of a study traced back: from its row in table metrics to files and objects, contour
//! planes, hottest voxel, definition, bounds term by term, limits, findings and picture. Everything
//! comes from tables; nothing is computed again, no file is opened.

mod account;
mod find;
mod page;
mod text;

use super::drawing;
use super::picture::{Picture, pictures};
use account::Account;
use tidydose_table::read::{CellError, MetricRow, PlanRow, Tables, rows, rows_where};

/// The tables that an explanation is made from. Those after the first two may be missing.
pub const TABLES: &[&str] = &[
    "metrics",
    "plans",
    "structures",
    "files",
    "bounds",
    "sensitivity",
    "traces",
    "limit_checks",
    "findings",
    "finding_details",
    "pictures",
    "dictionary",
];

/// A cell of table metrics, as a person names it.
#[derive(Debug, Clone, Copy)]
pub struct CellName<'r> {
    /// patient_id or plan_id.
    pub case: &'r str,
    /// Name, ROI Number or structure_id.
    pub structure: Option<&'r str>,
    /// Metric as in column `metric`.
    pub metric: Option<&'r str>,
}

/// A value could not be explained.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ExplainError {
    /// A table is missing.
    #[error("has no table {0}; `tidydose measure` writes it")]
    Table(&'static str),
    /// A table cannot be understood.
    #[error("cannot be used: {0}")]
    Cell(#[from] CellError),
    /// Nothing is called so.
    #[error("{what} {typed} is not in the tables; nearest: {there}")]
    Missing {
        /// What was looked for.
        what: &'static str,
        /// As typed.
        typed: String,
        /// What there is, most alike first.
        there: String,
    },
    /// Several are called so.
    #[error("{what} {typed} stands for several; name one of: {there}")]
    Several {
        /// What was looked for.
        what: &'static str,
        /// As typed.
        typed: String,
        /// All of them.
        there: String,
    },
    /// Something is still to be named.
    #[error("name a {what} of {of}; there are: {there}")]
    Unnamed {
        /// What is missing.
        what: &'static str,
        /// Of which case or structure.
        of: String,
        /// What there is.
        there: String,
    },
    /// The case has no row in table metrics.
    #[error("case {0} has no values: it was not measured, see exclusion_reason in table plans")]
    NotMeasured(String),
    /// There is nothing to draw.
    #[error("no picture of {0}; pictures are of organs with dose and of targets")]
    Picture(String),
    /// The picture could not be made.
    #[error("the picture cannot be drawn: {0}")]
    Drawing(String),
}

/// Where a value comes from.
#[derive(Debug, Clone)]
pub struct Explanation<'t> {
    account: Account<'t>,
    stale: Option<String>,
}

impl Explanation<'_> {
    /// The same with what to say where something was decided after the tables were made.
    #[must_use]
    pub fn stale(self, stale: Option<String>) -> Self {
        Self { stale, ..self }
    }

    /// As plain text for a terminal.
    #[must_use]
    pub fn text(&self) -> String {
        text::text(&self.account)
    }

    /// As one HTML text that needs nothing else.
    #[must_use]
    pub fn page(&self) -> String {
        page::page(&self.account, self.stale.as_deref())
    }
}

/// The plan of a cell with its values.
fn plan<'t>(tables: &'t Tables, case: &str) -> Result<(String, Vec<MetricRow<'t>>), ExplainError> {
    for needed in ["metrics", "plans"] {
        if !tables.contains_key(needed) {
            return Err(ExplainError::Table(needed));
        }
    }
    let plans: Vec<PlanRow<'t>> = rows(tables)?;
    let plan_id = find::plan(&plans, case)?;
    let values = rows_where(tables, "plan_id", |p| p == plan_id)?;
    Ok((plan_id, values))
}

/// Traces one cell of table metrics.
///
/// # Errors
/// [`ExplainError`], with what there is instead.
pub fn explain<'t>(
    tables: &'t Tables,
    name: &CellName<'_>,
) -> Result<Explanation<'t>, ExplainError> {
    let (plan_id, values) = plan(tables, name.case)?;
    let (found, metric) = find::named(&values, &plan_id, name)?;
    let metric = metric.ok_or_else(|| find::no_metric(&values, &found))?;
    let row = find::row(&values, &found, metric)?;
    Ok(Explanation { account: Account::read(tables, row)?, stale: None })
}

/// The pictures of the structure of a cell, one for each plane, as SVG; the metric does not matter.
///
/// # Errors
/// [`ExplainError`], with what there is instead.
pub fn picture(tables: &Tables, name: &CellName<'_>) -> Result<String, ExplainError> {
    let (plan_id, values) = plan(tables, name.case)?;
    let (found, _) = find::named(&values, &plan_id, name)?;
    let all = of_plan(tables, &plan_id)?;
    let own: Vec<_> = all.iter().filter(|p| p.structure_id == found.structure_id).collect();
    if own.is_empty() {
        return Err(ExplainError::Picture(found.structure_id));
    }
    Ok(drawing::of_structure(&plan_id, &own))
}

/// All pictures of a case on one sheet, as SVG.
///
/// # Errors
/// [`ExplainError`], with what there is instead.
pub fn contact_sheet(tables: &Tables, case: &str) -> Result<String, ExplainError> {
    let (plan_id, _) = plan(tables, case)?;
    let all = of_plan(tables, &plan_id)?;
    if all.is_empty() {
        return Err(ExplainError::Picture(plan_id));
    }
    Ok(drawing::sheet(&plan_id, &all))
}

fn of_plan<'t>(tables: &'t Tables, plan_id: &str) -> Result<Vec<Picture<'t>>, ExplainError> {
    if !tables.contains_key("pictures") {
        return Err(ExplainError::Table("pictures"));
    }
    Ok(pictures(tables, |p| p == plan_id)?)
}
