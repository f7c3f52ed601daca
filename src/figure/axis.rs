//! An axis: its range, its ticks, and the place of a value.

/// One axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Quantity with unit.
    pub title: String,
    /// First value.
    pub low: f64,
    /// Last value.
    pub high: f64,
    /// Whether values are shares, to be printed in percent.
    pub percent: bool,
}

impl Axis {
    /// An axis over a range; one without extent gets some.
    #[must_use]
    pub fn new(title: &str, low: f64, high: f64) -> Self {
        let high = if high > low { high } else { low + 1.0 };
        Self { title: title.to_owned(), low, high, percent: false }
    }

    /// An axis of shares from 0 to a round end that holds `highest`.
    #[must_use]
    pub fn shares(title: &str, highest: f64) -> Self {
        let end = [0.1, 0.2, 0.4, 0.6, 0.8].into_iter().find(|e| highest <= *e).unwrap_or(1.0);
        Self { percent: true, ..Self::new(title, 0.0, end) }
    }

    /// Share of the way from the first value to the last, kept between both.
    pub(super) fn share(&self, value: f64) -> f64 {
        ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0)
    }

    /// Round values with their text, three to eight.
    #[must_use]
    pub fn ticks(&self) -> Vec<(f64, String)> {
        let rough = (self.high - self.low) / 5.0;
        let ten = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].map(|s| s * ten).into_iter().find(|s| *s >= rough * 0.999);
        let step = step.unwrap_or(rough);
        let first = (self.low / step - 1e-9).ceil();
        let all = (0..12).map(|k| (first + f64::from(k)) * step);
        let inside = all.take_while(|v| *v <= self.high + step * 1e-9);
        inside.map(|v| (v, self.text(v, step))).collect()
    }

    fn text(&self, value: f64, step: f64) -> String {
        let (value, step) =
            if self.percent { (100.0 * value, 100.0 * step) } else { (value, step) };
        let digits = (0..6).find(|d| step * 10f64.powi(*d) >= 0.999).unwrap_or(6);
        #[expect(clippy::cast_sign_loss, reason = "0 to 6")]
        let text = format!("{:.*}", digits as usize, value + 0.0);
        if self.percent { format!("{text} %") } else { text }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let words = |axis: &Axis| axis.ticks().into_iter().map(|t| t.1).collect::<Vec<_>>();
        assert_eq!(words(&Axis::new("x", 0.0, 20.0)), ["0", "5", "10", "15", "20"]);
        assert_eq!(words(&Axis::new("x", 1.2, 4.9)), ["2", "3", "4"]);
        assert_eq!(words(&Axis::shares("y", 0.34)), ["0 %", "10 %", "20 %", "30 %", "40 %"]);
        assert_eq!(
            words(&Axis::shares("y", 0.9)),
            ["0 %", "20 %", "40 %", "60 %", "80 %", "100 %"]
        );
        assert!(words(&Axis::new("x", 3.0, 3.0)).len() >= 3);
    }

    #[test]
    fn a_value_outside_stays_at_the_edge() {
        let axis = Axis::new("x", 2.0, 4.0);
        assert_eq!([1.0, 3.0, 9.0].map(|v| axis.share(v)), [0.0, 0.5, 1.0]);
    }
}
