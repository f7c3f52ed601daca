//! The cumulative dose-volume histogram: volume receiving at least a dose, and the dose received by
//! at least a volume, from samples in bins so narrow that they do not show (`bins.rs`).

use super::bins::Level;
use super::sample::Samples;

/// A cumulative dose-volume histogram of one structure.
///
/// Between neighbouring samples the curve is a straight line through the middle of each sample's
/// volume; above the hottest and below the coldest sample it is flat.
#[derive(Debug, Clone, PartialEq)]
pub struct Dvh {
    /// Descending in dose.
    curve: Vec<Step>,
    volume_mm3: f64,
    mean_gy: f64,
    deviation_gy: f64,
    extremes_gy: [f64; 2],
    summit_gy: f64,
    surface_gy: [f64; 2],
    /// Mean dose (Gy) and volume (mm³) of neighbouring samples, descending.
    bundles: Vec<(f64, f64)>,
}

/// Doses that lie next to each other as one sample.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Step {
    /// Their mean.
    dose_gy: f32,
    /// Volume of all before these and half of these, mm³.
    middle_mm3: f64,
    /// How many samples were taken before the middle of these.
    before: u64,
}

/// Standard deviation of what is spread evenly over one cell: 1/√12.
const CELL_CHANCE: f64 = 0.288_7;

/// Samples are bundled while they differ by less than this in dose, Gy ...
const BUNDLE_GY: f64 = 0.02;
/// ... and by less than this share of it.
const BUNDLE_SHARE: f64 = 0.002;

/// Samples by descending dose as few bundles: for sums of smooth functions of the dose, whose error
/// is of second order in the width of a bundle.
fn bundles(parts: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = Vec::new();
    let mut top = f64::INFINITY;
    for (d, v) in parts {
        match out.last_mut() {
            Some(last) if top - d <= BUNDLE_GY.min(BUNDLE_SHARE * top.abs()) => {
                last.0 += d * v;
                last.1 += v;
            }
            _ => {
                top = d;
                out.push((d * v, v));
            }
        }
    }
    // Until here each dose is that times its volume; without volume there is nothing to add up.
    out.retain(|(_, volume)| *volume > 0.0);
    out.iter_mut().for_each(|(sum, volume)| *sum /= *volume);
    out
}

impl Dvh {
    /// The histogram of samples; absent when no volume was sampled.
    #[must_use]
    pub fn of(samples: &Samples) -> Option<Self> {
        let &Samples { extremes_gy, summit_gy, surface_gy, ref doses, .. } = samples;
        let [mean_gy, mean_square] = doses.means()?;
        let (mut curve, mut before, mut count) = (Vec::new(), 0.0, 0);
        for Level { dose_gy, volume_mm3, samples } in doses.descending() {
            #[allow(clippy::cast_possible_truncation)] // what is exactly 20 Gy stays so
            let dose_gy = dose_gy as f32;
            let middle_mm3 = before + volume_mm3 / 2.0;
            curve.push(Step { dose_gy, middle_mm3, before: count + u64::from(samples / 2) });
            before += volume_mm3;
            count += u64::from(samples);
        }
        Some(Self {
            bundles: bundles(doses.descending().map(|l| (l.dose_gy, l.volume_mm3))),
            curve,
            volume_mm3: before,
            mean_gy,
            deviation_gy: (mean_square - mean_gy * mean_gy).max(0.0).sqrt(),
            extremes_gy,
            summit_gy,
            surface_gy,
        })
    }

    /// The same histogram with every dose raised by `by_gy`.
    #[must_use]
    pub fn raised(&self, by_gy: f64) -> Self {
        #[allow(clippy::cast_possible_truncation)] // samples are stored in single precision
        let by = by_gy as f32;
        let mut out = self.clone();
        out.curve.iter_mut().for_each(|step| step.dose_gy += by);
        out.bundles.iter_mut().for_each(|b| b.0 += by_gy);
        out.mean_gy += by_gy;
        out.extremes_gy = out.extremes_gy.map(|d| d + by_gy);
        out
    }

    /// The same histogram with what its cells leave open: smallest and largest dose as much further
    /// out as the place of the surface in a cell may move them, and volumes larger by the chance with
    /// which cells fall to either side of an isodose.
    ///
    /// That chance is one of the cells on the isodose: n^⅔ of a volume of n cells, each evenly off by
    /// up to half a cell to either side, so a share of 1/√12 · n^−⅔ (own derivation). Most cells have
    /// two samples, and where the dose is steep each part of a cell counts as one.
    #[must_use]
    pub fn with_cells_left_open(&self) -> Self {
        let mut out = self.clone();
        let [least, most] = self.surface_gy;
        out.extremes_gy = [out.extremes_gy[0] - least, out.extremes_gy[1] + most];
        let mut reached = 0.0;
        for step in &mut out.curve {
            #[allow(clippy::cast_precision_loss)] // samples of a structure
            let cells = (step.before as f64 / 2.0).max(1.0);
            let larger = step.middle_mm3 * (1.0 + CELL_CHANCE / (cells * cells).cbrt());
            // Small cells among large ones must not turn the curve around.
            reached = larger.min(self.volume_mm3).max(reached);
            step.middle_mm3 = reached;
        }
        out
    }

    /// The same histogram with the largest dose raised once more by what it rises above the voxels
    /// around it: a peak between voxels that is sharper than the interpolation knows.
    #[must_use]
    pub fn with_sharper_summit(&self) -> Self {
        let mut out = self.clone();
        out.extremes_gy[1] += self.summit_gy;
        out
    }

    /// Doses (Gy, descending) with the volumes (mm³) that receive them, in few parts: for sums over
    /// the structure of a smooth function of the dose.
    pub fn parts(&self) -> std::iter::Copied<std::slice::Iter<'_, (f64, f64)>> {
        self.bundles.iter().copied()
    }

    /// Sampled volume, mm³.
    #[must_use]
    pub const fn volume_mm3(&self) -> f64 {
        self.volume_mm3
    }

    /// Volume-weighted mean dose, Gy.
    #[must_use]
    pub const fn mean_gy(&self) -> f64 {
        self.mean_gy
    }

    /// Standard deviation of the dose over the volume, Gy.
    #[must_use]
    pub const fn deviation_gy(&self) -> f64 {
        self.deviation_gy
    }

    /// Smallest dose found anywhere in the structure, Gy.
    #[must_use]
    pub const fn min_gy(&self) -> f64 {
        self.extremes_gy[0]
    }

    /// Largest dose found anywhere in the structure, Gy.
    #[must_use]
    pub const fn max_gy(&self) -> f64 {
        self.extremes_gy[1]
    }

    /// Volume that receives at least `dose_gy`, mm³.
    #[must_use]
    pub fn volume_at_dose(&self, dose_gy: f64) -> f64 {
        // Samples stand for a spread of doses and may lie a little beyond the largest one.
        if dose_gy > self.max_gy() {
            return 0.0;
        }
        // First sample below the dose; the curve crosses between it and the one before.
        let i = self.curve.partition_point(|step| f64::from(step.dose_gy) >= dose_gy);
        if i == 0 {
            return self.toward_end(0, dose_gy);
        }
        if i == self.curve.len() {
            return if dose_gy <= self.min_gy() {
                self.volume_mm3
            } else {
                self.toward_end(i - 1, dose_gy)
            };
        }
        let (step, next) = (self.curve[i - 1], self.curve[i]);
        let (above, below) = (f64::from(step.dose_gy), f64::from(next.dose_gy));
        let share = if above > below { (above - dose_gy) / (above - below) } else { 1.0 };
        step.middle_mm3 + share * (next.middle_mm3 - step.middle_mm3)
    }

    /// Between the outermost sample and the extreme dose beyond it.
    fn toward_end(&self, step: usize, dose_gy: f64) -> f64 {
        let Step { dose_gy: at, middle_mm3, .. } = self.curve[step];
        let at = f64::from(at);
        let hot = dose_gy > at;
        let (end_dose, end_volume) =
            if hot { (self.max_gy(), 0.0) } else { (self.min_gy(), self.volume_mm3) };
        let share =
            if (end_dose - at).abs() > 0.0 { (dose_gy - at) / (end_dose - at) } else { 0.0 };
        middle_mm3 + share.clamp(0.0, 1.0) * (end_volume - middle_mm3)
    }

    /// Largest dose that at least `volume_mm3` receives, Gy; absent when the structure is smaller.
    #[must_use]
    pub fn dose_at_volume(&self, volume_mm3: f64) -> Option<f64> {
        if !(volume_mm3 >= 0.0 && volume_mm3 <= self.volume_mm3 * (1.0 + 1e-9)) {
            return None;
        }
        let i = self.curve.partition_point(|step| step.middle_mm3 < volume_mm3);
        let between = |a: (f64, f64), b: (f64, f64)| {
            let share = if b.0 > a.0 { (volume_mm3 - a.0) / (b.0 - a.0) } else { 0.0 };
            a.1 + share.clamp(0.0, 1.0) * (b.1 - a.1)
        };
        let at = |i: usize| (self.curve[i].middle_mm3, f64::from(self.curve[i].dose_gy));
        let dose_gy = match i {
            0 => between((0.0, self.max_gy()), at(0)),
            i if i == self.curve.len() => between(at(i - 1), (self.volume_mm3, self.min_gy())),
            i => between(at(i - 1), at(i)),
        };
        // Samples stand for a spread of doses and may lie a little beyond the extremes.
        Some(dose_gy.max(self.min_gy()).min(self.max_gy()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dvh(parts: &[(f32, f32)]) -> Dvh {
        let parts = parts.iter().map(|(dose, volume)| (f64::from(*dose), f64::from(*volume)));
        let low = parts.clone().map(|p| p.0).fold(f64::INFINITY, f64::min);
        let high = parts.clone().map(|p| p.0).fold(f64::NEG_INFINITY, f64::max);
        let samples =
            Samples { doses: parts.collect(), extremes_gy: [low, high], ..Samples::default() };
        Dvh::of(&samples).unwrap()
    }

    #[test]
    fn a_uniform_ramp_is_a_straight_line() {
        #[allow(clippy::cast_precision_loss)]
        let parts: Vec<(f32, f32)> = (0..1000).map(|i| ((i as f32 + 0.5) / 100.0, 0.5)).collect();
        let h = dvh(&parts);
        assert!((h.volume_mm3() - 500.0).abs() < 1e-9);
        for d in [0.5, 2.0, 7.3, 9.9] {
            assert!((h.volume_at_dose(d) - 500.0 * (1.0 - d / 10.0)).abs() < 1e-3, "{d}");
            let v = 500.0 * (1.0 - d / 10.0);
            assert!((h.dose_at_volume(v).unwrap() - d).abs() < 1e-4, "{d}");
        }
        assert!((h.mean_gy() - 5.0).abs() < 1e-6);
        assert!((h.deviation_gy() - 10.0 / 12.0_f64.sqrt()).abs() < 1e-4);
    }

    #[test]
    fn more_volume_than_there_is_has_no_dose() {
        let h = dvh(&[(10.0, 14.0)]);
        assert_eq!(h.dose_at_volume(30.0), None);
        assert_eq!(h.dose_at_volume(14.0), Some(10.0));
        assert_eq!(h.volume_at_dose(10.1), 0.0);
        assert_eq!(h.volume_at_dose(10.0), 14.0);
        assert_eq!(h.volume_at_dose(9.9), 14.0);
    }

    /// Powers of an even spread from 0.5 to 40 Gy: ∫ Dᵃ in closed form, to 1e-4 of it though the
    /// sum has a hundredth of the samples.
    #[test]
    fn few_parts_have_the_sums_of_all_samples() {
        let n = 200_000;
        #[allow(clippy::cast_precision_loss)]
        let at = |i: i32| (0.5 + 39.5 * (f64::from(i) + 0.5) / f64::from(n)) as f32;
        let parts: Vec<(f32, f32)> = (0..n).map(|i| (at(i), 0.01)).collect();
        let h = dvh(&parts);
        assert!(h.parts().len() < 4000, "{}", h.parts().len());
        for a in [-10.0, 1.0, 2.0, 20.0_f64] {
            let sum: f64 = h.parts().map(|(d, v)| v * d.powf(a)).sum::<f64>() / h.volume_mm3();
            let exact = (40.0_f64.powf(a + 1.0) - 0.5_f64.powf(a + 1.0)) / (a + 1.0) / 39.5;
            assert!((sum / exact - 1.0).abs() < 1e-3, "{a}: {sum} {exact}");
        }
    }

    #[test]
    fn nothing_sampled_is_no_histogram() {
        let none = Samples { outside_mm3: 5.0, ..Samples::default() };
        assert_eq!(Dvh::of(&none), None);
    }
}
