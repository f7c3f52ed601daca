//! To add a metric is one definition and one name in a list: here both are in this file, and the
//! metric is found by name, stands on the page and in the dictionary, and has its row with bounds in
//! `metrics.csv`. Nothing else was told of it.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;

use tidydose_analyse::{Analysis, Settings};
use tidydose_metrics::{Definition, List, Outcome, REGISTRY, Registry, Scale};
use tidydose_table::analysis::ChosenColumns;
use tidydose_table::user::clinical_file::ConfirmedLabels;
use tidydose_table::user::lesion_file::LesionDecisions;
use tidydose_table::user::states::States;
use tidydose_table::{Destination, MetricDefinition, Study, Tally, write_tables};

use crate::archive::{Course, Measured};
use crate::documents::page_of_metrics;
use crate::phantom::dicom::Roi;
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid};

/// The definition.
static DOSE_SPREAD: Definition = Definition {
    name: "DoseSpread[Gy]",
    unit: "Gy",
    title: "largest dose less smallest dose",
    formula: "Max − Min",
    reference: "this test",
    undefined: "the dose grid does not cover the whole structure",
    compute: |s, _| Outcome::from_result(s.complete_dvh().map(|d| d.max_gy() - d.min_gy())),
    scale: Scale::Dose,
    ..Definition::PLAIN
};

/// The line in the list.
fn definitions() -> Vec<&'static Definition> {
    [REGISTRY.definitions(), &[&DOSE_SPREAD]].concat()
}

const RADIUS_MM: f64 = 6.0;
const GY_A_MM: f64 = 0.5;

/// A ball in a dose that rises along one axis.
fn measured(settings: &Settings) -> Measured {
    let (centre, gradient) = ([0.0; 3], [GY_A_MM, 0.0, 0.0]);
    let ball = Solid::ball(centre, RADIUS_MM);
    let rois = vec![Roi::new(1, "GTV", "GTV").outlining(&ball, &PlaneStack::axial(1.0, 0.0), 120)];
    let field = Field::Linear { centre, dose: 20.0, gradient };
    let lattice = Lattice::around(centre, [30.0; 3], 2.0);
    Course::new("SPREAD", rois, (&field, &lattice), &[(1, 20.0)]).measure(settings)
}

/// The lines of a table of this run that name the metric.
fn lines_of_table(name: &str, measured: &Measured, metrics: &[MetricDefinition]) -> Vec<String> {
    let analyses: Vec<Analysis> = measured.analyses.values().cloned().collect();
    let study = Study {
        inventory: &measured.scan.inventory,
        cases: &measured.cases,
        analyses: &analyses,
        sums: &[],
        findings: &measured.findings,
        states: &States::default(),
        lesion_decisions: &LesionDecisions::new(),
        confirmed_labels: &ConfirmedLabels::new(),
        tally: &Tally::default(),
        columns: &ChosenColumns::default(),
        limits: &[],
        metrics,
        settings_digest: "",
    };
    let place = tempfile::tempdir().unwrap();
    let to = Destination { folder: place.path(), database: None };
    write_tables(&study, &[name], to).unwrap();
    let text = fs::read_to_string(place.path().join(format!("{name}.csv"))).unwrap();
    text.lines().filter(|line| line.contains(DOSE_SPREAD.name)).map(str::to_owned).collect()
}

#[test]
fn a_metric_is_one_definition_and_one_line() {
    let definitions = definitions();
    let registry = Registry::of(&definitions);
    let metric = registry.parse(DOSE_SPREAD.name).unwrap();
    assert!(REGISTRY.parse(DOSE_SPREAD.name).is_err(), "it was there before");
    assert_eq!(registry.metrics(List::Full).len(), REGISTRY.metrics(List::Full).len() + 1);
    assert!(registry.candidates("DoseSpraed").contains(&metric.to_string()));

    let (with, without) = (page_of_metrics(registry), page_of_metrics(REGISTRY));
    assert!(with.contains("## largest dose less smallest dose\n"), "{with}");
    assert_eq!(with.lines().count(), without.lines().count() + 14);

    let settings = Settings { metrics: vec![metric], regions: false, ..Settings::default() };
    let measured = measured(&settings);
    let shown: Vec<_> = settings.all_metrics().iter().map(MetricDefinition::from).collect();
    let dictionary = lines_of_table("dictionary", &measured, &shown);
    assert_eq!(dictionary.len(), 1, "{dictionary:?}");
    let said = "largest dose less smallest dose; no value: the dose grid does not cover";
    assert!(dictionary[0].contains(said), "{dictionary:?}");

    let rows = lines_of_table("metrics", &measured, &shown);
    assert_eq!(rows.len(), 1, "{rows:?}");
    let outcome = &measured.metrics(1)[DOSE_SPREAD.name];
    let value = outcome.value.unwrap();
    assert!(rows[0].contains(&format!(",{value},")), "{value} in {rows:?}");
    // The dose is linear, so that interpolation is exact; the outermost plane lies at most 1 mm
    // inside the ball, which does not matter along the axis of the gradient, and cells of 1 mm at
    // most are sampled at their middles: half a cell at each end.
    let truth = 2.0 * RADIUS_MM * GY_A_MM;
    assert!((value - truth).abs() <= GY_A_MM, "{value} for {truth}");
    assert!(outcome.low.unwrap() <= truth && truth <= outcome.high.unwrap(), "{outcome:?}");
}
