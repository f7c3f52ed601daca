//! A methods paragraph and reporting lists, made only of facts of the run and of the tables. What the
//! program cannot know stands as a gap to be filled by a person.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use serde_json::Value;

use super::{Study, citations, strobe};
use tidydose_table::frame::{LoadedTable, reals, texts};
use tidydose_table::read::{PlanRole, level};
use tidydose_table::run::CAUTION;

/// The methods paragraph.
pub(super) fn methods(
    study: &Study<'_>,
    run: &Value,
    included: &BTreeSet<String>,
    checked: bool,
) -> String {
    let text = |name: &str| run.get(name).and_then(Value::as_str).unwrap_or("unknown").to_owned();
    let number = |name: &str| {
        run.get("counts").and_then(|c| c.get(name)).and_then(Value::as_u64).unwrap_or(0)
    };
    let short = |digest: String| digest.chars().take(12).collect::<String>();
    let mut out = format!("{CAUTION}\n\n");
    let _ = writeln!(
        out,
        "Dose-volume data were taken from DICOM RT objects with {} version {} (settings {}, inputs {}; \
         first digits of SHA-256). Of {} cases of {} patients, {} were measured and {} left out; {} \
         plans enter the tables below. {}",
        text("program"),
        text("program_version"),
        short(text("settings_sha256")),
        short(text("inputs_sha256")),
        number("cases"),
        number("patients"),
        number("cases_measured"),
        number("cases_left_out"),
        included.len(),
        text("method")
    );
    let presumed = presumed(study, included);
    if presumed > 0 {
        let _ = writeln!(
            out,
            "\n{presumed} of these {} plans are neither marked as approved nor named by a \
             treatment record, and no other plan of their patient is known to have been treated; \
             they are taken as treated.",
            included.len()
        );
    }
    let _ = writeln!(
        out,
        "\nGrid spacing between planes: {}. Spacing of contour planes: {}. Prescriptions rest on: {}. \
         Values without a number are counted with their reason and not replaced. Low and high ends of a \
         value bound its numerical uncertainty (grid, slices, contours), not that of delineation or \
         setup.",
        range(study.plan_table, "grid_plane_mm", included, "mm"),
        range(study.structure_table, "plane_spacing_mm", included, "mm"),
        counts(study.plan_table, "prescription_basis", included)
    );
    let _ = writeln!(out, "\n{}", citations::statistics(checked));
    out
}

/// Plans that count though nothing tells that they were treated.
fn presumed(study: &Study<'_>, included: &BTreeSet<String>) -> usize {
    let candidates = study.plans.iter().filter(|p| p.plan_role == Some(PlanRole::Candidate));
    candidates.filter(|p| included.contains(p.plan_id)).count()
}

/// Where a person must write.
const GAP: &str = "**to be filled in**";

/// The rows of the included plans.
fn of_included(table: &LoadedTable, included: &BTreeSet<String>) -> Vec<usize> {
    let plans = texts(table, "plan_id").into_iter().enumerate();
    plans.filter(|(_, p)| p.is_some_and(|p| included.contains(p))).map(|(row, _)| row).collect()
}

pub(super) fn range(
    table: &LoadedTable,
    name: &str,
    included: &BTreeSet<String>,
    unit: &str,
) -> String {
    let column = reals(table, name);
    let rows = of_included(table, included).into_iter();
    let values: Vec<f64> = rows.filter_map(|r| column.get(r).copied().flatten()).collect();
    let end = |f: fn(f64, f64) -> f64, start| values.iter().copied().fold(start, f);
    if values.is_empty() {
        return "not stated".to_owned();
    }
    let (low, high) = (end(f64::min, f64::INFINITY), end(f64::max, f64::NEG_INFINITY));
    let rounded = |v: f64| (1000.0 * v).round() / 1000.0;
    if rounded(low) == rounded(high) {
        format!("{} {unit}", rounded(low))
    } else {
        format!("{} to {} {unit}", rounded(low), rounded(high))
    }
}

pub(super) fn counts(table: &LoadedTable, name: &str, included: &BTreeSet<String>) -> String {
    let mut found: BTreeMap<String, usize> = BTreeMap::new();
    for row in of_included(table, included) {
        let level = level(table, name, row).unwrap_or_else(|| "missing".to_owned());
        *found.entry(level.replace('_', " ")).or_insert(0) += 1;
    }
    let list: Vec<String> = found.iter().map(|(level, n)| format!("{level} {n}")).collect();
    if list.is_empty() { "not stated".to_owned() } else { list.join(", ") }
}

/// STROBE from its first item to its last, and ICRU 91 items of level 2 (by course notes, the report
/// itself was not read), each with what is known and what is left to answer.
pub(super) fn reporting(
    study: &Study<'_>,
    run: &Value,
    included: &BTreeSet<String>,
    with_outcomes: bool,
) -> String {
    let mut out = format!(
        "{CAUTION}\n\n## STROBE, cohort\n\n| item | about | from this study | to answer |\n\
         |---|---|---|---|\n"
    );
    let cell = |text: &str| text.replace('|', "\\|");
    for item in strobe::items(study, run, included, with_outcomes) {
        let (number, topic) = (item.number, item.topic);
        let known = if item.known.is_empty() { GAP } else { &item.known };
        let _ = writeln!(out, "| {number} | {topic} | {} | {} |", cell(known), item.question);
    }
    out.push_str("\n## ICRU 91, level 2\n\n| item | from this study |\n|---|---|\n");
    for (item, known) in icru(study, included) {
        let _ = writeln!(out, "| {item} | {} |", cell(&known));
    }
    out
}

/// Items of ICRU 91, level 2, with what the tables know of each.
fn icru(study: &Study<'_>, included: &BTreeSet<String>) -> Vec<(&'static str, String)> {
    let gap = GAP;
    let fact = |table: &LoadedTable, name: &str| counts(table, name, included);
    vec![
        ("clinical history, stage, prior treatment", gap.to_owned()),
        ("intent", fact(study.plan_table, "intent")),
        ("simulation: fixation", fact(study.plan_table, "fixation")),
        ("simulation: images", fact(study.plan_table, "image_modality")),
        (
            "targets and organs, volumes",
            "columns of table structures; table_one.csv for targets".to_owned(),
        ),
        ("planning aims and limits", "table limit_checks, each row with its source".to_owned()),
        (
            "dose calculation: grid",
            range(study.plan_table, "grid_plane_mm", included, "mm between planes"),
        ),
        ("dose calculation: algorithm", gap.to_owned()),
        (
            "prescription",
            format!(
                "basis: {}; isodose in table lesions",
                fact(study.plan_table, "prescription_basis")
            ),
        ),
        ("quality assurance of patients", gap.to_owned()),
        ("delivery: unit, energy, image guidance", gap.to_owned()),
        (
            "median, near-maximum and near-minimum dose of targets",
            "D50%, NearMax and NearMin in table metrics; D2% and D98% from 2 cc on, else 35 mm³"
                .to_owned(),
        ),
        ("dose of organs", "at least two levels for each: doses.csv, table metrics".to_owned()),
        ("conformity and gradient", "PaddickConformity, PaddickGradient in doses.csv".to_owned()),
    ]
}
