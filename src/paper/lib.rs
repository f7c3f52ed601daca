//! The registrar's folder, made from the tables of a study: Table 1, doses by technology and number of
//! fractions, groups compared, figures with captions, flow, a methods paragraph of facts of the run,
//! reporting lists filled in as far as the tables go, starter scripts that reproduce Table 1, a worksheet
//! for a blind check and what it came to.
//!
//! Works on tables and gives files as bytes: opens none, prints nothing, and knows nothing of how the
//! tables came about. Nothing is imputed: what is missing is counted beside every number.

mod agreement;
mod by_name;
mod check;
mod citations;
mod comparisons;
mod covariate_sheets;
mod doses;
mod figures;
mod lists;
mod measures;
mod models;
mod packet;
mod printed;
mod readme;
mod relation;
mod scripts;
mod shared_covariates;
mod strobe;
mod table_one;

use std::collections::{BTreeMap, BTreeSet};

pub use relation::{CALIBRATION, Relation};
use serde_json::Value;

use tidydose_figure::{LOOKS, Stage, flow, pressed};
use tidydose_rt::nearest::nearest;
use tidydose_table::Cell;
use tidydose_table::citations::{bibliography, program};
use tidydose_table::clinical_words::{self, counted};
use tidydose_table::curves::{CurvesByPlan, curves};
use tidydose_table::frame::LoadedTable;
use tidydose_table::open_names::OpenNames;
use tidydose_table::read::{
    CellError, LesionRow, LimitCheckRow, MetricRow, PlanRole, PlanRow, Role, StructureRow, Tables,
    rows,
};
use tidydose_table::run::{CAUTION, words};
use tidydose_table::user::outcome_sheet::StudyNames;
use tidydose_table::user::outcome_sheet::covariates::Covariate;
use tidydose_table::user::outcomes::Outcome;
use tidydose_table::user::worksheet::Checked;
use tidydose_table::write_csv::write_records;

/// The tables that are read.
pub const TABLES: &[&str] =
    &["plans", "lesions", "structures", "metrics", "limit_checks", "dvh", "dictionary"];

/// The worksheet of the blind check; once a person wrote into it, it must not be replaced.
pub const WORKSHEET: &str = "check_worksheet.csv";

/// The same with the hospital's own names, in the folder of the key.
pub const HOSPITAL_WORKSHEET: &str = "check_worksheet_hospital.csv";

/// The folder of what may be shared; it has checksums, so that nothing is to be added to its files.
pub const SHARED: &str = "share";

/// A folder could not be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PaperError {
    /// A table is missing.
    #[error("has no table {0}; `tidydose measure` writes it")]
    Table(&'static str),
    /// A table cannot be understood.
    #[error("cannot be used: {0}")]
    Cell(#[from] CellError),
    /// The groups are more than can be told apart.
    #[error(
        "grouping {group} has {number} groups; figures tell at most {LOOKS} apart by colour, dashes and \
         marks: name a column of fewer levels"
    )]
    ManyGroups {
        /// As asked for.
        group: String,
        /// How many there are.
        number: usize,
    },
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

/// What came out.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Folder {
    /// Files by name.
    pub files: Files,
    /// The worksheet with the hospital's own patients, dates and names of structures, for the folder of
    /// the key; absent without a key.
    pub hospital_worksheet: Option<Vec<u8>>,
    /// What must be known beside the files.
    pub remarks: Vec<String>,
}

/// What is asked.
#[derive(Debug, Clone, Copy)]
pub struct Request<'r> {
    /// Column of plans that makes the groups.
    pub group: &'r str,
    /// The worksheet of the blind check as a person filled it in.
    pub checked: Option<&'r [Checked]>,
    /// What the sheet of the department tells beside outcomes; each is a column of the tables.
    pub covariates: &'r [Covariate],
    /// What the sheet of the department tells of outcomes; empty without a sheet.
    pub outcomes: &'r [Outcome],
    /// What a relation left in its folder.
    pub relation: &'r Relation,
    /// Names and dates of the hospital; absent without the study's key.
    pub names: Option<&'r StudyNames>,
    /// Whether figures are wanted as pictures of [`tidydose_figure::PICTURE_DPI`] too.
    pub tiff: bool,
}

/// Makes the folder; `run` is the content of `run.json`.
///
/// # Errors
/// When a table is missing or the grouping is no column of it.
pub fn paper(tables: &Tables, run: &Value, asked: &Request<'_>) -> Result<Folder, PaperError> {
    let study = Study::read(tables)?;
    let mut curves_of_organs = Curves::new();
    if tables.contains_key("dvh") {
        for organ in study.organs() {
            curves_of_organs.insert(organ.to_owned(), curves(tables, organ)?);
        }
    }
    let mut files = study.made(run, asked, &curves_of_organs)?;
    let mut remarks = Vec::new();
    if let Some(rows) = asked.checked {
        let rows = by_name::resolved(&study, rows, asked.names);
        files.extend(agreement::files(&study, &rows));
        remarks.extend(agreement::remark(&study, &rows));
    }
    if run.pointer("/settings/identity").and_then(Value::as_str) == Some("kept") {
        remarks.push("the study kept identifiers: nothing is made ready to be shared".to_owned());
    } else {
        let (shared, said) = packet::files(tables, asked.covariates);
        files.extend(shared);
        remarks.extend(said);
    }
    let (of_relation, captions, said) = relation::files(asked.relation, &words(run));
    files.extend(of_relation);
    if let Some(page) = files.get_mut(&format!("{}/captions.md", figures::FOLDER)) {
        page.extend(captions.as_bytes());
    }
    remarks.extend(said);
    let (pressed, faults) = pressed(&files, asked.tiff);
    files.extend(pressed);
    remarks.extend(faults);
    let page = readme::page(&files, &words(run));
    files.insert("README.md".to_owned(), page.into_bytes());
    let hospital_worksheet =
        asked.names.map(|names| check::hospital_worksheet(&study, &study.included(), names));
    Ok(Folder { files, hospital_worksheet, remarks })
}

/// The tables as rows, and those whole of which any column may be asked for.
#[derive(Debug, Clone)]
struct Study<'t> {
    plan_table: &'t LoadedTable,
    lesion_table: &'t LoadedTable,
    structure_table: &'t LoadedTable,
    plans: Vec<PlanRow<'t>>,
    lesions: Vec<LesionRow<'t>>,
    structures: Vec<StructureRow<'t>>,
    metrics: Vec<MetricRow<'t>>,
    limit_checks: Vec<LimitCheckRow<'t>>,
    /// Structures that may be an organ though nobody has decided their names.
    open: OpenNames,
}

/// Dose-volume curves by organ, plan and structure.
type Curves = BTreeMap<String, CurvesByPlan>;

impl<'t> Study<'t> {
    fn read(tables: &'t Tables) -> Result<Self, PaperError> {
        let table = |name: &'static str| tables.get(name).ok_or(PaperError::Table(name));
        let (plan_table, lesion_table) = (table("plans")?, table("lesions")?);
        let structure_table = table("structures")?;
        let (_, _) = (table("metrics")?, table("limit_checks")?);
        let structures: Vec<StructureRow<'t>> = rows(tables)?;
        Ok(Self {
            plan_table,
            lesion_table,
            structure_table,
            plans: rows(tables)?,
            lesions: rows(tables)?,
            metrics: rows(tables)?,
            limit_checks: rows(tables)?,
            open: OpenNames::of(&structures),
            structures,
        })
    }

    fn made(&self, run: &Value, asked: &Request<'_>, curves: &Curves) -> Result<Files, PaperError> {
        let Request { group, covariates, .. } = *asked;
        if self.plan_table.cells(group).is_none() {
            let there = nearest(group, self.plan_table.names());
            return Err(PaperError::Group { wanted: group.to_owned(), there });
        }
        let included = self.included();
        let variables = table_one::variables(covariates);
        let (table, first) = table_one::table(self, &included, group, &variables);
        let mut files = Files::new();
        let mut add = |name: &str, bytes: Vec<u8>| files.insert(name.to_owned(), bytes);
        add("table_one.csv", table);
        add("table_one.md", first.markdown().into_bytes());
        let dose_rows = doses::rows_of(self, &included, group);
        add("doses.csv", doses::table(&dose_rows));
        add("completeness.csv", doses::completeness(self, &included));
        let places = measures::places(self, &included, group);
        let number = comparisons::groups(&places).len();
        if number > LOOKS {
            return Err(PaperError::ManyGroups { group: group.to_owned(), number });
        }
        let measured = comparisons::measured(self, &places);
        let compared = comparisons::rows_of(&measured);
        add("comparisons.csv", comparisons::table(&compared));
        add("limit_shares.csv", comparisons::shares(self, &places));
        add("flow.csv", self.flow_sheet(group));
        add("flow.svg", flow("Flow of the study", &self.boxes(), CAUTION).into_bytes());
        let checked = asked.checked.is_some();
        add("methods.txt", lists::methods(self, run, &included, checked).into_bytes());
        let outcomes = !asked.outcomes.is_empty();
        add("reporting.md", lists::reporting(self, run, &included, outcomes).into_bytes());
        let cited = bibliography(program(run), &citations::statistics(checked));
        add("references.bib", cited.into_bytes());
        add("CITATION.cff", citations::citation_file(run).into_bytes());
        add(WORKSHEET, check::worksheet(self, &included));
        add("table_one.py", scripts::python(group, &variables, covariates).into_bytes());
        add("table_one.R", scripts::r(group, &variables, covariates).into_bytes());
        let printed = [first, doses::printed(&dose_rows, group), comparisons::printed(&compared)];
        for table in printed {
            files.extend(table.files());
        }
        files.extend(covariate_sheets::files(self, &included, covariates));
        let source = figures::Source::of(self, &included, &places, curves);
        files.extend(figures::files(&source, &measured, asked.outcomes, run));
        Ok(files)
    }

    /// Standard names of all organs.
    fn organs(&self) -> BTreeSet<&'t str> {
        let organs = self.structures.iter().filter(|s| s.role == Some(Role::Organ));
        organs.filter_map(|s| s.name_standard).collect()
    }

    /// Plans in the study, as table plans has them.
    fn included(&self) -> BTreeSet<String> {
        let kept = self.plans.iter().filter(|p| reason(p).is_none());
        kept.map(|p| p.plan_id.to_owned()).collect()
    }

    fn patients(&self, wanted: impl Fn(&PlanRow<'t>) -> bool) -> (usize, usize) {
        let plans: Vec<&PlanRow<'t>> = self.plans.iter().filter(|p| wanted(p)).collect();
        let patients: BTreeSet<&str> =
            plans.iter().map(|p| p.patient_id).filter(|p| !p.is_empty()).collect();
        (patients.len(), plans.len())
    }

    /// Words, patients, plans and who left, for each stage.
    fn stages(&self) -> Vec<(&'static str, usize, usize, BTreeMap<String, usize>)> {
        let words =
            ["cases in the archive", "measured", "in the study: treated as far as is known"];
        let stage = |(place, words): (usize, &'static str)| {
            let passed = |p: &PlanRow<'_>| reason(p).is_none_or(|(at, _)| at >= place);
            let (patients, plans) = self.patients(passed);
            let mut left = BTreeMap::new();
            for plan in &self.plans {
                if let Some((at, reason)) = reason(plan)
                    && at + 1 == place
                {
                    *left.entry(reason.to_owned()).or_insert(0) += 1;
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
                let left = excluded(&left);
                Stage { words: vec![words.to_owned(), counts], left }
            };
        let mut boxes: Vec<Stage> = self.stages().into_iter().map(stage).collect();
        let included = self.included();
        let lesions = self.lesions.iter().filter(|l| included.contains(l.plan_id));
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

/// Those who left as lines of a flow diagram: all of them, then each reason in words.
fn excluded(left: &BTreeMap<String, usize>) -> Vec<String> {
    if left.is_empty() {
        return Vec::new();
    }
    let all: usize = left.values().sum();
    let reasons = left.iter().map(|(why, n)| format!("{} (n = {n})", clinical_words::reason(why)));
    std::iter::once(format!("Excluded (n = {all})")).chain(reasons).collect()
}

/// Why a plan is not included, at the first stage that says so.
fn reason<'t>(plan: &PlanRow<'t>) -> Option<(usize, &'t str)> {
    if !plan.is_measured() {
        return Some((0, plan.exclusion_code.unwrap_or("unknown")));
    }
    let role = plan.plan_role.map_or("unknown", PlanRole::word);
    (!plan.is_in_study()).then_some((1, role))
}

/// A text as a cell; missing when empty.
fn word(text: &str) -> Cell<'static> {
    if text.is_empty() { Cell::Missing } else { Cell::Text(text.to_owned().into()) }
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
mod check_tests;
#[cfg(test)]
mod packet_tests;
#[cfg(test)]
mod tests;
