//! How much better a shape fits one name than another: a likelihood of its volume and its place,
//! from the structures of the archive that have that name, else from published sizes. It chooses
//! among names that the words of a label allow and never names anything by itself.

use super::alike_shapes::{KnownShapes, NEAR_MM, TIMES};
use super::suggestions::Shape;
use tidydose_case::volume_window;
use tidydose_geometry::point::{length, sub};

/// So many times likelier than every other name that the words allow a name has to be, to be
/// proposed for one key: one in twenty, the usual limit of what is called chance.
pub(super) const ODDS: f64 = 20.0;

/// Volumes of structures reach from a point to a whole head, cc; within them every volume is
/// equally likely, on a scale of ratios, for a name of which no size is known.
const SMALLEST_CC: f64 = 0.01;
const LARGEST_CC: f64 = 6000.0;

/// Natural logarithms of the likelihoods of a shape under names.
#[derive(Debug, Clone, Copy)]
pub(super) struct Odds<'k> {
    pub(super) shape: Shape,
    pub(super) known: &'k KnownShapes,
}

impl Odds<'_> {
    /// How many times likelier the shape is under one name than under another; 1 where nothing is
    /// known of the shape.
    pub(super) fn between(self, name: &str, other: &str) -> f64 {
        let volume = self
            .shape
            .volume_cc
            .map_or(0.0, |cc| self.ln_of_volume(name, cc) - self.ln_of_volume(other, cc));
        // Places count where the archive shows both; else the one that is known would be compared
        // with nothing.
        let places = self.ln_of_place(name).zip(self.ln_of_place(other));
        let place = places.map_or(0.0, |(one, two)| one - two);
        (volume + place).exp()
    }

    /// Density of the logarithm of the volume: a bell curve.
    fn ln_of_volume(self, name: &str, volume_cc: f64) -> f64 {
        let bell = |middle: f64, width: f64| {
            let away = (volume_cc.ln() - middle) / width;
            -0.5 * away * away - (width * std::f64::consts::TAU.sqrt()).ln()
        };
        if let Some(typical) = self.known.typical(name) {
            // Contours of one organ lie within a factor of the usual one, nineteen times in twenty.
            return bell(typical.volume_cc.ln(), 0.5 * TIMES.ln());
        }
        match volume_window(name) {
            // The window holds nineteen of twenty: two standard deviations to either side.
            Some(window) => {
                let (low, high) = (window.low_cc.ln(), window.high_cc.ln());
                bell(0.5 * (low + high), 0.25 * (high - low))
            }
            None => -(LARGEST_CC / SMALLEST_CC).ln().ln(),
        }
    }

    /// Density of the place against the middle of the brain, alike in all directions.
    fn ln_of_place(self, name: &str) -> Option<f64> {
        let (seen, typical) = (self.shape.place_mm?, self.known.typical(name)?);
        let away = length(sub(seen, typical.place_mm)) / (0.5 * NEAR_MM);
        Some(-0.5 * away * away)
    }
}

#[cfg(test)]
mod tests {
    use super::super::alike_shapes::Typical;
    use super::*;

    fn odds(volume_cc: f64, name: &str, other: &str) -> f64 {
        let shape = Shape { volume_cc: Some(volume_cc), ..Shape::default() };
        Odds { shape, known: &KnownShapes::default() }.between(name, other)
    }

    #[test]
    fn a_volume_speaks_for_the_organ_of_that_size() {
        assert!(odds(1300.0, "Brain", "Eye_L") > 1e6);
        assert!(odds(25.0, "Brainstem", "Eye_L") > ODDS);
        // In the middle between both, on the scale of ratios, nothing is told: an optic nerve and
        // an optic tract have the same window.
        assert!((odds(0.6, "OpticNrv_L", "OpticTract_L") - 1.0).abs() < 1e-12);
        assert!((odds(0.2, "Lens_L", "Lens_R") - 1.0).abs() < 1e-12);
        // The middle of the window of a brainstem, √(12 × 60) = 26.8 cc, σ = ln(5) / 4: the density
        // is 1 / (σ √(2 π)) = 0.9915, against 1 / ln(600000) = 0.07516 of a name without a size.
        let (sigma, flat) = (5_f64.ln() / 4.0, 600_000_f64.ln());
        let expected = flat / (sigma * std::f64::consts::TAU.sqrt());
        let found = odds((12.0_f64 * 60.0).sqrt(), "Brainstem", "Tongue");
        assert!((found / expected - 1.0).abs() < 1e-12 && (found - 13.19).abs() < 0.01, "{found}");
    }

    #[test]
    fn the_archive_overrides_published_sizes_and_adds_the_place() {
        let typical = |x: f64| Typical {
            volume_cc: 0.2,
            place_mm: [x, -60.0, -20.0],
            count: 5,
            opposite: false,
        };
        let known =
            KnownShapes::of_typical([("Lens_L", typical(32.0)), ("Lens_R", typical(-32.0))]);
        let shape =
            Shape { volume_cc: Some(0.2), place_mm: Some([-30.0, -58.0, -20.0]), side: None };
        let odds = Odds { shape, known: &known };
        // (62² + 2²) − (2² + 2²) mm², over twice the square of 7.5 mm.
        let expected = ((62.0_f64.powi(2) - 4.0) / (2.0 * 7.5 * 7.5)).exp();
        let found = odds.between("Lens_R", "Lens_L");
        assert!((found / expected - 1.0).abs() < 1e-9 && found > ODDS, "{found}");
        // Eyes of 2 cc, of which the archive has five, are eyes there though books say 3 cc.
        let eye = Typical { volume_cc: 2.0, place_mm: [0.0; 3], count: 5, opposite: false };
        let known = KnownShapes::of_typical([("Eye_L", eye)]);
        let shape = Shape { volume_cc: Some(2.0), ..Shape::default() };
        let here = Odds { shape, known: &known }.between("Eye_L", "Tongue");
        let books = Odds { shape, known: &KnownShapes::default() }.between("Eye_L", "Tongue");
        assert!(here > books, "{here} {books}");
    }
}
