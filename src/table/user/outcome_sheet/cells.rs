//! What a person means by the text of one cell: nothing, yes or no, dead or alive, a date, a number
//! with or without its unit. What can be two things is both, and never guessed.

use chrono::NaiveDate;

use tidydose_geometry::units::typed::{self, NotANumber};

/// Days in a month: 365.25 / 12.
pub const MONTH: f64 = 30.4375;

/// What people write where they know nothing. Small letters.
const NOTHING: &[&str] = &[
    "",
    "na",
    "n/a",
    "n.a.",
    "#n/a",
    "nan",
    "null",
    "?",
    "??",
    ".",
    "-",
    "--",
    "–",
    "—",
    "unknown",
    "unk",
    "not known",
    "missing",
    "nd",
    "n.d.",
    "not available",
    "not applicable",
    "unbekannt",
    "k.a.",
    "k. a.",
    "keine angabe",
    "inconnu",
    "desconocido",
    "ignoto",
    "sconosciuto",
];
const YES: &[&str] = &[
    "1", "y", "yes", "true", "x", "+", "pos", "positive", "present", "ja", "j", "wahr", "oui", "o",
    "vrai", "si", "sí", "sì", "s", "sim", "evet",
];
const NO: &[&str] = &[
    "0", "n", "no", "false", "neg", "negative", "none", "absent", "never", "nein", "falsch", "non",
    "faux", "não", "nao", "hayır", "hayir",
];
const DEAD: &[&str] = &[
    "dead",
    "died",
    "deceased",
    "death",
    "d",
    "dod",
    "expired",
    "tot",
    "verstorben",
    "gestorben",
    "mort",
    "décédé",
    "decede",
    "décédée",
    "muerto",
    "muerta",
    "fallecido",
    "morto",
    "morta",
];
const ALIVE: &[&str] = &[
    "alive", "living", "lives", "a", "lebt", "lebend", "am leben", "vivant", "vivante", "en vie",
    "vivo", "viva", "vive",
];

fn small(text: &str) -> String {
    text.trim().to_lowercase()
}

/// Whether a cell says that nothing is known.
#[must_use]
pub fn is_nothing(text: &str) -> bool {
    NOTHING.contains(&small(text).as_str())
}

/// Yes or no.
#[must_use]
pub fn answer(text: &str) -> Option<bool> {
    let text = small(text);
    // A number that a spreadsheet gave a decimal.
    let text = text.strip_suffix(".0").unwrap_or(&text);
    if YES.contains(&text) {
        return Some(true);
    }
    NO.contains(&text).then_some(false)
}

/// Whether somebody is dead.
#[must_use]
pub fn is_dead(text: &str) -> Option<bool> {
    let word = small(text);
    if DEAD.contains(&word.as_str()) {
        return Some(true);
    }
    if ALIVE.contains(&word.as_str()) { Some(false) } else { answer(&word) }
}

/// A date as it can be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DateRead {
    /// In one way.
    One(NaiveDate, DateOrder),
    /// Day and month can be exchanged.
    Either {
        /// Where the day comes first.
        day_first: NaiveDate,
        /// Where the month comes first.
        month_first: NaiveDate,
    },
    /// A month of a year, without its day.
    WithoutDay,
}

/// What a date that can be read in one way says of others of its column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DateOrder {
    /// Nothing: it begins with the year, has the month in letters, or day and month are the same.
    Silent,
    /// The day comes first.
    DayFirst,
    /// The month comes first.
    MonthFirst,
}

/// The beginnings of the names of the months in the languages of the word lists above.
const MONTHS: [&[&str]; 12] = [
    &["jan", "jän", "janv", "ene", "gen"],
    &["feb", "fév", "fev"],
    &["mar", "mär", "mrz"],
    &["apr", "avr", "abr"],
    &["may", "mai", "mag"],
    &["jun", "juin", "giu"],
    &["jul", "juil", "lug"],
    &["aug", "aoû", "aou", "ago"],
    &["sep", "set"],
    &["oct", "okt", "ott", "out"],
    &["nov"],
    &["dec", "dez", "déc", "dic"],
];

fn month_of(word: &str) -> Option<u32> {
    let word = word.to_lowercase();
    let found = MONTHS.iter().position(|names| names.iter().any(|n| word.starts_with(n)))?;
    u32::try_from(found + 1).ok()
}

/// Reads a date; a time of day behind it is left away.
#[must_use]
pub fn date(text: &str) -> Option<DateRead> {
    let text = text.trim();
    // `2019-08-24T00:00:00`, `24.08.2019 00:00`: a colon is in no date.
    let text = match text.find(':') {
        Some(colon) => text.get(..colon)?.rsplit_once([' ', 'T'])?.0.trim_end_matches([',', ' ']),
        None => text,
    };
    if text.len() == 8 && text.bytes().all(|b| b.is_ascii_digit()) {
        return exactly(text.get(..4)?, text.get(4..6)?, text.get(6..)?);
    }
    let parts: Vec<&str> =
        text.split(['-', '/', '.', ' ', ',']).filter(|part| !part.is_empty()).collect();
    match parts.as_slice() {
        [a, b, c] => of_three(a, b, c),
        [a, b] => {
            let year = |t: &str| t.len() == 4 && number(t).is_some_and(|y| YEARS.contains(&y));
            let month = |t: &str| match number(t) {
                Some(n) => t.len() <= 2 && (1..=12).contains(&n),
                None => month_of(t).is_some(),
            };
            let partial = (year(a) && month(b)) || (month(a) && year(b));
            partial.then_some(DateRead::WithoutDay)
        }
        _ => None,
    }
}

/// Years in which patients were treated or seen; anything else is no date.
const YEARS: std::ops::RangeInclusive<i32> = 1900..=2100;

fn of_three(a: &str, b: &str, c: &str) -> Option<DateRead> {
    if a.len() == 4 && number(a).is_some() {
        return match month_of(b) {
            Some(month) => exactly(a, &month.to_string(), c),
            None => exactly(a, b, c),
        };
    }
    for (word, day) in [(b, a), (a, b)] {
        if number(word).is_none()
            && let Some(month) = month_of(word)
        {
            let day = day.trim_end_matches(|c: char| c.is_ascii_alphabetic());
            return exactly(&whole_year(c)?, &month.to_string(), day);
        }
    }
    let year = whole_year(c)?;
    let read = |month: &str, day: &str| match exactly(&year, month, day) {
        Some(DateRead::One(date, _)) => Some(date),
        _ => None,
    };
    match (read(b, a), read(a, b)) {
        (Some(one), Some(other)) if one == other => Some(DateRead::One(one, DateOrder::Silent)),
        (Some(day_first), Some(month_first)) => Some(DateRead::Either { day_first, month_first }),
        (Some(date), None) => Some(DateRead::One(date, DateOrder::DayFirst)),
        (None, Some(date)) => Some(DateRead::One(date, DateOrder::MonthFirst)),
        (None, None) => None,
    }
}

/// A year of two digits is of this century up to 68, as POSIX has it.
fn whole_year(text: &str) -> Option<String> {
    match (text.len(), number(text)?) {
        (4, year) => Some(year.to_string()),
        (2, year @ 0..=68) => Some((2000 + year).to_string()),
        (2, year) => Some((1900 + year).to_string()),
        _ => None,
    }
}

fn number(text: &str) -> Option<i32> {
    text.bytes().all(|b| b.is_ascii_digit()).then(|| text.parse().ok())?
}

fn exactly(year: &str, month: &str, day: &str) -> Option<DateRead> {
    let year = number(year).filter(|y| YEARS.contains(y))?;
    let part = |text: &str| u32::try_from(number(text).filter(|_| text.len() <= 2)?).ok();
    let date = NaiveDate::from_ymd_opt(year, part(month)?, part(day)?)?;
    Some(DateRead::One(date, DateOrder::Silent))
}

/// A unit of time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Days.
    Days,
    /// Weeks of 7 days.
    Weeks,
    /// Months of [`MONTH`] days.
    Months,
    /// Years of 365.25 days.
    Years,
}

impl Unit {
    /// In days.
    #[must_use]
    pub const fn days(self) -> f64 {
        match self {
            Self::Days => 1.0,
            Self::Weeks => 7.0,
            Self::Months => MONTH,
            Self::Years => 12.0 * MONTH,
        }
    }

    /// The unit that a word names.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        let word = word.trim_end_matches('.').to_lowercase();
        Some(match word.as_str() {
            "d" | "day" | "days" | "tag" | "tage" | "tagen" | "jours" | "jour" | "días"
            | "dias" | "giorni" => Self::Days,
            "w" | "wk" | "wks" | "week" | "weeks" | "woche" | "wochen" | "semaines" => Self::Weeks,
            "m" | "mo" | "mos" | "mon" | "mth" | "mths" | "month" | "months" | "monat"
            | "monate" | "monaten" | "mois" | "meses" | "mesi" => Self::Months,
            "y" | "yr" | "yrs" | "year" | "years" | "jahr" | "jahre" | "jahren" | "ans"
            | "años" | "anni" => Self::Years,
            _ => return None,
        })
    }
}

/// A duration: its number, and its unit where the cell names one. `decimal` is the mark that the
/// other numbers of the column settle.
///
/// # Errors
/// When it is no number, or can be two.
pub fn duration(text: &str, decimal: Option<char>) -> Result<(f64, Option<Unit>), NotANumber> {
    let text = text.trim();
    let letters = text.trim_end_matches('.').chars().rev().take_while(|c| c.is_alphabetic());
    let long: usize = letters.map(char::len_utf8).sum();
    let end = text.trim_end_matches('.').len();
    let (head, word) = text.split_at(end - long);
    match Unit::of_word(word) {
        Some(unit) => Ok((typed::number_beside(head.trim(), decimal)?, Some(unit))),
        None => Ok((typed::number_beside(text, decimal)?, None)),
    }
}

/// A name of small letters a-z, digits and single underscores that begins with a letter.
#[must_use]
pub fn slug(text: &str) -> String {
    let mut out = String::new();
    for c in text.to_lowercase().chars() {
        let plain = match c {
            'ä' => "ae",
            'ö' => "oe",
            'ü' => "ue",
            'ß' => "ss",
            'à' | 'á' | 'â' | 'ã' | 'å' => "a",
            'è' | 'é' | 'ê' | 'ë' => "e",
            'ì' | 'í' | 'î' | 'ï' | 'ı' => "i",
            'ò' | 'ó' | 'ô' | 'õ' => "o",
            'ù' | 'ú' | 'û' => "u",
            'ç' => "c",
            'ñ' => "n",
            '%' => " percent ",
            _ => "",
        };
        match plain {
            "" if c.is_ascii_alphanumeric() => out.push(c),
            "" => out.push(' '),
            plain => out.push_str(plain),
        }
    }
    let name = out.split_whitespace().collect::<Vec<_>>().join("_");
    if name.starts_with(|c: char| c.is_ascii_digit()) { format!("n_{name}") } else { name }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ymd(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    #[test]
    fn a_date_is_read_in_every_form_that_a_department_writes() {
        let wanted = ymd(2019, 8, 24);
        for (text, order) in [
            ("20190824", DateOrder::Silent),
            ("2019-08-24", DateOrder::Silent),
            ("2019/8/24", DateOrder::Silent),
            ("2019-08-24 00:00:00", DateOrder::Silent),
            ("2019-08-24T13:05", DateOrder::Silent),
            ("24.08.2019", DateOrder::DayFirst),
            ("24/8/19", DateOrder::DayFirst),
            ("08/24/2019", DateOrder::MonthFirst),
            ("24-Aug-2019", DateOrder::Silent),
            ("24. August 2019", DateOrder::Silent),
            ("Aug 24th, 2019", DateOrder::Silent),
            ("24 août 2019", DateOrder::Silent),
        ] {
            assert_eq!(date(text), Some(DateRead::One(wanted, order)), "{text}");
        }
    }

    #[test]
    fn a_date_that_can_be_two_is_two() {
        let two = DateRead::Either { day_first: ymd(2022, 5, 3), month_first: ymd(2022, 3, 5) };
        for text in ["03.05.2022", "3/5/22", "03-05-2022"] {
            assert_eq!(date(text), Some(two), "{text}");
        }
        assert_eq!(date("05.05.2022"), Some(DateRead::One(ymd(2022, 5, 5), DateOrder::Silent)));
        for text in ["2022-05", "05/2022", "Mai 2022"] {
            assert_eq!(date(text), Some(DateRead::WithoutDay), "{text}");
        }
        for text in ["", "soon", "31.02.2022", "2022-13-01", "16.1", "12345678", "1.5.7.9", "8:30"]
        {
            assert_eq!(date(text), None, "{text}");
        }
    }

    #[test]
    fn words_are_understood_in_any_case() {
        for text in ["", " NA", "n/a", "?", "Unbekannt", "-"] {
            assert!(is_nothing(text), "{text}");
        }
        assert_eq!(
            ["Yes", "1.0", "ja", "0", "NEIN", "maybe"].map(answer),
            [Some(true), Some(true), Some(true), Some(false), Some(false), None]
        );
        assert_eq!(
            ["Dead", "verstorben", "lebt", "1", "0", "moved"].map(is_dead),
            [Some(true), Some(true), Some(false), Some(true), Some(false), None]
        );
    }

    #[test]
    fn a_duration_may_name_its_unit() {
        assert_eq!(duration("13,1", None), Ok((13.1, None)));
        assert_eq!(duration("9 Monate", None), Ok((9.0, Some(Unit::Months))));
        assert_eq!(duration("12mo.", None), Ok((12.0, Some(Unit::Months))));
        assert_eq!(duration("400 d", None), Ok((400.0, Some(Unit::Days))));
        assert!(duration("about 3", None).is_err());
        assert!(duration("1.250", None).is_err());
        assert_eq!(duration("1.250", Some('.')), Ok((1.25, None)));
    }

    #[test]
    fn names_are_plain_letters() {
        assert_eq!(slug("Größe des Ödems (mm)"), "groesse_des_oedems_mm");
        assert_eq!(slug("KPS %"), "kps_percent");
        assert_eq!(slug("2nd line"), "n_2nd_line");
    }
}
