//! Table `centres`: one row for each centre of a study that was put together, with what came from it.
//! Counts rows of tables; measures nothing.

use std::collections::{BTreeMap, BTreeSet};

use super::{CENTRE, Member, PoolError};
use crate::column::{Column, Definition, Sheet, borrowed, count};
use crate::frame::{flags, texts};
use crate::study::Study;
use crate::table::Table;

pub(super) const TABLE: Table = Table {
    name: "centres",
    grain: "one centre of a study that was put together",
    key: &[CENTRE],
    by_case: false,
    sheet: without_rows,
};

#[derive(Debug, Default)]
struct CentreEntry {
    centre: String,
    patients: BTreeSet<String>,
    plans: usize,
    measured: usize,
    in_study: usize,
    lesions: usize,
    outcomes: usize,
    program_version: String,
    inputs: String,
}

/// A study of one centre has no such table.
fn without_rows<'a>(_: &Study<'a>) -> Sheet<'a> {
    Sheet::new(columns(), Vec::new())
}

/// Its columns.
pub(crate) fn definitions() -> Vec<Definition> {
    columns().iter().map(|c| c.definition().clone()).collect()
}

/// The rows, in the order in which the studies were named.
pub(super) fn sheet<'a>(members: &[Member]) -> Result<Sheet<'a>, PoolError> {
    let mut rows: Vec<CentreEntry> = Vec::new();
    for member in members {
        rows.extend(of_member(member)?);
    }
    Ok(Sheet::new(columns(), rows))
}

fn of_member(member: &Member) -> Result<Vec<CentreEntry>, PoolError> {
    let mut rows: BTreeMap<String, CentreEntry> = BTreeMap::new();
    let labels = member.own_labels()?;
    for run in member.runs() {
        let of = |name: &str| run[name].as_str().unwrap_or_default().to_owned();
        let row = CentreEntry {
            centre: of("centre"),
            program_version: of("program_version"),
            inputs: of("inputs_sha256"),
            ..CentreEntry::default()
        };
        rows.insert(row.centre.clone(), row);
    }
    let mut centre_of_patient: BTreeMap<String, String> = BTreeMap::new();
    let plans = member.frame("plans")?;
    let (measured, counted) = (flags(&plans, "measured"), flags(&plans, "in_study"));
    let patients = texts(&plans, "patient_id");
    for (row, centre) in member.centres_of(&plans).into_iter().enumerate() {
        let Some(entry) = centre.and_then(|c| rows.get_mut(c)) else { continue };
        let is = |cells: &[Option<bool>]| cells.get(row).copied().flatten() == Some(true);
        entry.plans += 1;
        entry.measured += usize::from(is(&measured));
        entry.in_study += usize::from(is(&counted));
        if let Some(patient) = patients.get(row).copied().flatten() {
            entry.patients.insert(patient.to_owned());
            centre_of_patient.insert(patient.to_owned(), entry.centre.clone());
        }
    }
    let lesions = member.frame("lesions")?;
    for centre in member.centres_of(&lesions).into_iter().flatten() {
        if let Some(entry) = rows.get_mut(centre) {
            entry.lesions += 1;
        }
    }
    for outcome in member.outcomes()? {
        let centre = centre_of_patient.get(&outcome.patient_id);
        if let Some(entry) = centre.and_then(|c| rows.get_mut(c)) {
            entry.outcomes += 1;
        }
    }
    Ok(labels.iter().filter_map(|label| rows.remove(label)).collect())
}

fn columns() -> Vec<Column<CentreEntry>> {
    vec![
        Column::text(CENTRE, "centre; the label under which its study was put in", |r| {
            borrowed(&r.centre)
        }),
        Column::integer("n_patients", "", "patients with a plan", |r| count(r.patients.len())),
        Column::integer("n_plans", "", "plans that were found", |r| count(r.plans)),
        Column::integer("n_plans_measured", "", "of these, measured", |r| count(r.measured)),
        Column::integer("n_plans_in_study", "", "of these, counted; see plans.in_study", |r| {
            count(r.in_study)
        }),
        Column::integer("n_lesions", "", "lesions of all its plans", |r| count(r.lesions)),
        Column::integer(
            "n_outcome_rows",
            "",
            "rows of outcomes_read.csv about its patients; 0 without such a file",
            |r| count(r.outcomes),
        ),
        Column::text("program_version", "version of the program that measured it", |r| {
            borrowed(&r.program_version)
        }),
        Column::text("inputs_sha256", "digest of its radiotherapy objects", |r| {
            borrowed(&r.inputs)
        }),
    ]
}
