//! Ellipsoids at the centre of a Gaussian with three widths, and the volumes common to concentric
//! coaxial ellipsoids.

use std::f64::consts::PI;

use super::{Indices, ball};
use crate::phantom::numeric::{integral, root};

/// Isodose volume of a Gaussian with three widths.
pub fn gaussian_isodose_volume(peak: f64, widths: [f64; 3], dose: f64) -> f64 {
    if dose >= peak {
        return 0.0;
    }
    ball((2.0 * (peak / dose).ln()).sqrt()) * widths.iter().product::<f64>()
}

/// Volume common to two concentric coaxial spheroids, each (equatorial, polar) semi-axis.
pub fn common_spheroids(one: [f64; 2], two: [f64; 2]) -> f64 {
    let column = |[e, p]: [f64; 2], z: f64| {
        let z = z.min(p);
        PI * e * e * (z - z.powi(3) / (3.0 * p * p))
    };
    let area = |[e, p]: [f64; 2], z: f64| e * e * (1.0 - z * z / (p * p));
    let narrower = |z: f64| if area(one, z) <= area(two, z) { (one, two) } else { (two, one) };
    let top = one[1].min(two[1]);
    let steep = |[e, p]: [f64; 2]| (e / p).powi(2);
    let crossing = (one[0].powi(2) - two[0].powi(2)) / (steep(one) - steep(two));
    if crossing > 0.0 && crossing < top * top {
        let z = crossing.sqrt();
        let (low, high) = narrower(0.5 * z);
        return 2.0 * (column(low, z) + column(high, top) - column(high, z));
    }
    2.0 * column(narrower(0.5 * top).0, top)
}

/// Area common to two concentric coaxial ellipses.
pub fn common_ellipses(one: [f64; 2], two: [f64; 2]) -> f64 {
    if one[0] <= two[0] && one[1] <= two[1] {
        return PI * one[0] * one[1];
    }
    if two[0] <= one[0] && two[1] <= one[1] {
        return PI * two[0] * two[1];
    }
    let (wide, tall) = if one[0] >= two[0] { (one, two) } else { (two, one) };
    let inverse = |x: f64| 1.0 / (x * x);
    let crossing = ((inverse(wide[1]) - inverse(tall[1]))
        / (inverse(tall[0] * wide[1]) - inverse(wide[0] * tall[1])))
    .sqrt();
    let under = |[e, f]: [f64; 2], x: f64| {
        let t = (x / e).min(1.0);
        0.5 * e * f * (t.asin() + t * (1.0 - t * t).sqrt())
    };
    4.0 * (under(wide, crossing) + under(tall, tall[0]) - under(tall, crossing))
}

/// Volume common to two concentric coaxial ellipsoids: one quadrature over closed-form areas.
pub fn common_ellipsoids(one: [f64; 3], two: [f64; 3]) -> f64 {
    let top = one[2].min(two[2]);
    let area = |z: f64| {
        let shrink = |s: [f64; 3]| {
            let k = (1.0 - (z / s[2]).powi(2)).max(0.0).sqrt();
            [s[0] * k, s[1] * k]
        };
        let (a, b) = (shrink(one), shrink(two));
        if a[0] == 0.0 || b[0] == 0.0 { 0.0 } else { common_ellipses(a, b) }
    };
    2.0 * integral(&area, 0.0, top, 1e-10)
}

/// An ellipsoid target at the centre of a Gaussian whose widths lie along its axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaussianEllipsoid {
    /// Dose at the centre, Gy.
    pub peak: f64,
    /// Widths of the dose, mm.
    pub widths: [f64; 3],
    /// Semi-axes of the target, mm.
    pub semi: [f64; 3],
}

impl GaussianEllipsoid {
    /// Volume of the target.
    pub fn volume(&self) -> f64 {
        ball(1.0) * self.semi.iter().product::<f64>()
    }

    /// Volume of the target receiving at least a dose.
    pub fn volume_at(&self, dose: f64) -> f64 {
        if dose >= self.peak {
            return 0.0;
        }
        let q = (2.0 * (self.peak / dose).ln()).sqrt();
        let isodose = self.widths.map(|w| w * q);
        if self.widths[0] == self.widths[1] && self.semi[0] == self.semi[1] {
            return common_spheroids([self.semi[0], self.semi[2]], [isodose[0], isodose[2]]);
        }
        common_ellipsoids(self.semi, isodose)
    }

    /// Dose to the share `v` of the target.
    pub fn dose_at_share(&self, v: f64) -> f64 {
        let far = (0..3).map(|i| self.semi[i] / self.widths[i]).fold(0.0, f64::max);
        let low = self.peak * (-0.5 * far * far).exp();
        root(|d| v * self.volume() - self.volume_at(d), low, self.peak)
    }

    /// Dose to a volume; absent when the target is smaller.
    pub fn dose_at_volume(&self, mm3: f64) -> Option<f64> {
        (mm3 <= self.volume()).then(|| self.dose_at_share(mm3 / self.volume()))
    }

    /// Volumes and indices.
    pub fn indices(&self, prescription: f64) -> Indices {
        let whole = |dose: f64| gaussian_isodose_volume(self.peak, self.widths, dose);
        Indices {
            target: self.volume(),
            covered: self.volume_at(prescription),
            isodose: whole(prescription),
            half_isodose: whole(0.5 * prescription),
        }
    }
}
