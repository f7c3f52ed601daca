//! A solid of revolution in a radial dose: one quadrature over the area common to two discs.

use std::f64::consts::PI;

use super::{Radial, disc_lens};
use crate::phantom::numeric::integral;

/// A solid of revolution beside the centre of a radial dose: every cut across the axis shows two
/// discs, that of the solid and that of the isodose, so that `V(D)` is one quadrature of
/// [`disc_lens`].
pub struct RadialRevolution<'a> {
    /// The dose.
    pub dose: &'a Radial,
    /// Radius of the solid at a height along its axis, mm.
    pub profile: &'a dyn Fn(f64) -> f64,
    /// Lowest and highest point along the axis, mm.
    pub heights: [f64; 2],
    /// Height of the dose's centre, and its distance from the axis, mm.
    pub dose_centre: [f64; 2],
    /// Volume of the solid, mm³.
    pub volume: f64,
}

impl RadialRevolution<'_> {
    /// Volume within `reach` of the dose's centre, to about 1e-9 of the solid's volume.
    fn within(&self, reach: f64) -> f64 {
        let [height, off] = self.dose_centre;
        let low = self.heights[0].max(height - reach);
        let high = self.heights[1].min(height + reach);
        if low >= high {
            return 0.0;
        }
        let cut = |z: f64| {
            let disc = (reach * reach - (z - height).powi(2)).max(0.0).sqrt();
            disc_lens((self.profile)(z), disc, off)
        };
        // z = middle − half·cos φ takes away the square-root ends.
        let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
        let swept = |phi: f64| cut(middle - half * phi.cos()) * half * phi.sin();
        integral(&swept, 0.0, PI, 1e-9 * self.volume)
    }

    /// Volume receiving at least a dose.
    pub fn volume_at(&self, dose: f64) -> f64 {
        self.within(self.dose.radius(dose))
    }

    /// Dose to a volume; absent when the solid is smaller.
    pub fn dose_at_volume(&self, mm3: f64) -> Option<f64> {
        if mm3 > self.volume {
            return None;
        }
        let far = self.dose_centre[1].hypot(self.heights[1] - self.heights[0]) * 4.0
            + self.heights.iter().map(|h| (h - self.dose_centre[0]).abs()).sum::<f64>();
        let reach = root_to(|r| self.within(r) - mm3, [0.0, far]);
        Some(self.dose.dose(reach))
    }
}

/// Bisection to 1e-10 mm.
fn root_to(f: impl Fn(f64) -> f64, [mut low, mut high]: [f64; 2]) -> f64 {
    while high - low > 1e-10 {
        let middle = 0.5 * (low + high);
        if f(middle) < 0.0 { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}
