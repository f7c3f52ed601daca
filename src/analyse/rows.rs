//! Single rows of an analysis: of a structure, a metric, a region, a curve, a dose, a pair of
//! structures. Plain values that every computation may name; this file names none of them.

use std::collections::BTreeSet;
use std::sync::{Mutex, PoisonError};

use serde::{Deserialize, Deserializer, Serialize};

use super::trace::Uncertainty;
use tidydose_metrics::Outcome;

/// A word of the program, such as a unit: the same few for all cases. The alias keeps a derived
/// reader from borrowing it out of what is read.
pub type Word = &'static str;

/// What was computed for one structure besides its metrics.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StructureResult {
    /// ROI Number.
    pub roi_number: i64,
    /// Contours used for volume.
    pub closed_contours: usize,
    /// Distinct contour planes.
    pub planes: usize,
    /// Contours read as holes, over all planes.
    pub holes: usize,
    /// Typical (median) distance between planes, mm.
    pub plane_spacing_mm: Option<f64>,
    /// Largest distance between neighbouring planes, mm.
    pub plane_gap_max_mm: Option<f64>,
    /// Edge length of the pixels that its outlines were traced around, mm; absent where they were
    /// not.
    pub pixel_mm: Option<f64>,
    /// Volume as measured, cc.
    pub volume: Outcome,
    /// Centre of mass, mm, patient coordinates.
    pub centroid_mm: Option<[f64; 3]>,
    /// Share of the volume inside the dose grid, percent.
    pub inside_grid_percent: Option<f64>,
    /// The dose prescribed to it, Gy, and where that came from.
    #[serde(deserialize_with = "prescription")]
    pub prescription: Option<(f64, &'static str)>,
}

/// One row of the metrics table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measurement {
    /// ROI Number of the structure.
    pub roi_number: i64,
    /// Metric in TG-263 syntax (`D0.03cc[Gy]`), or the index name (`PaddickConformity`).
    pub metric: String,
    /// Unit symbol: "Gy", "cc", "%", "mm" or "1".
    #[serde(deserialize_with = "word")]
    pub unit: Word,
    /// Value, bounds, status, reason.
    pub outcome: Outcome,
    /// What the bounds are made of; absent without a value.
    #[serde(rename = "doubts")] // as parts on disk have it
    pub uncertainty: Option<Uncertainty>,
    /// How it was computed: interpolation, ends, and the rule or parameter of the metric.
    pub method: String,
}

/// One row of the metrics table that is not of a drawn structure: of all tissue, of the brain
/// without targets, or of all targets together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RegionMeasurement {
    /// Name of the region, in place of a structure.
    pub region: String,
    /// Metric, as in [`Measurement`].
    pub metric: String,
    /// Unit symbol.
    #[serde(deserialize_with = "word")]
    pub unit: Word,
    /// Value, bounds, status, reason.
    pub outcome: Outcome,
    /// How it was computed.
    pub method: String,
}

/// One point of a cumulative dose-volume histogram.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DvhPoint {
    /// ROI Number of the structure.
    pub roi_number: i64,
    /// Dose, Gy.
    pub dose_gy: f64,
    /// Volume that receives at least this dose, cc.
    pub volume_cc: f64,
    /// The same as a percentage of the structure's volume.
    pub volume_percent: f64,
}

/// What was found about the dose grid as a whole.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DoseResult {
    /// Spacing between planes, rows and columns, mm.
    pub spacing_mm: [f64; 3],
    /// Largest voxel dose, Gy.
    pub maximum_gy: f64,
    /// Dose of one stored step, Gy.
    pub step_gy: f64,
}

/// One row of the table of relations.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Relation {
    /// ROI Number of the target.
    pub roi_number: i64,
    /// ROI Number of the other structure; absent where there is none.
    pub other_roi_number: Option<i64>,
    /// Metric, one of [`super::relate::DEFINITIONS`].
    #[serde(deserialize_with = "word")]
    pub metric: Word,
    /// Unit symbol.
    #[serde(deserialize_with = "word")]
    pub unit: Word,
    /// Value, bounds, status, reason.
    pub outcome: Outcome,
    /// The convention of the ends.
    #[serde(deserialize_with = "word")]
    pub method: Word,
}

/// Reads back a word that the program itself wrote; each is kept once for the life of the program.
pub(super) fn word<'de, D: Deserializer<'de>>(from: D) -> Result<&'static str, D::Error> {
    String::deserialize(from).map(known)
}

fn prescription<'de, D>(from: D) -> Result<Option<(f64, &'static str)>, D::Error>
where
    D: Deserializer<'de>,
{
    let read = Option::<(f64, String)>::deserialize(from)?;
    Ok(read.map(|(dose_gy, basis)| (dose_gy, known(basis))))
}

/// Units, conventions and bases: a few dozen words, however many cases there are.
static WORDS: Mutex<BTreeSet<&'static str>> = Mutex::new(BTreeSet::new());

fn known(text: String) -> &'static str {
    let mut words = WORDS.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(word) = words.get(text.as_str()) {
        return word;
    }
    let word: &'static str = Box::leak(text.into_boxed_str());
    words.insert(word);
    word
}
