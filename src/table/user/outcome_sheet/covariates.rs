//! What a department knows of its patients beside outcomes: age, histology, performance, anything. Each
//! becomes a column of table plans or lesions while a relation or a paper is made, so that predictor,
//! adjuster, group and Table 1 name it as they name any other column. The tables of the study stay.

use std::collections::{BTreeMap, BTreeSet};

use crate::frame::{Cells, LoadedTable, texts};
use crate::read::Tables;

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
