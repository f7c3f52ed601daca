//! A worksheet for a blind check against planning reports: a random twentieth of the plans and all
//! extremes. It does not show what was measured; that is joined afterwards by the keys of its rows.

use std::collections::{BTreeMap, BTreeSet};

use super::{Study, sheet, word};
use tidydose_statistics::bootstrap::draw_without;
use tidydose_table::Cell;
use tidydose_table::user::user_file::BYTE_ORDER_MARK;
use tidydose_table::user::worksheet::COLUMNS;

/// What a planning report usually states.
const METRICS: [&str; 3] = ["Volume[cc]", "Max[Gy]", "Mean[Gy]"];
/// A random plan in so many.
const ONE_IN: usize = 20;

/// The worksheet.
pub(super) fn worksheet(study: &Study, included: &BTreeSet<String>) -> Vec<u8> {
    let plans: Vec<&String> = included.iter().collect();
    let size = plans.len().div_ceil(ONE_IN);
    let random: BTreeSet<&str> =
        draw_without(plans.len(), size).into_iter().map(|i| plans[i].as_str()).collect();
    let extremes = extremes(study, included);
    let mut rows = Vec::new();
    for r in 0..study.metrics.count() {
        let text = |name| study.metrics.text(r, name).unwrap_or_default();
        let (plan, metric) = (text("plan_id"), text("metric"));
        if text("structure_id").is_empty() || text("status") != "ok" || !METRICS.contains(&metric) {
            continue;
        }
        let why = match (random.contains(plan), extremes.get(&r)) {
            (_, Some(which)) => *which,
            (true, None) => "random",
            (false, None) => continue,
        };
        let keys = ["patient_id", "plan_id", "structure_id", "structure", "metric", "unit"];
        let mut row: Vec<Cell<'static>> = keys.map(|k| word(text(k))).to_vec();
        row.push(word(why));
        row.resize(COLUMNS.len(), Cell::Missing);
        rows.push(row);
    }
    // People fill it in with a spreadsheet.
    [BYTE_ORDER_MARK, &sheet(COLUMNS, rows)].concat()
}

/// Rows with the least and the largest value of each structure name and metric.
fn extremes(study: &Study, included: &BTreeSet<String>) -> BTreeMap<usize, &'static str> {
    let mut ends: BTreeMap<(&str, &str), [(f64, usize); 2]> = BTreeMap::new();
    for r in 0..study.metrics.count() {
        let text = |name| study.metrics.text(r, name).unwrap_or_default();
        let wanted = included.contains(text("plan_id"))
            && METRICS.contains(&text("metric"))
            && text("status") == "ok"
            && !text("structure_id").is_empty();
        let Some(value) = study.metrics.real(r, "value").filter(|_| wanted) else { continue };
        let role = text("role");
        let name = if role == "organ" { text("structure") } else { role };
        let own = ends.entry((name, text("metric"))).or_insert([(value, r), (value, r)]);
        if value < own[0].0 {
            own[0] = (value, r);
        }
        if value > own[1].0 {
            own[1] = (value, r);
        }
    }
    let named = ends.values().flat_map(|[low, high]| [(low.1, "least"), (high.1, "largest")]);
    named.collect()
}
