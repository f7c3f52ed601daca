//! T2: a ball in a concentric Gaussian with the fall-off of published plans, 1 mm slices and grid,
//! 120 vertices, 50 random placements. Goals: worst case of the 50.

use super::bench::{Setup, placement};
use super::score::{Scores, compare, gather, held_share, print, worst};
use crate::phantom::closed_form::{Radial, RadialBall};
use crate::phantom::field::Field;
use crate::phantom::solid::Solid;

/// 20 Gy on the surface, 10 Gy 1.37 mm + 0.23 R further out (the straight line through Desai's
/// table); prescribed 0.15 mm outside the surface, where coverage is well conditioned.
pub(crate) fn score(diameter: f64, n: u32, change: impl Fn(&mut Setup) + Sync + Send) -> Scores {
    let radius = diameter / 2.0;
    let dose = Radial::from_fall_off(20.0, radius, 1.37 + 0.23 * radius);
    let prescription = dose.dose(radius + 0.15);
    let truth = RadialBall { dose: dose.clone(), radius, distance: 0.0 };
    let ix = truth.indices(prescription);
    let exact = [
        ("Volume[cc]", Some(truth.volume() / 1000.0)),
        ("V20Gy[cc]", Some(truth.volume_at(20.0) / 1000.0)),
        ("V12Gy[cc]", Some(truth.volume_at(12.0) / 1000.0)),
        ("D99%[Gy]", Some(truth.dose_at_share(0.99))),
        ("D98%[Gy]", Some(truth.dose_at_share(0.98))),
        ("D95%[Gy]", Some(truth.dose_at_share(0.95))),
        ("D50%[Gy]", Some(truth.dose_at_share(0.50))),
        ("D2%[Gy]", Some(truth.dose_at_share(0.02))),
        ("D0.03cc[Gy]", truth.dose_at_volume(30.0)),
        ("D0.001cc[Gy]", truth.dose_at_volume(1.0)),
        ("Mean[Gy]", Some(truth.mean())),
        ("Min[Gy]", Some(dose.dose(radius))),
        ("Max[Gy]", Some(dose.dose(0.0))),
        ("PIV[cc]", Some(ix.isodose / 1000.0)),
        ("PIV50%[cc]", Some(ix.half_isodose / 1000.0)),
        ("Coverage", Some(ix.coverage())),
        ("PaddickConformity", Some(ix.paddick())),
        ("PaddickGradient", Some(ix.gradient())),
    ];
    gather(n, |i| {
        let p = placement(i);
        let field = Field::Radial { centre: p, dose: dose.clone() };
        let mut setup = Setup::new(Solid::ball(p, radius), field, 1.7 * radius + 9.0);
        setup.prescription_gy = Some(prescription);
        setup.also("D0.001cc[Gy]");
        change(&mut setup);
        compare(&setup.measure(), &exact)
    })
}

/// Goals of the worst of 50 placements, in percent.
fn assert_goals(scores: &Scores, goals: &[(&str, f64)]) {
    for (name, percent) in goals {
        let Some(s) = scores.get(*name) else { continue };
        assert!(100.0 * worst(s) < *percent, "{name}: {:.3} %, goal {percent}", 100.0 * worst(s));
    }
}

fn assert_held(scores: &Scores) {
    for (name, s) in scores {
        assert!(held_share(s) >= 0.95, "{name}: {:.0} % held", 100.0 * held_share(s));
    }
}

const SMALL: [(&str, f64); 12] = [
    ("Volume[cc]", 0.5),
    ("V20Gy[cc]", 1.0),
    ("PIV[cc]", 1.0),
    ("V12Gy[cc]", 0.3),
    ("PIV50%[cc]", 0.3),
    ("D95%[Gy]", 0.3),
    ("D99%[Gy]", 0.5),
    ("D98%[Gy]", 0.5),
    ("D0.03cc[Gy]", 0.5),
    ("D0.001cc[Gy]", 0.5),
    ("PaddickConformity", 1.0),
    ("PaddickGradient", 1.0),
];

const LARGE: [(&str, f64); 12] = [
    ("Volume[cc]", 0.3),
    ("V20Gy[cc]", 0.3),
    ("PIV[cc]", 0.3),
    ("V12Gy[cc]", 0.1),
    ("PIV50%[cc]", 0.1),
    ("D95%[Gy]", 0.2),
    ("D99%[Gy]", 0.3),
    ("D98%[Gy]", 0.3),
    ("D0.03cc[Gy]", 0.3),
    ("D0.001cc[Gy]", 0.3),
    ("PaddickConformity", 0.5),
    ("PaddickGradient", 0.5),
];

#[test]
fn three_millimetre_balls_meet_twice_the_small_goals() {
    let scores = score(3.0, 50, |_| ());
    print("3 mm", &scores);
    assert_goals(&scores, &SMALL.map(|(n, g)| (n, 2.0 * g)));
    assert_held(&scores);
}

#[test]
fn four_millimetre_balls_meet_the_small_goals() {
    let scores = score(4.0, 50, |_| ());
    print("4 mm", &scores);
    assert_goals(&scores, &SMALL);
    assert_held(&scores);
}

/// V12 in a ball that receives more everywhere is its volume: the goal of V12 is that of the
/// isodose in space, which `PIV50%` stands for here.
#[test]
fn larger_balls_meet_the_large_goals() {
    for diameter in [7.0, 10.0, 15.0, 20.0] {
        let scores = score(diameter, 50, |_| ());
        print(&format!("{diameter} mm"), &scores);
        assert_goals(&scores, &LARGE);
        assert_held(&scores);
    }
}

/// 2 and 2.5 mm grids and slices, where a 7 mm ball has three planes. The spline's error grows
/// with the fourth power of the spacing and the vertices do not change; 1 % is the derived order
/// (16 to 39 times the 0.03 % at 1 mm).
#[test]
fn coarse_grids_and_slices_stay_within_their_bounds() {
    for spacing in [2.0, 2.5] {
        let scores = score(7.0, 50, |s| {
            s.planes.spacing = spacing;
            s.lattice =
                crate::phantom::field::Lattice::around(s.solid.centre(), [20.0; 3], spacing);
        });
        print(&format!("7 mm at {spacing} mm"), &scores);
        for name in ["Volume[cc]", "D95%[Gy]", "PIV[cc]", "PIV50%[cc]"] {
            assert!(worst(&scores[name]) < 0.01, "{name}: {}", worst(&scores[name]));
        }
        assert_held(&scores);
    }
}
