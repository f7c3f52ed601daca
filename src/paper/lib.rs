//! The registrar's folder, made from the tables of a study: Table 1, doses by technology and number of
//! fractions, groups compared, figures with captions, flow, a methods paragraph of facts of the run,
//! reporting lists filled in as far as the tables go, starter scripts that reproduce Table 1, a worksheet
//! for a blind check and what it came to.
//!
//! Works on tables and gives files as bytes: opens none, prints nothing, and knows nothing of how the
//! tables came about. Nothing is imputed: what is missing is counted beside every number.

mod agreement;
mod check;
mod comparisons;
mod doses;
mod figures;
mod lists;
mod measures;
mod rows;
mod scripts;
mod table_one;

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;
use tidydose_table::frame::LoadedTable;

use rows::Rows;
use tidydose_figure::{Stage, flow};
use tidydose_rt::nearest::nearest;
use tidydose_table::Cell;
use tidydose_table::curves::{Curve, curves};
use tidydose_table::open_names::OpenNames;
use tidydose_table::run::CAUTION;
use tidydose_table::user::worksheet::Checked;
use tidydose_table::write_csv::write_records;

/// The tables that are read.
pub const TABLES: &[&str] = &["plans", "lesions", "structures", "metrics", "limit_checks", "dvh"];

/// The worksheet of the blind check; once a person wrote into it, it must not be replaced.
pub const WORKSHEET: &str = "check_worksheet.csv";

/// A folder could not be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PaperError {
    /// A table is missing.
    #[error("has no table {0}; `tidydose measure` writes it")]
    Table(&'static str),
    /// The grouping is no column.
    #[error("grouping {wanted} is no column of plans; nearest: {there}")]
    Group {
        /// As asked for.
        wanted: String,
        /// Columns, the nearest first.
        there: String,
    },
}

/// Files by name.
pub type Files = BTreeMap<String, Vec<u8>>;

/// Makes the folder; `run` is the content of `run.json`, `checked` the worksheet of the blind check
/// as a person filled it in.
///
/// # Errors
/// When a table is missing or the grouping is no column of it.
pub fn paper(
    tables: &BTreeMap<String, LoadedTable>,
    run: &Value,
    group: &str,
    checked: Option<&[Checked]>,
) -> Result<Files, PaperError> {
    let table = |name: &'static str| tables.get(name).map(Rows::of).ok_or(PaperError::Table(name));
    let study = Study {
        plans: table("plans")?,
        lesions: table("lesions")?,
        structures: table("structures")?,
        metrics: table("metrics")?,
        limit_checks: table("limit_checks")?,
        open: tables.get("structures").map(OpenNames::of).unwrap_or_default(),
    };
    let dvh = tables.get("dvh");
    let curves = study.organs().into_iter().filter_map(|o| Some((o.clone(), curves(dvh?, &o))));
    let mut files = study.made(run, group, &curves.collect())?;
    files.extend(checked.map(|rows| agreement::files(&study, rows)).unwrap_or_default());
    Ok(files)
}

/// The tables as rows.
#[derive(Debug, Clone, Default)]
struct Study {
    plans: Rows,
    lesions: Rows,
    structures: Rows,
    metrics: Rows,
    limit_checks: Rows,
    /// Structures that may be an organ though nobody has decided their names.
    open: OpenNames,
}

/// Dose-volume curves by organ, plan and structure.
type Curves = BTreeMap<String, BTreeMap<String, BTreeMap<String, Curve>>>;

impl Study {
    fn made(&self, run: &Value, group: &str, curves: &Curves) -> Result<Files, PaperError> {
        if !self.plans.has(group) {
            let there = nearest(group, self.plans.names());
            return Err(PaperError::Group { wanted: group.to_owned(), there });
        }
        let included = self.included();
        let (table, readable) = table_one::table(self, &included, group);
        let mut files = Files::new();
        let mut add = |name: &str, bytes: Vec<u8>| files.insert(name.to_owned(), bytes);
        add("table_one.csv", table);
        add("table_one.md", readable.into_bytes());
        add("doses.csv", doses::table(self, &included, group));
        add("completeness.csv", doses::completeness(self, &included));
        let places = measures::places(self, &included, group);
        let measured = comparisons::measured(self, &places);
        add("comparisons.csv", comparisons::table(&measured));
        add("limit_shares.csv", comparisons::shares(self, &places));
        add("flow.csv", self.flow_sheet(group));
        add("flow.svg", flow("Flow of the study", &self.boxes(), CAUTION).into_bytes());
        add("methods.txt", lists::methods(self, run, &included).into_bytes());
        add("reporting.md", lists::reporting(self, run, &included).into_bytes());
        add(WORKSHEET, check::worksheet(self, &included));
        add("table_one.py", scripts::python(group).into_bytes());
        add("table_one.R", scripts::r(group).into_bytes());
        files.extend(figures::files((self, &included), &places, &measured, curves, run));
        Ok(files)
    }

    /// Standard names of all organs.
    fn organs(&self) -> BTreeSet<String> {
        let rows = 0..self.structures.count();
        let organs = rows.filter(|r| self.structures.text(*r, "role") == Some("organ"));
        organs.filter_map(|r| self.structures.text(r, "name_standard")).map(str::to_owned).collect()
    }

    /// Plans in the study, as table plans has them.
    fn included(&self) -> BTreeSet<String> {
        let rows = 0..self.plans.count();
        let kept = rows.filter(|r| self.reason(*r).is_none());
        kept.filter_map(|r| self.plans.text(r, "plan_id")).map(str::to_owned).collect()
    }

    /// Why a plan is not included, at the first stage that says so.
    fn reason(&self, row: usize) -> Option<(usize, String)> {
        let text = |name| self.plans.text(row, name).unwrap_or("unknown");
        if self.plans.flag(row, "measured") != Some(true) {
            return Some((0, text("exclusion_code").to_owned()));
        }
        (self.plans.flag(row, "in_study") != Some(true)).then(|| (1, text("plan_role").to_owned()))
    }

    fn patients(&self, wanted: impl Fn(usize) -> bool) -> (usize, usize) {
        let rows: Vec<usize> = (0..self.plans.count()).filter(|r| wanted(*r)).collect();
        let patients: BTreeSet<_> =
            rows.iter().filter_map(|r| self.plans.text(*r, "patient_id")).collect();
        (patients.len(), rows.len())
    }

    /// Words, patients, plans and who left, for each stage.
    fn stages(&self) -> Vec<(&'static str, usize, usize, BTreeMap<String, usize>)> {
        let words =
            ["cases in the archive", "measured", "in the study: treated as far as is known"];
        let stage = |(place, words): (usize, &'static str)| {
            let passed = |r: usize| self.reason(r).is_none_or(|(at, _)| at >= place);
            let (patients, plans) = self.patients(passed);
            let mut left = BTreeMap::new();
            for row in 0..self.plans.count() {
                if let Some((at, reason)) = self.reason(row)
                    && at + 1 == place
                {
                    *left.entry(reason).or_insert(0) += 1;
                }
            }
            (words, patients, plans, left)
        };
        words.into_iter().enumerate().map(stage).collect()
    }

    fn boxes(&self) -> Vec<Stage> {
        let stage =
            |(words, patients, plans, left): (&str, usize, usize, BTreeMap<String, usize>)| {
                let counts =
                    format!("{} of {}", counted(plans, "plan"), counted(patients, "patient"));
                let left =
                    left.iter().map(|(reason, n)| format!("{n}: {}", reason.replace('_', " ")));
                Stage { words: vec![words.to_owned(), counts], left: left.collect() }
            };
        let mut boxes: Vec<Stage> = self.stages().into_iter().map(stage).collect();
        let included = self.included();
        let lesions = (0..self.lesions.count())
            .filter(|r| self.lesions.text(*r, "plan_id").is_some_and(|p| included.contains(p)));
        if let Some(last) = boxes.last_mut() {
            last.words.push(counted(lesions.count(), "lesion"));
        }
        boxes
    }

    fn flow_sheet(&self, group: &str) -> Vec<u8> {
        let mut out = Vec::new();
        for (words, patients, plans, left) in self.stages() {
            let row = |n: usize, reason: &str| {
                vec![
                    word(words),
                    count(patients),
                    count(plans),
                    count(n),
                    word(reason),
                    word(group),
                ]
            };
            if left.is_empty() {
                out.push(row(0, ""));
            }
            out.extend(left.iter().map(|(reason, n)| row(*n, reason)));
        }
        sheet(&["stage", "patients", "plans", "left", "reason", "grouping"], out)
    }
}

/// A text as a cell; missing when empty.
fn word(text: &str) -> Cell<'static> {
    if text.is_empty() { Cell::Missing } else { Cell::Text(text.to_owned().into()) }
}

/// A number with its word.
fn counted(n: usize, word: &str) -> String {
    format!("{n} {word}{}", if n == 1 { "" } else { "s" })
}

fn count(n: usize) -> Cell<'static> {
    i64::try_from(n).map_or(Cell::Missing, Cell::Integer)
}

fn number(value: f64) -> Cell<'static> {
    if value.is_finite() { Cell::Real(value) } else { Cell::Missing }
}

/// Rows below their names as CSV.
fn sheet(columns: &[&str], rows: Vec<Vec<Cell<'static>>>) -> Vec<u8> {
    let mut bytes = Vec::new();
    // Writing into memory does not fail.
    let _ = write_records(columns, rows.into_iter(), &mut bytes);
    bytes
}

#[cfg(test)]
mod tests;
