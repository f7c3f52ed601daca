//! The doses of several plans of a patient added up, voxel by voxel, and the structures of one of
//! them measured in the sum: physical dose, or EQD2 of each voxel's own dose per fraction, with the
//! α/β of each structure. Nothing here decides whether plans may be added.

use std::collections::BTreeMap;

use ndarray::Array3;

use super::fields::{Prepared, Scattered};
use super::known::{Gathered, GridPass, Order};
use super::memory::Notes;
use super::{Analysis, DoseAtHand, Results, Settings, measure, parts};
use tidydose_case::{Case, CountedFractions, Role, SumBasis};
use tidydose_dose::{self as dose, DoseField, Interpolation, Phase};
use tidydose_geometry::point::sub;
use tidydose_geometry::units::Gray;
use tidydose_geometry::{Grid, Point};
use tidydose_metrics::{Metric, Outcome, Status, organ_models};
use tidydose_rt::identity::Token;
use tidydose_rt::{Dose, Rigid, StructureSet};

/// The dose of one plan as it enters a sum.
#[derive(Debug, Clone)]
pub struct Addend {
    /// The plan.
    pub plan: Token,
    /// The dose of all fractions that were planned.
    pub dose: Dose,
    /// From the frame of reference of the structures into that of this dose.
    pub motion: Rigid,
    /// The fractions that are added up.
    pub fractions: CountedFractions,
}

/// One value of a sum.
#[derive(Debug, Clone, PartialEq)]
pub struct SumMeasurement {
    /// ROI Number of the structure.
    pub roi_number: i64,
    /// Metric in TG-263 syntax; doses are those of the sum's basis.
    pub metric: String,
    /// Unit symbol.
    pub unit: &'static str,
    /// α/β, Gy; absent for a physical sum.
    pub alpha_beta_gy: Option<f64>,
    /// Value, bounds, status, reason.
    pub outcome: Outcome,
    /// How it was computed.
    pub method: String,
}

/// Doses of one plan at a time, ready to be read at any point.
struct Source {
    plan: Token,
    fields: Prepared,
    motion: Rigid,
    fractions: f64,
    step_gy: f64,
    largest_gy: f64,
}

impl Source {
    /// Of the dose of the fractions that are counted: each gave its even share of the plan's dose.
    fn of(addend: Addend, settings: &Settings) -> Option<Self> {
        let Addend { plan, dose, motion, fractions } = addend;
        let dose = dose::sum(vec![(dose, fractions.share())])?;
        let step_gy = dose.step.value();
        let fields = Prepared::of(dose, settings.interpolation);
        let largest_gy = largest(fields.fields(step_gy).nominal);
        let fractions = f64::from(fractions.number());
        Some(Self { plan, fields, motion, fractions, step_gy, largest_gy })
    }
}

/// How the dose of one plan is weighted.
#[derive(Debug, Clone, Copy)]
enum Weight {
    Physical,
    Eqd2 { alpha_beta_gy: f64 },
}

impl Weight {
    /// EQD2 = D (D/n + α/β) / (2 Gy + α/β) of the linear-quadratic model (ICRU 91 and the
    /// references of metric `MeanEqd2[Gy]`).
    fn of(self, dose_gy: f64, fractions: f64) -> f64 {
        match self {
            Self::Physical => dose_gy,
            Self::Eqd2 { alpha_beta_gy } => {
                dose_gy * (dose_gy / fractions + alpha_beta_gy) / (2.0 + alpha_beta_gy)
            }
        }
    }

    /// How much a step of the dose becomes where the dose is largest.
    fn step(self, step_gy: f64, largest_gy: f64, fractions: f64) -> f64 {
        match self {
            Self::Physical => step_gy,
            Self::Eqd2 { alpha_beta_gy } => {
                step_gy * (2.0 * largest_gy / fractions + alpha_beta_gy) / (2.0 + alpha_beta_gy)
            }
        }
    }
}

/// Measures the structures of `case` in the sum; `addends` begin with the dose of the case itself,
/// where it is one of them.
///
/// # Errors
/// When the grids have no common part, or a plan has no dose in some of it.
pub fn analyse_sum(
    case: &Case,
    structures: &StructureSet,
    addends: Vec<Addend>,
    basis: SumBasis,
    settings: &Settings,
) -> Result<Vec<SumMeasurement>, String> {
    let lattice = lattice(&addends)
        .ok_or("the dose grids have no common part; grids that overlap would be accepted")?;
    let counted = Counted::of(&addends);
    let sources: Vec<Source> =
        addends.into_iter().filter_map(|a| Source::of(a, settings)).collect();
    let own = Settings {
        metrics: of_dose_alone(settings),
        limits: Vec::new(),
        regions: false,
        ..settings.clone()
    };
    let case = &Case { prescriptions: Vec::new(), ..case.clone() };
    // What is found in building the solids is said where the plan itself is measured.
    let parts =
        parts(case, Some(structures), settings.outlines, &mut Analysis::empty(case.id.clone()));
    let mut out = Vec::new();
    for (alpha_beta, numbers) in by_alpha_beta(case, structures, basis, settings) {
        let weight = match basis {
            SumBasis::Physical => Weight::Physical,
            SumBasis::Eqd2 => Weight::Eqd2 { alpha_beta_gy: alpha_beta.gy },
        };
        let prepared = added(&lattice, &sources, weight)?;
        let step_gy =
            sources.iter().map(|s| weight.step(s.step_gy, s.largest_gy, s.fractions)).sum();
        let mut one = Analysis::empty(case.id.clone());
        let wanted = |number: i64| numbers.contains(&number);
        let notes = Notes::default();
        let order = Order { settings: &own, turn: GridPass::only(&wanted), notes: &notes };
        let into = Results { gathered: &mut Gathered::default(), rows: &mut one };
        let grid = DoseAtHand::prepared(prepared, step_gy, &own);
        // With the dose at hand nothing is missing.
        let done = measure(case, Some(&parts), Some(&grid), order, into);
        debug_assert!(done.is_ok(), "the dose is at hand");
        let words = words(weight, sources.len(), &alpha_beta.basis);
        out.extend(one.measurements.into_iter().map(|m| SumMeasurement {
            roi_number: m.roi_number,
            alpha_beta_gy: (basis == SumBasis::Eqd2).then_some(alpha_beta.gy),
            outcome: counted.judged(&m.metric, m.outcome),
            metric: m.metric,
            unit: m.unit,
            method: format!("{}; {words}; {}", m.method, counted.words),
        }));
    }
    out.sort_by(|a, b| (a.roi_number, &a.metric).cmp(&(b.roi_number, &b.metric)));
    Ok(out)
}

/// Which fractions a sum is of.
struct Counted {
    /// Of every plan, for column `method`.
    words: String,
    /// Plans of which a fraction was delivered in part, in words; empty without any.
    partial: String,
}

impl Counted {
    fn of(addends: &[Addend]) -> Self {
        let list = |which: &dyn Fn(&Addend) -> bool| {
            let words = |a: &Addend| format!("plan {}: {}", a.plan, a.fractions.words());
            addends.iter().filter(|a| which(a)).map(words).collect::<Vec<_>>().join("; ")
        };
        Self { words: list(&|_| true), partial: list(&|a| a.fractions.partial > 0) }
    }

    /// What is left of a value when a fraction was delivered in part: its dose, which nobody tells,
    /// can only add to the sum.
    fn judged(&self, metric: &str, outcome: Outcome) -> Outcome {
        if self.partial.is_empty() || outcome.value.is_none() {
            return outcome;
        }
        match metric {
            "Volume[cc]" => outcome,
            // A spread of doses may grow or shrink when dose is added.
            "SD[Gy]" => Outcome::none(Status::NotApplicable, self.partial.clone()),
            _ => {
                let (status, reason) = (Status::Bound, self.partial.clone());
                Outcome { high: None, status, reason, ..outcome }
            }
        }
    }
}

/// α/β of a group of structures.
struct AlphaBeta {
    gy: f64,
    basis: String,
}

/// Structures (by ROI Number) that share an α/β; all of them together for a physical sum.
fn by_alpha_beta(
    case: &Case,
    structures: &StructureSet,
    basis: SumBasis,
    settings: &Settings,
) -> Vec<(AlphaBeta, Vec<i64>)> {
    let mut groups: BTreeMap<(u64, String), (AlphaBeta, Vec<i64>)> = BTreeMap::new();
    for roi in &structures.rois {
        let number = roi.header.number;
        let name = case.name(number);
        let standard = name.and_then(|n| n.standard.as_deref());
        let is_target = name.map_or(Role::Unknown, |n| n.role).is_target();
        let (gy, words) = match basis {
            SumBasis::Physical => (0.0, String::new()),
            SumBasis::Eqd2 => organ_models::alpha_beta(standard, is_target, &settings.alpha_beta),
        };
        let group = groups
            .entry((gy.to_bits(), words.clone()))
            .or_insert_with(|| (AlphaBeta { gy, basis: words }, Vec::new()));
        group.1.push(number);
    }
    groups.into_values().collect()
}

fn words(weight: Weight, plans: usize, basis: &str) -> String {
    match weight {
        Weight::Physical => format!("physical dose of {plans} plans added"),
        Weight::Eqd2 { alpha_beta_gy } => format!(
            "EQD2 of {plans} plans added voxel by voxel, alpha/beta {alpha_beta_gy} Gy ({basis}), \
             no recovery between them; a research model"
        ),
    }
}

fn largest(field: &DoseField) -> f64 {
    f64::from(field.values().iter().copied().fold(0.0, f32::max))
}

/// The voxel centres of the finest grid that lie in every grid, as a box of its rows, columns and
/// planes, in the frame of the structures.
fn lattice(addends: &[Addend]) -> Option<Grid> {
    let voxel = |a: &Addend| a.dose.grid.voxel_mm3();
    // Of grids that are equally fine the first, which is that of the structures' own plan.
    let finest = addends.iter().reduce(|a, b| if voxel(b) < voxel(a) * SAME_VOXEL { b } else { a });
    let finest = finest?;
    let back = finest.motion.inverse();
    let grid = &finest.dose.grid;
    let [planes, rows, columns] = grid.shape();
    let covered = Array3::from_shape_fn([planes, rows, columns], |(k, i, j)| {
        let point = back.apply(grid.position([k, i, j]));
        addends.iter().all(|a| a.dose.grid.contains(a.motion.apply(point)))
    });
    let [low, high] = filled_box(&covered)?;
    let turned = |direction: Point| sub(back.apply(direction), back.apply([0.0; 3]));
    let [_, down, along] = grid.directions().map(turned);
    let offsets = grid.offsets_mm().get(low[0]..=high[0])?;
    let first = *offsets.first()?;
    // The first plane of the box is at offset 0, as its first voxel is the origin.
    let offsets = offsets.iter().map(|o| o - first).collect();
    let size = [high[1] - low[1] + 1, high[2] - low[2] + 1];
    Grid::new(back.apply(grid.position(low)), [along, down], grid.spacing_mm(), offsets, size).ok()
}

/// A grid counts as finer when its voxels are smaller than this share of the other's.
const SAME_VOXEL: f64 = 1.0 - 1e-6;

/// A box (first and last index) without a false voxel, found by taking off the worst face until
/// none has one. Enough, since what several boxes have in common is convex.
fn filled_box(mask: &Array3<bool>) -> Option<[[usize; 3]; 2]> {
    let shape: Vec<usize> = mask.shape().to_vec();
    let (mut low, mut high) = ([0; 3], [0; 3]);
    for axis in 0..3 {
        high[axis] = shape[axis].checked_sub(1)?;
    }
    loop {
        let mut worst = (0.0, 0, 0);
        for axis in 0..3 {
            for (end, index) in [low[axis], high[axis]].into_iter().enumerate() {
                let missing = missing_share(mask, [low, high], axis, index);
                if missing > worst.0 {
                    worst = (missing, axis, end);
                }
            }
        }
        let (missing, axis, end) = worst;
        if missing == 0.0 {
            return Some([low, high]);
        }
        if low[axis] == high[axis] {
            return None;
        }
        if end == 0 {
            low[axis] += 1;
        } else {
            high[axis] -= 1;
        }
    }
}

/// Share of the voxels of one face that are not set.
fn missing_share(
    mask: &Array3<bool>,
    [low, high]: [[usize; 3]; 2],
    axis: usize,
    index: usize,
) -> f64 {
    let mut range = [0, 1, 2].map(|a| low[a]..=high[a]);
    range[axis] = index..=index;
    let [planes, rows, columns] = range;
    let (mut missing, mut all) = (0.0, 0.0);
    for k in planes {
        for i in rows.clone() {
            for j in columns.clone() {
                all += 1.0;
                missing += f64::from(u8::from(!mask[[k, i, j]]));
            }
        }
    }
    missing / all
}

/// The sum read in every way in which its parts are: each part's own thinned or redrawn dose enters
/// the sum in place of the part, so that the doubt about every grid is in the bounds, and the sum is
/// thinned besides.
///
/// # Errors
/// As [`sum`].
fn added(lattice: &Grid, sources: &[Source], weight: Weight) -> Result<Prepared, String> {
    let fields: Vec<_> = sources.iter().map(|s| s.fields.fields(0.0)).collect();
    let nominal: Vec<&DoseField> = fields.iter().map(|f| f.nominal).collect();
    // One noisy grid decides how the sum may be interpolated.
    let method = nominal.iter().map(|f| f.method()).max_by_key(|m| roughness(*m));
    let method = method.unwrap_or(Interpolation::CubicBSpline);
    let total = |list: &[&DoseField]| {
        Ok::<_, String>(DoseField::new(sum(lattice, sources, list, weight)?, method))
    };
    let thinned = |which: usize, phase| {
        let list: Vec<&DoseField> = fields.iter().map(|f| &f.thinned[which]).collect();
        Ok::<_, String>(total(&list)?.thinned(phase))
    };
    let mut scattered = Vec::new();
    for (i, own) in fields.iter().enumerate() {
        for other in own.scattered {
            let mut list = nominal.clone();
            list[i] = &other.field;
            let Scattered { share, one_sided, .. } = *other;
            scattered.push(Scattered { field: total(&list)?, share, one_sided });
        }
    }
    let ways = [thinned(0, Phase::Even)?, thinned(1, Phase::Odd)?];
    Ok(Prepared::of_fields(total(&nominal)?, ways, scattered))
}

/// Methods from the smoothest to the one that follows noise least.
fn roughness(method: Interpolation) -> usize {
    Interpolation::WORDS.iter().position(|(m, _)| *m == method).unwrap_or_default()
}

/// The doses added up on the lattice.
///
/// # Errors
/// When one of them has no dose at a point of it: what is missing in one is missing in the sum.
fn sum(
    lattice: &Grid,
    sources: &[Source],
    fields: &[&DoseField],
    weight: Weight,
) -> Result<Dose, String> {
    let mut missing = None;
    let values = Array3::from_shape_fn(lattice.shape(), |(k, i, j)| {
        let point = lattice.position([k, i, j]);
        let mut total = 0.0;
        for (source, field) in sources.iter().zip(fields) {
            match field.at(source.motion.apply(point)) {
                Some(dose) => total += weight.of(dose, source.fractions),
                None => missing = Some((source, point)),
            }
        }
        #[allow(clippy::cast_possible_truncation)] // doses are far below the range of f32
        let total = total as f32;
        total
    });
    match missing {
        None => Ok(Dose { grid: lattice.clone(), values, step: Gray::gy(0.0) }),
        Some((source, [x, y, z])) => Err(format!(
            "plan {} has no dose at ({x:.1}, {y:.1}, {z:.1}) mm within the common part of the grids",
            source.plan
        )),
    }
}

/// Rows of a sum that is not computed: every structure and metric, each with the reason.
#[must_use]
pub fn refused(case: &Case, reason: &str, settings: &Settings) -> Vec<SumMeasurement> {
    let row = |number: i64, metric: &Metric| SumMeasurement {
        roi_number: number,
        metric: metric.to_string(),
        unit: metric.definition.unit,
        alpha_beta_gy: None,
        outcome: Outcome::none(Status::NotApplicable, reason.to_owned()),
        method: settings.method(),
    };
    let metrics = of_dose_alone(settings);
    case.names.iter().flat_map(|n| metrics.iter().map(move |m| row(n.number, m))).collect()
}

/// The metrics of the study that need neither a prescription nor a number of fractions: the others
/// have no meaning in a sum.
fn of_dose_alone(settings: &Settings) -> Vec<Metric> {
    let all = settings.metrics.iter().filter(|m| m.definition.is_of_dose_alone());
    all.copied().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_case::DeliverySource;

    fn addend(origin: Point, spacing_mm: f64, n: usize, motion: Rigid) -> Addend {
        let offsets = (0..n).map(|k| spacing_mm * f64::from(u32::try_from(k).unwrap())).collect();
        let axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let grid = Grid::new(origin, axes, [spacing_mm; 2], offsets, [n, n]).unwrap();
        let values = Array3::zeros([n, n, n]);
        let fractions = CountedFractions { planned: 1, delivered: None, partial: 0 };
        let dose = Dose { grid, values, step: Gray::gy(0.0) };
        Addend { plan: Token::new("plan"), dose, motion, fractions }
    }

    /// The same voxels as a file that stores its planes from the far end has them.
    fn stored_backwards(addend: &Addend) -> Addend {
        let grid = &addend.dose.grid;
        let [planes, rows, columns] = grid.shape();
        let last = grid.offsets_mm()[planes - 1];
        let offsets = grid.offsets_mm().iter().map(|o| o - last).collect();
        let [_, down, along] = grid.directions();
        let origin = grid.position([planes - 1, 0, 0]);
        let same =
            Grid::new(origin, [along, down], grid.spacing_mm(), offsets, [rows, columns]).unwrap();
        let mut out = addend.clone();
        out.dose.grid = same;
        out
    }

    /// A quarter turn about z, then a shift.
    fn turn(shift: Point) -> Rigid {
        let mut m =
            [0.0, -1.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0];
        [m[3], m[7], m[11]] = shift;
        Rigid::from_matrix(&m).unwrap()
    }

    #[test]
    fn the_lattice_is_that_of_the_finest_grid_where_all_have_voxels() {
        let coarse = addend([0.0; 3], 3.0, 5, Rigid::IDENTITY);
        let fine = addend([4.5, -2.0, 1.0], 1.0, 10, Rigid::IDENTITY);
        let grid = lattice(&[coarse.clone(), fine]).unwrap();
        // x from 4.5 to 11.5 (the coarse one ends at 12), y from 0 to 7, z from 1 to 10.
        assert_eq!(grid.position([0, 0, 0]), [4.5, 0.0, 1.0]);
        assert_eq!(grid.shape(), [10, 8, 8]);
        let apart = addend([100.0; 3], 1.0, 4, Rigid::IDENTITY);
        assert!(lattice(&[coarse, apart]).is_none());
    }

    /// Planes from the far end to the near one, in one, the other or both: the same lattice.
    #[test]
    fn the_order_of_stored_planes_changes_no_lattice() {
        let own = addend([0.0; 3], 3.0, 5, Rigid::IDENTITY);
        let motion = turn([5.0, 1.0, -2.0]);
        let other = addend([0.0, 0.0, -4.0], 1.0, 12, motion);
        let want = lattice(&[own.clone(), other.clone()]).unwrap();
        let [own_back, other_back] = [&own, &other].map(stored_backwards);
        for pair in [[own_back.clone(), other], [own, other_back.clone()], [own_back, other_back]] {
            assert_eq!(lattice(&pair).unwrap(), want);
        }
    }

    /// A plan without dose at a point of the lattice has no part of 0 Gy there.
    #[test]
    fn what_is_missing_in_one_is_missing_in_the_sum() {
        let wide = addend([0.0; 3], 1.0, 6, Rigid::IDENTITY);
        let narrow = addend([0.0; 3], 1.0, 4, Rigid::IDENTITY);
        let grid = wide.dose.grid.clone();
        let common = lattice(&[wide.clone(), narrow.clone()]).unwrap();
        let settings = Settings::default();
        let sources: Vec<Source> =
            [wide, narrow].into_iter().filter_map(|a| Source::of(a, &settings)).collect();
        assert!(added(&common, &sources, Weight::Physical).is_ok());
        let refused = added(&grid, &sources, Weight::Physical).unwrap_err();
        assert!(refused.contains("plan plan has no dose at (5.0, 5.0, 5.0) mm"), "{refused}");
    }

    /// 3 of 5 fractions of 10 Gy in all: 6 Gy in 3; one more in part is not known.
    #[test]
    fn the_fractions_delivered_are_added() {
        let mut one = addend([0.0; 3], 1.0, 4, Rigid::IDENTITY);
        one.dose.values.fill(10.0);
        let source = DeliverySource::SessionRecords;
        one.fractions = CountedFractions { planned: 5, delivered: Some((3, source)), partial: 0 };
        let read = Source::of(one.clone(), &Settings::default()).unwrap();
        assert_eq!((read.fractions, read.largest_gy), (3.0, 6.0));
        let value = Outcome { low: Some(5.9), high: Some(6.1), ..Outcome::of(6.0) };
        let whole = Counted::of(std::slice::from_ref(&one));
        assert_eq!(whole.words, "plan plan: 3 of 5 fractions delivered (session_records)");
        assert_eq!(whole.judged("Max[Gy]", value.clone()), value);
        one.fractions.partial = 1;
        let open = Counted::of(&[one]);
        let judged = open.judged("Max[Gy]", value.clone());
        assert_eq!((judged.status, judged.high, judged.low), (Status::Bound, None, Some(5.9)));
        assert!(judged.reason.contains("1 more in part"), "{}", judged.reason);
        assert_eq!(open.judged("Volume[cc]", value.clone()), value);
        assert_eq!(open.judged("SD[Gy]", value).value, None);
    }

    #[test]
    fn a_turned_grid_keeps_its_lattice_in_the_frame_of_the_structures() {
        let own = addend([-10.0; 3], 2.0, 11, Rigid::IDENTITY);
        let motion = turn([5.0, 1.0, -2.0]);
        let turned = addend([0.0, 0.0, -4.0], 1.0, 5, motion);
        let grid = lattice(&[own, turned.clone()]).unwrap();
        assert_eq!(grid.shape(), [5, 5, 5]);
        for index in [[0, 0, 0], [4, 0, 3], [2, 4, 1]] {
            let there = motion.apply(grid.position(index));
            let off = sub(there, turned.dose.grid.position(index));
            assert!(off.iter().all(|x| x.abs() < 1e-12), "{index:?} {there:?}");
        }
    }

    #[test]
    fn a_step_grows_with_the_slope_of_eqd2() {
        let weight = Weight::Eqd2 { alpha_beta_gy: 2.0 };
        // 12 Gy in one fraction: 12 * 14 / 4; slope (24 + 2) / 4.
        assert_eq!((weight.of(12.0, 1.0), weight.step(0.1, 12.0, 1.0)), (42.0, 0.65));
        assert_eq!((Weight::Physical.of(12.0, 1.0), weight.of(2.0, 1.0)), (12.0, 2.0));
    }
}
