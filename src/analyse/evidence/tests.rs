//! Balls whose place and volume are known, under right and wrong names.

use super::*;
use crate::shape::shapes;
use crate::testing::{ball, case_of, set_of};

fn judged(balls: &[(&str, Point, f64)]) -> (Vec<ShapeEvidence>, Vec<Code>) {
    let rois: Vec<_> = (1..).zip(balls).map(|(n, (_, c, r))| ball(n, *c, *r)).collect();
    let names: Vec<_> = balls.iter().map(|b| b.0).collect();
    let case = case_of(&names);
    let shapes = shapes(&case, &set_of(rois));
    let evidence = evidence(&case, &shapes);
    let codes = findings(&case, &shapes, &evidence).iter().map(|f| f.code).collect();
    (evidence, codes)
}

/// A head turned by ten degrees about its long axis, its middle 12 mm off the origin.
fn head(left: f64, back: f64, up: f64) -> Point {
    let (sin, cos) = 10_f64.to_radians().sin_cos();
    [12.0 + left * cos - back * sin, left * sin + back * cos, up]
}

#[test]
fn sides_are_told_by_the_middle_plane_also_when_the_head_is_turned() {
    let balls = [
        ("Brain", head(0.0, 0.0, 0.0), 65.0),
        ("Eye_L", head(32.0, -70.0, -20.0), 12.0),
        ("Eye_R", head(-32.0, -70.0, -20.0), 12.0),
        ("Cochlea_L", head(25.0, 10.0, -30.0), 2.5),
        ("Brainstem", head(0.0, 20.0, -40.0), 18.0),
        ("GTV", head(-8.0, -70.0, 0.0), 5.0),
    ];
    let (evidence, codes) = judged(&balls);
    assert_eq!(codes, []);
    let sides: Vec<_> = evidence.iter().map(|e| e.side.unwrap()).collect();
    use SeenSide::{Left, Middle, Right};
    // The target's x is larger than the brain's, its side is right all the same.
    assert!(evidence[5].centre_mm[0] > evidence[0].centre_mm[0]);
    assert_eq!(sides, [Middle, Left, Right, Left, Middle, Right]);
    let from_brain = evidence[4].from_brain_mm.unwrap();
    assert!(length_of(from_brain, [-3.5, 19.7, -40.0]) < 0.2, "{from_brain:?}");
}

fn length_of(a: Point, b: Point) -> f64 {
    tidydose_geometry::point::length(sub(a, b))
}

#[test]
fn swapped_sides_and_wrong_sizes_are_found() {
    let brain = ("Brain", [0.0; 3], 65.0);
    let (_, codes) =
        judged(&[brain, ("Eye_L", [-32.0, -70.0, 0.0], 12.0), ("Eye_R", [32.0, -70.0, 0.0], 12.0)]);
    assert_eq!(codes, [Code::SideContradicts; 2]);
    // 4/3 π 10.6³ mm³ = 5.0 cc.
    assert_eq!(judged(&[("Brainstem", [0.0; 3], 10.6)]).1, [Code::VolumeImplausible]);
    // 4/3 π 41.5³ mm³ = 299 cc.
    let (evidence, codes) = judged(&[("Brainstem", [0.0; 3], 41.5)]);
    assert_eq!(codes, [Code::VolumeImplausible]);
    assert!((evidence[0].volume_cc - 299.4).abs() < 3.0, "{}", evidence[0].volume_cc);
    assert_eq!((evidence[0].side, evidence[0].from_brain_mm), (None, None));
}

#[test]
fn one_shape_under_two_names_is_found() {
    let far = [40.0, 0.0, 0.0];
    assert_eq!(judged(&[("GTV1", far, 8.0), ("PTV1", far, 8.0)]).1, [Code::TargetWithoutMargin]);
    assert_eq!(judged(&[("GTV1", far, 8.0), ("PTV1", far, 9.0)]).1, []);
    assert_eq!(judged(&[("lesion a", far, 8.0), ("lesion b", far, 8.0)]).1, [Code::ShapeRepeated]);
}

#[test]
fn a_target_that_lies_on_the_other_side_than_its_name_says_is_found() {
    let brain = ("Brain", [0.0; 3], 65.0);
    for (name, left_mm, radius_mm, found) in [
        ("met re frontal", 30.0, 8.0, true),
        ("met re frontal", -30.0, 8.0, false),
        ("GTV left parietal", -30.0, 8.0, true),
        ("GTV 2 li", 20.0, 8.0, false),
        // It crosses the middle plane, or hardly leaves it: 10 < 8 + 3 mm.
        ("GTV left parietal", -10.0, 8.0, false),
        // A number of a recurrence, a lesion counted by letters: no side.
        ("GTV R1", 30.0, 8.0, false),
        ("GTV D", 30.0, 8.0, false),
        ("GTV left to right", 30.0, 8.0, false),
    ] {
        let (_, codes) = judged(&[brain, (name, [left_mm, 0.0, 0.0], radius_mm)]);
        let expected = if found { vec![Code::SideContradicts] } else { Vec::new() };
        assert_eq!(codes, expected, "{name} {left_mm} mm");
    }
    // Without a brain and pairs no plane is known.
    assert_eq!(judged(&[("met re frontal", [30.0, 0.0, 0.0], 8.0)]).1, []);
}
