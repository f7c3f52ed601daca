//! Doses by group and number of fractions, never pooled over fractions, and which organs are there.

use std::collections::{BTreeMap, BTreeSet};

use super::measures::places;
use super::printed::{Kind, PrintedRow, PrintedTable, number_of, short, text_of, with_range};
use super::{Study, count, number, sheet, word};
use tidydose_statistics::describe::{Summary, summary};
use tidydose_table::Cell;
use tidydose_table::clinical_words;
use tidydose_table::read::Role;

/// Metrics of organs and of regions that nobody drew.
const OF_ORGANS: [&str; 5] = ["D0.03cc[Gy]", "D0.1cc[Gy]", "Mean[Gy]", "V10Gy[cc]", "V12Gy[cc]"];
/// Metrics of targets.
const OF_TARGETS: [&str; 7] = [
    "Volume[cc]",
    "D98%[Gy]",
    "D50%[Gy]",
    "D2%[Gy]",
    "Coverage",
    "PaddickConformity",
    "PaddickGradient",
];

const COLUMNS: &[&str] = &[
    "structure",
    "metric",
    "unit",
    "group",
    "fractions",
    "n",
    "without_value",
    "reasons",
    "median",
    "lower",
    "upper",
    "least",
    "largest",
];

/// The rows as CSV.
pub(super) fn table(rows: &[Vec<Cell<'static>>]) -> Vec<u8> {
    sheet(COLUMNS, rows.to_vec())
}

/// The rows as they are printed, below each other by structure.
pub(super) fn printed(rows: &[Vec<Cell<'static>>], group: &str) -> PrintedTable {
    let mut out: Vec<PrintedRow> = Vec::new();
    let mut before = String::new();
    for row in rows {
        let [structure, metric, of, fractions] = [0, 1, 3, 4].map(|i| text_of(row.get(i)));
        let number = |place: usize| number_of(row.get(place));
        let words = clinical_words::capital(&clinical_words::structure(&structure));
        if words != before {
            out.push(PrintedRow { kind: Kind::Section, label: words.clone(), cells: Vec::new() });
            before = words;
        }
        let metric = clinical_words::capital(&clinical_words::metric(&metric));
        let cells = vec![
            clinical_words::level(group, &of),
            fractions,
            text_of(row.get(5)),
            with_range(number(8), [number(9), number(10)]),
            match (number(11), number(12)) {
                (Some(least), Some(largest)) => format!("{} to {}", short(least), short(largest)),
                _ => "–".to_owned(),
            },
            text_of(row.get(6)),
        ];
        out.push(PrintedRow { kind: Kind::Main, label: metric, cells });
    }
    let heads =
        ["", "Group", "Fractions", "n", "Median (quartiles)", "Least to largest", "Without value"];
    PrintedTable {
        name: "doses",
        title: "Doses and volumes by group and number of fractions".to_owned(),
        head: heads.map(str::to_owned).to_vec(),
        rows: out,
        note: "Never pooled over numbers of fractions. Why values are missing stands in doses.csv."
            .to_owned(),
    }
}

/// One row for each structure, metric, group and number of fractions.
pub(super) fn rows_of(
    study: &Study<'_>,
    included: &BTreeSet<String>,
    group: &str,
) -> Vec<Vec<Cell<'static>>> {
    let groups = places(study, included, group);
    type Key<'t> = (&'t str, &'t str, &'t str, String, String);
    let mut found: BTreeMap<Key<'_>, (Vec<f64>, BTreeMap<&str, usize>)> = BTreeMap::new();
    for row in &study.metrics {
        let target = row.role.filter(|role| role.is_target());
        let wanted = match target {
            Some(_) => OF_TARGETS.contains(&row.metric),
            None => OF_ORGANS.contains(&row.metric),
        };
        let Some(plan) = groups.get(row.plan_id).filter(|_| wanted) else { continue };
        let structure = match target {
            Some(role) => role.word(),
            None => row.structure,
        };
        let key = (structure, row.metric, row.unit, plan.group.clone(), plan.fractions.clone());
        let (values, reasons) = found.entry(key).or_default();
        match row.usable() {
            Ok(value) => values.push(value),
            Err(status) => *reasons.entry(status.word()).or_insert(0) += 1,
        }
    }
    let row = |((structure, metric, unit, group, fractions), (values, reasons)): (
        Key<'_>,
        (Vec<f64>, BTreeMap<&str, usize>),
    )| {
        let without: usize = reasons.values().sum();
        let words: Vec<String> = reasons.iter().map(|(s, n)| format!("{s} {n}")).collect();
        let s = summary(&values).ok();
        let of = |f: fn(&Summary) -> f64| number(s.as_ref().map_or(f64::NAN, f));
        let mut row = [structure, metric, unit, &group, &fractions].map(word).to_vec();
        row.extend([count(values.len()), count(without), word(&words.join(", "))]);
        row.extend([of(|s| s.median), of(|s| s.lower), of(|s| s.upper)]);
        row.extend([of(|s| s.least), of(|s| s.largest)]);
        row
    };
    found.into_iter().map(row).collect()
}

/// What can be said of an organ in a plan, from best to worst; [`OrganState::state`] is a place here.
pub(super) const ORGAN_STATES: [&str; 4] =
    ["covered", "partly covered", "not covered", "not drawn or not named"];

/// An organ of the cohort in one of the included plans.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct OrganState<'s> {
    pub(super) plan: &'s str,
    pub(super) organ: &'s str,
    /// Place in [`ORGAN_STATES`].
    pub(super) state: usize,
    /// Share of it inside the dose grid, %.
    cover: Option<f64>,
}

/// Every included plan with every organ of the cohort.
pub(super) fn organ_states<'s>(
    study: &Study<'s>,
    included: &'s BTreeSet<String>,
) -> Vec<OrganState<'s>> {
    let mut cover: BTreeMap<(&str, &str), Option<f64>> = BTreeMap::new();
    let mut organs: BTreeSet<&str> = BTreeSet::new();
    for row in study.structures.iter().filter(|s| s.role == Some(Role::Organ)) {
        let Some(organ) = row.name_standard.filter(|_| included.contains(row.plan_id)) else {
            continue;
        };
        organs.insert(organ);
        cover.insert((row.plan_id, organ), row.inside_grid_percent);
    }
    let state = |plan: &'s String, organ: &'s str| {
        let found = cover.get(&(plan.as_str(), organ));
        let state = match found {
            None => 3,
            Some(Some(percent)) if *percent >= 99.95 => 0,
            Some(Some(percent)) if *percent > 0.0 => 1,
            Some(_) => 2,
        };
        OrganState { plan, organ, state, cover: found.copied().flatten() }
    };
    included
        .iter()
        .flat_map(|plan| organs.iter().map(move |organ| (plan, *organ)))
        .map(|(plan, organ)| state(plan, organ))
        .collect()
}

/// One row for each included plan and organ of the cohort: drawn, and how much of it the dose covers.
pub(super) fn completeness(study: &Study<'_>, included: &BTreeSet<String>) -> Vec<u8> {
    let rows = organ_states(study, included).into_iter().map(|cell| {
        let percent = number(cell.cover.unwrap_or(f64::NAN));
        vec![word(cell.plan), word(cell.organ), word(ORGAN_STATES[cell.state]), percent]
    });
    sheet(&["plan_id", "organ", "state", "inside_grid_percent"], rows.collect())
}
