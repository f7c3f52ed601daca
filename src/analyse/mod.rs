//! One case and the settings in, one [`Analysis`] with its findings out: contours become solids,
//! solids are sampled, samples become histograms, histograms become metrics. Opens no file and
//! knows no table.

pub mod bounds;
pub mod grids;
pub mod result;
pub mod settings;
pub mod strict;
pub mod structure;
pub mod target;

pub use grids::analyse_grids;
pub use result::{Analysis, DoseResult, DvhPoint, Measurement, StructureResult};
pub use settings::{Ends, Settings};

use crate::case::{Case, NamedRoi, Role};
use crate::dose::{DoseField, Dvh, Isodose, IsodoseMap, Phase};
use crate::finding::{Code, Finding, Subject as About};
use crate::geometry::smooth::Variant;
use crate::metrics::{AppliesTo, Outcome, PrescriptionIsodoses, Status};
use crate::rt::{Dose, Roi, StructureSet};
use bounds::{Circumstances, Fields, View, Views};
use structure::{NoSolid, Solid};
use target::Target;

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
    analyse_those(case, structures, dose, settings, &|_| true)
}

/// As [`analyse`], with rows only for the structures that are `wanted` by ROI Number; the others
/// still have their part in the isodoses of their neighbours.
fn analyse_those(
    case: &Case,
    structures: Option<&StructureSet>,
    dose: Option<Dose>,
    settings: &Settings,
    wanted: &dyn Fn(i64) -> bool,
) -> Analysis {
    let step_gy = dose.as_ref().map_or(0.0, |d| d.step.value());
    let nominal = dose.map(|d| DoseField::new(d, settings.interpolation));
    let thinned = nominal.as_ref().map(|f| [Phase::Even, Phase::Odd].map(|phase| f.thinned(phase)));
    let fields = nominal.as_ref().zip(thinned.as_ref()).map(|(nominal, thinned)| Fields {
        nominal,
        thinned,
        step_gy,
    });
    let mut out = Analysis {
        case: case.id.clone(),
        dose: fields.map(dose_result),
        structures: Vec::new(),
        measurements: Vec::new(),
        dvh: Vec::new(),
        findings: Vec::new(),
    };
    let Some(set) = structures else { return out };
    let parts: Vec<Part<'_>> = set.rois.iter().map(|r| Part::of(r, case, &mut out)).collect();
    let targets: Vec<Target> = parts.iter().filter_map(|p| p.target(settings)).collect();
    let bench = Bench { case, settings, fields, targets: &targets };
    for part in parts.iter().filter(|part| wanted(part.roi.header.number)) {
        bench.measure(part, &mut out);
    }
    out.findings.sort();
    out
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
            name: case.names.iter().find(|n| n.number == number),
            prescription,
            solid: structure::build(roi, &about, &mut out.findings),
            about,
        }
    }

    fn role(&self) -> Role {
        self.name.map_or(Role::Unknown, |n| n.role)
    }

    fn in_other_frame(&self, case: &Case) -> bool {
        let dose = case.dose.as_ref().and_then(|d| d.frame.as_ref());
        dose.zip(self.roi.header.frame.as_ref()).is_some_and(|(dose, own)| dose != own)
    }

    fn target(&self, settings: &Settings) -> Option<Target> {
        let solid = self.solid.as_ref().ok()?;
        let (dose_gy, _) = self.prescription.filter(|_| self.role().is_target())?;
        let occupancy = solid.occupancy(settings.ends, 2.0, Variant::default());
        Target::of(self.roi.header.number, dose_gy, &occupancy)
    }
}

/// What every structure of the case is measured with.
struct Bench<'a> {
    case: &'a Case,
    settings: &'a Settings,
    fields: Option<Fields<'a>>,
    targets: &'a [Target],
}

impl Bench<'_> {
    fn measure(&self, part: &Part<'_>, out: &mut Analysis) {
        let solid = match &part.solid {
            Ok(solid) => solid,
            Err(none) => return self.rows_without_solid(part, none, out),
        };
        let fields = self.fields.filter(|_| !part.in_other_frame(self.case));
        let solid = &bounds::refined(solid, self.settings.ends, fields);
        let no_dose = fields.is_none().then(|| self.reason_without_dose(part));
        let isodoses = self.isodoses(part, fields.map(|f| f.nominal), no_dose.as_ref());
        let other = [0, 1].map(|i| {
            let f = fields.filter(|_| isodoses.is_ok())?;
            self.isodoses(part, Some(&f.thinned[i]), None).ok()
        });
        let views = Views::of(solid, self.settings.ends, fields, other);
        report_cover(part, &views.nominal, fields.is_some(), out);
        report_cut_isodoses(part, isodoses.as_ref(), out);
        let around = Circumstances { no_dose, isodoses };
        for metric in &self.settings.metrics {
            if metric.definition.applies_to == AppliesTo::Target && !part.role().is_target() {
                continue;
            }
            let outcome = views.measure(metric, &around);
            out.measurements.push(self.row(part, metric, outcome));
        }
        out.structures.push(self.structure_row(part, solid, &views));
        if let Some(dvh) = &views.nominal.dvh {
            out.dvh.extend(curve(part.roi.header.number, dvh));
        }
        compare_stated_volume(part, views.nominal.volume_cc, out);
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
        field: Option<&DoseField>,
        no_dose: Option<&(Status, String)>,
    ) -> Result<PrescriptionIsodoses, String> {
        let number = part.roi.header.number;
        let target = self
            .targets
            .iter()
            .find(|t| t.roi_number == number)
            .ok_or_else(|| "no prescription dose is known for this structure".to_owned())?;
        let field = field.ok_or_else(|| no_dose.map_or_else(String::new, |n| n.1.clone()))?;
        Ok(target::isodoses(&IsodoseMap::new(field), target, self.targets))
    }

    fn structure_row(&self, part: &Part<'_>, solid: &Solid, views: &Views) -> StructureResult {
        let cells = solid.occupancy(self.settings.ends, 2.0, Variant::default());
        StructureResult {
            roi_number: part.roi.header.number,
            closed_contours: structure::closed_contours(part.roi),
            planes: solid.stack.planes.len(),
            holes: solid.stack.report.oddities.holes,
            plane_spacing_mm: solid.stack.typical_gap_mm(),
            plane_gap_max_mm: solid.stack.gaps_mm().into_iter().reduce(f64::max),
            volume: views.volume(),
            centroid_mm: cells.centroid(),
            dose_cover_percent: self.fields.map(|_| 100.0 * views.nominal.cover),
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
        for metric in &self.settings.metrics {
            if metric.definition.applies_to == AppliesTo::Structure || part.role().is_target() {
                out.measurements.push(self.row(part, metric, outcome.clone()));
            }
        }
    }

    fn row(
        &self,
        part: &Part<'_>,
        metric: &crate::metrics::Metric,
        outcome: Outcome,
    ) -> Measurement {
        Measurement {
            roi_number: part.roi.header.number,
            metric: metric.to_string(),
            unit: metric.definition.unit,
            outcome,
            method: self.settings.method(),
        }
    }
}

fn report_cover(part: &Part<'_>, view: &View, has_dose: bool, out: &mut Analysis) {
    let code = match &view.dvh {
        _ if !has_dose => return,
        None => Code::DoseCoverNone,
        Some(_) if view.cover < 1.0 - 1e-6 => Code::DoseCoverPartial,
        Some(_) => return,
    };
    let text = format!("{:.1} % of it are covered", 100.0 * view.cover);
    out.findings.push(Finding::new(code, part.about.clone(), text));
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
