//! Dose-volume truth in closed form: what a solid receives in a linear, radial or Gaussian dose.
//!
//! Own derivations; each function says which formula it is. Lengths mm, doses Gy, volumes mm³.
//! `V(D)` is the volume receiving at least `D`; `D_v` the largest dose received by at least the
//! volume `v`. Knows nothing of grids, contours or DICOM.

use std::f64::consts::PI;

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

// ---- linear dose -------------------------------------------------------------------------------

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

// ---- radial dose -------------------------------------------------------------------------------

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

// ---- Gaussian with three widths ----------------------------------------------------------------

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

// ---- a solid of revolution in a radial dose ----------------------------------------------------

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

// ---- slices of a sphere ------------------------------------------------------------------------

/// Planes `(k + shift)·spacing` that cut a ball about the origin, increasing.
pub fn slices(radius: f64, spacing: f64, shift: f64) -> Vec<f64> {
    let from = (-radius / spacing - shift).floor() as i64 - 1;
    let to = (radius / spacing - shift).ceil() as i64 + 1;
    let all = (from..=to).map(|k| (k as f64 + shift) * spacing);
    all.filter(|z| z.abs() < radius).collect()
}

/// Volume of a ball as the sum of exact areas times slice spacing.
pub fn slab_sum(radius: f64, spacing: f64, shift: f64) -> f64 {
    let areas = slices(radius, spacing, shift);
    spacing * areas.iter().map(|z| PI * (radius * radius - z * z)).sum::<f64>()
}

/// Exact relative error of [`slab_sum`]: Euler–Maclaurin at the two poles, with the Bernoulli
/// polynomials of the distance, in slices, from each pole to the first plane.
pub fn slab_sum_error(radius: f64, spacing: f64, shift: f64) -> f64 {
    let fraction = |x: f64| x - x.floor();
    let poles = [fraction(radius / spacing + shift), fraction(radius / spacing - shift)];
    let second = |x: f64| x * x - x + 1.0 / 6.0;
    let third = |x: f64| x.powi(3) - 1.5 * x * x + 0.5 * x;
    let sum = |f: &dyn Fn(f64) -> f64| poles.iter().map(|x| f(*x)).sum::<f64>();
    (-spacing.powi(2) * PI * radius * sum(&second) + spacing.powi(3) * PI / 3.0 * sum(&third))
        / ball(radius)
}

/// Share of the area that a regular polygon inscribed in a circle or ellipse lacks.
pub fn polygon_area_deficit(vertices: usize) -> f64 {
    let angle = 2.0 * PI / vertices as f64;
    1.0 - angle.sin() / angle
}

#[cfg(test)]
mod tests;
