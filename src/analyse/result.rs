//! What the analysis of one case yields: rows, which `table` writes and nobody computes with.

use serde::{Deserialize, Serialize};

use super::evidence::ShapeEvidence;
use super::follow_up::FollowUpPlace;
use super::lesion::Lesion;
use super::limit_check::LimitCheck;
use super::picture::Picture;
use super::rows::{
    DoseResult, DvhPoint, Measurement, RegionMeasurement, Relation, StructureResult,
};
use super::sensitivity::Sensitivity;
use super::trace::StructureTrace;
use tidydose_rt::finding::Finding;
use tidydose_rt::identity::Token;

impl Analysis {
    /// Nothing yet.
    pub(super) const fn empty(case: Token) -> Self {
        Self {
            case,
            dose: None,
            structures: Vec::new(),
            measurements: Vec::new(),
            regions: Vec::new(),
            evidence: Vec::new(),
            lesions: Vec::new(),
            dvh: Vec::new(),
            pictures: Vec::new(),
            traces: Vec::new(),
            relations: Vec::new(),
            sensitivities: Vec::new(),
            limit_checks: Vec::new(),
            places: Vec::new(),
            findings: Vec::new(),
        }
    }
}

/// Everything that was computed for one case. Rows are sorted by ROI Number and metric order.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Analysis {
    /// The case.
    pub case: Token,
    /// About the dose grid; absent without one.
    pub dose: Option<DoseResult>,
    /// Structures.
    pub structures: Vec<StructureResult>,
    /// Metrics.
    pub measurements: Vec<Measurement>,
    /// Metrics of regions that nobody drew.
    pub regions: Vec<RegionMeasurement>,
    /// What the shapes say about who is who.
    pub evidence: Vec<ShapeEvidence>,
    /// Lesions.
    pub lesions: Vec<Lesion>,
    /// Dose-volume histograms.
    pub dvh: Vec<DvhPoint>,
    /// What a person should see of organs and targets.
    pub pictures: Vec<Picture>,
    /// What the numbers of each structure rest on.
    pub traces: Vec<StructureTrace>,
    /// How the structures lie to each other.
    pub relations: Vec<Relation>,
    /// What values would be if their structures lay elsewhere or were larger or smaller.
    pub sensitivities: Vec<Sensitivity>,
    /// What the values say about the limits.
    pub limit_checks: Vec<LimitCheck>,
    /// Where targets that were drawn after a treatment lie in what was treated; empty for plans.
    pub places: Vec<FollowUpPlace>,
    /// Findings of the computation.
    pub findings: Vec<Finding>,
}
