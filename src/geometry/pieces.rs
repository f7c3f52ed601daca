//! The pieces of a surface, triangles or points, in a tree of boxes, for the nearest one to a point.
//! The tree is split in halves along the longest side; whole branches that lie farther away than
//! what was found are left aside. Knows no solid and no side of it.

use std::cmp::Ordering;

use super::point::{self, Point};

/// A triangle.
pub(super) type Facet = [Point; 3];

/// What a surface is made of.
pub(super) trait Piece {
    /// Its corners.
    fn corners(&self) -> &[Point];

    /// Square of its distance from a point, mm².
    fn distance_2(&self, p: Point) -> f64;
}

impl Piece for Point {
    fn corners(&self) -> &[Point] {
        std::slice::from_ref(self)
    }

    fn distance_2(&self, p: Point) -> f64 {
        point::distance_2(p, *self)
    }
}

impl Piece for Facet {
    fn corners(&self) -> &[Point] {
        self
    }

    fn distance_2(&self, p: Point) -> f64 {
        point::distance_2(p, nearest_of_triangle(*self, p))
    }
}

/// Pieces that can be asked for the nearest one.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pieces<P> {
    pieces: Vec<P>,
    /// Every node before its branches; the first branch follows its node.
    nodes: Vec<Node>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Node {
    low: Point,
    high: Point,
    below: Below,
}

/// What lies below a node.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Below {
    /// Pieces, from one place to before another.
    Leaf(usize, usize),
    /// Where the second branch is.
    Branches(usize),
}

/// More than the squares of distances differ by rounding.
const ROUNDED_UP: f64 = 1.0 + 1e-9;

/// The search for the pieces that are nearest to a point.
struct Search {
    p: Point,
    /// What is farther away by no more than this is as near, mm.
    same_mm: f64,
    /// Square of the distance beyond which nothing counts, mm².
    reach_2: f64,
    /// Square of the smallest distance so far, mm².
    least_2: f64,
    /// Pieces that counted when they were looked at, each with the square of its distance.
    found: Vec<(f64, usize)>,
}

impl Search {
    fn offer(&mut self, distance_2: f64, place: usize) {
        if distance_2 > self.reach_2 {
            return;
        }
        if distance_2 < self.least_2 {
            self.least_2 = distance_2;
            // A root only where something equally near is asked for.
            if self.same_mm > 0.0 {
                self.reach_2 = (distance_2.sqrt() + self.same_mm).powi(2);
            } else {
                self.reach_2 = distance_2;
            }
        }
        if self.same_mm > 0.0 {
            let reach_2 = self.reach_2;
            self.found.retain(|(other_2, _)| *other_2 <= reach_2);
            self.found.push((distance_2, place));
        }
    }
}

/// No group has more pieces.
const LEAF: usize = 8;

impl Node {
    /// Square of the distance from a point to the box.
    fn distance_2(&self, p: Point) -> f64 {
        let out = |i: usize| (self.low[i] - p[i]).max(p[i] - self.high[i]).max(0.0);
        let d = [out(0), out(1), out(2)];
        point::dot(d, d)
    }
}

/// Pieces that follow each other and lie together: as a surface is found cube by cube, they come in
/// such groups, and only the groups are put in order.
struct Group {
    middle: Point,
    pieces: std::ops::Range<usize>,
}

/// The groups of pieces that lie no farther than `reach_mm` from the first one of theirs.
fn groups<P: Piece>(pieces: &[P], reach_mm: f64) -> Vec<Group> {
    #[allow(clippy::cast_precision_loss)] // a piece has three corners at most
    let middle = |corners: &[Point]| {
        let sum = corners.iter().fold([0.0; 3], |sum, corner| point::add(sum, *corner));
        sum.map(|x| x / corners.len() as f64)
    };
    let mut groups: Vec<Group> = Vec::new();
    for (index, piece) in pieces.iter().enumerate() {
        let middle = middle(piece.corners());
        let joins = |g: &&mut Group| {
            g.pieces.len() < LEAF && point::distance_2(middle, g.middle) <= reach_mm * reach_mm
        };
        match groups.last_mut().filter(joins) {
            Some(group) => group.pieces.end = index + 1,
            None => groups.push(Group { middle, pieces: index..index + 1 }),
        }
    }
    groups
}

impl<P: Piece> Pieces<P> {
    /// The tree over some pieces, of which those that follow each other within `reach_mm` are kept
    /// together.
    #[must_use]
    pub(super) fn new(pieces: Vec<P>, reach_mm: f64) -> Self {
        let mut groups = groups(&pieces, reach_mm);
        let mut tree = Self { pieces, nodes: Vec::with_capacity(2 * groups.len()) };
        if !groups.is_empty() {
            tree.split(&mut groups);
        }
        tree
    }

    /// Adds the node of some groups and all below it; its box.
    fn split(&mut self, groups: &mut [Group]) -> [Point; 2] {
        let node = self.nodes.len();
        let none = [[f64::INFINITY; 3], [f64::NEG_INFINITY; 3]];
        self.nodes.push(Node { low: none[0], high: none[1], below: Below::Leaf(0, 0) });
        let (bounds, below) = if let [group] = groups {
            let own = self.pieces.get(group.pieces.clone()).unwrap_or_default();
            let corners = own.iter().flat_map(Piece::corners);
            let bounds = corners.fold(none, |b, p| widened(b, [*p, *p]));
            (bounds, Below::Leaf(group.pieces.start, group.pieces.end))
        } else {
            let span = groups.iter().fold(none, |b, g| widened(b, [g.middle, g.middle]));
            let side = |a: &usize| span[1][*a] - span[0][*a];
            let axis = (0..3).max_by(|a, b| side(a).total_cmp(&side(b))).unwrap_or_default();
            let half = groups.len() / 2;
            groups.select_nth_unstable_by(half, |a, b| a.middle[axis].total_cmp(&b.middle[axis]));
            let (left, right) = groups.split_at_mut(half);
            let first = self.split(left);
            let second = self.nodes.len();
            (widened(first, self.split(right)), Below::Branches(second))
        };
        if let Some(node) = self.nodes.get_mut(node) {
            *node = Node { low: bounds[0], high: bounds[1], below };
        }
        bounds
    }

    /// Lowest and highest corner of the box around all; absent without pieces.
    #[must_use]
    pub(super) fn bounds(&self) -> Option<[Point; 2]> {
        self.nodes.first().map(|root| [root.low, root.high])
    }

    /// Square of the distance to the nearest piece, mm²; absent without pieces.
    #[must_use]
    pub(super) fn distance_2(&self, p: Point) -> Option<f64> {
        self.nearest(p, f64::INFINITY, 0.0, &mut Vec::new())
    }

    /// Square of the distance to the nearest piece, mm², and in `nearest` the places of all that are
    /// no more than `same_mm` farther away. Absent without pieces. There must be a piece no farther
    /// away than `at_most_mm`: the less, the quicker.
    pub(super) fn nearest(
        &self,
        p: Point,
        at_most_mm: f64,
        same_mm: f64,
        nearest: &mut Vec<usize>,
    ) -> Option<f64> {
        self.nodes.first()?;
        nearest.clear();
        // Rounding must not hide the piece that is known.
        let reach_2 = (at_most_mm + same_mm).powi(2) * ROUNDED_UP;
        let mut search = Search { p, same_mm, reach_2, least_2: f64::INFINITY, found: Vec::new() };
        self.nearest_below(0, &mut search);
        let reach_2 = (search.least_2.sqrt() + same_mm).powi(2);
        let near = search.found.iter().filter(|(distance_2, _)| *distance_2 <= reach_2);
        nearest.extend(near.map(|(_, place)| *place));
        Some(search.least_2)
    }

    fn nearest_below(&self, index: usize, search: &mut Search) {
        match self.nodes[index].below {
            Below::Leaf(from, to) => {
                for (place, piece) in self.pieces[from..to].iter().enumerate() {
                    search.offer(piece.distance_2(search.p), from + place);
                }
            }
            Below::Branches(second) => {
                for (branch, nearest_2) in self.nearer_first(index, second, search.p) {
                    if nearest_2 <= search.reach_2 {
                        self.nearest_below(branch, search);
                    }
                }
            }
        }
    }

    /// The branches of a node with the squares of the distances of their boxes, the nearer one first.
    fn nearer_first(&self, index: usize, second: usize, p: Point) -> [(usize, f64); 2] {
        let seen = |at: usize| (at, self.nodes[at].distance_2(p));
        let (a, b) = (seen(index + 1), seen(second));
        if b.1 < a.1 { [b, a] } else { [a, b] }
    }

    /// Whether the nearest piece is nearer to a point than the first of two distances (less), farther
    /// away than the second (greater), or neither; both as squares, mm², the first no larger.
    #[must_use]
    pub(super) fn compare(&self, p: Point, [near_2, far_2]: [f64; 2]) -> Ordering {
        if self.nodes.is_empty() {
            return Ordering::Greater;
        }
        let mut found = Ordering::Greater;
        self.compare_below(0, p, [near_2, far_2], &mut found);
        found
    }

    /// Looks below a node until a piece is nearer than the first.
    fn compare_below(&self, index: usize, p: Point, between: [f64; 2], found: &mut Ordering) {
        let [near_2, far_2] = between;
        match self.nodes[index].below {
            Below::Leaf(from, to) => {
                for piece in &self.pieces[from..to] {
                    let distance_2 = piece.distance_2(p);
                    if distance_2 < near_2 {
                        *found = Ordering::Less;
                        return;
                    }
                    if distance_2 <= far_2 {
                        *found = Ordering::Equal;
                    }
                }
            }
            Below::Branches(second) => {
                for (branch, nearest) in self.nearer_first(index, second, p) {
                    let counts = match found {
                        Ordering::Less => false,
                        Ordering::Equal => nearest < near_2,
                        Ordering::Greater => nearest <= far_2,
                    };
                    if counts {
                        self.compare_below(branch, p, between, found);
                    }
                }
            }
        }
    }

    /// The piece at a place that [`Self::nearest`] named.
    pub(super) fn piece(&self, place: usize) -> Option<&P> {
        self.pieces.get(place)
    }
}

fn widened([low, high]: [Point; 2], by: [Point; 2]) -> [Point; 2] {
    [std::array::from_fn(|i| low[i].min(by[0][i])), std::array::from_fn(|i| high[i].max(by[1][i]))]
}

/// The point of a triangle that is nearest to a point: a corner, on an edge, or inside, by the signs
/// of the barycentric coordinates of the foot, which need products along two edges only.
fn nearest_of_triangle([a, b, c]: Facet, p: Point) -> Point {
    let (ab, ac) = (point::sub(b, a), point::sub(c, a));
    let along = |corner: Point| {
        let to = point::sub(p, corner);
        (point::dot(ab, to), point::dot(ac, to))
    };
    let (from_a, from_b, from_c) = (along(a), along(b), along(c));
    if from_a.0 <= 0.0 && from_a.1 <= 0.0 {
        return a;
    }
    if from_b.0 >= 0.0 && from_b.1 <= from_b.0 {
        return b;
    }
    if from_c.1 >= 0.0 && from_c.0 <= from_c.1 {
        return c;
    }
    let at_c = from_a.0 * from_b.1 - from_b.0 * from_a.1;
    let at_b = from_c.0 * from_a.1 - from_a.0 * from_c.1;
    let at_a = from_b.0 * from_c.1 - from_c.0 * from_b.1;
    if at_a > 0.0 && at_b > 0.0 && at_c > 0.0 {
        let whole = at_a + at_b + at_c;
        let inward = point::add(point::scale(ab, at_b / whole), point::scale(ac, at_c / whole));
        return point::add(a, inward);
    }
    nearest_of_edges([a, b, c], p)
}

fn nearest_of_edges([a, b, c]: Facet, p: Point) -> Point {
    let mut nearest = (f64::INFINITY, a);
    for [from, to] in [[a, b], [b, c], [c, a]] {
        let along = point::sub(to, from);
        let length = point::dot(along, along).max(f64::MIN_POSITIVE);
        let t = (point::dot(point::sub(p, from), along) / length).clamp(0.0, 1.0);
        let foot = point::add(from, point::scale(along, t));
        let square = point::distance_2(p, foot);
        if square < nearest.0 {
            nearest = (square, foot);
        }
    }
    nearest.1
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers without a pattern in -1 to 1.
    fn scattered(n: u32) -> impl Iterator<Item = f64> {
        (1..=n).map(|i| 2.0 * (f64::from(i) * 0.754_877_666_246_693).fract() - 1.0)
    }

    fn triangles(n: u32) -> Vec<Facet> {
        let numbers: Vec<f64> = scattered(9 * n).collect();
        let small = |c: &[f64]| {
            let at = [30.0 * c[0], 20.0 * c[1], 40.0 * c[2]];
            [at, [at[0] + c[3], at[1] + c[4], at[2]], [at[0] + c[5], at[1], at[2] + c[6]]]
        };
        numbers.chunks(9).map(small).collect()
    }

    #[test]
    fn the_nearest_is_that_of_a_look_at_all() {
        for n in [1, 5, 6, 7, 100, 3000] {
            nearest_of(&triangles(n));
            nearest_of(&triangles(n).concat());
        }
        assert_eq!(Pieces::<Facet>::new(Vec::new(), 1.0).distance_2([0.0; 3]), None);
        let none = Pieces::<Facet>::new(Vec::new(), 1.0);
        assert_eq!(none.nearest([0.0; 3], 9.0, 1.0, &mut Vec::new()), None);
        assert_eq!(none.compare([0.0; 3], [1.0, 9.0]), Ordering::Greater);
    }

    fn nearest_of<P: Piece + Clone>(all: &[P]) {
        let tree = Pieces::new(all.to_vec(), 12.0);
        let end = |f: fn(f64, f64) -> f64| {
            let corners = all.iter().flat_map(|piece| piece.corners()).copied();
            corners.reduce(|a, b| std::array::from_fn(|i| f(a[i], b[i]))).unwrap()
        };
        assert_eq!(tree.bounds(), Some([end(f64::min), end(f64::max)]));
        let numbers: Vec<f64> = scattered(600).collect();
        for c in numbers.chunks_exact(3) {
            let p = [50.0 * c[0], 50.0 * c[1], 50.0 * c[2]];
            let least = all.iter().map(|f| f.distance_2(p)).fold(f64::INFINITY, f64::min);
            assert_eq!(tree.distance_2(p), Some(least));
            for (near, far, expected) in [
                (0.5, 0.9, Ordering::Greater),
                (0.5, 1.0, Ordering::Equal),
                (1.0, 1.0, Ordering::Equal),
                (0.9, 1.1, Ordering::Equal),
                (1.1, 1.1, Ordering::Less),
                (1.1, 9.0, Ordering::Less),
            ] {
                assert_eq!(tree.compare(p, [near * least, far * least]), expected);
            }
            let mut nearest = Vec::new();
            for (at_most_mm, same_mm) in [(f64::INFINITY, 0.0), (least.sqrt(), 0.7), (99.0, 0.7)] {
                assert_eq!(tree.nearest(p, at_most_mm, same_mm, &mut nearest), Some(least));
                let reach_2 = (least.sqrt() + same_mm).powi(2);
                let near = all.iter().filter(|f| f.distance_2(p) <= reach_2).count();
                assert_eq!(nearest.len(), if same_mm > 0.0 { near } else { 0 });
                let all_near = nearest.iter().filter_map(|place| tree.piece(*place));
                assert!(all_near.into_iter().all(|f| f.distance_2(p) <= reach_2));
            }
        }
    }

    /// Worked by hand: above the face, beyond an edge, beyond a corner.
    #[test]
    fn faces_edges_and_corners_are_told_apart() {
        let facet = [[0.0; 3], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0]];
        assert_eq!(nearest_of_triangle(facet, [1.0, 1.0, 3.0]), [1.0, 1.0, 0.0]);
        assert_eq!(nearest_of_triangle(facet, [2.0, -3.0, 1.0]), [2.0, 0.0, 0.0]);
        assert_eq!(nearest_of_triangle(facet, [3.0, 3.0, 0.0]), [2.0, 2.0, 0.0]);
        assert_eq!(nearest_of_triangle(facet, [-1.0, -2.0, 5.0]), [0.0; 3]);
    }

    /// Against a look at a lattice of the triangle, also where it has no area or no length. The
    /// lattice has a point within an eighth of a millimetre of any other.
    #[test]
    fn the_nearest_point_is_no_farther_than_any_other() {
        let numbers: Vec<f64> = scattered(1200).collect();
        let folded = |[a, b, _]: Facet| [[a, a, b], [a, b, a], [a, b, b], [a; 3]];
        let middle = |[a, b, _]: Facet| [a, b, point::scale(point::add(a, b), 0.5)];
        for (c, facet) in numbers.chunks_exact(3).zip(triangles(400)) {
            let p = point::add(facet[0], [3.0 * c[0], 3.0 * c[1], 3.0 * c[2]]);
            for facet in folded(facet).into_iter().chain([facet, middle(facet)]) {
                let nearest = nearest_of_triangle(facet, p);
                let mut least = f64::INFINITY;
                for (i, j) in (0..=20).flat_map(|i| (0..=20 - i).map(move |j| (i, j))) {
                    let (u, v) = (f64::from(i) / 20.0, f64::from(j) / 20.0);
                    let [a, b, c] = facet;
                    let along = point::scale(point::sub(b, a), u);
                    let across = point::scale(point::sub(c, a), v);
                    let q = point::add(a, point::add(along, across));
                    least = least.min(point::distance_2(p, q).sqrt());
                }
                let got = point::distance_2(p, nearest).sqrt();
                assert!(got <= least + 1e-12 && got > least - 0.125, "{facet:?} {p:?}");
            }
        }
    }
}
