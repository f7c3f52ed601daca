//! Rows of the blind check that name patient, plan and structure as the hospital knows them: their keys in
//! the tables, by the names that lie with the study's key. Never guessed: what two plans or structures
//! are called is none of them.

use std::borrow::Cow;
use std::collections::BTreeSet;

use super::Study;
use tidydose_table::frame::texts;
use tidydose_table::user::outcome_sheet::StudyNames;
use tidydose_table::user::worksheet::Checked;

const NO_NAMES: &str = "no plan_id, and no hospital_id, plan_label and structure_in_plan either";
const NO_KEY: &str = "named as in the hospital: the folder of the key is needed (--key)";
const NO_PLAN: &str = "the patient has no plan of this label in the study";
const PLANS: &str = "several plans of the patient have this label";
const NO_STRUCTURE: &str = "the plan has no structure of this name";
const STRUCTURES: &str = "several structures of the plan have this name";

/// The rows with the keys of the tables; those that are not found say why.
pub(super) fn resolved<'r>(
    study: &Study<'_>,
    rows: &'r [Checked],
    names: Option<&StudyNames>,
) -> Cow<'r, [Checked]> {
    if rows.iter().all(|r| !r.plan_id.is_empty()) {
        return Cow::Borrowed(rows);
    }
    let mut rows = rows.to_vec();
    for row in rows.iter_mut().filter(|r| r.plan_id.is_empty()) {
        match keys(study, row, names) {
            Ok([patient, plan, structure]) => {
                (row.patient_id, row.plan_id) = (patient.to_owned(), plan.to_owned());
                row.structure_id = structure.to_owned();
            }
            Err(why) => row.not_found = Some(why),
        }
    }
    Cow::Owned(rows)
}

fn keys<'s>(
    study: &Study<'s>,
    row: &Checked,
    names: Option<&StudyNames>,
) -> Result<[&'s str; 3], &'static str> {
    let [hospital_id, label, structure] = row.hospital.each_ref().map(String::as_str);
    if [hospital_id, label, structure].contains(&"") {
        return Err(NO_NAMES);
    }
    let names = names.ok_or(NO_KEY)?;
    let patient = names.pseudonym(hospital_id);
    let own = |plan: &&super::PlanRow<'s>| {
        let called = names.plan_label(plan.plan_id).unwrap_or(plan.plan_id);
        plan.patient_id == patient && is_same(called, label)
    };
    let plan = one(study.plans.iter().filter(own), [NO_PLAN, PLANS])?;
    let drawn = texts(study.structure_table, "name_original");
    let called = |place: usize| {
        let row = &study.structures[place];
        let original = drawn.get(place).copied().flatten().unwrap_or(row.structure);
        row.plan_id == plan.plan_id && is_same(original, structure)
    };
    let of_plan: BTreeSet<&str> = (0..study.structures.len())
        .filter(|place| called(*place))
        .map(|place| study.structures[place].structure_id)
        .collect();
    // Regions that nobody drew, such as all tissue, have their name from the program.
    let measured = study.metrics.iter().filter(|m| m.plan_id == plan.plan_id);
    let regions = measured.filter(|m| is_same(m.structure, structure)).map(|m| m.structure_id);
    let found = if of_plan.is_empty() { regions.collect() } else { of_plan };
    Ok([plan.patient_id, plan.plan_id, one(found.into_iter(), [NO_STRUCTURE, STRUCTURES])?])
}

/// Whether two names are the same apart from capitals and the space around them.
fn is_same(a: &str, b: &str) -> bool {
    a.trim().to_lowercase() == b.trim().to_lowercase()
}

/// The only one of a list; else that there is none, or several.
fn one<T>(
    mut list: impl Iterator<Item = T>,
    [none, several]: [&'static str; 2],
) -> Result<T, &'static str> {
    let first = list.next().ok_or(none)?;
    if list.next().is_some() { Err(several) } else { Ok(first) }
}
