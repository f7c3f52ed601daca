//! T3: ellipsoids in a Gaussian of other widths, and ellipsoids turned any way.

use super::bench::{Setup, placement};
use super::score::{Scores, compare, gather, held_share, print, worst};
use crate::phantom::closed_form::GaussianEllipsoid;
use crate::phantom::field::Field;
use crate::phantom::solid::{Solid, UPRIGHT, axes_turned};

fn score(semi: [f64; 3], widths: [f64; 3], turned: bool, n: u32) -> Scores {
    let truth = GaussianEllipsoid { peak: 30.0, widths, semi };
    let ix = truth.indices(20.0);
    let exact = [
        ("Volume[cc]", Some(truth.volume() / 1000.0)),
        ("D99%[Gy]", Some(truth.dose_at_share(0.99))),
        ("D95%[Gy]", Some(truth.dose_at_share(0.95))),
        ("D50%[Gy]", Some(truth.dose_at_share(0.5))),
        ("D0.03cc[Gy]", truth.dose_at_volume(30.0)),
        ("PIV[cc]", Some(ix.isodose / 1000.0)),
        ("PaddickConformity", Some(ix.paddick())),
        ("PaddickGradient", Some(ix.gradient())),
    ];
    gather(n, |i| {
        let centre = placement(i);
        let [a, b, c] = placement(i + 1000).map(|x| 180.0 * x);
        let axes = if turned { axes_turned([a, b, c]) } else { UPRIGHT };
        let solid = Solid::Ellipsoid { centre, axes, semi };
        let field = Field::Gaussian { centre, axes, peak: 30.0, widths };
        let mut setup = Setup::new(solid, field, 14.0);
        setup.prescription_gy = Some(20.0);
        compare(&setup.measure(), &exact)
    })
}

/// The three rows of T3 upright and at random orientations: a turned ellipsoid has the same
/// metrics. 1 % for indices and 0.5 % for the rest are the goals of a 4 mm ball.
#[test]
fn ellipsoids_in_any_orientation_meet_the_small_goals() {
    for (semi, widths) in [
        ([2.0, 2.0, 2.0], [3.0, 3.0, 4.0]),
        ([3.0, 3.0, 2.0], [3.5, 3.5, 3.5]),
        ([2.0, 3.0, 4.0], [3.0, 4.0, 4.5]),
    ] {
        for turned in [false, true] {
            let scores = score(semi, widths, turned, 25);
            print(&format!("{semi:?} turned {turned}"), &scores);
            for (name, s) in &scores {
                let goal = if name.starts_with("Paddick") { 0.01 } else { 0.005 };
                assert!(worst(s) < goal, "{semi:?} {turned} {name}: {}", worst(s));
                assert!(held_share(s) >= 0.95, "{semi:?} {turned} {name}: {}", held_share(s));
            }
        }
    }
}
