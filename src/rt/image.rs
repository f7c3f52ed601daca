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
    /// Where each of them lies.
    pub places: Option<SlicePlaces>,
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

/// Where the slices of a series lie along their normal.
#[derive(Debug, Clone, PartialEq)]
pub struct SlicePlaces {
    /// Unit normal.
    pub normal: Point,
    /// Positions along it, mm, ascending, each once.
    pub places_mm: Vec<f64>,
}

impl SlicePlaces {
    /// What a slice at this position along the normal stands for: half of the distance to either
    /// neighbour of the nearest one, between two slices their distance; absent where no slice is.
    #[must_use]
    pub fn gap_at(&self, at_mm: f64) -> Option<Millimetre> {
        let places = &self.places_mm;
        let gap = |i: usize| Some(places.get(i + 1)? - places.get(i)?);
        // The interval that the position lies in; the first or last one beyond the ends.
        let after = places.partition_point(|place| *place <= at_mm);
        let interval = after.saturating_sub(1).min(places.len().checked_sub(2)?);
        let own = gap(interval)?;
        let (low, high) = (places.get(interval)?, places.get(interval + 1)?);
        if !(low - own..=high + own).contains(&at_mm) {
            return None;
        }
        let on = |place: &f64| (at_mm - place).abs() <= OFF_SHARE * own;
        let beside = match () {
            () if on(low) => interval.checked_sub(1).and_then(gap),
            () if on(high) => gap(interval + 1),
            () => None,
        };
        Some(Millimetre::mm(beside.map_or(own, |other| f64::midpoint(own, other))))
    }
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

    /// Slices at 0, 1, 2, 5 and 8 mm.
    #[test]
    fn a_slice_stands_for_half_of_either_gap() {
        let places =
            SlicePlaces { normal: [0.0, 0.0, 1.0], places_mm: vec![0.0, 1.0, 2.0, 5.0, 8.0] };
        let gap = |at| places.gap_at(at).map(Millimetre::value);
        assert_eq!(
            (gap(1.0), gap(2.0), gap(1.95), gap(5.1)),
            (Some(1.0), Some(2.0), Some(2.0), Some(3.0))
        );
        assert_eq!((gap(3.5), gap(1.5)), (Some(3.0), Some(1.0)), "between two slices");
        assert_eq!((gap(0.0), gap(8.0), gap(-0.9)), (Some(1.0), Some(3.0), Some(1.0)), "the ends");
        assert_eq!((gap(-1.1), gap(11.5)), (None, None), "where no slice is");
        assert_eq!(SlicePlaces { places_mm: vec![1.0], ..places }.gap_at(1.0), None);
    }
}
