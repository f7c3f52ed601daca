//! The isodoses that belong to one target: the island of its prescription isodose, and whether
//! other targets share it.

use crate::dose::{Isodose, IsodoseMap};
use crate::geometry::Point;
use crate::geometry::occupancy::Occupancy;
use crate::metrics::PrescriptionIsodoses;

/// A target that may share an isodose with another.
#[derive(Debug, Clone)]
pub struct Target {
    /// ROI Number.
    pub roi_number: i64,
    /// Prescription dose, Gy.
    pub dose_gy: f64,
    /// A point for each part of the target: where to look for its isodose.
    pub seeds: Vec<Point>,
    /// Largest distance of its volume from its centre of mass, mm, about.
    pub radius_mm: f64,
    /// Centre of mass, mm.
    pub centre: Point,
}

impl Target {
    /// Describes a target by its solid. Absent without volume.
    #[must_use]
    pub fn of(roi_number: i64, dose_gy: f64, solid: &Occupancy) -> Option<Self> {
        let centre = solid.centroid()?;
        let radius_mm = (solid.volume_mm3() * 0.75 / std::f64::consts::PI).cbrt();
        Some(Self { roi_number, dose_gy, seeds: seeds(solid), radius_mm, centre })
    }

    /// Whether two descriptions are of one lesion: nested targets such as a GTV in its PTV.
    #[must_use]
    pub fn is_nested_with(&self, other: &Self) -> bool {
        let d = crate::geometry::point::sub(self.centre, other.centre);
        crate::geometry::point::length(d) < self.radius_mm.max(other.radius_mm)
    }
}

/// Points inside the solid, spread over all of it: the middle of the longest run of each layer,
/// and the centre of mass.
fn seeds(solid: &Occupancy) -> Vec<Point> {
    let h = solid.pitch_mm;
    let mut out: Vec<Point> = solid.centroid().into_iter().collect();
    for layer in &solid.layers {
        for run in &layer.footprint.runs {
            for sheet in &layer.sheets {
                let u = f64::from(run.start + run.end) / 2.0 * h + layer.shift_mm[0];
                let v = (f64::from(run.row) + 0.5) * h + layer.shift_mm[1];
                out.push(solid.axes.point([u, v, sheet.w_mm]));
            }
        }
    }
    out
}

/// The isodoses of one target among all targets of the plan.
///
/// With a single lesion the isodose is that of all space. With several, it is the connected island
/// that holds dose of this target, and there is none for this target alone when the island holds
/// another lesion too.
#[must_use]
pub fn isodoses(map: &IsodoseMap<'_>, target: &Target, all: &[Target]) -> PrescriptionIsodoses {
    let others: Vec<&Target> = all
        .iter()
        .filter(|t| t.roi_number != target.roi_number && !t.is_nested_with(target))
        .collect();
    let at = |dose_gy: f64| -> Result<Isodose, String> {
        if others.is_empty() {
            return Ok(map.whole(dose_gy));
        }
        let island = map.island(dose_gy, &target.seeds);
        let shared: Vec<String> = others
            .iter()
            .filter(|t| t.seeds.iter().any(|s| map.holds(&island, *s)))
            .map(|t| t.roi_number.to_string())
            .collect();
        if shared.is_empty() {
            Ok(island.isodose)
        } else {
            Err(format!("the {dose_gy} Gy isodose is shared with ROI {}", shared.join(", ")))
        }
    };
    PrescriptionIsodoses {
        dose_gy: target.dose_gy,
        whole: at(target.dose_gy),
        half: at(target.dose_gy / 2.0),
    }
}
