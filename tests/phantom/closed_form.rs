//! Dose-volume truth in closed form: what a solid receives in a linear, radial or Gaussian dose.
//!
//! Own derivations; each function says which formula it is. Lengths mm, doses Gy, volumes mm³.
//! `V(D)` is the volume receiving at least `D`; `D_v` the largest dose received by at least the
//! volume `v`. Knows nothing of grids, contours or DICOM.

mod gaussian;
mod linear;
mod revolution;
mod slices;

use std::f64::consts::PI;

pub use gaussian::{
    GaussianEllipsoid, common_ellipses, common_ellipsoids, common_spheroids,
    gaussian_isodose_volume,
};
pub use linear::{LinearDose, Shape, box_tail, ellipsoid_half_extent};
pub use revolution::RadialRevolution;
pub use slices::{polygon_area_deficit, slab_sum, slab_sum_error, slices};

use super::numeric::{erf, integral, root};

/// Volume of a ball.
pub fn ball(radius: f64) -> f64 {
    4.0 / 3.0 * PI * radius.powi(3)
}

/// Radius of the ball of a volume.
pub fn ball_radius(volume: f64) -> f64 {
    (3.0 * volume / (4.0 * PI)).cbrt()
}

/// Volume common to two balls with centres `d` apart.
pub fn lens(a: f64, b: f64, d: f64) -> f64 {
    if a <= 0.0 || b <= 0.0 || d >= a + b {
        return 0.0;
    }
    if d <= (a - b).abs() {
        return ball(a.min(b));
    }
    PI * (a + b - d).powi(2) * (d * d + 2.0 * d * (a + b) - 3.0 * (a - b).powi(2)) / (12.0 * d)
}

/// Area common to two discs with centres `d` apart.
pub fn disc_lens(a: f64, b: f64, d: f64) -> f64 {
    if a <= 0.0 || b <= 0.0 || d >= a + b {
        return 0.0;
    }
    if d <= (a - b).abs() {
        return PI * a.min(b).powi(2);
    }
    let half = |p: f64, q: f64| {
        let x = ((d * d + p * p - q * q) / (2.0 * d * p)).clamp(-1.0, 1.0);
        p * p * (x.acos() - x * (1.0 - x * x).sqrt())
    };
    half(a, b) + half(b, a)
}

/// A dose that falls with the distance from one centre.
#[derive(Debug, Clone, PartialEq)]
pub enum Radial {
    /// `peak · exp(−(r/width)²/2)`.
    Gaussian { peak: f64, width: f64 },
    /// `plateau / (1 + exp((r − radius)/width))`.
    Fermi { plateau: f64, radius: f64, width: f64 },
    /// `dose · (radius/r)^exponent`.
    Power { dose: f64, radius: f64, exponent: f64 },
    /// `max(0, peak − slope·r)`.
    Cone { peak: f64, slope: f64 },
    /// Several about the same centre; the inverse is a root, exact to the last bits.
    Sum(Vec<Radial>),
}

impl Radial {
    /// The Gaussian with dose `prescription` at distance `radius` and half of it `fall_off` beyond.
    pub fn from_fall_off(prescription: f64, radius: f64, fall_off: f64) -> Self {
        let square = ((radius + fall_off).powi(2) - radius * radius) / (2.0 * 2f64.ln());
        let peak = prescription * (radius * radius / (2.0 * square)).exp();
        Self::Gaussian { peak, width: square.sqrt() }
    }

    /// Dose at a distance.
    pub fn dose(&self, r: f64) -> f64 {
        match self {
            Self::Gaussian { peak, width } => peak * (-0.5 * (r / width).powi(2)).exp(),
            Self::Fermi { plateau, radius, width } => {
                plateau / (1.0 + ((r - radius) / width).exp())
            }
            Self::Power { dose, radius, exponent } => dose * (radius / r).powf(*exponent),
            Self::Cone { peak, slope } => (peak - slope * r).max(0.0),
            Self::Sum(parts) => parts.iter().map(|p| p.dose(r)).sum(),
        }
    }

    /// Distance at which the dose falls to a value; 0 when it is nowhere reached.
    pub fn radius(&self, dose: f64) -> f64 {
        if dose >= self.dose(0.0) {
            return 0.0;
        }
        match self {
            Self::Gaussian { peak, width } => width * (2.0 * (peak / dose).ln()).sqrt(),
            Self::Fermi { plateau, radius, width } => {
                (radius + width * (plateau / dose - 1.0).ln()).max(0.0)
            }
            Self::Power { dose: d, radius, exponent } => radius * (d / dose).powf(1.0 / exponent),
            Self::Cone { peak, slope } => (peak - dose) / slope,
            Self::Sum(_) => {
                let mut far = 1.0;
                while self.dose(far) > dose && far < 1e6 {
                    far *= 2.0;
                }
                root(|r| dose - self.dose(r), 0.0, far)
            }
        }
    }

    /// Volume of the whole isodose: the PIV at the prescription, V12 of all tissue at 12 Gy.
    pub fn isodose_volume(&self, dose: f64) -> f64 {
        ball(self.radius(dose))
    }

    /// Gradient index: half-prescription over prescription isodose volume.
    pub fn gradient_index(&self, prescription: f64) -> f64 {
        self.isodose_volume(0.5 * prescription) / self.isodose_volume(prescription)
    }
}

/// A ball whose centre lies `distance` from the centre of a radial dose.
#[derive(Debug, Clone, PartialEq)]
pub struct RadialBall {
    /// The dose.
    pub dose: Radial,
    /// Radius of the ball, mm.
    pub radius: f64,
    /// Distance of its centre from the dose's centre, mm.
    pub distance: f64,
}

impl RadialBall {
    /// Volume of the ball.
    pub fn volume(&self) -> f64 {
        ball(self.radius)
    }

    /// Volume of the ball receiving at least a dose.
    pub fn volume_at(&self, dose: f64) -> f64 {
        lens(self.radius, self.dose.radius(dose), self.distance)
    }

    /// Dose to the share `v` of the ball.
    pub fn dose_at_share(&self, v: f64) -> f64 {
        let reach = self.reach(v * self.volume());
        self.dose.dose(reach)
    }

    /// Dose to a volume; absent when the ball is smaller.
    pub fn dose_at_volume(&self, mm3: f64) -> Option<f64> {
        (mm3 <= self.volume()).then(|| self.dose.dose(self.reach(mm3)))
    }

    /// Radius of the isodose that takes a volume from the ball.
    fn reach(&self, mm3: f64) -> f64 {
        if self.distance == 0.0 {
            return ball_radius(mm3);
        }
        let near = (self.distance - self.radius).max(0.0);
        root(|r| lens(self.radius, r, self.distance) - mm3, near, self.distance + self.radius)
    }

    /// Mean dose: a formula for the Gaussian (error function), otherwise a quadrature over spheres
    /// about the dose's centre.
    pub fn mean(&self) -> f64 {
        match &self.dose {
            Radial::Gaussian { peak, width } => {
                peak * gaussian_mean(*width, self.radius, self.distance)
            }
            Radial::Sum(parts) => {
                let mean = |p: &Radial| Self { dose: p.clone(), ..*self }.mean();
                parts.iter().map(mean).sum()
            }
            other => {
                let (radius, d) = (self.radius, self.distance);
                let shell = |r: f64| other.dose(r) * sphere_in_ball(r, radius, d);
                let edges = [0.0, (d - radius).abs(), d + radius];
                let sum: f64 = edges.windows(2).map(|w| integral(&shell, w[0], w[1], 1e-10)).sum();
                sum / self.volume()
            }
        }
    }

    /// Generalised equivalent uniform dose in a Gaussian: `D^a` is a Gaussian again.
    pub fn gaussian_equivalent_uniform_dose(&self, a: f64) -> Option<f64> {
        let Radial::Gaussian { peak, width } = self.dose else { return None };
        let mean = gaussian_mean(width / a.sqrt(), self.radius, self.distance);
        Some(peak * mean.powf(1.0 / a))
    }

    /// Volumes and indices of the ball as a target.
    pub fn indices(&self, prescription: f64) -> Indices {
        let isodose = self.dose.isodose_volume(prescription);
        Indices {
            target: self.volume(),
            covered: self.volume_at(prescription),
            isodose,
            half_isodose: self.dose.isodose_volume(0.5 * prescription),
        }
    }
}

/// The four volumes of which coverage and conformity indices are made, mm³.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Indices {
    /// Target volume.
    pub target: f64,
    /// Target volume inside the prescription isodose.
    pub covered: f64,
    /// Prescription isodose volume.
    pub isodose: f64,
    /// Half-prescription isodose volume.
    pub half_isodose: f64,
}

impl Indices {
    /// Share of the target that is covered.
    pub fn coverage(&self) -> f64 {
        self.covered / self.target
    }

    /// Share of the isodose volume that is target.
    pub fn selectivity(&self) -> f64 {
        self.covered / self.isodose
    }

    /// Paddick conformity index.
    pub fn paddick(&self) -> f64 {
        self.coverage() * self.selectivity()
    }

    /// Gradient index.
    pub fn gradient(&self) -> f64 {
        self.half_isodose / self.isodose
    }

    /// Half-prescription isodose volume over target volume.
    pub fn r50(&self) -> f64 {
        self.half_isodose / self.target
    }
}

/// Area of the sphere of radius `r` about the dose's centre that lies in a ball `d` away.
fn sphere_in_ball(r: f64, radius: f64, d: f64) -> f64 {
    if r + d <= radius {
        return 4.0 * PI * r * r;
    }
    if d + radius <= r || d >= r + radius {
        return 0.0;
    }
    PI * r * (radius * radius - (d - r).powi(2)) / d
}

/// Mean of `exp(−(r/s)²/2)` over a ball of radius `radius` whose centre is `d` away.
fn gaussian_mean(s: f64, radius: f64, d: f64) -> f64 {
    let (t, falls) = (2f64.sqrt() * s, |x: f64| (-x * x / (2.0 * s * s)).exp());
    if d == 0.0 {
        let core = (PI / 2.0).sqrt() * s.powi(3) * erf(radius / t);
        return 3.0 * (core - s * s * radius * falls(radius)) / radius.powi(3);
    }
    let between = 0.5 * (erf((radius + d) / t) + erf((radius - d) / t));
    let ends = s / (d * (2.0 * PI).sqrt()) * (falls(radius - d) - falls(radius + d));
    (2.0 * PI).powf(1.5) * s.powi(3) * (between - ends) / ball(radius)
}

/// Gradient index of a Gaussian from its peak and the prescription alone.
pub fn gaussian_gradient_index(peak: f64, prescription: f64) -> f64 {
    (1.0 + 2f64.ln() / (peak / prescription).ln()).powf(1.5)
}

#[cfg(test)]
mod tests;
