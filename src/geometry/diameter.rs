//! Diameters on the drawn planes: the longest chord of any connected piece of any plane, and the
//! longest one at right angles to it on the same plane.

use super::point::Point;
use super::polygon::{self, Point2};
use super::region::Region;
use super::stack::PlaneStack;

/// The two diameters of the plane with the longest chord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Diameters {
    /// Largest distance between two points of one outline, mm.
    pub longest_mm: f64,
    /// Longest chord at right angles to it that lies inside the outline, mm.
    pub across_mm: f64,
    /// Share of the longest chord that lies inside the outline: below 1 where it is not convex.
    pub inside: f64,
    /// How far a smooth outline would bulge beyond its straight edges, on average, mm.
    pub bulge_mm: f64,
    /// Unit vector along the longest chord, patient coordinates.
    pub direction: Point,
}

impl Diameters {
    /// The diameters of a stack; absent without an area.
    #[must_use]
    pub fn of(stack: &PlaneStack) -> Option<Self> {
        let mut best: Option<(f64, Region, [Point2; 2])> = None;
        for plane in &stack.planes {
            for piece in 0..plane.region.pieces() {
                // Most planes are out of the question by their size alone.
                let region = plane.region.filtered(|p| p == piece);
                let [du, dv] = region.bounds().size();
                let longest = best.as_ref().map_or(0.0, |b| b.0);
                if du.hypot(dv) <= longest {
                    continue;
                }
                let Some((length, ends)) = farthest(&region) else { continue };
                if length > longest {
                    best = Some((length, region, ends));
                }
            }
        }
        let (longest_mm, region, ends) = best?;
        let turned = Turned::new(&region, ends);
        let [c, s] = turned.direction;
        Some(Self {
            longest_mm,
            across_mm: turned.across(),
            inside: turned.inside(longest_mm),
            bulge_mm: bulge(&region),
            direction: stack.axes.point([c, s, 0.0]),
        })
    }
}

/// The two points of a region that are farthest apart, and their distance.
fn farthest(region: &Region) -> Option<(f64, [Point2; 2])> {
    let hull = convex_hull(region.rings().iter().flatten().copied().collect());
    let mut best: Option<(f64, [Point2; 2])> = None;
    for (i, a) in hull.iter().enumerate() {
        for b in &hull[i + 1..] {
            let d = (a[0] - b[0]).hypot(a[1] - b[1]);
            if best.is_none_or(|(most, _)| d > most) {
                best = Some((d, [*a, *b]));
            }
        }
    }
    best
}

fn convex_hull(mut points: Vec<Point2>) -> Vec<Point2> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let half = |points: &mut dyn Iterator<Item = Point2>| {
        let mut hull: Vec<Point2> = Vec::new();
        for p in points {
            while let [.., a, b] = hull[..]
                && (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) <= 0.0
            {
                hull.pop();
            }
            hull.push(p);
        }
        hull.pop();
        hull
    };
    let mut hull = half(&mut points.iter().copied());
    hull.extend(half(&mut points.iter().rev().copied()));
    hull
}

/// Outlines with the longest chord along the first axis, on it from 0 on.
struct Turned {
    direction: Point2,
    edges: Vec<(Point2, Point2)>,
}

impl Turned {
    fn new(region: &Region, [a, b]: [Point2; 2]) -> Self {
        let length = (b[0] - a[0]).hypot(b[1] - a[1]).max(f64::MIN_POSITIVE);
        let direction = [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
        let turn = |p: Point2| {
            let q = [p[0] - a[0], p[1] - a[1]];
            [q[0] * direction[0] + q[1] * direction[1], q[1] * direction[0] - q[0] * direction[1]]
        };
        let edges = region
            .rings()
            .iter()
            .flat_map(|ring| polygon::edges(ring))
            .map(|(p, q)| (turn(p), turn(q)))
            .collect();
        Self { direction, edges }
    }

    /// Positions along one axis where the outlines cross a line on which the other is constant.
    fn crossings(&self, constant: usize, at: f64) -> Vec<f64> {
        let other = 1 - constant;
        let mut found: Vec<f64> = self
            .edges
            .iter()
            .filter(|(p, q)| (p[constant] < at) != (q[constant] < at))
            .map(|(p, q)| {
                let t = (at - p[constant]) / (q[constant] - p[constant]);
                p[other] + t * (q[other] - p[other])
            })
            .collect();
        found.sort_by(f64::total_cmp);
        found
    }

    /// The length of a chord changes in a straight line from vertex to vertex: the longest one
    /// lies beside one of them.
    fn across(&self) -> f64 {
        let beside = |x: f64| [x - ASIDE_MM, x + ASIDE_MM];
        let chord = |x: f64| {
            let ends = self.crossings(0, x);
            ends.chunks_exact(2).map(|c| c[1] - c[0]).fold(0.0, f64::max)
        };
        self.edges.iter().flat_map(|(p, _)| beside(p[0])).map(chord).fold(0.0, f64::max)
    }

    /// Share of the chord from 0 to `length` that lies inside; the better one of two lines beside
    /// it, since the chord may run along an edge.
    fn inside(&self, length: f64) -> f64 {
        let share = |aside: f64| {
            let ends = self.crossings(1, aside);
            let part = |c: &[f64]| (c[1].min(length) - c[0].max(0.0)).max(0.0);
            ends.chunks_exact(2).map(part).sum::<f64>() / length.max(f64::MIN_POSITIVE)
        };
        share(ASIDE_MM).max(share(-ASIDE_MM)).min(1.0)
    }
}

/// Lines are taken so far beside vertices, mm.
const ASIDE_MM: f64 = 1e-6;

/// Mean height of the arcs that the edges of the outlines cut off, mm: edge times turn over 8, as
/// far as the outline turns gently.
fn bulge(region: &Region) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0_f64);
    for ring in region.rings() {
        for ((a, b), (_, c)) in polygon::edges(ring).zip(polygon::edges(ring).skip(1)) {
            let (d, e) = ([b[0] - a[0], b[1] - a[1]], [c[0] - b[0], c[1] - b[1]]);
            let turn = (d[0] * e[1] - d[1] * e[0]).atan2(d[0] * e[0] + d[1] * e[1]);
            if turn.abs() < 0.5 {
                sum += d[0].hypot(d[1]) * turn / 8.0;
                count += 1.0;
            }
        }
    }
    (sum / count.max(1.0)).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Combine;

    fn stack(rings: &[Vec<Point2>]) -> PlaneStack {
        let curve = |(z, ring): (f64, &Vec<Point2>)| -> Vec<Point> {
            ring.iter().map(|p| [p[0], p[1], z]).collect()
        };
        let curves: Vec<_> = [0.0, 1.0, 2.0].into_iter().zip(rings).map(curve).collect();
        PlaneStack::build(&curves, Combine::Nested).unwrap()
    }

    fn ellipse(a: f64, b: f64, angle: f64, n: u32) -> Vec<Point2> {
        let (s, c) = angle.sin_cos();
        let point = |i: u32| {
            let t = f64::from(i) * std::f64::consts::TAU / f64::from(n);
            let (x, y) = (a * t.cos(), b * t.sin());
            [3.0 + c * x - s * y, 1.0 + s * x + c * y]
        };
        (0..n).map(point).collect()
    }

    /// 2a and 2b of the largest ellipse of three; edges cut off at most a(1 − cos(π/n)).
    #[test]
    fn an_ellipse_has_its_axes() {
        let rings =
            [ellipse(4.0, 3.0, 0.2, 120), ellipse(6.0, 2.5, 0.7, 120), ellipse(5.0, 5.0, 0.0, 120)];
        let d = Diameters::of(&stack(&rings)).unwrap();
        assert!((d.longest_mm - 12.0).abs() < 1e-3, "{d:?}");
        assert!((d.across_mm - 5.0).abs() < 4e-3, "{d:?}");
        assert!(d.inside > 0.999 && d.bulge_mm > 0.0 && d.bulge_mm < 0.01, "{d:?}");
        assert!((d.direction[0].abs() - 0.7_f64.cos()).abs() < 0.05, "{d:?}");
    }

    /// An L of arms 10 and 8, each 2 wide: the longest chord leaves it, and is said to.
    #[test]
    fn a_chord_outside_a_bent_outline_is_seen() {
        let l = vec![[0.0, 0.0], [10.0, 0.0], [10.0, 2.0], [2.0, 2.0], [2.0, 8.0], [0.0, 8.0]];
        let d = Diameters::of(&stack(&[l.clone(), l.clone(), l])).unwrap();
        assert!((d.longest_mm - 164.0_f64.sqrt()).abs() < 1e-3, "{d:?}");
        assert!(d.inside < 0.6, "{d:?}");
        // At right angles to it a chord from the outer corner region stays inside the arms.
        assert!(d.across_mm < 4.5 && d.across_mm > 2.0, "{d:?}");
    }

    #[test]
    fn two_pieces_are_not_measured_across_the_space_between() {
        let mut far = ellipse(1.0, 1.0, 0.0, 60);
        far.iter_mut().for_each(|p| p[0] += 20.0);
        let curves: Vec<Vec<Point>> = [ellipse(1.0, 1.0, 0.0, 60), far]
            .iter()
            .map(|r| r.iter().map(|p| [p[0], p[1], 0.0]).collect())
            .collect();
        let stack = PlaneStack::build(&curves, Combine::Nested).unwrap();
        assert!((Diameters::of(&stack).unwrap().longest_mm - 2.0).abs() < 1e-2);
        assert_eq!(Diameters::of(&PlaneStack::build(&[], Combine::Nested).unwrap()), None);
    }
}
