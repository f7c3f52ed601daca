//! What a department knows of its patients beside outcomes: age, histology, performance, anything. Each
//! becomes a column of table plans or lesions while a relation or a paper is made, so that predictor,
//! adjuster, group and Table 1 name it as they name any other column. The tables of the study stay.

use std::collections::{BTreeMap, BTreeSet};

use crate::frame::{Cells, LoadedTable, texts};
use crate::read::{CellError, LesionRow, PlanRow, Tables, rows};

/// What a covariate belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grain {
    /// The patient: all rows of one say the same.
    Patient,
    /// The plan.
    Plan,
    /// The lesion.
    Lesion,
}

impl Grain {
    /// The word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Patient => "patient",
            Self::Plan => "plan",
            Self::Lesion => "lesion",
        }
    }
}

/// One covariate with its values.
#[derive(Debug, Clone, PartialEq)]
pub struct Covariate {
    /// Name of the column in the tables.
    pub name: String,
    /// Column of the sheet.
    pub column: String,
    /// What it belongs to.
    pub grain: Grain,
    /// Numbers or levels, by patient, plan or lesion.
    pub values: Values,
}

/// The values of a covariate.
#[derive(Debug, Clone, PartialEq)]
pub enum Values {
    /// Numbers.
    Numbers(BTreeMap<String, f64>),
    /// Levels.
    Levels(BTreeMap<String, String>),
}

impl Covariate {
    /// Whether its values are levels.
    #[must_use]
    pub const fn is_levels(&self) -> bool {
        matches!(self.values, Values::Levels(_))
    }

    fn cells(&self, keys: &[Option<&str>]) -> Cells {
        match &self.values {
            Values::Numbers(map) => {
                Cells::Real(keys.iter().map(|k| map.get((*k)?).copied()).collect())
            }
            Values::Levels(map) => {
                Cells::texts(keys.iter().map(|k| map.get((*k)?).map(String::as_str)))
            }
        }
    }
}

/// Gives names that no table has yet: `sheet_` before one that is taken.
pub fn name_apart(covariates: &mut [Covariate], tables: &Tables) {
    let mut taken: BTreeSet<String> = BTreeSet::new();
    for table in ["plans", "lesions"] {
        taken.extend(tables.get(table).into_iter().flat_map(|t| t.names().map(str::to_owned)));
    }
    for covariate in covariates {
        while !taken.insert(covariate.name.clone()) {
            covariate.name = format!("sheet_{}", covariate.name);
        }
    }
}

/// Puts covariates beside the columns of the tables.
pub fn add(tables: &mut Tables, covariates: &[Covariate]) {
    for covariate in covariates {
        let (table, key) = match covariate.grain {
            Grain::Patient => ("plans", "patient_id"),
            Grain::Plan => ("plans", "plan_id"),
            Grain::Lesion => ("lesions", "lesion_id"),
        };
        let Some(found) = tables.remove(table) else { continue };
        let cells = covariate.cells(&texts(&found, key));
        let with: LoadedTable = found.with(&covariate.name, cells);
        tables.insert(table.to_owned(), with);
    }
}

/// The covariate that an initial velocity is made from: days from the diagnosis of the primary tumour
/// to the first treatment in the study.
pub const DAYS_SINCE_DIAGNOSIS: &str = "days_since_diagnosis";
/// The covariate that is made.
pub const INITIAL_VELOCITY: &str = "initial_velocity_per_year";
/// Days in a year, as in table `new_lesions`.
const YEAR_DAYS: f64 = 365.25;

/// The initial velocity of brain metastases: lesions treated in the first course, a year since the
/// diagnosis of the primary tumour (Yamamoto et al. 2019, abstract read; classes below and from 2.00).
/// Absent without a covariate [`DAYS_SINCE_DIAGNOSIS`] of patients in numbers; patients whose days are
/// not above 0 have none.
///
/// # Errors
/// A table has a cell that is not understood.
pub fn initial_velocity(
    covariates: &[Covariate],
    tables: &Tables,
) -> Result<Option<Covariate>, CellError> {
    let is_it = |c: &&Covariate| c.name == DAYS_SINCE_DIAGNOSIS && c.grain == Grain::Patient;
    let Some(Covariate { values: Values::Numbers(days), column, .. }) =
        covariates.iter().find(is_it)
    else {
        return Ok(None);
    };
    let plans: Vec<PlanRow<'_>> = rows(tables)?;
    let mut first: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for plan in plans.iter().filter(|p| p.is_in_study() && p.course == Some(1)) {
        first.entry(plan.patient_id).or_default().insert(plan.plan_id);
    }
    let lesions: Vec<LesionRow<'_>> = rows(tables)?;
    let mut values = BTreeMap::new();
    for (patient, days) in days.iter().filter(|(_, days)| **days > 0.0) {
        let Some(plans) = first.get(patient.as_str()) else { continue };
        let treated = lesions.iter().filter(|l| plans.contains(l.plan_id)).count();
        #[expect(clippy::cast_precision_loss, reason = "some ten lesions")]
        values.insert(patient.clone(), treated as f64 * YEAR_DAYS / days);
    }
    Ok(Some(Covariate {
        name: INITIAL_VELOCITY.to_owned(),
        column: column.clone(),
        grain: Grain::Patient,
        values: Values::Numbers(values),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::example::Example;
    use crate::{Destination, database, read_study, write_tables};

    #[test]
    fn lesions_of_the_first_course_a_year_since_the_diagnosis() {
        let folder = tempfile::tempdir().unwrap();
        let database = folder.path().join(database::FILE);
        let to = Destination { folder: folder.path(), database: Some(&database) };
        let names = ["plans", "lesions"];
        write_tables(&Example::new().followed().study(), &names, to).unwrap();
        let study = read_study::StudyTables::of_study(folder.path()).unwrap();
        let tables = study.read_all(&names).unwrap();
        let plans: Vec<PlanRow<'_>> = rows(&tables).unwrap();
        let plan = plans.iter().find(|p| p.is_in_study() && p.course == Some(1)).unwrap();
        let own = rows::<LesionRow<'_>>(&tables).unwrap();
        let n = own.iter().filter(|l| l.plan_id == plan.plan_id).count();
        assert!(n > 0, "{plan:?}");
        let given = |days: f64, name: &str| Covariate {
            name: name.to_owned(),
            column: "since".to_owned(),
            grain: Grain::Patient,
            values: Values::Numbers(BTreeMap::from([(plan.patient_id.to_owned(), days)])),
        };
        let made = |days| {
            let found = initial_velocity(&[given(days, DAYS_SINCE_DIAGNOSIS)], &tables);
            found.unwrap().unwrap()
        };
        let Values::Numbers(values) = made(182.625).values else { panic!("numbers") };
        let in_half_a_year = 2.0 * n as f64;
        assert!((values[plan.patient_id] - in_half_a_year).abs() < 1e-12, "{values:?}");
        assert_eq!(made(0.0).values, Values::Numbers(BTreeMap::new()), "diagnosed on that day");
        assert_eq!(initial_velocity(&[given(90.0, "days")], &tables), Ok(None));
    }
}
