//! One quantity by group and against the volume of the target, panels by number of fractions: every
//! value is a mark, a box stands only where there are enough, and case mix is seen beside the groups.

use std::collections::BTreeMap;

use super::{Drawn, Source, named, too_small};
use crate::measures::{Measured, Observed, Quantity, fraction_words};
use crate::{counted, number, sheet, word};
use tidydose_figure::{Axis, Figure, Layer, Look, panels};
use tidydose_statistics::describe::summary;
use tidydose_statistics::real;
use tidydose_table::Cell;
use tidydose_table::run::CAUTION;

/// Values from which on a group has a stroke at its median.
const LEAST: usize = 5;
/// Values from which on it has a box.
const MANY: usize = 20;
/// Values from which on they are drawn against the volume of the target.
const FEW: usize = 3;
/// Places beside each other among which the marks of a group are spread.
const LANES: usize = 7;

const COLUMNS: &[&str] =
    &["patient_id", "plan_id", "subject", "group", "fractions", "target_volume_cc", "value"];

/// The figure; none without a value.
pub(super) fn figure(source: &Source<'_>, quantity: &Quantity, all: &Measured) -> Option<Drawn> {
    if all.values.is_empty() {
        return None;
    }
    let y = axis(quantity, all);
    // One axis for all panels: they are compared by eye.
    let x = volumes(all);
    let mut figures = Vec::new();
    for fractions in all.fractions() {
        let values: Vec<&Observed> = all.of_fractions(fractions).collect();
        figures.push(by_group(source, fractions, &values, &y));
        if values.iter().filter(|o| o.target_cc.is_some()).count() >= FEW {
            figures.push(by_volume(source, fractions, &values, [&x, &y]));
        }
    }
    let patients = all.values.iter().map(|o| o.patient.as_str());
    let patients = patients.collect::<std::collections::BTreeSet<_>>().len();
    let without = if all.without.is_empty() {
        format!("No {} is without a value.", quantity.grain())
    } else {
        format!("Without a value: {}.", all.without_words())
    };
    let mut groups: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for o in &all.values {
        *groups.entry((&o.fractions, &o.group)).or_default() += 1;
    }
    let small = too_small(&groups, LEAST, "a median");
    let caption = format!(
        "{} of {} of {}, by group, and against the volume of the target (all targets of a plan \
         together for a quantity of the plan), panels by number of fractions. Every value is a mark; \
         stroke: median, from {LEAST} values on; box: quartiles, from {MANY} on.{small} {without}",
        quantity.clinical(),
        counted(all.values.len(), quantity.grain()),
        counted(patients, "patient"),
    );
    Some(Drawn {
        name: format!("spread_{}", quantity.plain()),
        svg: panels(
            &format!("{} by group", quantity.clinical()),
            &format!("{} of marks.", counted(figures.len(), "panel")),
            &figures,
            CAUTION,
        ),
        csv: table(all),
        caption,
    })
}

fn axis(quantity: &Quantity, all: &Measured) -> Axis {
    let values = || all.values.iter().map(|o| o.value);
    let highest = values().fold(0.0, f64::max);
    if quantity.log {
        // Not positive stands at the low end.
        let least = values().filter(|v| *v > 0.0).fold(f64::INFINITY, f64::min);
        let least = if least.is_finite() { least } else { 0.01 };
        return Axis::log(&quantity.clinical(), 0.8 * least, 1.25 * highest.max(least));
    }
    Axis::new(&quantity.clinical(), 0.0, 1.05 * highest)
}

fn by_group(source: &Source<'_>, fractions: &str, values: &[&Observed], y: &Axis) -> Figure {
    let there: Vec<&str> =
        source.groups.iter().copied().filter(|g| values.iter().any(|o| o.group == *g)).collect();
    let mut layers = Vec::new();
    let mut names = Vec::new();
    for (place, group) in there.iter().enumerate() {
        let own: Vec<f64> = values.iter().filter(|o| o.group == *group).map(|o| o.value).collect();
        names.push(format!("{} ({})", named(group), own.len()));
        layers.push(Layer::Points { points: spread(&own, real(place)), look: source.look(group) });
        if let Ok(s) = summary(&own)
            && own.len() >= LEAST
        {
            let quartiles = (own.len() >= MANY).then_some((s.lower, s.upper));
            layers.push(Layer::Box { x: real(place), half: 0.34, quartiles, median: s.median });
        }
    }
    Figure {
        title: format!("{}, by group", fraction_words(fractions)),
        description: String::new(),
        x: Axis::names("", names),
        y: y.clone(),
        layers,
        legend: Vec::new(),
        below: Vec::new(),
        foot: String::new(),
    }
}

/// Places of the values of a group: neighbours by value stand in different lanes.
fn spread(values: &[f64], centre: f64) -> Vec<(f64, f64)> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = real(LANES - 1) / 2.0;
    let lane = |i: usize| {
        // Every third lane in turn, so that neighbours stand apart.
        if values.len() == 1 { 0.0 } else { (real(i * 3 % LANES) - middle) / middle }
    };
    sorted.into_iter().enumerate().map(|(i, v)| (centre + 0.25 * lane(i), v)).collect()
}

/// The axis of volumes of the target.
fn volumes(all: &Measured) -> Axis {
    let volumes = || all.values.iter().filter_map(|o| o.target_cc).filter(|v| *v > 0.0);
    let low = volumes().fold(f64::INFINITY, f64::min);
    let high = volumes().fold(0.0, f64::max);
    Axis::log("Target volume (cm³)", low / 1.6, 1.6 * high)
}

fn by_volume(
    source: &Source<'_>,
    fractions: &str,
    values: &[&Observed],
    [x, y]: [&Axis; 2],
) -> Figure {
    let there: Vec<&str> =
        source.groups.iter().copied().filter(|g| values.iter().any(|o| o.group == *g)).collect();
    let layer = |group: &&str| {
        let own = values.iter().filter(|o| o.group == **group);
        let points = own.filter_map(|o| Some((o.target_cc.filter(|v| *v > 0.0)?, o.value)));
        let mut points: Vec<(f64, f64)> = points.collect();
        // Not by pseudonym: the same plans give the same figure under any key.
        points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        Layer::Points { points, look: source.look(group) }
    };
    let legend: Vec<(Look, String)> = there.iter().map(|g| (source.look(g), named(g))).collect();
    Figure {
        title: format!("{}, against target volume", fraction_words(fractions)),
        description: String::new(),
        x: x.clone(),
        y: y.clone(),
        layers: there.iter().map(layer).collect(),
        legend,
        below: Vec::new(),
        foot: String::new(),
    }
}

fn table(all: &Measured) -> Vec<u8> {
    let rows = all.values.iter().map(|o| {
        let mut row: Vec<Cell<'static>> =
            [&o.patient, &o.plan, &o.subject, &o.group, &o.fractions].map(|t| word(t)).to_vec();
        row.extend([number(o.target_cc.unwrap_or(f64::NAN)), number(o.value)]);
        row
    });
    sheet(COLUMNS, rows.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_keep_their_value_and_stay_in_their_group() {
        let places = spread(&[3.0, 1.0, 2.0, 2.0], 1.0);
        let values: Vec<f64> = places.iter().map(|p| p.1).collect();
        assert_eq!(values, [1.0, 2.0, 2.0, 3.0]);
        assert!(places.iter().all(|p| (0.7..=1.3).contains(&p.0)));
        assert!(places[1].0 != places[2].0, "equal values stand apart");
        assert_eq!(spread(&[5.0], 2.0), [(2.0, 5.0)]);
    }
}
