//! Every kind of solid on planes that are not evenly spaced: one, two and three millimetres apart in
//! no order, in a dose that rises by 1 Gy/mm across them. Where the next plane would have been is
//! not known there, so an end is uncertain by more than on even planes, and the bounds must say so.

use tidydose_geometry::Point;

use super::bench::{Setup, placement};
use super::score::{Scores, compare, gather, held_share, print, worst};
use super::shapes::{ring_area, ring_outlines};
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid, UNEVEN, UPRIGHT, axes_turned};

const Z: Point = [0.0, 0.0, 1.0];
const Y: Point = [0.0, 1.0, 0.0];
const CENTRE_GY: f64 = 20.0;
/// Placements of each solid.
const PLACEMENTS: u32 = 20;

/// What is drawn.
#[derive(Debug, Clone)]
enum Shape {
    /// About the origin.
    Solid(Solid),
    /// A ring (torus) about the origin of these radii, its axis across the planes or in them.
    Ring { radii: [f64; 2], upright: bool },
}

impl Shape {
    fn extent(&self) -> [f64; 2] {
        match self {
            Self::Solid(solid) => solid.extent(Z),
            Self::Ring { radii: [big, small], upright } => {
                let half = if *upright { *small } else { big + small };
                [-half, half]
            }
        }
    }

    /// How far the dose grid reaches from the origin, mm.
    fn half_mm(&self) -> f64 {
        match self {
            Self::Solid(_) => 18.0,
            Self::Ring { radii: [big, small], .. } => big + small + 4.0,
        }
    }

    /// Area of its cut at a height, mm²: the polygon of 720 vertices is too small by 1.3e-5.
    fn area(&self, h: f64) -> f64 {
        match self {
            Self::Ring { radii, upright } => ring_area(*radii, *upright, h),
            Self::Solid(solid) => {
                let cut = solid.section(Z, h, 720);
                let of = |o: &crate::phantom::solid::Outline| {
                    let n = o.points.len();
                    let twice: f64 = (0..n)
                        .map(|i| (o.points[i], o.points[(i + 1) % n]))
                        .map(|(a, b)| a[0] * b[1] - a[1] * b[0])
                        .sum();
                    if o.hole { -twice.abs() / 2.0 } else { twice.abs() / 2.0 }
                };
                cut.iter().map(of).sum()
            }
        }
    }

    /// Metrics in a dose of 20 Gy at height 0, 1 Gy/mm more with each mm. Areas at the middles of
    /// 400 slices: the sum is within 3e-4 of the closed form (below).
    fn exact(&self) -> Vec<(&'static str, Option<f64>)> {
        let [low, high] = self.extent();
        let slices = 400;
        let step = (high - low) / f64::from(slices);
        let middle = |k: i32| low + (f64::from(k) + 0.5) * step;
        let volumes: Vec<f64> = (0..slices).map(|k| self.area(middle(k)) * step).collect();
        let whole: f64 = volumes.iter().sum();
        let moment: f64 = (0..slices).zip(&volumes).map(|(k, v)| middle(k) * v).sum();
        let dose = |share: f64| {
            let (mut left, mut k) = (share * whole, slices - 1);
            while k > 0 && left > volumes[k as usize] {
                left -= volumes[k as usize];
                k -= 1;
            }
            CENTRE_GY + middle(k) + step * (0.5 - left / volumes[k as usize])
        };
        vec![
            ("Volume[cc]", Some(whole / 1000.0)),
            ("D95%[Gy]", Some(dose(0.95))),
            ("D50%[Gy]", Some(dose(0.5))),
            ("D5%[Gy]", Some(dose(0.05))),
            ("Mean[Gy]", Some(CENTRE_GY + moment / whole)),
        ]
    }

    /// Its outlines with the origin put at a point.
    fn drawn(&self, at: Point, planes: &PlaneStack) -> Vec<Vec<Point>> {
        match self {
            Self::Ring { radii, upright } => ring_outlines(at, *radii, *upright, planes),
            Self::Solid(solid) => {
                let about_origin = PlaneStack { first: planes.first - at[2], ..*planes };
                let outlines = solid.sections(&about_origin, 120).into_iter();
                let moved = |p: Point| [0, 1, 2].map(|a| p[a] + at[a]);
                outlines.map(|o| o.points.into_iter().map(moved).collect()).collect()
            }
        }
    }

    fn scores(&self) -> Scores {
        let exact = self.exact();
        gather(PLACEMENTS, |i| {
            let at = placement(i);
            let field = Field::Linear { centre: at, dose: CENTRE_GY, gradient: Z };
            let half_mm = self.half_mm();
            let mut setup = Setup::new(Solid::ball(at, 1.0), field, half_mm);
            setup.lattice = Lattice::around(at, [half_mm; 3], 2.0);
            // The distances repeat after 24 mm: every placement meets others of them.
            setup.planes.first = 24.0 * placement(i + 500)[2];
            setup.planes.gaps = UNEVEN;
            setup.drawn = Some(self.drawn(at, &setup.planes));
            compare(&setup.measure(), &exact)
        })
    }
}

fn kinds() -> Vec<(&'static str, Shape)> {
    let turned = axes_turned([20.0, -35.0, 50.0]);
    let about = |axis: Point, half: f64| [-half, half].map(|t| axis.map(|a| t * a));
    let two = |axis, half| Solid::TwoBalls { centres: about(axis, half), radii: [6.0, 6.0] };
    let capsule = |tilt: f64| {
        let [_, _, axis] = axes_turned([tilt, 0.0, 30.0]);
        Solid::Capsule { ends: about(axis, 6.0), radius: 4.0 }
    };
    let o = [0.0; 3];
    let ellipsoid = |axes| Solid::Ellipsoid { centre: o, axes, semi: [6.0, 8.0, 10.0] };
    let cuboid = |axes| Solid::Box { centre: o, axes, edges: [12.0, 14.0, 16.0] };
    let solids = [
        ("ball", Solid::ball(o, 8.0)),
        ("ellipsoid upright", ellipsoid(UPRIGHT)),
        ("ellipsoid turned", ellipsoid(turned)),
        ("cylinder upright", Solid::cylinder(o, Z, 7.0, 17.0)),
        ("cylinder lying", Solid::cylinder(o, Y, 7.0, 17.0)),
        ("cylinder leaning", Solid::cylinder(o, turned[2], 7.0, 17.0)),
        ("cone upright", Solid::cone(o, Z, 8.0, 18.0)),
        ("cone upside down", Solid::cone(o, [0.0, 0.0, -1.0], 8.0, 18.0)),
        ("cone lying", Solid::cone(o, Y, 8.0, 18.0)),
        ("box upright", cuboid(UPRIGHT)),
        ("box turned", cuboid(turned)),
        ("shell", Solid::Shell { centre: o, outer: 9.0, inner: 5.0 }),
        ("two balls side by side", two([1.0, 0.0, 0.0], 4.0)),
        ("two balls stacked", two(Z, 4.0)),
        ("two balls aslant", two(turned[2], 4.0)),
        ("capsule upright", capsule(0.0)),
        ("capsule leaning", capsule(50.0)),
        ("capsule lying", capsule(80.0)),
    ];
    let rings = [true, false].map(|upright| {
        let name = if upright { "ring upright" } else { "ring lying" };
        (name, Shape::Ring { radii: [9.0, 4.5], upright })
    });
    solids.into_iter().map(|(name, solid)| (name, Shape::Solid(solid))).chain(rings).collect()
}

/// The slices of the truth give the volumes that are known in closed form.
#[test]
fn the_truth_has_the_volume_of_the_closed_form() {
    for (name, shape) in kinds() {
        let [big, small] = match shape {
            Shape::Ring { radii, .. } => radii,
            Shape::Solid(_) => [0.0; 2],
        };
        let want = match &shape {
            Shape::Solid(solid) => solid.volume(),
            Shape::Ring { .. } => 2.0 * std::f64::consts::PI.powi(2) * big * small * small,
        };
        let got = 1000.0 * shape.exact()[0].1.unwrap();
        assert!((got / want - 1.0).abs() < 3e-4, "{name}: {got} for {want}");
    }
}

/// Two standard uncertainties hold the truth in 95 of 100 values: the volume and the mean dose of
/// each kind of solid, and every metric over all kinds. What lies between wide planes is a guess
/// for lying cones and turned boxes on even planes, too; a D95% there is off by a tenth of a gap.
#[test]
fn every_kind_of_solid_is_held_on_uneven_planes() {
    let mut all = Scores::new();
    let mut missed = Vec::new();
    for (name, shape) in kinds() {
        let scores = shape.scores();
        print(name, &scores);
        for (metric, s) in scores {
            if held_share(&s) < 0.95 && matches!(metric.as_str(), "Volume[cc]" | "Mean[Gy]") {
                missed.push(format!("{name}, {metric}: {} held", held_share(&s)));
            }
            all.entry(metric).or_default().extend(s);
        }
    }
    print("all kinds", &all);
    assert!(missed.is_empty(), "{missed:#?}");
    for (metric, s) in &all {
        assert!(held_share(s) >= 0.95, "{metric}: {} held", held_share(s));
    }
}

/// A ring that spans more planes than the gaps that occur: before the ends of uneven stacks were
/// told from all gaps, its volume was up to 8 % too small.
#[test]
fn a_wide_ring_on_uneven_planes_keeps_its_volume() {
    let ring = Shape::Ring { radii: [20.0, 8.0], upright: true };
    let scores = ring.scores();
    print("wide ring upright", &scores);
    // Its fields lie on parabolas: cells and chords of 160 sides are left, half a per cent.
    assert!(worst(&scores["Volume[cc]"]) < 0.005, "{}", worst(&scores["Volume[cc]"]));
}
