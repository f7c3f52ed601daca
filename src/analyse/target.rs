//! The isodoses that belong to one target: the island of its prescription isodose, whether other
//! targets share it, what of it is nearest to this target, and what lies around it.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::sync::Arc;

use tidydose_dose::beyond::largest_beyond;
use tidydose_dose::sample::sample;
use tidydose_dose::{Isodose, IsodoseMap, Partition};
use tidydose_geometry::locate::Locator;
use tidydose_geometry::occupancy::Occupancy;
use tidydose_geometry::surface::Shell;
use tidydose_geometry::{Point, ball_radius_mm};
use tidydose_metrics::gradient::PENUMBRA;
use tidydose_metrics::local::{LocalVolume, Surroundings};
use tidydose_metrics::{Metric, Need, PrescriptionIsodoses, needs};

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
    /// Its surface, to measure distances from.
    pub shell: Shell,
    /// Its cells.
    pub solid: Arc<Occupancy>,
}

impl Target {
    /// Describes a target by its solid in coarse cells, and in fine ones for its surface. Absent
    /// without volume.
    #[must_use]
    pub fn of(
        roi_number: i64,
        dose_gy: f64,
        solid: Arc<Occupancy>,
        fine: &Occupancy,
    ) -> Option<Self> {
        let centre = solid.centroid()?;
        let radius_mm = ball_radius_mm(solid.volume_mm3());
        let (seeds, shell) = (seeds(&solid), Shell::of(fine)?);
        Some(Self { roi_number, dose_gy, seeds, radius_mm, centre, shell, solid })
    }

    /// Whether two descriptions are of one lesion: nested targets such as a GTV in its PTV.
    #[must_use]
    pub fn is_nested_with(&self, other: &Self) -> bool {
        let d = tidydose_geometry::point::sub(self.centre, other.centre);
        tidydose_geometry::point::length(d) < self.radius_mm.max(other.radius_mm)
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

/// For each target the largest of those that are one lesion with it.
#[must_use]
pub fn lesions(targets: &[Target]) -> Vec<usize> {
    let largest = |t: &Target| {
        let same = targets.iter().enumerate().filter(|(_, o)| o.is_nested_with(t));
        same.max_by(|a, b| {
            a.1.radius_mm.total_cmp(&b.1.radius_mm).then(b.1.roi_number.cmp(&a.1.roi_number))
        })
        .map(|(i, _)| i)
    };
    targets.iter().enumerate().map(|(i, t)| largest(t).unwrap_or(i)).collect()
}

/// The isodoses of a plan at the levels that its targets ask for, each taken apart once.
pub struct Space<'a> {
    /// The isodoses of one dose.
    pub map: IsodoseMap<'a>,
    targets: &'a [Target],
    lesion_of: Vec<usize>,
    levels: BTreeMap<u64, Level>,
    /// All of each isodose that was asked for.
    wholes: RefCell<BTreeMap<u64, Isodose>>,
    /// Doses of the penumbra of each target, Gy; empty when not wanted.
    penumbra_gy: Vec<[f64; 2]>,
    /// Doses for which volumes around each target are wanted, Gy.
    local_gy: Vec<f64>,
    /// What else is wanted.
    wanted: Wanted,
}

/// What some metrics need of the space around targets.
#[derive(Debug, Clone, Copy)]
struct Wanted {
    /// The isodoses of the prescription and of half of it.
    isodoses: bool,
    /// Volumes by the nearest target.
    nearest: bool,
    /// The largest dose 2 cm away.
    two_cm: bool,
}

/// An isodose as each target sees it. Of its cells nothing is kept: they take as much memory as the
/// dose itself, for each level of each dose.
struct Level {
    islands: Vec<Island>,
    /// What is nearest to each lesion; empty when not wanted.
    nearest: Vec<Isodose>,
}

/// What of an isodose hangs together with one target.
#[derive(Clone, Default)]
struct Island {
    isodose: Isodose,
    /// ROI Numbers of other lesions in it.
    with: Vec<String>,
}

impl<'a> Space<'a> {
    /// Takes apart the isodoses that some metrics need: of every prescription and of half of it, of
    /// the penumbra, and of doses in their names.
    #[must_use]
    pub fn new(map: IsodoseMap<'a>, targets: &'a [Target], metrics: &[Metric]) -> Self {
        let local_gy = needs::local_levels(metrics);
        let any = |need| needs::any_needs(metrics, need);
        let wanted = Wanted {
            isodoses: any(Need::Isodoses),
            nearest: any(Need::Nearest),
            two_cm: any(Need::TwoCm),
        };
        let mut levels: Vec<f64> = Vec::new();
        if wanted.isodoses {
            levels.extend(targets.iter().flat_map(|t| [t.dose_gy, t.dose_gy / 2.0]));
        }
        let mut penumbra_gy = Vec::new();
        if any(Need::Penumbra) {
            let maximum = |t: &Target| sample(map.field(), &t.solid, 2.0).extremes_gy[1];
            penumbra_gy.extend(targets.iter().map(|t| PENUMBRA.map(|share| share * maximum(t))));
            levels.extend(penumbra_gy.iter().flatten().filter(|gy| **gy > 0.0));
        }
        if !targets.is_empty() {
            levels.extend(&local_gy);
        }
        let lesion_of = lesions(targets);
        let mut out = Self {
            map,
            targets,
            lesion_of,
            levels: BTreeMap::new(),
            wholes: RefCell::default(),
            penumbra_gy,
            local_gy,
            wanted,
        };
        for dose_gy in levels {
            if !out.levels.contains_key(&dose_gy.to_bits()) {
                let level = out.level(dose_gy);
                out.levels.insert(dose_gy.to_bits(), level);
            }
        }
        out
    }

    /// All of an isodose, whatever hangs together.
    #[must_use]
    pub fn whole(&self, dose_gy: f64) -> Isodose {
        let known = self.wholes.borrow().get(&dose_gy.to_bits()).copied();
        known.unwrap_or_else(|| {
            let whole = self.map.whole(dose_gy);
            self.wholes.borrow_mut().insert(dose_gy.to_bits(), whole);
            whole
        })
    }

    fn level(&self, dose_gy: f64) -> Level {
        if self.has_one_lesion() {
            // Its islands, and what is nearest to it, are all of the isodose.
            let isodose = self.whole(dose_gy);
            let nearest =
                if self.wanted.nearest { vec![isodose; self.targets.len()] } else { vec![] };
            let islands = vec![Island { isodose, with: Vec::new() }; self.targets.len()];
            return Level { islands, nearest };
        }
        let partition = Partition::of(&self.map, dose_gy);
        self.wholes.borrow_mut().insert(dose_gy.to_bits(), partition.whole());
        let islands = self.islands(&partition);
        if !self.wanted.nearest {
            return Level { islands, nearest: Vec::new() };
        }
        let mut own: Vec<usize> = self.lesion_of.clone();
        own.sort_unstable();
        own.dedup();
        let shells: Vec<&Shell> = own.iter().map(|i| &self.targets[*i].shell).collect();
        let locators: Vec<Locator<'_>> =
            own.iter().map(|i| Locator::new(&self.targets[*i].solid)).collect();
        let holds = |i: usize, p: Point| locators.get(i).is_some_and(|l| l.share_at(p) > 0.5);
        let parts = partition.nearest(&self.map, &shells, holds);
        let part = |lesion: &usize| {
            let at = own.iter().position(|i| i == lesion);
            at.and_then(|i| parts.get(i)).copied().unwrap_or_default()
        };
        let nearest = self.lesion_of.iter().map(part).collect();
        Level { islands, nearest }
    }

    /// Whether no two targets are of different lesions.
    fn has_one_lesion(&self) -> bool {
        let all = || self.targets.iter();
        all().all(|t| all().all(|o| o.roi_number == t.roi_number || o.is_nested_with(t)))
    }

    /// The island of each target: with a single lesion all of the isodose.
    fn islands(&self, partition: &Partition) -> Vec<Island> {
        let found: Vec<Vec<usize>> =
            self.targets.iter().map(|t| partition.islands_of(&self.map, &t.seeds)).collect();
        let mut out = Vec::new();
        for (target, own) in self.targets.iter().zip(&found) {
            let is_other =
                |t: &Target| t.roi_number != target.roi_number && !t.is_nested_with(target);
            let others = || self.targets.iter().zip(&found).filter(|(t, _)| is_other(t));
            if others().next().is_none() {
                out.push(Island { isodose: partition.whole(), with: Vec::new() });
                continue;
            }
            let meets = |theirs: &[usize]| theirs.iter().any(|i| own.contains(i));
            let with = others().filter(|(_, theirs)| meets(theirs));
            let with = with.map(|(t, _)| t.roi_number.to_string()).collect();
            out.push(Island { isodose: partition.together(own), with });
        }
        out
    }

    /// The isodoses of one target among all targets of the plan.
    ///
    /// With a single lesion the isodose is that of all space. With several, it is the connected
    /// island that holds dose of this target, and there is none for this target alone when the
    /// island holds another lesion too.
    #[must_use]
    pub fn isodoses(&self, target: &Target) -> PrescriptionIsodoses {
        let at = |dose_gy: f64| -> Result<Isodose, String> {
            let Island { isodose, with } = self.island(target, dose_gy);
            if with.is_empty() {
                return Ok(isodose);
            }
            let names = with.join(", ");
            Err(format!("merged: the {dose_gy} Gy isodose is shared with ROI {names}"))
        };
        let of_prescription = |dose_gy: f64| match self.wanted.isodoses {
            true => at(dose_gy),
            false => Err("no metric needs the isodose".to_owned()),
        };
        PrescriptionIsodoses {
            dose_gy: target.dose_gy,
            whole: of_prescription(target.dose_gy),
            half: of_prescription(target.dose_gy / 2.0),
            penumbra: self.index_of(target).and_then(|i| Some(self.penumbra_gy.get(i)?.map(at))),
            around: self.around(target),
        }
    }

    /// The island that holds a target.
    fn island(&self, target: &Target, dose_gy: f64) -> Island {
        let level = self.levels.get(&dose_gy.to_bits());
        let found = level.zip(self.index_of(target)).and_then(|(l, i)| l.islands.get(i));
        found.cloned().unwrap_or_default()
    }

    fn index_of(&self, target: &Target) -> Option<usize> {
        self.targets.iter().position(|t| t.roi_number == target.roi_number)
    }

    fn nearest(&self, target: &Target, dose_gy: f64) -> Isodose {
        let level = self.levels.get(&dose_gy.to_bits());
        level
            .zip(self.index_of(target))
            .and_then(|(l, i)| l.nearest.get(i))
            .copied()
            .unwrap_or_default()
    }

    fn around(&self, target: &Target) -> Surroundings {
        let local = |dose_gy: &f64| {
            let Island { isodose: island, with } = self.island(target, *dose_gy);
            LocalVolume { dose_gy: *dose_gy, nearest: self.nearest(target, *dose_gy), island, with }
        };
        let two_cm = self.wanted.two_cm.then(|| largest_beyond(&self.map, &target.shell, 20.0));
        Surroundings {
            nearest_whole: self.nearest(target, target.dose_gy),
            nearest_half: self.nearest(target, target.dose_gy / 2.0),
            local: self.local_gy.iter().map(local).collect(),
            two_cm: two_cm.flatten(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::{Ends, Settings};
    use crate::{structure, testing};
    use ndarray::Array3;
    use tidydose_dose::{DoseField, Interpolation};
    use tidydose_geometry::Grid;
    use tidydose_geometry::smooth::Variant;
    use tidydose_geometry::units::Gray;
    use tidydose_rt::Dose;
    use tidydose_rt::finding::Subject;

    /// Edge of the dose grid in voxels of 1 mm.
    const EDGE: u32 = 100;

    fn target(roi_number: i64, x: f64, radius_mm: f64, dose_gy: f64) -> Target {
        let roi = testing::ball(roi_number, [x, 0.0, 0.0], radius_mm);
        let solid = structure::build(&roi, &Subject::default(), &mut Vec::new()).unwrap();
        let cells = |coarse| solid.occupancy(Ends::ClosedCaps, coarse, Variant::default());
        Target::of(roi_number, dose_gy, cells(2.0), &cells(1.0)).unwrap()
    }

    /// Two hot spots 24 mm apart.
    fn field() -> DoseField {
        let offsets = (0..EDGE).map(f64::from).collect();
        let (axes, edge) = ([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], EDGE as usize);
        let grid = Grid::new([-50.0; 3], axes, [1.0; 2], offsets, [edge, edge]).unwrap();
        #[allow(clippy::cast_possible_truncation)] // doses are stored in single precision
        let values = Array3::from_shape_fn(grid.shape(), |at| {
            let [x, y, z] = grid.position(at.into());
            let spot = |c: f64| (-((x - c).powi(2) + y * y + z * z) / 18.0).exp();
            (30.0 * (spot(-12.0) + spot(12.0))) as f32
        });
        DoseField::new(Dose { grid, values, step: Gray::gy(1e-6) }, Interpolation::CubicBSpline)
    }

    /// One isodose taken apart has a number for each cell of the grid; before, all levels kept theirs
    /// as long as the case was in work.
    #[test]
    fn isodoses_of_many_levels_take_no_more_memory_than_one() {
        let (field, settings) = (field(), Settings::default());
        let targets = [target(1, -12.0, 4.0, 20.0), target(2, 12.0, 5.0, 24.0)];
        let needed = settings.needed(&settings.metrics);
        let map = IsodoseMap::new(&field);
        let mut levels = 0;
        let used = allocation_counter::measure(|| {
            levels = Space::new(map, &targets, &needed).levels.len();
        });
        assert!(levels >= 6, "{levels}");
        let one = 4 * u64::from(EDGE - 1).pow(3);
        assert!(used.bytes_max < 2 * one, "{levels} levels, {} bytes", used.bytes_max);
    }
}
