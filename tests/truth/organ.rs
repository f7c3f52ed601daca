//! T4: an organ beside the target, a ball of 6 mm whose centre lies 9 mm from that of the dose.

use super::bench::{Setup, placement};
use super::score::{compare, gather, held_share, print, worst};
use crate::phantom::closed_form::{Radial, RadialBall};
use crate::phantom::field::Field;
use crate::phantom::solid::Solid;

/// Goals of a solid of 7 mm and more: 0.3 %; of small volumes of the hot corner 1 %.
#[test]
fn an_organ_beside_the_target_meets_the_goals() {
    let dose = Radial::Gaussian { peak: 30.0, width: 4.0 };
    let truth = RadialBall { dose: dose.clone(), radius: 6.0, distance: 9.0 };
    // The printed values of T4 (own closed forms, checked by quadrature there).
    assert!((truth.dose_at_volume(30.0).unwrap() - 14.0008).abs() < 1e-4);
    assert!((truth.volume_at(12.0) - 48.422).abs() < 1e-3);
    let exact = [
        ("Volume[cc]", Some(truth.volume() / 1000.0)),
        ("D0.03cc[Gy]", truth.dose_at_volume(30.0)),
        ("D0.1cc[Gy]", truth.dose_at_volume(100.0)),
        ("D2%[Gy]", Some(truth.dose_at_share(0.02))),
        ("D50%[Gy]", Some(truth.dose_at_share(0.5))),
        ("Mean[Gy]", Some(truth.mean())),
        ("V12Gy[cc]", Some(truth.volume_at(12.0) / 1000.0)),
        ("V5Gy[cc]", Some(truth.volume_at(5.0) / 1000.0)),
    ];
    let scores = gather(50, |i| {
        let p = placement(i);
        // The target lies in a new direction each time.
        let d = placement(i + 500).map(|x| x - 0.5);
        let l = (d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).sqrt();
        let centre = [0, 1, 2].map(|a| p[a] + 9.0 * d[a] / l);
        let field = Field::Radial { centre, dose: dose.clone() };
        compare(&Setup::new(Solid::ball(p, 6.0), field, 14.0).measure(), &exact)
    });
    print("organ", &scores);
    for (name, s) in &scores {
        let goal = if name.starts_with("V12") { 0.01 } else { 0.003 };
        assert!(worst(s) < goal, "{name}: {}", worst(s));
        assert!(held_share(s) >= 0.95, "{name}: {}", held_share(s));
    }
}
