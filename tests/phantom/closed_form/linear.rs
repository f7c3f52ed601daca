//! Solids in a linear dose: the share above a plane is a formula in the position of the plane.

use std::f64::consts::PI;

use crate::phantom::numeric::root;

/// The solids of which the share above a linear dose is a formula.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// A ball; an ellipsoid too, with the half-extent of [`ellipsoid_half_extent`].
    Ball,
    /// A box along the gradient, or a cylinder with its axis along it.
    Slab,
    /// A cylinder across the gradient.
    CylinderAcross,
    /// A cone with its apex at the hot end.
    ConeApexHot,
    /// A cone with its apex at the cold end.
    ConeApexCold,
    /// A cone with its axis across the gradient.
    ConeAcross,
}

impl Shape {
    /// Share of the volume at or above the position `x` along the gradient; `x` runs from -1 to 1
    /// over the solid, 0 at mid-extent.
    pub fn tail(self, x: f64) -> f64 {
        let x = x.clamp(-1.0, 1.0);
        match self {
            Self::Ball => (1.0 - x).powi(2) * (2.0 + x) / 4.0,
            Self::Slab => (1.0 - x) / 2.0,
            Self::CylinderAcross => (x.acos() - x * (1.0 - x * x).sqrt()) / PI,
            Self::ConeApexHot => ((1.0 - x) / 2.0).powi(3),
            Self::ConeApexCold => 1.0 - ((1.0 + x) / 2.0).powi(3),
            Self::ConeAcross if x < 0.0 => 1.0 - self.tail(-x),
            Self::ConeAcross if x == 0.0 => 0.5,
            Self::ConeAcross => {
                (x.acos() - 2.0 * x * (1.0 - x * x).sqrt() + x.powi(3) * (1.0 / x).acosh()) / PI
            }
        }
    }

    /// Position above which the share `v` of the volume lies.
    pub fn position(self, v: f64) -> f64 {
        match self {
            Self::Ball => 2.0 * (((2.0 * v - 1.0).clamp(-1.0, 1.0).acos() - 2.0 * PI) / 3.0).cos(),
            Self::Slab => 1.0 - 2.0 * v,
            Self::ConeApexHot => 1.0 - 2.0 * v.cbrt(),
            Self::ConeApexCold => 2.0 * (1.0 - v).cbrt() - 1.0,
            Self::CylinderAcross | Self::ConeAcross => root(|x| v - self.tail(x), -1.0, 1.0),
        }
    }

    /// Position of the centroid.
    fn centroid(self) -> f64 {
        match self {
            Self::ConeApexHot => -0.5,
            Self::ConeApexCold => 0.5,
            _ => 0.0,
        }
    }
}

/// Half-extent of an ellipsoid along a unit direction given in its own axes.
pub fn ellipsoid_half_extent(semi: [f64; 3], direction: [f64; 3]) -> f64 {
    (0..3).map(|i| (semi[i] * direction[i]).powi(2)).sum::<f64>().sqrt()
}

/// Share of a box (edges along the axes, centre at the origin) where `gradient·p ≥ threshold`,
/// for any direction: inclusion–exclusion over the corners.
pub fn box_tail(edges: [f64; 3], gradient: [f64; 3], threshold: f64) -> f64 {
    let widths: Vec<f64> =
        (0..3).map(|i| (gradient[i] * edges[i]).abs()).filter(|w| *w > 0.0).collect();
    let n = widths.len() as i32;
    if n == 0 {
        return if threshold <= 0.0 { 1.0 } else { 0.0 };
    }
    let sum: f64 = (0..1u32 << n)
        .map(|corner| {
            let (mut sign, mut top) = (1.0, -threshold);
            for (i, w) in widths.iter().enumerate() {
                let minus = corner >> i & 1 == 1;
                sign *= if minus { -1.0 } else { 1.0 };
                top += if minus { -0.5 * w } else { 0.5 * w };
            }
            sign * top.max(0.0).powi(n)
        })
        .sum();
    let factorial: f64 = (1..=n).map(f64::from).product();
    sum / (factorial * widths.iter().product::<f64>())
}

/// A solid in a linear dose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinearDose {
    /// Which formula.
    pub shape: Shape,
    /// Volume, mm³.
    pub volume: f64,
    /// Half the extent along the gradient, mm.
    pub half_extent: f64,
    /// Dose at mid-extent, Gy.
    pub centre_dose: f64,
    /// Size of the gradient, Gy/mm.
    pub gradient: f64,
}

impl LinearDose {
    /// Volume receiving at least a dose.
    pub fn volume_at(&self, dose: f64) -> f64 {
        let x = (dose - self.centre_dose) / (self.gradient * self.half_extent);
        self.volume * self.shape.tail(x)
    }

    /// Dose to the share `v` (0 to 1).
    pub fn dose_at_share(&self, v: f64) -> f64 {
        self.centre_dose + self.gradient * self.half_extent * self.shape.position(v)
    }

    /// Dose to a volume; absent when the solid is smaller.
    pub fn dose_at_volume(&self, mm3: f64) -> Option<f64> {
        (mm3 <= self.volume).then(|| self.dose_at_share(mm3 / self.volume))
    }

    /// Mean dose.
    pub fn mean(&self) -> f64 {
        self.centre_dose + self.gradient * self.half_extent * self.shape.centroid()
    }
}
