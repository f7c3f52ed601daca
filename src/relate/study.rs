//! What is needed of a study: its plans with their group, lesions and metrics, and every numeric column
//! of plans and lesions, since each of them may be asked for as a predictor.

use std::collections::BTreeMap;

use super::RelateError;
use tidydose_rt::nearest::nearest;
use tidydose_table::frame::{LoadedTable, reals, texts};
use tidydose_table::open_names::OpenNames;
use tidydose_table::read::{LesionRow, MetricRow, PlanRow, Tables, level, rows};

/// A plan with the group it is shown in.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct GroupedPlan<'t> {
    /// Its row of table plans.
    pub(super) row: PlanRow<'t>,
    /// What groups are made of, such as the technology.
    pub(super) group: String,
}

/// What is needed of a study.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cohort<'t> {
    /// All plans.
    pub(super) plans: Vec<GroupedPlan<'t>>,
    /// Lesions of measured plans.
    pub(super) lesions: Vec<LesionRow<'t>>,
    /// All metrics.
    pub(super) metrics: Vec<MetricRow<'t>>,
    /// Structures that may be an organ though nobody has decided their names.
    pub(super) open: OpenNames,
    /// Numeric columns of table plans: name, then value by plan.
    pub(super) plan_columns: NumericColumns<'t>,
    /// Numeric columns of table lesions: name, then value by lesion.
    pub(super) lesion_columns: NumericColumns<'t>,
}

/// Values by column and by what a row is about.
pub(super) type NumericColumns<'t> = BTreeMap<&'t str, BTreeMap<&'t str, f64>>;

impl<'t> Cohort<'t> {
    /// Takes the rows out of the tables.
    ///
    /// # Errors
    /// When a table is missing or cannot be understood, or the grouping is no column of table plans.
    pub(super) fn read(tables: &'t Tables, group: &str) -> Result<Self, RelateError> {
        let table = |name: &'static str| tables.get(name).ok_or(RelateError::Table(name));
        let (plans, lesions, _) = (table("plans")?, table("lesions")?, table("metrics")?);
        if plans.cells(group).is_none() {
            let there = nearest(group, plans.names());
            return Err(RelateError::Group { wanted: group.to_owned(), there });
        }
        let group_of = |i| level(plans, group, i).unwrap_or_else(|| "unknown".to_owned());
        let rows_of_plans: Vec<PlanRow<'t>> = rows(tables)?;
        let grouped = rows_of_plans.into_iter().enumerate();
        Ok(Self {
            plans: grouped.map(|(i, row)| GroupedPlan { row, group: group_of(i) }).collect(),
            lesions: rows(tables)?,
            metrics: rows(tables)?,
            open: OpenNames::of(&rows(tables)?),
            plan_columns: columns(plans, "plan_id"),
            lesion_columns: columns(lesions, "lesion_id"),
        })
    }

    /// A plan by its name.
    pub(super) fn plan(&self, plan_id: &str) -> Option<&GroupedPlan<'t>> {
        self.plans.iter().find(|p| p.row.plan_id == plan_id)
    }
}

fn columns<'t>(table: &'t LoadedTable, key: &str) -> NumericColumns<'t> {
    let keys = texts(table, key);
    let mut columns = NumericColumns::new();
    for (name, _) in table.columns().iter().filter(|(_, cells)| cells.is_numeric()) {
        let pairs = keys.iter().zip(reals(table, name));
        columns.insert(name, pairs.filter_map(|(key, value)| Some(((*key)?, value?))).collect());
    }
    columns
}
