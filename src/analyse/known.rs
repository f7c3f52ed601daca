//! What was computed for the structures of a case so far, by structure and metric, asked for or
//! not: what coverage of all targets, organs without their targets and indices of several
//! structures are made of. Rows are made elsewhere.

use std::collections::BTreeMap;

use super::memory::Notes;
use super::settings::Settings;
use super::trace::Uncertainty;
use tidydose_metrics::{Definition, Metric, Outcome};

/// One value.
#[derive(Debug, Clone)]
pub(super) struct Known {
    pub(super) metric: Metric,
    pub(super) outcome: Outcome,
    pub(super) uncertainty: Option<Uncertainty>,
}

/// The values of all structures that were measured, by ROI Number.
#[derive(Debug, Clone, Default)]
pub(super) struct Values(BTreeMap<i64, Vec<Known>>);

impl Values {
    /// Adds what was computed for a structure.
    pub(super) fn add(&mut self, roi_number: i64, known: Vec<Known>) {
        self.0.entry(roi_number).or_default().extend(known);
    }

    /// The value of a metric, if it was computed.
    pub(super) fn of(&self, roi_number: i64, metric: &Metric) -> Option<&Known> {
        self.0.get(&roi_number)?.iter().find(|known| known.metric == *metric)
    }

    /// The outcome of a metric without a number.
    pub(super) fn plain(
        &self,
        roi_number: i64,
        definition: &'static Definition,
    ) -> Option<&Outcome> {
        let metric = Metric { definition, argument: 0.0 };
        self.of(roi_number, &metric).map(|known| &known.outcome)
    }
}

/// How much of an organ receives the prescription dose of some target.
#[derive(Debug, Clone)]
pub(super) struct OrganShare {
    pub(super) organ: String,
    pub(super) dose_gy: f64,
    /// Percent of the organ.
    pub(super) share: Outcome,
    pub(super) uncertainty: Option<Uncertainty>,
}

/// What the grids of one dose gave so far.
#[derive(Debug, Clone, Default)]
pub(super) struct Gathered {
    pub(super) values: Values,
    pub(super) shares: Vec<OrganShare>,
    /// Largest dose of any grid, Gy.
    pub(super) maximum_gy: f64,
    /// Largest stored step of any grid, Gy.
    pub(super) step_gy: f64,
}

/// One of the grids of a dose in its turn.
#[derive(Clone, Copy)]
pub(super) struct GridPass<'a> {
    /// The structures, by ROI Number, that are measured in it; the others still have their part in
    /// the isodoses of their neighbours.
    pub(super) wanted: &'a dyn Fn(i64) -> bool,
    /// How many grids there are.
    pub(super) grids: usize,
    /// Whether the grid holds all others.
    pub(super) holds_all: bool,
    /// Whether all others had their turn.
    pub(super) last: bool,
}

impl<'a> GridPass<'a> {
    /// The turn of the only grid.
    pub(super) const fn only(wanted: &'a dyn Fn(i64) -> bool) -> Self {
        Self { wanted, grids: 1, holds_all: true, last: true }
    }
}

/// What a dose is measured by.
#[derive(Clone, Copy)]
pub(super) struct Order<'a> {
    pub(super) settings: &'a Settings,
    pub(super) turn: GridPass<'a>,
    /// What is known already, and where what is measured goes.
    pub(super) notes: &'a Notes,
}
