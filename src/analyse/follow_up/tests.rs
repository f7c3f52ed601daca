//! Balls in a dose that falls off from a point: what of a ball lies in an isodose is the lens of two
//! balls (V = π (R + r − d)² (d² + 2d(r + R) − 3(r − R)²) / 12d), distances are differences of radii.

use ndarray::Array3;

use super::*;
use crate::testing::{ball, case_of, set_of};
use tidydose_case::{Prescription, PrescriptionBasis};
use tidydose_geometry::Grid;
use tidydose_geometry::point::distance_2;
use tidydose_geometry::units::Gray;
use tidydose_rt::identity::Token;

/// Width of the Gaussian, mm, and its largest dose, Gy.
const WIDTH_MM: f64 = 8.0;
const TOP_GY: f64 = 30.0;
const PRESCRIBED_GY: f64 = 15.0;

fn dose() -> Dose {
    let offsets = (0..41).map(|k| 2.0 * f64::from(k)).collect();
    let axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
    let grid = Grid::new([-40.0; 3], axes, [2.0; 2], offsets, [41, 41]).unwrap();
    let values = Array3::from_shape_fn(grid.shape(), |at| {
        let r2 = distance_2(grid.position(at.into()), [0.0; 3]);
        (TOP_GY * (-r2 / (2.0 * WIDTH_MM * WIDTH_MM)).exp()) as f32
    });
    Dose { grid, values, step: Gray::gy(1e-6) }
}

/// Radius of the sphere that an isodose is, mm.
fn isodose_radius(gy: f64) -> f64 {
    WIDTH_MM * (2.0 * (TOP_GY / gy).ln()).sqrt()
}

/// Share of a ball of radius `r` whose centre is `d` from that of a ball of radius `big`, percent.
fn lens_percent(r: f64, big: f64, d: f64) -> f64 {
    if d >= r + big {
        return 0.0;
    }
    if d <= (big - r).abs() {
        return if big >= r { 100.0 } else { 100.0 * (big / r).powi(3) };
    }
    let lens = std::f64::consts::PI
        * (big + r - d).powi(2)
        * (d * d + 2.0 * d * (r + big) - 3.0 * (r - big).powi(2))
        / (12.0 * d);
    100.0 * lens / (4.0 / 3.0 * std::f64::consts::PI * r.powi(3))
}

fn places(centre: Point, radius_mm: f64, prescribed: bool) -> FollowUpPlace {
    let mut case = case_of(&["GTV"]);
    case.dose = Some(header());
    if prescribed {
        let (dose, basis) = (Gray::gy(PRESCRIBED_GY), PrescriptionBasis::TreatedTarget);
        case.prescriptions = vec![Prescription { roi_number: 1, dose, basis }];
    }
    let set = set_of(vec![ball(1, centre, radius_mm)]);
    let treated = [ball(7, [0.0; 3], 6.0), ball(8, [0.0, -25.0, 0.0], 4.0)];
    follow_up_places(&case, &set, &treated, dose(), &Settings::default()).remove(0)
}

fn header() -> tidydose_rt::DoseHeader {
    let origin = set_of(Vec::new()).origin;
    tidydose_rt::DoseHeader {
        origin,
        frame: Some(Token::new("frame")),
        units: tidydose_rt::DoseUnits::Gray,
        kind: tidydose_rt::DoseType::Physical,
        summation: tidydose_rt::DoseSummation::Plan,
        plans: Vec::new(),
        structure_set: None,
        stored_dvhs: Vec::new(),
        groups: Vec::new(),
        overview_fractions: None,
        grid: None,
        step: None,
        bits: None,
        heterogeneity: None,
        maximum: None,
        hottest: None,
        voxels: None,
    }
}

fn holds(outcome: &Outcome, truth: f64, what: &str) {
    let (low, high) = (outcome.low.unwrap(), outcome.high.unwrap());
    assert!(low <= truth && truth <= high, "{what}: {truth} outside of {low} to {high}");
}

#[test]
fn shares_inside_isodoses_are_lenses_of_two_balls() {
    for (x, r) in [(3.0, 3.0), (9.0, 4.0), (11.0, 5.0), (14.0, 6.0), (26.0, 4.0)] {
        let place = places([x, 0.3, -0.2], r, true);
        let d = distance_2([x, 0.3, -0.2], [0.0; 3]).sqrt();
        for inside in &place.inside {
            let truth = lens_percent(r, isodose_radius(inside.isodose_gy), d);
            holds(&inside.share, truth, &format!("{} % at {x}", inside.isodose_percent));
            let width = inside.share.high.unwrap() - inside.share.low.unwrap();
            assert!(width < 8.0, "{width} at {x}, {} %", inside.isodose_percent);
            for shifted in &inside.shifted {
                // Directions along x are among those tried; d changes by no more than the shift.
                let near = lens_percent(r, isodose_radius(inside.isodose_gy), d - shifted.by_mm);
                let far = lens_percent(r, isodose_radius(inside.isodose_gy), d + shifted.by_mm);
                assert!((shifted.percent[0] - far).abs() < 3.0, "{shifted:?} for {far}");
                assert!((shifted.percent[1] - near).abs() < 3.0, "{shifted:?} for {near}");
            }
        }
    }
}

#[test]
fn distances_are_differences_of_radii() {
    let isodose = isodose_radius(PRESCRIBED_GY);
    for (x, r) in [(2.0, 3.0), (10.0, 4.0), (20.0, 5.0)] {
        let place = places([x, 0.0, 0.0], r, true);
        assert_eq!(place.nearest_target, Some(7));
        holds(&place.centre_to_target, x - 6.0, "centre to target");
        holds(&place.centre_to_isodose, x - isodose, "centre to isodose");
        holds(&place.centre_dose, TOP_GY * (-x * x / 128.0).exp(), "dose at centre");
        holds(&place.gap_to_isodose, (x - r).abs() - isodose, "surface to isodose");
        let width = place.gap_to_isodose.high.unwrap() - place.gap_to_isodose.low.unwrap();
        assert!(width < 0.8, "{width} at {x}");
        if x > 6.0 + r {
            holds(&place.gap_to_target, x - r - 6.0, "surfaces");
        }
        holds(&place.near_target, 100.0, "within 20 mm");
    }
    let far = places([0.0, 36.0, 0.0], 3.0, true);
    assert_eq!(far.near_target.value, Some(0.0));
}

#[test]
fn without_a_prescription_distances_and_doses_are_left() {
    let place = places([10.0, 0.0, 0.0], 4.0, false);
    assert!(place.inside.is_empty() && place.centre_dose.value.is_some());
    assert_eq!(place.gap_to_isodose.status, Status::NotApplicable);
}

#[test]
fn what_lies_outside_the_grid_may_have_any_dose() {
    let place = places([39.0, 0.0, 0.0], 4.0, true);
    let inside = &place.inside[0].share;
    assert_eq!(inside.status, Status::PartlyOutsideGrid);
    assert!(inside.high.unwrap() > 10.0 && inside.low == Some(0.0), "{inside:?}");
}

/// Multiples of irrational numbers fill a unit cube evenly (additive recurrence).
fn even(i: i64, step: f64) -> f64 {
    (0.5 + step * i as f64).fract()
}

/// Centre and radius, 3 to 8 mm, of one of the balls.
fn ball_of(i: i64) -> (Point, f64) {
    let steps = [0.819_172_513_396_164_4, 0.671_043_606_703_789, 0.549_700_477_901_560_5];
    (steps.map(|step| 28.0 * even(i, step) - 14.0), 3.0 + 5.0 * even(i, 0.618_033_988_75))
}

/// The places of so many balls, drawn so far from where they are.
fn all_places(balls: i64, settings: &Settings, off: impl Fn(i64) -> Point) -> Vec<FollowUpPlace> {
    let names: Vec<String> = (1..=balls).map(|i| format!("GTV{i}")).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let mut case = case_of(&names);
    case.dose = Some(header());
    let (dose_gy, basis) = (Gray::gy(PRESCRIBED_GY), PrescriptionBasis::TreatedTarget);
    case.prescriptions =
        (1..=balls).map(|roi_number| Prescription { roi_number, dose: dose_gy, basis }).collect();
    let rois = (1..=balls).map(|i| {
        let ((centre, radius), off) = (ball_of(i), off(i));
        ball(i, std::array::from_fn(|k| centre[k] + off[k]), radius)
    });
    let set = set_of(rois.collect());
    let treated = [ball(7, [0.0; 3], 6.0)];
    follow_up_places(&case, &set, &treated, dose(), settings)
}

/// The share of what formulas tell of each ball where it is that its bounds hold.
fn share_held(places: &[FollowUpPlace]) -> f64 {
    let isodose = isodose_radius(PRESCRIBED_GY);
    let (mut held, mut all) = (0, 0);
    let mut check = |outcome: &Outcome, truth: f64| {
        // A share of 100 % is a share of volumes: equal to so many digits.
        let (low, high) = (outcome.low.unwrap() - 1e-9, outcome.high.unwrap() + 1e-9);
        held += i32::from((low..=high).contains(&truth));
        all += 1;
    };
    for place in places {
        let (centre, r) = ball_of(place.roi_number);
        let d = distance_2(centre, [0.0; 3]).sqrt();
        for inside in &place.inside {
            check(&inside.share, lens_percent(r, isodose_radius(inside.isodose_gy), d));
        }
        check(&place.centre_to_target, d - 6.0);
        check(&place.centre_to_isodose, d - isodose);
        check(&place.gap_to_isodose, (d - r).abs() - isodose);
        check(&place.centre_dose, TOP_GY * (-d * d / 128.0).exp());
    }
    f64::from(held) / f64::from(all)
}

/// The bounds hold at least 95 of 100 of the shares, distances and doses that formulas tell.
#[test]
fn bounds_hold_the_truth_in_all_places() {
    let places = all_places(200, &Settings::default(), |_| [0.0; 3]);
    let held = share_held(&places);
    assert!(held >= 0.95, "{held}");
}

/// The same balls, each drawn 1.5 mm away from where it is, in directions that fill the sphere evenly:
/// with that stated, bounds hold what formulas tell of the place where it is; without, most do not.
#[test]
fn bounds_hold_the_truth_under_a_registration_as_doubtful_as_stated() {
    let off_mm = 1.5;
    let off = |i: i64| {
        let up = 2.0 * even(i, 0.754_877_666_246_692_7) - 1.0;
        let around = std::f64::consts::TAU * even(i, 0.569_840_290_998_053_2);
        let flat = (1.0 - up * up).sqrt();
        [flat * around.cos(), flat * around.sin(), up].map(|x| off_mm * x)
    };
    let stated = Settings { registration_mm: Some(off_mm), ..Settings::default() };
    let places = all_places(200, &stated, off);
    assert_eq!(places.len(), 200);
    assert!(places.iter().all(|p| p.registration_mm == Some(off_mm)));
    let held = share_held(&places);
    assert!(held >= 0.95, "{held}");
    let without = share_held(&all_places(40, &Settings::default(), off));
    assert!(without < 0.5, "{without} hold without it");
}
