//! The items of STROBE for cohorts, 1 to 22, in own words: what the program knows of each, and what a
//! person must answer. Items by their numbers, from memory; the checklist itself was not read here.

use std::collections::BTreeSet;

use serde_json::Value;

use super::lists::{counts, range};
use super::{Study, counted};

/// An item.
pub(super) struct Item {
    pub(super) number: &'static str,
    pub(super) topic: &'static str,
    /// What is known; empty for nothing.
    pub(super) known: String,
    /// What a person must answer; empty for nothing.
    pub(super) question: &'static str,
}

fn item(number: &'static str, topic: &'static str, known: String, question: &'static str) -> Item {
    Item { number, topic, known, question }
}

/// All of them.
pub(super) fn items(
    study: &Study<'_>,
    run: &Value,
    included: &BTreeSet<String>,
    with_outcomes: bool,
) -> Vec<Item> {
    let mut all = before_methods();
    all.extend(participants(study, included));
    all.extend(methods(study, run, included));
    all.extend(results(study, included, with_outcomes));
    all.extend(discussion());
    all
}

fn before_methods() -> Vec<Item> {
    vec![
        item(
            "1",
            "title and abstract",
            "retrospective cohort of archived plans".to_owned(),
            "does the title or abstract name the design, and does the abstract say what was done and \
             found?",
        ),
        item("2", "background", String::new(), "why was it looked at, and what was known before?"),
        item(
            "3",
            "objectives",
            String::new(),
            "which question was asked, and was it set down before the data were seen?",
        ),
    ]
}

fn participants(study: &Study<'_>, included: &BTreeSet<String>) -> Vec<Item> {
    let stages: Vec<String> = study
        .stages()
        .iter()
        .map(|(words, patients, plans, _)| {
            format!("{words}: {} of {}", counted(*plans, "plan"), counted(*patients, "patient"))
        })
        .collect();
    let fact = |name: &str| counts(study.plan_table, name, included);
    vec![
        item(
            "4",
            "design",
            "plans, structures and doses of an archive, measured afterwards; lesions and plans lie \
             within patients"
                .to_owned(),
            "how was the archive put together?",
        ),
        item(
            "5",
            "setting",
            format!(
                "technologies: {}; first years of five-year bands of the plan date: {}",
                fact("technology"),
                fact("era")
            ),
            "where, and from which date to which were patients treated and followed?",
        ),
        item(
            "6",
            "participants",
            format!("in the tables: {}", stages.join("; ")),
            "who was eligible, how were they found, and how were they followed?",
        ),
    ]
}

fn methods(study: &Study<'_>, run: &Value, included: &BTreeSet<String>) -> Vec<Item> {
    let method = run.get("method").and_then(Value::as_str).unwrap_or_default();
    let grid = range(study.plan_table, "grid_plane_mm", included, "mm");
    vec![
        item(
            "7",
            "variables",
            "share/data_dictionary.csv has definition and unit of each column and metric".to_owned(),
            "how were events diagnosed and graded, and which confounders were considered?",
        ),
        item(
            "8",
            "data sources and measurement",
            format!("{method} Spacing of dose planes: {grid}."),
            "who drew the structures, and were those who judged outcomes blind to dose?",
        ),
        item(
            "9",
            "bias",
            "what is missing by organ: completeness.csv; blind check against planning reports: \
             check_worksheet.csv"
                .to_owned(),
            "who chose the plans, and what was done against selection and recall?",
        ),
        item(
            "10",
            "size",
            format!("{} in the tables, all that the archive has", counted(included.len(), "plan")),
            "why so many, and how many events per parameter were expected?",
        ),
        item(
            "11",
            "quantitative variables",
            "doses and volumes are used as they are; shares above a limit use limits that were set \
             before (limit_shares.csv)"
                .to_owned(),
            "why was a value cut into groups, if any was?",
        ),
        item(
            "12",
            "statistics",
            "methods.txt with references.bib; missing values are counted beside every number and not \
             replaced; intervals that patients with several values make too narrow are named"
                .to_owned(),
            "which analyses were planned, and which sensitivity analyses were made?",
        ),
    ]
}

fn results(study: &Study<'_>, included: &BTreeSet<String>, with_outcomes: bool) -> Vec<Item> {
    let lesions = study.lesions.iter().filter(|l| included.contains(l.plan_id)).count();
    let (outcomes, follow_up) = if with_outcomes {
        (
            "incidence.csv, survival.csv and flow.csv of the relation",
            "follow-up: report.txt of the relation and figures/courses.svg",
        )
    } else {
        ("", "")
    };
    vec![
        item(
            "13",
            "numbers at each stage",
            "flow.svg and flow.csv, with reasons".to_owned(),
            "who was asked and declined, or was lost before the archive?",
        ),
        item(
            "14",
            "descriptive data",
            format!("table_one of {}; doses.csv. {follow_up}", counted(lesions, "lesion")),
            "which clinical characteristics are not in the sheet of the department?",
        ),
        item("15", "outcome data", outcomes.to_owned(), "how many events of which kind?"),
        item(
            "16",
            "main results",
            "comparisons.csv and limit_shares.csv with intervals; of a relation model.csv"
                .to_owned(),
            "which estimates are adjusted for what, and why for these?",
        ),
        item(
            "17",
            "other analyses",
            "every test of a sheet is counted in it; predictors that were tried: tried.csv"
                .to_owned(),
            "which subgroups and interactions were looked at?",
        ),
    ]
}

fn discussion() -> Vec<Item> {
    vec![
        item("18", "key results", String::new(), "what do they say to the question of item 3?"),
        item(
            "19",
            "limitations",
            "low and high of a value bound its numerical uncertainty, not that of delineation and setup"
                .to_owned(),
            "which bias remains, in which direction and how large?",
        ),
        item(
            "20",
            "interpretation",
            "groups of a retrospective cohort differ in more than their group".to_owned(),
            "what do they mean beside other evidence?",
        ),
        item("21", "other patients", String::new(), "to whom do the results apply?"),
        item("22", "funding", String::new(), "who paid, and what part had they in it?"),
    ]
}
