//! Table 1: who was treated with what, by group, with what is missing and how much groups differ. No
//! p: groups of a retrospective cohort are not drawn at random, and a test says nothing of how alike
//! they are (users of a p get a standardised difference).

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use super::measures::places;
use super::{Study, count, number, sheet, word};
use tidydose_statistics::describe::{Summary, summary};
use tidydose_statistics::difference::{of_means, of_shares};
use tidydose_statistics::real;
use tidydose_table::Cell;
use tidydose_table::frame::{LoadedTable, reals};
use tidydose_table::read::level;
use tidydose_table::run::CAUTION;
use tidydose_table::user::outcome_sheet::covariates::{Covariate, Grain};

/// A variable of the table.
#[derive(Debug, Clone, Copy)]
pub(super) struct Variable<'v> {
    /// Grain and table: patient, plan or lesion.
    pub(super) grain: &'static str,
    /// Column.
    pub(super) name: &'v str,
    /// Whether its values are categories.
    pub(super) categories: bool,
}

const fn of(grain: &'static str, name: &'static str, categories: bool) -> Variable<'static> {
    Variable { grain, name, categories }
}

/// Grains in the order of the table.
const GRAINS: [&str; 3] = [Grain::Patient.word(), Grain::Plan.word(), Grain::Lesion.word()];

/// All variables in the order of the table; the starter scripts have the same list. What the sheet of
/// the department tells stands before what was measured.
pub(super) fn variables(covariates: &[Covariate]) -> Vec<Variable<'_>> {
    let mut all = Vec::new();
    for grain in GRAINS {
        for covariate in covariates.iter().filter(|c| c.grain.word() == grain) {
            all.push(of_covariate(grain, covariate));
        }
        all.extend(MEASURED.iter().filter(|v| v.grain == grain));
    }
    all
}

fn of_covariate<'v>(grain: &'static str, covariate: &'v Covariate) -> Variable<'v> {
    Variable { grain, name: &covariate.name, categories: covariate.is_levels() }
}

/// What every study has.
const MEASURED: &[Variable<'static>] = &[
    of("plan", "fractions_planned", true),
    of("plan", "prescription_dose_gy", false),
    of("plan", "n_targets", false),
    of("plan", "era", true),
    of("plan", "course", true),
    of("plan", "plan_role", true),
    of("plan", "grid_plane_mm", false),
    of("lesion", "gtv_volume_cc", false),
    of("lesion", "ptv_volume_cc", false),
    of("lesion", "prescription_dose_gy", false),
    of("lesion", "prescription_isodose_percent", false),
    of("lesion", "side", true),
];

/// The name of everybody together.
pub(super) const ALL: &str = "all";

/// Rows of one grain with their group.
struct Grouped<'s> {
    table: &'s LoadedTable,
    /// Row and group.
    members: Vec<(usize, String)>,
}

impl<'s> Grouped<'s> {
    fn of(study: &Study<'s>, grain: &str, included: &BTreeSet<String>, group: &str) -> Self {
        let groups = places(study, included, group);
        let (table, plans): (_, Vec<&str>) = if grain == Grain::Lesion.word() {
            (study.lesion_table, study.lesions.iter().map(|l| l.plan_id).collect())
        } else {
            (study.plan_table, study.plans.iter().map(|p| p.plan_id).collect())
        };
        let first = first_plans(study, included);
        let every = grain != Grain::Patient.word();
        let mut members = Vec::new();
        for (number, plan) in plans.into_iter().enumerate() {
            if !every && !first.contains(plan) {
                continue;
            }
            if let Some(of_plan) = groups.get(plan) {
                members.push((number, of_plan.group.clone()));
            }
        }
        Self { table, members }
    }

    fn names(&self) -> Vec<String> {
        let names: BTreeSet<&String> = self.members.iter().map(|(_, g)| g).collect();
        std::iter::once(ALL.to_owned()).chain(names.into_iter().cloned()).collect()
    }

    fn members(&self, group: &str) -> impl Iterator<Item = usize> {
        self.members.iter().filter(move |(_, g)| group == ALL || g == group).map(|(r, _)| *r)
    }

    fn numbers(&self, group: &str, name: &str) -> Vec<f64> {
        let column = reals(self.table, name);
        self.members(group).filter_map(|r| column.get(r).copied().flatten()).collect()
    }

    fn levels(&self, group: &str, name: &str) -> Vec<String> {
        self.members(group).filter_map(|r| level(self.table, name, r)).collect()
    }

    /// The largest standardised difference between two groups; absent where none is defined.
    fn difference(&self, v: &Variable<'_>) -> Option<f64> {
        let names = self.names();
        let groups: Vec<&String> = names.iter().skip(1).collect();
        let mut largest: Option<f64> = None;
        for (i, a) in groups.iter().enumerate() {
            for b in groups.iter().skip(i + 1) {
                let found = if v.categories {
                    let (x, y) = (self.levels(a, v.name), self.levels(b, v.name));
                    let levels: BTreeSet<&String> = x.iter().chain(&y).collect();
                    let of = |list: &[String], l: &String| list.iter().filter(|w| *w == l).count();
                    let counts: Vec<_> = levels.iter().map(|l| (of(&x, l), of(&y, l))).collect();
                    of_shares(&counts)
                } else {
                    of_means(&self.numbers(a, v.name), &self.numbers(b, v.name))
                };
                if let Ok(d) = found {
                    largest = Some(largest.map_or(d.abs(), |l| l.max(d.abs())));
                }
            }
        }
        largest
    }
}

/// For each patient the plan of the first course in the study: what is said of the patient is
/// counted with it.
pub(super) fn first_plans<'s>(study: &Study<'s>, included: &BTreeSet<String>) -> BTreeSet<&'s str> {
    let mut first: BTreeMap<&str, (i64, &'s str)> = BTreeMap::new();
    for plan in study.plans.iter().filter(|p| included.contains(p.plan_id)) {
        let own = (plan.day().unwrap_or(i64::MAX), plan.plan_id);
        let now = first.entry(plan.patient_id).or_insert(own);
        *now = own.min(*now);
    }
    first.into_values().map(|(_, plan)| plan).collect()
}

const COLUMNS: &[&str] = &[
    "grain",
    "variable",
    "level",
    "group",
    "n",
    "missing",
    "count",
    "percent",
    "median",
    "lower",
    "upper",
    "largest_difference",
];

/// The table as CSV and for reading.
pub(super) fn table(
    study: &Study<'_>,
    included: &BTreeSet<String>,
    group: &str,
    variables: &[Variable<'_>],
) -> (Vec<u8>, String) {
    let mut rows = Vec::new();
    let mut text = format!("{CAUTION}\n");
    let used = |grain: &&str| variables.iter().any(|v| v.grain == *grain);
    for grain in GRAINS.into_iter().filter(used) {
        let grouped = Grouped::of(study, grain, included, group);
        let names = grouped.names();
        let _ = writeln!(text, "\n## By {grain}\n\n| | {} | difference |", names.join(" | "));
        let _ = writeln!(text, "|---|{}---|", "---|".repeat(names.len()));
        let sizes = names.iter().map(|g| grouped.members(g).count().to_string());
        let _ = writeln!(text, "| {grain}s | {} | |", sizes.collect::<Vec<_>>().join(" | "));
        for v in variables.iter().filter(|v| v.grain == grain) {
            let difference = grouped.difference(v);
            let shown = difference.map_or_else(String::new, |d| format!("{d:.2}"));
            if v.categories {
                categories(&grouped, v, difference, &mut rows);
            } else {
                numbers(&grouped, v, difference, &mut rows);
            }
            readable(&grouped, v, &shown, &mut text);
        }
    }
    text.push_str(
        "\nNumbers: median (quartiles); categories: count (percent of those known); missing values are \
         counted and not part of any other number. Difference: the largest standardised difference \
         between two groups; no p, since groups were not drawn at random.\n",
    );
    (sheet(COLUMNS, rows), text)
}

fn head(
    v: &Variable<'_>,
    level: &str,
    group: &str,
    known: usize,
    all: usize,
) -> Vec<Cell<'static>> {
    vec![word(v.grain), word(v.name), word(level), word(group), count(known), count(all - known)]
}

fn categories(
    g: &Grouped<'_>,
    v: &Variable<'_>,
    d: Option<f64>,
    rows: &mut Vec<Vec<Cell<'static>>>,
) {
    let levels: BTreeSet<String> = g.levels(ALL, v.name).into_iter().collect();
    for level in &levels {
        for name in g.names() {
            let own = g.levels(&name, v.name);
            let n = own.iter().filter(|l| *l == level).count();
            let mut row = head(v, level, &name, own.len(), g.members(&name).count());
            let percent = 100.0 * real(n) / real(own.len());
            row.extend([count(n), number(percent), Cell::Missing, Cell::Missing, Cell::Missing]);
            row.push(if name == ALL { number(d.unwrap_or(f64::NAN)) } else { Cell::Missing });
            rows.push(row);
        }
    }
}

fn numbers(g: &Grouped<'_>, v: &Variable<'_>, d: Option<f64>, rows: &mut Vec<Vec<Cell<'static>>>) {
    for name in g.names() {
        let own = g.numbers(&name, v.name);
        let mut row = head(v, "", &name, own.len(), g.members(&name).count());
        row.extend([Cell::Missing, Cell::Missing]);
        let s = summary(&own).ok();
        let of = |f: fn(&Summary) -> f64| number(s.as_ref().map_or(f64::NAN, f));
        row.extend([of(|s| s.median), of(|s| s.lower), of(|s| s.upper)]);
        row.push(if name == ALL { number(d.unwrap_or(f64::NAN)) } else { Cell::Missing });
        rows.push(row);
    }
}

fn readable(g: &Grouped<'_>, v: &Variable<'_>, difference: &str, text: &mut String) {
    let name = v.name.replace('_', " ");
    let names = g.names();
    let mut line = |label: &str, cells: Vec<String>, difference: &str| {
        let _ = writeln!(text, "| {label} | {} | {difference} |", cells.join(" | "));
    };
    let missing = |group: &String| {
        let known = if v.categories {
            g.levels(group, v.name).len()
        } else {
            g.numbers(group, v.name).len()
        };
        g.members(group).count() - known
    };
    if v.categories {
        line(&format!("**{name}**"), vec![String::new(); names.len()], difference);
        let levels: BTreeSet<String> = g.levels(ALL, v.name).into_iter().collect();
        for level in &levels {
            let cell = |group: &String| {
                let own = g.levels(group, v.name);
                let n = own.iter().filter(|l| *l == level).count();
                if own.is_empty() {
                    return "–".to_owned();
                }
                format!("{n} ({:.0} %)", 100.0 * real(n) / real(own.len()))
            };
            line(&format!("{} ", level.replace('_', " ")), names.iter().map(cell).collect(), "");
        }
    } else {
        let cell = |group: &String| match summary(&g.numbers(group, v.name)) {
            Ok(s) => format!("{} ({} to {})", short(s.median), short(s.lower), short(s.upper)),
            Err(_) => "–".to_owned(),
        };
        line(&format!("**{name}**"), names.iter().map(cell).collect(), difference);
    }
    if names.iter().any(|n| missing(n) > 0) {
        line("missing", names.iter().map(|n| missing(n).to_string()).collect(), "");
    }
}

/// Three digits that count.
fn short(value: f64) -> String {
    let digits = match value.abs() {
        v if v >= 100.0 || v == 0.0 => 0,
        v if v >= 10.0 => 1,
        v if v >= 1.0 => 2,
        _ => 3,
    };
    format!("{value:.digits$}")
}
