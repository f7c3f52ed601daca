//! One case and the settings in, one [`Analysis`] with its findings out: contours become solids,
//! solids are sampled, samples become histograms, histograms become metrics. Opens no file and
//! knows no table.

pub mod bounds;
pub mod candidates;
mod coherent;
mod coin;
pub mod evidence;
pub mod fields;
mod form;
pub mod grids;
mod known;
pub mod lesion;
pub mod limit_check;
pub mod look;
pub mod picture;
mod region;
pub mod relate;
pub mod result;
pub mod settings;
pub mod shape;
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

pub use evidence::{Evidence, SeenSide};
pub use grids::analyse_grids;
pub use lesion::Lesion;
pub use look::{Fit, Look, fit};
pub use region::REGIONS;
pub use result::{Analysis, DoseResult, DvhPoint, Measurement, RegionMeasurement, StructureResult};
pub use settings::{Ends, Settings};
pub use sum::{Addend, SumMeasurement, analyse_sum};

use std::sync::Arc;

use bounds::{Circumstances, Views};
use fields::{Fields, Prepared};
use form::isocentres;
use known::{Gathered, Known, Turn, Values};
use shape::Shape;
use structure::{NoSolid, Solid};
use target::{Space, Target};
use tidydose_case::{Case, NamedRoi, Role};
use tidydose_dose::{Dvh, Isodose, IsodoseMap, Noise};
use tidydose_geometry::locate::Locator;
use tidydose_geometry::occupancy::Occupancy;
use tidydose_geometry::point::Point;
use tidydose_geometry::smooth::Variant;
use tidydose_metrics::place::HOLDING;
use tidydose_metrics::{
    self as metrics, AppliesTo, Biology, Definition, Metric, Need, Outcome, PrescriptionIsodoses,
    Status, needs, organ_models,
};
use tidydose_rt::finding::{Code, Finding, Subject as About};
use tidydose_rt::{Dose, Plan, Roi, StructureSet};
use trace::{Doubts, StructureTrace};

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
    let mut out = Analysis::empty(case.id.clone());
    let parts = parts(case, structures, &mut out);
    let measured = structures.map(|_| parts.as_slice());
    let mut gathered = Gathered::default();
    let turn = (settings, Turn::only(&|_| true));
    measure(case, measured, prepared(dose, settings), turn, (&mut gathered, &mut out));
    conclude(case, &parts, (settings, &gathered.values), &mut out);
    out
}

fn parts<'a>(
    case: &'a Case,
    structures: Option<&'a StructureSet>,
    out: &mut Analysis,
) -> Vec<Part<'a>> {
    structures.iter().flat_map(|set| &set.rois).map(|roi| Part::of(roi, case, out)).collect()
}

/// A dose ready to be read, with its stored step.
fn prepared(dose: Option<Dose>, settings: &Settings) -> Option<(Prepared, f64)> {
    let step_gy = dose.as_ref()?.step.value();
    dose.map(|d| (Prepared::of(d, settings.interpolation), step_gy))
}

/// Adds what a dose gives: rows for the structures that are wanted in this turn, and after the last
/// turn those that rest on several structures. Without a structure set there are none.
fn measure(
    case: &Case,
    parts: Option<&[Part<'_>]>,
    prepared: Option<(Prepared, f64)>,
    (settings, turn): (&Settings, Turn<'_>),
    (gathered, out): (&mut Gathered, &mut Analysis),
) {
    let fields = prepared.as_ref().map(|(p, step_gy)| p.fields(*step_gy));
    out.dose = fields.map(dose_result);
    if let Some(noise) = prepared.as_ref().and_then(|(p, _)| p.noise) {
        out.findings.push(report_noise(noise, case, settings, fields));
    }
    let Some(parts) = parts else { return };
    let targets: Vec<Target> = parts.iter().filter_map(|p| p.target(settings)).collect();
    let isocentres = isocentres(case);
    let outline = outline(parts, settings);
    let body = outline.as_deref().map(Locator::new);
    let needed = settings.needed(&settings.metrics);
    let map = |field| IsodoseMap::new(field).within(body.as_ref());
    let space = |field| Space::new(map(field), &targets, &needed);
    let spaces = fields.map(|f| [f.nominal, &f.thinned[0], &f.thinned[1]].map(space));
    let scattered: Vec<Space<'_>> =
        fields.iter().flat_map(|f| f.scattered).map(|other| space(&other.field)).collect();
    let (spaces, scattered) = (spaces.as_ref(), &scattered);
    let (targets, isocentres) = (&targets, &isocentres);
    let bench = Bench { case, settings, fields, targets, isocentres, spaces, scattered, turn };
    for part in parts.iter().filter(|part| (turn.wanted)(part.roi.header.number)) {
        bench.measure(part, gathered, out);
    }
    if let (Some(spaces), Some(fields)) = (spaces, fields) {
        gathered.maximum_gy = gathered.maximum_gy.max(spaces[0].map.maximum_gy());
        gathered.step_gy = gathered.step_gy.max(fields.step_gy);
    }
    if turn.last {
        for part in parts {
            out.measurements.extend(bench.of_several_organs(part, gathered));
        }
        out.regions = bench.regions(parts, gathered);
    }
    out.pictures = bench.pictures(parts, turn.wanted, &out.traces);
}

/// Adds what rests on all structures of the case, whatever grid each was measured in.
fn conclude(
    case: &Case,
    parts: &[Part<'_>],
    (settings, values): (&Settings, &Values),
    out: &mut Analysis,
) {
    let shape = |p: &Part<'_>| Shape::of(p.roi.header.number, p.solid.as_ref().ok()?);
    let seen = judge(case, &parts.iter().filter_map(shape).collect::<Vec<_>>());
    (out.evidence, out.lesions) = (seen.evidence, seen.lesions);
    out.findings.extend(seen.findings);
    let about: Vec<_> = parts.iter().map(|p| (p.roi.header.number, &p.about)).collect();
    out.findings.extend(stored::compare(case, &about, values));
    let members: Vec<relate::Member<'_>> = parts.iter().map(Part::member).collect();
    out.relations = relate::relate(&members, (settings.ends, settings.uncertain_from));
    candidates::look_again(case, out);
    let open = candidates::Candidates::of(case, &out.structures);
    let look = limit_check::Look {
        case,
        limits: &settings.limits,
        measurements: &out.measurements,
        relations: &out.relations,
        open: &open,
    };
    out.limit_checks = limit_check::check(look);
    out.findings.extend(parts.iter().filter_map(|part| isodose_level(part, values)));
    out.findings.sort();
}

/// What the shapes of a case say, without any dose.
#[derive(Debug, Clone, Default)]
pub struct Glance {
    /// About who is who.
    pub evidence: Vec<Evidence>,
    /// Which targets are one lesion.
    pub lesions: Vec<Lesion>,
    /// Where names and shapes contradict each other.
    pub findings: Vec<Finding>,
}

/// Looks at the structures of a case; [`analyse`] finds the same and measures besides.
#[must_use]
pub fn glance(case: &Case, set: &StructureSet) -> Glance {
    judge(case, &shape::shapes(case, set))
}

fn judge(case: &Case, shapes: &[Shape]) -> Glance {
    let evidence = evidence::evidence(case, shapes);
    let mut findings = evidence::doubts(case, shapes, &evidence);
    let (lesions, doubtful) = lesion::lesions(case, shapes, &evidence);
    findings.extend(doubtful);
    Glance { evidence, lesions, findings }
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

/// The outline of the patient as a solid, where exactly one structure is it.
fn outline(parts: &[Part<'_>], settings: &Settings) -> Option<Arc<Occupancy>> {
    let mut found = parts.iter().filter(|p| p.role() == Role::External);
    let (only, None) = (found.next()?, found.next()) else { return None };
    let solid = only.solid.as_ref().ok()?;
    Some(solid.occupancy(settings.ends, 1.0, Variant::default()))
}

/// One structure of the case on its way.
struct Part<'a> {
    roi: &'a Roi,
    name: Option<&'a NamedRoi>,
    prescription: Option<(f64, &'static str)>,
    solid: Result<Solid, NoSolid>,
    about: About,
}

impl<'a> Part<'a> {
    fn of(roi: &'a Roi, case: &'a Case, out: &mut Analysis) -> Self {
        let number = roi.header.number;
        let about = About {
            patient: case.patient.clone(),
            case: Some(case.id.clone()),
            object: case.structure_set.as_ref().map(|s| s.origin.object.clone()),
            roi_number: Some(number),
            ..About::default()
        };
        let prescription = case
            .prescriptions
            .iter()
            .find(|p| p.roi_number == number)
            .map(|p| (p.dose.value(), p.basis.word()));
        Self {
            roi,
            name: case.name(number),
            prescription,
            solid: structure::build(roi, &about, &mut out.findings),
            about,
        }
    }

    fn role(&self) -> Role {
        self.name.map_or(Role::Unknown, |n| n.role)
    }

    fn member(&self) -> relate::Member<'_> {
        relate::Member {
            number: self.roi.header.number,
            role: self.role(),
            frame: self.roi.header.frame.as_ref(),
            solid: &self.solid,
        }
    }

    /// The metrics of the study, then those that limits of this organ need.
    fn metrics(&self, settings: &Settings) -> Vec<Metric> {
        settings.metrics_of(self.name.and_then(|n| n.standard.as_deref()))
    }

    /// Whether a metric is for structures like this one.
    fn takes(&self, definition: &Definition) -> bool {
        match definition.applies_to {
            AppliesTo::Structure => true,
            AppliesTo::Target => self.role().is_target(),
            AppliesTo::Plan => false,
            AppliesTo::ModelledOrgan => {
                let standard = self.name.and_then(|n| n.standard.as_deref());
                let is_target = self.role().is_target();
                !is_target && standard.is_some_and(|s| organ_models::of_organ(s).is_some())
            }
        }
    }

    fn in_other_frame(&self, case: &Case) -> bool {
        let dose = case.dose.as_ref().and_then(|d| d.frame.as_ref());
        dose.zip(self.roi.header.frame.as_ref()).is_some_and(|(dose, own)| dose != own)
    }

    fn target(&self, settings: &Settings) -> Option<Target> {
        let solid = self.solid.as_ref().ok()?;
        let (dose_gy, _) = self.prescription.filter(|_| self.role().is_target())?;
        let cells = |coarse| solid.occupancy(settings.ends, coarse, Variant::default());
        Target::of(self.roi.header.number, dose_gy, cells(2.0), &cells(1.0))
    }
}

/// What every structure of the case is measured with.
struct Bench<'a> {
    case: &'a Case,
    settings: &'a Settings,
    fields: Option<Fields<'a>>,
    targets: &'a [Target],
    isocentres: &'a [Point],
    /// The isodoses of the dose and of its two thinned selves.
    spaces: Option<&'a [Space<'a>; 3]>,
    /// The isodoses of what a noisy dose may have been.
    scattered: &'a [Space<'a>],
    turn: Turn<'a>,
}

impl Bench<'_> {
    /// Adds the rows of a structure, and to what is gathered all its values and what of it lies in
    /// the isodoses of the prescriptions.
    fn measure(&self, part: &Part<'_>, gathered: &mut Gathered, out: &mut Analysis) {
        let solid = match &part.solid {
            Ok(solid) => solid,
            Err(none) => return self.rows_without_solid(part, none, out),
        };
        let fields = self.fields.filter(|_| !part.in_other_frame(self.case));
        let solid = &bounds::refined(solid, self.settings.ends, fields);
        let no_dose = fields.is_none().then(|| self.reason_without_dose(part));
        let spaces = self.spaces.filter(|_| fields.is_some());
        let isodoses = self.isodoses(part, spaces.map(|s| &s[0]), no_dose.as_ref());
        let of = |s| self.isodoses(part, Some(s), None).ok().filter(|_| isodoses.is_ok());
        let other = match spaces {
            Some([_, even, odd]) => [even, odd].into_iter().chain(self.scattered).map(of).collect(),
            None => Vec::new(),
        };
        let asked = part.metrics(self.settings);
        let needed = self.settings.needed(&asked);
        let isocentres = needs::any_needs(&needed, Need::Form).then_some(self.isocentres);
        let views = Views::of(solid, self.settings.ends, fields, other, isocentres);
        report_jump(part, &views.nominal, out);
        report_cover(part, &views.nominal, fields.is_some(), out);
        report_cut_isodoses(part, isodoses.as_ref(), out);
        let around = Circumstances { no_dose, isodoses, biology: self.biology(part) };
        let method = views.method(self.settings);
        let alone = |d: &Definition| part.takes(d) && !d.needs(Need::Organs);
        let value = |metric: &Metric| {
            let (outcome, doubts) = views.traced(metric, &around);
            Known { metric: *metric, outcome, doubts }
        };
        let subject = around.subject(&views.nominal);
        let holds = |m: &&Metric| {
            !needed.contains(m) && (m.definition.place)(&subject, m.argument).is_some()
        };
        let all = needed.iter().chain(HOLDING.iter().filter(holds));
        let mut values: Vec<Known> = all.filter(|m| alone(m.definition)).map(value).collect();
        coherent::of_structure(&mut values, &subject);
        for known in &mut values {
            let outcome = known.outcome.clone();
            let from = self.settings.uncertain_from;
            known.outcome = known.metric.definition.weighed(outcome, &subject, from);
        }
        for Known { metric, outcome, doubts } in values.iter().filter(|k| asked.contains(&k.metric))
        {
            let rule = views.rule(metric, &around);
            let traced = (outcome.clone(), *doubts);
            out.measurements.push(row(part, metric, traced, [&method, &rule]));
        }
        gathered.values.add(part.roi.header.number, values);
        let cells = solid.occupancy(self.settings.ends, 2.0, Variant::default());
        let field = fields.map(|f| f.nominal);
        let trace = StructureTrace::of(part.roi.header.number, solid, &cells, field);
        let volume = gathered.values.plain(part.roi.header.number, &metrics::VOLUME);
        let found = (solid, &trace, views.nominal.cover, volume);
        out.structures.push(self.structure_row(part, found));
        out.traces.push(trace);
        if let Some(dvh) = &views.nominal.dvh {
            out.dvh.extend(curve(part.roi.header.number, dvh));
        }
        compare_stated_volume(part, views.nominal.volume_cc, out);
        gathered.shares.extend(self.organ_shares(part, &views, &around));
    }

    fn biology(&self, part: &Part<'_>) -> Biology {
        let standard = part.name.and_then(|n| n.standard.as_deref());
        let is_target = part.role().is_target();
        let chosen = &self.settings.alpha_beta;
        let (alpha_beta_gy, alpha_beta_basis) =
            organ_models::alpha_beta(standard, is_target, chosen);
        Biology {
            fractions: self.case.plan.as_ref().and_then(Plan::fractions),
            days: self.case.treatment.days(),
            alpha_beta_gy,
            alpha_beta_basis,
            organ: standard.filter(|_| !is_target).and_then(organ_models::of_organ),
            is_target,
        }
    }

    fn reason_without_dose(&self, part: &Part<'_>) -> (Status, String) {
        if part.in_other_frame(self.case) && self.fields.is_some() {
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
        let number = part.roi.header.number;
        let target = self
            .targets
            .iter()
            .find(|t| t.roi_number == number)
            .ok_or_else(|| "no prescription dose is known for this structure".to_owned())?;
        let space = space.ok_or_else(|| no_dose.map_or_else(String::new, |n| n.1.clone()))?;
        Ok(space.isodoses(target))
    }

    fn structure_row(
        &self,
        part: &Part<'_>,
        (solid, trace, cover, volume): (&Solid, &StructureTrace, f64, Option<&Outcome>),
    ) -> StructureResult {
        let unknown = || Outcome::none(Status::NotApplicable, "the volume was not computed");
        StructureResult {
            roi_number: part.roi.header.number,
            closed_contours: structure::closed_contours(part.roi),
            planes: solid.stack.planes.len(),
            holes: solid.stack.report.oddities.holes,
            plane_spacing_mm: solid.stack.typical_gap_mm(),
            plane_gap_max_mm: solid.stack.gaps_mm().into_iter().reduce(f64::max),
            volume: volume.cloned().unwrap_or_else(unknown),
            centroid_mm: trace.middle_mm,
            dose_cover_percent: self.fields.map(|_| 100.0 * cover),
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
            volume: outcome.clone(),
            centroid_mm: None,
            dose_cover_percent: None,
            prescription: part.prescription,
        });
        let method = self.settings.method();
        for metric in part.metrics(self.settings).iter().filter(|m| part.takes(m.definition)) {
            out.measurements.push(row(part, metric, (outcome.clone(), None), [&method, ""]));
        }
    }
}

/// One value with the method: interpolation and ends, then the rule of the metric.
fn row(
    part: &Part<'_>,
    metric: &Metric,
    (outcome, doubts): (Outcome, Option<Doubts>),
    [method, rule]: [&str; 2],
) -> Measurement {
    let gap = if rule.is_empty() { "" } else { "; " };
    Measurement {
        roi_number: part.roi.header.number,
        metric: metric.to_string(),
        unit: metric.definition.unit,
        outcome,
        doubts,
        method: format!("{method}{gap}{rule}"),
    }
}

fn report_noise(
    noise: Noise,
    case: &Case,
    settings: &Settings,
    fields: Option<Fields<'_>>,
) -> Finding {
    let about = About {
        patient: case.patient.clone(),
        case: Some(case.id.clone()),
        object: case.dose.as_ref().map(|d| d.origin.object.clone()),
        ..About::default()
    };
    let used = fields.map_or(settings.interpolation, |f| f.nominal.method());
    let text = format!(
        "a standard deviation of {:.3} Gy from voxel to voxel; interpolated by {}",
        noise.deviation_gy,
        used.word()
    );
    Finding::new(Code::DoseNoise, about, text)
}

fn report_jump(part: &Part<'_>, view: &bounds::View, out: &mut Analysis) {
    if view.jumps > 0.0 {
        let text = format!("in {:.1} % of its volume", 100.0 * view.jumps);
        out.findings.push(Finding::new(Code::DoseJump, part.about.clone(), text));
    }
}

fn report_cover(part: &Part<'_>, view: &bounds::View, has_dose: bool, out: &mut Analysis) {
    let code = match &view.dvh {
        _ if !has_dose => return,
        None => Code::DoseCoverNone,
        Some(_) if view.cover < 1.0 - 1e-6 => Code::DoseCoverPartial,
        Some(_) => return,
    };
    let text = format!("{:.1} % of it are covered", 100.0 * view.cover);
    out.findings.push(Finding::new(code, part.about.clone(), text));
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

fn report_cut_isodoses(
    part: &Part<'_>,
    isodoses: Result<&PrescriptionIsodoses, &String>,
    out: &mut Analysis,
) {
    let Ok(rx) = isodoses else { return };
    for (dose, isodose) in [(rx.dose_gy, &rx.whole), (rx.dose_gy / 2.0, &rx.half)] {
        if matches!(isodose, Ok(Isodose { cut_by_grid: true, .. })) {
            let text = format!("the {dose} Gy isodose");
            out.findings.push(Finding::new(Code::IsodoseCut, part.about.clone(), text));
        }
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

fn compare_stated_volume(part: &Part<'_>, volume_cc: f64, out: &mut Analysis) {
    let Some(stated) = part.roi.header.stated_volume.map(|v| v.value()) else { return };
    if stated > STATED_FROM_CC && (stated / volume_cc - 1.0).abs() > STATED_TOLERANCE {
        let text = format!("{stated} cc stated, {volume_cc:.3} cc computed");
        out.findings.push(Finding::new(Code::VolumeDiffers, part.about.clone(), text));
    }
}
