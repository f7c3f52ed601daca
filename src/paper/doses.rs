//! Doses by group and number of fractions, never pooled over fractions, and which organs are there.

use std::collections::{BTreeMap, BTreeSet};

use super::{Study, count, number, sheet, word};
use tidydose_statistics::describe::{Summary, summary};

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

/// One row for each structure, metric, group and number of fractions.
pub(super) fn table(study: &Study, included: &BTreeSet<String>, group: &str) -> Vec<u8> {
    let plans: BTreeMap<&str, (String, String)> = (0..study.plans.count())
        .filter_map(|r| {
            let of = |name| study.plans.level(r, name).unwrap_or_else(|| "unknown".to_owned());
            Some((study.plans.text(r, "plan_id")?, (of(group), of("fractions_planned"))))
        })
        .collect();
    type Key = (String, String, String, String, String);
    let mut found: BTreeMap<Key, (Vec<f64>, BTreeMap<String, usize>)> = BTreeMap::new();
    for r in 0..study.metrics.count() {
        let text = |name| study.metrics.text(r, name).unwrap_or_default();
        let (plan, role, metric) = (text("plan_id"), text("role"), text("metric"));
        let target = ["gtv", "ctv", "ptv", "target"].contains(&role);
        let wanted =
            if target { OF_TARGETS.contains(&metric) } else { OF_ORGANS.contains(&metric) };
        let Some((group, fractions)) =
            plans.get(plan).filter(|_| wanted && included.contains(plan))
        else {
            continue;
        };
        let structure = if target { role } else { text("structure") };
        let unit = text("unit").to_owned();
        let key = (structure.to_owned(), metric.to_owned(), unit, group.clone(), fractions.clone());
        let (values, reasons) = found.entry(key).or_default();
        match (text("status"), study.metrics.real(r, "value")) {
            ("ok", Some(value)) => values.push(value),
            (status, _) => *reasons.entry(status.to_owned()).or_insert(0) += 1,
        }
    }
    let row = |((structure, metric, unit, group, fractions), (values, reasons)): (
        Key,
        (Vec<f64>, BTreeMap<String, usize>),
    )| {
        let without: usize = reasons.values().sum();
        let words: Vec<String> = reasons.iter().map(|(s, n)| format!("{s} {n}")).collect();
        let s = summary(&values).ok();
        let of = |f: fn(&Summary) -> f64| number(s.as_ref().map_or(f64::NAN, f));
        let mut row = [structure, metric, unit, group, fractions].map(|t| word(&t)).to_vec();
        row.extend([count(values.len()), count(without), word(&words.join(", "))]);
        row.extend([of(|s| s.median), of(|s| s.lower), of(|s| s.upper)]);
        row.extend([of(|s| s.least), of(|s| s.largest)]);
        row
    };
    sheet(COLUMNS, found.into_iter().map(row).collect())
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
    study: &'s Study,
    included: &'s BTreeSet<String>,
) -> Vec<OrganState<'s>> {
    let mut cover: BTreeMap<(&str, &str), Option<f64>> = BTreeMap::new();
    let mut organs: BTreeSet<&str> = BTreeSet::new();
    for r in 0..study.structures.count() {
        let text = |name| study.structures.text(r, name);
        let (Some(plan), Some("organ")) = (text("plan_id"), text("role")) else { continue };
        let Some(organ) = text("name_standard").filter(|_| included.contains(plan)) else {
            continue;
        };
        organs.insert(organ);
        cover.insert((plan, organ), study.structures.real(r, "dose_cover_percent"));
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
pub(super) fn completeness(study: &Study, included: &BTreeSet<String>) -> Vec<u8> {
    let rows = organ_states(study, included).into_iter().map(|cell| {
        let percent = number(cell.cover.unwrap_or(f64::NAN));
        vec![word(cell.plan), word(cell.organ), word(ORGAN_STATES[cell.state]), percent]
    });
    sheet(&["plan_id", "organ", "state", "dose_cover_percent"], rows.collect())
}
