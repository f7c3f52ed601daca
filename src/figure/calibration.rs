//! A calibration plot: risks that a model gives against shares that were observed.

use super::{Axis, Figure, Layer, Look};

/// A band of risks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Calibrated {
    /// Mean of the risks that the model gives.
    pub predicted: f64,
    /// Share that was observed.
    pub observed: f64,
    /// Ends of its interval.
    pub interval: (f64, f64),
    /// Events and observations.
    pub events: (usize, usize),
}

/// The plot: a mark for each band, and a line where model and observation are alike. Both axes are the
/// same, so that the line rises by as much as it goes to the right.
#[must_use]
pub fn calibration(event: &str, bands: &[Calibrated], foot: &str) -> Figure {
    let highest = bands.iter().map(|b| b.predicted.max(b.interval.1)).fold(0.0, f64::max);
    let x = Axis::shares("Risk by the model", highest);
    let y = Axis::shares("Observed share", highest);
    let mut layers =
        vec![Layer::Line { points: vec![(0.0, 0.0), (x.high, x.high)], look: Look(4) }];
    // From right to left: the words of a mark stand at its right, above the whisker of the next.
    layers.extend(bands.iter().rev().map(|b| Layer::Mark {
        at: (b.predicted, b.observed),
        whisker: Some(b.interval),
        look: Look(0),
        words: format!("{}/{}", b.events.0, b.events.1),
    }));
    Figure {
        title: format!("Calibration of the risk of {event}"),
        description: "Observed shares against risks of the model.".to_owned(),
        x,
        y,
        layers,
        legend: vec![
            (Look(0), "Observed, with 95 % interval".to_owned()),
            (Look(4), "Model and observation alike".to_owned()),
        ],
        below: Vec::new(),
        foot: foot.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_axes_are_alike_and_every_band_is_a_mark() {
        let band = |predicted, observed, high| Calibrated {
            predicted,
            observed,
            interval: (0.0, high),
            events: (1, 9),
        };
        let figure = calibration("necrosis", &[band(0.1, 0.11, 0.48), band(0.3, 0.2, 0.55)], "x");
        assert_eq!((figure.x.high, figure.y.high), (0.6, 0.6));
        let svg = figure.svg();
        // Two marks, and that of the legend.
        assert_eq!(svg.matches("fill=\"#fff\" stroke=\"#0072B2\"").count(), 3, "{svg}");
        assert!(svg.contains("1/9"));
    }
}
