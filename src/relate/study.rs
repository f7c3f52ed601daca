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
    /// Columns of words of table plans: name, then level by plan.
    pub(super) plan_levels: LevelColumns<'t>,
    /// Columns of words of table lesions: name, then level by lesion.
    pub(super) lesion_levels: LevelColumns<'t>,
    /// Lesions that were treated before, by the lesion of the later course.
    pub(super) earlier: BTreeMap<&'t str, &'t str>,
}

/// Values by column and by what a row is about.
pub(super) type NumericColumns<'t> = BTreeMap<&'t str, BTreeMap<&'t str, f64>>;

/// Levels by column and by what a row is about.
pub(super) type LevelColumns<'t> = BTreeMap<&'t str, BTreeMap<&'t str, String>>;

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
            plan_levels: levels(plans, "plan_id"),
            lesion_levels: levels(lesions, "lesion_id"),
            earlier: earlier(lesions),
        })
    }

    /// What a column says of a lesion, else of its plan; empty where it says nothing.
    pub(super) fn told(&self, name: &str, plan: &str, lesion: Option<&str>) -> String {
        let number = |columns: &NumericColumns<'_>, key: &str| {
            columns.get(name).and_then(|c| c.get(key)).map(f64::to_string)
        };
        let word = |columns: &LevelColumns<'_>, key: &str| {
            columns.get(name).and_then(|c| c.get(key)).cloned()
        };
        let of_lesion = lesion
            .and_then(|l| number(&self.lesion_columns, l).or_else(|| word(&self.lesion_levels, l)));
        let of_plan = || number(&self.plan_columns, plan).or_else(|| word(&self.plan_levels, plan));
        of_lesion.or_else(of_plan).unwrap_or_default()
    }

    /// A plan by its name.
    pub(super) fn plan(&self, plan_id: &str) -> Option<&GroupedPlan<'t>> {
        self.plans.iter().find(|p| p.row.plan_id == plan_id)
    }
}

fn earlier(lesions: &LoadedTable) -> BTreeMap<&str, &str> {
    let own = texts(lesions, "lesion_id");
    let before = texts(lesions, "earlier_lesion_id");
    own.into_iter().zip(before).filter_map(|(own, before)| Some((own?, before?))).collect()
}

fn levels<'t>(table: &'t LoadedTable, key: &str) -> LevelColumns<'t> {
    let keys = texts(table, key);
    let mut columns = LevelColumns::new();
    for (name, _) in table.columns().iter().filter(|(_, cells)| !cells.is_numeric()) {
        let pairs = keys.iter().enumerate();
        let pairs = pairs.filter_map(|(row, key)| Some(((*key)?, level(table, name, row)?)));
        columns.insert(name, pairs.collect());
    }
    columns
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
