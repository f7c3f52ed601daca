//! What a value would be if its structure lay elsewhere or were larger or smaller: words for the rows of
//! table `sensitivity`, and whether one of them takes a value beyond its limit. Beside the numerical
//! bounds, never among them.

use super::number::{plain, rounded, spaced};
use tidydose_table::read::{LimitCheckRow, SensitivityRow};

/// Heading of what shifts and margins do.
pub(super) const HEADING: &str = "With the structure elsewhere, larger or smaller";
/// What to mind about them.
pub(super) const NOTE: &str = "Not in the bounds above: what the value would be in the same dose if the \
    structure lay so far off (14 directions) or were larger or smaller all around, as doubt about frames \
    of reference and delineation asks.";

/// What stands over each column of them.
pub(super) const HEADS: [&str; 5] =
    ["what", "mm", "mean, or the value", "worst", "lowest to highest"];

/// One shift or margin.
pub(super) fn cells(row: &SensitivityRow<'_>) -> Vec<String> {
    let short = |x: Option<f64>| x.map_or_else(|| "-".to_owned(), rounded);
    let worst = match (row.worst, row.worst_direction) {
        (Some(_), Some(way)) => format!("{} to {}", short(row.worst), spaced(way)),
        _ => short(row.worst),
    };
    let range = match (row.lowest, row.highest) {
        (Some(low), Some(high)) => format!("{} to {}", rounded(low), rounded(high)),
        _ if row.reason.is_empty() => "-".to_owned(),
        _ => format!("{}: {}", spaced(row.status.word()), row.reason),
    };
    vec![spaced(row.kind), plain(row.by_mm), short(row.average), worst, range]
}

/// What the shifts and margins of the limited value say about its limit, the smallest that takes it
/// beyond; nothing where it is beyond already, or where value or limit are not known.
pub(super) fn about_limit(
    rows: &[SensitivityRow<'_>],
    check: &LimitCheckRow<'_>,
) -> Option<String> {
    let limit = check.limit_value?;
    // A limit with `<` is reached at equality, one with `<=` only above.
    let is_beyond = |x: f64| if check.operator == "<" { x >= limit } else { x > limit };
    if is_beyond(check.value?) {
        return None;
    }
    let own =
        rows.iter().filter(|r| r.structure_id == check.structure_id && r.metric == check.metric);
    let mut tested: Vec<(&SensitivityRow<'_>, f64)> =
        own.filter_map(|r| Some((r, r.worst.or(r.average)?))).collect();
    tested.sort_by(|(a, _), (b, _)| a.by_mm.abs().total_cmp(&b.by_mm.abs()));
    let words = format!("{} {} {}", check.operator, plain(limit), check.unit);
    let Some((first, value)) = tested.iter().find(|(_, value)| is_beyond(*value)) else {
        return (!tested.is_empty())
            .then(|| format!("It stays {words} in every shift and margin that was tested."));
    };
    let way = match first.worst_direction {
        Some(way) => format!("moved by {} mm to {}", plain(first.by_mm), spaced(way)),
        None => format!("with a {} of {} mm", spaced(first.kind), plain(first.by_mm)),
    };
    Some(format!("It is {words}, but {} {} {way}.", rounded(*value), check.unit))
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_table::read::{Status, Verdict};

    fn row(kind: &'static str, by_mm: f64, worst: f64) -> SensitivityRow<'static> {
        let is_shift = kind == "shift";
        SensitivityRow {
            structure_id: "p/1",
            metric: "D0.03cc[Gy]",
            kind,
            by_mm,
            average: Some(if is_shift { 10.0 } else { worst }),
            worst: is_shift.then_some(worst),
            worst_direction: is_shift.then_some("front_left"),
            lowest: None,
            highest: None,
            status: Status::Ok,
            reason: "",
        }
    }

    fn check(operator: &'static str, value: f64) -> LimitCheckRow<'static> {
        LimitCheckRow {
            plan_id: "p",
            structure_id: "p/1",
            structure: "Brainstem",
            metric: "D0.03cc[Gy]",
            operator,
            limit_value: Some(12.0),
            unit: "Gy",
            limit_fractions: "1",
            tier: None,
            limit_source: "",
            evidence: "",
            checked: None,
            endpoint: "",
            stated_risk: "",
            limit_note: "",
            value: Some(value),
            low: None,
            high: None,
            margin: Some(12.0 - value),
            verdict: Verdict::Within,
            reason: "",
            judge_clinically: None,
            target_inside_percent: None,
        }
    }

    #[test]
    fn the_smallest_that_takes_it_beyond_is_named() {
        let rows = [row("shift", 1.0, 13.25), row("shift", 0.5, 12.0), row("margin", 0.7, 12.5)];
        let words = |operator, value| about_limit(&rows, &check(operator, value));
        let at_limit = "It is < 12 Gy, but 12.0 Gy moved by 0.5 mm to front left.";
        assert_eq!(words("<", 11.0).as_deref(), Some(at_limit));
        let above = "It is <= 12 Gy, but 12.5 Gy with a margin of 0.7 mm.";
        assert_eq!(words("<=", 11.0).as_deref(), Some(above), "12 Gy is not above 12 Gy");
        assert_eq!(words("<=", 12.1), None, "it is beyond as it lies");
        let within = about_limit(&rows[1..2], &check("<=", 11.0));
        let stays = "It stays <= 12 Gy in every shift and margin that was tested.";
        assert_eq!(within.as_deref(), Some(stays));
        assert_eq!(about_limit(&[], &check("<=", 11.0)), None);
    }
}
