//! Bounds of one structure made to agree: of two values of which one cannot be larger than the other,
//! the bounds of each hold for both. What both hold of the truth stays held.
//!
//! So that a value has the same bounds whatever else was asked for, the values of the full list hold
//! each other ([`place::holds_others`]), and every further one lies between them.

use super::known::Known;
use tidydose_metrics::place::{self, Place, Unit};
use tidydose_metrics::{self as metrics, Metric, Outcome, Status, Subject};

/// Brings values and bounds of one structure into agreement.
pub(super) fn of_structure(values: &mut [Known], subject: &Subject<'_>) {
    let is_volume = |k: &&Known| std::ptr::eq(k.metric.definition, &metrics::VOLUME);
    let volume = values.iter().find(is_volume).map(|k| k.outcome.clone());
    let placed = values.iter_mut().map(|k| (k.metric, &mut k.outcome));
    agree(placed, subject, volume.as_ref());
}

/// Brings values and bounds of one region into agreement.
pub(super) fn of_region(rows: &mut [(Metric, Outcome)]) {
    let none = (Status::NotApplicable, "not a structure".to_owned());
    let placed = rows.iter_mut().map(|(metric, outcome)| (*metric, outcome));
    agree(placed, &Subject::new(0.0, Err(none)), None);
}

/// Numbers that differ by no more than this share differ by rounding.
const ROUNDING: f64 = 1e-12;

/// A value with its bounds in the unit of its curve.
#[derive(Debug, Clone, Copy)]
struct Numbers {
    low: f64,
    value: f64,
    high: f64,
}

impl Numbers {
    /// Takes what a value says that is not larger.
    const fn over(&mut self, other: &Self) {
        self.low = self.low.max(other.low);
    }

    /// Takes what a value says that is not smaller.
    const fn under(&mut self, other: &Self) {
        self.value = self.value.min(other.value);
        self.high = self.high.min(other.high);
    }
}

/// A metric on its curve.
struct Point<'a> {
    place: Place,
    /// Whether it holds the others of its curve.
    holds: bool,
    outcome: &'a mut Outcome,
    before: Numbers,
    now: Numbers,
}

impl<'a> Point<'a> {
    /// Absent without a value, and where the volume leaves open where the metric lies.
    fn of(
        metric: Metric,
        outcome: &'a mut Outcome,
        subject: &Subject<'_>,
        [least, most]: [f64; 2],
    ) -> Option<Self> {
        let place = (metric.definition.place)(subject, metric.argument)?;
        if place.switch_cc.is_some_and(|at| least < at && at <= most) {
            return None;
        }
        let value = outcome.value?;
        let low = outcome.low.unwrap_or(f64::NEG_INFINITY);
        let high = outcome.high.unwrap_or(f64::INFINITY);
        let [low, value, high] = match place.unit {
            Unit::Times(by) => [low * by, value * by, high * by],
            // Nothing is known of what lies below zero.
            Unit::Over(by) if low > 0.0 => [by / high, by / value, by / low],
            Unit::Over(by) => [by / high, by / value, f64::INFINITY],
        };
        let numbers = Numbers { low, value, high };
        let holds = place::holds_others(&metric);
        Some(Self { place, holds, outcome, before: numbers, now: numbers })
    }

    /// What the points of a set say of this one.
    fn among(&self, set: &[Self], volume_cc: [f64; 2]) -> Numbers {
        let mut numbers = self.now;
        for other in set {
            if other.place.is_below(&self.place, volume_cc) {
                numbers.over(&other.now);
            }
            if self.place.is_below(&other.place, volume_cc) {
                numbers.under(&other.now);
            }
        }
        numbers
    }

    /// The same, where the points of the set keep what they have: no bound of this one lies beyond
    /// that of a point above or below.
    fn between(&self, set: &[Self], volume_cc: [f64; 2]) -> Numbers {
        let mut numbers = self.among(set, volume_cc);
        let (mut ceiling, mut floor) = (f64::INFINITY, f64::NEG_INFINITY);
        for other in set {
            if other.place.is_below(&self.place, volume_cc) && other.now.high.is_finite() {
                floor = floor.max(other.now.high);
            }
            if self.place.is_below(&other.place, volume_cc) {
                ceiling = ceiling.min(other.now.low);
            }
        }
        numbers.low = numbers.low.min(ceiling);
        numbers.high = numbers.high.max(floor);
        numbers
    }

    /// Writes what has changed. A number that has not keeps its digits, and a bound that is not there,
    /// as that of a value of a part, is not made up.
    fn write(self) {
        let Self { place, outcome, before, now, .. } = self;
        let changed = |now: f64, before: f64| {
            let by = (now - before).abs();
            now.is_finite() && by > ROUNDING * (now.abs() + before.abs())
        };
        let own = |x: f64| match place.unit {
            Unit::Times(by) => x / by,
            Unit::Over(by) => by / x,
        };
        if changed(now.value, before.value) {
            outcome.value = Some(own(now.value));
        }
        let mut ends = [(now.low, before.low), (now.high, before.high)];
        if matches!(place.unit, Unit::Over(_)) {
            ends.reverse();
        }
        let [low, high] = ends.map(|(now, before)| changed(now, before).then(|| own(now)));
        let value = outcome.value;
        outcome.low = outcome.low.map(|old| low.unwrap_or(old)).zip(value).map(|(l, v)| l.min(v));
        outcome.high =
            outcome.high.map(|old| high.unwrap_or(old)).zip(value).map(|(h, v)| h.max(v));
    }
}

fn agree<'a>(
    values: impl Iterator<Item = (Metric, &'a mut Outcome)>,
    subject: &Subject<'_>,
    volume: Option<&Outcome>,
) {
    let of = |bound: fn(&Outcome) -> Option<f64>| volume.and_then(bound);
    let volume_cc =
        [of(|o| o.low).unwrap_or(subject.volume_cc), of(|o| o.high).unwrap_or(subject.volume_cc)];
    let points =
        values.filter_map(|(metric, outcome)| Point::of(metric, outcome, subject, volume_cc));
    let (mut holding, mut others): (Vec<Point<'_>>, Vec<Point<'_>>) = points.partition(|p| p.holds);
    for set in [&mut holding, &mut others] {
        let agreed: Vec<Numbers> = set.iter().map(|p| p.among(set, volume_cc)).collect();
        set.iter_mut().zip(agreed).for_each(|(point, numbers)| point.now = numbers);
    }
    for point in &mut others {
        point.now = point.between(&holding, volume_cc);
    }
    holding.into_iter().chain(others).for_each(Point::write);
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_metrics::parse;

    fn known(list: &[(&str, [f64; 3])]) -> Vec<Known> {
        let one = |(name, [low, value, high]): &(&str, [f64; 3])| Known {
            metric: parse(name).unwrap(),
            outcome: Outcome { low: Some(*low), high: Some(*high), ..Outcome::of(*value) },
            uncertainty: None,
        };
        list.iter().map(one).collect()
    }

    fn agreed(list: &[(&str, [f64; 3])]) -> Vec<[f64; 3]> {
        let mut values = known(list);
        let none = (Status::Unlinked, String::new());
        of_structure(&mut values, &Subject::new(1.0, Err(none)));
        let numbers = |o: &Outcome| [o.low.unwrap(), o.value.unwrap(), o.high.unwrap()];
        values.iter().map(|k| numbers(&k.outcome)).collect()
    }

    #[test]
    fn the_largest_dose_is_not_below_what_a_part_receives() {
        let volume = ("Volume[cc]", [0.9, 1.0, 1.1]);
        let max = ("Max[Gy]", [1.99, 16.13, 30.27]);
        let near = ("D0.03cc[Gy]", [11.20, 11.22, 11.25]);
        let got = agreed(&[volume, max, near]);
        assert_eq!(got[1..], [[11.20, 16.13, 30.27], [11.20, 11.22, 11.25]]);
        // 5 % are 0.045 to 0.055 cc, so that D5% lies below D0.03cc; D3% may lie on either side.
        let five = ("D5%[Gy]", [10.0, 11.0, 12.0]);
        assert_eq!(agreed(&[volume, near, five])[2], [10.0, 11.0, 11.25]);
        let three = ("D3%[Gy]", [10.0, 11.0, 12.0]);
        assert_eq!(agreed(&[volume, near, three])[2], [10.0, 11.0, 12.0]);
    }

    #[test]
    fn volumes_fall_with_dose_in_value_and_bounds() {
        let got = agreed(&[
            ("Volume[cc]", [0.9, 1.0, 1.1]),
            ("V10Gy[cc]", [0.3, 0.4, 0.9]),
            ("V12Gy[cc]", [0.35, 0.400_01, 0.8]),
        ]);
        assert_eq!(got[1..], [[0.35, 0.4, 0.9], [0.35, 0.4, 0.8]]);
    }

    /// A metric that the full list does not have takes from the others and gives them nothing, so
    /// that they are the same without it.
    #[test]
    fn what_was_asked_for_besides_changes_nothing_else() {
        let volume = ("Volume[cc]", [0.9, 1.0, 1.1]);
        let (ten, twelve) = (("V10Gy[cc]", [0.3, 0.4, 0.9]), ("V12Gy[cc]", [0.1, 0.3, 0.8]));
        let besides = ("V11Gy[cc]", [0.34, 0.35, 0.36]);
        let without = agreed(&[volume, ten, twelve]);
        let with = agreed(&[volume, ten, besides, twelve]);
        assert_eq!([with[0], with[1], with[3]], without[..]);
        // Between the low ends of its neighbours, and between their high ends.
        assert_eq!(with[2], [0.3, 0.35, 0.8]);
    }

    #[test]
    fn other_units_agree_too() {
        use tidydose_metrics::PrescriptionIsodoses;
        let none = || Err(String::new());
        let rx = PrescriptionIsodoses {
            dose_gy: 20.0,
            whole: none(),
            half: none(),
            penumbra: None,
            around: tidydose_metrics::local::Surroundings::default(),
        };
        let outside = (Status::Unlinked, String::new());
        let subject = Subject { prescription: Ok(&rx), ..Subject::new(1.0, Err(outside)) };
        let mut values = known(&[
            ("Volume[cc]", [0.9, 1.0, 1.1]),
            ("Max[Gy]", [10.0, 40.0, 50.0]),
            ("D0.03cc[Gy]", [30.0, 32.0, 33.0]),
            ("PrescriptionIsodose[%]", [40.0, 50.0, 200.0]),
            ("RTOGHomogeneity", [0.5, 2.0, 2.5]),
        ]);
        of_structure(&mut values, &subject);
        let bounds = |i: usize| (values[i].outcome.low.unwrap(), values[i].outcome.high.unwrap());
        assert_eq!(bounds(1), (30.0, 50.0));
        // 20 Gy over 30 Gy.
        assert_eq!(bounds(3), (40.0, 100.0 * 20.0 / 30.0));
        assert_eq!(bounds(4), (1.5, 2.5));
    }

    #[test]
    fn a_lower_bound_stays_one() {
        let mut values = known(&[("Volume[cc]", [0.9, 1.0, 1.1]), ("V10Gy[cc]", [0.3, 0.4, 0.5])]);
        values[1].outcome = Outcome { low: Some(0.3), ..Outcome::at_least(0.4, "cut") };
        let none = (Status::Unlinked, String::new());
        of_structure(&mut values, &Subject::new(1.0, Err(none)));
        let o = &values[1].outcome;
        assert_eq!((o.status, o.low, o.high), (Status::Bound, Some(0.3), None));
    }
}
