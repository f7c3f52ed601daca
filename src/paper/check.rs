//! A worksheet for a blind check against planning reports: a random twentieth of the plans and all
//! extremes. It does not show what was measured; that is joined afterwards by the keys of its rows.

use std::collections::{BTreeMap, BTreeSet};

use super::{Study, sheet, word};
use tidydose_statistics::bootstrap::draw_without;
use tidydose_table::Cell;
use tidydose_table::read::{MetricRow, Role, Status};
use tidydose_table::user::user_file::BYTE_ORDER_MARK;
use tidydose_table::user::worksheet::COLUMNS;

/// What a planning report usually states.
const METRICS: [&str; 3] = ["Volume[cc]", "Max[Gy]", "Mean[Gy]"];
/// A random plan in so many.
const ONE_IN: usize = 20;

/// The worksheet.
pub(super) fn worksheet(study: &Study<'_>, included: &BTreeSet<String>) -> Vec<u8> {
    let plans: Vec<&String> = included.iter().collect();
    let size = plans.len().div_ceil(ONE_IN);
    let random: BTreeSet<&str> =
        draw_without(plans.len(), size).into_iter().map(|i| plans[i].as_str()).collect();
    let extremes = extremes(study, included);
    let mut rows = Vec::new();
    for (number, row) in study.metrics.iter().enumerate().filter(|(_, row)| is_stated(row)) {
        let why = match (random.contains(row.plan_id), extremes.get(&number)) {
            (_, Some(which)) => *which,
            (true, None) => "random",
            (false, None) => continue,
        };
        let keys = [row.patient_id, row.plan_id, row.structure_id, row.structure];
        let mut cells: Vec<Cell<'static>> = keys.map(word).to_vec();
        cells.extend([row.metric, row.unit, why].map(word));
        cells.resize(COLUMNS.len(), Cell::Missing);
        rows.push(cells);
    }
    // People fill it in with a spreadsheet.
    [BYTE_ORDER_MARK, &sheet(COLUMNS, rows)].concat()
}

/// Whether a planning report states such a value.
fn is_stated(row: &MetricRow<'_>) -> bool {
    !row.structure_id.is_empty() && row.status == Status::Ok && METRICS.contains(&row.metric)
}

/// Rows with the least and the largest value of each structure name and metric.
fn extremes(study: &Study<'_>, included: &BTreeSet<String>) -> BTreeMap<usize, &'static str> {
    let mut ends: BTreeMap<(&str, &str), [(f64, usize); 2]> = BTreeMap::new();
    for (number, row) in study.metrics.iter().enumerate().filter(|(_, row)| is_stated(row)) {
        let Some(value) = row.value.filter(|_| included.contains(row.plan_id)) else { continue };
        let name = if row.role == Some(Role::Organ) { row.structure } else { row.role_word() };
        let end = (value, number);
        let own = ends.entry((name, row.metric)).or_insert([end, end]);
        if value < own[0].0 {
            own[0] = end;
        }
        if value > own[1].0 {
            own[1] = end;
        }
    }
    let named = ends.values().flat_map(|[low, high]| [(low.1, "least"), (high.1, "largest")]);
    named.collect()
}
