//! A worksheet for a blind check against planning reports: for each metric that decides something a
//! random sample of its values, and behind them the extremes. It does not show what was measured; that
//! is joined afterwards by the keys of its rows. A second form names patient, date and structure as the
//! hospital knows them, so that the report is found; it belongs into the folder of the key.

use std::collections::{BTreeMap, BTreeSet};

use super::agreement::{EXTREME, RANDOM};
use super::{Study, number, sheet, word};
use tidydose_statistics::bootstrap::draw_without;
use tidydose_table::Cell;
use tidydose_table::frame::texts;
use tidydose_table::read::{MetricRow, Role, Status};
use tidydose_table::user::outcome_sheet::StudyNames;
use tidydose_table::user::user_file::BYTE_ORDER_MARK;
use tidydose_table::user::worksheet::COLUMNS;

/// Whose values are asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Whose {
    Targets,
    Organs,
    TargetsAndOrgans,
    /// The brain, and all that the dose covers: what a report calls the volume of an isodose.
    BrainAndAllTissue,
}

/// What decides in practice and a planning system states: volumes, the largest dose of organs, the
/// volume that goes with necrosis, how the prescription covers and fits the target.
const ASKED: [(&str, Whose); 5] = [
    ("Volume[cc]", Whose::TargetsAndOrgans),
    ("D0.03cc[Gy]", Whose::Organs),
    ("V12Gy[cc]", Whose::BrainAndAllTissue),
    ("Coverage", Whose::Targets),
    ("PaddickConformity", Whose::Targets),
];

/// A random value in so many.
const ONE_IN: usize = 20;
/// Random values of each metric, where it has so many: limits of agreement of fewer are wide.
const LEAST: usize = 20;

/// Columns by which the hospital finds a report; the columns of the sheet follow.
const HOSPITAL: [&str; 8] = [
    "hospital_id",
    "plan_label",
    "plan_date",
    "technology",
    "prescription_gy",
    "fractions",
    "course",
    "structure_in_plan",
];

/// A row of the sheet: its place in table metrics, and why it is there.
type Chosen = (usize, &'static str);

/// The worksheet, random rows first.
pub(super) fn worksheet(study: &Study<'_>, included: &BTreeSet<String>) -> Vec<u8> {
    let chosen = chosen(study, included);
    let rows = chosen.iter().map(|c| cells(study, *c)).collect();
    // People fill it in with a spreadsheet.
    [BYTE_ORDER_MARK, &sheet(COLUMNS, rows)].concat()
}

/// The same rows with what the hospital calls patient, plan and structure. It names patients.
pub(super) fn hospital_worksheet(
    study: &Study<'_>,
    included: &BTreeSet<String>,
    names: &StudyNames,
) -> Vec<u8> {
    let drawn = texts(study.structure_table, "name_original");
    let drawn = study.structures.iter().map(|s| s.structure_id).zip(drawn);
    let drawn: BTreeMap<&str, &str> = drawn.filter_map(|(id, name)| Some((id, name?))).collect();
    let rows = chosen(study, included).into_iter().map(|(place, why)| {
        let mut row = of_hospital(study, &study.metrics[place], &drawn, names);
        row.extend(cells(study, (place, why)));
        row
    });
    let columns: Vec<&str> = HOSPITAL.iter().chain(COLUMNS).copied().collect();
    [BYTE_ORDER_MARK, &sheet(&columns, rows.collect())].concat()
}

fn of_hospital(
    study: &Study<'_>,
    row: &MetricRow<'_>,
    drawn: &BTreeMap<&str, &str>,
    names: &StudyNames,
) -> Vec<Cell<'static>> {
    let plan = study.plans.iter().find(|p| p.plan_id == row.plan_id);
    let date = plan.and_then(|p| names.date(p.patient_id, p.day()?));
    let whole = |n: Option<i64>| n.map_or(Cell::Missing, Cell::Integer);
    vec![
        word(names.hospital_id(row.patient_id).unwrap_or(row.patient_id)),
        word(names.plan_label(row.plan_id).unwrap_or("")),
        word(&date.map(|d| d.to_string()).unwrap_or_default()),
        word(plan.map_or("", |p| p.technology)),
        plan.and_then(|p| p.prescription_dose_gy).map_or(Cell::Missing, number),
        whole(plan.and_then(|p| p.fractions_planned)),
        whole(plan.and_then(|p| p.course)),
        word(drawn.get(row.structure_id).copied().unwrap_or(row.structure)),
    ]
}

fn cells(study: &Study<'_>, (place, why): Chosen) -> Vec<Cell<'static>> {
    let row = &study.metrics[place];
    let keys = [row.patient_id, row.plan_id, row.structure_id, row.structure];
    let mut cells: Vec<Cell<'static>> = keys.map(word).to_vec();
    cells.extend([row.metric, row.unit, why].map(word));
    cells.resize(COLUMNS.len(), Cell::Missing);
    cells
}

/// All rows of the sheet: those drawn at random in the order of the tables, then the extremes that were
/// not drawn. A row that was drawn counts as random whatever its value: a random sample without its
/// extremes would be none.
fn chosen(study: &Study<'_>, included: &BTreeSet<String>) -> Vec<Chosen> {
    let mut random: BTreeSet<usize> = BTreeSet::new();
    let mut ends: BTreeMap<usize, &'static str> = BTreeMap::new();
    for asked in ASKED {
        let rows: Vec<usize> = (0..study.metrics.len())
            .filter(|place| is_asked(study, included, *place, asked))
            .collect();
        let size = LEAST.max(rows.len().div_ceil(ONE_IN));
        random.extend(draw_without(rows.len(), size).into_iter().map(|i| rows[i]));
        ends.extend(extremes(study, &rows));
    }
    let mut out: Vec<Chosen> = random.iter().map(|place| (*place, RANDOM)).collect();
    out.extend(ends.into_iter().filter(|(place, _)| !random.contains(place)));
    out
}

fn is_asked(
    study: &Study<'_>,
    included: &BTreeSet<String>,
    place: usize,
    (metric, whose): (&str, Whose),
) -> bool {
    let row = &study.metrics[place];
    let target = row.role.is_some_and(Role::is_target);
    let organ = row.role == Some(Role::Organ);
    let theirs = match whose {
        Whose::Targets => target,
        Whose::Organs => organ,
        Whose::TargetsAndOrgans => target || organ,
        Whose::BrainAndAllTissue => {
            (organ && row.structure == "Brain") || row.structure == "all tissue"
        }
    };
    theirs
        && row.metric == metric
        && row.status == Status::Ok
        && row.value.is_some()
        && !row.structure_id.is_empty()
        && included.contains(row.plan_id)
}

/// Rows with the least and the largest value of each organ and of the targets together.
fn extremes(study: &Study<'_>, rows: &[usize]) -> Vec<Chosen> {
    let mut ends: BTreeMap<&str, [(f64, usize); 2]> = BTreeMap::new();
    for place in rows {
        let row = &study.metrics[*place];
        let Some(value) = row.value else { continue };
        let target = row.role.is_some_and(Role::is_target);
        let end = (value, *place);
        let own = ends.entry(if target { "" } else { row.structure }).or_insert([end, end]);
        if value < own[0].0 {
            own[0] = end;
        }
        if value > own[1].0 {
            own[1] = end;
        }
    }
    let [least, largest] = EXTREME;
    ends.into_values().flat_map(|[low, high]| [(low.1, least), (high.1, largest)]).collect()
}
