//! What is kept of image slices: to which series they belong and where they lie.

use crate::identity::Token;
use tidydose_geometry::point::{Point, cross, dot, sub};
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
    /// SOP instance of a slice at each of them.
    pub objects: Vec<Token>,
}

/// A slice at a place along the normal of its series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NearestSlice<'s> {
    /// SOP instance of the slice.
    pub object: &'s Token,
    /// How far it lies off, mm.
    pub off_mm: f64,
}

/// One slice with its pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct ImageSlice {
    /// Modality: CT or MR.
    pub modality: String,
    /// Middle of its first pixel in the patient, mm.
    pub corner_mm: Point,
    /// Unit vector from column to column.
    pub right: Point,
    /// Unit vector from row to row.
    pub down: Point,
    /// Distance between rows, and between columns, mm.
    pub spacing_mm: [f64; 2],
    /// Pixels in a row.
    pub columns: usize,
    /// The pixels row by row: Hounsfield units of a CT, else as rescaled.
    pub values: Vec<f32>,
}

impl ImageSlice {
    /// Unit normal of its plane.
    #[must_use]
    pub fn normal(&self) -> Point {
        cross(self.right, self.down)
    }

    /// The value where a point stands over the slice, linear between pixels; absent beside it.
    #[must_use]
    pub fn at(&self, point: Point) -> Option<f64> {
        let off = sub(point, self.corner_mm);
        let row = cell(dot(off, self.down) / self.spacing_mm[0])?;
        let column = cell(dot(off, self.right) / self.spacing_mm[1])?;
        let value = |r: usize, c: usize| {
            let inside = c < self.columns;
            self.values.get(r * self.columns + c).filter(|_| inside).map(|v| f64::from(*v))
        };
        let along = |r: usize| {
            let (a, b) = (value(r, column.index)?, value(r, column.index + 1)?);
            Some(a + column.share * (b - a))
        };
        let (a, b) = (along(row.index)?, along(row.index + 1)?);
        Some(a + row.share * (b - a))
    }
}

/// Where a position lies between two whole numbers.
struct CellPlace {
    index: usize,
    share: f64,
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rows, columns")]
fn cell(position: f64) -> Option<CellPlace> {
    let inside = (0.0..f64::from(u16::MAX)).contains(&position);
    inside.then(|| CellPlace { index: position as usize, share: position.fract() })
}

impl SlicePlaces {
    /// The slice nearest to a plane at `at_mm` along its unit normal, when it lies no farther off than
    /// half of what slices stand for there; never for planes of another orientation.
    #[must_use]
    pub fn nearest(&self, normal: Point, at_mm: f64) -> Option<NearestSlice<'_>> {
        let along = dot(self.normal, normal);
        if along.abs() < PARALLEL_COSINE {
            return None;
        }
        let at_mm = at_mm * along.signum();
        let half = self.gap_at(at_mm)?.value() / 2.0;
        let off = |place: &f64| (place - at_mm).abs();
        let both = self.places_mm.iter().zip(&self.objects);
        let (place, object) = both.min_by(|a, b| off(a.0).total_cmp(&off(b.0)))?;
        let off_mm = off(place);
        (off_mm <= half + f64::EPSILON).then_some(NearestSlice { object, off_mm })
    }

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

    /// A slope of 2 from row to row and of 10 from column to column, on a sagittal slice.
    #[test]
    fn a_slice_is_read_between_its_pixels() {
        let slice = ImageSlice {
            modality: "MR".to_owned(),
            corner_mm: [7.0, -4.0, 6.0],
            right: [0.0, 1.0, 0.0],
            down: [0.0, 0.0, -1.0],
            spacing_mm: [2.0, 0.5],
            columns: 3,
            values: vec![0.0, 10.0, 20.0, 2.0, 12.0, 22.0],
        };
        assert_eq!(slice.normal(), [-1.0, 0.0, 0.0]);
        assert_eq!(slice.at([7.0, -4.0, 6.0]), Some(0.0));
        assert_eq!(slice.at([9.0, -3.625, 5.5]), Some(8.0), "over it: 7.5 and a quarter of 2");
        assert_eq!(slice.at([7.0, -4.1, 6.0]), None);
        assert_eq!((slice.at([7.0, -2.9, 6.0]), slice.at([7.0, -4.0, 3.9])), (None, None));
    }

    /// Slices at 0, 1, 2, 5 and 8 mm.
    #[test]
    fn a_slice_stands_for_half_of_either_gap() {
        let objects = ["a", "b", "c", "d", "e"].map(Token::new).to_vec();
        let normal = [0.0, 0.0, 1.0];
        let places = SlicePlaces { normal, places_mm: vec![0.0, 1.0, 2.0, 5.0, 8.0], objects };
        let near = |normal, at| places.nearest(normal, at).map(|n| (n.object.as_str(), n.off_mm));
        assert_eq!(near(normal, 5.5), Some(("d", 0.5)));
        assert_eq!(near([0.0, 0.0, -1.0], -6.25), Some(("d", 1.25)), "from the other side");
        assert_eq!((near(normal, 9.75), near([1.0, 0.0, 0.0], 5.0)), (None, None));
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
