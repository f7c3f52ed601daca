//! How many pieces a drawn structure has that do not hang together.

use super::links::links;
use super::stack::PlaneStack;

/// Planes farther apart than this share of the typical gap have nothing in between: outlines above and
/// below are pieces of their own. Less than one missing plane is uneven spacing.
const FARTHEST_SHARE: f64 = 1.5;

/// A piece of a plane, with the piece that it is counted with.
struct Joined(Vec<usize>);

impl Joined {
    /// The first of those that are counted together.
    fn first(&self, mut at: usize) -> usize {
        while self.0[at] != at {
            at = self.0[at];
        }
        at
    }

    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.first(a), self.first(b));
        self.0[a.max(b)] = a.min(b);
    }
}

/// Pieces of the solid: outlines on neighbouring planes are one where they overlap, or are the nearest
/// to each other within one gap where a leaning solid overlaps itself nowhere.
#[must_use]
pub fn separate_pieces(stack: &PlaneStack) -> usize {
    let mut starts = Vec::with_capacity(stack.planes.len());
    let mut all = 0;
    for plane in &stack.planes {
        starts.push(all);
        all += plane.region.pieces();
    }
    let mut joined = Joined((0..all).collect());
    let farthest = stack.typical_gap_mm().map_or(f64::INFINITY, |gap| FARTHEST_SHARE * gap);
    for (k, gap) in stack.gaps_mm().into_iter().enumerate() {
        if gap > farthest {
            continue;
        }
        for (i, j) in links(stack, k) {
            joined.join(starts[k] + i, starts[k + 1] + j);
        }
    }
    (0..all).filter(|at| joined.first(*at) == *at).count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::region::Combine;
    use crate::{PlaneStack, Point};

    fn square(x: f64, half: f64, z: f64) -> Vec<Point> {
        [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]
            .map(|[u, v]| [x + half * u, half * v, z])
            .to_vec()
    }

    fn pieces(curves: &[Vec<Point>]) -> usize {
        separate_pieces(&PlaneStack::build(curves, Combine::Nested).unwrap())
    }

    #[test]
    fn what_hangs_together_on_some_plane_is_one() {
        let column = |x: f64| (0..4).map(move |z| square(x, 2.0, f64::from(z)));
        assert_eq!(pieces(&column(0.0).collect::<Vec<_>>()), 1);
        let two: Vec<Vec<Point>> = column(-5.0).chain(column(5.0)).collect();
        assert_eq!(pieces(&two), 2);
        let bridge =
            vec![vec![[-6.0, -1.0, 4.0], [6.0, -1.0, 4.0], [6.0, 1.0, 4.0], [-6.0, 1.0, 4.0]]];
        assert_eq!(pieces(&[two, bridge].concat()), 1, "a bridge on one plane");
    }

    #[test]
    fn missing_planes_part_and_a_hole_does_not() {
        let stack = |zs: &[f64]| zs.iter().map(|z| square(0.0, 2.0, *z)).collect::<Vec<_>>();
        assert_eq!(pieces(&stack(&[0.0, 1.0, 2.0, 5.0, 6.0, 7.0])), 2);
        assert_eq!(pieces(&stack(&[0.0, 1.0, 2.4, 3.4, 4.4])), 1, "uneven, none missing");
        let hollow = [square(0.0, 4.0, 0.0), square(0.0, 2.0, 0.0), square(0.0, 4.0, 1.0)];
        assert_eq!(pieces(&hollow), 1);
    }

    #[test]
    fn a_leaning_solid_is_one() {
        let leaning: Vec<Vec<Point>> =
            (0..4).map(|k| square(2.5 * f64::from(k), 1.0, f64::from(k))).collect();
        assert_eq!(pieces(&leaning), 1);
    }
}
