//! Which organs are there, plan by plan: shows what a comparison could not see before any number.

use std::collections::BTreeMap;

use super::{Drawn, Source};
use crate::counted;
use crate::doses::{ORGAN_STATES, organ_states};
use tidydose_figure::Map;
use tidydose_table::run::CAUTION;

/// The map; its numbers are in `completeness.csv` of the folder above.
pub(super) fn figure(source: &Source<'_>) -> Drawn {
    let states = organ_states(source.study, source.included);
    let mut organs: BTreeMap<&str, BTreeMap<&str, usize>> = BTreeMap::new();
    for cell in &states {
        organs.entry(cell.organ).or_default().insert(cell.plan, cell.state);
    }
    let absent = ORGAN_STATES.len() - 1;
    let covered = |cells: &BTreeMap<&str, usize>| cells.values().filter(|c| **c == 0).count();
    let mut lines: Vec<(&str, &BTreeMap<&str, usize>)> =
        organs.iter().map(|(organ, cells)| (*organ, cells)).collect();
    lines.sort_by(|a, b| covered(b.1).cmp(&covered(a.1)).then_with(|| a.0.cmp(b.0)));
    // Columns by group, then those alike beside each other: the same under any key of pseudonyms.
    let column = |plan: &str| -> Vec<usize> {
        lines.iter().map(|(_, cells)| cells.get(plan).copied().unwrap_or(absent)).collect()
    };
    let mut plans: Vec<(&str, Vec<usize>)> =
        source.places.iter().map(|(plan, p)| (p.group.as_str(), column(plan))).collect();
    plans.sort_unstable();
    let rows: Vec<(usize, String, Vec<usize>)> = lines
        .iter()
        .enumerate()
        .map(|(line, (organ, cells))| {
            let states = plans.iter().map(|(_, states)| states[line]).collect();
            (covered(cells), (*organ).to_owned(), states)
        })
        .collect();
    let groups = source.groups.iter().map(|g| {
        let n = plans.iter().filter(|(group, _)| group == g).count();
        (super::named(g), n)
    });
    let (n, number) = (plans.len(), rows.len());
    let map = Map {
        title: "Organs that are there, plan by plan".to_owned(),
        description: format!("{} and {}.", counted(number, "organ"), counted(n, "plan")),
        states: ORGAN_STATES.iter().map(|s| (*s).to_owned()).collect(),
        groups: groups.collect(),
        rows: rows
            .into_iter()
            .map(|(k, organ, cells)| (organ, cells, format!("{k}/{n}")))
            .collect(),
        foot: format!("A column for each plan. At the end of each line: plans covered. {CAUTION}"),
    };
    let caption = format!(
        "Organs by plan, for {} in {}: each column is a plan, each line an organ drawn in any of them; \
         at its end how many plans have it covered by the dose. Covered: at least 99.95 % of the organ \
         inside the dose grid. Numbers: completeness.csv of the folder above.",
        counted(n, "plan"),
        counted(source.groups.len(), "group")
    );
    Drawn { name: "completeness".to_owned(), svg: map.svg(), csv: Vec::new(), caption }
}
