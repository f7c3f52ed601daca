//! What a number of a structure rests on, kept so that it can be looked up later: the contour planes
//! in use, its hottest point with the voxel nearest to it, and the terms of its bounds. Computes no
//! metric and knows no table.

use serde::{Deserialize, Serialize};

use super::structure::Solid;
use tidydose_dose::DoseField;
use tidydose_geometry::{Occupancy, Point};

/// What makes a value uncertain; [`super::bounds`] says how each is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum UncertaintyTerm {
    /// Where the structure ends beyond its last contours.
    Ends,
    /// What lies between the contour planes.
    Slices,
    /// Outlines between their points.
    Chords,
    /// Pixels that outlines were traced around.
    Pixels,
    /// Dose between the voxels of the grid.
    Dose,
    /// A largest dose between voxels.
    Summit,
    /// The size of the cells.
    Cells,
    /// Rounding of the stored dose.
    Step,
    /// Noise of the dose from voxel to voxel.
    Scatter,
    /// Where cells and samples happen to lie.
    Chance,
}

impl UncertaintyTerm {
    /// Every term in the order of the tables.
    pub const ALL: [Self; 10] = [
        Self::Ends,
        Self::Slices,
        Self::Chords,
        Self::Pixels,
        Self::Dose,
        Self::Summit,
        Self::Cells,
        Self::Step,
        Self::Scatter,
        Self::Chance,
    ];
}

/// Standard uncertainty that each term adds to one value, in the unit of the value, below and above
/// it. The bounds lie twice the root of the sum of squares of their side away, within what the
/// metric can be at all and what the other values of the structure leave open.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Uncertainty {
    below: [f64; UncertaintyTerm::ALL.len()],
    above: [f64; UncertaintyTerm::ALL.len()],
}

impl Uncertainty {
    /// Terms given one by one.
    #[must_use]
    pub fn of_terms(terms: &[(UncertaintyTerm, f64)]) -> Self {
        let mut uncertainty = Self::default();
        for (kind, u) in terms {
            uncertainty.add(*kind, *u);
        }
        uncertainty
    }

    /// Adds another contribution to a term, in squares, on both sides.
    pub(super) fn add(&mut self, kind: UncertaintyTerm, u: f64) {
        self.add_toward(kind, u);
        self.add_toward(kind, -u);
    }

    /// Adds a contribution on one side: above the value when it is positive, else below.
    pub(super) fn add_toward(&mut self, kind: UncertaintyTerm, u: f64) {
        let side = if u > 0.0 { &mut self.above } else { &mut self.below };
        let term = &mut side[kind as usize];
        *term = term.hypot(u);
    }

    /// What one term adds, on the side where it adds more.
    #[must_use]
    pub fn of(&self, kind: UncertaintyTerm) -> f64 {
        self.below[kind as usize].max(self.above[kind as usize])
    }

    /// All terms together, each on the side where it adds more.
    #[must_use]
    pub fn total(&self) -> f64 {
        UncertaintyTerm::ALL.map(|kind| self.of(kind)).iter().map(|u| u * u).sum::<f64>().sqrt()
    }

    /// All terms together below the value, and above it.
    #[must_use]
    pub fn sides(&self) -> [f64; 2] {
        [self.below, self.above].map(|side| side.iter().map(|u| u * u).sum::<f64>().sqrt())
    }
}

/// One contour plane as it is used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TracedPlane {
    /// Position along the normal of the planes, mm.
    pub position_mm: f64,
    /// The part of the normal that it stands for, mm.
    pub thickness_mm: f64,
    /// Outlines on it, holes included.
    pub outlines: usize,
    /// Filled area, mm².
    pub area_mm2: f64,
    /// Centre of that area, patient coordinates, mm.
    pub centre_mm: Point,
}

/// A point with its dose.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TracedPoint {
    /// Patient coordinates, mm.
    pub point_mm: Point,
    /// Dose there, Gy.
    pub dose_gy: f64,
}

/// What the numbers of one structure rest on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StructureTrace {
    /// ROI Number.
    pub roi_number: i64,
    /// Contour planes by ascending position.
    pub planes: Vec<TracedPlane>,
    /// Centre of mass, mm; absent without volume.
    pub middle_mm: Option<Point>,
    /// The hottest point that was looked at, with the interpolated dose; absent without dose.
    pub hottest: Option<TracedPoint>,
    /// Centre and stored dose of the voxel nearest to it.
    pub voxel: Option<TracedPoint>,
    /// Plane, row and column of that voxel, each from 0.
    pub voxel_index: Option<[usize; 3]>,
}

impl StructureTrace {
    /// Looks at a solid and at the dose in the cells that it fills.
    #[must_use]
    pub fn of(
        roi_number: i64,
        solid: &Solid,
        cells: &Occupancy,
        field: Option<&DoseField>,
    ) -> Self {
        let hottest = field.and_then(|field| hottest(cells, field));
        let near = field.zip(hottest).and_then(|(field, h)| nearest_voxel(field, h.point_mm));
        Self {
            roi_number,
            planes: planes(solid),
            middle_mm: cells.centroid(),
            hottest,
            voxel: near.map(|(_, voxel)| voxel),
            voxel_index: near.map(|(index, _)| index),
        }
    }
}

fn planes(solid: &Solid) -> Vec<TracedPlane> {
    let axes = solid.stack.axes;
    let plane =
        |(plane, slab): (&tidydose_geometry::stack::Plane, &tidydose_geometry::slab::Slab)| {
            let area = plane.region.area();
            let [mu, mv] = plane.region.moments();
            TracedPlane {
                position_mm: plane.w_mm,
                thickness_mm: slab.thickness_mm(),
                outlines: plane.region.rings().len(),
                area_mm2: area,
                centre_mm: axes.point([mu / area, mv / area, plane.w_mm]),
            }
        };
    solid.planes().map(plane).collect()
}

/// Points along each edge of the hottest cell.
const POINTS: u32 = 7;

/// The hottest point: of the middles of all cells, then, where that cell is filled as a whole, of a
/// lattice of points in it. Cells of a large structure are several millimetres wide.
fn hottest(cells: &Occupancy, field: &DoseField) -> Option<TracedPoint> {
    let h = cells.pitch_mm;
    let mut best: Option<TracedPoint> = None;
    let mut look = |at: Point| {
        let point_mm = cells.axes.point(at);
        let dose_gy = field.at(point_mm)?;
        if best.is_some_and(|most| dose_gy <= most.dose_gy) {
            return None;
        }
        best = Some(TracedPoint { point_mm, dose_gy });
        Some(())
    };
    let mut whole: Option<(Point, Point)> = None;
    for layer in &cells.layers {
        let [du, dv] = layer.shift_mm;
        for sheet in &layer.sheets {
            for run in &layer.footprint.runs {
                let v = (f64::from(run.row) + 0.5) * h + dv;
                for column in run.start..run.end {
                    let middle = [(f64::from(column) + 0.5) * h + du, v, sheet.w_mm];
                    if look(middle).is_some() {
                        whole = Some((middle, [h, h, sheet.thickness_mm]));
                    }
                }
            }
            for cut in &layer.footprint.cuts {
                if look([cut.centre[0] + du, cut.centre[1] + dv, sheet.w_mm]).is_some() {
                    whole = None;
                }
            }
        }
    }
    if let Some((middle, edges)) = whole {
        let share = |i: u32| (f64::from(i) + 0.5) / f64::from(POINTS) - 0.5;
        for i in 0..POINTS.pow(3) {
            let place = [i % POINTS, i / POINTS % POINTS, i / POINTS.pow(2)];
            look([0, 1, 2].map(|a| middle[a] + share(place[a]) * edges[a]));
        }
    }
    best
}

/// Plane, row and column of the voxel whose centre is nearest, with that centre and its dose.
fn nearest_voxel(field: &DoseField, point: Point) -> Option<([usize; 3], TracedPoint)> {
    let grid = field.grid();
    let [along, row, column] = grid.local(point);
    let offsets = grid.offsets_mm().iter().enumerate();
    let (plane, _) = offsets.min_by(|a, b| (a.1 - along).abs().total_cmp(&(b.1 - along).abs()))?;
    let [_, rows, columns] = grid.shape();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped to the grid
    let index = |x: f64, n: usize| (x.round().max(0.0) as usize).min(n - 1);
    let at = [plane, index(row, rows), index(column, columns)];
    let dose_gy = f64::from(*field.values().get(at)?);
    Some((at, TracedPoint { point_mm: grid.position(at), dose_gy }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn terms_add_up_in_squares() {
        let terms = [
            (UncertaintyTerm::Scatter, 3.0),
            (UncertaintyTerm::Scatter, 4.0),
            (UncertaintyTerm::Chance, 12.0),
        ];
        let uncertainty = Uncertainty::of_terms(&terms);
        assert_eq!(uncertainty.of(UncertaintyTerm::Scatter), 5.0);
        assert_eq!(uncertainty.of(UncertaintyTerm::Ends), 0.0);
        assert_eq!((uncertainty.total(), uncertainty.sides()), (13.0, [13.0; 2]));
        for (place, kind) in UncertaintyTerm::ALL.into_iter().enumerate() {
            assert_eq!(kind as usize, place);
        }
    }

    #[test]
    fn a_term_of_one_side_leaves_the_other_alone() {
        let mut uncertainty = Uncertainty::of_terms(&[(UncertaintyTerm::Dose, 3.0)]);
        uncertainty.add_toward(UncertaintyTerm::Summit, 4.0);
        assert_eq!(
            (uncertainty.sides(), uncertainty.of(UncertaintyTerm::Summit)),
            ([3.0, 5.0], 4.0)
        );
        uncertainty.add_toward(UncertaintyTerm::Scatter, -4.0);
        assert_eq!(uncertainty.sides(), [5.0, 5.0]);
        assert!((uncertainty.total() - 41.0_f64.sqrt()).abs() < 1e-12);
    }
}
