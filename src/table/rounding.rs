//! How many digits of a number its bounds support, for sheets that people read. Tables keep all
//! digits. Knows neither tables nor files.

/// Where the rounded number may lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum End {
    /// Nearest to the number.
    Nearest,
    /// Not above it: a lower bound.
    Downwards,
    /// Not below it: an upper bound.
    Upwards,
}

/// The last digit that is shown, as the number of decimals; negative before the point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Rounding {
    decimals: i32,
}

/// More decimals than this are digits of the machine, not of the measurement.
const MOST_DECIMALS: i32 = 9;

impl Rounding {
    /// The digit in which half the width of the bounds begins: a value is moved by at most half of
    /// that digit, so by at most half of the half width. Absent where the bounds have no width.
    pub(super) fn of(low: f64, high: f64) -> Option<Self> {
        let half = 0.5 * (high - low);
        if !half.is_finite() || half <= 0.0 {
            return None;
        }
        // The exponent as it is printed is that of the first digit, also where a logarithm would
        // fall on the wrong side of a power of ten.
        let exponent: i32 = format!("{half:e}").rsplit('e').next()?.parse().ok()?;
        Some(Self { decimals: (-exponent).min(MOST_DECIMALS) })
    }

    /// The number, rounded.
    pub(super) fn apply(self, value: f64, end: End) -> f64 {
        let steps = self.in_steps(value).round();
        let nearest = self.of_steps(steps);
        match end {
            End::Downwards if nearest > value => self.of_steps(steps - 1.0),
            End::Upwards if nearest < value => self.of_steps(steps + 1.0),
            _ => nearest,
        }
    }

    fn in_steps(self, value: f64) -> f64 {
        let power = 10.0_f64.powi(self.decimals.abs());
        if self.decimals >= 0 { value * power } else { value / power }
    }

    /// Powers of ten up to the 22nd are exact, so that the quotient is the double nearest to the
    /// decimal number.
    fn of_steps(self, steps: f64) -> f64 {
        let power = 10.0_f64.powi(self.decimals.abs());
        if self.decimals >= 0 { steps / power } else { steps * power }
    }

    /// How a sheet shows it, zeros at its end included.
    pub(super) fn number_format(self) -> String {
        match usize::try_from(self.decimals) {
            Ok(decimals) if decimals > 0 => format!("0.{}", "0".repeat(decimals)),
            _ => "0".to_owned(),
        }
    }
}

/// A number without two bounds: six digits, beyond which are those of the machine.
pub(super) fn short(value: f64) -> f64 {
    format!("{value:.5e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rounded(value: f64, low: f64, high: f64) -> [f64; 3] {
        let how = Rounding::of(low, high).unwrap();
        [
            how.apply(low, End::Downwards),
            how.apply(value, End::Nearest),
            how.apply(high, End::Upwards),
        ]
    }

    #[test]
    fn a_value_ends_where_its_bounds_begin_to_differ() {
        assert_eq!(rounded(1.23456, 1.18, 1.29), [1.18, 1.23, 1.29]);
        assert_eq!(rounded(1.23456, 1.0, 1.5), [1.0, 1.2, 1.5]);
        assert_eq!(rounded(1234.56, 1100.0, 1390.0), [1100.0, 1200.0, 1400.0]);
        assert_eq!(rounded(-0.0312, -0.0334, -0.029), [-0.034, -0.031, -0.029]);
        // Half the width is exactly a power of ten.
        assert_eq!(rounded(1.4, 0.5, 2.5), [0.0, 1.0, 3.0]);
    }

    #[test]
    fn bounds_still_hold_the_value_and_what_they_held() {
        for n in 1..2000 {
            let value = f64::from(n) * 0.017_31;
            for half in [0.000_3, 0.004, 0.05, 0.099_99, 0.1, 0.6, 7.0, 30.0] {
                let (low, high) = (value - half, value + 1.3 * half);
                let how = Rounding::of(low, high).unwrap();
                let [down, near, up] = rounded(value, low, high);
                assert!(down <= low && low <= near + half && up >= high, "{value} {half}");
                assert!(down <= near && near <= up, "{value} {half}: {down} {near} {up}");
                assert!(
                    (near - value).abs() <= 0.25 * (high - low) * (1.0 + 1e-12),
                    "{value} {half}"
                );
                // A number that is on a digit stays where it is.
                assert_eq!(how.apply(near, End::Downwards), near);
                assert_eq!(how.apply(near, End::Upwards), near);
            }
        }
    }

    #[test]
    fn without_a_width_nothing_is_said_and_formats_show_the_zeros() {
        assert_eq!(Rounding::of(1.0, 1.0), None);
        assert_eq!(Rounding::of(2.0, 1.0), None);
        assert_eq!(Rounding::of(0.0, 0.024).unwrap().number_format(), "0.00");
        assert_eq!(Rounding::of(0.0, 24.0).unwrap().number_format(), "0");
        assert_eq!(Rounding::of(0.0, 1e-30).unwrap().number_format(), "0.000000000");
        assert_eq!(short(18.000_000_000_1), 18.0);
        assert_eq!(short(123_456.7), 123_457.0);
    }
}
