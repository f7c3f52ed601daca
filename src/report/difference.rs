//! What changed between two studies, cell by cell, and why: the input of the case, a decision about
//! it, a setting or the version of the program. Reads tables only; opens no file.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use tidydose_table::frame::{Cells, LoadedTable, texts};
use tidydose_table::write_csv::number;
use tidydose_table::{Cell, TABLES as ALL_TABLES};

/// The tables that are compared, and those that tell why.
pub const TABLES: &[&str] = &[
    "plans",
    "structures",
    "lesions",
    "metrics",
    "relations",
    "limit_checks",
    "findings",
    "files",
    "finding_details",
];

/// Compared cell by cell; `files` only tells which input a case has, `finding_details` what was decided.
const COMPARED: usize = 7;
/// Columns that are a cause, not an effect.
const CAUSES: [&str; 2] = ["program_version", "settings_digest"];
/// Part of the key of a row that a setting changes without making it another row.
const METHOD: &str = "method";

/// One study.
#[derive(Debug, Clone, Copy)]
pub struct Side<'s> {
    /// Its tables by name.
    pub tables: &'s BTreeMap<String, LoadedTable>,
    /// Version of the program that wrote it; empty when unknown.
    pub version: &'s str,
    /// Digest of its settings; empty when unknown.
    pub settings: &'s str,
}

/// One cell or row that is not the same.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The table.
    pub table: &'static str,
    /// What became of it: `cell changed`, `row only in A` or `row only in B`.
    pub kind: &'static str,
    /// Patient, as a pseudonym; empty where the row has none.
    pub patient: String,
    /// The key of the row, parts separated by spaces.
    pub row: String,
    /// The column; empty for a whole row.
    pub column: String,
    /// The cell in the first study; empty when missing.
    pub before: String,
    /// The cell in the second study; empty when missing.
    pub after: String,
    /// Second less first; absent where either is no number.
    pub difference: Option<f64>,
    /// `input`, `decision`, `setting`, `version`, several of them, or `unknown`.
    pub why: String,
}

const CHANGED: &str = "cell changed";
const ONLY: [&str; 2] = ["row only in A", "row only in B"];

/// All that is not the same.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Difference {
    /// By table, row and column. Rows of a plan that only one study has are not listed one by one.
    pub changes: Vec<Change>,
    /// Patients in both studies, only in the first, only in the second.
    pub patients: [usize; 3],
    /// Plans in both studies, only in the first, only in the second.
    pub plans: [usize; 3],
    /// Cells that were compared.
    pub cells: usize,
}

/// Compares two studies.
#[must_use]
pub fn difference(a: Side<'_>, b: Side<'_>) -> Difference {
    let ids = |side: &Side<'_>, column: &str| -> BTreeSet<String> {
        let frame = side.tables.get("plans");
        let cells = frame.map_or_else(Vec::new, |f| texts(f, column));
        cells.into_iter().flatten().map(str::to_owned).collect()
    };
    let (plans_a, plans_b) = (ids(&a, "plan_id"), ids(&b, "plan_id"));
    let mut out = Difference {
        patients: shares(&ids(&a, "patient_id"), &ids(&b, "patient_id")),
        plans: shares(&plans_a, &plans_b),
        ..Difference::default()
    };
    let why = Causes::of(&a, &b);
    let common = plans_a.intersection(&plans_b).cloned().collect();
    for name in TABLES.iter().take(COMPARED).copied() {
        if let (Some(x), Some(y)) = (a.tables.get(name), b.tables.get(name)) {
            compare(name, [x, y], &common, &why, &mut out);
        }
    }
    out
}

fn shares(a: &BTreeSet<String>, b: &BTreeSet<String>) -> [usize; 3] {
    [a.intersection(b).count(), a.difference(b).count(), b.difference(a).count()]
}

/// What may have changed the rows of a plan.
pub(super) struct Causes {
    run: Vec<&'static str>,
    inputs: [BTreeMap<String, BTreeSet<String>>; 2],
    decisions: [BTreeMap<String, BTreeSet<String>>; 2],
}

impl Causes {
    pub(super) fn of(a: &Side<'_>, b: &Side<'_>) -> Self {
        let mut run = Vec::new();
        if a.settings != b.settings {
            run.push("setting");
        }
        if a.version != b.version {
            run.push("version");
        }
        Self {
            run,
            inputs: [a, b].map(|s| inputs(s.tables)),
            decisions: [a, b].map(|s| decisions(s.tables)),
        }
    }

    /// The causes for a plan, or for rows of no plan.
    pub(super) fn words(&self, plan: Option<&str>) -> String {
        let differ = |maps: &[BTreeMap<String, BTreeSet<String>>; 2]| match plan {
            Some(plan) => maps[0].get(plan) != maps[1].get(plan),
            None => maps[0] != maps[1],
        };
        let mut words = Vec::new();
        if differ(&self.inputs) {
            words.push("input");
        }
        if differ(&self.decisions) {
            words.push("decision");
        }
        words.extend(&self.run);
        if words.is_empty() { "unknown".to_owned() } else { words.join(", ") }
    }
}

/// Digests of the files behind each plan.
fn inputs(tables: &BTreeMap<String, LoadedTable>) -> BTreeMap<String, BTreeSet<String>> {
    let (Some(plans), Some(files)) = (tables.get("plans"), tables.get("files")) else {
        return BTreeMap::new();
    };
    let pairs = texts(files, "object_id").into_iter().zip(texts(files, "sha256"));
    let digests: BTreeMap<&str, &str> = pairs.filter_map(|(o, d)| Some((o?, d?))).collect();
    let mut out: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for column in ["plan_id", "dose_id", "structure_set_id"] {
        for (plan, objects) in texts(plans, "plan_id").into_iter().zip(texts(plans, column)) {
            let objects = objects.unwrap_or_default().split(' ');
            let own = objects.filter_map(|o| digests.get(o)).map(|d| (*d).to_owned());
            out.entry(plan.unwrap_or_default().to_owned()).or_default().extend(own);
        }
    }
    out
}

/// What people decided about each plan, as far as the tables show it: table, column that tells that
/// it was a person, the words by which it does, columns of what was decided.
const DECIDED: &[(&str, &str, &[&str], &[&str])] = &[
    ("structures", "name_basis", &["user"], &["roi_number", "name_standard", "role"]),
    ("structures", "prescription_basis", &["user"], &["roi_number", "prescription_dose_gy"]),
    ("lesions", "match_basis", &["user", "new"], &["lesion_id", "earlier_lesion_id"]),
    ("plans", "frame_link", &["user"], &["frame_link"]),
    ("plans", "dose_source", &["user"], &["dose_source"]),
    ("plans", "plan_role_rule", &["user"], &["plan_role"]),
    ("findings", "state", &["accepted", "corrected", "waived"], &["finding_id", "state"]),
    // Of findings that reach several plans only the details name each.
    ("finding_details", "state", &["accepted", "corrected", "waived"], &["detail_id", "state"]),
];

fn decisions(tables: &BTreeMap<String, LoadedTable>) -> BTreeMap<String, BTreeSet<String>> {
    let mut out: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (table, column, words, what) in DECIDED {
        let Some(frame) = tables.get(*table) else { continue };
        let plans = texts(frame, "plan_id");
        let told = texts(frame, column);
        let columns: Vec<Option<&Cells>> = what.iter().map(|c| frame.cells(c)).collect();
        for (row, (plan, told)) in plans.into_iter().zip(told).enumerate() {
            let by_person = told.is_some_and(|t| words.iter().any(|w| t.contains(w)));
            if let Some(plan) = plan.filter(|_| by_person) {
                let cells: Vec<String> = columns.iter().map(|c| shown(&cell(*c, row))).collect();
                let text = format!("{table} {column} {}", cells.join(" "));
                out.entry(plan.to_owned()).or_default().insert(text);
            }
        }
    }
    out
}

/// A cell of a column; missing where the table has no such column.
fn cell<'f>(column: Option<&'f Cells>, row: usize) -> Cell<'f> {
    column.map_or(Cell::Missing, |cells| cells.at(row))
}

fn shown(cell: &Cell<'_>) -> String {
    match cell {
        Cell::Missing => String::new(),
        Cell::Text(text) => text.to_string(),
        Cell::Integer(value) => value.to_string(),
        Cell::Real(value) => number(*value),
        Cell::Boolean(value) => value.to_string(),
    }
}

/// The keys of all rows, in their order.
fn keys(frame: &LoadedTable, columns: &[&str]) -> Vec<String> {
    let cells: Vec<Option<&Cells>> = columns.iter().map(|c| frame.cells(c)).collect();
    let key = |row| cells.iter().map(|c| shown(&cell(*c, row))).collect::<Vec<_>>().join(" ");
    (0..frame.height()).map(key).collect()
}

/// Keys without the method where that still tells the rows apart.
fn row_keys(name: &str, frames: [&LoadedTable; 2]) -> [Vec<String>; 2] {
    let all = ALL_TABLES.iter().find(|t| t.name == name).map_or(&[][..], |t| t.key);
    let short: Vec<&str> = all.iter().copied().filter(|c| *c != METHOD).collect();
    let of = |columns: &[&str]| frames.map(|f| keys(f, columns));
    let found = of(&short);
    let distinct = |list: &Vec<String>| list.iter().collect::<BTreeSet<_>>().len() == list.len();
    if found.iter().all(distinct) { found } else { of(all) }
}

/// One table of both studies, with the rows that belong together.
struct Matched<'f> {
    table: &'static str,
    frames: [&'f LoadedTable; 2],
    keys: [Vec<String>; 2],
    plans: [Vec<Option<&'f str>>; 2],
    patients: [Vec<Option<&'f str>>; 2],
    pairs: Vec<(usize, usize)>,
}

fn compare(
    table: &'static str,
    frames: [&LoadedTable; 2],
    common: &BTreeSet<String>,
    why: &Causes,
    out: &mut Difference,
) {
    let keys = row_keys(table, frames);
    let by_key: HashMap<&str, usize> = keys[1].iter().map(String::as_str).zip(0..).collect();
    let pairs =
        (0..).zip(&keys[0]).filter_map(|(a, k)| Some((a, *by_key.get(k.as_str())?))).collect();
    let plans = frames.map(|f| texts(f, "plan_id"));
    let patients = frames.map(|f| texts(f, "patient_id"));
    let matched = Matched { table, frames, keys, plans, patients, pairs };
    let mut changes = matched.unmatched(common, why);
    changes.extend(matched.changed(why));
    changes.sort_by(|x, y| (&x.row, x.kind).cmp(&(&y.row, y.kind)));
    out.changes.extend(changes);
    out.cells += matched.pairs.len() * matched.columns().len();
}

impl Matched<'_> {
    fn change(&self, side: usize, row: usize, kind: &'static str, why: &Causes) -> Change {
        let of = |list: &[Vec<Option<&str>>; 2]| {
            list[side].get(row).copied().flatten().map(str::to_owned)
        };
        Change {
            table: self.table,
            kind,
            patient: of(&self.patients).unwrap_or_default(),
            row: self.keys[side].get(row).cloned().unwrap_or_default(),
            column: String::new(),
            before: String::new(),
            after: String::new(),
            difference: None,
            why: why.words(of(&self.plans).as_deref()),
        }
    }

    /// Rows of one side only. Those of a plan that is not in both follow from that; the plan itself
    /// has its row.
    fn unmatched(&self, common: &BTreeSet<String>, why: &Causes) -> Vec<Change> {
        let mut changes = Vec::new();
        let first: BTreeSet<usize> = self.pairs.iter().map(|(a, _)| *a).collect();
        let second: BTreeSet<usize> = self.pairs.iter().map(|(_, b)| *b).collect();
        for (side, there) in [first, second].into_iter().enumerate() {
            for row in (0..self.keys[side].len()).filter(|row| !there.contains(row)) {
                let plan = self.plans[side].get(row).copied().flatten();
                if plan.is_none_or(|p| common.contains(p)) || self.table == "plans" {
                    changes.push(self.change(side, row, ONLY[side], why));
                }
            }
        }
        changes
    }

    /// The columns that both have, but for those that are a cause.
    fn columns(&self) -> Vec<&str> {
        let both = |name: &&str| self.frames[1].cells(name).is_some();
        self.frames[0].names().filter(|n| !CAUSES.contains(n)).filter(both).collect()
    }

    fn changed(&self, why: &Causes) -> Vec<Change> {
        let mut changes = Vec::new();
        for name in self.columns() {
            let [before, after] = self.frames.map(|f| f.cells(name));
            for (a, b) in &self.pairs {
                let (old, new) = (cell(before, *a), cell(after, *b));
                if old != new {
                    changes.push(Change {
                        column: name.to_owned(),
                        before: shown(&old),
                        after: shown(&new),
                        difference: value(&old).zip(value(&new)).map(|(x, y)| y - x),
                        ..self.change(0, *a, CHANGED, why)
                    });
                }
            }
        }
        changes
    }
}

fn value(cell: &Cell<'_>) -> Option<f64> {
    match cell {
        Cell::Real(value) => Some(*value),
        #[allow(clippy::cast_precision_loss)] // whole numbers of tables are far below 2^52
        Cell::Integer(value) => Some(*value as f64),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(columns: &[(&str, &[Option<&str>])]) -> LoadedTable {
        let column = |(name, cells): &(&str, &[Option<&str>])| {
            ((*name).to_owned(), Cells::texts(cells.iter().copied()))
        };
        LoadedTable::new(columns.iter().map(column).collect())
    }

    /// Two plans with a structure each; the second one named by a person when `decided`.
    fn study(plans: &[&str], digest: &str, decided: Option<&str>) -> BTreeMap<String, LoadedTable> {
        let ids: Vec<_> = plans.iter().map(|p| Some(*p)).collect();
        let same = |text| vec![Some(text); plans.len()];
        let plan = frame(&[
            ("plan_id", &ids),
            ("patient_id", &ids),
            ("dose_id", &same("D")),
            ("program_version", &same(digest)),
        ]);
        let basis: Vec<_> =
            plans.iter().map(|p| Some(if decided == Some(*p) { "user" } else { "rule" })).collect();
        let structures =
            frame(&[("plan_id", &ids), ("roi_number", &same("1")), ("name_basis", &basis)]);
        let files = frame(&[("object_id", &[Some("D")]), ("sha256", &[Some(digest)])]);
        let list = [("plans", plan), ("structures", structures), ("files", files)];
        list.into_iter().map(|(n, f)| (n.to_owned(), f)).collect()
    }

    fn compared(
        a: &BTreeMap<String, LoadedTable>,
        b: &BTreeMap<String, LoadedTable>,
    ) -> Difference {
        let side = |tables| Side { tables, version: "1", settings: "s" };
        difference(side(a), side(b))
    }

    #[test]
    fn equal_studies_differ_in_nothing() {
        let one = study(&["p", "q"], "x", None);
        let found = compared(&one, &one);
        assert_eq!((found.changes.len(), found.plans, found.patients), (0, [2, 0, 0], [2, 0, 0]));
        assert_eq!(found.cells, 2 * 3 + 2 * 3);
    }

    #[test]
    fn a_plan_that_is_not_there_is_one_row_and_causes_are_named() {
        let (one, two) = (study(&["p", "q"], "x", None), study(&["p"], "x", Some("p")));
        let found = compared(&one, &two);
        let seen: Vec<_> =
            found.changes.iter().map(|c| (c.table, c.kind, c.row.as_str(), &*c.why)).collect();
        assert_eq!(
            seen,
            [("plans", ONLY[0], "q", "input"), ("structures", CHANGED, "p 1", "decision")]
        );
        assert_eq!((found.changes[1].before.as_str(), &*found.changes[1].after), ("rule", "user"));
        let other = study(&["p"], "y", Some("p"));
        let found = compared(&study(&["p"], "x", None), &other);
        assert_eq!(found.changes[0].why, "input, decision");
        let a = Side { tables: &one, version: "1", settings: "s" };
        let b = Side { tables: &two, version: "2", settings: "t" };
        assert_eq!(difference(a, b).changes[1].why, "decision, setting, version");
    }
}
