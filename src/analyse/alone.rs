//! A metric that was asked for has rows: each metric of the registry asked for alone, in a case in
//! which all of them apply. A metric that does not say what it needs fails here.

use ndarray::Array3;
use rayon::prelude::*;

use super::testing::{ball, case_of, set_of};
use super::{Analysis, Settings, analyse};
use tidydose_case::{Case, Delivery, DeliverySource, Prescription, PrescriptionBasis};
use tidydose_geometry::Grid;
use tidydose_geometry::units::{Day, Gray};
use tidydose_metrics::{Metric, Need, Outcome, standard};
use tidydose_rt::{Beam, Dose, FractionGroup, StructureSet};

/// A Gaussian of 25 Gy and 6 mm: 12 Gy at 7.3 mm, a fifth of the largest dose at 10.8 mm.
fn dose() -> Dose {
    let offsets = (0..31).map(f64::from).map(|k| 2.0 * k).collect();
    let axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
    let grid = Grid::new([-30.0; 3], axes, [2.0; 2], offsets, [31, 31]).unwrap();
    let values = Array3::from_shape_fn(grid.shape(), |at| {
        let r2: f64 = grid.position(at.into()).iter().map(|x| x * x).sum();
        (25.0 * (-r2 / 72.0).exp()) as f32
    });
    Dose { grid, values, step: Gray::gy(1e-6) }
}

/// A target that its isodose covers, an organ with model parameters, and a brain around both; two
/// fractions on two days, an isocentre.
fn plan() -> (Case, StructureSet) {
    let mut case = case_of(&["GTV", "Brainstem", "Brain"]);
    let (dose, basis) = (Gray::gy(12.0), PrescriptionBasis::User);
    case.prescriptions = vec![Prescription { roi_number: 1, dose, basis }];
    let plan = case.plan.as_mut().unwrap();
    plan.fraction_groups.push(FractionGroup { number: 1, fractions: Some(2), beams: Vec::new() });
    plan.beams.push(Beam {
        number: 1,
        beam_type: None,
        radiation_type: None,
        delivery_type: None,
        machine: None,
        dosimeter_unit: None,
        applicators: Vec::new(),
        control_points: 0,
        isocentres: vec![[1.0, 0.0, 0.0]],
        gantry_angles: None,
        couch_angles: Vec::new(),
    });
    case.treatment.delivery = Some(Delivery {
        fractions: Some(2),
        partial: 0,
        first_day: Some(Day(100)),
        last_day: Some(Day(101)),
        source: DeliverySource::SessionRecords,
    });
    let rois = [ball(1, [0.0; 3], 4.0), ball(2, [0.0, 8.0, 0.0], 3.5), ball(3, [0.0; 3], 8.0)];
    (case, set_of(rois.to_vec()))
}

fn asked_for(metrics: Vec<Metric>, regions: bool) -> Analysis {
    let (case, set) = plan();
    let settings = Settings { metrics, regions, ..Settings::default() };
    analyse(&case, Some(&set), Some(dose()), &settings)
}

/// Where, and what.
type Rows = Vec<(String, Outcome)>;

fn rows_of(analysis: &Analysis, metric: &str) -> Rows {
    let own = analysis.measurements.iter().filter(|m| m.metric == metric);
    let regions = analysis.regions.iter().filter(|m| m.metric == metric);
    let own = own.map(|m| (m.roi_number.to_string(), m.outcome.clone()));
    own.chain(regions.map(|m| (m.region.clone(), m.outcome.clone()))).collect()
}

#[test]
fn any_metric_alone_has_the_rows_that_it_has_among_all() {
    let all = asked_for(standard(), true);
    // One number of each family stands for all.
    let mut metrics = standard();
    metrics.dedup_by_key(|m| std::ptr::from_ref(m.definition));
    metrics.into_par_iter().for_each(|metric| {
        let name = metric.to_string();
        let among_all = rows_of(&all, &name);
        assert!(among_all.iter().any(|(_, o)| o.value.is_some()), "{name}: {among_all:?}");
        let alone = asked_for(vec![metric], true);
        let rows = rows_of(&alone, &name);
        assert_eq!(rows.len(), among_all.len(), "{name}");
        for ((place, one), (_, other)) in rows.iter().zip(&among_all) {
            // Isodoses of other doses, which hold its bounds, are taken apart only when asked for.
            let d = metric.definition;
            let isodose = d.needs(Need::Isodoses) || d.needs(Need::LocalIsodose);
            if isodose || place == "all tissue" {
                assert_eq!((one.value, one.status), (other.value, other.status), "{name}");
                assert!(
                    one.low <= other.low && one.high >= other.high,
                    "{name}: {one:?} {other:?}"
                );
            } else {
                assert_eq!(one, other, "{name}");
            }
        }
        let others = alone.measurements.iter().any(|m| m.metric != name)
            || alone.regions.iter().any(|m| m.metric != name);
        assert!(!others, "{name} brings rows that nobody asked for");
    });
}

/// The short list has no regions; the plan as a whole has its row all the same.
#[test]
fn a_metric_of_the_plan_needs_no_list_with_regions() {
    let all = asked_for(standard(), true);
    for metric in standard().iter().filter(|m| m.definition.needs(Need::Totals)) {
        let name = metric.to_string();
        let alone = asked_for(vec![*metric], false);
        assert_eq!(alone.regions.len(), 1, "{name}");
        assert_eq!(rows_of(&alone, &name), rows_of(&all, &name), "{name}");
    }
}
