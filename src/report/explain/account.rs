//! Everything the tables say about one value, read once and in the order in which it is told.

use std::collections::BTreeSet;

use crate::number::plain;
use crate::picture::{Picture, pictures};
use tidydose_table::Cell;
use tidydose_table::read::{
    BoundsRow, CellError, DictionaryRow, FileRow, FindingDetailRow, FindingRow, LimitCheckRow,
    MetricRow, PlanRow, SensitivityRow, StructureRow, TableRow, Tables, TraceKind, TraceRow, rows,
    rows_of, rows_where,
};

/// An object that the value was computed from.
#[derive(Debug, Clone)]
pub(super) struct ObjectRead<'t> {
    pub(super) kind: &'static str,
    pub(super) object_id: &'t str,
    pub(super) file_id: &'t str,
    pub(super) sha256: &'t str,
}

/// A point with its dose; of a voxel also plane, row and column.
#[derive(Debug, Clone)]
pub(super) struct DosePoint {
    pub(super) position_mm: [f64; 3],
    pub(super) dose_gy: f64,
    pub(super) index: Option<[i64; 3]>,
}

/// A term of the bounds.
#[derive(Debug, Clone)]
pub(super) struct Term<'t> {
    pub(super) name: &'static str,
    pub(super) meaning: &'t str,
    /// Standard uncertainty, in the unit of the value.
    pub(super) value: f64,
    /// Share of the sum of squares, percent.
    pub(super) percent: f64,
}

/// All terms of the bounds, largest first.
#[derive(Debug, Clone)]
pub(super) struct Terms<'t> {
    pub(super) list: Vec<Term<'t>>,
    /// All together: the root of the sum of squares.
    pub(super) together: f64,
    /// The same of those that count below the value, and above it.
    pub(super) sides: [f64; 2],
}

/// A finding about the case, the structure or one of the objects.
#[derive(Debug, Clone)]
pub(super) struct FindingAbout<'t> {
    pub(super) row: FindingDetailRow<'t>,
    pub(super) about: &'static str,
    pub(super) consequence: &'t str,
}

/// A name of a thing with what the tables say about it.
pub(super) type Facts = Vec<(&'static str, String)>;

/// Everything about one value.
#[derive(Debug, Clone)]
pub(super) struct Account<'t> {
    pub(super) value: MetricRow<'t>,
    /// What the metric is; absent where the dictionary does not have it.
    pub(super) definition: Option<DictionaryRow<'t>>,
    pub(super) case: Facts,
    pub(super) structure: Facts,
    pub(super) sources: Vec<ObjectRead<'t>>,
    /// Contour planes in use.
    pub(super) planes: Vec<TraceRow<'t>>,
    pub(super) hottest: Option<DosePoint>,
    pub(super) voxel: Option<DosePoint>,
    /// Absent where the value has no bounds, or where their terms are not kept.
    pub(super) terms: Option<Terms<'t>>,
    /// The value with the structure elsewhere, larger or smaller; empty where nobody asked.
    pub(super) elsewhere: Vec<SensitivityRow<'t>>,
    pub(super) checks: Vec<LimitCheckRow<'t>>,
    /// Other metrics of the structure that have a limit for these fractions.
    pub(super) also_limited: Vec<&'t str>,
    pub(super) findings: Vec<FindingAbout<'t>>,
    pub(super) pictures: Vec<Picture<'t>>,
}

impl<'t> Account<'t> {
    /// Gathers what belongs to one row of table metrics.
    pub(super) fn read(tables: &'t Tables, value: MetricRow<'t>) -> Result<Self, CellError> {
        let own = |id: &str| id == value.structure_id;
        let dictionary: Vec<DictionaryRow<'t>> = rows(tables)?;
        let mut traces: Vec<TraceRow<'t>> = rows_where(tables, "structure_id", own)?;
        let limits: Vec<LimitCheckRow<'t>> = rows_where(tables, "structure_id", own)?;
        let sources = sources(tables, value.plan_id)?;
        let others: BTreeSet<&str> = limits.iter().map(|c| c.metric).collect();
        let point = |kind| traces.iter().find(|t| t.kind == kind).and_then(dose_point);
        Ok(Self {
            definition: dictionary
                .iter()
                .find(|d| d.table == "metrics" && d.value == Some(value.metric))
                .cloned(),
            case: facts::<PlanRow<'_>>(tables, ("plan_id", value.plan_id), &CASE),
            structure: facts::<StructureRow<'_>>(
                tables,
                ("structure_id", value.structure_id),
                &STRUCTURE,
            ),
            hottest: point(TraceKind::Hottest),
            voxel: point(TraceKind::Voxel),
            planes: {
                traces.retain(|t| t.kind == TraceKind::Plane);
                traces
            },
            terms: terms(tables, &value, &dictionary)?,
            elsewhere: {
                let mut rows: Vec<SensitivityRow<'t>> = rows_where(tables, "structure_id", own)?;
                rows.retain(|r| r.metric == value.metric);
                rows
            },
            also_limited: others
                .into_iter()
                .filter(|m| !m.is_empty() && *m != value.metric)
                .collect(),
            checks: limits.into_iter().filter(|c| c.metric == value.metric).collect(),
            findings: findings(tables, &value, &sources)?,
            pictures: pictures(tables, |plan| plan == value.plan_id)?
                .into_iter()
                .filter(|p| p.structure_id == value.structure_id)
                .collect(),
            sources,
            value,
        })
    }
}

/// What is told of the case: words and columns of table plans.
const CASE: [(&str, &[&str]); 10] = [
    ("Technology", &["technology"]),
    ("Fractions planned", &["fractions_planned"]),
    ("Highest prescription in Gy", &["prescription_dose_gy", "prescription_basis"]),
    ("Part in the treatment", &["plan_role", "plan_role_reason"]),
    ("Dose joined by", &["dose_link", "dose_source"]),
    ("Structures joined by", &["structure_link"]),
    ("Frame of reference", &["frame_link"]),
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
    ("Share in the dose grid in %", &["inside_grid_percent"]),
];

/// The cells of the row of which the key is so, as far as they are there, put together.
fn facts<'t, R: TableRow<'t>>(
    tables: &Tables,
    (key, wanted): (&str, &str),
    told: &[(&'static str, &[&str])],
) -> Facts {
    let Some(table) = tables.get(R::TABLE) else { return Facts::new() };
    let cell = |column: &str, row| table.cells(column).map_or(Cell::Missing, |c| c.at(row));
    let is_wanted = |row: &usize| cell(key, *row) == Cell::Text(wanted.into());
    let Some(row) = (0..table.height()).find(is_wanted) else { return Facts::new() };
    let mut facts = Facts::new();
    for (words, columns) in told {
        let mut cells: Vec<String> = Vec::new();
        for column in *columns {
            match cell(column, row) {
                Cell::Text(text) if !text.is_empty() => cells.push(text.into_owned()),
                Cell::Integer(number) => cells.push(number.to_string()),
                Cell::Real(number) => cells.push(plain(number)),
                Cell::Text(_) | Cell::Boolean(_) | Cell::Missing => {}
            }
        }
        if !cells.is_empty() {
            facts.push((words, cells.join(", ")));
        }
    }
    facts
}

/// Plan, structure set and each dose of the case, with the file that was read for it.
fn sources<'t>(tables: &'t Tables, plan_id: &str) -> Result<Vec<ObjectRead<'t>>, CellError> {
    let plans: Vec<PlanRow<'t>> = rows_where(tables, "plan_id", |p| p == plan_id)?;
    let Some(plan) = plans.first() else { return Ok(Vec::new()) };
    let files: Vec<FileRow<'t>> = rows(tables)?;
    let mut seen = BTreeSet::new();
    let mut sources = Vec::new();
    for (kind, ids) in [
        ("RT Plan", plan.plan_id),
        ("RT Structure Set", plan.structure_set_id),
        ("RT Dose", plan.dose_id),
    ] {
        for id in ids.split(' ').filter(|id| !id.is_empty()) {
            if !seen.insert(id) {
                continue;
            }
            // A case without a plan is named after its dose or structure set.
            let own = || files.iter().filter(|f| f.object_id == Some(id));
            if let Some(file) = own().find(|f| f.status == "read").or_else(|| own().next()) {
                let FileRow { file_id, sha256, .. } = file;
                sources.push(ObjectRead { kind, object_id: id, file_id, sha256 });
            }
        }
    }
    Ok(sources)
}

fn dose_point(row: &TraceRow<'_>) -> Option<DosePoint> {
    let index = row.voxel_plane.zip(row.voxel_row).zip(row.voxel_column);
    Some(DosePoint {
        position_mm: [row.x_mm?, row.y_mm?, row.z_mm?],
        dose_gy: row.dose_gy?,
        index: index.map(|((plane, row), column)| [plane, row, column]),
    })
}

fn terms<'t>(
    tables: &'t Tables,
    value: &MetricRow<'t>,
    dictionary: &[DictionaryRow<'t>],
) -> Result<Option<Terms<'t>>, CellError> {
    let bounds: Vec<BoundsRow<'t>> =
        rows_where(tables, "structure_id", |s| s == value.structure_id)?;
    let is_own = |b: &&BoundsRow<'_>| b.metric == value.metric && b.method == value.method;
    let Some(own) = bounds.iter().find(is_own) else { return Ok(None) };
    let Some(together) = own.together else { return Ok(None) };
    let square = |u: f64| if together > 0.0 { (u / together).powi(2) } else { 0.0 };
    let meaning = |column: &str| {
        let mut rows = dictionary.iter().filter(|d| d.table == "bounds" && d.column == column);
        rows.next().map_or("", |d| d.meaning)
    };
    let mut list: Vec<Term<'t>> = Vec::new();
    for (name, u) in own.terms() {
        if let Some(u) = u {
            list.push(Term { name, meaning: meaning(name), value: u, percent: 100.0 * square(u) });
        }
    }
    list.sort_by(|a, b| b.value.total_cmp(&a.value));
    let sides = [own.below, own.above].map(|side| side.unwrap_or(together));
    Ok(Some(Terms { list, together, sides }))
}

/// Findings about the structure, about one of the objects or files, and about the case as a whole.
fn findings<'t>(
    tables: &'t Tables,
    value: &MetricRow<'t>,
    sources: &[ObjectRead<'t>],
) -> Result<Vec<FindingAbout<'t>>, CellError> {
    let causes: Vec<FindingRow<'t>> = rows(tables)?;
    // A study of an earlier version has the causes alone, with the same columns.
    let details = tables.get("finding_details").or_else(|| tables.get("findings"));
    let details: Vec<FindingDetailRow<'t>> = details.map_or_else(|| Ok(Vec::new()), rows_of)?;
    let mut found = Vec::new();
    for row in details {
        let of_case = row.plan_id == Some(value.plan_id);
        let of_object = sources
            .iter()
            .any(|s| row.object_id == Some(s.object_id) || row.file_id == Some(s.file_id));
        let about = match row.roi_number {
            Some(n) if Some(n) == value.roi_number && (of_case || of_object) => "structure",
            None if of_object => "object",
            None if of_case => "case",
            Some(_) | None => continue,
        };
        let cause = causes.iter().rfind(|c| c.code == row.code);
        found.push(FindingAbout { about, consequence: cause.map_or("", |c| c.consequence), row });
    }
    Ok(found)
}
