//! Dose-volume histograms that came with the dose, held against the computed ones. Those of another
//! structure set, or of a dose that is only a part of what is measured, say nothing.

use super::known::Values;
use super::{About, STATED_FROM_CC, STATED_TOLERANCE};
use tidydose_case::Case;
use tidydose_metrics::{self as metrics, Definition, Status};
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::{DoseUnits, StoredDvh};

/// Mean doses may differ by this, Gy, beside the share of [`STATED_TOLERANCE`] and a bin.
const MEAN_GY: f64 = 0.5;

/// A finding for each structure whose stored volume or mean dose is another one.
pub(super) fn compare(case: &Case, about: &[(i64, &About)], values: &Values) -> Vec<Finding> {
    let mut findings = Vec::new();
    let (Some(dose), Some(set)) = (&case.dose, &case.structure_set) else { return findings };
    let of_set = dose.structure_set.as_ref() == Some(&set.origin.object);
    let whole = case.dose_source.parts.is_empty() && case.dose_source.local.is_empty();
    if !of_set || !whole || dose.units != DoseUnits::Gray {
        return findings;
    }
    for stored in &dose.stored_dvhs {
        let Some((_, about)) = about.iter().find(|(roi, _)| *roi == stored.roi_number) else {
            continue;
        };
        let message = differences(stored, values).join("; ");
        if !message.is_empty() {
            findings.push(Finding::new(Code::DvhDiffers, (*about).clone(), message));
        }
    }
    findings
}

fn differences(stored: &StoredDvh, values: &Values) -> Vec<String> {
    let value = |definition: &'static Definition| {
        let outcome = values.plain(stored.roi_number, definition)?;
        outcome.value.filter(|_| outcome.status == Status::Ok)
    };
    let mut list = Vec::new();
    if let (Some(there), Some(here)) = (stored.volume_cc, value(&metrics::VOLUME))
        && there.max(here) > STATED_FROM_CC
        && (there - here).abs() > STATED_TOLERANCE * here
    {
        list.push(format!("volume {there:.3} cc stored, {here:.3} cc computed"));
    }
    if let (Some(there), Some(here)) = (stored.mean_gy, value(&metrics::MEAN))
        && (there - here).abs() > (STATED_TOLERANCE * here).max(MEAN_GY) + stored.bin_gy
    {
        list.push(format!("mean dose {there:.2} Gy stored, {here:.2} Gy computed"));
    }
    list
}
