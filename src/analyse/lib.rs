//! One case and the settings in, one [`Analysis`] with its findings out: contours become solids,
//! solids are sampled, samples become histograms, histograms become metrics. Opens no file and
//! knows no table.

pub mod bounds;
pub mod candidates;
mod coherent;
mod coin;
pub mod evidence;
pub mod fields;
pub mod follow_up;
mod form;
pub mod grids;
mod known;
pub mod lesion;
pub mod lesion_site;
pub mod limit_check;
mod look_ahead;
pub mod memory;
mod missing;
pub mod numbers;
pub mod outlines;
mod part;
pub mod picture;
mod region;
pub mod relate;
pub mod result;
pub mod rows;
mod sampling;
pub mod sensitivity;
pub mod settings;
pub mod shape;
pub mod stage;
mod stored;
pub mod strict;
pub mod structure;
pub mod sum;
pub mod target;
pub mod trace;

#[cfg(test)]
mod alone;
#[cfg(test)]
pub(crate) mod testing;

pub use evidence::{SeenSide, ShapeEvidence};
pub use follow_up::{FollowUpPlace, follow_up_places};
pub use grids::{analyse_grids, analyse_remembered};
pub use lesion::Lesion;
pub use lesion_site::{Fit, LesionSite, fit};
pub use memory::{Memory, Work};
pub use numbers::NUMBERS;
pub use region::REGIONS;
pub use result::Analysis;
pub use rows::{DoseResult, DvhPoint, Measurement, RegionMeasurement, StructureResult};
pub use settings::{Ends, Outlines, Settings};
pub use sum::{Addend, SumMeasurement, analyse_sum};

use std::sync::Arc;

use fields::{Fields, Prepared};
use form::isocentres;
use known::{Gathered, Order, Values};
use memory::{Facts, GridFacts, Notes};
use missing::Missing;
use part::Part;
use shape::Shape;
use stage::{Stage, during};
use structure::{NoSolid, Solid};
use target::{Space, Target};
use tidydose_case::{Case, Role};
use tidydose_dose::{Dvh, Isodose, IsodoseMap};
use tidydose_geometry::locate::Locator;
use tidydose_geometry::occupancy::Occupancy;
use tidydose_geometry::point::Point;
use tidydose_geometry::smooth::Variant;
use tidydose_metrics::{
    self as metrics, Metric, Need, Outcome, PrescriptionIsodoses, Status, needs,
};
use tidydose_rt::finding::{Code, Finding, Subject as About};
use tidydose_rt::{Dose, StructureSet};
use trace::Uncertainty;

/// Analyses one case.
///
/// `structures` and `dose` are the objects that the case names, read; without a dose the volumes
/// are still computed and every dose metric has a row with the reason.
#[must_use]
pub fn analyse(
    case: &Case,
    structures: Option<&StructureSet>,
    dose: Option<Dose>,
    settings: &Settings,
) -> Analysis {
    analyse_grids(case, structures, dose.into_iter().collect(), settings)
}

fn parts<'a>(
    case: &'a Case,
    structures: Option<&'a StructureSet>,
    outlines: Outlines,
    out: &mut Analysis,
) -> Vec<Part<'a>> {
    structures
        .iter()
        .flat_map(|set| &set.rois)
        .map(|roi| during(Stage::Geometry, || Part::of(roi, case, outlines, &mut out.findings)))
        .collect()
}

/// One grid of the dose: ready to be read, or only what is remembered of it.
struct DoseAtHand {
    facts: GridFacts,
    /// With its stored step, Gy.
    read: Option<(Prepared, f64)>,
}

impl DoseAtHand {
    fn of(dose: Dose, settings: &Settings) -> Self {
        let step_gy = dose.step.value();
        let prepared = during(Stage::Dose, || Prepared::of(dose, settings.interpolation));
        Self::prepared(prepared, step_gy, settings)
    }

    fn prepared(prepared: Prepared, step_gy: f64, settings: &Settings) -> Self {
        let fields = prepared.fields(step_gy);
        let noise = noise(&prepared, settings, fields);
        let facts = GridFacts { dose: dose_result(fields), noise };
        Self { facts, read: Some((prepared, step_gy)) }
    }

    const fn remembered(facts: GridFacts) -> Self {
        Self { facts, read: None }
    }

    fn fields(&self) -> Option<Fields<'_>> {
        self.read.as_ref().map(|(prepared, step_gy)| prepared.fields(*step_gy))
    }
}

/// Where goes what is measured.
struct Results<'r> {
    /// Values that others are made of.
    gathered: &'r mut Gathered,
    /// What is told.
    rows: &'r mut Analysis,
}

/// Adds what a dose gives: rows for the structures that are wanted in this turn, and after the last
/// turn those that rest on several structures. Without a structure set there are none. The
/// isodoses of space are made when something turns out to need them.
fn measure(
    case: &Case,
    parts: Option<&[Part<'_>]>,
    grid: Option<&DoseAtHand>,
    order: Order<'_>,
    into: Results<'_>,
) -> Result<(), Missing> {
    let Results { gathered, rows: out } = into;
    let facts = grid.map(|g| &g.facts);
    out.dose = facts.map(|f| f.dose);
    let noise = facts.and_then(|f| f.noise.clone());
    out.findings.extend(noise.map(|words| report_noise(words, case)));
    let Some(parts) = parts else { return Ok(()) };
    let isocentres = isocentres(case);
    let fields = grid.and_then(DoseAtHand::fields);
    let context = GridMeasurement {
        case,
        order,
        fields,
        dose: facts.map(|f| f.dose),
        doses_gy: parts.iter().filter_map(Part::target_dose_gy).collect(),
        arrangement: arrangement(parts, order.settings),
        targets: &[],
        isocentres: &isocentres,
        spaces: None,
        scattered: &[],
    };
    let (mut values, mut rows) = (gathered.clone(), Analysis::empty(case.id.clone()));
    if context.all(parts, &mut values, &mut rows).is_err() {
        let Some(fields) = fields else { return Err(Missing) };
        let settings = order.settings;
        let targets: Vec<Target> = parts.iter().filter_map(|p| p.target(settings)).collect();
        let outline = outline(parts, settings);
        let body = outline.as_deref().map(Locator::new);
        let needed = settings.needed(&settings.metrics);
        let map = |field| IsodoseMap::new(field).within(body.as_ref());
        let space = |field| Space::new(map(field), &targets, &needed);
        let space = |field| during(Stage::Isodoses, || space(field));
        let spaces = [fields.nominal, &fields.thinned[0], &fields.thinned[1]].map(space);
        let scattered: Vec<Space<'_>> =
            fields.scattered.iter().map(|other| space(&other.field)).collect();
        let context = GridMeasurement {
            targets: &targets,
            spaces: Some(&spaces),
            scattered: &scattered,
            ..context
        };
        // Nothing stays of the trial without isodoses.
        (values, rows) = (gathered.clone(), Analysis::empty(case.id.clone()));
        context.all(parts, &mut values, &mut rows)?;
    }
    *gathered = values;
    grids::add(out, rows);
    Ok(())
}

/// What the isodoses of all targets follow from besides the dose: the targets with their
/// prescriptions, the outline of the patient, and what metrics need of the space around targets.
fn arrangement(parts: &[Part<'_>], settings: &Settings) -> String {
    let needed = settings.needed(&settings.metrics);
    let asked = [Need::Isodoses, Need::Nearest, Need::TwoCm, Need::Penumbra]
        .map(|need| needs::any_needs(&needed, need));
    let local_gy = needs::local_levels(&needed);
    let target = |p: &Part<'_>| p.target_dose_gy().map(|gy| (p.number(), gy));
    let targets: Vec<(i64, f64)> = parts.iter().filter_map(target).collect();
    let outline = only_outline(parts).map(Part::number);
    format!("targets {targets:?} in {outline:?}, {asked:?} {local_gy:?}")
}

/// A case with what it is measured by, whatever its grids are.
#[derive(Clone, Copy)]
struct WholeCase<'a> {
    case: &'a Case,
    settings: &'a Settings,
    notes: &'a Notes,
}

/// Adds what rests on all structures of the case, whatever grid each was measured in.
fn conclude(
    WholeCase { case, settings, notes }: WholeCase<'_>,
    parts: &[Part<'_>],
    values: &Values,
    out: &mut Analysis,
) {
    let shape = |p: &Part<'_>| Shape::of(p.roi.header.number, p.solid.as_ref().ok()?);
    let seen = during(Stage::Relations, || {
        judge(case, &parts.iter().filter_map(shape).collect::<Vec<_>>())
    });
    (out.evidence, out.lesions) = (seen.evidence, seen.lesions);
    out.findings.extend(seen.findings);
    let about: Vec<_> = parts.iter().map(|p| (p.number(), &p.about)).collect();
    out.findings.extend(stored::compare(case, &about, values));
    let members: Vec<relate::Member<'_>> = parts.iter().map(relate::Member::of).collect();
    let open: Vec<i64> = parts.iter().filter(|p| p.is_open()).map(Part::number).collect();
    let relation =
        relate::RelationSettings { ends: settings.ends, uncertain_from: settings.uncertain_from };
    out.relations = during(Stage::Relations, || relate::relate(&members, relation, &open, notes));
    candidates::look_again(case, out);
    let open = candidates::Candidates::of(case, &out.structures);
    let inputs = limit_check::CheckInputs {
        case,
        limits: &settings.limits,
        measurements: &out.measurements,
        relations: &out.relations,
        open: &open,
        inside_from: settings.target_inside_from,
    };
    out.limit_checks = limit_check::check(inputs);
    out.findings.extend(parts.iter().filter_map(|part| isodose_level(part, values)));
    out.findings.sort();
}

/// What the shapes of a case say, without any dose.
#[derive(Debug, Clone, Default)]
pub struct ShapeReview {
    /// About who is who.
    pub evidence: Vec<ShapeEvidence>,
    /// Which targets are one lesion.
    pub lesions: Vec<Lesion>,
    /// Where names and shapes contradict each other.
    pub findings: Vec<Finding>,
}

/// Looks at the structures of a case; [`analyse`] finds the same and measures besides.
#[must_use]
pub fn review_shapes(case: &Case, set: &StructureSet) -> ShapeReview {
    judge(case, &shape::shapes(case, set))
}

fn judge(case: &Case, shapes: &[Shape]) -> ShapeReview {
    let evidence = evidence::evidence(case, shapes);
    let mut findings = evidence::findings(case, shapes, &evidence);
    let (lesions, doubtful) = lesion::lesions(case, shapes, &evidence);
    findings.extend(doubtful);
    ShapeReview { evidence, lesions, findings }
}

fn dose_result(fields: Fields<'_>) -> DoseResult {
    let grid = fields.nominal.grid();
    let [row, column] = grid.spacing_mm();
    DoseResult {
        spacing_mm: [grid.plane_spacing_mm(), row, column],
        maximum_gy: IsodoseMap::new(fields.nominal).maximum_gy(),
        step_gy: fields.step_gy,
    }
}

/// Status and reason of every dose metric in a case without a usable dose.
fn reason_without_dose(case: &Case) -> (Status, String) {
    match &case.left_out {
        Some((Code::DoseRelative, reason)) => (Status::RelativeDose, reason.clone()),
        Some((
            Code::LinkAmbiguous
            | Code::LinkMissing
            | Code::LinkFrameMismatch
            | Code::LinkPatientMismatch
            | Code::DoseSeveral
            | Code::DoseGridsDisagree,
            reason,
        )) => (Status::Unlinked, reason.clone()),
        Some((_, reason)) => (Status::Excluded, reason.clone()),
        None => (Status::Unlinked, "no dose grid could be read for the case".to_owned()),
    }
}

/// The outline of the patient, where exactly one structure is it.
fn only_outline<'p, 'a>(parts: &'p [Part<'a>]) -> Option<&'p Part<'a>> {
    let mut found = parts.iter().filter(|p| p.role() == Role::External);
    let (only, None) = (found.next()?, found.next()) else { return None };
    Some(only)
}

/// The same as a solid.
fn outline(parts: &[Part<'_>], settings: &Settings) -> Option<Arc<Occupancy>> {
    let solid = only_outline(parts)?.solid.as_ref().ok()?;
    Some(solid.occupancy(settings.ends, 1.0, Variant::default()))
}

/// What every structure of the case is measured with.
struct GridMeasurement<'a> {
    case: &'a Case,
    order: Order<'a>,
    /// The dose, where it was read.
    fields: Option<Fields<'a>>,
    /// What is told of the dose, read or remembered; absent without a dose.
    dose: Option<DoseResult>,
    /// The doses prescribed to targets, Gy.
    doses_gy: Vec<f64>,
    /// What the isodoses of all targets follow from.
    arrangement: String,
    /// Empty as long as no isodoses were needed, as are the next two.
    targets: &'a [Target],
    isocentres: &'a [Point],
    /// The isodoses of the dose and of its two thinned selves.
    spaces: Option<&'a [Space<'a>; 3]>,
    /// The isodoses of what a noisy dose may have been.
    scattered: &'a [Space<'a>],
}

impl<'a> std::ops::Deref for GridMeasurement<'a> {
    type Target = Order<'a>;

    fn deref(&self) -> &Order<'a> {
        &self.order
    }
}

impl<'a> GridMeasurement<'a> {
    /// Everything of one turn.
    fn all(
        &self,
        parts: &[Part<'a>],
        gathered: &mut Gathered,
        out: &mut Analysis,
    ) -> Result<(), Missing> {
        for part in parts.iter().filter(|part| (self.turn.wanted)(part.number())) {
            self.measure(part, gathered, out)?;
        }
        if let Some(dose) = self.dose {
            gathered.maximum_gy = gathered.maximum_gy.max(dose.maximum_gy);
            gathered.step_gy = gathered.step_gy.max(dose.step_gy);
        }
        if self.turn.last {
            for part in parts {
                out.measurements.extend(self.of_several_organs(part, gathered));
            }
            out.regions = during(Stage::Regions, || self.regions(parts, gathered))?;
        }
        out.pictures = during(Stage::Pictures, || self.pictures(parts, &out.traces))?;
        Ok(())
    }

    fn reason_without_dose(&self, part: &Part<'_>) -> (Status, String) {
        if part.in_other_frame(self.case) && self.dose.is_some() {
            let reason = "the structure is in another frame of reference than the dose";
            return (Status::Unlinked, reason.to_owned());
        }
        reason_without_dose(self.case)
    }

    fn isodoses(
        &self,
        part: &Part<'_>,
        space: Option<&Space<'_>>,
        no_dose: Option<&(Status, String)>,
    ) -> Result<PrescriptionIsodoses, String> {
        let unknown = || "no prescription dose is known for this structure".to_owned();
        part.target_dose_gy().ok_or_else(unknown)?;
        // Targets are placed only where there is a dose to look for isodoses in.
        let space = space.ok_or_else(|| no_dose.map_or_else(String::new, |n| n.1.clone()))?;
        let number = part.number();
        let target = self.targets.iter().find(|t| t.roi_number == number).ok_or_else(unknown)?;
        Ok(space.isodoses(target))
    }

    fn structure_row(
        &self,
        part: &Part<'_>,
        solid: &Solid,
        facts: &Facts,
        volume: Option<&Outcome>,
    ) -> StructureResult {
        let unknown = || Outcome::none(Status::NotApplicable, "the volume was not computed");
        StructureResult {
            roi_number: part.roi.header.number,
            closed_contours: structure::closed_contours(part.roi),
            planes: solid.stack.planes.len(),
            holes: solid.stack.report.oddities.holes,
            plane_spacing_mm: solid.stack.typical_gap_mm(),
            plane_gap_max_mm: solid.stack.gaps_mm().into_iter().reduce(f64::max),
            pixel_mm: solid.pixels.map(|p| p.pixel_mm()),
            volume: volume.cloned().unwrap_or_else(unknown),
            centroid_mm: facts.trace.middle_mm,
            inside_grid_percent: self.dose.map(|_| 100.0 * facts.cover),
            prescription: part.prescription,
        }
    }

    fn rows_without_solid(&self, part: &Part<'_>, none: &NoSolid, out: &mut Analysis) {
        let outcome = Outcome::none(none.status, none.reason.clone());
        out.structures.push(StructureResult {
            roi_number: part.roi.header.number,
            closed_contours: structure::closed_contours(part.roi),
            planes: 0,
            holes: 0,
            plane_spacing_mm: None,
            plane_gap_max_mm: None,
            pixel_mm: None,
            volume: outcome.clone(),
            centroid_mm: None,
            inside_grid_percent: None,
            prescription: part.prescription,
        });
        let method = self.settings.method();
        for metric in part.who().metrics(self.settings).iter().filter(|m| part.takes(m.definition))
        {
            self.add_moved_without_solid(part, metric, &outcome, out);
            out.measurements.push(row(part, metric, outcome.clone(), None, [&method, ""]));
        }
    }
}

/// One value with the method: interpolation and ends, then the rule of the metric.
fn row(
    part: &Part<'_>,
    metric: &Metric,
    outcome: Outcome,
    uncertainty: Option<Uncertainty>,
    [method, rule]: [&str; 2],
) -> Measurement {
    let gap = if rule.is_empty() { "" } else { "; " };
    Measurement {
        roi_number: part.roi.header.number,
        metric: metric.to_string(),
        unit: metric.definition.unit,
        outcome,
        uncertainty,
        method: format!("{method}{gap}{rule}"),
    }
}

/// The noise of a dose in words, where there is any.
fn noise(prepared: &Prepared, settings: &Settings, fields: Fields<'_>) -> Option<String> {
    let used = fields.nominal.method();
    debug_assert!(prepared.noise.is_some() || used == settings.interpolation);
    prepared.noise.map(|noise| {
        format!(
            "a standard deviation of {:.3} Gy from voxel to voxel; interpolated by {}",
            noise.deviation_gy,
            used.word()
        )
    })
}

fn report_noise(words: String, case: &Case) -> Finding {
    let about = About {
        patient: case.patient.clone(),
        case: Some(case.id.clone()),
        object: case.dose.as_ref().map(|d| d.origin.object.clone()),
        ..About::default()
    };
    Finding::new(Code::DoseNoise, about, words)
}

/// Reports what was seen of a structure in its dose.
fn report(part: &Part<'_>, facts: &Facts, has_dose: bool, out: &mut Analysis) {
    let mut note = |code, text| out.findings.push(Finding::new(code, part.about.clone(), text));
    if facts.jumps > 0.0 {
        note(Code::DoseJump, format!("in {:.1} % of its volume", 100.0 * facts.jumps));
    }
    let code = match facts.max_gy {
        _ if !has_dose => None,
        None => Some(Code::GridMissesStructure),
        Some(_) => (facts.cover < 1.0 - 1e-6).then_some(Code::GridMissesPart),
    };
    if let Some(code) = code {
        let text = match code {
            Code::GridMissesStructure => "no part of it is covered".to_owned(),
            _ => format!("{:.1} % of it is covered", 100.0 * facts.cover),
        };
        note(code, text);
    }
    let stated = part.roi.header.stated_volume.map(|v| v.value());
    let volume_cc = facts.volume_cc;
    let differs = |stated: &f64| {
        *stated > STATED_FROM_CC && (stated / volume_cc - 1.0).abs() > STATED_TOLERANCE
    };
    if let Some(stated) = stated.filter(differs) {
        note(Code::VolumeDiffers, format!("{stated} cc stated, {volume_cc:.3} cc computed"));
    }
}

/// The prescription as a share of the largest dose in the target is no isodose that is prescribed
/// to outside this range, percent (from memory; ICRU 91 names none).
const ISODOSE_LEVELS: std::ops::RangeInclusive<f64> = 30.0..=105.0;

/// Holds the prescription against the largest dose in its target.
fn isodose_level(part: &Part<'_>, values: &Values) -> Option<Finding> {
    let (dose_gy, basis) = part.prescription?;
    let largest = values.plain(part.roi.header.number, &metrics::MAX)?;
    let maximum_gy = largest.value.filter(|_| largest.status == Status::Ok)?;
    let level = 100.0 * dose_gy / maximum_gy;
    (!ISODOSE_LEVELS.contains(&level)).then(|| {
        let text = format!(
            "the prescription of {dose_gy} Gy ({basis}) is {level:.0} % of the largest dose in it, \
             {maximum_gy:.2} Gy; {:.0} to {:.0} % are usual",
            ISODOSE_LEVELS.start(),
            ISODOSE_LEVELS.end()
        );
        Finding::new(Code::PrescriptionContradicts, part.about.clone(), text)
    })
}

/// The isodoses of the prescription that the grid cuts, in words.
fn cut_isodoses(isodoses: Option<&PrescriptionIsodoses>) -> Vec<String> {
    let Some(rx) = isodoses else { return Vec::new() };
    let all = [(rx.dose_gy, &rx.whole), (rx.dose_gy / 2.0, &rx.half)];
    let cut = all.into_iter().filter(|(_, i)| matches!(i, Ok(Isodose { cut_by_grid: true, .. })));
    cut.map(|(dose, _)| format!("the {dose} Gy isodose")).collect()
}

fn report_cut_isodoses(part: &Part<'_>, cuts: &[String], out: &mut Analysis) {
    for text in cuts {
        out.findings.push(Finding::new(Code::IsodoseCut, part.about.clone(), text));
    }
}

/// Step of the dose axis of the exported curves, Gy. Each point is exact; the step only says how
/// many points are written.
const CURVE_STEP_GY: f64 = 0.25;

fn curve(roi_number: i64, dvh: &Dvh) -> Vec<DvhPoint> {
    let whole = dvh.volume_mm3();
    let point = |dose_gy: f64| {
        let volume = dvh.volume_at_dose(dose_gy);
        DvhPoint {
            roi_number,
            dose_gy,
            volume_cc: volume / 1000.0,
            volume_percent: 100.0 * volume / whole,
        }
    };
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a few hundred points
    let steps = (dvh.max_gy().max(0.0) / CURVE_STEP_GY).ceil() as u32;
    (0..=steps).map(|i| point(f64::from(i) * CURVE_STEP_GY)).collect()
}

/// A stated volume is compared above this size; below it, rounding in the file is too coarse.
const STATED_FROM_CC: f64 = 1.0;
const STATED_TOLERANCE: f64 = 0.05;
