//! A cohort for tests: forty patients with two lesions each, of known outcome.

use super::study::Cohort;
use super::{Grain, Request, Tried};
use tidydose_table::frame::{Cells, LoadedTable};
use tidydose_table::read::Tables;
use tidydose_table::user::outcomes::Outcome;

pub(super) const PATIENTS: usize = 40;

/// Every patient has one plan with two lesions; V12Gy of each grows with its number.
fn tables() -> Tables {
    tables_of(None)
}

/// The same; of several centres where they are named, which the plans take in turn.
fn tables_of(centres: Option<&[&str]>) -> Tables {
    let plan = |i: usize| format!("O{i:02}");
    let all = || 0..PATIENTS;
    let both = || all().flat_map(|i| [(i, 1), (i, 2)]);
    let text = |cells: Vec<String>| Cells::texts(cells.iter().map(|t| Some(t.as_str())));
    let same = |word: &str, n: usize| Cells::texts(vec![Some(word); n]);
    let whole = |value: i64| Cells::Integer(vec![Some(value); PATIENTS]);
    let centre = centres.map(|names| {
        let cells = Cells::texts(all().map(|i| Some(names[i % names.len()])));
        ("centre".into(), cells)
    });
    let mut of_plans = vec![
        ("patient_id".into(), text(all().map(|i| format!("P{i:02}")).collect())),
        ("plan_id".into(), text(all().map(plan).collect())),
        ("plan_role".into(), same("treated", PATIENTS)),
        ("measured".into(), Cells::Boolean(vec![Some(true); PATIENTS])),
        ("in_study".into(), Cells::Boolean(vec![Some(true); PATIENTS])),
        ("course".into(), whole(1)),
        ("day_plan".into(), whole(1000)),
        ("fractions_planned".into(), whole(1)),
        (
            "technology".into(),
            Cells::texts(all().map(|i| Some(["gantry_linac", "cobalt_unit"][i % 2]))),
        ),
    ];
    of_plans.extend(centre);
    let plans = LoadedTable::new(of_plans);
    let sizes = both().map(|(i, k)| Some((i * k % 13) as f64 + 0.5)).collect();
    let lesions = LoadedTable::new(vec![
        ("plan_id".into(), text(both().map(|(i, _)| plan(i)).collect())),
        ("lesion_id".into(), text(both().map(|(i, k)| format!("{}/{k}", plan(i))).collect())),
        ("structure".into(), text(both().map(|(_, k)| format!("GTV{k}")).collect())),
        (
            "clinical_label".into(),
            Cells::texts(both().map(|(_, k)| if k == 2 { Some("left") } else { None })),
        ),
        ("gtv_volume_cc".into(), Cells::Real(sizes)),
    ]);
    // Two volumes of lesions, then the dose of the brain.
    let three = || all().flat_map(|i| [(i, 1), (i, 2), (i, 9)]);
    let of = |lesion: &'static str, brain: &'static str| {
        Cells::texts(three().map(|(_, k)| Some(if k == 9 { brain } else { lesion })))
    };
    let mut values = Vec::new();
    for (i, k) in three() {
        values.push(Some(if k == 9 { 0.5 * i as f64 + 1.0 } else { (i + k) as f64 }));
    }
    let metrics = LoadedTable::new(vec![
        ("plan_id".into(), text(three().map(|(i, _)| plan(i)).collect())),
        ("structure_id".into(), text(three().map(|(i, k)| format!("{}/{k}", plan(i))).collect())),
        ("structure".into(), of("GTV", "Brain")),
        ("metric".into(), of("Volume[cc]", "V12Gy[cc]")),
        ("value".into(), Cells::Real(values)),
        ("status".into(), same("ok", 3 * PATIENTS)),
    ]);
    [("plans", plans), ("lesions", lesions), ("metrics", metrics)]
        .map(|(name, table)| (name.to_owned(), table))
        .into()
}

/// What is read of these tables, which are kept as long as the tests run.
pub(super) fn cohort() -> Cohort<'static> {
    Cohort::read(Box::leak(Box::new(tables())), "technology").unwrap()
}

/// The same of several centres.
pub(super) fn cohort_of(centres: &[&str]) -> Cohort<'static> {
    Cohort::read(Box::leak(Box::new(tables_of(Some(centres)))), "technology").unwrap()
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

pub(super) fn tried(what: &str) -> Tried {
    Tried { event: "necrosis".to_owned(), what: what.to_owned() }
}

pub(super) fn request(grain: Grain) -> Request {
    Request {
        event: "necrosis".to_owned(),
        predictor: "Brain:V12Gy[cc]".to_owned(),
        adjust: Vec::new(),
        grain,
        fractions: None,
        least_grade: None,
        least_follow_up: None,
        doubling: false,
        group: "technology".to_owned(),
        covariates: Vec::new(),
        tried: vec![tried("Brain:V12Gy[cc]")],
        looked_for: Vec::new(),
        models: Vec::new(),
        program: ["tidydose", "0.0"].map(str::to_owned),
        tiff: false,
        stale: None,
        run: "Run: of a test.".to_owned(),
    }
}
