//! Where a structure that was drawn after a treatment lies in the dose that was given and to the
//! targets that were treated: shares inside isodoses of the prescription, the dose at its centre of
//! mass, distances, and what a shift of the registration does to the shares. Names no class; which
//! lesion is which is not known here.
//!
//! Bounds are those of relations (`relate/shape.rs`) with a term for the dose: the larger
//! difference to the dose of every second voxel, counted as in [`crate::bounds`]. Where the user
//! states how far off the registration may be, they hold that too (`registration.rs`).

mod isodose_surface;
mod registration;

use serde::{Deserialize, Serialize};

use super::bounds::{CHANCE_SHARE, dose_share};
use super::fields::{Fields, Prepared};
use super::relate::shape::{self, Shape, Shapes};
use super::sensitivity::Direction;
use super::settings::Settings;
use super::structure;
use isodose_surface::IsodoseSurface;
use tidydose_case::Case;
use tidydose_dose::{DoseField, Dvh, sample};
use tidydose_geometry::point::Point;
use tidydose_geometry::{Occupancy, separate_pieces};
use tidydose_metrics::{Outcome, Status};
use tidydose_rt::finding::Subject;
use tidydose_rt::{Dose, Roi, StructureSet};

/// Isodoses in which the share of a structure is told, percent of the prescription.
pub const ISODOSES_PERCENT: [f64; 3] = [95.0, 100.0, 50.0];
/// How far the registration is shifted to see what that does, mm.
pub const SHIFTS_MM: [f64; 2] = [1.0, 2.0];
/// Distance about a treated target in which a recurrence counts as near, mm: a usual margin of
/// external beams (common practice).
pub const NEAR_MM: f64 = 20.0;

/// Smallest and largest value over all directions of shifts of up to so much.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Shifted {
    /// How far, mm.
    pub by_mm: f64,
    /// Smallest and largest share, percent.
    pub percent: [f64; 2],
}

/// The share of a structure that receives an isodose.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShareInside {
    /// The isodose, percent of the prescription.
    pub isodose_percent: f64,
    /// The same in gray.
    pub isodose_gy: f64,
    /// The share, percent.
    pub share: Outcome,
    /// What shifts do to it.
    pub shifted: Vec<Shifted>,
}

/// Where one structure lies in what was treated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FollowUpPlace {
    /// ROI Number.
    pub roi_number: i64,
    /// Pieces of it that do not hang together.
    pub pieces: usize,
    /// How far off the user says that the registration may be, mm: the bounds below hold it. Absent
    /// where nothing was stated.
    pub registration_mm: Option<f64>,
    /// ROI Number of the nearest treated target, in the structure set of its plan.
    pub nearest_target: Option<i64>,
    /// Shares inside isodoses, in the order of [`ISODOSES_PERCENT`]; empty without a prescription.
    pub inside: Vec<ShareInside>,
    /// Dose at its centre of mass, Gy.
    pub centre_dose: Outcome,
    /// Signed distance of its centre of mass from the surface of that target, mm.
    pub centre_to_target: Outcome,
    /// Smallest distance between the surfaces, mm; negative where they overlap.
    pub gap_to_target: Outcome,
    /// Share within [`NEAR_MM`] of that target, percent.
    pub near_target: Outcome,
    /// Signed distance of its centre of mass from the prescription isodose, mm.
    pub centre_to_isodose: Outcome,
    /// Smallest signed distance of its surface from the prescription isodose, mm.
    pub gap_to_isodose: Outcome,
}

/// The places of all targets of a follow-up, by ascending ROI Number. `treated` are the targets of
/// the plan in the frame of reference of `dose`, `set` the structures in the same frame. Targets
/// without a solid have no place: their volume says why.
#[must_use]
pub fn follow_up_places(
    case: &Case,
    set: &StructureSet,
    treated: &[Roi],
    dose: Dose,
    settings: &Settings,
) -> Vec<FollowUpPlace> {
    let prepared = Prepared::of(dose, settings.interpolation);
    let fields = prepared.fields(0.0);
    let frame = case.dose.as_ref().and_then(|d| d.frame.as_ref());
    let shape = |roi: &Roi| {
        let solid = structure::build(roi, &Subject::default(), &mut Vec::new()).ok()?;
        let pieces = separate_pieces(&solid.stack);
        let shapes = Shapes::of(&solid.by(settings.outlines), settings.ends)?;
        Some(DrawnShape { number: roi.header.number, shapes, pieces })
    };
    let given: Vec<DrawnShape> = treated.iter().filter_map(shape).collect();
    let mut places = Vec::new();
    for roi in &set.rois {
        let number = roi.header.number;
        let is_target = case.name(number).is_some_and(|n| n.role.is_target());
        if !is_target || roi.header.frame.as_ref() != frame {
            continue;
        }
        let Some(own) = shape(roi) else { continue };
        let prescription = case.prescriptions.iter().find(|p| p.roi_number == number);
        let inputs = PlaceInputs {
            fields,
            prescription_gy: prescription.map(|p| p.dose.value()),
            given: &given,
            registration_mm: settings.registration_mm,
        };
        places.push(place(&own, inputs));
    }
    places.sort_by_key(|p| p.roi_number);
    places
}

/// A target, treated or drawn later.
struct DrawnShape {
    number: i64,
    shapes: Shapes,
    pieces: usize,
}

#[derive(Clone, Copy)]
struct PlaceInputs<'a> {
    fields: Fields<'a>,
    prescription_gy: Option<f64>,
    given: &'a [DrawnShape],
    registration_mm: Option<f64>,
}

fn place(own: &DrawnShape, inputs: PlaceInputs<'_>) -> FollowUpPlace {
    let DrawnShape { number, shapes: own, pieces } = own;
    let gaps = inputs.given.iter().map(|t| (t, Shapes::gap(&t.shapes, own)));
    let nearest = gaps.filter(|(_, gap)| gap.value.is_some()).min_by(|(_, a), (_, b)| {
        let gap = |o: &Outcome| o.value.unwrap_or(f64::INFINITY);
        gap(a).total_cmp(&gap(b))
    });
    let no_target = || Outcome::none(Status::NotApplicable, "the plan has no target with a volume");
    let (mut centre_to_target, mut near_target) = (no_target(), no_target());
    if let Some((target, gap)) = &nearest {
        let centre = |x: &Shape, y: &Shape| y.body.signed_distance_mm(x.cells.centroid()?);
        let chance = shape::GAP_CHANCE * own.pitch_mm().max(target.shapes.pitch_mm());
        centre_to_target = Shapes::compare(own, &target.shapes, chance, &centre);
        let off_mm = inputs.registration_mm.unwrap_or(0.0);
        let around = [NEAR_MM, NEAR_MM - off_mm, NEAR_MM + off_mm];
        let [near, nearer, farther] = shape::shares_within(&target.shapes, own, around, gap);
        near_target = Outcome { low: nearer.low, high: farther.high, ..near };
    }
    let off_mm = inputs.registration_mm;
    let in_dose = InDose { own, fields: inputs.fields, off_mm };
    let far = |outcome: Outcome| registration::of_distance(outcome, off_mm);
    let [centre_to_isodose, gap_to_isodose] =
        in_dose.isodose_distances(inputs.prescription_gy).map(far);
    FollowUpPlace {
        roi_number: *number,
        pieces: *pieces,
        registration_mm: off_mm,
        nearest_target: nearest.as_ref().map(|(t, _)| t.number),
        inside: in_dose.shares(inputs.prescription_gy),
        centre_dose: in_dose.centre_dose(),
        centre_to_target: far(centre_to_target),
        gap_to_target: nearest.map_or_else(no_target, |(_, gap)| far(gap)),
        near_target,
        centre_to_isodose,
        gap_to_isodose,
    }
}

/// Smallest and largest share inside each isodose for shifts of up to so much.
#[derive(Clone, Copy)]
struct ShiftedShares {
    by_mm: f64,
    percent: [[f64; 2]; ISODOSES_PERCENT.len()],
}

/// A structure in a dose.
#[derive(Clone, Copy)]
struct InDose<'a> {
    own: &'a Shapes,
    fields: Fields<'a>,
    /// How far off the registration may be, mm.
    off_mm: Option<f64>,
}

/// A dose, or something made of it, in all ways in which it is read.
struct Ways<'a, R> {
    nominal: &'a R,
    /// Of every second voxel.
    thinned: Vec<&'a R>,
    /// Of a noisy dose: what it may have been, with the share that counts.
    scattered: Vec<(f64, &'a R)>,
}

/// Quantities of a shape in a dose that was read in one way; absent outside the grid.
type InDoseOf<'f, R, const N: usize> = dyn Fn(&Shape, &R) -> Option<[f64; N]> + 'f;

impl<'a> InDose<'a> {
    /// Quantities with their bounds; the reason is that of a structure outside the grid.
    fn bounded<R, const N: usize>(
        &self,
        ways: &Ways<'_, R>,
        chance: f64,
        of: &InDoseOf<'_, R, N>,
    ) -> [Outcome; N] {
        let in_shape = |x: &Shape, _: &Shape| of(x, ways.nominal);
        let mut outcomes = Shapes::compare_several(self.own, self.own, chance, &in_shape);
        let coarse = self.own.coarse();
        let base = of(coarse, ways.nominal);
        let off = |way: &R| -> [f64; N] {
            let (Some(base), Some(other)) = (base, of(coarse, way)) else { return [0.0; N] };
            std::array::from_fn(|i| (other[i] - base[i]).abs())
        };
        let thinned: Vec<[f64; N]> = ways.thinned.iter().map(|way| off(way)).collect();
        let scattered: Vec<(f64, [f64; N])> =
            ways.scattered.iter().map(|(share, way)| (*share, off(way))).collect();
        for (i, outcome) in outcomes.iter_mut().enumerate() {
            let Some((value, low)) = outcome.value.zip(outcome.low) else {
                let reason = "the structure lies outside the dose grid";
                *outcome = Outcome::none(Status::OutsideGrid, reason);
                continue;
            };
            let largest = thinned.iter().map(|t| t[i]).fold(0.0, f64::max);
            let mut doubt_2 = (dose_share(self.fields.nominal.method()) * largest).powi(2);
            for (share, off) in &scattered {
                doubt_2 += (share * off[i]).powi(2);
            }
            let reach = (value - low).hypot(2.0 * doubt_2.sqrt());
            (outcome.low, outcome.high) = (Some(value - reach), Some(value + reach));
        }
        outcomes
    }

    fn doses(&self) -> Ways<'a, DoseField> {
        let Fields { nominal, thinned, scattered, .. } = self.fields;
        Ways {
            nominal,
            thinned: thinned.iter().collect(),
            scattered: scattered.iter().map(|other| (other.share, &other.field)).collect(),
        }
    }

    fn centre_dose(&self) -> Outcome {
        let of = |x: &Shape, field: &DoseField| Some([field.at(x.cells.centroid()?)?]);
        let [outcome] = self.bounded(&self.doses(), 0.0, &of);
        registration::of_range(outcome, self.centre_range())
    }

    /// The lowest and the highest dose within the doubt about the registration of its centre.
    fn centre_range(&self) -> Option<[f64; 2]> {
        let (off_mm, centre) = (self.off_mm?, self.own.coarse().cells.centroid()?);
        let dose = self.fields.nominal.at(centre)?;
        let mut range = [dose; 2];
        for direction in Direction::ALL {
            let by = direction.vector(off_mm);
            let there: Point = std::array::from_fn(|i| centre[i] + by[i]);
            if let Some(dose) = self.fields.nominal.at(there) {
                range = [range[0].min(dose), range[1].max(dose)];
            }
        }
        Some(range)
    }

    fn shares(&self, prescription_gy: Option<f64>) -> Vec<ShareInside> {
        let Some(prescription_gy) = prescription_gy else { return Vec::new() };
        let doses_gy = ISODOSES_PERCENT.map(|percent| percent / 100.0 * prescription_gy);
        let of = |x: &Shape, field: &DoseField| shares_percent(&x.cells, field, doses_gy);
        let outcomes = self.bounded(&self.doses(), 100.0 * CHANCE_SHARE, &of);
        let shifted = self.shifted(doses_gy, &SHIFTS_MM);
        // Halfway as well: where a larger shift goes past, a smaller one may reach further.
        let doubt = self.off_mm.map(|mm| self.shifted(doses_gy, &[0.5 * mm, mm]));
        let doubt = doubt.as_ref().and_then(|shifts| shifts.last());
        let mut out = Vec::new();
        for (i, outcome) in outcomes.into_iter().enumerate() {
            let outcome = registration::of_range(outcome, doubt.map(|s| s.percent[i]));
            let of_level = |s: &ShiftedShares| Shifted { by_mm: s.by_mm, percent: s.percent[i] };
            out.push(ShareInside {
                isodose_percent: ISODOSES_PERCENT[i],
                isodose_gy: doses_gy[i],
                share: within_percent(self.outside_grid(outcome)),
                shifted: shifted.iter().map(of_level).collect(),
            });
        }
        out
    }

    /// What lies outside the grid may receive the dose or not.
    fn outside_grid(&self, outcome: Outcome) -> Outcome {
        let samples = sample(self.fields.nominal, &self.own.coarse().cells, 2.0);
        let outside = samples.outside_mm3;
        if outside <= 0.0 || outcome.value.is_none() {
            return outcome;
        }
        let percent = 100.0 * outside / (outside + samples.inside_mm3());
        let reason = format!("{percent:.1} % of the structure lies outside the dose grid");
        let high = outcome.high.map(|high| high + percent);
        Outcome { high, status: Status::PartlyOutsideGrid, reason, ..outcome }
    }

    fn shifted(
        &self,
        doses_gy: [f64; ISODOSES_PERCENT.len()],
        lengths_mm: &[f64],
    ) -> Vec<ShiftedShares> {
        let cells = &self.own.coarse().cells;
        let mut out = Vec::new();
        // A shift of up to so much: a smaller one may reach further where a larger one goes past.
        let unmoved = shares_percent(cells, self.fields.nominal, doses_gy);
        let mut ranges = unmoved.map(|shares| shares.map(|percent| [percent; 2]));
        for &by_mm in lengths_mm {
            for direction in Direction::ALL {
                let moved = cells.moved(direction.vector(by_mm));
                let shares = shares_percent(&moved, self.fields.nominal, doses_gy);
                let (Some(ranges), Some(shares)) = (&mut ranges, shares) else { continue };
                for (range, percent) in ranges.iter_mut().zip(shares) {
                    *range = [range[0].min(percent), range[1].max(percent)];
                }
            }
            out.extend(ranges.map(|percent| ShiftedShares { by_mm, percent }));
        }
        out
    }

    /// Signed distances of the centre of mass, and of the nearest point of the surface, from the
    /// prescription isodose.
    fn isodose_distances(&self, prescription_gy: Option<f64>) -> [Outcome; 2] {
        let none = |reason: &str| {
            [Status::NotApplicable; 2].map(|status| Outcome::none(status, reason.to_owned()))
        };
        let Some(dose_gy) = prescription_gy else {
            return none("no prescription dose is known for what was treated");
        };
        let surface = |field| IsodoseSurface::of(field, dose_gy);
        let Some(nominal) = surface(self.fields.nominal) else {
            return none("the dose reaches the prescription nowhere");
        };
        let thinned: Vec<IsodoseSurface<'_>> =
            self.fields.thinned.iter().filter_map(surface).collect();
        let ways =
            Ways { nominal: &nominal, thinned: thinned.iter().collect(), scattered: Vec::new() };
        let chance = shape::GAP_CHANCE * self.own.pitch_mm();
        let centre =
            |x: &Shape, of: &IsodoseSurface<'_>| Some([of.signed_mm(x.cells.centroid()?)?]);
        let surface = |x: &Shape, of: &IsodoseSurface<'_>| {
            Some([of.least_signed_mm(&spread(x.body.points()))?])
        };
        let [centre] = self.bounded(&ways, chance, &centre);
        let [surface] = self.bounded(&ways, chance, &surface);
        [centre, surface]
    }
}

/// Points of a surface that are looked at, at most twice as many.
const SURFACE_POINTS: usize = 600;

fn spread(points: &[Point]) -> Vec<Point> {
    points.iter().step_by((points.len() / SURFACE_POINTS).max(1)).copied().collect()
}

/// Shares of a solid that receive some doses, percent, of all of it; absent where none of it lies
/// in the grid.
fn shares_percent<const N: usize>(
    cells: &Occupancy,
    field: &DoseField,
    doses_gy: [f64; N],
) -> Option<[f64; N]> {
    let samples = sample(field, cells, 2.0);
    let all = samples.inside_mm3() + samples.outside_mm3;
    let dvh = Dvh::of(&samples)?;
    Some(doses_gy.map(|dose_gy| 100.0 * dvh.volume_at_dose(dose_gy) / all))
}

fn within_percent(outcome: Outcome) -> Outcome {
    let clamp = |x: Option<f64>| x.map(|x| x.clamp(0.0, 100.0));
    let (low, high) = (clamp(outcome.low), clamp(outcome.high));
    Outcome { value: clamp(outcome.value), low, high, ..outcome }
}

#[cfg(test)]
mod tests;
