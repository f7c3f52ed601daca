//! What is known of a patient and of the people around them, gathered over all their objects, and
//! the check of a text against it. Held in memory only; never printed.

use dicom_core::VR;
use dicom_core::value::Value;
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;

use crate::quirks::withheld_name::Identifiers;

/// Numbers and names of one patient.
#[derive(Debug, Clone, Default)]
pub struct Personal {
    numbers: Vec<String>,
    names: Vec<String>,
    birth_dates: Vec<String>,
}

/// As many digits in a row name a number of somebody, or a date.
const LONGEST_NUMBER: usize = 4;

impl Personal {
    /// Adds what an object says at any level.
    pub(super) fn gather(&mut self, object: &InMemDicomObject) {
        for element in object {
            let tag = element.header().tag;
            match element.value() {
                Value::Sequence(items) => items.items().iter().for_each(|item| self.gather(item)),
                Value::Primitive(value) => {
                    let text = value.to_str();
                    let all = text.split('\\').map(|part| part.trim_matches([' ', '\0']));
                    let all = all.filter(|part| !part.is_empty()).map(str::to_owned);
                    let number = matches!(
                        tag,
                        tags::PATIENT_ID | tags::ACCESSION_NUMBER | tags::DEVICE_SERIAL_NUMBER
                    ) || tag.group() == 0x0010 && element.vr() == VR::LO;
                    match element.vr() {
                        VR::PN => self.names.extend(all),
                        _ if tag == tags::PATIENT_BIRTH_DATE => self.birth_dates.extend(all),
                        _ if number => self.numbers.extend(all),
                        _ => {}
                    }
                }
                Value::PixelSequence(_) => {}
            }
        }
    }

    /// Adds what another object says.
    pub fn append(&mut self, mut other: Self) {
        self.numbers.append(&mut other.numbers);
        self.names.append(&mut other.names);
        self.birth_dates.append(&mut other.birth_dates);
    }

    /// Whether a text is one of the numbers.
    pub(super) fn has_number(&self, text: &str) -> bool {
        self.numbers.iter().any(|number| number.eq_ignore_ascii_case(text))
    }

    /// Whether a number as it is typed is one of theirs, or the birth date: the same digits, as far
    /// as there are more than stand for anything else.
    pub(super) fn has_digits(&self, text: &str) -> bool {
        fn whole(text: &str) -> Option<&str> {
            let digits = text.trim().trim_start_matches(['+', '0']);
            let digits = digits.split_once('.').map_or(digits, |(whole, rest)| {
                if rest.bytes().all(|b| b == b'0') { whole } else { "" }
            });
            let long = digits.len() > LONGEST_NUMBER;
            (long && digits.bytes().all(|b| b.is_ascii_digit())).then_some(digits)
        }
        let Some(typed) = whole(text) else { return false };
        let theirs = self.numbers.iter().chain(&self.birth_dates);
        theirs.filter_map(|number| whole(number)).any(|number| number == typed)
    }

    /// What a text gives away, in words; nothing when it is harmless.
    pub(super) fn found_in(&self, text: &str) -> Option<&'static str> {
        let people = self.names.join("=");
        let none = [String::new()];
        let births = if self.birth_dates.is_empty() { &none[..] } else { &self.birth_dates };
        births
            .iter()
            .find_map(|birth| {
                let numbers = self.numbers.iter().map(String::as_str);
                Identifiers::new(numbers, &people, birth).found_in(text)
            })
            .or_else(|| suspicious(text))
    }
}

/// What a text gives away whoever the patient is.
fn suspicious(text: &str) -> Option<&'static str> {
    if text.contains(['^', '=']) {
        return Some("the form of a person's name");
    }
    let digits = |c: char| c.is_ascii_digit();
    let longest = text.split(|c| !digits(c)).map(str::len).max().unwrap_or(0);
    if longest > LONGEST_NUMBER {
        return Some("a long number");
    }
    let parts: Vec<&str> =
        text.split(|c: char| !(digits(c) || ".-/".contains(c))).filter(|p| !p.is_empty()).collect();
    let dated = |part: &&str| {
        let numbers: Vec<usize> =
            part.split(['.', '-', '/']).filter(|n| !n.is_empty()).map(str::len).collect();
        matches!(numbers[..], [4, 1..=2, 1..=2] | [1..=2, 1..=2, 4])
    };
    parts.iter().any(dated).then_some("a date")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn people_numbers_and_dates_are_found_and_doses_are_not() {
        let personal = Personal {
            numbers: vec!["AB-4711".into()],
            names: vec!["Quux^Zed".into(), "Operator^Otto".into()],
            birth_dates: vec!["19311111".into()],
        };
        for bad in ["GTV quux", "ab-4711", "PTV 11.11.31", "PTV otto", "GTV 2019-03-04", "n 12345"]
        {
            assert!(personal.found_in(bad).is_some(), "{bad}");
        }
        let personal = Personal { numbers: vec!["00073194".into(), "12".into()], ..personal };
        for bad in ["73194", " 0073194 ", "73194.00", "19311111"] {
            assert!(personal.has_digits(bad), "{bad}");
        }
        for good in ["12", "73194.5", "7319", "731940", "", "-73194", "20120101"] {
            assert!(!personal.has_digits(good), "{good}");
        }
        for good in ["PTV 20Gy", "V12.5", "Met 3-4", "GTV_1.2.3", "Chiasm", "PTV 2019"] {
            assert_eq!(personal.found_in(good), None, "{good}");
        }
    }
}
