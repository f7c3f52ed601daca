//! Table 1: who was treated with what, by group, with what is missing and how much groups differ. No
//! p: groups of a retrospective cohort are not drawn at random, and a test says nothing of how alike
//! they are (users of a p get a standardised difference).

use std::collections::{BTreeMap, BTreeSet};

use super::measures::{fraction_words, places};
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

/// How the values of a variable are described.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Values {
    /// By median and quartiles.
    Numbers,
    /// By counts of each level.
    Categories,
    /// By median and quartiles for each number of fractions apart: a dose in gray means another thing in
    /// another number of fractions.
    ByFractions,
}

impl Values {
    /// Its word in the starter scripts.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Numbers => "numbers",
            Self::Categories => "categories",
            Self::ByFractions => "by fractions",
        }
    }
}

/// A variable of the table.
#[derive(Debug, Clone, Copy)]
pub(super) struct Variable<'v> {
    /// Grain and table: patient, plan or lesion.
    pub(super) grain: &'static str,
    /// Column.
    pub(super) name: &'v str,
    /// What its values are.
    pub(super) values: Values,
}

const fn of(grain: &'static str, name: &'static str, values: Values) -> Variable<'static> {
    Variable { grain, name, values }
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
    let values = if covariate.is_levels() { Values::Categories } else { Values::Numbers };
    Variable { grain, name: &covariate.name, values }
}

/// What every study has.
const MEASURED: &[Variable<'static>] = &[
    of("plan", "fractions_planned", Values::Categories),
    of("plan", "prescription_dose_gy", Values::ByFractions),
    of("plan", "n_targets", Values::Numbers),
    of("plan", "era", Values::Categories),
    of("plan", "course", Values::Categories),
    of("plan", "plan_role", Values::Categories),
    of("plan", "grid_plane_mm", Values::Numbers),
    of("lesion", "gtv_volume_cc", Values::Numbers),
    of("lesion", "ptv_volume_cc", Values::Numbers),
    of("lesion", "prescription_dose_gy", Values::ByFractions),
    of("lesion", "prescription_isodose_percent", Values::Numbers),
    of("lesion", "side", Values::Categories),
];

/// The name of everybody together.
pub(super) const ALL: &str = "all";

/// A row of a table with the group and the number of fractions of its plan.
#[derive(Clone)]
struct Member {
    row: usize,
    group: String,
    fractions: String,
}

/// Rows of one grain with their group.
struct Grouped<'s> {
    table: &'s LoadedTable,
    members: Vec<Member>,
    /// Everybody, then the groups of this grain.
    names: Vec<String>,
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
                let (group, fractions) = (of_plan.group.clone(), of_plan.fractions.clone());
                members.push(Member { row: number, group, fractions });
            }
        }
        let of_members: BTreeSet<&String> = members.iter().map(|m| &m.group).collect();
        let names = std::iter::once(ALL.to_owned()).chain(of_members.into_iter().cloned());
        Self { table, names: names.collect(), members }
    }

    /// Only those of a number of fractions, in the same groups.
    fn of_fractions(&self, fractions: &str) -> Self {
        let own = self.members.iter().filter(|m| m.fractions == fractions);
        Self { table: self.table, names: self.names.clone(), members: own.cloned().collect() }
    }

    /// Numbers of fractions, the fewest first.
    fn fractions(&self) -> Vec<&str> {
        let all: BTreeSet<&str> = self.members.iter().map(|m| m.fractions.as_str()).collect();
        let mut all: Vec<&str> = all.into_iter().collect();
        all.sort_by_key(|n| n.parse::<u64>().unwrap_or(u64::MAX));
        all
    }

    fn names(&self) -> &[String] {
        &self.names
    }

    fn members(&self, group: &str) -> impl Iterator<Item = usize> {
        self.members.iter().filter(move |m| group == ALL || m.group == group).map(|m| m.row)
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
                let found = if v.values == Values::Categories {
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
            match v.values {
                Values::Categories => categories(&grouped, v, &mut rows),
                Values::Numbers => numbers(&grouped, v, "", &mut rows),
                Values::ByFractions => {
                    for fractions in grouped.fractions() {
                        numbers(&grouped.of_fractions(fractions), v, fractions, &mut rows);
                    }
                }
            }
            readable(&grouped, v, &groups, &mut printed);
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
                    values are counted and not part of any other number. Prescribed doses stand for each \
                    number of fractions apart. A patient with plans in \
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
    let groups = plans.names().to_vec();
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

fn categories(g: &Grouped<'_>, v: &Variable<'_>, rows: &mut Vec<Vec<Cell<'static>>>) {
    let d = g.difference(v);
    let levels: BTreeSet<String> = g.levels(ALL, v.name).into_iter().collect();
    for level in &levels {
        for name in g.names() {
            let own = g.levels(name, v.name);
            let n = own.iter().filter(|l| *l == level).count();
            let mut row = head(v, level, name, own.len(), g.members(name).count());
            let percent = 100.0 * real(n) / real(own.len());
            row.extend([count(n), number(percent), Cell::Missing, Cell::Missing, Cell::Missing]);
            row.push(if name == ALL { number(d.unwrap_or(f64::NAN)) } else { Cell::Missing });
            rows.push(row);
        }
    }
}

/// Rows of numbers; `level` is the number of fractions where they are described apart.
fn numbers(g: &Grouped<'_>, v: &Variable<'_>, level: &str, rows: &mut Vec<Vec<Cell<'static>>>) {
    let d = g.difference(v);
    for name in g.names() {
        let own = g.numbers(name, v.name);
        let mut row = head(v, level, name, own.len(), g.members(name).count());
        row.extend([Cell::Missing, Cell::Missing]);
        let s = summary(&own).ok();
        let of = |f: fn(&Summary) -> f64| number(s.as_ref().map_or(f64::NAN, f));
        row.extend([of(|s| s.median), of(|s| s.lower), of(|s| s.upper)]);
        row.push(if name == ALL { number(d.unwrap_or(f64::NAN)) } else { Cell::Missing });
        rows.push(row);
    }
}

/// The rows of a variable as they are printed, for the groups of the whole table.
fn readable(g: &Grouped<'_>, v: &Variable<'_>, groups: &[String], out: &mut Vec<PrintedRow>) {
    let mut row = |kind, label: &str, mut cells: Vec<String>, difference: Option<f64>| {
        cells.push(difference.map_or_else(String::new, |d| format!("{d:.2}")));
        out.push(PrintedRow { kind, label: label.to_owned(), cells });
    };
    let blank = || vec![String::new(); groups.len()];
    let name = clinical_words::column(v.name);
    match v.values {
        Values::Categories => {
            row(Kind::Main, &name, blank(), g.difference(v));
            let levels: BTreeSet<String> = g.levels(ALL, v.name).into_iter().collect();
            for level in &levels {
                let cells = groups.iter().map(|group| share_of(level, &g.levels(group, v.name)));
                row(Kind::Level, &clinical_words::level(v.name, level), cells.collect(), None);
            }
        }
        Values::Numbers => {
            let cells = groups.iter().map(|group| middle(&g.numbers(group, v.name)));
            row(Kind::Main, &name, cells.collect(), g.difference(v));
        }
        Values::ByFractions => {
            row(Kind::Main, &name, blank(), None);
            for fractions in g.fractions() {
                let part = g.of_fractions(fractions);
                if part.numbers(ALL, v.name).is_empty() {
                    // They are among the missing.
                    continue;
                }
                let cell = |group: &String| {
                    let own = part.numbers(group, v.name);
                    let n =
                        if own.is_empty() { String::new() } else { format!(", n = {}", own.len()) };
                    format!("{}{n}", middle(&own))
                };
                let cells = groups.iter().map(cell).collect();
                row(Kind::Level, &fraction_words(fractions), cells, part.difference(v));
            }
        }
    }
    let known = |group: &String| match v.values {
        Values::Categories => g.levels(group, v.name).len(),
        Values::Numbers | Values::ByFractions => g.numbers(group, v.name).len(),
    };
    let missing = |group: &String| g.members(group).count() - known(group);
    if groups.iter().any(|n| missing(n) > 0) {
        let cells = groups.iter().map(|n| missing(n).to_string()).collect();
        row(Kind::Level, "missing", cells, None);
    }
}

/// Median with quartiles; a dash for no values.
fn middle(values: &[f64]) -> String {
    match summary(values) {
        Ok(s) => with_range(Some(s.median), [Some(s.lower), Some(s.upper)]),
        Err(_) => "–".to_owned(),
    }
}

/// How many of those known have a level; a dash where nobody is known.
fn share_of(level: &str, own: &[String]) -> String {
    if own.is_empty() {
        return "–".to_owned();
    }
    let n = own.iter().filter(|l| *l == level).count();
    format!("{n} ({:.0} %)", 100.0 * real(n) / real(own.len()))
}
