//! The covariates of the department's sheet as files beside Table 1, so that the starter scripts make it
//! again: one row a plan, with which plan stands for its patient, and one row a lesion.

use std::collections::BTreeSet;

use super::table_one::first_plans;
use super::{Files, Study, sheet, word};
use tidydose_table::Cell;
use tidydose_table::frame::LoadedTable;
use tidydose_table::user::outcome_sheet::covariates::{Covariate, Grain};

/// Covariates by plan.
pub(super) const OF_PLANS: &str = "plan_covariates.csv";
/// Covariates by lesion.
pub(super) const OF_LESIONS: &str = "lesion_covariates.csv";

/// Both files; none where the sheet tells nothing.
pub(super) fn files(
    study: &Study<'_>,
    included: &BTreeSet<String>,
    covariates: &[Covariate],
) -> Files {
    let mut files = Files::new();
    if covariates.is_empty() {
        return files;
    }
    let of = |lesion: bool| -> Vec<&str> {
        let own = covariates.iter().filter(|c| (c.grain == Grain::Lesion) == lesion);
        own.map(|c| c.name.as_str()).collect()
    };
    let first = first_plans(study, included);
    let names = of(false);
    let mut columns = vec!["plan_id", "first_of_patient"];
    columns.extend(&names);
    let row = |(number, plan): (usize, &str)| {
        let mut row = vec![word(plan), Cell::Boolean(first.contains(plan))];
        row.extend(cells(study.plan_table, number, &names));
        row
    };
    let plans = study.plans.iter().map(|p| p.plan_id).enumerate();
    files.insert(OF_PLANS.to_owned(), sheet(&columns, plans.map(row).collect()));
    let names = of(true);
    let mut columns = vec!["lesion_id"];
    columns.extend(&names);
    let row = |(number, lesion): (usize, &str)| {
        let mut row = vec![word(lesion)];
        row.extend(cells(study.lesion_table, number, &names));
        row
    };
    let lesions = study.lesions.iter().map(|l| l.lesion_id).enumerate();
    files.insert(OF_LESIONS.to_owned(), sheet(&columns, lesions.map(row).collect()));
    files
}

fn cells(table: &LoadedTable, row: usize, names: &[&str]) -> Vec<Cell<'static>> {
    let cell = |name: &&str| match table.cells(name).map(|c| c.at(row)) {
        Some(Cell::Text(text)) => word(&text),
        Some(Cell::Real(value)) => Cell::Real(value),
        _ => Cell::Missing,
    };
    names.iter().map(cell).collect()
}
