//! Formulas of radiobiology on plain numbers: biologically effective dose by several models, and
//! equivalent uniform doses of a list of doses with volumes. Research models: none is fit for a
//! decision on a patient.
//!
//! Doses are totals in Gy over `fractions` equal fractions; each dose is converted with its own
//! fraction dose before anything is averaged.

/// A model of the effect of a dose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Model {
    /// Linear-quadratic.
    Lq {
        /// α/β, Gy.
        alpha_beta: f64,
    },
    /// Linear-quadratic up to 2·α/β a fraction, its tangent beyond (Astrahan 2008; from memory).
    LqLinear {
        /// α/β, Gy.
        alpha_beta: f64,
    },
    /// Universal survival curve (Park et al. 2008, non-small-cell lung cancer; from memory).
    UniversalSurvival,
    /// Linear-quadratic-cubic with α/β 12 Gy and an inflection at 18 Gy (Wiggenraad et al. 2011;
    /// from memory).
    LqCubic,
}

/// The universal survival curve: α per Gy, final slope D0 and quasi-threshold Dq in Gy.
const USC_ALPHA: f64 = 0.33;
const USC_D0_GY: f64 = 1.25;
const USC_DQ_GY: f64 = 1.8;
/// The linear-quadratic-cubic model: α/β and inflection DL, Gy.
const LQC_ALPHA_BETA_GY: f64 = 12.0;
const LQC_DL_GY: f64 = 18.0;

impl Model {
    /// Biologically effective dose, Gy, of a total dose in so many fractions.
    #[must_use]
    pub fn bed(self, dose_gy: f64, fractions: f64) -> f64 {
        let d = dose_gy / fractions;
        match self {
            Self::Lq { alpha_beta } => dose_gy * (1.0 + d / alpha_beta),
            Self::LqLinear { alpha_beta } => {
                let turn = 2.0 * alpha_beta;
                let low = d.min(turn);
                let slope = 1.0 + 2.0 * turn / alpha_beta;
                fractions * (low * (1.0 + low / alpha_beta) + slope * (d - low))
            }
            Self::UniversalSurvival => {
                if d > universal_transition_gy() {
                    return fractions * (d - USC_DQ_GY) / (USC_ALPHA * USC_D0_GY);
                }
                dose_gy * (1.0 + d / universal_alpha_beta_gy())
            }
            Self::LqCubic => {
                let (alpha_beta, dl) = (LQC_ALPHA_BETA_GY, LQC_DL_GY);
                dose_gy * (1.0 + d / alpha_beta - d * d / (3.0 * alpha_beta * dl))
            }
        }
    }
}

/// Fraction dose at which the universal survival curve turns straight, Gy.
#[must_use]
pub fn universal_transition_gy() -> f64 {
    2.0 * USC_DQ_GY / (1.0 - USC_ALPHA * USC_D0_GY)
}

/// α/β that follows from the parameters of the universal survival curve, Gy.
#[must_use]
pub fn universal_alpha_beta_gy() -> f64 {
    let turned = 1.0 - USC_ALPHA * USC_D0_GY;
    USC_ALPHA * 4.0 * USC_D0_GY * USC_DQ_GY / turned.powi(2)
}

/// Dose in fractions of 2 Gy with the same linear-quadratic effect, Gy.
#[must_use]
pub fn eqd2(dose_gy: f64, fractions: f64, alpha_beta: f64) -> f64 {
    Model::Lq { alpha_beta }.bed(dose_gy, fractions) / (1.0 + 2.0 / alpha_beta)
}

/// Dose of a single fraction with this biologically effective dose, Gy.
#[must_use]
pub fn single_fraction(bed_gy: f64, alpha_beta: f64) -> f64 {
    alpha_beta / 2.0 * ((1.0 + 4.0 * bed_gy / alpha_beta).sqrt() - 1.0)
}

/// Generalised equivalent uniform dose (Σ vᵢ·Dᵢᵃ)^(1/a) of doses with volumes; absent without
/// volume or for a = 0. With a < 0 any dose of 0 gives 0.
#[must_use]
pub fn generalised_eud(parts: impl Iterator<Item = (f64, f64)> + Clone, a: f64) -> Option<f64> {
    let whole: f64 = parts.clone().map(|p| p.1).sum();
    if whole <= 0.0 || a == 0.0 {
        return None;
    }
    let logs = parts.filter(|p| p.1 > 0.0).map(|(d, v)| (a * d.max(0.0).ln(), v / whole));
    let top = logs.clone().map(|l| l.0).fold(f64::NEG_INFINITY, f64::max);
    if top.is_infinite() {
        return Some(0.0);
    }
    let sum: f64 = logs.map(|(l, v)| v * (l - top).exp()).sum();
    Some(((sum.ln() + top) / a).exp())
}

/// Equivalent uniform dose by cell kill, Gy: the even dose that as many cells survive, given the
/// surviving fraction at 2 Gy. Absent without volume.
#[must_use]
pub fn cell_kill_eud(
    parts: impl Iterator<Item = (f64, f64)> + Clone,
    surviving_at_2_gy: f64,
) -> Option<f64> {
    let whole: f64 = parts.clone().map(|p| p.1).sum();
    if whole <= 0.0 {
        return None;
    }
    let rate = surviving_at_2_gy.ln() / 2.0;
    let least = parts.clone().map(|p| p.0).fold(f64::INFINITY, f64::min);
    let sum: f64 = parts.map(|(d, v)| v / whole * (rate * (d - least)).exp()).sum();
    Some(least + sum.ln() / rate)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, want: f64, tolerance: f64) {
        assert!((got - want).abs() <= tolerance, "{got} for {want}");
    }

    /// BED and EQD2 for α/β 10 and 2 of the table in Radiat Oncol 2021 16:73 (read).
    #[test]
    fn doses_of_the_published_table() {
        for (dose, n, bed10, eqd10, bed2, eqd2_2) in [
            (30.0, 5.0, 48.0, 40.0, 120.0, 60.0),
            (25.0, 5.0, 37.5, 31.25, 87.5, 43.75),
            (27.0, 3.0, 51.3, 42.75, 148.5, 74.25),
            (24.0, 3.0, 43.2, 36.0, 120.0, 60.0),
            (20.0, 1.0, 60.0, 50.0, 220.0, 110.0),
            (18.0, 1.0, 50.4, 42.0, 180.0, 90.0),
            (16.0, 1.0, 41.6, 34.67, 144.0, 72.0),
            (14.0, 1.0, 33.6, 28.0, 112.0, 56.0),
            (12.0, 1.0, 26.4, 22.0, 84.0, 42.0),
        ] {
            near(Model::Lq { alpha_beta: 10.0 }.bed(dose, n), bed10, 0.01);
            near(Model::Lq { alpha_beta: 2.0 }.bed(dose, n), bed2, 0.01);
            near(eqd2(dose, n, 10.0), eqd10, 0.01);
            near(eqd2(dose, n, 2.0), eqd2_2, 0.01);
        }
        near(single_fraction(51.3, 10.0), 18.194_827, 1e-6);
    }

    /// Limits that are one limit: the cord's by HyTEC (abstract read) in EQD2 with α/β 2.
    #[test]
    fn published_limits_have_one_equivalent_dose() {
        for (dose, n) in [(12.4, 1.0), (17.0, 2.0), (20.3, 3.0), (23.0, 4.0), (25.3, 5.0)] {
            near(eqd2(dose, n, 2.0), 44.6, 0.2);
        }
    }

    /// Own arithmetic on the forms from memory.
    #[test]
    fn models_for_large_fractions() {
        // The turn lies at 2·α/β.
        let linear = |alpha_beta| Model::LqLinear { alpha_beta };
        near(linear(10.0).bed(20.0, 1.0), 60.0, 1e-9);
        near(linear(10.0).bed(24.0, 1.0), 80.0, 1e-9);
        near(linear(2.0).bed(12.0, 1.0), 52.0, 1e-9);
        near(linear(2.0).bed(30.0, 5.0), 110.0, 1e-9);
        near(universal_transition_gy(), 6.127_66, 1e-5);
        near(universal_alpha_beta_gy(), 8.604_80, 1e-5);
        for (n, d, bed) in [(1.0, 20.0, 44.121_2), (3.0, 18.0, 117.818_2), (5.0, 6.0, 50.918_6)] {
            near(Model::UniversalSurvival.bed(n * d, n), bed, 1e-3);
        }
        for (dose, n, bed) in
            [(18.0, 1.0, 36.0), (24.0, 1.0, 50.666_7), (27.0, 3.0, 43.875), (30.0, 5.0, 43.333_3)]
        {
            near(Model::LqCubic.bed(dose, n), bed, 1e-3);
        }
    }

    /// Equal quarters at 10, 20, 30 and 40 Gy; and the limits of the exponent.
    #[test]
    fn equivalent_uniform_doses() {
        let parts = [(10.0, 1.0), (20.0, 1.0), (30.0, 1.0), (40.0, 1.0)];
        for (a, want) in [
            (-10.0, 11.485_84),
            (-5.0, 13.101_21),
            (1.0, 25.0),
            (2.0, 27.386_13),
            (4.0, 30.671_56),
            (6.25, 32.897_96),
            (10.0, 35.016_56),
            (20.0, 37.327_23),
        ] {
            near(generalised_eud(parts.into_iter(), a).unwrap(), want, 1e-5);
        }
        near(generalised_eud(parts.into_iter(), 5000.0).unwrap(), 40.0, 0.02);
        near(generalised_eud(parts.into_iter(), -5000.0).unwrap(), 10.0, 0.02);
        let cold = [(0.0, 1.0), (20.0, 1.0)];
        assert_eq!(generalised_eud(cold.into_iter(), -10.0), Some(0.0));
        assert_eq!(generalised_eud([(0.0, 1.0)].into_iter(), 2.0), Some(0.0));
        assert_eq!(generalised_eud(parts.into_iter(), 0.0), None);
        assert_eq!(generalised_eud(std::iter::empty(), 1.0), None);
    }

    #[test]
    fn equivalent_uniform_doses_by_cell_kill() {
        let mixed = [(60.0, 95.0), (50.0, 5.0)];
        near(cell_kill_eud(mixed.into_iter(), 0.5).unwrap(), 57.299_006, 1e-6);
        let even = [(60.0, 1.0), (50.0, 1.0)];
        near(cell_kill_eud(even.into_iter(), 0.5).unwrap(), 51.911_212, 1e-6);
    }
}
