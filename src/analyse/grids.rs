//! One case whose dose lies in several grids, each of another region: whether they hold the same
//! dose where they overlap, and in which of them each structure is measured. Adds nothing up.

use std::collections::{BTreeMap, BTreeSet};
use std::convert::Infallible;

use super::known::{Gathered, GridPass, Order};
use super::memory::{GridFacts, Grids, Memory, Notes};
use super::missing::Missing;
use super::region::BRAIN;
use super::{Analysis, DoseAtHand, Results, Settings, WholeCase, conclude, measure, parts};
use tidydose_case::{Case, NamedRoi, Role};
use tidydose_dose::{DoseField, Interpolation};
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::{Dose, Roi, StructureSet};

/// Two grids hold the same dose when they differ by less than this share of the largest dose at
/// the voxel centres that lie in both. Stored steps and the spline between voxels, for a dose that
/// the coarser grid resolves at all (width of two voxels or more), stay below a third of it.
const SAME_DOSE: f64 = 0.01;

/// Analyses one case with any number of dose grids, in the order of the case: none, one, or the
/// regions of one dose.
#[must_use]
pub fn analyse_grids(
    case: &Case,
    structures: Option<&StructureSet>,
    doses: Vec<Dose>,
    settings: &Settings,
) -> Analysis {
    let read = || Ok::<_, Infallible>(doses);
    let done = analyse_remembered(case, structures, read, settings, &mut Memory::default());
    done.unwrap_or_else(|never| match never {})
}

/// The same, with what is remembered of the case: the doses are read only when something has to be
/// measured, and what is measured is remembered.
///
/// # Errors
/// When the doses cannot be read.
pub fn analyse_remembered<E>(
    case: &Case,
    structures: Option<&StructureSet>,
    read: impl FnOnce() -> Result<Vec<Dose>, E>,
    settings: &Settings,
    memory: &mut Memory,
) -> Result<Analysis, E> {
    let notes = Notes::of(std::mem::take(memory));
    let job = Job { case, structures, settings, notes: &notes };
    let remembered = || job.run(Supply::Remembered(notes.grids()?)).ok();
    let done = match case.left_out.is_none().then(remembered).flatten() {
        Some(done) => Ok(done),
        None => read().map(|doses| {
            // With the doses at hand nothing is missing.
            job.run(Supply::Read(doses)).unwrap_or_else(|Missing| Analysis::empty(case.id.clone()))
        }),
    };
    *memory = notes.close();
    done
}

/// A case and what it is analysed by.
#[derive(Clone, Copy)]
struct Job<'a> {
    case: &'a Case,
    structures: Option<&'a StructureSet>,
    settings: &'a Settings,
    notes: &'a Notes,
}

/// The doses, or what is remembered of them.
enum Supply {
    Read(Vec<Dose>),
    Remembered(Grids),
}

impl<'a> Job<'a> {
    fn run(self, supply: Supply) -> Result<Analysis, Missing> {
        let (sources, known): (Vec<Source>, Grids) = match supply {
            Supply::Remembered(known) => {
                (known.grids.iter().cloned().map(Source::Facts).collect(), known)
            }
            Supply::Read(doses) => {
                let known = self.notes.grids().filter(|k| k.grids.len() == doses.len());
                let known = known.unwrap_or_else(|| match self.structures {
                    Some(set) if doses.len() > 1 => layout(&doses, set),
                    _ => Grids::default(),
                });
                (doses.into_iter().map(Source::Dose).collect(), known)
            }
        };
        if let Some(reason) = known.disagreement.clone() {
            if self.notes.grids().is_none() {
                self.notes.keep_grids(known);
            }
            return self.refused(reason);
        }
        match self.structures {
            Some(set) if sources.len() > 1 => self.several(set, sources, known),
            _ => self.single(sources.into_iter().next_back()),
        }
    }

    fn single(self, source: Option<Source>) -> Result<Analysis, Missing> {
        let Self { case, structures, settings, notes } = self;
        let mut out = Analysis::empty(case.id.clone());
        let parts = parts(case, structures, settings.outlines, &mut out);
        let grid = source.map(|s| s.grid(settings));
        if let Some(DoseAtHand { facts, read: Some(_) }) = &grid {
            notes.keep_grids(Grids { grids: vec![facts.clone()], ..Grids::default() });
        }
        let (mut gathered, turn) = (Gathered::default(), GridPass::only(&|_| true));
        let measured = structures.map(|_| parts.as_slice());
        let order = Order { settings, turn, notes };
        let into = Results { gathered: &mut gathered, rows: &mut out };
        measure(case, measured, grid.as_ref(), order, into)?;
        conclude(WholeCase { case, settings, notes }, &parts, &gathered.values, &mut out);
        Ok(out)
    }

    fn several(
        self,
        set: &StructureSet,
        sources: Vec<Source>,
        mut known: Grids,
    ) -> Result<Analysis, Missing> {
        let Self { case, settings, notes, .. } = self;
        let (count, holding) = (sources.len(), known.holding);
        // What rests on several structures is computed in the last grid: that of all space, or else
        // that of the organ which targets are taken out of.
        let last = holding.or_else(|| brain(case).and_then(|n| known.place.get(&n).copied()));
        let mut sources: Vec<(usize, Source)> = sources.into_iter().enumerate().collect();
        sources.sort_by_key(|(index, _)| Some(*index) == last);
        let (mut out, mut gathered) = (Analysis::empty(case.id.clone()), Gathered::default());
        let mut facts: Vec<(usize, GridFacts)> = Vec::new();
        for (turn, (index, source)) in (1..).zip(sources) {
            let of_grid = known.place.iter().filter(|(_, at)| **at == index);
            let own: BTreeSet<i64> = of_grid.map(|(number, _)| *number).collect();
            let wanted = |number: i64| own.contains(&number);
            let (holds_all, last) = (holding == Some(index), turn == count);
            let turn = GridPass { wanted: &wanted, grids: count, holds_all, last };
            let mut shared = own.clone();
            shared.extend(brain(case).filter(|_| last));
            let set = restricted(set, case, &shared);
            let mut one = Analysis::empty(case.id.clone());
            let parts = parts(case, Some(&set), settings.outlines, &mut one);
            let grid = source.grid(settings);
            facts.push((index, grid.facts.clone()));
            let order = Order { settings, turn, notes };
            let into = Results { gathered: &mut gathered, rows: &mut one };
            measure(case, Some(&parts), Some(&grid), order, into)?;
            add(&mut out, one);
        }
        facts.sort_by_key(|(index, _)| *index);
        let facts = facts.into_iter().map(|(_, facts)| facts).collect();
        if known.grids != facts {
            known.grids = facts;
            notes.keep_grids(known);
        }
        let parts = parts(case, Some(set), settings.outlines, &mut out);
        conclude(WholeCase { case, settings, notes }, &parts, &gathered.values, &mut out);
        out.structures.sort_by_key(|s| s.roi_number);
        out.findings.dedup();
        Ok(out)
    }

    /// The case without a dose.
    fn refused(self, reason: String) -> Result<Analysis, Missing> {
        let left_out = Some((Code::DoseGridsDisagree, reason.clone()));
        let refused = Case { left_out, ..self.case.clone() };
        let mut out = Job { case: &refused, ..self }.single(None)?;
        out.findings.push(Finding::new(Code::DoseGridsDisagree, about(self.case), reason));
        out.findings.sort();
        Ok(out)
    }
}

/// A dose, or what is remembered of it.
enum Source {
    Dose(Dose),
    Facts(GridFacts),
}

impl Source {
    fn grid(self, settings: &Settings) -> DoseAtHand {
        match self {
            Self::Dose(dose) => DoseAtHand::of(dose, settings),
            Self::Facts(facts) => DoseAtHand::remembered(facts),
        }
    }
}

/// Whether doses agree, and which structure is measured in which; facts of each come later.
fn layout(doses: &[Dose], set: &StructureSet) -> Grids {
    match disagreement(doses) {
        Some(reason) => Grids { disagreement: Some(reason), ..Grids::default() },
        None => {
            Grids { place: assignment(doses, set), holding: holds_all(doses), ..Grids::default() }
        }
    }
}

fn about(case: &Case) -> Subject {
    let object = case.dose.as_ref().map(|d| d.origin.object.clone());
    Subject {
        patient: case.patient.clone(),
        case: Some(case.id.clone()),
        object,
        ..Subject::default()
    }
}

/// The structure that targets are taken out of.
fn brain(case: &Case) -> Option<i64> {
    let is_brain = |n: &&NamedRoi| n.standard.as_deref() == Some(BRAIN) && n.role == Role::Organ;
    let rest = || case.names.iter().find(|n| n.is_brain_or_its_rest());
    case.names.iter().find(is_brain).or_else(rest).map(|n| n.number)
}

/// The grid that holds all others, if one does: their outermost voxel centres lie in it.
fn holds_all(doses: &[Dose]) -> Option<usize> {
    let within = |inner: &Dose, outer: &Dose| {
        let last = inner.grid.shape().map(|n| n.saturating_sub(1));
        let corners =
            (0..8).map(|i| [0, 1, 2].map(|axis| if i >> axis & 1 == 1 { last[axis] } else { 0 }));
        corners.into_iter().all(|corner| outer.grid.contains(inner.grid.position(corner)))
    };
    doses.iter().position(|outer| doses.iter().all(|inner| within(inner, outer)))
}

/// The structures that are measured here, and the targets that share isodoses with them.
fn restricted(set: &StructureSet, case: &Case, own: &BTreeSet<i64>) -> StructureSet {
    let is_target = |number: i64| {
        let name = case.name(number);
        name.map_or(Role::Unknown, |n| n.role).is_target()
    };
    let mut set = set.clone();
    set.rois.retain(|r| own.contains(&r.header.number) || is_target(r.header.number));
    set
}

/// Adds what one grid gave.
pub(super) fn add(total: &mut Analysis, one: Analysis) {
    match (&mut total.dose, one.dose) {
        (Some(all), Some(dose)) => {
            all.maximum_gy = all.maximum_gy.max(dose.maximum_gy);
            all.step_gy = all.step_gy.max(dose.step_gy);
        }
        (all @ None, dose) => *all = dose,
        _ => {}
    }
    total.structures.extend(one.structures);
    total.measurements.extend(one.measurements);
    total.regions.extend(one.regions);
    total.dvh.extend(one.dvh);
    total.pictures.extend(one.pictures);
    total.sensitivities.extend(one.sensitivities);
    total.traces.extend(one.traces);
    total.findings.extend(one.findings);
}

/// The finest grid that holds a structure whole, else the one that holds most of its points; of
/// equal ones the first.
fn assignment(doses: &[Dose], set: &StructureSet) -> BTreeMap<i64, usize> {
    let place = |roi: &Roi| {
        let score = |dose: &Dose| {
            let points = || roi.contours.iter().flat_map(|c| &c.points);
            let held = points().filter(|p| dose.grid.contains(**p)).count();
            (held, dose.grid.voxel_mm3())
        };
        let mut best = (0, 0, f64::INFINITY);
        for (index, dose) in doses.iter().enumerate() {
            let (held, voxel) = score(dose);
            if index == 0 || held > best.1 || held == best.1 && voxel < best.2 * (1.0 - 1e-9) {
                best = (index, held, voxel);
            }
        }
        (roi.header.number, best.0)
    };
    set.rois.iter().map(place).collect()
}

/// What two grids contradict each other in, if any do.
fn disagreement(doses: &[Dose]) -> Option<String> {
    for (i, a) in doses.iter().enumerate() {
        let field = DoseField::new(a.clone(), Interpolation::CubicBSpline);
        let largest = a.values.iter().copied().fold(0.0, f32::max);
        for (j, b) in doses.iter().enumerate().filter(|(j, _)| *j != i) {
            let largest = f64::from(b.values.iter().copied().fold(largest, f32::max));
            let limit = SAME_DOSE * largest + 0.5 * (a.step.value() + b.step.value());
            // The coarser one is compared at its own centres with the spline of the finer one.
            if !finer(a, b, i < j) {
                continue;
            }
            let worst = worst_difference(a, &field, b);
            if worst > limit {
                return Some(format!(
                    "dose grids {} and {} differ by up to {worst:.3} Gy where they overlap; up to \
                     {limit:.3} Gy would be accepted",
                    i + 1,
                    j + 1
                ));
            }
        }
    }
    None
}

fn finer(a: &Dose, b: &Dose, first: bool) -> bool {
    let [a, b] = [a, b].map(|dose| dose.grid.voxel_mm3());
    a < b * (1.0 - 1e-9) || first && (a - b).abs() <= 1e-9 * b
}

/// Largest difference at the voxel centres of `b` that lie in `a`, Gy; 0 where there are none.
fn worst_difference(a: &Dose, field: &DoseField, b: &Dose) -> f64 {
    let mut worst = 0.0_f64;
    for ((k, i, j), value) in b.values.indexed_iter() {
        let point = b.grid.position([k, i, j]);
        if !a.grid.contains(point) {
            continue;
        }
        if let Some(other) = field.at(point) {
            worst = worst.max((other - f64::from(*value)).abs());
        }
    }
    worst
}
