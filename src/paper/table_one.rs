//! Table 1: who was treated with what, by group, with what is missing and how much groups differ. No
//! p: groups of a retrospective cohort are not drawn at random, and a test says nothing of how alike
//! they are (users of a p get a standardised difference).

use std::collections::{BTreeMap, BTreeSet};

use super::measures::places;
use super::printed::{Kind, PrintedRow, PrintedTable, with_range};
use super::{Study, count, number, sheet, word};
use tidydose_statistics::describe::{Summary, summary};
use tidydose_statistics::difference::{of_means, of_shares};
use tidydose_statistics::real;
use tidydose_table::Cell;
use tidydose_table::clinical_words;
use tidydose_table::frame::{LoadedTable, reals};
use tidydose_table::read::level;
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

/// The table as CSV and as it is printed.
pub(super) fn table(
    study: &Study<'_>,
    included: &BTreeSet<String>,
    group: &str,
    variables: &[Variable<'_>],
) -> (Vec<u8>, PrintedTable) {
    let mut rows = Vec::new();
    let (mut printed, groups) = counts(study, included, group);
    let used = |grain: &&str| variables.iter().any(|v| v.grain == *grain);
    for grain in GRAINS.into_iter().filter(used) {
        let grouped = Grouped::of(study, grain, included, group);
        printed.push(section(&format!("By {grain}")));
        for v in variables.iter().filter(|v| v.grain == grain) {
            let difference = grouped.difference(v);
            let shown = difference.map_or_else(String::new, |d| format!("{d:.2}"));
            if v.categories {
                categories(&grouped, v, difference, &mut rows);
            } else {
                numbers(&grouped, v, difference, &mut rows);
            }
            readable(&grouped, v, &groups, &shown, &mut printed);
        }
    }
    let mut head = vec![String::new()];
    head.extend(groups.iter().map(|g| clinical_words::capital(&clinical_words::level("", g))));
    head.push("Difference".to_owned());
    let table = PrintedTable {
        name: "table_one",
        title: format!("Table 1. Patients, plans and lesions by {}", heading(group)),
        head,
        rows: printed,
        note: NOTE.to_owned(),
    };
    (sheet(COLUMNS, rows), table)
}

/// What stands below the table.
const NOTE: &str = "Numbers: median (quartiles); categories: count (percent of those known); missing \
                    values are counted and not part of any other number. A patient with plans in \
                    several groups counts in each of them. Difference: the largest standardised \
                    difference between two groups; no p, since groups were not drawn at random.";

/// The grouping inside of a sentence.
fn heading(group: &str) -> String {
    let words = clinical_words::column(group);
    let mut letters = words.chars();
    match letters.next() {
        Some(first) => first.to_lowercase().chain(letters).collect(),
        None => words,
    }
}

fn section(label: &str) -> PrintedRow {
    PrintedRow { kind: Kind::Section, label: label.to_owned(), cells: Vec::new() }
}

/// The first rows: how many there are of what in each group, and the groups.
fn counts(
    study: &Study<'_>,
    included: &BTreeSet<String>,
    group: &str,
) -> (Vec<PrintedRow>, Vec<String>) {
    let plans = Grouped::of(study, Grain::Plan.word(), included, group);
    let lesions = Grouped::of(study, Grain::Lesion.word(), included, group);
    let groups = plans.names();
    let patients = |name: &String| -> usize {
        let of_plan = plans.members(name).filter_map(|row| study.plans.get(row));
        of_plan.map(|p| p.patient_id).collect::<BTreeSet<_>>().len()
    };
    let row = |label: &str, n: &dyn Fn(&String) -> usize| PrintedRow {
        kind: Kind::Main,
        label: label.to_owned(),
        cells: groups.iter().map(|g| n(g).to_string()).collect(),
    };
    let rows = vec![
        row("Patients", &patients),
        row("Plans", &|g| plans.members(g).count()),
        row("Lesions", &|g| lesions.members(g).count()),
    ];
    (rows, groups)
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

/// The rows of a variable as they are printed, for the groups of the whole table.
fn readable(
    g: &Grouped<'_>,
    v: &Variable<'_>,
    groups: &[String],
    difference: &str,
    out: &mut Vec<PrintedRow>,
) {
    let mut row = |kind, label: &str, mut cells: Vec<String>, difference: &str| {
        cells.push(difference.to_owned());
        out.push(PrintedRow { kind, label: label.to_owned(), cells });
    };
    let known = |group: &String| match v.categories {
        true => g.levels(group, v.name).len(),
        false => g.numbers(group, v.name).len(),
    };
    let missing = |group: &String| g.members(group).count() - known(group);
    let name = clinical_words::column(v.name);
    if v.categories {
        row(Kind::Main, &name, vec![String::new(); groups.len()], difference);
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
            let words = clinical_words::level(v.name, level);
            row(Kind::Level, &words, groups.iter().map(cell).collect(), "");
        }
    } else {
        let cell = |group: &String| match summary(&g.numbers(group, v.name)) {
            Ok(s) => with_range(Some(s.median), [Some(s.lower), Some(s.upper)]),
            Err(_) => "–".to_owned(),
        };
        row(Kind::Main, &name, groups.iter().map(cell).collect(), difference);
    }
    if groups.iter().any(|n| missing(n) > 0) {
        let cells = groups.iter().map(|n| missing(n).to_string()).collect();
        row(Kind::Level, "missing", cells, "");
    }
}
