//! Dose-volume histograms that came with the dose, held against the computed ones. Those of another
//! structure set, or of a dose that is only a part of what is measured, say nothing.

use super::result::Analysis;
use super::{About, STATED_FROM_CC, STATED_TOLERANCE};
use tidydose_case::Case;
use tidydose_metrics::Status;
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::{DoseUnits, StoredDvh};

/// Mean doses may differ by this, Gy, beside the share of [`STATED_TOLERANCE`] and a bin.
const MEAN_GY: f64 = 0.5;

/// Adds a finding for each structure whose stored volume or mean dose is another one.
pub(super) fn compare(case: &Case, about: &[(i64, &About)], out: &mut Analysis) {
    let (Some(dose), Some(set)) = (&case.dose, &case.structure_set) else { return };
    let of_set = dose.structure_set.as_ref() == Some(&set.origin.object);
    let whole = case.dose_source.parts.is_empty() && case.dose_source.local.is_empty();
    if !of_set || !whole || dose.units != DoseUnits::Gray {
        return;
    }
    for stored in &dose.stored_dvhs {
        let Some((_, about)) = about.iter().find(|(roi, _)| *roi == stored.roi_number) else {
            continue;
        };
        let message = differences(stored, out).join("; ");
        if !message.is_empty() {
            out.findings.push(Finding::new(Code::DvhDiffers, (*about).clone(), message));
        }
    }
}

fn differences(stored: &StoredDvh, out: &Analysis) -> Vec<String> {
    let value = |metric: &str| {
        let mut own = out.measurements.iter().filter(|m| m.roi_number == stored.roi_number);
        let outcome = &own.find(|m| m.metric == metric)?.outcome;
        outcome.value.filter(|_| outcome.status == Status::Ok)
    };
    let mut list = Vec::new();
    if let (Some(there), Some(here)) = (stored.volume_cc, value("Volume[cc]"))
        && there.max(here) > STATED_FROM_CC
        && (there - here).abs() > STATED_TOLERANCE * here
    {
        list.push(format!("volume {there:.3} cc stored, {here:.3} cc computed"));
    }
    if let (Some(there), Some(here)) = (stored.mean_gy, value("Mean[Gy]"))
        && (there - here).abs() > (STATED_TOLERANCE * here).max(MEAN_GY) + stored.bin_gy
    {
        list.push(format!("mean dose {there:.2} Gy stored, {here:.2} Gy computed"));
    }
    list
}
