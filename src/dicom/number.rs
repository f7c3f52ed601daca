//! Decimal and integer strings (DS and IS of PS3.5 table 6.2-1) to numbers, without the process
//! locale: what the standard allows, the few deviations that leave one meaning, and nothing else.

/// A number and whether its spelling had to be repaired.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ParsedNumber<T> {
    /// The number.
    pub value: T,
    /// Whether the standard would not have it so.
    pub repaired: bool,
}

/// The numbers of a list and what was odd about their spelling.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Decimals {
    /// The numbers.
    pub value: Vec<f64>,
    /// Whether one had to be repaired.
    pub repaired: bool,
    /// Whether one is longer than the standard allows.
    pub overlong: bool,
}

/// Most characters of a decimal string (PS3.5 table 6.2-1).
const LONGEST: usize = 16;

/// What DICOM and its writers pad values with.
pub(super) const PADDING: [char; 5] = [' ', '\0', '\n', '\r', '\t'];

/// A decimal string. A comma for the point is repaired; not-a-number, infinity and Fortran's `D`
/// exponent are refused.
pub(super) fn decimal(text: &str) -> Option<ParsedNumber<f64>> {
    let text = text.trim_matches(PADDING);
    let unsigned = text.strip_prefix('+').unwrap_or(text);
    if unsigned.len() < text.len() && unsigned.starts_with(['+', '-']) {
        return None;
    }
    let comma = unsigned.matches(',').count() == 1 && !unsigned.contains('.');
    let parsed: Result<f64, _> = if comma {
        fast_float2::parse(unsigned.replace(',', "."))
    } else {
        fast_float2::parse(unsigned)
    };
    let value = parsed.ok().filter(|value| value.is_finite())?;
    unsigned
        .contains(|c: char| c.is_ascii_digit())
        .then_some(ParsedNumber { value, repaired: comma })
}

/// An integer string. `1.0` is repaired, `1.5` is refused.
pub(super) fn integer(text: &str) -> Option<ParsedNumber<i64>> {
    let text = text.trim_matches(PADDING);
    if let Ok(value) = text.parse() {
        return Some(ParsedNumber { value, repaired: false });
    }
    let value = decimal(text)?.value;
    #[allow(clippy::cast_possible_truncation)] // a whole number below 2^53
    (value.fract() == 0.0 && value.abs() < 9e15)
        .then_some(ParsedNumber { value: value as i64, repaired: true })
}

/// The numbers of a backslash-separated list, straight from its bytes; a list of 10,000 points is
/// read without a string per number. One empty component at the end is dropped, which counts as a
/// repair.
///
/// # Errors
/// The first component that is no number, as text.
pub(super) fn decimals(text: &str) -> Result<Decimals, String> {
    let trimmed = text.trim_end_matches(PADDING);
    let list = trimmed.strip_suffix('\\').unwrap_or(trimmed);
    let bytes = list.as_bytes();
    let mut numbers = Vec::with_capacity(bytes.len() / 6);
    let mut repaired = list.len() < trimmed.len();
    let (mut at, mut overlong) = (0, false);
    while at < bytes.len() {
        let rest = bytes.get(at..).unwrap_or_default();
        if let Some((value, used)) = plain(rest) {
            numbers.push(value);
            at += used;
            overlong |= used > LONGEST + 1;
            continue;
        }
        let end = rest.iter().position(|b| *b == b'\\').unwrap_or(rest.len());
        let component = list.get(at..at + end).unwrap_or_default();
        let number = decimal(component).ok_or_else(|| component.to_owned())?;
        numbers.push(number.value);
        repaired |= number.repaired;
        overlong |= component.trim_matches(PADDING).len() > LONGEST;
        at += end + 1;
    }
    Ok(Decimals { value: numbers, repaired, overlong })
}

/// The number at the beginning when a backslash or the end follows, with the bytes used up.
fn plain(bytes: &[u8]) -> Option<(f64, usize)> {
    let first = *bytes.first()?;
    if !(first.is_ascii_digit() || first == b'-' || first == b'.') {
        return None;
    }
    let (value, used): (f64, usize) = fast_float2::parse_partial(bytes).ok()?;
    let used = match bytes.get(used) {
        Some(b'\\') => used + 1,
        None => used,
        Some(_) => return None,
    };
    value.is_finite().then_some((value, used))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn usual_spellings_are_read() {
        for (text, value) in [
            ("1.5", 1.5),
            (" +1.5 ", 1.5),
            ("00350", 350.0),
            ("1.5E-006", 1.5e-6),
            ("5.e-002", 0.05),
            ("-.5\0", -0.5),
            ("1\n", 1.0),
            ("0.123456789012345678", 0.123_456_789_012_345_68),
        ] {
            assert_eq!(decimal(text), Some(ParsedNumber { value, repaired: false }), "{text:?}");
        }
        assert_eq!(decimal("1,5"), Some(ParsedNumber { value: 1.5, repaired: true }));
    }

    #[test]
    fn what_is_no_number_is_refused() {
        for text in [
            "",
            " ",
            "nan",
            "NaN",
            "inf",
            "-Infinity",
            "1e999",
            "1.5D-3",
            "0x10",
            "1,5,2",
            "1.000,5",
            "+-1",
            "1 2",
            "-",
            "abc",
        ] {
            assert_eq!(decimal(text), None, "{text:?}");
        }
    }

    #[test]
    fn integers_may_have_an_empty_fraction() {
        assert_eq!(integer(" 0042 "), Some(ParsedNumber { value: 42, repaired: false }));
        assert_eq!(integer("+7"), Some(ParsedNumber { value: 7, repaired: false }));
        assert_eq!(integer("1.0"), Some(ParsedNumber { value: 1, repaired: true }));
        assert_eq!(integer("1.5"), None);
        assert_eq!(integer("1A"), None);
    }

    #[test]
    fn lists_are_read_in_one_pass() {
        let list = decimals("1\\-2.5\\ 3 \\+4\\5e0 ").unwrap();
        let sound = |value| Decimals { value, repaired: false, overlong: false };
        assert_eq!(list, sound(vec![1.0, -2.5, 3.0, 4.0, 5.0]));
        assert!(!decimals("-1.3456789012345\\0").unwrap().overlong);
        assert!(decimals("-1.34567890123456\\0").unwrap().overlong);
        assert!(decimals("0\\ +1.34567890123456").unwrap().overlong);
        assert!(decimals("1,5\\2").unwrap().repaired);
        assert_eq!(decimals("1\\\\2"), Err(String::new()));
        assert_eq!(
            decimals("1\\2\\").unwrap(),
            Decimals { repaired: true, ..sound(vec![1.0, 2.0]) }
        );
        assert_eq!(decimals("1\\nan"), Err("nan".to_owned()));
        assert_eq!(decimals("").unwrap().value, Vec::<f64>::new());
    }
}
