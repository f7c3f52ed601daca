//! Triangles in a tree of boxes, for the nearest one to a point. The tree is split in halves along
//! the longest side; whole branches that lie farther away than what was found are
//! left aside. Knows triangles only, no solid and no side of it.

use super::point::{self, Point};

/// A triangle.
pub(super) type Facet = [Point; 3];

/// Triangles that can be asked for the nearest one.
#[derive(Debug, Clone, Default)]
pub(super) struct Facets {
    facets: Vec<Facet>,
    /// Every node before its branches; the first branch follows its node.
    nodes: Vec<Node>,
}

#[derive(Debug, Clone, Copy)]
struct Node {
    low: Point,
    high: Point,
    below: Below,
}

/// What lies below a node.
#[derive(Debug, Clone, Copy)]
enum Below {
    /// Triangles, from one place to before another.
    Leaf(usize, usize),
    /// Where the second branch is.
    Branches(usize),
}

/// No group has more triangles.
const LEAF: usize = 8;

impl Node {
    /// Square of the distance from a point to the box.
    fn distance_2(&self, p: Point) -> f64 {
        let out = |i: usize| (self.low[i] - p[i]).max(p[i] - self.high[i]).max(0.0);
        let d = [out(0), out(1), out(2)];
        point::dot(d, d)
    }
}

/// Triangles that follow each other and lie together: as a surface is found cube by cube, they come
/// in such groups, and only the groups are put in order.
struct Group {
    middle: Point,
    facets: std::ops::Range<usize>,
}

/// The groups of triangles that lie no farther than `reach_mm` from the first one of theirs.
fn groups(facets: &[Facet], reach_mm: f64) -> Vec<Group> {
    let middle = |f: &Facet| [0, 1, 2].map(|i| (f[0][i] + f[1][i] + f[2][i]) / 3.0);
    let mut groups: Vec<Group> = Vec::new();
    for (index, facet) in facets.iter().enumerate() {
        let middle = middle(facet);
        let joins = |g: &&mut Group| {
            let way = point::sub(middle, g.middle);
            g.facets.len() < LEAF && point::dot(way, way) <= reach_mm * reach_mm
        };
        match groups.last_mut().filter(joins) {
            Some(group) => group.facets.end = index + 1,
            None => groups.push(Group { middle, facets: index..index + 1 }),
        }
    }
    groups
}

impl Facets {
    /// The tree over some triangles, of which those that follow each other within `reach_mm` are
    /// kept together.
    #[must_use]
    pub(super) fn new(facets: Vec<Facet>, reach_mm: f64) -> Self {
        let mut groups = groups(&facets, reach_mm);
        let mut tree = Self { facets, nodes: Vec::with_capacity(2 * groups.len()) };
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
            let own = self.facets.get(group.facets.clone()).unwrap_or_default().iter().flatten();
            let bounds = own.fold(none, |b, p| widened(b, [*p, *p]));
            (bounds, Below::Leaf(group.facets.start, group.facets.end))
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

    /// Square of the distance to the nearest triangle, mm²; absent without triangles.
    #[must_use]
    pub(super) fn distance_2(&self, p: Point) -> Option<f64> {
        let mut least = f64::INFINITY;
        let mut open = vec![(0, self.nodes.first()?.distance_2(p))];
        while let Some((index, nearest)) = open.pop() {
            let Some(node) = self.nodes.get(index).filter(|_| nearest < least) else { continue };
            match node.below {
                Below::Leaf(from, to) => {
                    for facet in self.facets.get(from..to).unwrap_or_default() {
                        least = least.min(distance_2(facet, p));
                    }
                }
                Below::Branches(second) => {
                    let seen = |at: usize| Some((at, self.nodes.get(at)?.distance_2(p)));
                    let (Some(a), Some(b)) = (seen(index + 1), seen(second)) else { continue };
                    // The nearer one is looked at first.
                    let order = if a.1 < b.1 { [b, a] } else { [a, b] };
                    open.extend(order.into_iter().filter(|branch| branch.1 < least));
                }
            }
        }
        Some(least)
    }

    /// The triangles that are no farther away than the root of a square, mm².
    pub(super) fn within(&self, p: Point, most_2: f64) -> impl Iterator<Item = &Facet> {
        let mut open: Vec<usize> = if self.nodes.is_empty() { Vec::new() } else { vec![0] };
        let mut found = Vec::new();
        while let Some(index) = open.pop() {
            let Some(node) = self.nodes.get(index) else { continue };
            match node.below {
                _ if node.distance_2(p) > most_2 => {}
                Below::Leaf(from, to) => {
                    let own = self.facets.get(from..to).unwrap_or_default().iter();
                    found.extend(own.filter(|facet| distance_2(facet, p) <= most_2));
                }
                Below::Branches(second) => open.extend([index + 1, second]),
            }
        }
        found.into_iter()
    }
}

fn widened([low, high]: [Point; 2], by: [Point; 2]) -> [Point; 2] {
    [std::array::from_fn(|i| low[i].min(by[0][i])), std::array::from_fn(|i| high[i].max(by[1][i]))]
}

fn distance_2(facet: &Facet, p: Point) -> f64 {
    let d = point::sub(p, nearest_of_triangle(*facet, p));
    point::dot(d, d)
}

/// The point of a triangle that is nearest to a point.
fn nearest_of_triangle([a, b, c]: [Point; 3], p: Point) -> Point {
    let (ab, ac, ap) = (point::sub(b, a), point::sub(c, a), point::sub(p, a));
    let normal = point::cross(ab, ac);
    let square = point::dot(normal, normal);
    if square > 0.0 {
        // Barycentric coordinates of the foot on the plane of the triangle.
        let along_c = point::dot(point::cross(ab, ap), normal) / square;
        let along_b = point::dot(point::cross(ap, ac), normal) / square;
        if along_b >= 0.0 && along_c >= 0.0 && along_b + along_c <= 1.0 {
            return point::add(a, point::add(point::scale(ab, along_b), point::scale(ac, along_c)));
        }
    }
    let mut nearest = (f64::INFINITY, a);
    for [from, to] in [[a, b], [b, c], [c, a]] {
        let along = point::sub(to, from);
        let length = point::dot(along, along).max(f64::MIN_POSITIVE);
        let t = (point::dot(point::sub(p, from), along) / length).clamp(0.0, 1.0);
        let foot = point::add(from, point::scale(along, t));
        let d = point::sub(p, foot);
        let square = point::dot(d, d);
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
            let all = triangles(n);
            let tree = Facets::new(all.clone(), 12.0);
            let numbers: Vec<f64> = scattered(600).collect();
            for c in numbers.chunks_exact(3) {
                let p = [50.0 * c[0], 50.0 * c[1], 50.0 * c[2]];
                let least = all.iter().map(|f| distance_2(f, p)).fold(f64::INFINITY, f64::min);
                assert_eq!(tree.distance_2(p), Some(least));
                for most in [least, 4.0 * least] {
                    let found = all.iter().filter(|f| distance_2(f, p) <= most).count();
                    assert_eq!(tree.within(p, most).count(), found);
                }
            }
        }
        assert_eq!(Facets::new(Vec::new(), 1.0).distance_2([0.0; 3]), None);
        assert_eq!(Facets::new(Vec::new(), 1.0).within([0.0; 3], 9.0).count(), 0);
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
}
