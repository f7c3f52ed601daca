//! What is kept of image slices: to which series they belong and where they lie.

use crate::identity::Token;
use tidydose_geometry::point::{Point, dot};
use tidydose_geometry::units::{Day, Millimetre};

/// One series of image slices, of which only the geometry matters here.
#[derive(Debug, Clone, PartialEq)]
pub struct ImageSeries {
    /// The series.
    pub series: Token,
    /// Frame of reference.
    pub frame: Option<Token>,
    /// The patient.
    pub patient: Option<Token>,
    /// Modality: CT or MR.
    pub modality: String,
    /// Day on which its first slice was taken, or else that of its series or study.
    pub day: Option<Day>,
    /// Number of slices found.
    pub slices: usize,
    /// Median distance between neighbouring slices along their normal.
    pub spacing: Option<Millimetre>,
    /// Where they lie, when they are evenly spaced.
    pub planes: Option<ImagePlanes>,
    /// SOP instances of the slices, sorted.
    pub objects: Vec<Token>,
}

/// Parallel planes at even distances: position `first_mm` + k · `gap_mm` along `normal`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ImagePlanes {
    /// Unit normal.
    pub normal: Point,
    /// Position of one of the planes along the normal.
    pub first_mm: f64,
    /// Distance between neighbours.
    pub gap_mm: f64,
}

/// A contour plane this share of their distance away from all slices lies between them.
const OFF_SHARE: f64 = 0.1;
/// Planes within a degree of each other are parallel.
const PARALLEL_COSINE: f64 = 0.999_85;

impl ImagePlanes {
    /// Whether a plane at `at_mm` along its unit normal lies between these planes, by more than a
    /// tenth of their distance; never for planes of another orientation.
    #[must_use]
    pub fn are_off(&self, normal: Point, at_mm: f64) -> bool {
        let along = dot(self.normal, normal);
        if along.abs() < PARALLEL_COSINE {
            return false;
        }
        let steps = (at_mm * along.signum() - self.first_mm) / self.gap_mm;
        (steps - steps.round()).abs() > OFF_SHARE
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn planes_between_slices_are_told_from_planes_on_them() {
        let planes = ImagePlanes { normal: [0.0, 0.0, 1.0], first_mm: -3.5, gap_mm: 2.0 };
        let off = |normal: Point, at| planes.are_off(normal, at);
        assert!(!off([0.0, 0.0, 1.0], 0.5) && !off([0.0, 0.0, 1.0], 0.31));
        assert!(off([0.0, 0.0, 1.0], 0.29) && off([0.0, 0.0, 1.0], 1.5));
        // Seen from the other side; and across, where nothing can be said.
        assert!(!off([0.0, 0.0, -1.0], -0.5) && off([0.0, 0.0, -1.0], -1.5));
        assert!(!off([1.0, 0.0, 0.0], 1.5));
    }
}
