//! Weights of the four grid nodes around a point, per axis, for each named interpolation.
//!
//! All methods are written as one cubic polynomial per node and interval, so that one kernel of
//! 4 × 4 × 4 nodes evaluates any of them. Intervals may differ in length (planes of a dose grid
//! need not be evenly spaced).

/// Polynomial coefficients: `weights[node][power]` of the local coordinate t in 0..1 within the
/// interval, for the nodes before, at the start, at the end and after it.
pub type Weights = [[f64; 4]; 4];

/// Which interpolation the weights are for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kernel {
    /// Straight lines between nodes.
    Linear,
    /// Cubic Hermite with the tangents of parabolas through three nodes (Catmull-Rom when evenly
    /// spaced): local, one continuous derivative.
    Hermite,
    /// Cubic B-spline; the nodes carry coefficients, not values: two continuous derivatives.
    BSpline,
}

/// One axis of a grid: its nodes and the weights of every interval.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    nodes: Vec<f64>,
    step: Option<f64>,
    /// First and last position at which there is a value.
    reach: [f64; 2],
    intervals: Vec<Weights>,
}

/// Spacings that agree within this share are even: the positions are decimal strings.
const EVEN_SHARE: f64 = 1e-4;

impl Axis {
    /// An axis through increasing `nodes`.
    #[must_use]
    pub fn new(nodes: Vec<f64>, kernel: Kernel) -> Self {
        let gaps: Vec<f64> = nodes.windows(2).map(|w| w[1] - w[0]).collect();
        #[allow(clippy::cast_precision_loss)] // node counts are far below 2^52
        let mean = gaps.iter().sum::<f64>() / gaps.len().max(1) as f64;
        let even = gaps.iter().all(|g| (g - mean).abs() <= EVEN_SHARE * mean);
        let step = (even && !gaps.is_empty()).then_some(mean);
        let intervals = if even {
            vec![weights(&[1.0, 1.0, 1.0, 1.0, 1.0], kernel)]
        } else {
            let at = |i: isize| {
                let i = i.clamp(0, isize::try_from(gaps.len()).unwrap_or(1) - 1);
                gaps[usize::try_from(i).unwrap_or(0)]
            };
            (0..gaps.len())
                .map(|i| {
                    let i = isize::try_from(i).unwrap_or(0);
                    weights(&[at(i - 2), at(i - 1), at(i), at(i + 1), at(i + 2)], kernel)
                })
                .collect()
        };
        let half = |gap: Option<&f64>| gap.copied().unwrap_or(1.0) * 0.5 + 1e-9;
        let ends = [nodes.first(), nodes.last()].map(|n| n.copied().unwrap_or(f64::NAN));
        let reach = [ends[0] - half(gaps.first()), ends[1] + half(gaps.last())];
        Self { nodes, step, reach, intervals }
    }

    /// Number of nodes.
    #[must_use]
    pub fn len(&self) -> usize {
        self.nodes.len()
    }

    /// Whether there is no node.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.nodes.is_empty()
    }

    /// Position of node `i`; the last one when there are fewer.
    #[must_use]
    pub fn node(&self, i: usize) -> f64 {
        self.nodes.get(i).or(self.nodes.last()).copied().unwrap_or(0.0)
    }

    /// Whether the nodes are evenly spaced.
    #[must_use]
    pub const fn is_even(&self) -> bool {
        self.step.is_some()
    }

    /// The weights of an interval.
    #[must_use]
    #[inline]
    pub fn interval(&self, i: usize) -> &Weights {
        &self.intervals[self.shape_of(i)]
    }

    /// Intervals with the same number have the same weights.
    #[must_use]
    #[inline]
    pub const fn shape_of(&self, i: usize) -> usize {
        if self.intervals.len() == 1 { 0 } else { i }
    }

    /// Length of an interval, in the unit of the nodes.
    #[must_use]
    #[inline]
    pub fn gap(&self, i: usize) -> f64 {
        match self.step {
            Some(step) => step,
            None if self.nodes.len() > i + 1 => self.nodes[i + 1] - self.nodes[i],
            None => 1.0,
        }
    }

    /// Interval and local coordinate of a position; positions up to half an interval outside the
    /// nodes are taken at the border (the border voxels reach that far), others have none.
    #[must_use]
    #[inline]
    pub fn locate(&self, x: f64) -> Option<(usize, f64)> {
        if !(self.reach[0]..=self.reach[1]).contains(&x) {
            return None;
        }
        let (first, last) = (*self.nodes.first()?, *self.nodes.last()?);
        let n = self.nodes.len();
        if n == 1 {
            return Some((0, 0.0));
        }
        let x = x.clamp(first, last);
        if let Some(step) = self.step {
            let s = (x - first) / step;
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
            let i = (s as usize).min(n - 2);
            #[allow(clippy::cast_precision_loss)] // node counts are far below 2^52
            return Some((i, (s - i as f64).clamp(0.0, 1.0)));
        }
        let i = self.nodes.partition_point(|t| *t <= x).clamp(1, n - 1) - 1;
        Some((i, (x - self.nodes[i]) / (self.nodes[i + 1] - self.nodes[i])))
    }
}

/// A position on an axis: its interval, and the weights of the four nodes around it for the value
/// and for the slope.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Place {
    /// The node before it, which is also the first of the four where each axis has one node more at
    /// either end.
    pub node: usize,
    /// Weights for the value.
    pub weights: [f64; 4],
    /// Weights for the slope, per unit of the nodes.
    pub slopes: [f64; 4],
}

impl Place {
    /// The place of a position; absent outside the axis.
    #[must_use]
    #[inline]
    pub fn on(axis: &Axis, x: f64) -> Option<Self> {
        let (node, t) = axis.locate(x)?;
        let (interval, per_unit) = (axis.interval(node), 1.0 / axis.gap(node));
        let slopes = slope(interval, t).map(|s| s * per_unit);
        Some(Self { node, weights: at(interval, t), slopes })
    }

    /// The same without the weights for the slope, which cost as much again.
    #[must_use]
    #[inline]
    pub fn for_value(axis: &Axis, x: f64) -> Option<Self> {
        let (node, t) = axis.locate(x)?;
        Some(Self { node, weights: at(axis.interval(node), t), slopes: [0.0; 4] })
    }

    /// What four numbers amount to here.
    #[must_use]
    #[inline]
    pub fn value(&self, four: [f64; 4]) -> f64 {
        weighted(&self.weights, four)
    }

    /// How they change here, per unit of the nodes.
    #[must_use]
    #[inline]
    pub fn slope(&self, four: [f64; 4]) -> f64 {
        weighted(&self.slopes, four)
    }
}

#[inline]
fn weighted(weights: &[f64; 4], four: [f64; 4]) -> f64 {
    let [a, b, c, d] = *weights;
    a * four[0] + b * four[1] + c * four[2] + d * four[3]
}

/// Values of the four polynomials at `t`.
#[must_use]
#[inline]
pub fn at(w: &Weights, t: f64) -> [f64; 4] {
    w.map(|c| c[0] + t * (c[1] + t * (c[2] + t * c[3])))
}

/// Their derivatives by `t`.
#[must_use]
#[inline]
pub fn slope(w: &Weights, t: f64) -> [f64; 4] {
    w.map(|c| c[1] + t * (2.0 * c[2] + 3.0 * t * c[3]))
}

/// Weights of the middle one of five intervals of the given lengths.
fn weights(gaps: &[f64; 5], kernel: Kernel) -> Weights {
    match kernel {
        Kernel::Linear => [[0.0; 4], [1.0, -1.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0; 4]],
        Kernel::Hermite => hermite(gaps),
        Kernel::BSpline => b_spline(gaps),
    }
}

/// Hermite interpolation: the tangent at a node is that of the parabola through it and its two
/// neighbours.
fn hermite(gaps: &[f64; 5]) -> Weights {
    let (a, h, b) = (gaps[1], gaps[2], gaps[3]);
    // Tangents times h, as weights of the four nodes.
    let start = [-h * h / (a * (a + h)), h * (h - a) / (a * h), h * a / (h * (a + h)), 0.0];
    let end = [0.0, -h * b / (h * (h + b)), h * (b - h) / (h * b), h * h / (b * (h + b))];
    let mut w = [[0.0; 4]; 4];
    for (node, row) in w.iter_mut().enumerate() {
        let (p0, p1) = (f64::from(node == 1), f64::from(node == 2));
        let (m0, m1) = (start[node], end[node]);
        row[0] = p0;
        row[1] = m0;
        row[2] = -3.0 * p0 + 3.0 * p1 - 2.0 * m0 - m1;
        row[3] = 2.0 * p0 - 2.0 * p1 + m0 + m1;
    }
    w
}

/// Cubic B-spline basis on the knots around the middle interval: the recursion of Cox and de Boor,
/// sampled at four points and turned into coefficients of powers.
fn b_spline(gaps: &[f64; 5]) -> Weights {
    let mut knots = [0.0; 6];
    for i in 0..5 {
        knots[i + 1] = knots[i] + gaps[i];
    }
    let h = gaps[2];
    let sampled = [0.0, 1.0 / 3.0, 2.0 / 3.0, 1.0].map(|t| cox_de_boor(&knots, knots[2] + t * h));
    let mut w = [[0.0; 4]; 4];
    for (node, row) in w.iter_mut().enumerate() {
        let [a, b, c, d] = [0, 1, 2, 3].map(|i| sampled[i][node]);
        *row = [
            a,
            (-11.0 * a + 18.0 * b - 9.0 * c + 2.0 * d) / 2.0,
            (18.0 * a - 45.0 * b + 36.0 * c - 9.0 * d) / 2.0,
            (-9.0 * a + 27.0 * b - 27.0 * c + 9.0 * d) / 2.0,
        ];
    }
    w
}

/// The four cubic basis functions that do not vanish between `knots[2]` and `knots[3]`.
fn cox_de_boor(knots: &[f64; 6], x: f64) -> [f64; 4] {
    let mut n = [1.0, 0.0, 0.0, 0.0];
    for degree in 1..4 {
        let mut saved = 0.0;
        for r in 0..degree {
            let (right, left) = (knots[3 + r], knots[3 + r - degree]);
            let part = n[r] / (right - left);
            n[r] = saved + (right - x) * part;
            saved = (x - left) * part;
        }
        n[degree] = saved;
    }
    n
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The uniform cubic B-spline is (1, 4, 1)/6 at its knots and (1, 23, 23, 1)/48 half way
    /// (textbook values, from memory).
    #[test]
    fn uniform_b_spline_has_textbook_values() {
        let w = weights(&[2.0; 5], Kernel::BSpline);
        for (got, want) in at(&w, 0.0).iter().zip([1.0 / 6.0, 4.0 / 6.0, 1.0 / 6.0, 0.0]) {
            assert!((got - want).abs() < 1e-14);
        }
        for (got, want) in at(&w, 0.5).iter().zip([1.0, 23.0, 23.0, 1.0].map(|x| x / 48.0)) {
            assert!((got - want).abs() < 1e-14);
        }
    }

    #[test]
    fn weights_sum_to_one_on_uneven_nodes() {
        for kernel in [Kernel::Linear, Kernel::Hermite, Kernel::BSpline] {
            let w = weights(&[1.0, 0.5, 2.0, 3.0, 0.7], kernel);
            for t in [0.0, 0.3, 0.9, 1.0] {
                assert!((at(&w, t).iter().sum::<f64>() - 1.0).abs() < 1e-12);
                assert!(slope(&w, t).iter().sum::<f64>().abs() < 1e-12);
            }
        }
    }

    #[test]
    fn hermite_reproduces_parabolas_on_uneven_nodes() {
        let gaps = [1.0, 0.5, 2.0, 3.0, 0.7];
        let x = [-0.5, 0.0, 2.0, 5.0];
        let w = weights(&gaps, Kernel::Hermite);
        let f = |x: f64| 1.0 + 2.0 * x - 0.7 * x * x;
        for t in [0.0, 0.25, 0.8, 1.0] {
            let got: f64 = at(&w, t).iter().zip(x).map(|(w, x)| w * f(x)).sum();
            assert!((got - f(2.0 * t)).abs() < 1e-12);
        }
    }

    #[test]
    fn half_a_voxel_outside_counts_as_the_border() {
        let a = Axis::new(vec![0.0, 2.0, 4.0], Kernel::Linear);
        assert_eq!(a.locate(-1.0), Some((0, 0.0)));
        assert_eq!(a.locate(5.0), Some((1, 1.0)));
        assert_eq!(a.locate(-1.01), None);
        let uneven = Axis::new(vec![0.0, 1.0, 4.0], Kernel::Linear);
        assert!(!uneven.is_even());
        assert_eq!(uneven.locate(2.5), Some((1, 0.5)));
    }
}
