//! Rows of the plan as a whole and of regions that nobody drew, where the dose lies in several grids:
//! what adds up over targets is known, what needs all space only where one grid holds the others.

use super::*;
use crate::phantom::dicom::DoseReference;

const FAR: Point = [CENTRE[0] + 60.0, CENTRE[1], CENTRE[2]];
const ASKED: [&str; 9] = [
    "V12Gy[cc]",
    "TargetCount",
    "AllTargetsVolume[cc]",
    "PlanMax[Gy]",
    "PlanCoverage",
    "PlanPaddickConformity",
    "PlanPaddickConformitySum",
    "Coverage",
    "BaltasCOIN",
];

fn asked() -> Settings {
    let metrics = ASKED.iter().map(|name| metrics::parse(name).unwrap()).collect();
    Settings { metrics, ..Settings::default() }
}

fn field() -> Field {
    Field::Sum(vec![whole(), Field::gaussian(FAR, 20.0, 6.0)])
}

/// Two targets 60 mm apart, an organ beside the second one.
fn two_targets() -> Course {
    let mut course = course(1);
    course.set.rois.push(ball(2, "PTV2", FAR));
    let beside = Solid::ball([FAR[0], FAR[1] + 8.0, FAR[2]], 4.0);
    let organ =
        Roi::new(3, "Brainstem", "ORGAN").outlining(&beside, &PlaneStack::axial(1.0, 0.0), 60);
    course.set.rois.push(organ);
    course.plan.dose_references.push(DoseReference::target(2, 2, 15.0, ""));
    course
}

fn matrices() -> [Dose; 2] {
    let near = Lattice::around(CENTRE, [22.0; 3], 2.0);
    let far = Lattice::around(FAR, [22.0; 3], 2.0);
    [dose("near", &field(), &near, "PLAN"), dose("far", &field(), &far, "PLAN")]
}

fn wide() -> Dose {
    let middle = [CENTRE[0] + 30.0, CENTRE[1], CENTRE[2]];
    dose("wide", &field(), &Lattice::around(middle, [54.0, 24.0, 24.0], 2.0), "PLAN")
}

fn value(rows: &BTreeMap<String, Outcome>, name: &str) -> f64 {
    rows[name].value.unwrap_or_else(|| panic!("{name}: {:?}", rows[name]))
}

#[test]
fn what_adds_up_over_targets_is_known_in_any_number_of_grids() {
    let measured = with_doses(&two_targets(), &matrices()).measure(&asked());
    let plan = measured.region("all targets");
    assert_eq!(value(&plan, "TargetCount"), 2.0);
    let truth = 2.0 * Solid::ball(CENTRE, 5.0).volume() / 1000.0;
    // Sixty vertices on the circle make it 0.7 % too small at most.
    assert!((value(&plan, "AllTargetsVolume[cc]") / truth - 1.0).abs() < 0.012);
    let coverage = [1, 2].map(|roi| value(&measured.metrics(roi), "Coverage"));
    let mean = (coverage[0] + coverage[1]) / 2.0;
    // Both balls have one volume, so that the coverage of both is the mean.
    assert!((value(&plan, "PlanCoverage") - mean).abs() < 0.002, "{coverage:?}");
    assert!(value(&plan, "PlanPaddickConformitySum") > 0.1);
    // The peak of the two beams lies above the 20 Gy of the far target.
    assert!(value(&plan, "PlanMax[Gy]") > 20.5, "{:?}", plan["PlanMax[Gy]"]);
}

#[test]
fn what_needs_all_space_says_that_no_grid_holds_it() {
    let measured = with_doses(&two_targets(), &matrices()).measure(&asked());
    let rows = [("all tissue", "V12Gy[cc]"), ("all targets", "PlanPaddickConformity")].map(
        |(region, m)| {
            let rows = measured.region(region);
            rows.get(m).unwrap_or_else(|| panic!("no row of {m} of {region}")).clone()
        },
    );
    for row in rows {
        assert_eq!((row.value, row.status), (None, Status::PartlyOutsideGrid));
        assert!(row.reason.starts_with("the dose lies in 2 grids"), "{}", row.reason);
    }
}

#[test]
fn a_grid_that_holds_the_others_serves_for_all_space() {
    let [near, far] = matrices();
    let with = with_doses(&two_targets(), &[near, wide(), far]).measure(&asked());
    let alone = with_doses(&two_targets(), &[wide()]).measure(&asked());
    assert_eq!(with.region("all tissue"), alone.region("all tissue"));
    for name in ["PlanPaddickConformity", "AllTargetsVolume[cc]"] {
        let [a, b] = [&with, &alone].map(|m| value(&m.region("all targets"), name));
        // The targets are measured in the matrices, whose voxels lie elsewhere.
        assert!((a / b - 1.0).abs() < 0.01, "{name}: {a} and {b}");
    }
}

/// The share of an organ counts wherever it was measured.
#[test]
fn an_organ_of_another_grid_counts() {
    let course = two_targets();
    for doses in [matrices().to_vec(), vec![wide()]] {
        let measured = with_doses(&course, &doses).measure(&asked());
        for roi in [1, 2] {
            let method = measured.method(roi, "BaltasCOIN");
            assert!(method.contains("critical organs: Brainstem"), "{roi}: {method}");
        }
    }
}
