//! Doses of parts of a plan added up to the dose of the plan (DICOM PS3.3 C.8.8.3, Dose Summation
//! Type): only when every part is there exactly once, on one grid. FRACTION is the whole delivery
//! of a fraction group and BEAM that of its beams; FRACTION_SESSION and BEAM_SESSION hold one
//! fraction and count as often as the plan states. Nothing is resampled.

use std::collections::{BTreeMap, BTreeSet};

use super::list;
use crate::{DosePart, technology};
use tidydose_rt::{DoseHeader, DoseSummation, DoseType, DoseUnits, FractionGroup, Plan};

/// Voxel centres of two grids that lie closer than this are the same, mm: in the steepest fall-off
/// of radiosurgery, some 10 Gy/mm, that is 0.01 Gy.
const SAME_PLACE_MM: f64 = 1e-3;

/// The kinds of parts that can make a whole, the most complete first.
const KINDS: [DoseSummation; 4] = [
    DoseSummation::Fraction,
    DoseSummation::Beam,
    DoseSummation::FractionSession,
    DoseSummation::BeamSession,
];

/// A sum that makes up the dose of the plan.
pub(super) struct SummedDose {
    /// What is added.
    pub(super) parts: Vec<DosePart>,
    /// How, in words.
    pub(super) words: String,
    /// Whether a part counts more than once.
    pub(super) multiplied: bool,
}

/// The sum of one kind of parts that is complete; otherwise what each kind lacks.
pub(super) fn sum(doses: &[&DoseHeader], plan: Option<&Plan>) -> Result<SummedDose, Vec<String>> {
    let Some(plan) = plan else { return Err(Vec::new()) };
    let mut lacks = Vec::new();
    for kind in KINDS {
        let parts: Vec<&DoseHeader> =
            doses.iter().copied().filter(|d| d.summation == kind).collect();
        if parts.is_empty() {
            continue;
        }
        match complete(kind, &parts, plan) {
            Ok(sum) => return Ok(sum),
            Err(reason) => lacks.push(format!("{}: {reason}", kind.term())),
        }
    }
    Err(lacks)
}

fn complete(kind: DoseSummation, doses: &[&DoseHeader], plan: &Plan) -> Result<SummedDose, String> {
    let doses = without_copies(doses);
    alike(&doses)?;
    let mut covered: BTreeMap<(i64, Option<i64>), Vec<&DoseHeader>> = BTreeMap::new();
    let mut parts = Vec::new();
    for dose in &doses {
        let places = places(kind, dose, plan)?;
        let groups: BTreeSet<i64> = places.iter().map(|(group, _)| *group).collect();
        parts.push(DosePart { dose: (*dose).clone(), factor: factor(kind, &groups, plan)? });
        for place in places {
            covered.entry(place).or_default().push(dose);
        }
    }
    for needed in needed(kind, plan)? {
        match covered.get(&needed).map(Vec::as_slice) {
            None => return Err(format!("{} is missing", describe(needed))),
            Some([_]) => {}
            Some(several) => {
                return Err(format!(
                    "{} is in {} grids ({})",
                    describe(needed),
                    several.len(),
                    list(several.iter().map(|d| &d.origin.object))
                ));
            }
        }
    }
    Ok(described(kind, parts))
}

fn described(kind: DoseSummation, parts: Vec<DosePart>) -> SummedDose {
    let times: BTreeSet<String> =
        parts.iter().filter(|p| p.factor > 1.0).map(|p| p.factor.to_string()).collect();
    let mut words = match parts.len() {
        1 => format!("one {} grid", kind.term()),
        n => format!("sum of {n} {} grids", kind.term()),
    };
    let multiplied = !times.is_empty();
    if multiplied {
        let times = times.into_iter().collect::<Vec<_>>().join(" or ");
        words.push_str(&format!(", times {times} (Number of Fractions Planned)"));
    }
    SummedDose { parts, words, multiplied }
}

/// The same voxels of the same beams under several SOP instances are one grid.
fn without_copies<'a>(doses: &[&'a DoseHeader]) -> Vec<&'a DoseHeader> {
    let mut kept: Vec<&DoseHeader> = Vec::new();
    for dose in doses {
        let same = |k: &&DoseHeader| is_copy(k, dose) && k.groups == dose.groups;
        if !kept.iter().any(same) {
            kept.push(dose);
        }
    }
    kept
}

/// Whether two doses hold the same voxels at the same places.
pub(super) fn is_copy(a: &DoseHeader, b: &DoseHeader) -> bool {
    a.voxels.is_some()
        && a.voxels == b.voxels
        && (a.frame == b.frame, a.units == b.units, a.kind == b.kind) == (true, true, true)
        && a.summation == b.summation
        && same_grid(a, b)
}

/// Whether two grids have the same voxel centres.
pub(super) fn same_grid(a: &DoseHeader, b: &DoseHeader) -> bool {
    let (Some(a), Some(b)) = (&a.grid, &b.grid) else { return false };
    let [planes, rows, columns] = a.shape();
    let last = [planes - 1, rows - 1, columns - 1];
    let near = |index: [usize; 3]| {
        let (p, q) = (a.position(index), b.position(index));
        p.iter().zip(q).all(|(x, y)| (x - y).abs() <= SAME_PLACE_MM)
    };
    let corner = |i: usize| [0, 1, 2].map(|axis| if i >> axis & 1 == 1 { last[axis] } else { 0 });
    let offsets = || a.offsets_mm().iter().zip(b.offsets_mm());
    a.shape() == b.shape()
        && (0..8).all(|i| near(corner(i)))
        && offsets().all(|(x, y)| (x - y).abs() <= SAME_PLACE_MM)
}

/// Demands that doses can be added at all.
fn alike(doses: &[&DoseHeader]) -> Result<(), String> {
    let Some(first) = doses.first() else { return Err("there is none".to_owned()) };
    for dose in doses {
        let object = &dose.origin.object;
        if dose.grid.is_none() {
            return Err(format!("{object} has no voxel grid"));
        }
        if dose.units != DoseUnits::Gray {
            return Err(format!("Dose Units of {object} is RELATIVE; GY would be accepted"));
        }
        if dose.kind == DoseType::Error || dose.kind != first.kind {
            return Err("Dose Type is not the same PHYSICAL or EFFECTIVE in all".to_owned());
        }
        if dose.frame != first.frame || dose.origin.patient != first.origin.patient {
            return Err(format!("{object} is of another patient or frame of reference"));
        }
        if !same_grid(first, dose) {
            return Err(format!(
                "{object} has other voxel centres than {}; grids are not resampled, the same grid \
                 would be accepted",
                first.origin.object
            ));
        }
    }
    Ok(())
}

/// A fraction group, and for doses of beams one beam of it.
type GroupOrBeam = (i64, Option<i64>);

fn describe((group, beam): GroupOrBeam) -> String {
    match beam {
        Some(beam) => format!("beam {beam} of fraction group {group}"),
        None => format!("fraction group {group}"),
    }
}

const fn is_of_beams(kind: DoseSummation) -> bool {
    matches!(kind, DoseSummation::Beam | DoseSummation::BeamSession)
}

/// Numbers of the beams of a group that treat.
fn treating<'a>(group: &'a FractionGroup, plan: &'a Plan) -> impl Iterator<Item = i64> + 'a {
    let treats = |number: i64| {
        plan.beams.iter().find(|b| b.number == number).is_none_or(technology::is_treatment)
    };
    group.beams.iter().map(|b| b.beam_number).filter(move |n| treats(*n))
}

/// What the plan needs to be whole.
fn needed(kind: DoseSummation, plan: &Plan) -> Result<BTreeSet<GroupOrBeam>, String> {
    if plan.fraction_groups.is_empty() {
        return Err("the plan lists no fraction group".to_owned());
    }
    let mut needed = BTreeSet::new();
    for group in &plan.fraction_groups {
        if !is_of_beams(kind) {
            needed.insert((group.number, None));
            continue;
        }
        let beams: Vec<i64> = treating(group, plan).collect();
        if beams.is_empty() {
            return Err(format!("fraction group {} of the plan lists no beam", group.number));
        }
        needed.extend(beams.into_iter().map(|beam| (group.number, Some(beam))));
    }
    Ok(needed)
}

/// What a dose says it holds.
fn places(kind: DoseSummation, dose: &DoseHeader, plan: &Plan) -> Result<Vec<GroupOrBeam>, String> {
    let object = &dose.origin.object;
    if dose.groups.is_empty() {
        return match plan.fraction_groups.as_slice() {
            [only] if !is_of_beams(kind) => Ok(vec![(only.number, None)]),
            _ => Err(format!("{object} does not say what it holds (ReferencedFractionGroup)")),
        };
    }
    let mut places = Vec::new();
    for stated in &dose.groups {
        let group = match (stated.number, plan.fraction_groups.as_slice()) {
            (None, [only]) => Some(only),
            (number, all) => all.iter().find(|g| Some(g.number) == number),
        };
        let group =
            group.ok_or_else(|| format!("{object} names a fraction group that the plan lacks"))?;
        if is_of_beams(kind) {
            if stated.beams.is_empty() {
                return Err(format!("{object} names no beam"));
            }
            places.extend(stated.beams.iter().map(|beam| (group.number, Some(*beam))));
        } else {
            let all = stated.beams.is_empty()
                || treating(group, plan).all(|beam| stated.beams.contains(&beam));
            if !all {
                return Err(format!(
                    "{object} names only some of the beams of fraction group {}",
                    group.number
                ));
            }
            places.push((group.number, None));
        }
    }
    Ok(places)
}

/// How often a dose counts.
fn factor(kind: DoseSummation, groups: &BTreeSet<i64>, plan: &Plan) -> Result<f64, String> {
    if !matches!(kind, DoseSummation::FractionSession | DoseSummation::BeamSession) {
        return Ok(1.0);
    }
    let own = plan.fraction_groups.iter().filter(|g| groups.contains(&g.number));
    let counts: BTreeSet<Option<u32>> = own.map(|g| g.fractions).collect();
    match counts.into_iter().collect::<Vec<_>>().as_slice() {
        [Some(count)] => Ok(f64::from(*count)),
        [None] => Err("it holds one fraction and the plan does not state how many".to_owned()),
        _ => Err("one grid holds fraction groups of different Number of Fractions".to_owned()),
    }
}
