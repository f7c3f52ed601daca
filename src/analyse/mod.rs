//! One case and the settings in, one [`Analysis`] with its findings out: contours become solids,
//! solids are sampled, samples become histograms, histograms become metrics. Opens no file and
//! knows no table.

pub mod result;
pub mod settings;
pub mod structure;
pub mod target;

pub use result::{Analysis, DoseResult, DvhPoint, Measurement, StructureResult};
pub use settings::{Ends, Settings};

use crate::case::{Case, NamedRoi, Role};
use crate::dose::{DoseField, Dvh, Isodose, IsodoseMap, sample};
use crate::finding::{Code, Finding, Subject as About};
use crate::metrics::{AppliesTo, Outcome, PrescriptionIsodoses, Status, Subject};
use crate::rt::{Dose, Roi, StructureSet};
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
    let step = dose.as_ref().map(|d| d.step.value());
    let field = dose.map(|d| DoseField::new(d, settings.interpolation));
    let map = field.as_ref().map(IsodoseMap::new);
    let mut out = Analysis {
        case: case.id.clone(),
        dose: field.as_ref().zip(map.as_ref()).map(|(f, m)| dose_result(f, m, step)),
        structures: Vec::new(),
        measurements: Vec::new(),
        dvh: Vec::new(),
        findings: Vec::new(),
    };
    let Some(set) = structures else { return out };
    let parts: Vec<Part<'_>> = set.rois.iter().map(|r| Part::of(r, case, &mut out)).collect();
    let targets: Vec<Target> = parts.iter().filter_map(Part::target).collect();
    let no_dose = reason_without_dose(case);
    let bench = Bench { case, settings, field: field.as_ref(), map: map.as_ref(), no_dose };
    for part in &parts {
        bench.measure(part, &targets, &mut out);
    }
    out.findings.sort();
    out
}

fn dose_result(field: &DoseField, map: &IsodoseMap<'_>, step: Option<f64>) -> DoseResult {
    let [row, column] = field.grid().spacing_mm();
    DoseResult {
        spacing_mm: [field.grid().plane_spacing_mm(), row, column],
        maximum_gy: map.maximum_gy(),
        step_gy: step.unwrap_or(0.0),
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
            | Code::DoseSeveral,
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

    fn target(&self) -> Option<Target> {
        let solid = self.solid.as_ref().ok()?;
        let (dose_gy, _) = self.prescription.filter(|_| self.role().is_target())?;
        Target::of(self.roi.header.number, dose_gy, &solid.occupancy)
    }
}

/// What every structure of the case is measured with.
struct Bench<'a> {
    case: &'a Case,
    settings: &'a Settings,
    field: Option<&'a DoseField>,
    map: Option<&'a IsodoseMap<'a>>,
    no_dose: (Status, String),
}

/// What was computed for a structure before its metrics.
struct Measured {
    volume_cc: f64,
    dvh: Result<Dvh, (Status, String)>,
    cover: Option<f64>,
}

impl Bench<'_> {
    fn measure(&self, part: &Part<'_>, targets: &[Target], out: &mut Analysis) {
        let solid = match &part.solid {
            Ok(solid) => solid,
            Err(none) => return self.rows_without_solid(part, none, out),
        };
        let measured = self.sample(part, solid, out);
        out.structures.push(Self::structure_row(part, solid, &measured));
        let isodoses = self.isodoses(part, targets, out);
        let subject = Subject {
            volume_cc: measured.volume_cc,
            dvh: measured.dvh.as_ref().map_err(Clone::clone),
            cover: measured.cover.unwrap_or(0.0),
            prescription: isodoses.as_ref().map_err(Clone::clone),
        };
        for metric in &self.settings.metrics {
            if metric.definition.applies_to == AppliesTo::Target && !part.role().is_target() {
                continue;
            }
            let outcome = metric.compute(&subject);
            out.measurements.push(self.row(part, metric, outcome));
        }
        if let Ok(dvh) = &measured.dvh {
            out.dvh.extend(curve(part.roi.header.number, dvh));
        }
        compare_stated_volume(part, measured.volume_cc, out);
    }

    fn sample(&self, part: &Part<'_>, solid: &Solid, out: &mut Analysis) -> Measured {
        let volume_cc = solid.occupancy.volume_mm3() / 1000.0;
        let Some(field) = self.field else {
            return Measured { volume_cc, dvh: Err(self.no_dose.clone()), cover: None };
        };
        if part.in_other_frame(self.case) {
            let reason = "the structure is in another frame of reference than the dose".to_owned();
            return Measured { volume_cc, dvh: Err((Status::Unlinked, reason)), cover: None };
        }
        let samples = sample(field, &solid.occupancy);
        let inside = samples.inside_mm3();
        let whole = inside + samples.outside_mm3;
        let cover = if whole > 0.0 { inside / whole } else { 0.0 };
        let percent = 100.0 * cover;
        let note = |code| {
            Finding::new(code, part.about.clone(), format!("{percent:.1} % of it are covered"))
        };
        let dvh = Dvh::of(samples).ok_or_else(|| {
            (Status::OutsideGrid, "the structure lies outside the dose grid".to_owned())
        });
        if dvh.is_err() {
            out.findings.push(note(Code::DoseCoverNone));
        } else if samples_missing(cover) {
            out.findings.push(note(Code::DoseCoverPartial));
        }
        Measured { volume_cc, dvh, cover: Some(cover) }
    }

    fn isodoses(
        &self,
        part: &Part<'_>,
        targets: &[Target],
        out: &mut Analysis,
    ) -> Result<PrescriptionIsodoses, String> {
        let number = part.roi.header.number;
        let target = targets
            .iter()
            .find(|t| t.roi_number == number)
            .ok_or_else(|| "no prescription dose is known for this structure".to_owned())?;
        let map = self.map.ok_or_else(|| self.no_dose.1.clone())?;
        let isodoses = target::isodoses(map, target, targets);
        for (dose, isodose) in
            [(target.dose_gy, &isodoses.whole), (target.dose_gy / 2.0, &isodoses.half)]
        {
            if matches!(isodose, Ok(Isodose { cut_by_grid: true, .. })) {
                let text = format!("the {dose} Gy isodose");
                out.findings.push(Finding::new(Code::IsodoseCut, part.about.clone(), text));
            }
        }
        Ok(isodoses)
    }

    fn structure_row(part: &Part<'_>, solid: &Solid, measured: &Measured) -> StructureResult {
        StructureResult {
            roi_number: part.roi.header.number,
            closed_contours: structure::closed_contours(part.roi),
            planes: solid.stack.planes.len(),
            holes: solid.stack.report.oddities.holes,
            plane_spacing_mm: solid.stack.typical_gap_mm(),
            plane_gap_max_mm: solid.stack.gaps_mm().into_iter().reduce(f64::max),
            volume: Outcome::of(measured.volume_cc),
            centroid_mm: solid.occupancy.centroid(),
            dose_cover_percent: measured.cover.map(|c| 100.0 * c),
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

fn samples_missing(cover: f64) -> bool {
    cover < 1.0 - 1e-6
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
