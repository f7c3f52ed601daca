//! Everything the tables say about one value, read once and in the order in which it is told.

use std::collections::{BTreeMap, BTreeSet};

use crate::cohort::{Case, Check, cell, checks};
use crate::number::plain;
use crate::picture::{Picture, pictures};
use tidydose_table::frame::{LoadedTable, integers, reals, rows_where, texts};

/// The value itself, a row of table metrics.
#[derive(Debug, Clone, Default)]
pub(super) struct Value {
    pub(super) patient_id: String,
    pub(super) plan_id: String,
    pub(super) structure_id: String,
    pub(super) roi_number: Option<i64>,
    pub(super) structure: String,
    pub(super) role: String,
    pub(super) metric: String,
    pub(super) value: Option<f64>,
    pub(super) low: Option<f64>,
    pub(super) high: Option<f64>,
    pub(super) unit: String,
    pub(super) status: String,
    pub(super) reason: String,
    pub(super) method: String,
}

/// What the metric is, from the dictionary.
#[derive(Debug, Clone, Default)]
pub(super) struct Definition {
    pub(super) meaning: String,
    pub(super) formula: String,
    pub(super) reference: String,
}

/// An object that the value was computed from.
#[derive(Debug, Clone)]
pub(super) struct Source {
    pub(super) kind: &'static str,
    pub(super) object_id: String,
    pub(super) file_id: String,
    pub(super) sha256: String,
}

/// A contour plane in use.
#[derive(Debug, Clone)]
pub(super) struct Plane {
    pub(super) number: i64,
    pub(super) position_mm: Option<f64>,
    pub(super) thickness_mm: Option<f64>,
    pub(super) outlines: Option<i64>,
    pub(super) area_mm2: Option<f64>,
}

/// A point with its dose; of a voxel also plane, row and column.
#[derive(Debug, Clone)]
pub(super) struct Place {
    pub(super) position_mm: [f64; 3],
    pub(super) dose_gy: f64,
    pub(super) index: Option<[i64; 3]>,
}

/// A term of the bounds.
#[derive(Debug, Clone)]
pub(super) struct Term {
    pub(super) name: &'static str,
    pub(super) meaning: String,
    /// Standard uncertainty, in the unit of the value.
    pub(super) value: f64,
    /// Share of the sum of squares, percent.
    pub(super) percent: f64,
}

/// A finding about the case, the structure or one of the objects.
#[derive(Debug, Clone)]
pub(super) struct Finding {
    pub(super) severity: String,
    pub(super) code: String,
    pub(super) about: &'static str,
    pub(super) message: String,
    pub(super) consequence: String,
    pub(super) state: String,
}

/// A name of a thing with what the tables say about it.
pub(super) type Facts = Vec<(&'static str, String)>;

/// Everything about one value.
#[derive(Debug, Clone)]
pub(super) struct Account {
    pub(super) value: Value,
    pub(super) definition: Definition,
    pub(super) case: Facts,
    pub(super) structure: Facts,
    pub(super) sources: Vec<Source>,
    pub(super) planes: Vec<Plane>,
    pub(super) hottest: Option<Place>,
    pub(super) voxel: Option<Place>,
    pub(super) terms: Vec<Term>,
    /// All terms together: the root of the sum of squares.
    pub(super) together: Option<f64>,
    /// The same of the terms that count below the value, and above it.
    pub(super) sides: [f64; 2],
    pub(super) checks: Vec<Check>,
    /// Other metrics of the structure that have a limit for these fractions.
    pub(super) also_limited: Vec<String>,
    pub(super) findings: Vec<Finding>,
    pub(super) picture: Option<Picture>,
}

/// The columns of table bounds that are terms, in their order there.
const TERMS: [&str; 9] =
    ["ends", "slices", "chords", "dose", "summit", "cells", "step", "scatter", "chance"];

type Tables = BTreeMap<String, LoadedTable>;

impl Account {
    /// Gathers what belongs to one row of table metrics.
    pub(super) fn read(tables: &Tables, row: &LoadedTable) -> Self {
        let value = Value::read(row);
        let of = |name: &str, column: &str, wanted: &str| {
            let frame = tables.get(name);
            frame.map_or_else(LoadedTable::default, |f| rows_where(f, column, |t| t == wanted))
        };
        let plan = of("plans", "plan_id", &value.plan_id);
        let structure = of("structures", "structure_id", &value.structure_id);
        let traces = of("traces", "structure_id", &value.structure_id);
        let limits = of("limit_checks", "structure_id", &value.structure_id);
        let sources = sources(&plan, tables.get("files"));
        let dictionary = tables.get("dictionary");
        let (terms, together, sides) = terms(tables, &value);
        Self {
            definition: dictionary.map_or_else(Definition::default, |d| meaning(d, &value.metric)),
            case: facts(&plan, &CASE),
            structure: facts(&structure, &STRUCTURE),
            planes: planes(&traces),
            hottest: place(&traces, "hottest_point"),
            voxel: place(&traces, "nearest_voxel"),
            terms,
            together,
            sides,
            checks: of_metric(&limits, &value.metric),
            also_limited: also_limited(&limits, &value.metric),
            findings: tables
                .get("finding_details")
                .or_else(|| tables.get("findings"))
                .map_or_else(Vec::new, |f| findings(f, consequences(tables), &value, &sources)),
            picture: tables.get("pictures").and_then(|frame| {
                let own = rows_where(frame, "structure_id", |s| s == value.structure_id);
                pictures(&own, |_| true).into_iter().next()
            }),
            sources,
            value,
        }
    }
}

impl Value {
    fn read(row: &LoadedTable) -> Self {
        let text = |name| first_text(row, name);
        let real = |name| cell(&reals(row, name), 0);
        Self {
            patient_id: text("patient_id"),
            plan_id: text("plan_id"),
            structure_id: text("structure_id"),
            roi_number: cell(&integers(row, "roi_number"), 0),
            structure: text("structure"),
            role: text("role"),
            metric: text("metric"),
            value: real("value"),
            low: real("low"),
            high: real("high"),
            unit: text("unit"),
            status: text("status"),
            reason: text("reason"),
            method: text("method"),
        }
    }
}

fn first_text(frame: &LoadedTable, name: &str) -> String {
    cell(&texts(frame, name), 0).unwrap_or_default().to_owned()
}

/// What is told of the case: words and columns of table plans.
const CASE: [(&str, &[&str]); 10] = [
    ("Technology", &["technology"]),
    ("Fractions planned", &["fractions_planned"]),
    ("Highest prescription in Gy", &["prescription_dose_gy", "prescription_basis"]),
    ("Part in the treatment", &["plan_role", "plan_role_reason"]),
    ("Dose joined by", &["dose_link", "dose_source"]),
    ("Structures joined by", &["structure_link"]),
    ("LoadedTable of reference", &["frame_link"]),
    ("Dose as stored", &["dose_units", "dose_type", "dose_summation"]),
    ("Dose grid in mm: planes, rows, columns", &["grid_plane_mm", "grid_row_mm", "grid_column_mm"]),
    ("Program and settings", &["program_version", "settings_digest"]),
];

/// What is told of the structure: words and columns of table structures.
const STRUCTURE: [(&str, &[&str]); 8] = [
    ("Name in the file", &["name_original"]),
    ("Standard name", &["name_standard", "name_basis"]),
    ("Contours, of these closed", &["n_contours", "n_contours_closed"]),
    ("Contours read as holes", &["n_holes"]),
    ("Spacing of planes in mm, largest gap", &["plane_spacing_mm", "plane_gap_max_mm"]),
    ("Volume in cc, low, high", &["volume_cc", "volume_low_cc", "volume_high_cc"]),
    ("Volume in the file in cc", &["volume_in_file_cc"]),
    ("Share in the dose grid in %", &["dose_cover_percent"]),
];

/// The cells of the first row that are there, put together.
fn facts(frame: &LoadedTable, wanted: &[(&'static str, &[&str])]) -> Facts {
    let shown = |name: &&str| {
        let whole = || cell(&integers(frame, name), 0).map(|n| n.to_string());
        let real = || cell(&reals(frame, name), 0).map(plain);
        let text = cell(&texts(frame, name), 0).map(str::to_owned);
        text.filter(|t| !t.is_empty()).or_else(whole).or_else(real)
    };
    let fact = |(words, columns): &(&'static str, &[&str])| {
        let cells: Vec<String> = columns.iter().filter_map(shown).collect();
        (!cells.is_empty()).then(|| (*words, cells.join(", ")))
    };
    wanted.iter().filter_map(fact).collect()
}

fn meaning(dictionary: &LoadedTable, metric: &str) -> Definition {
    let own = rows_where(dictionary, "value", |v| v == metric);
    let own = rows_where(&own, "table", |t| t == "metrics");
    Definition {
        meaning: first_text(&own, "meaning"),
        formula: first_text(&own, "formula"),
        reference: first_text(&own, "reference"),
    }
}

/// Plan, structure set and each dose of the case, with the file that was read for it.
fn sources(plan: &LoadedTable, files: Option<&LoadedTable>) -> Vec<Source> {
    let mut wanted: Vec<(&'static str, String)> = Vec::new();
    for (kind, column) in
        [("RT Plan", "plan_id"), ("RT Structure Set", "structure_set_id"), ("RT Dose", "dose_id")]
    {
        let ids = first_text(plan, column);
        wanted.extend(ids.split(' ').filter(|id| !id.is_empty()).map(|id| (kind, id.to_owned())));
    }
    let of_object = |id: &str| {
        let own =
            files.map_or_else(LoadedTable::default, |f| rows_where(f, "object_id", |o| o == id));
        let read = rows_where(&own, "status", |s| s == "read");
        let own = if read.height() > 0 { read } else { own };
        (own.height() > 0).then(|| [first_text(&own, "file_id"), first_text(&own, "sha256")])
    };
    let mut seen = BTreeSet::new();
    wanted.retain(|(_, id)| seen.insert(id.clone()));
    let source = |(kind, object_id): (&'static str, String)| {
        let file = of_object(&object_id);
        // A case without a plan is named after its dose or structure set.
        let [file_id, sha256] = file?;
        Some(Source { kind, object_id, file_id, sha256 })
    };
    wanted.into_iter().filter_map(source).collect()
}

fn planes(traces: &LoadedTable) -> Vec<Plane> {
    let own = rows_where(traces, "kind", |k| k == "contour_plane");
    let (number, outlines) = (integers(&own, "number"), integers(&own, "n_outlines"));
    let (position, thickness) = (reals(&own, "plane_mm"), reals(&own, "thickness_mm"));
    let area = reals(&own, "area_mm2");
    let plane = |i: usize| Plane {
        number: cell(&number, i).unwrap_or_default(),
        position_mm: cell(&position, i),
        thickness_mm: cell(&thickness, i),
        outlines: cell(&outlines, i),
        area_mm2: cell(&area, i),
    };
    (0..own.height()).map(plane).collect()
}

fn place(traces: &LoadedTable, kind: &str) -> Option<Place> {
    let own = rows_where(traces, "kind", |k| k == kind);
    let real = |name| cell(&reals(&own, name), 0);
    let whole = |name| cell(&integers(&own, name), 0);
    let index = whole("voxel_plane").zip(whole("voxel_row")).zip(whole("voxel_column"));
    Some(Place {
        position_mm: [real("x_mm")?, real("y_mm")?, real("z_mm")?],
        dose_gy: real("dose_gy")?,
        index: index.map(|((plane, row), column)| [plane, row, column]),
    })
}

/// The terms of the bounds, largest first, and all of them together: as a whole, below the value and
/// above it.
fn terms(tables: &Tables, value: &Value) -> (Vec<Term>, Option<f64>, [f64; 2]) {
    let none = (Vec::new(), None, [0.0; 2]);
    let Some(bounds) = tables.get("bounds") else { return none };
    let own = rows_where(bounds, "structure_id", |s| s == value.structure_id);
    let own = rows_where(&own, "metric", |m| m == value.metric);
    let own = rows_where(&own, "method", |m| m == value.method);
    let Some(together) = cell(&reals(&own, "together"), 0) else { return none };
    let sides = ["below", "above"].map(|c| cell(&reals(&own, c), 0).unwrap_or(together));
    let meaning = |column: &str| {
        let rows = tables.get("dictionary").map(|d| rows_where(d, "table", |t| t == "bounds"));
        let rows = rows.map(|r| rows_where(&r, "column", |c| c == column));
        rows.map_or_else(String::new, |r| first_text(&r, "meaning"))
    };
    let square = |u: f64| if together > 0.0 { (u / together).powi(2) } else { 0.0 };
    let term = |name: &'static str| {
        let u = cell(&reals(&own, name), 0)?;
        Some(Term { name, meaning: meaning(name), value: u, percent: 100.0 * square(u) })
    };
    let mut list: Vec<Term> = TERMS.into_iter().filter_map(term).collect();
    list.sort_by(|a, b| b.value.total_cmp(&a.value));
    (list, Some(together), sides)
}

fn of_metric(limits: &LoadedTable, metric: &str) -> Vec<Check> {
    let own = rows_where(limits, "metric", |m| m == metric);
    let mut case = Case::default();
    checks(&own, &mut |_, work| work(&mut case));
    case.checks
}

fn also_limited(limits: &LoadedTable, metric: &str) -> Vec<String> {
    let others: BTreeSet<&str> =
        texts(limits, "metric").into_iter().flatten().filter(|m| *m != metric).collect();
    others.into_iter().map(str::to_owned).collect()
}

/// What each code does to the numbers.
fn consequences(tables: &BTreeMap<String, LoadedTable>) -> BTreeMap<&str, &str> {
    let Some(frame) = tables.get("findings") else { return BTreeMap::new() };
    let pairs = texts(frame, "code").into_iter().zip(texts(frame, "consequence"));
    pairs.filter_map(|(code, words)| Some((code?, words?))).collect()
}

/// Findings about the structure, about one of the objects or files, and about the case as a whole.
fn findings(
    frame: &LoadedTable,
    consequences: BTreeMap<&str, &str>,
    value: &Value,
    sources: &[Source],
) -> Vec<Finding> {
    let text = |name| texts(frame, name);
    let (plan, object, file) = (text("plan_id"), text("object_id"), text("file_id"));
    let (severity, code, state) = (text("severity"), text("code"), text("state"));
    let message = text("message");
    let number = integers(frame, "roi_number");
    let about = |i: usize| {
        let of_case = cell(&plan, i) == Some(value.plan_id.as_str());
        let of_object = sources.iter().any(|s| {
            cell(&object, i) == Some(s.object_id.as_str())
                || cell(&file, i) == Some(s.file_id.as_str())
        });
        match cell(&number, i) {
            Some(n) if Some(n) == value.roi_number && (of_case || of_object) => Some("structure"),
            Some(_) => None,
            None if of_object => Some("object"),
            None if of_case => Some("case"),
            None => None,
        }
    };
    let owned = |column: &[Option<&str>], i| cell(column, i).unwrap_or_default().to_owned();
    let finding = |i: usize| {
        Some(Finding {
            about: about(i)?,
            severity: owned(&severity, i),
            code: owned(&code, i),
            message: owned(&message, i),
            consequence: cell(&code, i)
                .and_then(|code| consequences.get(code))
                .map_or_else(String::new, |words| (*words).to_owned()),
            state: owned(&state, i),
        })
    };
    (0..frame.height()).filter_map(finding).collect()
}
