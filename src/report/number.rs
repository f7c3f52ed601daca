//! Numbers and words for a reader. Rounded only here; the page carries the full value beside each.

pub(super) use tidydose_table::clinical_words::counted;

/// A value with two decimals, fewer for large ones, as many as it takes for small ones.
pub(super) fn shown(value: f64) -> String {
    let size = value.abs();
    let digits = match size {
        s if s >= 100.0 => 1,
        s if s >= 0.1 || s == 0.0 => 2,
        _ => 3,
    };
    let text = format!("{value:.digits$}");
    // A negative value that rounds to nothing is nothing.
    if text.trim_start_matches(['-', '0', '.']).is_empty() {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

/// A value with three significant digits, in plain notation down to a millionth.
pub(super) fn rounded(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { "0".to_owned() } else { value.to_string() };
    }
    if value.abs() < 1e-6 {
        return format!("{value:.0e}");
    }
    #[expect(clippy::cast_possible_truncation, reason = "a power of ten")]
    let ten = value.abs().log10().floor() as i32;
    let digits = usize::try_from(2 - ten).unwrap_or(0);
    format!("{value:.digits$}")
}

/// A value with four decimals at most and no zeros behind.
pub(super) fn plain(value: f64) -> String {
    let text = format!("{value:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// Low to high, or the one side there is; empty without bounds.
pub(super) fn bounds(low: Option<f64>, high: Option<f64>) -> String {
    match (low, high) {
        (Some(low), Some(high)) => format!("{} to {}", shown(low), shown(high)),
        (Some(low), None) => format!("at least {}", shown(low)),
        (None, Some(high)) => format!("at most {}", shown(high)),
        (None, None) => String::new(),
    }
}

/// The numbers of fractions that a limit is for, in words.
pub(super) fn fractions_of_limit(list: &str) -> String {
    if list == "1" { "1 fraction".to_owned() } else { format!("{list} fractions") }
}

/// A place in mm, to a tenth: no grid and no contour is known better.
pub(super) fn position(mm: f64) -> String {
    format!("{mm:.1}")
}

/// A word of the tables as running text.
pub(super) fn spaced(word: &str) -> String {
    word.replace('_', " ")
}

/// The value below which `percent` % of the sorted list lies, linear between neighbours.
pub(super) fn percentile(sorted: &[f64], percent: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    #[expect(clippy::cast_precision_loss, reason = "a count of cases")]
    let place = percent / 100.0 * last as f64;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to last")]
    let below = (place.floor() as usize).min(last);
    let (a, b) = (*sorted.get(below)?, *sorted.get((below + 1).min(last))?);
    Some(a + (b - a) * place.fract())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_never_lose_their_sign_or_side() {
        assert_eq!(
            [18.7076, 0.0, -0.0001, 0.0345, 1234.56].map(shown),
            ["18.71", "0.00", "0.000", "0.035", "1234.6"].map(str::to_owned)
        );
        assert_eq!(shown(-1.0), "-1.00");
        assert_eq!(
            [2.000_000_000_3, 100.0, 0.0, -0.000_01, 22.074_287].map(plain),
            ["2", "100", "0", "0", "22.0743"].map(str::to_owned)
        );
        assert_eq!(
            [0.0, 0.000_123_4, 0.045_67, 1.2345, -12.345, 1234.5, 2e-9].map(rounded),
            ["0", "0.000123", "0.0457", "1.23", "-12.3", "1234", "2e-9"].map(str::to_owned)
        );
        assert_eq!(bounds(Some(1.0), None), "at least 1.00");
        assert_eq!(bounds(Some(1.0), Some(2.0)), "1.00 to 2.00");
        assert_eq!(counted(1, "case"), "1 case");
    }

    #[test]
    fn percentiles_lie_on_the_line_between_neighbours() {
        let list = [1.0, 2.0, 3.0, 4.0, 5.0];
        assert_eq!(percentile(&list, 50.0), Some(3.0));
        assert_eq!(percentile(&list, 10.0), Some(1.4));
        assert_eq!(percentile(&list, 100.0), Some(5.0));
        assert_eq!(percentile(&[], 50.0), None);
    }
}
