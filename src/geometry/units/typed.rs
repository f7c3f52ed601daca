//! Numbers as people type them in files that they edit by hand. In half of Europe `2.400` is two
//! thousand four hundred, in the other half and in English it is two and four tenths; a spreadsheet
//! shows either for the same number. What can be both is asked about and never guessed.
//!
//! | typed | is |
//! |---|---|
//! | `24`, `-3`, `1e3` | itself |
//! | `22.5`, `22,5`, `18.00`, `2.4000`, `0.125`, `,5` | a decimal: behind the mark stand one, two, or four and more digits, or before it a zero or nothing |
//! | `2.400`, `18.000`, `1,000` | refused: three digits behind the only mark, one to three before it and no zero in front, so that the mark can separate thousands as well |
//! | `1.234,5`, `1,234.50`, `1.234,567` | the last mark is the decimal one, the others separate thousands |
//! | `1.234.567`, `1 234`, `1'234,5` | thousands, since a mark that is there twice, a blank or an apostrophe is no decimal mark |
//! | `1.23.456`, `12,3456,7`, `20 Gy`, `inf` | refused: no number |
//!
//! In a column copied from one printed report ([`decimal_mark`], [`number_beside`]) the cells that can
//! be read in one way only say what the mark of the others is.

/// Why a text is no number that can be taken.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotANumber {
    /// It is none by any reading.
    #[error("is no number")]
    None,
    /// The mark can be a decimal one or separate thousands.
    #[error("can mean {small} or {large}; {small} or {large} would be accepted")]
    Ambiguous {
        /// With a decimal mark.
        small: f64,
        /// With thousands.
        large: f64,
    },
}

/// Reads a number by the rules of the table above; finite ones only.
///
/// # Errors
/// When it is none, or can be two.
pub fn number(text: &str) -> Result<f64, NotANumber> {
    let text = text.trim();
    let (sign, unsigned) = match text.strip_prefix('-') {
        Some(rest) => (-1.0, rest),
        None => (1.0, text.strip_prefix('+').unwrap_or(text)),
    };
    if unsigned.starts_with(['+', '-']) {
        return Err(NotANumber::None);
    }
    let marks: Vec<(usize, char)> = unsigned.match_indices(is_mark).filter_map(mark).collect();
    let parsed = match marks.as_slice() {
        [] => plain(unsigned),
        [(at, '.' | ',')] => one_mark(unsigned, *at, sign)?,
        _ => grouped(unsigned, &marks),
    };
    parsed.map(|value| sign * value).ok_or(NotANumber::None)
}

/// The mark that is a decimal one in every number of a column that has but one reading and one mark;
/// absent where there is none, or two.
#[must_use]
pub fn decimal_mark<'a>(column: impl IntoIterator<Item = &'a str>) -> Option<char> {
    let mut found = None;
    for text in column {
        let mut marks = text.chars().filter(|c| is_mark(*c));
        let (Some(mark @ ('.' | ',')), None) = (marks.next(), marks.next()) else { continue };
        if number(text).is_ok() && found.replace(mark).is_some_and(|before| before != mark) {
            return None;
        }
    }
    found
}

/// As [`number`], in a column of which the decimal mark is known.
///
/// # Errors
/// As [`number`]; nothing is ambiguous where `decimal` is there.
pub fn number_beside(text: &str, decimal: Option<char>) -> Result<f64, NotANumber> {
    match (number(text), decimal) {
        (Err(NotANumber::Ambiguous { small, large }), Some(mark)) => {
            Ok(if text.contains(mark) { small } else { large })
        }
        (read, _) => read,
    }
}

fn is_mark(c: char) -> bool {
    // Blanks between thousands: plain, no-break, narrow no-break; apostrophes: typed and printed.
    matches!(c, '.' | ',' | ' ' | '\u{A0}' | '\u{202F}' | '\'' | '\u{2019}')
}

fn mark((at, text): (usize, &str)) -> Option<(usize, char)> {
    text.chars().next().map(|c| (at, c))
}

/// Without any mark but a decimal point.
fn plain(text: &str) -> Option<f64> {
    // Words such as "inf" and "nan" are numbers to the parser and none to a person.
    let digits =
        text.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | 'e' | 'E' | '-' | '+'));
    let value: f64 = text.parse().ok().filter(|_| digits)?;
    value.is_finite().then_some(value)
}

fn one_mark(text: &str, at: usize, sign: f64) -> Result<Option<f64>, NotANumber> {
    let (before, behind) = (&text[..at], &text[at + 1..]);
    let Some(small) = plain(&format!("{before}.{behind}")) else { return Ok(None) };
    let group = (1..=3).contains(&before.len()) && !before.starts_with('0');
    if !group || behind.len() != 3 || !all_digits(before) || !all_digits(behind) {
        return Ok(Some(small));
    }
    let large = plain(&format!("{before}{behind}")).ok_or(NotANumber::None)?;
    Err(NotANumber::Ambiguous { small: sign * small, large: sign * large })
}

/// Several marks, or one that is no decimal mark: groups of three digits, and a decimal mark behind
/// them that is another one.
fn grouped(text: &str, marks: &[(usize, char)]) -> Option<f64> {
    let (first, last) = (marks.first()?, marks.last()?);
    let decimal =
        matches!(last.1, '.' | ',') && marks.iter().filter(|m| m.1 == last.1).count() == 1;
    let (whole, behind) = match decimal {
        true => (text.get(..last.0)?, text.get(last.0 + 1..)?),
        false => (text, ""),
    };
    let separators = &marks[..marks.len() - usize::from(decimal)];
    if separators.iter().any(|(_, c)| *c != first.1) {
        return None;
    }
    let mut groups = whole.split(first.1);
    let head = groups.next().filter(|g| (1..=3).contains(&g.len()) && !g.starts_with('0'))?;
    let tail: Vec<&str> = groups.collect();
    let right = all_digits(head) && tail.iter().all(|g| g.len() == 3 && all_digits(g));
    (right && all_digits(behind)).then(|| plain(&format!("{head}{}.{behind}", tail.concat())))?
}

fn all_digits(text: &str) -> bool {
    text.bytes().all(|b| b.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_read_as_it_was_meant() {
        for (typed, value) in [
            ("24", 24.0),
            ("-3", -3.0),
            ("+3", 3.0),
            ("1e3", 1000.0),
            ("2E-3", 0.002),
            ("1234", 1234.0),
            ("22.5", 22.5),
            ("22,5", 22.5),
            ("18.0", 18.0),
            ("18,00", 18.0),
            ("2.4000", 2.4),
            ("1234.567", 1234.567),
            ("0.125", 0.125),
            ("0,500", 0.5),
            (",5", 0.5),
            (".125", 0.125),
            ("7.", 7.0),
            ("1.234,5", 1234.5),
            ("1,234.50", 1234.5),
            ("1.234,567", 1234.567),
            ("1.234.567", 1_234_567.0),
            ("1,234,567.5", 1_234_567.5),
            ("1 234", 1234.0),
            ("1\u{202F}234,5", 1234.5),
            ("1'234.5", 1234.5),
            (" 20 ", 20.0),
        ] {
            assert_eq!(number(typed), Ok(value), "{typed}");
        }
    }

    #[test]
    fn what_can_be_two_numbers_is_asked_about() {
        for (typed, small, large) in [
            ("2.400", 2.4, 2400.0),
            ("18.000", 18.0, 18000.0),
            ("1,000", 1.0, 1000.0),
            ("-1,000", -1.0, -1000.0),
            ("124.500", 124.5, 124_500.0),
        ] {
            assert_eq!(number(typed), Err(NotANumber::Ambiguous { small, large }), "{typed}");
        }
        let said = number("2.400").unwrap_err().to_string();
        assert_eq!(said, "can mean 2.4 or 2400; 2.4 or 2400 would be accepted");
    }

    #[test]
    fn other_cells_of_a_column_settle_what_a_mark_is() {
        assert_eq!(decimal_mark(["1.250", "12.5", "", "n/a"]), Some('.'));
        assert_eq!(decimal_mark(["1.250", "12,5"]), Some(','));
        assert_eq!(decimal_mark(["1.250", "2.400", "7"]), None);
        assert_eq!(decimal_mark(["1.25", "2,5"]), None, "two ways of writing");
        assert_eq!(number_beside("1.250", Some('.')), Ok(1.25));
        assert_eq!(number_beside("1.250", Some(',')), Ok(1250.0));
        assert!(number_beside("1.250", None).is_err());
        assert_eq!(number_beside("1.25", Some(',')), Ok(1.25));
    }

    #[test]
    fn what_is_no_number_is_none() {
        for typed in [
            "",
            " ",
            "-",
            ".",
            ",",
            "20 Gy",
            "inf",
            "nan",
            "1.23.456",
            "12,3456,7",
            "1,2,3",
            "1.2.3",
            "01.234.567",
            "1.234,5,6",
            "1 23",
            "1.234 567",
            "0x10",
            "٢٤",
            "1e999",
            "a,b",
            "1.2e",
            "--3",
        ] {
            assert_eq!(number(typed), Err(NotANumber::None), "{typed}");
        }
    }
}
