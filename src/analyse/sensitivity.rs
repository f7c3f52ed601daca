//! What a value would be if a structure lay elsewhere, or were larger or smaller, by as much as frames and
//! masks are accurate: the structure moves, the dose and its isodoses stay. No numerical bound, and never
//! mixed with one: bounds say how well a value is computed, this says how much it hangs on a millimetre.
//!
//! A shift is computed in [`Direction::ALL`], along the axes of the patient and halfway between three
//! of them. The mean over them is that of Lebedev's rule of 14 points (weights 1/15 and 3/40, exact to the
//! fifth degree; from memory, and checked in the tests). No direction is farther than 36.2° from one of
//! them, so that in a dose with one slope the worst of all directions changes a value by up to 1.24 times
//! what the worst of these does. A margin moves the surface along its own normal.
//!
//! All are compared in coarse cells with the same solid as it is, and the differences added to the value.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use strum::{IntoStaticStr, VariantNames};

use super::bounds::{MetricInputs, View, coarse_cells, coarse_view};
use super::rows::{Word, word};
use super::settings::{Ends, Settings};
use super::structure::Solid;
use tidydose_dose::DoseField;
use tidydose_geometry::body::Body;
use tidydose_geometry::offset::offset;
use tidydose_geometry::{Occupancy, Point};
use tidydose_metrics::{Metric, Need, Outcome, Status, Worse};

/// What is done to a structure.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Serialize,
    Deserialize,
    IntoStaticStr,
    VariantNames,
)]
#[strum(serialize_all = "lowercase")]
pub enum Motion {
    /// It is moved as it is.
    Shift,
    /// Its surface is moved outward, or inward by a negative length.
    Margin,
}

impl Motion {
    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// A motion with its length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moving {
    pub(super) motion: Motion,
    /// How far, mm.
    pub(super) mm: f64,
}

impl Moving {
    /// Every one that is asked for, in the order of the tables.
    pub(super) fn all(settings: &Settings) -> Vec<Self> {
        let shifts = settings.shifts_mm.iter().map(|mm| Self { motion: Motion::Shift, mm: *mm });
        let margins = settings.margins_mm.iter().map(|mm| Self { motion: Motion::Margin, mm: *mm });
        shifts.chain(margins).collect()
    }

    fn words(self) -> String {
        format!("{} of {} mm", self.motion.word(), self.mm)
    }
}

/// A direction of the patient: the signs of steps to the left, posterior and superior.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Direction([i8; 3]);

impl Direction {
    /// Both ways of each axis, then the eight corners between them.
    pub const ALL: [Self; 14] = [
        Self([1, 0, 0]),
        Self([-1, 0, 0]),
        Self([0, 1, 0]),
        Self([0, -1, 0]),
        Self([0, 0, 1]),
        Self([0, 0, -1]),
        Self([1, 1, 1]),
        Self([1, 1, -1]),
        Self([1, -1, 1]),
        Self([1, -1, -1]),
        Self([-1, 1, 1]),
        Self([-1, 1, -1]),
        Self([-1, -1, 1]),
        Self([-1, -1, -1]),
    ];

    fn steps(self) -> u8 {
        self.0.iter().map(|step| step.unsigned_abs()).sum()
    }

    /// The vector of this length, patient coordinates, mm.
    pub(super) fn vector(self, mm: f64) -> Point {
        self.0.map(|step| f64::from(step) * mm / f64::from(self.steps()).sqrt())
    }

    /// Its part in the mean over the sphere.
    fn weight(self) -> f64 {
        if self.steps() == 1 { 1.0 / 15.0 } else { 3.0 / 40.0 }
    }

    /// In words, as `left-anterior-superior`.
    #[must_use]
    pub fn words(self) -> String {
        let names = [["right", "left"], ["anterior", "posterior"], ["inferior", "superior"]];
        let steps = self.0.iter().zip(names).filter(|(step, _)| **step != 0);
        steps
            .map(|(step, [back, on])| if *step > 0 { on } else { back })
            .collect::<Vec<_>>()
            .join("-")
    }
}

/// By how much a value changes at most in one way, in the unit of the value.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Extreme {
    change: f64,
    /// Absent for a margin, and where nothing changes the value.
    direction: Option<Direction>,
}

/// What a motion changes of one value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Swing {
    average: f64,
    lowest: Extreme,
    highest: Extreme,
    /// Why a moved value is one-sided; empty where it is not.
    bound: String,
}

/// A swing, or the outcome that stands for it.
pub(super) type Swung = Result<Swing, Outcome>;

/// One row: a value of a structure with what it would be after a motion.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sensitivity {
    /// ROI Number of the structure.
    pub roi_number: i64,
    /// Metric, as in [`super::rows::Measurement`].
    pub metric: String,
    /// Unit symbol.
    #[serde(deserialize_with = "word")]
    pub unit: Word,
    /// What is done.
    pub motion: Motion,
    /// How far, mm; negative for shrinking.
    pub mm: f64,
    /// The value as it is measured.
    pub value: Option<f64>,
    /// Mean over all directions; for a margin the value with it.
    pub average: Option<f64>,
    /// Smallest value, and in which direction of a shift.
    pub lowest: Option<f64>,
    /// See `lowest`.
    pub lowest_direction: Option<Direction>,
    /// Largest value, and in which direction of a shift.
    pub highest: Option<f64>,
    /// See `highest`.
    pub highest_direction: Option<Direction>,
    /// Which of the two is worse; absent where neither is.
    pub worse: Option<Worse>,
    /// Why there is or is not a value.
    pub status: Status,
    /// The reason in words; empty when ok.
    pub reason: String,
}

impl Sensitivity {
    /// The worse of smallest and largest; absent where neither is worse.
    #[must_use]
    pub fn worst(&self) -> Option<f64> {
        match self.worse? {
            Worse::Lower => self.lowest,
            Worse::Higher => self.highest,
        }
    }

    /// Takes all numbers away.
    pub(super) fn refuse(&mut self, reason: String) {
        (self.value, self.average, self.lowest, self.highest) = (None, None, None, None);
        (self.lowest_direction, self.highest_direction) = (None, None);
        (self.status, self.reason) = (Status::Excluded, reason);
    }

    /// In which direction that is.
    #[must_use]
    pub fn worst_direction(&self) -> Option<Direction> {
        match self.worse? {
            Worse::Lower => self.lowest_direction,
            Worse::Higher => self.highest_direction,
        }
    }
}

/// The row of a value.
pub(super) fn row(
    roi_number: i64,
    of: (&Metric, &Outcome, bool),
    moving: Moving,
    swung: &Swung,
) -> Sensitivity {
    let (metric, outcome, in_target) = of;
    let definition = metric.definition;
    let range = definition.physical_range;
    let plus = |change: f64| outcome.value.map(|v| (v + change).clamp(range.least, range.most));
    let swing = swung.as_ref().ok().filter(|_| outcome.value.is_some());
    let (status, reason) = match (outcome.status, swung) {
        // What a value as it is has to say comes before what moving adds.
        (Status::Ok, Ok(swing)) if !swing.bound.is_empty() => (Status::Bound, swing.bound.clone()),
        (Status::Ok, Err(none)) => (none.status, none.reason.clone()),
        (Status::Uncertain | Status::Bound, Err(none)) => (none.status, none.reason.clone()),
        (status, _) => (status, outcome.reason.clone()),
    };
    Sensitivity {
        roi_number,
        metric: metric.to_string(),
        unit: definition.unit,
        motion: moving.motion,
        mm: moving.mm,
        value: outcome.value,
        average: swing.and_then(|s| plus(s.average)),
        lowest: swing.and_then(|s| plus(s.lowest.change)),
        lowest_direction: swing.and_then(|s| s.lowest.direction),
        highest: swing.and_then(|s| plus(s.highest.change)),
        highest_direction: swing.and_then(|s| s.highest.direction),
        worse: (definition.worse)(metric.argument, in_target),
        status,
        reason,
    }
}

/// Why a metric cannot be computed of a moved structure; absent where it can.
pub(super) fn refusal(metric: &Metric) -> Option<Outcome> {
    let needs = |need| metric.definition.needs(need);
    let reason = if needs(Need::Organs) {
        "it rests on other structures, which are not moved"
    } else if needs(Need::Form) {
        "size, shape and place are of the structure as it is drawn, and are not computed again"
    } else if needs(Need::TwoCm) {
        "the space around the target is not looked through again"
    } else {
        return None;
    };
    Some(Outcome::none(Status::NotApplicable, reason))
}

/// The outcome of a metric that the structure has no value of.
pub(super) fn not_computed() -> Outcome {
    Outcome::none(Status::NotApplicable, "the metric was not computed for the structure")
}

/// A solid in its dose, to be moved.
pub(super) struct Mover<'b> {
    solid: &'b Solid,
    ends: Ends,
    field: Option<&'b DoseField>,
    cells: Arc<Occupancy>,
}

impl<'b> Mover<'b> {
    pub(super) fn of(solid: &'b Solid, ends: Ends, field: Option<&'b DoseField>) -> Self {
        Self { solid, ends, field, cells: coarse_cells(solid, ends) }
    }

    fn view(&self, cells: Occupancy) -> View {
        coarse_view(self.solid, self.ends, Arc::new(cells), self.field)
    }

    /// The swings of some metrics, each with what it is computed around.
    pub(super) fn swings(&self, moving: Moving, metrics: &[(Metric, MetricInputs)]) -> Vec<Swung> {
        let of = |view: &View| -> Vec<Outcome> {
            let compute = |(metric, around): &(Metric, MetricInputs)| {
                metric.compute_anywhere(&around.subject(view))
            };
            metrics.iter().map(compute).collect()
        };
        let (base, moved): (Vec<Outcome>, Vec<Moved>) = match moving.motion {
            Motion::Shift => (of(&self.view((*self.cells).clone())), self.shifted(moving, of)),
            Motion::Margin => match self.with_margin(moving) {
                Ok([base, moved]) => {
                    let (direction, weight) = (None, 1.0);
                    (of(&base), vec![Moved { direction, weight, outcomes: of(&moved) }])
                }
                Err(none) => return metrics.iter().map(|_| Err(none.clone())).collect(),
            },
        };
        (0..).zip(&base).map(|(index, base)| swing(moving, base, index, &moved)).collect()
    }

    fn shifted(&self, moving: Moving, of: impl Fn(&View) -> Vec<Outcome>) -> Vec<Moved> {
        let shift = |direction: Direction| {
            let outcomes = of(&self.view(self.cells.moved(direction.vector(moving.mm))));
            Moved { direction: Some(direction), weight: direction.weight(), outcomes }
        };
        Direction::ALL.into_iter().map(shift).collect()
    }

    /// The solid by the same way with no margin and with the margin.
    fn with_margin(&self, moving: Moving) -> Result<[View; 2], Outcome> {
        let nothing = || {
            let reason = format!("nothing is left of the structure with a {}", moving.words());
            Outcome::none(Status::Empty, reason)
        };
        let body = Body::of(&self.cells).ok_or_else(nothing)?;
        let grown = |mm| offset(&self.cells, &body, mm).map(|cells| self.view(cells));
        Ok([grown(0.0).ok_or_else(nothing)?, grown(moving.mm).ok_or_else(nothing)?])
    }
}

/// The outcomes of all metrics after one motion.
struct Moved {
    direction: Option<Direction>,
    weight: f64,
    outcomes: Vec<Outcome>,
}

/// What the metric at a place of the list does; none where one of the moved structures has no value.
fn swing(moving: Moving, base: &Outcome, index: usize, moved: &[Moved]) -> Swung {
    let missing = |outcome: &Outcome, place: &str| {
        let reason = format!("{}{place}: {}", moving.words(), outcome.reason);
        Outcome::none(outcome.status, reason)
    };
    let as_it_is = base.value.ok_or_else(|| missing(base, ", in coarse cells"))?;
    let none = Extreme { change: 0.0, direction: None };
    let mut out = Swing { average: 0.0, lowest: none, highest: none, bound: String::new() };
    for (n, one) in moved.iter().enumerate() {
        let Some(outcome) = one.outcomes.get(index) else { continue };
        let to = one.direction.map_or(String::new(), |d| format!(" to {}", d.words()));
        let value = outcome.value.ok_or_else(|| missing(outcome, &to))?;
        let change = value - as_it_is;
        let here = Extreme { change, direction: one.direction };
        out.average += one.weight * change;
        // One of the directions is the extreme, not the place where the structure is.
        if n == 0 || change < out.lowest.change {
            out.lowest = here;
        }
        if n == 0 || change > out.highest.change {
            out.highest = here;
        }
        if outcome.status == Status::Bound && out.bound.is_empty() {
            out.bound = missing(outcome, &to).reason;
        }
    }
    #[allow(clippy::float_cmp)] // not a bit of it changes with the direction
    if out.lowest.change == out.highest.change {
        (out.lowest.direction, out.highest.direction) = (None, None);
    }
    Ok(out)
}

#[cfg(test)]
mod tests;
