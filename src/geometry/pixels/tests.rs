//! Discs as rings of pixels: seen, freed of their steps, and what is left open.

use super::smoothed::parabola_weights;
use super::*;
use crate::point::Point;
use crate::region::Combine;
use std::f64::consts::{PI, TAU};

/// Pixels whose centres lie within `radius` of a place, all in pixels, row by row: first and last
/// column.
fn rows_of_disc(radius: f64, [x, y]: Point2) -> Vec<(i32, i32, i32)> {
    let reach = radius.ceil() as i32 + 1;
    let mut rows = Vec::new();
    for j in -reach..=reach {
        let inside = |i: &i32| (f64::from(*i) + 0.5 - x).hypot(f64::from(j) + 0.5 - y) < radius;
        let mut columns = (-reach..=reach).filter(inside);
        if let Some(first) = columns.next() {
            rows.push((j, first, columns.next_back().unwrap_or(first)));
        }
    }
    rows
}

/// The outline of such rows along the edges of pixels: up the right side, down the left one.
fn edges_of(rows: &[(i32, i32, i32)]) -> Vec<Point2> {
    let mut ring: Vec<Point2> = Vec::new();
    for (j, _, last) in rows {
        let x = f64::from(*last) + 1.0;
        ring.extend([[x, f64::from(*j)], [x, f64::from(*j) + 1.0]]);
    }
    for (j, first, _) in rows.iter().rev() {
        let x = f64::from(*first);
        ring.extend([[x, f64::from(*j) + 1.0], [x, f64::from(*j)]]);
    }
    ring
}

/// Every pixel edge of a ring of pixel edges by its middle.
fn middles_of(ring: &[Point2]) -> Vec<Point2> {
    let mut out = Vec::new();
    for (a, b) in polygon::edges(&polygon::clean(ring)) {
        let count = (b[0] - a[0]).abs().max((b[1] - a[1]).abs()).round() as i32;
        out.extend((0..count).map(|k| mix(a, b, (f64::from(k) + 0.5) / f64::from(count))));
    }
    out
}

/// Rings on planes one mm apart, in pixels of `size` mm, turned by `angle`.
fn stack_of(rings: &[Vec<Point2>], size: f64, angle: f64) -> PlaneStack {
    let (s, c) = angle.sin_cos();
    let curve = |(k, ring): (usize, &Vec<Point2>)| -> Vec<Point> {
        let z = k as f64;
        ring.iter().map(|[x, y]| [size * (c * x - s * y), size * (s * x + c * y), z]).collect()
    };
    let curves: Vec<Vec<Point>> = rings.iter().enumerate().map(curve).collect();
    PlaneStack::build(&curves, Combine::Nested).unwrap()
}

fn discs() -> Vec<Vec<Point2>> {
    let disc =
        |k: i32| edges_of(&rows_of_disc(4.0, [0.13 * f64::from(k), 0.31 - 0.07 * f64::from(k)]));
    (0..5).map(disc).collect()
}

fn circle(radius: f64) -> Vec<Point2> {
    let at = |i: i32| f64::from(i) * TAU / 120.0;
    (0..120).map(|i| [radius * at(i).cos(), radius * at(i).sin()]).collect()
}

#[test]
fn pixels_are_seen_by_size_direction_and_style() {
    let edges = discs();
    let middles: Vec<_> = edges.iter().map(|r| middles_of(r)).collect();
    let thinned: Vec<_> = edges.iter().map(|r| r.iter().copied().step_by(3).collect()).collect();
    let styles = [(&edges, Style::Edges), (&middles, Style::Middles), (&thinned, Style::Corners)];
    for (rings, style) in styles {
        for size in [0.4883, 1.0, 1.2] {
            // Of a thinned outline no side tells the direction: only that of the axes is tried.
            let angles: &[f64] = if style == Style::Corners { &[0.0] } else { &[0.0, 0.3] };
            for &angle in angles {
                let seen = Pixels::of(&stack_of(rings, size, angle)).unwrap();
                assert_eq!(seen.style, style, "{size} {angle} {seen:?}");
                for s in seen.size_mm {
                    assert!((s / size - 1.0).abs() < 1e-3, "{style:?} {size} {angle}: {seen:?}");
                }
                let turned = (seen.direction[1].atan2(seen.direction[0]) - angle) / (PI / 2.0);
                assert!((turned - turned.round()).abs() < 1e-3, "{seen:?}");
            }
        }
    }
}

/// Coordinates with one decimal: a place is off by up to 0.05 mm.
#[test]
fn pixels_are_seen_through_rounding() {
    let mut rings = discs();
    for p in rings.iter_mut().flatten() {
        *p = p.map(|x| (x * 9.766).round() / 10.0);
    }
    let seen = Pixels::of(&stack_of(&rings, 1.0, 0.0)).unwrap();
    assert!((seen.pixel_mm() - 0.9766).abs() < 0.01, "{seen:?}");
}

#[test]
fn smooth_outlines_boxes_and_fine_rounding_are_no_pixels() {
    let smooth: Vec<_> = (0..5).map(|k| circle(3.0 + 0.2 * f64::from(k))).collect();
    let rounded = |step: f64| -> Vec<Vec<Point2>> {
        let round = |p: &Point2| p.map(|x| (x / step).round() * step);
        smooth.iter().map(|r| r.iter().map(round).collect()).collect()
    };
    assert_eq!(Pixels::of(&stack_of(&smooth, 1.0, 0.0)), None);
    assert_eq!(Pixels::of(&stack_of(&rounded(0.1), 1.0, 0.0)), None, "a tenth of a millimetre");
    let coarse = Pixels::of(&stack_of(&rounded(1.0), 1.0, 0.0)).unwrap();
    assert!((coarse.pixel_mm() - 1.0).abs() < 1e-6, "whole millimetres are a lattice: {coarse:?}");
    let square = vec![vec![[0.0, 0.0], [2.0, 0.0], [2.0, 3.0], [0.0, 3.0]]; 4];
    assert_eq!(Pixels::of(&stack_of(&square, 1.0, 0.0)), None, "a box");
    // A cross of arms 10 mm wide: no image has such pixels.
    let cross: Vec<Point2> = [
        [1, 0],
        [2, 0],
        [2, 1],
        [3, 1],
        [3, 2],
        [2, 2],
        [2, 3],
        [1, 3],
        [1, 2],
        [0, 2],
        [0, 1],
        [1, 1],
    ]
    .map(|p: [i32; 2]| p.map(f64::from))
    .to_vec();
    assert_eq!(Pixels::of(&stack_of(&vec![cross; 4], 10.0, 0.0)), None);
}

/// Root mean square distance of a ring's points from a circle of the area that the ring encloses,
/// about its centre of mass.
fn roughness(ring: &[Point2]) -> f64 {
    let area = polygon::signed_area(ring);
    let centre = polygon::moments(ring).map(|m| m / area);
    let radius = (area / PI).sqrt();
    let square = |p: &Point2| ((p[0] - centre[0]).hypot(p[1] - centre[1]) - radius).powi(2);
    (ring.iter().map(square).sum::<f64>() / ring.len() as f64).sqrt()
}

#[test]
fn steps_go_and_areas_stay() {
    for (radius, share) in [(4.0, 0.7), (8.0, 0.7), (15.0, 0.7)] {
        let edges = edges_of(&rows_of_disc(radius, [0.2, 0.37]));
        for ring in [edges.clone(), middles_of(&edges)] {
            let stack = stack_of(&[ring.clone(), ring.clone(), ring], 1.0, 0.0);
            let pixels = Pixels::of(&stack).unwrap();
            let out = smoothed(&stack, &pixels);
            let mask = polygon::signed_area(&edges);
            let area = out.planes[1].region.area();
            assert!((area - mask).abs() < 0.01, "{radius}: {area} {mask}");
            let rough = roughness(&middles_of(&edges));
            let now = roughness(&out.planes[1].region.rings()[0]);
            assert!(now < share * rough, "{radius}: {now:.3} of {rough:.3} pixels");
        }
    }
}

#[test]
fn middles_of_edges_tell_the_edges() {
    let edges = edges_of(&rows_of_disc(5.0, [0.2, 0.37]));
    for angle in [0.0, 0.3] {
        let middles = vec![middles_of(&edges); 3];
        let stack = stack_of(&middles, 0.8, angle);
        let steps = stepped(&stack, &Pixels::of(&stack).unwrap());
        let want = stack_of(&[edges.clone(), edges.clone(), edges.clone()], 0.8, angle);
        let (got, want) = (&steps.planes[1].region, &want.planes[1].region);
        assert!((got.area() - want.area()).abs() < 1e-4, "{} {}", got.area(), want.area());
        assert!((got.common_area(want) - want.area()).abs() < 1e-4, "{angle}");
    }
}

/// Grown by one standard deviation an area is larger by that, whatever its outlines.
#[test]
fn planes_grow_by_the_doubt_of_their_area() {
    let rings = vec![edges_of(&rows_of_disc(8.0, [0.2, 0.37])); 3];
    let stack = stack_of(&rings, 1.0, 0.0);
    let pixels = Pixels::of(&stack).unwrap();
    let smooth = smoothed(&stack, &pixels);
    let grown = larger(&smooth, &pixels, |plane| if plane == 1 { 1.0 } else { 0.0 });
    let doubt = pixels.area_doubt_mm2(outline_mm(&smooth.planes[1].region));
    let more = grown.planes[1].region.area() - smooth.planes[1].region.area();
    assert!((more / doubt - 1.0).abs() < 0.02, "{more} {doubt}");
    assert_eq!(grown.planes[0], smooth.planes[0]);
}

/// A wall one to two pixels thick around a hole: as many rings and pieces as before, and
/// every pixel centre on its side.
#[test]
fn nothing_thin_opens_and_no_hole_closes() {
    let outer = edges_of(&rows_of_disc(5.0, [0.0, 0.0]));
    let inner = edges_of(&rows_of_disc(3.4, [0.0, 0.0]));
    let ring: Vec<Vec<[f64; 3]>> = (0..3)
        .flat_map(|z| {
            [&outer, &inner].map(|r| r.iter().map(|p| [p[0], p[1], f64::from(z)]).collect())
        })
        .collect();
    let stack = PlaneStack::build(&ring, Combine::Nested).unwrap();
    let pixels = Pixels::of(&stack).unwrap();
    let out = smoothed(&stack, &pixels);
    for (before, after) in stack.planes.iter().zip(&out.planes) {
        assert_eq!(before.region.rings().len(), 2);
        assert_eq!(after.region.rings().len(), 2);
        assert!((after.region.area() / before.region.area() - 1.0).abs() < 0.01);
        // Filling the rings anew finds no crossing, no overlap and the same area.
        let (again, odd) = Region::fill(after.region.rings(), Combine::Nested);
        assert_eq!((odd.crossing, odd.overlapping, odd.holes), (0, 0, 1));
        assert!((again.area() - after.region.area()).abs() < 1e-3);
        for j in -6..6 {
            for i in -6..6 {
                let centre = [f64::from(i) + 0.5, f64::from(j) + 0.5];
                let of = |r: &Region| r.rings().iter().filter(|r| encloses(r, centre)).count();
                assert_eq!(of(&before.region), of(&after.region), "pixel {i} {j}");
            }
        }
    }
}

fn encloses(ring: &[Point2], p: Point2) -> bool {
    let crosses = |(a, b): (Point2, Point2)| {
        (a[1] > p[1]) != (b[1] > p[1])
            && p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
    };
    polygon::edges(ring).filter(|e| crosses(*e)).count() % 2 == 1
}

/// Counted pixels of discs at 400 places against the formula. The scatter of a standard deviation from 400
/// draws is 3.5 %; the formula takes links as independent, which is allowed a quarter.
#[test]
fn the_doubt_of_an_area_is_that_of_counted_pixels() {
    for radius in [2.0, 4.0, 7.0, 12.0_f64] {
        let exact = PI * radius * radius;
        let count = |i: u32| -> f64 {
            let place = [0.754_877, 0.569_84].map(|a| (0.5 + a * f64::from(i)).fract());
            rows_of_disc(radius, place).iter().map(|(_, a, b)| f64::from(b - a + 1)).sum()
        };
        let square = |i: u32| (count(i) - exact).powi(2);
        let counted = ((0..400).map(square).sum::<f64>() / 400.0).sqrt();
        let pixels = Pixels { size_mm: [1.0; 2], direction: [1.0, 0.0], style: Style::Edges };
        let formula = pixels.area_doubt_mm2(TAU * radius);
        assert!((formula / counted - 1.0).abs() < 0.25, "{radius}: {formula:.3} {counted:.3}");
    }
}

/// Savitzky and Golay 1964 (Anal Chem 36:1627, from memory): five even places, quadratic, have the
/// weights −3, 12, 17, 12, −3 of 35.
#[test]
fn five_planes_are_fitted_by_the_published_weights() {
    let weights = parabola_weights(&[0.0, 1.0, 2.0, -1.0, -2.0]);
    for (got, want) in weights.iter().zip([17.0, 12.0, -3.0, 12.0, -3.0]) {
        assert!((got - want / 35.0).abs() < 1e-12, "{weights:?}");
    }
    assert!(parabola_weights(&[0.0, 1.0, 2.0]).is_empty(), "a parabola goes through all three");
    // Of a parabola the fit is the parabola, wherever the places lie.
    let places = [0.0, 1.0, 2.5, 4.0];
    let value = |x: f64| 3.0 - 2.0 * x + 0.7 * x * x;
    let fitted: f64 = parabola_weights(&places).iter().zip(places).map(|(w, x)| w * value(x)).sum();
    assert!((fitted - 3.0).abs() < 1e-9);
}
