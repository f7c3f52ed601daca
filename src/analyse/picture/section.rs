//! A stack of contour planes cut by a plane that stands upright on them: each slice shows as boxes as
//! high as the slice and as wide as what the cut meets in it, so that nothing is seen that was not
//! drawn. Between slices a structure is measured as a smooth solid; its picture has steps.

use tidydose_geometry::point::{Point, add, cross, dot, scale};
use tidydose_geometry::region::{Combine, Region};
use tidydose_geometry::stack::PlaneStack;

/// Half the height of the box of a structure that was drawn on one plane only, mm.
const LONE_HALF_MM: f64 = 0.5;

/// The outlines, in the patient, of what the plane `dot(normal, p) = at_mm` meets of a stack; `normal`
/// is a unit vector in the planes of the stack. Empty where it meets nothing.
pub(super) fn section(stack: &PlaneStack, normal: Point, at_mm: f64) -> Vec<Vec<Point>> {
    let [u, v, w] = stack.axes.directions;
    let along = cross(w, normal);
    let normal_uv = [dot(u, normal), dot(v, normal)];
    let along_uv = [dot(u, along), dot(v, along)];
    let mut boxes = Vec::new();
    for (plane, [low, high]) in stack.planes.iter().zip(slices(stack)) {
        let met = crossings(&plane.region, normal_uv, along_uv, at_mm);
        for pair in met.chunks_exact(2) {
            let [from, to] = [pair[0], pair[1]];
            boxes.push(vec![[from, low], [to, low], [to, high], [from, high]]);
        }
    }
    let (united, _) = Region::fill(&boxes, Combine::Nested);
    let origin = scale(normal, at_mm);
    let place = |p: &[f64; 2]| add(origin, add(scale(along, p[0]), scale(w, p[1])));
    united.rings().iter().map(|ring| ring.iter().map(place).collect()).collect()
}

/// From where to where along the normal each plane stands for its slice.
fn slices(stack: &PlaneStack) -> Vec<[f64; 2]> {
    let places: Vec<f64> = stack.planes.iter().map(|p| p.w_mm).collect();
    let half = stack.typical_gap_mm().map_or(LONE_HALF_MM, |gap| gap / 2.0);
    let between: Vec<f64> = places.windows(2).map(|p| (p[0] + p[1]) / 2.0).collect();
    let mut slices = Vec::with_capacity(places.len());
    for (i, w) in places.iter().enumerate() {
        let below = i.checked_sub(1).and_then(|b| between.get(b).copied());
        let above = between.get(i).copied();
        slices.push([below.unwrap_or(w - half), above.unwrap_or(w + half)]);
    }
    slices
}

/// Where the line `dot(normal_uv, p) = at_mm` enters and leaves a region, ascending along `along_uv`.
fn crossings(region: &Region, normal_uv: [f64; 2], along_uv: [f64; 2], at_mm: f64) -> Vec<f64> {
    let in_plane = |a: [f64; 2], b: [f64; 2]| a[0] * b[0] + a[1] * b[1];
    let mut met = Vec::new();
    for ring in region.rings() {
        for (i, start) in ring.iter().enumerate() {
            let end = ring[(i + 1) % ring.len()];
            let [off, next] = [*start, end].map(|p| in_plane(normal_uv, p) - at_mm);
            // A vertex on the line counts as above it, so that each ring is crossed an even number
            // of times.
            if (off >= 0.0) == (next >= 0.0) {
                continue;
            }
            let share = off / (off - next);
            let [from, to] = [*start, end].map(|p| in_plane(along_uv, p));
            met.push(from + share * (to - from));
        }
    }
    met.sort_by(f64::total_cmp);
    met
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A ball of radius 10 mm about the origin on slices 2 mm apart.
    fn ball() -> PlaneStack {
        let ring = |k: i32| {
            let z = f64::from(k) * 2.0;
            let r = (100.0 - z * z).sqrt();
            let point = |i: i32| {
                let a = f64::from(i) * std::f64::consts::TAU / 120.0;
                [r * a.cos(), r * a.sin(), z]
            };
            (0..120).map(point).collect()
        };
        let curves: Vec<Vec<Point>> = (-4..=4).map(ring).collect();
        PlaneStack::build(&curves, Combine::Nested).unwrap()
    }

    fn area(ring: &[Point], [a, b]: [usize; 2]) -> f64 {
        let next = |i: usize| ring[(i + 1) % ring.len()];
        let twice = (0..ring.len()).map(|i| ring[i][a] * next(i)[b] - next(i)[a] * ring[i][b]);
        (twice.sum::<f64>() / 2.0).abs()
    }

    #[test]
    fn a_cut_has_the_chords_of_each_slice() {
        for (normal, at, axes) in [([1.0, 0.0, 0.0], 3.0, [1, 2]), ([0.0, 1.0, 0.0], -6.0, [0, 2])]
        {
            let rings = section(&ball(), normal, at);
            assert_eq!(rings.len(), 1);
            // Slices of 2 mm, each as wide as the chord of its circle at that distance.
            let chord = |k: i32| {
                let rest = 100.0 - f64::from(k * k) * 4.0 - at * at;
                4.0 * rest.max(0.0).sqrt()
            };
            let exact: f64 = (-4..=4).map(chord).sum();
            // 120 vertices: the polygon lies inside of its circle by r (1 - cos 1.5°) = 0.0034 mm,
            // on a chord at 6 mm of 6.0 (k = 4: none) by at most 2·0.0034·10/4 on either end.
            let found = area(&rings[0], axes);
            assert!((found - exact).abs() < 0.02 * 2.0 * 9.0, "{found} for {exact}");
            let off = rings[0].iter().map(|p| dot(*p, normal) - at);
            assert!(off.into_iter().all(|d| d.abs() < 1e-9));
        }
    }

    #[test]
    fn a_hole_stays_a_hole_and_a_miss_is_nothing() {
        let square = |half: f64, z: f64| {
            let corners = [[-half, -half], [half, -half], [half, half], [-half, half]];
            corners.map(|[x, y]| [x, y, z]).to_vec()
        };
        let curves: Vec<Vec<Point>> = (0..5)
            .flat_map(|k| {
                let z = f64::from(k);
                let inner = (1..4).contains(&k).then(|| square(3.0, z));
                [Some(square(8.0, z)), inner].into_iter().flatten()
            })
            .collect();
        let stack = PlaneStack::build(&curves, Combine::Nested).unwrap();
        let rings = section(&stack, [1.0, 0.0, 0.0], 1.0);
        assert_eq!(rings.len(), 2);
        let mut areas: Vec<f64> = rings.iter().map(|r| area(r, [1, 2])).collect();
        areas.sort_by(f64::total_cmp);
        assert!((areas[0] - 6.0 * 3.0).abs() < 1e-6 && (areas[1] - 16.0 * 5.0).abs() < 1e-6);
        assert!(section(&stack, [1.0, 0.0, 0.0], 8.5).is_empty());
    }

    #[test]
    fn one_plane_is_a_flat_box() {
        let curve = [[-2.0, -2.0], [2.0, -2.0], [2.0, 2.0], [-2.0, 2.0]].map(|[x, y]| [x, y, 7.0]);
        let stack = PlaneStack::build(&[curve.to_vec()], Combine::Nested).unwrap();
        let rings = section(&stack, [0.0, 1.0, 0.0], 0.0);
        assert_eq!(rings.len(), 1);
        assert!((area(&rings[0], [0, 2]) - 4.0).abs() < 1e-9);
    }
}
