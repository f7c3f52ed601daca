//! What was measured for a case, kept apart from what its structures are called, what is prescribed
//! and who counts: after a decision only what depends on it is measured again.
//!
//! A memory belongs to the contents of the case's objects, to interpolation and ends and to
//! [`crate::NUMBERS`]; whoever keeps it sees to that. Within it, each thing is found under a text
//! that holds all else it follows from. Knows no file.

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::convert::Infallible;

use serde::{Deserialize, Serialize};

use super::missing::Missing;
use super::picture::DoseLines;
use super::rows::{DoseResult, DvhPoint, RegionMeasurement, Relation};
use super::sensitivity::Swung;
use super::trace::{StructureTrace, Uncertainty};
use tidydose_metrics::Outcome;
use tidydose_rt::finding::Finding;

/// What was measured for a case.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Memory {
    /// Findings of reading the doses.
    pub findings: Vec<Finding>,
    /// What was measured in the last analysis, and what was there.
    #[serde(skip)]
    pub work: Work,
    /// Whether names that nobody has decided are measured under all names they may get.
    #[serde(skip)]
    looks_ahead: bool,
    grids: Option<Grids>,
    structures: BTreeMap<String, Sampled>,
    regions: BTreeMap<String, Vec<RegionMeasurement>>,
    pictures: BTreeMap<String, DoseLines>,
    relations: BTreeMap<String, Vec<Relation>>,
}

impl Memory {
    /// The same, made to hold what the decisions to come will ask for, as far as that is cheap.
    #[must_use]
    pub fn looking_ahead(self) -> Self {
        Self { looks_ahead: true, ..self }
    }
}

/// What an analysis had to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Work {
    /// Structures that were measured.
    pub measured: usize,
    /// Structures of which all that was needed was there.
    pub remembered: usize,
    /// Whether the memory holds more than before.
    pub learned: bool,
}

/// The grids of the dose of a case.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Grids {
    /// In the order of the case.
    pub(super) grids: Vec<GridFacts>,
    /// In which of several grids each structure is measured, by ROI Number.
    pub(super) place: BTreeMap<i64, usize>,
    /// The one of several that holds all others.
    pub(super) holding: Option<usize>,
    /// What several contradict each other in.
    pub(super) disagreement: Option<String>,
}

/// What is told of a grid as a whole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct GridFacts {
    pub(super) dose: DoseResult,
    /// Its noise in words, where there is any.
    pub(super) noise: Option<String>,
}

/// One structure in its dose, whatever it is called.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Sampled {
    facts: Facts,
    values: BTreeMap<String, Raw>,
    /// What moving it changes of its values.
    moved: BTreeMap<String, Swung>,
    /// Its isodoses that the grid cuts, in words, by the arrangement of the targets.
    cuts: BTreeMap<String, Vec<String>>,
}

/// What is told of a structure besides its metrics.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Facts {
    /// Volume, cc.
    pub(super) volume_cc: f64,
    /// Largest dose, Gy; absent where no dose was sampled.
    pub(super) max_gy: Option<f64>,
    /// Share inside the dose grid.
    pub(super) cover: f64,
    /// Share in which the dose jumps.
    pub(super) jumps: f64,
    /// Interpolation and ends in use, as they stand beside each number.
    pub(super) method: String,
    pub(super) trace: StructureTrace,
    pub(super) curve: Vec<DvhPoint>,
}

/// A value before it is held against the others of its structure, and the rule of its metric.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Raw {
    pub(super) outcome: Outcome,
    #[serde(rename = "doubts")] // as parts on disk have it
    pub(super) uncertainty: Option<Uncertainty>,
    pub(super) rule: String,
}

/// A memory while an analysis reads it and adds to it.
#[derive(Debug, Default)]
pub(super) struct Notes {
    memory: RefCell<Memory>,
    learned: Cell<bool>,
    /// The structures so far, by ROI Number, and whether each was measured.
    structures: RefCell<BTreeMap<i64, bool>>,
}

impl Notes {
    pub(super) fn of(memory: Memory) -> Self {
        Self { memory: RefCell::new(memory), ..Self::default() }
    }

    /// The memory, with the work that was done.
    pub(super) fn close(self) -> Memory {
        let mut memory = self.memory.into_inner();
        let structures = self.structures.into_inner();
        let measured = structures.values().filter(|measured| **measured).count();
        let (remembered, learned) = (structures.len() - measured, self.learned.get());
        memory.work = Work { measured, remembered, learned };
        memory
    }

    pub(super) fn looks_ahead(&self) -> bool {
        self.memory.borrow().looks_ahead
    }

    /// Counts a structure; one that was measured once stays so.
    pub(super) fn count(&self, roi_number: i64, measured: bool) {
        *self.structures.borrow_mut().entry(roi_number).or_default() |= measured;
    }

    pub(super) fn grids(&self) -> Option<Grids> {
        self.memory.borrow().grids.clone()
    }

    pub(super) fn keep_grids(&self, grids: Grids) {
        self.learned.set(true);
        self.memory.borrow_mut().grids = Some(grids);
    }

    pub(super) fn facts(&self, structure: &str) -> Option<Facts> {
        self.memory.borrow().structures.get(structure).map(|s| s.facts.clone())
    }

    pub(super) fn keep_facts(&self, structure: &str, facts: Facts) {
        self.learned.set(true);
        let (values, moved, cuts) = (BTreeMap::new(), BTreeMap::new(), BTreeMap::new());
        let sampled = Sampled { facts, values, moved, cuts };
        self.memory.borrow_mut().structures.insert(structure.to_owned(), sampled);
    }

    pub(super) fn value(&self, structure: &str, value: &str) -> Option<Raw> {
        self.memory.borrow().structures.get(structure)?.values.get(value).cloned()
    }

    pub(super) fn keep_value(&self, structure: &str, value: String, raw: Raw) {
        if let Some(sampled) = self.memory.borrow_mut().structures.get_mut(structure) {
            self.learned.set(true);
            sampled.values.insert(value, raw);
        }
    }

    pub(super) fn swung(&self, structure: &str, value: &str) -> Option<Swung> {
        self.memory.borrow().structures.get(structure)?.moved.get(value).cloned()
    }

    pub(super) fn keep_swung(&self, structure: &str, value: String, swung: Swung) {
        if let Some(sampled) = self.memory.borrow_mut().structures.get_mut(structure) {
            self.learned.set(true);
            sampled.moved.insert(value, swung);
        }
    }

    pub(super) fn cuts(&self, structure: &str, arrangement: &str) -> Option<Vec<String>> {
        self.memory.borrow().structures.get(structure)?.cuts.get(arrangement).cloned()
    }

    pub(super) fn keep_cuts(&self, structure: &str, arrangement: &str, cuts: Vec<String>) {
        if let Some(sampled) = self.memory.borrow_mut().structures.get_mut(structure) {
            self.learned.set(true);
            sampled.cuts.insert(arrangement.to_owned(), cuts);
        }
    }

    /// What one of the lists has under a key, made when it is not there.
    fn kept_or<T: Clone, E>(
        &self,
        list: fn(&mut Memory) -> &mut BTreeMap<String, T>,
        key: String,
        make: impl FnOnce() -> Result<T, E>,
    ) -> Result<T, E> {
        // Not borrowed while it is made, which may read and keep other things.
        if let Some(found) = list(&mut self.memory.borrow_mut()).get(&key) {
            return Ok(found.clone());
        }
        let made = make()?;
        self.learned.set(true);
        list(&mut self.memory.borrow_mut()).insert(key, made.clone());
        Ok(made)
    }

    /// The rows of regions under a key, made when there are none.
    pub(super) fn regions_or(
        &self,
        key: String,
        make: impl FnOnce() -> Result<Vec<RegionMeasurement>, Missing>,
    ) -> Result<Vec<RegionMeasurement>, Missing> {
        self.kept_or(|memory| &mut memory.regions, key, make)
    }

    /// What the dose adds to a picture, made when it is not there.
    pub(super) fn picture_or(
        &self,
        key: String,
        make: impl FnOnce() -> Result<DoseLines, Missing>,
    ) -> Result<DoseLines, Missing> {
        self.kept_or(|memory| &mut memory.pictures, key, make)
    }

    /// The relations of a pair, made when they are not there.
    pub(super) fn relations_or(
        &self,
        key: String,
        make: impl FnOnce() -> Vec<Relation>,
    ) -> Vec<Relation> {
        let made =
            self.kept_or(|memory| &mut memory.relations, key, || Ok::<_, Infallible>(make()));
        made.unwrap_or_else(|never| match never {})
    }
}

#[cfg(test)]
mod tests;
