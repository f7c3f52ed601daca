//! The bounds of one structure do not contradict each other: no D0.03cc above the largest dose, no
//! volume at 12 Gy above that at 10 Gy, in value and in both bounds. Over the whole cohort; solids of
//! known truth are in `truth::beside`.

use std::collections::BTreeMap;

use tidydose_metrics::{self as metrics, Outcome, Status};

use crate::measured::{Row, measured};

/// A quantity that falls along a line: a dose over the volume that receives it, a volume over the
/// dose. Told from the name alone, so that nothing of the program is trusted here.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Place {
    kind: &'static str,
    /// Share of the volume of the structure.
    share: f64,
    /// And so many cc, or Gy, or percent of the prescription.
    more: f64,
}

fn number(name: &str, before: &str, after: &str) -> Option<f64> {
    name.strip_prefix(before)?.strip_suffix(after)?.parse().ok()
}

fn place(name: &str) -> Option<Place> {
    let place = |kind, share, more| Some(Place { kind, share, more });
    match name {
        "Max[Gy]" => return place("dose", 0.0, 0.0),
        "Min[Gy]" => return place("dose", 1.0, 0.0),
        "Volume[cc]" => return place("V cc", 0.0, -1.0),
        _ => {}
    }
    let of = |before, after| number(name, before, after);
    if let Some(x) = of("D", "%[Gy]") {
        return place("dose", x / 100.0, 0.0);
    }
    if let Some(x) = of("D", "cc[Gy]").or(of("D", "mm3[Gy]").map(|x| x / 1000.0)) {
        return place("dose", 0.0, x);
    }
    if let Some(x) = of("DC", "cc[Gy]") {
        return place("dose", 1.0, -x);
    }
    for (kind, before, after) in [
        ("V cc", "V", "Gy[cc]"),
        ("V %", "V", "Gy[%]"),
        ("V at Rx", "V", "%[cc]"),
        ("V % at Rx", "V", "%[%]"),
        ("nearest", "V", "GyNearest[cc]"),
        ("island", "V", "GyIsland[cc]"),
        ("D % of Rx", "D", "%[%]"),
    ] {
        if let Some(x) = of(before, after) {
            return place(kind, 0.0, x);
        }
    }
    for (kind, before, after) in [("cold", "CV", "Gy[cc]"), ("cold %", "CV", "Gy[%]")] {
        if let Some(x) = of(before, after) {
            return place(kind, 0.0, -x);
        }
    }
    None
}

/// Texts of different decimal places, and sums of the same samples in another order.
const ROUNDING: f64 = 1e-9;

fn above(a: f64, b: f64) -> bool {
    a > b + ROUNDING * (a.abs() + b.abs())
}

/// What the outcomes of one structure contradict each other in; with the number of pairs that were
/// compared.
pub(crate) fn contradictions(outcomes: &BTreeMap<String, Outcome>) -> (Vec<String>, usize) {
    let mut found = Vec::new();
    for (name, o) in outcomes {
        let Some(value) = o.value else { continue };
        if o.low.is_some_and(|low| above(low, value)) || o.high.is_some_and(|h| above(value, h)) {
            found.push(format!("{name}: {value} is not in {:?} to {:?}", o.low, o.high));
        }
    }
    let volume = outcomes.get("Volume[cc]");
    let ends = volume.and_then(|v| Some([v.low?, v.high?])).unwrap_or([0.0, f64::INFINITY]);
    let placed: Vec<_> =
        outcomes.iter().filter_map(|(name, o)| Some((name, place(name)?, o.value?, o))).collect();
    let mut pairs = 0;
    for (a, at, value, one) in &placed {
        for (b, there, other_value, other) in &placed {
            // The volume of the structure is known within its bounds only.
            let order = |v: f64| (at.share - there.share) * v + (at.more - there.more) >= 0.0;
            if a == b || at.kind != there.kind || !ends.iter().all(|v| order(*v)) {
                continue;
            }
            pairs += 1;
            let part = [one, other].iter().any(|o| o.status == Status::Bound);
            let bounds = [(one.low, other.low), (one.high, other.high)];
            let broken = bounds.iter().any(|(x, y)| x.zip(*y).is_some_and(|(x, y)| above(x, y)));
            if broken || (above(*value, *other_value) && !part) {
                found.push(format!("{a} is above {b}: {one:?} {other:?}"));
            }
        }
    }
    (found, pairs)
}

fn outcome(row: &Row) -> Outcome {
    let number = |column: &str| row[column].parse::<f64>().ok();
    let (value, low, high) = (number("value"), number("low"), number("high"));
    let status = row["status"].parse::<Status>().unwrap();
    Outcome { value, low, high, status, reason: row["reason"].clone() }
}

#[test]
fn no_two_values_of_a_structure_contradict_each_other() {
    let mut structures: BTreeMap<String, BTreeMap<String, Outcome>> = BTreeMap::new();
    for row in measured().rows("metrics") {
        let own = structures.entry(row["structure_id"].clone()).or_default();
        own.insert(row["metric"].clone(), outcome(&row));
    }
    let (mut found, mut pairs) = (Vec::new(), 0);
    for (structure, outcomes) in &structures {
        let (list, n) = contradictions(outcomes);
        found.extend(list.into_iter().map(|text| format!("{structure} {text}")));
        pairs += n;
    }
    assert!(structures.len() > 150 && pairs > 15_000, "{} {pairs}", structures.len());
    found.truncate(10);
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// A limit on the largest dose is judged by the bounds that agree with the other values of its
/// structure, not by those that the point alone would have.
#[test]
fn a_limit_on_the_largest_dose_is_judged_by_bounds_that_agree() {
    let rows = measured().rows("metrics");
    let of = |structure: &str, metric: &str| {
        rows.iter().find(|r| r["structure_id"] == structure && r["metric"] == metric)
    };
    let (mut judged, mut held) = (0, 0);
    for check in measured().rows("limit_checks") {
        if check["metric"] != "Max[Gy]" || check["value"].is_empty() {
            continue;
        }
        let max = of(&check["structure_id"], "Max[Gy]").unwrap();
        for column in ["value", "low", "high"] {
            assert_eq!(check[column], max[column], "{column} of {check:?}");
        }
        judged += 1;
        let lows =
            of(&check["structure_id"], "D0.03cc[Gy]").map(|near| [&max["low"], &near["low"]]);
        if let Some([Ok(low), Ok(near)]) = lows.map(|ends| ends.map(|e| e.parse::<f64>())) {
            assert!(!above(near, low), "{near} is above {low}: {check:?}");
            held += 1;
        }
    }
    assert!(judged > 30 && held > 30, "{judged} {held}");
}

/// The rules above know every metric of the lists whose values can contradict another one.
#[test]
fn the_rules_know_the_metrics_that_lie_on_a_curve() {
    let known = metrics::standard().iter().filter(|m| place(&m.to_string()).is_some()).count();
    assert!(known > 50, "{known}");
}

#[test]
fn a_contradiction_is_seen() {
    let outcome = |value, low, high| Outcome { low: Some(low), high, ..Outcome::of(value) };
    let of = |list: &[(&str, Outcome)]| {
        let list: BTreeMap<_, _> = list.iter().map(|(n, o)| ((*n).to_owned(), o.clone())).collect();
        contradictions(&list)
    };
    let max = ("Max[Gy]", outcome(16.13, 1.99, Some(30.27)));
    let near = ("D0.03cc[Gy]", outcome(11.22, 11.20, Some(11.25)));
    assert_eq!(of(&[max, near.clone()]), (vec![], 0), "nothing is known without a volume");
    let volume = ("Volume[cc]", outcome(1.0, 0.9, Some(1.1)));
    let max = ("Max[Gy]", outcome(16.13, 1.99, Some(30.27)));
    let (found, pairs) = of(&[max, near.clone(), volume.clone()]);
    assert_eq!((found.len(), pairs), (1, 1), "{found:?}");
    let max = ("Max[Gy]", outcome(16.13, 11.20, Some(30.27)));
    assert_eq!(of(&[max, near, volume]), (vec![], 1));
    let wrong = ("PlanCoverage", outcome(1.000_001, 0.9, Some(1.0)));
    assert_eq!(of(&[wrong]).0.len(), 1);
}
