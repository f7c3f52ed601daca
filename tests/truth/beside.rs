//! A small organ on the slope beside a target, as a nerve beside a metastasis: its largest dose lies at
//! its surface, no peak lies between voxels, and the voxels outside of it are hotter. The bounds of
//! all its values agree, hold the truth, and are as narrow as the dose there allows.

use std::collections::BTreeMap;

use tidydose_metrics::{self as metrics, Outcome};

use super::bench::{Setup, direction, placement};
use super::score::{compare, held_share, print};
use crate::coherent::contradictions;
use crate::phantom::closed_form::{Radial, RadialBall};
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::Solid;

const RADIUS_MM: f64 = 3.0;
const DISTANCE_MM: f64 = 8.0;

fn dose() -> Radial {
    Radial::Gaussian { peak: 30.0, width: 4.0 }
}

/// The largest dose is that of the point nearest to the target.
fn truth() -> Vec<(&'static str, Option<f64>)> {
    let ball = RadialBall { dose: dose(), radius: RADIUS_MM, distance: DISTANCE_MM };
    let at = |r: f64| 30.0 * (-0.5 * (r / 4.0).powi(2)).exp();
    vec![
        ("Volume[cc]", Some(ball.volume() / 1000.0)),
        ("Max[Gy]", Some(at(DISTANCE_MM - RADIUS_MM))),
        ("Min[Gy]", Some(at(DISTANCE_MM + RADIUS_MM))),
        ("D0.03cc[Gy]", ball.dose_at_volume(30.0)),
        ("D2%[Gy]", Some(ball.dose_at_share(0.02))),
        ("D50%[Gy]", Some(ball.dose_at_share(0.5))),
        ("Mean[Gy]", Some(ball.mean())),
        ("V5Gy[cc]", Some(ball.volume_at(5.0) / 1000.0)),
    ]
}

/// On a grid of 1.5 mm, in a new place and direction each time.
fn measured(i: u32) -> BTreeMap<String, Outcome> {
    let p = placement(i);
    let d = direction(i + 500);
    let centre = [0, 1, 2].map(|a| p[a] + DISTANCE_MM * d[a]);
    let field = Field::Radial { centre, dose: dose() };
    let mut setup = Setup::new(Solid::ball(p, RADIUS_MM), field, 12.0);
    setup.lattice = Lattice::around([0.5; 3], [13.5; 3], 1.5);
    setup.settings.metrics = metrics::standard();
    setup.measure()
}

#[test]
fn bounds_of_an_organ_beside_a_target_agree_and_hold_the_truth() {
    let truth = truth();
    let mut scores = super::score::Scores::new();
    for i in 0..30 {
        let got = measured(i);
        let (found, pairs) = contradictions(&got);
        assert!(found.is_empty() && pairs > 150, "{i}: {pairs}\n{}", found.join("\n"));
        // Nothing that the voxels of the target hold reaches into the organ: ends and the thinned
        // dose leave a tenth of the dose open, the voxels beside it would leave half of it.
        let max = &got["Max[Gy]"];
        let width = (max.high.unwrap() - max.low.unwrap()) / max.value.unwrap();
        assert!(width < 0.4, "{i}: {max:?}");
        for (name, score) in compare(&got, &truth) {
            scores.entry(name).or_default().push(score);
        }
    }
    print("organ beside a target", &scores);
    for (name, s) in &scores {
        assert!(held_share(s) >= 0.95, "{name}: {}", held_share(s));
    }
}
