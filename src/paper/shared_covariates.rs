//! Which covariates of the department's sheet are shared with the tables: numbers, and words of few
//! levels. Free text and what looks like a number of a patient stay; levels that few patients have are
//! named, since they may say who somebody is.

use std::collections::{BTreeMap, BTreeSet};

use tidydose_statistics::real;
use tidydose_table::frame::texts;
use tidydose_table::read::Tables;
use tidydose_table::user::outcome_sheet::covariates::{Covariate, Grain, Values};

/// Words of more levels than that are text.
const MOST_LEVELS: usize = 12;
/// A level of more letters than that is a sentence.
const MOST_LETTERS: usize = 30;
/// Levels with fewer patients are named: what many registries ask of tables that are passed on.
pub(super) const FEW: usize = 5;
/// Whole numbers from here on may be those of patients; ages, scores, days and volumes are smaller.
const LARGE: f64 = 10_000.0;

/// What is shared of the covariates.
#[derive(Debug, Default)]
pub(super) struct SharedCovariates {
    /// Table and column.
    pub(super) kept: BTreeSet<(String, String)>,
    /// Table and column of what is left out, with the reason.
    pub(super) left: BTreeMap<(String, String), &'static str>,
    /// Rows of the dictionary: table, column, value, type, unit, meaning, allowed values.
    pub(super) dictionary: Vec<[String; 7]>,
    /// Levels that few patients have.
    pub(super) small: Vec<String>,
}

impl SharedCovariates {
    /// Judges all covariates, which are columns of the tables already.
    pub(super) fn of(tables: &Tables, covariates: &[Covariate]) -> Self {
        let mut shared = Self::default();
        for covariate in covariates {
            let place = (table_of(covariate.grain).to_owned(), covariate.name.clone());
            match reason_to_keep_back(covariate) {
                Some(why) => drop(shared.left.insert(place, why)),
                None => {
                    shared.kept.insert(place);
                    shared.dictionary.push(row(covariate));
                    shared.small.extend(small(tables, covariate));
                }
            }
        }
        shared
    }
}

const fn table_of(grain: Grain) -> &'static str {
    match grain {
        Grain::Patient | Grain::Plan => "plans",
        Grain::Lesion => "lesions",
    }
}

fn reason_to_keep_back(covariate: &Covariate) -> Option<&'static str> {
    match &covariate.values {
        Values::Numbers(map) => {
            let whole = map.values().filter(|v| v.fract() == 0.0 && **v >= LARGE).count();
            let distinct: BTreeSet<u64> = map.values().map(|v| v.to_bits()).collect();
            let most = |n: usize| real(n) > 0.9 * real(map.len());
            (most(whole) && most(distinct.len())).then_some("may be a number of the patient")
        }
        Values::Levels(map) => {
            let mut levels: BTreeMap<&str, usize> = BTreeMap::new();
            for level in map.values() {
                *levels.entry(level).or_insert(0) += 1;
            }
            let once = levels.values().filter(|n| **n == 1).count();
            let long = levels.keys().any(|l| l.chars().count() > MOST_LETTERS);
            // Where most levels are somebody's own, people wrote what they liked.
            let own = levels.len() > 2 && 2 * once > levels.len();
            (levels.len() > MOST_LEVELS || long || own).then_some("free text")
        }
    }
}

fn row(covariate: &Covariate) -> [String; 7] {
    let of = covariate.grain.word();
    let (kind, allowed) = match &covariate.values {
        Values::Numbers(_) => ("real", String::new()),
        Values::Levels(map) => {
            let levels: BTreeSet<&str> = map.values().map(String::as_str).collect();
            ("text", levels.into_iter().collect::<Vec<_>>().join(" | "))
        }
    };
    let meaning = format!("what the department's sheet says of the {of}; as it stands there");
    [table_of(covariate.grain), &covariate.name, "", kind, "", &meaning, &allowed]
        .map(str::to_owned)
}

/// Levels with few patients, in words.
fn small(tables: &Tables, covariate: &Covariate) -> Vec<String> {
    let Values::Levels(map) = &covariate.values else { return Vec::new() };
    let mut patients: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for (key, patient) in patients_of(tables, covariate.grain) {
        if let Some(level) = map.get(key) {
            patients.entry(level).or_default().insert(patient);
        }
    }
    let few = patients.iter().filter(|(_, own)| own.len() < FEW);
    few.map(|(level, own)| format!("{} {level} ({})", covariate.name, own.len())).collect()
}

/// What a covariate is told of, with its patient.
fn patients_of(tables: &Tables, grain: Grain) -> Vec<(&str, &str)> {
    let column =
        |table: &str, name: &str| tables.get(table).map(|t| texts(t, name)).unwrap_or_default();
    let patients = column("plans", "patient_id");
    if grain == Grain::Patient {
        return patients.into_iter().flatten().map(|p| (p, p)).collect();
    }
    let plans = column("plans", "plan_id").into_iter().zip(patients);
    let plans: BTreeMap<&str, &str> = plans.filter_map(|(plan, p)| Some((plan?, p?))).collect();
    if grain == Grain::Plan {
        return plans.into_iter().collect();
    }
    let lesions = column("lesions", "lesion_id").into_iter().zip(column("lesions", "plan_id"));
    lesions.filter_map(|(lesion, plan)| Some((lesion?, *plans.get(plan?)?))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn levels(name: &str, words: &[&str]) -> Covariate {
        let values = (0..).zip(words).map(|(i, w)| (format!("P{i}"), (*w).to_owned())).collect();
        Covariate {
            name: name.to_owned(),
            column: name.to_owned(),
            grain: Grain::Patient,
            values: Values::Levels(values),
        }
    }

    fn numbers(name: &str, values: &[f64]) -> Covariate {
        let values = (0..).zip(values).map(|(i, v)| (format!("P{i}"), *v)).collect();
        Covariate { values: Values::Numbers(values), ..levels(name, &[]) }
    }

    #[test]
    fn numbers_and_few_levels_are_shared_and_texts_are_not() {
        let many: Vec<String> = (0..40).map(|i| format!("level {}", i % 13)).collect();
        let many: Vec<&str> = many.iter().map(String::as_str).collect();
        let covariates = [
            numbers("age", &[61.0, 70.0, 44.5]),
            numbers("case", &[120_345.0, 120_346.0, 119_001.0]),
            levels("histology", &["lung", "breast", "lung", "breast", "melanoma"]),
            levels("sex", &["F", "M"]),
            levels("remark", &["seen by Dr Smith on a Tuesday in May", "none"]),
            levels("words", &["one", "two", "three", "three"]),
            levels("many", &many),
        ];
        let shared = SharedCovariates::of(&Tables::new(), &covariates);
        let names: Vec<&str> = shared.kept.iter().map(|(_, name)| name.as_str()).collect();
        assert_eq!(names, ["age", "histology", "sex"]);
        let left: Vec<(&str, &str)> =
            shared.left.iter().map(|((_, name), why)| (name.as_str(), *why)).collect();
        assert_eq!(
            left,
            [
                ("case", "may be a number of the patient"),
                ("many", "free text"),
                ("remark", "free text"),
                ("words", "free text"),
            ]
        );
        assert_eq!(shared.dictionary[1][1], "histology");
        assert_eq!(shared.dictionary[1][6], "breast | lung | melanoma");
    }
}
