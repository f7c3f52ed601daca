//! Closed rings in a plane: area, centroid, bounding box, and the cleaning that makes a drawn
//! contour a ring. A ring closes itself: its first vertex is not repeated at the end.

/// A point of a plane, mm.
pub type Point2 = [f64; 2];

/// Vertices closer than this are one vertex, mm. Contour Data carry at most 16 characters, so
/// files that repeat a point repeat it exactly or nearly so.
pub const SAME_VERTEX_MM: f64 = 1e-4;

/// Rings of less area enclose nothing, mm².
pub const NO_AREA_MM2: f64 = 1e-9;

/// The two of up to four points that lie farthest from each other.
#[must_use]
pub fn farthest(before: Option<[Point2; 2]>, new: [Point2; 2]) -> [Point2; 2] {
    let Some(old) = before else { return new };
    let square = |[p, q]: [Point2; 2]| (p[0] - q[0]).powi(2) + (p[1] - q[1]).powi(2);
    let mut best = old;
    for pair in [new, [old[0], new[0]], [old[0], new[1]], [old[1], new[0]], [old[1], new[1]]] {
        if square(pair) > square(best) {
            best = pair;
        }
    }
    best
}

/// A smallest and a largest corner, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Smallest u and v.
    pub low: Point2,
    /// Largest u and v.
    pub high: Point2,
}

impl Bounds {
    /// Around no point at all; grows by [`Self::include`].
    pub const EMPTY: Self = Self { low: [f64::INFINITY; 2], high: [f64::NEG_INFINITY; 2] };

    /// Around all `points`.
    #[must_use]
    pub fn of<'a>(points: impl IntoIterator<Item = &'a Point2>) -> Self {
        points.into_iter().fold(Self::EMPTY, |b, p| b.include(*p))
    }

    /// Grown to hold `p`.
    #[must_use]
    pub fn include(self, p: Point2) -> Self {
        Self {
            low: [self.low[0].min(p[0]), self.low[1].min(p[1])],
            high: [self.high[0].max(p[0]), self.high[1].max(p[1])],
        }
    }

    /// Grown to hold `other`.
    #[must_use]
    pub fn union(self, other: Self) -> Self {
        self.include(other.low).include(other.high)
    }

    /// Grown by `margin_mm` on every side.
    #[must_use]
    pub fn grown(self, margin_mm: f64) -> Self {
        Self {
            low: [self.low[0] - margin_mm, self.low[1] - margin_mm],
            high: [self.high[0] + margin_mm, self.high[1] + margin_mm],
        }
    }

    /// Whether the two share a point.
    #[must_use]
    pub fn meets(&self, other: &Self) -> bool {
        (0..2).all(|a| self.low[a] <= other.high[a] && other.low[a] <= self.high[a])
    }

    /// Extent along u and v, mm.
    #[must_use]
    pub fn size(&self) -> [f64; 2] {
        [self.high[0] - self.low[0], self.high[1] - self.low[1]]
    }
}

fn near(p: Point2, q: Point2) -> bool {
    let [u, v] = [p[0] - q[0], p[1] - q[1]];
    u * u + v * v < SAME_VERTEX_MM * SAME_VERTEX_MM
}

/// Without repeated vertices and without a repeated first vertex at the end.
#[must_use]
pub fn clean(points: &[Point2]) -> Vec<Point2> {
    let mut ring: Vec<Point2> = Vec::with_capacity(points.len());
    for &p in points {
        if ring.last().is_none_or(|&q| !near(p, q)) {
            ring.push(p);
        }
    }
    while ring.len() > 1 && near(ring[0], ring[ring.len() - 1]) {
        ring.pop();
    }
    ring
}

/// Signed area by the shoelace formula, mm²: positive when the ring turns counter-clockwise. Right
/// only for a ring that does not cross itself. Summed about the first vertex, so that rings far
/// from the origin keep their digits.
#[must_use]
pub fn signed_area(ring: &[Point2]) -> f64 {
    let Some(&o) = ring.first() else { return 0.0 };
    let cross: f64 = edges(ring)
        .map(|(a, b)| (a[0] - o[0]) * (b[1] - o[1]) - (b[0] - o[0]) * (a[1] - o[1]))
        .sum();
    cross / 2.0
}

/// First moments ∫u dA and ∫v dA of a ring, mm³, signed like its area.
#[must_use]
pub fn moments(ring: &[Point2]) -> Point2 {
    let Some(&o) = ring.first() else { return [0.0; 2] };
    let area = signed_area(ring);
    let mut m = [0.0; 2];
    for (a, b) in edges(ring) {
        let (a, b) = ([a[0] - o[0], a[1] - o[1]], [b[0] - o[0], b[1] - o[1]]);
        let cross = a[0] * b[1] - b[0] * a[1];
        m[0] += cross * (a[0] + b[0]) / 6.0;
        m[1] += cross * (a[1] + b[1]) / 6.0;
    }
    [m[0] + o[0] * area, m[1] + o[1] * area]
}

/// The edges of a ring, the closing one included.
pub fn edges(ring: &[Point2]) -> impl Iterator<Item = (Point2, Point2)> + '_ {
    ring.iter().copied().zip(ring.iter().copied().cycle().skip(1))
}

/// Whether two cleaned rings are the same curve, whatever the start point and the direction.
#[must_use]
pub fn same_ring(a: &[Point2], b: &[Point2]) -> bool {
    if a.len() != b.len() || a.is_empty() {
        return false;
    }
    let n = a.len();
    (0..n).filter(|&s| near(a[0], b[s])).any(|s| {
        (0..n).all(|i| near(a[i], b[(s + i) % n])) || (0..n).all(|i| near(a[i], b[(s + n - i) % n]))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const SQUARE: [Point2; 4] = [[1.0, 1.0], [3.0, 1.0], [3.0, 2.0], [1.0, 2.0]];

    #[test]
    fn area_and_moments_of_a_rectangle() {
        assert_eq!(signed_area(&SQUARE), 2.0);
        assert_eq!(moments(&SQUARE), [4.0, 3.0]);
        let reversed: Vec<_> = SQUARE.iter().rev().copied().collect();
        assert_eq!(signed_area(&reversed), -2.0);
    }

    #[test]
    fn repeated_points_are_dropped() {
        let drawn = [[0.0, 0.0], [0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 0.0]];
        assert_eq!(clean(&drawn), vec![[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]]);
        assert_eq!(clean(&[[2.0, 2.0], [2.0, 2.0]]).len(), 1);
    }

    #[test]
    fn start_and_direction_do_not_matter() {
        let turned = [SQUARE[2], SQUARE[3], SQUARE[0], SQUARE[1]];
        let reversed = [SQUARE[1], SQUARE[0], SQUARE[3], SQUARE[2]];
        assert!(same_ring(&SQUARE, &turned) && same_ring(&SQUARE, &reversed));
        assert!(!same_ring(&SQUARE, &[SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3]]));
    }
}
