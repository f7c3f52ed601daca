//! Solids whose distance is known in closed form.

use super::*;
use crate::region::Combine;
use crate::slab::{Spacing, slabs};
use crate::smooth::{Variant, closed_caps};
use crate::stack::PlaneStack;
use std::f64::consts::TAU;

/// An ellipsoid with axes along the frame, contoured every millimetre.
fn ellipsoid(centre: Point, axes: Point, pitch: f64) -> Body {
    let mut curves = Vec::new();
    for k in -80..=80 {
        let z = f64::from(k);
        let rest = 1.0 - ((z - centre[2]) / axes[2]).powi(2);
        if rest > 0.0 {
            let r = rest.sqrt();
            let ring = (0..160).map(|i| {
                let t = f64::from(i) * TAU / 160.0;
                [centre[0] + axes[0] * r * t.cos(), centre[1] + axes[1] * r * t.sin(), z]
            });
            curves.push(ring.collect::<Vec<_>>());
        }
    }
    body(&curves, pitch)
}

fn slab(low: Point, high: Point, pitch: f64) -> Body {
    let mut curves = Vec::new();
    let mut z = low[2];
    while z <= high[2] {
        curves.push(vec![
            [low[0], low[1], z],
            [high[0], low[1], z],
            [high[0], high[1], z],
            [low[0], high[1], z],
        ]);
        z += 1.0;
    }
    body(&curves, pitch)
}

fn body(curves: &[Vec<Point>], pitch: f64) -> Body {
    let stack = PlaneStack::build(curves, Combine::Nested).unwrap();
    let slabs = slabs(&stack, Spacing::default()).unwrap();
    let solid = closed_caps(&stack, &slabs, Spacing::default(), pitch, Variant::default());
    Body::of(&solid).unwrap()
}

/// Twenty directions spread over the sphere.
fn directions() -> Vec<Point> {
    (0..20)
        .map(|i| {
            let z = 1.0 - (2.0 * f64::from(i) + 1.0) / 20.0;
            let t = 2.4 * f64::from(i);
            let r = (1.0 - z * z).sqrt();
            [r * t.cos(), r * t.sin(), z]
        })
        .collect()
}

#[test]
fn two_balls_in_any_direction_apart_touching_and_overlapping() {
    let mut worst = 0.0_f64;
    for (i, d) in directions().into_iter().enumerate() {
        let shift = 0.05 * i as f64;
        let a = [0.3, -0.2, shift];
        let one = ellipsoid(a, [10.0; 3], 0.55);
        for apart in [16.0, 15.0, 13.0, 19.0] {
            let b = point::add(a, point::scale(d, apart));
            let other = ellipsoid(b, [5.0; 3], 0.28);
            let exact = apart - 15.0;
            let off = gap_mm(&one, &other).unwrap() - exact;
            println!("{i} {apart}: {off:.4}");
            worst = worst.max(off.abs());
        }
    }
    assert!(worst < 0.05, "{worst}");
}

#[test]
fn a_ball_within_a_ball_reaches_as_deep_as_its_far_side() {
    let large = ellipsoid([0.0, 0.0, 0.1], [15.0; 3], 0.8);
    let small = ellipsoid([2.0, 1.0, 0.4], [4.0; 3], 0.22);
    // The deepest point of the small surface is the one nearest to the common middle.
    let d = (4.0_f64 + 1.0 + 0.09).sqrt();
    let exact = (4.0 - d) - 15.0;
    let found = gap_mm(&large, &small).unwrap();
    // Its point on the line of centres may lie past the middle, where depth is the same.
    assert!((found - exact).abs() < 0.3, "{found} {exact}");
}

#[test]
fn an_ellipsoid_beside_a_plane() {
    let mut worst = 0.0_f64;
    for i in 0..6 {
        let shift = 0.13 * f64::from(i);
        let wall = slab([20.0, -30.0, -25.0], [40.0, 30.0, 25.0], 0.8);
        for reach in [18.2, 19.7, 21.5] {
            let axes = [6.0, 9.0, 4.0];
            let e = ellipsoid([reach - axes[0], 1.0, shift], axes, 0.33);
            let off = gap_mm(&wall, &e).unwrap() - (20.0 - reach);
            println!("{i} {reach}: {off:.4}");
            worst = worst.max(off.abs());
        }
    }
    assert!(worst < 0.05, "{worst}");
}

#[test]
fn distances_of_points_are_those_of_the_ball() {
    let ball = ellipsoid([0.0, 0.0, 0.35], [8.0; 3], 0.44);
    let mut worst = 0.0_f64;
    for d in directions() {
        for r in [3.0, 6.0, 7.9, 8.0, 8.2, 10.0, 20.0] {
            let p = point::add([0.0, 0.0, 0.35], point::scale(d, r));
            worst = worst.max((ball.signed_distance_mm(p).unwrap() - (r - 8.0)).abs());
        }
    }
    println!("worst {worst:.4}");
    assert!(worst < 0.05, "{worst}");
}
