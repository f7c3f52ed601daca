//! An axis: its range, its ticks, and the place of a value.

/// How values lie along an axis and what their ticks say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Scale {
    /// Evenly.
    Even,
    /// Evenly, shares printed in percent.
    Shares,
    /// By their logarithm.
    Log,
    /// Evenly, in months, with ticks at whole months that people speak of.
    Months,
    /// Names at 0, 1, 2 and so on.
    Names(Vec<String>),
}

/// Powers of ten whose numbers stand apart on the narrowest axis.
const MOST_POWERS: usize = 6;

/// One axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Quantity with unit.
    pub title: String,
    /// First value.
    pub low: f64,
    /// Last value.
    pub high: f64,
    /// How values lie.
    pub scale: Scale,
}

impl Axis {
    /// An axis over a range; one without extent gets some.
    #[must_use]
    pub fn new(title: &str, low: f64, high: f64) -> Self {
        let high = if high > low { high } else { low + 1.0 };
        Self { title: title.to_owned(), low, high, scale: Scale::Even }
    }

    /// A logarithmic axis over a range of positive values; what is not positive stands at the low end.
    #[must_use]
    pub fn log(title: &str, low: f64, high: f64) -> Self {
        let low = if low > 0.0 { low } else { 1e-3 };
        let high = if high > low { high } else { 10.0 * low };
        Self { scale: Scale::Log, ..Self::new(title, low, high) }
    }

    /// An axis with a place for each name.
    #[must_use]
    pub fn names(title: &str, names: Vec<String>) -> Self {
        let count = u32::try_from(names.len().max(1)).map_or(f64::INFINITY, f64::from);
        Self { scale: Scale::Names(names), ..Self::new(title, -0.5, count - 0.5) }
    }

    /// An axis of shares from 0 to a round end that holds `highest`.
    #[must_use]
    pub fn shares(title: &str, highest: f64) -> Self {
        let end = [0.1, 0.2, 0.4, 0.6, 0.8].into_iter().find(|e| highest <= *e).unwrap_or(1.0);
        Self { scale: Scale::Shares, ..Self::new(title, 0.0, end) }
    }

    /// An axis of months from 0 on.
    #[must_use]
    pub fn months(title: &str, last: f64) -> Self {
        Self { scale: Scale::Months, ..Self::new(title, 0.0, last) }
    }

    /// Share of the way from the first value to the last, kept between both.
    pub(super) fn share(&self, value: f64) -> f64 {
        let way = |v: f64| if self.scale == Scale::Log { v.max(self.low).ln() } else { v };
        ((way(value) - way(self.low)) / (way(self.high) - way(self.low))).clamp(0.0, 1.0)
    }

    /// Round values with their text, three to eight; the names of an axis of names.
    #[must_use]
    pub fn ticks(&self) -> Vec<(f64, String)> {
        match &self.scale {
            Scale::Even | Scale::Shares => self.even_ticks(),
            Scale::Log => self.log_ticks(),
            Scale::Months => self.month_ticks(),
            Scale::Names(names) => (0..).map(f64::from).zip(names.iter().cloned()).collect(),
        }
    }

    /// Powers of ten, at most [`MOST_POWERS`]; twice and five times them too where a range holds few.
    fn log_ticks(&self) -> Vec<(f64, String)> {
        let inside = |factors: &[f64]| -> Vec<(f64, String)> {
            let all = (-9..=9).flat_map(|k| factors.iter().map(move |f| f * 10f64.powi(k)));
            let room = 1.0 + 1e-9;
            all.filter(|v| *v * room >= self.low && *v <= self.high * room)
                .map(|v| (v, format!("{}", (v * 1e9).round() / 1e9)))
                .collect()
        };
        let tens = inside(&[1.0]);
        if tens.len() < 3 {
            let wide = inside(&[1.0, 2.0, 5.0]);
            if wide.len() >= 3 {
                return wide;
            }
            let narrow = inside(&[1.0, 1.2, 1.5, 2.0, 3.0, 5.0, 7.0]);
            // Within a few percent a logarithm is a straight line.
            return if narrow.len() >= 3 { narrow } else { self.even_ticks() };
        }
        // Of many powers every second or third, so that their numbers stand apart; 1 is among them.
        #[expect(clippy::cast_possible_truncation, reason = "between -9 and 9")]
        let power = |v: f64| v.log10().round() as i32;
        let step = i32::try_from(tens.len().div_ceil(MOST_POWERS)).unwrap_or(1);
        tens.into_iter().filter(|(v, _)| power(*v) % step == 0).collect()
    }

    /// Quarters, half years or years; of long times some of these.
    fn month_ticks(&self) -> Vec<(f64, String)> {
        let steps = [1, 2, 3, 6, 12, 24, 36, 60, 120, 240];
        let fits = |step: &u32| self.high / f64::from(*step) <= 8.0;
        let step = steps.into_iter().find(fits).unwrap_or(480);
        let all = (0..).map(|k| k * step).map(|months| (f64::from(months), months.to_string()));
        all.take_while(|(months, _)| *months <= self.high).collect()
    }

    fn even_ticks(&self) -> Vec<(f64, String)> {
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
            if self.scale == Scale::Shares { (100.0 * value, 100.0 * step) } else { (value, step) };
        let digits = (0..6).find(|d| step * 10f64.powi(*d) >= 0.999).unwrap_or(6);
        #[expect(clippy::cast_sign_loss, reason = "0 to 6")]
        let text = format!("{:.*}", digits as usize, value + 0.0);
        if self.scale == Scale::Shares { format!("{text} %") } else { text }
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
        assert_eq!(words(&Axis::months("x", 38.2)), ["0", "6", "12", "18", "24", "30", "36"]);
        assert_eq!(words(&Axis::months("x", 78.0)), ["0", "12", "24", "36", "48", "60", "72"]);
        assert_eq!(words(&Axis::months("x", 4.0)), ["0", "1", "2", "3", "4"]);
        assert_eq!(words(&Axis::log("x", 0.01, 12.0)), ["0.01", "0.1", "1", "10"]);
        assert_eq!(words(&Axis::log("x", 0.8, 20.0)), ["1", "2", "5", "10", "20"]);
        assert_eq!(words(&Axis::log("x", 1e-4, 1e4)), ["0.0001", "0.01", "1", "100", "10000"]);
        let names = Axis::names("x", vec!["a".to_owned(), "b".to_owned()]);
        assert_eq!(words(&names), ["a", "b"]);
        assert_eq!([-0.5, 0.5, 1.5].map(|v| names.share(v)), [0.0, 0.5, 1.0]);
    }

    #[test]
    fn a_value_outside_stays_at_the_edge() {
        let axis = Axis::new("x", 2.0, 4.0);
        assert_eq!([1.0, 3.0, 9.0].map(|v| axis.share(v)), [0.0, 0.5, 1.0]);
        let log = Axis::log("x", 0.1, 10.0);
        assert_eq!([0.0, 0.1, 10.0, 11.0].map(|v| log.share(v)), [0.0, 0.0, 1.0, 1.0]);
        assert!((log.share(1.0) - 0.5).abs() < 1e-12);
    }
}
