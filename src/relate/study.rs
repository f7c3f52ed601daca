//! The tables of a study as plain rows: the only file of this room that knows the table engine.

use std::collections::BTreeMap;

use super::RelateError;
use tidydose_rt::nearest::nearest;
use tidydose_table::frame::{LoadedTable, flags, integers, reals, texts};
use tidydose_table::open_names::OpenNames;

/// A plan of table plans.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Plan {
    /// Patient.
    pub patient_id: String,
    /// Plan.
    pub plan_id: String,
    /// Part of the plan in the treatment, such as treated.
    pub role: String,
    /// Whether it was measured.
    pub measured: bool,
    /// Whether it is in the study.
    pub in_study: bool,
    /// Why it was left out.
    pub exclusion: String,
    /// Course of the patient, by time.
    pub course: Option<i64>,
    /// First day of treatment, else day of the plan.
    pub day: Option<i64>,
    /// Number of fractions.
    pub fractions: Option<i64>,
    /// What groups are made of, such as the technology.
    pub group: String,
}

/// A lesion of table lesions.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Lesion {
    /// Plan.
    pub plan_id: String,
    /// Lesion.
    pub lesion_id: String,
    /// Name of its main target.
    pub structure: String,
    /// What the clinic calls it.
    pub clinical_label: Option<String>,
}

/// A row of table metrics.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MetricValue {
    /// Plan.
    pub plan_id: String,
    /// Structure in the plan.
    pub structure_id: String,
    /// Standard name.
    pub structure: String,
    /// Metric.
    pub metric: String,
    /// Value.
    pub value: Option<f64>,
    /// Status; only `ok` is used.
    pub status: String,
}

/// What is needed of a study.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Cohort {
    /// All plans.
    pub plans: Vec<Plan>,
    /// Lesions of measured plans.
    pub lesions: Vec<Lesion>,
    /// All metrics.
    pub metrics: Vec<MetricValue>,
    /// Structures that may be an organ though nobody has decided their names.
    pub open: OpenNames,
    /// Numeric columns of table plans: name, then value by plan.
    pub plan_columns: BTreeMap<String, BTreeMap<String, f64>>,
    /// Numeric columns of table lesions: name, then value by lesion.
    pub lesion_columns: BTreeMap<String, BTreeMap<String, f64>>,
}

impl Cohort {
    /// Takes the rows out of the tables.
    ///
    /// # Errors
    /// When a table is missing, or the grouping is no column of table plans.
    pub fn read(tables: &BTreeMap<String, LoadedTable>, group: &str) -> Result<Self, RelateError> {
        let table = |name: &'static str| tables.get(name).ok_or(RelateError::Table(name));
        let (plans, lesions, metrics) = (table("plans")?, table("lesions")?, table("metrics")?);
        let columns_of_plans: Vec<&str> = plans.names().collect();
        if !columns_of_plans.contains(&group) {
            let there = nearest(group, columns_of_plans);
            return Err(RelateError::Group { wanted: group.to_owned(), there });
        }
        Ok(Self {
            plans: plan_rows(plans, group),
            lesions: lesion_rows(lesions),
            metrics: metric_rows(metrics),
            open: tables.get("structures").map(OpenNames::of).unwrap_or_default(),
            plan_columns: columns(plans, "plan_id"),
            lesion_columns: columns(lesions, "lesion_id"),
        })
    }

    /// A plan by its name.
    #[must_use]
    pub fn plan(&self, plan_id: &str) -> Option<&Plan> {
        self.plans.iter().find(|p| p.plan_id == plan_id)
    }
}

fn plan_rows(frame: &LoadedTable, group: &str) -> Vec<Plan> {
    let text = |name| owned(frame, name);
    let [patients, plans, roles, codes] =
        ["patient_id", "plan_id", "plan_role", "exclusion_code"].map(text);
    let [courses, days, first, fractions] =
        ["course", "day_plan", "day_first_fraction", "fractions_planned"]
            .map(|n| integers(frame, n));
    let [measured, in_study] = ["measured", "in_study"].map(|n| flags(frame, n));
    let mut groups = text(group);
    if groups.iter().all(String::is_empty) {
        let numbers = integers(frame, group).into_iter();
        groups = numbers.map(|n| n.map_or_else(String::new, |n| n.to_string())).collect();
    }
    let plan = |i: usize| Plan {
        patient_id: patients[i].clone(),
        plan_id: plans[i].clone(),
        role: roles[i].clone(),
        measured: measured[i] == Some(true),
        in_study: in_study[i] == Some(true),
        exclusion: codes[i].clone(),
        course: courses[i],
        day: first[i].or(days[i]),
        fractions: fractions[i],
        group: if groups[i].is_empty() { "unknown".to_owned() } else { groups[i].clone() },
    };
    (0..frame.height()).map(plan).collect()
}

fn lesion_rows(frame: &LoadedTable) -> Vec<Lesion> {
    let [plans, lesions, structures] =
        ["plan_id", "lesion_id", "structure"].map(|n| owned(frame, n));
    let labels = texts(frame, "clinical_label");
    let lesion = |i: usize| Lesion {
        plan_id: plans[i].clone(),
        lesion_id: lesions[i].clone(),
        structure: structures[i].clone(),
        clinical_label: labels[i].map(str::to_owned),
    };
    (0..frame.height()).map(lesion).collect()
}

fn metric_rows(frame: &LoadedTable) -> Vec<MetricValue> {
    let [plans, ids, structures, metrics, statuses] =
        ["plan_id", "structure_id", "structure", "metric", "status"].map(|n| owned(frame, n));
    let values = reals(frame, "value");
    let row = |i: usize| MetricValue {
        plan_id: plans[i].clone(),
        structure_id: ids[i].clone(),
        structure: structures[i].clone(),
        metric: metrics[i].clone(),
        value: values[i],
        status: statuses[i].clone(),
    };
    (0..frame.height()).map(row).collect()
}

fn owned(frame: &LoadedTable, name: &str) -> Vec<String> {
    texts(frame, name).into_iter().map(|t| t.unwrap_or_default().to_owned()).collect()
}

fn columns(frame: &LoadedTable, key: &str) -> BTreeMap<String, BTreeMap<String, f64>> {
    let keys = texts(frame, key);
    let numeric = frame.columns().iter().filter(|(_, cells)| cells.is_numeric());
    let values = |name: &str| {
        let pairs = keys.iter().zip(reals(frame, name));
        pairs.filter_map(|(k, v)| Some(((*k)?.to_owned(), v?))).collect()
    };
    numeric.map(|(name, _)| (name.clone(), values(name))).collect()
}
