//! Uncorrelated noise from voxel to voxel, as doses found by random histories have it: whether a
//! grid has any, how much, and what else it may have been.
//!
//! The second difference along all three axes one after another leaves almost nothing of a smooth
//! dose and multiplies the standard deviation of independent voxels by √(6·6·6). A steep dose on a
//! coarse grid leaves something too, but with the sign of its neighbours; independent voxels give
//! neighbours that differ in sign in arccos(−2/3)/π = 73 of 100 pairs. Both must show: the size,
//! by the median over the voxels above a tenth of the maximum (a jump of the dose is no noise), and
//! the signs. Correlated noise, as of a smoothed grid, is not seen.

use ndarray::Array3;

use super::field::{DoseField, Interpolation};
use tidydose_rt::Dose;

/// What a noisy grid is like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Standard deviation of one voxel, Gy.
    pub deviation_gy: f64,
    /// Typical error of straight lines between voxels above half the maximum, Gy: a twelfth of
    /// the second differences, without what noise adds to them.
    pub bend_gy: f64,
}

/// Standard deviation of the threefold second difference of independent voxels of deviation 1.
const THREEFOLD: f64 = 14.696_938_456_699_069;
/// A median of absolute values of a normal variable of deviation 1.
const MEDIAN: f64 = 0.674_489_750_196_081_7;
/// Voxels above this share of the maximum are looked at.
const FROM_SHARE: f64 = 0.1;
/// Noise below this share of the maximum is not worth a name: the doubt of other causes is larger.
const LEAST_SHARE: f64 = 2e-3;
/// At least this share of neighbouring pairs differ in sign (73 in 100 are expected) ...
const PAIRS_SHARE: f64 = 0.66;
/// ... of at least this many, when 0.66 is more than three standard deviations below.
const LEAST_PAIRS: usize = 900;
/// About as many voxels are looked at.
const SAMPLE: usize = 200_000;

impl Noise {
    /// Looks for noise in a dose. Absent when there is none, or too few voxels to tell.
    #[must_use]
    pub fn of(dose: &Dose) -> Option<Self> {
        let values = &dose.values;
        let (planes, rows, columns) = values.dim();
        if planes.min(rows).min(columns) < 4 {
            return None;
        }
        let maximum = f64::from(values.iter().copied().fold(0.0, f32::max));
        let level = FROM_SHARE * maximum;
        let mut sizes: Vec<f64> = Vec::new();
        let (mut pairs, mut opposite) = (0_usize, 0_usize);
        #[allow(clippy::cast_possible_truncation)] // voxels are single precision
        let hot = values.iter().filter(|v| **v >= level as f32).count();
        let every = (hot / SAMPLE).max(1);
        for k in (1..planes - 2).step_by(every) {
            for i in 1..rows - 2 {
                for j in 1..columns - 2 {
                    if f64::from(values[[k, i, j]]) < level {
                        continue;
                    }
                    let own = threefold(values, [k, i, j]);
                    sizes.push(own.abs());
                    for next in [[k + 1, i, j], [k, i + 1, j], [k, i, j + 1]] {
                        if f64::from(values[next]) >= level {
                            pairs += 1;
                            opposite += usize::from(own * threefold(values, next) < 0.0);
                        }
                    }
                }
            }
        }
        let deviation_gy = median(&mut sizes)? / MEDIAN / THREEFOLD;
        #[allow(clippy::cast_precision_loss)] // counts of voxels
        let alternates = opposite as f64 >= PAIRS_SHARE * pairs as f64;
        let seen = pairs >= LEAST_PAIRS && alternates && deviation_gy > LEAST_SHARE * maximum;
        seen.then(|| Self { deviation_gy, bend_gy: bend(values, maximum, deviation_gy) })
    }

    /// The interpolation that errs less. Straight lines halve the deviation between voxels, where
    /// the spline keeps most of it, but cut what is bent, and that the same way in every voxel,
    /// while noise averages out: over the ten voxels or more of the smallest surface to a third.
    /// They are taken where the bend is less than that. A method asked for by name stays.
    #[must_use]
    pub fn interpolation(self, asked: Interpolation) -> Interpolation {
        match asked {
            Interpolation::CubicBSpline if self.bend_gy < self.deviation_gy / 3.0 => {
                Interpolation::Trilinear
            }
            other => other,
        }
    }

    /// The dose with `times` as much noise once more, by a repeatable draw.
    #[must_use]
    pub fn again(self, dose: &Dose, times: f64, draw: u64, method: Interpolation) -> DoseField {
        let deviation_gy = times * self.deviation_gy;
        let mut normal = Normal { state: draw.wrapping_mul(0xA076_1D64_78BD_642F), spare: None };
        #[allow(clippy::cast_possible_truncation)] // voxels are single precision
        let values = dose.values.mapv(|v| v + (deviation_gy * normal.next()) as f32);
        DoseField::new(Dose { values, ..dose.clone() }, method)
    }
}

/// The dose as it would be at voxel centres if the voxels hold means over their volume: less a
/// 24th of the second differences. Grids of random histories are such means.
#[must_use]
pub fn without_averaging(dose: &Dose, method: Interpolation) -> DoseField {
    let source = &dose.values;
    let values = Array3::from_shape_fn(source.raw_dim(), |(k, i, j)| {
        let mut bend = 0.0;
        for axis in 0..3 {
            bend += second(source, [k, i, j], axis).unwrap_or(0.0);
        }
        #[allow(clippy::cast_possible_truncation)] // voxels are single precision
        let sharpened = source[[k, i, j]] - (bend / 24.0) as f32;
        sharpened
    });
    DoseField::new(Dose { values, ..dose.clone() }, method)
}

fn second(values: &Array3<f32>, node: [usize; 3], axis: usize) -> Option<f64> {
    let (mut before, mut after) = (node, node);
    before[axis] = node[axis].checked_sub(1)?;
    after[axis] += 1;
    let [a, m, b] = [before, node, after].map(|n| values.get(n).copied().map(f64::from));
    Some(a? - 2.0 * m? + b?)
}

/// The second difference along all three axes; the node has neighbours on all sides.
fn threefold(values: &Array3<f32>, [k, i, j]: [usize; 3]) -> f64 {
    const WEIGHTS: [f64; 3] = [1.0, -2.0, 1.0];
    let mut sum = 0.0;
    for (a, wa) in WEIGHTS.iter().enumerate() {
        for (b, wb) in WEIGHTS.iter().enumerate() {
            for (c, wc) in WEIGHTS.iter().enumerate() {
                sum += wa * wb * wc * f64::from(values[[k + a - 1, i + b - 1, j + c - 1]]);
            }
        }
    }
    sum
}

fn median(of: &mut [f64]) -> Option<f64> {
    let middle = of.len() / 2;
    (!of.is_empty()).then(|| *of.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Root mean square of a twelfth of the Laplacian above half the maximum; independent voxels alone
/// would give √42/12 of their deviation.
fn bend(values: &Array3<f32>, maximum: f64, deviation_gy: f64) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for ((k, i, j), v) in values.indexed_iter() {
        if f64::from(*v) >= maximum / 2.0 {
            let along = [0, 1, 2].map(|axis| second(values, [k, i, j], axis));
            if let [Some(a), Some(b), Some(c)] = along {
                sum += ((a + b + c) / 12.0).powi(2);
                count += 1.0;
            }
        }
    }
    if count > 0.0 {
        (sum / count - 42.0 * (deviation_gy / 12.0).powi(2)).max(0.0).sqrt()
    } else {
        0.0
    }
}

/// Normal numbers from a counter: the mixing function of SplitMix64 (Steele, Lea and Flood 2014,
/// from memory) and the polar form of Box and Muller.
struct Normal {
    state: u64,
    spare: Option<f64>,
}

impl Normal {
    fn uniform(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        #[allow(clippy::cast_precision_loss)] // 53 bits
        let unit = ((z ^ (z >> 31)) >> 11) as f64 / 9_007_199_254_740_992.0;
        2.0 * unit - 1.0
    }

    fn next(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (x, y) = (self.uniform(), self.uniform());
            let square = x * x + y * y;
            if square > 0.0 && square < 1.0 {
                let scale = (-2.0 * square.ln() / square).sqrt();
                self.spare = Some(y * scale);
                return x * scale;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_geometry::Grid;
    use tidydose_geometry::units::Gray;

    fn dose(n: usize, width: f64, peak: f64) -> Dose {
        let directions = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        #[allow(clippy::cast_precision_loss)]
        let offsets = (0..n).map(|k| k as f64).collect();
        let grid = Grid::new([0.0; 3], directions, [1.0; 2], offsets, [n, n]).unwrap();
        #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)]
        let values = Array3::from_shape_fn([n; 3], |(k, i, j)| {
            let centre = n as f64 / 2.0 + 0.2;
            let square: f64 = [k, i, j].iter().map(|x| (*x as f64 - centre).powi(2)).sum();
            (peak * (-square / (2.0 * width * width)).exp()) as f32
        });
        Dose { grid, values, step: Gray::gy(1e-6) }
    }

    fn noisy(dose: &Dose, deviation_gy: f64, draw: u64) -> Dose {
        let noise = Noise { deviation_gy, bend_gy: 0.0 };
        let values = noise.again(dose, 1.0, draw, Interpolation::Trilinear).values().clone();
        Dose { values, ..dose.clone() }
    }

    /// Widths from less than a voxel (a grid too coarse for its dose) to a wide field; stored in
    /// steps as 16 bits would be.
    #[test]
    fn smooth_doses_have_no_noise() {
        for width in [0.6, 0.8, 1.0, 1.5, 2.4, 5.0, 9.0] {
            let d = dose(40, width, 30.0);
            assert_eq!(Noise::of(&d), None, "{width}");
            let step = 30.0 / 65_535.0;
            let values = d.values.mapv(|v| (v / step).round() * step);
            assert_eq!(Noise::of(&Dose { values, ..d }), None, "{width} in steps");
        }
    }

    #[test]
    fn jumps_are_no_noise() {
        let d = dose(40, 6.0, 30.0);
        for (low, high) in [(0.0, 18.0), (10.0, 40.0)] {
            let cut = |v: f32| if v < low { 0.0 } else { v.min(high) };
            assert_eq!(Noise::of(&Dose { values: d.values.mapv(cut), ..d.clone() }), None);
        }
        let binary = |v: f32| if v < 15.0 { 0.0 } else { 20.0 };
        assert_eq!(Noise::of(&Dose { values: d.values.mapv(binary), ..d.clone() }), None);
    }

    /// The standard error of a deviation from some 1000 dependent voxels is a few percent.
    #[test]
    fn noise_of_one_and_two_percent_is_found_and_sized() {
        for (width, deviation) in [(2.4, 0.3), (2.4, 0.6), (5.0, 0.3), (9.0, 0.15)] {
            for draw in 1..6 {
                let found = Noise::of(&noisy(&dose(40, width, 30.0), deviation, draw)).unwrap();
                let share = found.deviation_gy / deviation;
                assert!((0.85..1.2).contains(&share), "{width} {deviation} {draw}: {share}");
            }
        }
    }

    #[test]
    fn straight_lines_are_taken_where_the_dose_is_hardly_bent() {
        let small = Noise::of(&noisy(&dose(40, 2.4, 30.0), 0.3, 1)).unwrap();
        assert_eq!(small.interpolation(Interpolation::CubicBSpline), Interpolation::CubicBSpline);
        let wide = Noise::of(&noisy(&dose(40, 12.0, 30.0), 0.3, 1)).unwrap();
        assert_eq!(wide.interpolation(Interpolation::CubicBSpline), Interpolation::Trilinear);
        assert_eq!(wide.interpolation(Interpolation::Tricubic), Interpolation::Tricubic);
    }

    #[test]
    fn draws_are_normal_and_repeatable() {
        let flat = dose(40, 1e6, 30.0);
        let a = noisy(&flat, 1.0, 1);
        assert_eq!(a.values, noisy(&flat, 1.0, 1).values);
        assert_ne!(a.values, noisy(&flat, 1.0, 2).values);
        let n = f64::from(40 * 40 * 40);
        let mean = a.values.iter().map(|v| f64::from(*v) - 30.0).sum::<f64>() / n;
        let square = a.values.iter().map(|v| (f64::from(*v) - 30.0).powi(2)).sum::<f64>() / n;
        // Four standard errors of each: 1/√n and √(2/n).
        assert!(mean.abs() < 4.0 / n.sqrt() && (square - 1.0).abs() < 4.0 * (2.0 / n).sqrt());
    }

    /// The mean of a Gaussian over voxels, to second order, is undone to the fourth order.
    #[test]
    fn averaging_over_voxels_is_undone() {
        let d = dose(30, 3.0, 30.0);
        let averaged = Array3::from_shape_fn(d.values.raw_dim(), |(k, i, j)| {
            let bend: f64 = [0, 1, 2].iter().filter_map(|a| second(&d.values, [k, i, j], *a)).sum();
            #[allow(clippy::cast_possible_truncation)]
            let v = d.values[[k, i, j]] + (bend / 24.0) as f32;
            v
        });
        let back =
            without_averaging(&Dose { values: averaged, ..d.clone() }, Interpolation::Trilinear);
        let far = |a: &Array3<f32>| {
            a.iter().zip(&d.values).map(|(x, y)| (x - y).abs()).fold(0.0, f32::max)
        };
        assert!(far(back.values()) < 0.05, "{}", far(back.values()));
    }
}
