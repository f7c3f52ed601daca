//! A cohort for tests: forty patients with two lesions each, of known outcome.

use std::collections::BTreeMap;

use super::study::{Cohort, Lesion, MetricValue, Plan};
use super::{Grain, Request};
use tidydose_table::user::outcomes::Outcome;

pub(super) const PATIENTS: usize = 40;

/// Every patient has one plan with two lesions; V12Gy of each grows with its number.
pub(super) fn cohort() -> Cohort {
    let mut cohort = Cohort::default();
    let mut column = BTreeMap::new();
    for i in 0..PATIENTS {
        let (patient_id, plan_id) = (format!("P{i:02}"), format!("O{i:02}"));
        for k in 1..=2 {
            let lesion_id = format!("{plan_id}/{k}");
            column.insert(lesion_id.clone(), (i * k % 13) as f64 + 0.5);
            cohort.lesions.push(Lesion {
                plan_id: plan_id.clone(),
                lesion_id: lesion_id.clone(),
                structure: format!("GTV{k}"),
                clinical_label: (k == 2).then(|| "left".to_owned()),
            });
            cohort.metrics.push(metric(&plan_id, &lesion_id, "GTV", "Volume[cc]", (i + k) as f64));
        }
        let dose = 0.5 * i as f64 + 1.0;
        cohort.metrics.push(metric(&plan_id, &format!("{plan_id}/9"), "Brain", "V12Gy[cc]", dose));
        cohort.plans.push(Plan {
            patient_id,
            plan_id,
            role: "treated".to_owned(),
            measured: true,
            in_study: true,
            course: Some(1),
            day: Some(1000),
            fractions: Some(1),
            group: ["gantry_linac", "cobalt_unit"][i % 2].to_owned(),
            ..Plan::default()
        });
    }
    cohort.lesion_columns.insert("gtv_volume_cc".to_owned(), column);
    cohort
}

fn metric(plan: &str, id: &str, structure: &str, metric: &str, value: f64) -> MetricValue {
    MetricValue {
        plan_id: plan.to_owned(),
        structure_id: id.to_owned(),
        structure: structure.to_owned(),
        metric: metric.to_owned(),
        value: Some(value),
        status: "ok".to_owned(),
    }
}

/// A row of the sheet.
pub(super) fn row(patient: usize, lesion: Option<&str>, event: &str, day: Option<i64>) -> Outcome {
    Outcome {
        row: 2,
        patient_id: format!("P{patient:02}"),
        lesion_id: lesion.map(str::to_owned),
        event_type: event.to_owned(),
        day_event: day,
        ..Outcome::default()
    }
}

/// Necrosis where the dose is high, by lesion; some died, all have a last day.
pub(super) fn outcomes() -> Vec<Outcome> {
    let mut rows = Vec::new();
    for i in 0..PATIENTS {
        let last = 200 + 20 * i64::try_from(i).unwrap_or(0);
        for k in 1..=2 {
            let id = format!("O{i:02}/{k}");
            let happened = (i * 7 + k * 3) % 40 < i / 2;
            let (event, day) = if happened { ("necrosis", Some(last / 2)) } else { ("none", None) };
            let mut o = row(i, Some(&id), event, day);
            o.day_last_imaging = Some(last - 10);
            rows.push(o);
        }
        let mut o =
            row(i, None, if i % 4 == 0 { "death" } else { "none" }, (i % 4 == 0).then_some(last));
        o.day_last_contact = Some(last);
        o.dead = Some(i % 4 == 0);
        rows.push(o);
    }
    rows
}

pub(super) fn request(grain: Grain) -> Request {
    Request {
        event: "necrosis".to_owned(),
        predictor: "Brain:V12Gy[cc]".to_owned(),
        adjust: None,
        grain,
        fractions: None,
        least_grade: None,
        least_follow_up: None,
        doubling: false,
        group: "technology".to_owned(),
        tried: vec!["Brain:V12Gy[cc]".to_owned()],
        stale: None,
        run: "Run: of a test.".to_owned(),
    }
}
