//! Typed access to the attributes of an object: a handful of small functions, each of which either
//! gives a value, or nothing where the attribute is absent or empty, or an error that names the
//! attribute, the value found and what would be accepted. Must not know which object it serves.

use std::cell::RefCell;

use chrono::{Datelike, NaiveDate};
use dicom_core::value::{PrimitiveValue, Value};
use dicom_core::{Tag, VR};
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;

use super::dictionary::{dictionary_vr, keyword};
use super::error::Error;
use super::number::{Decimals, PADDING, decimals, integer};
use super::remark::Remarks;
use tidydose_rt::finding::Code;

/// An object or an item of a sequence, with the place where odd things are noted.
#[derive(Clone, Copy)]
pub(super) struct Attributes<'a> {
    object: &'a InMemDicomObject,
    remarks: &'a RefCell<Remarks>,
}

impl<'a> Attributes<'a> {
    /// The attributes of `object`; what is odd goes to `remarks`.
    pub(super) const fn new(object: &'a InMemDicomObject, remarks: &'a RefCell<Remarks>) -> Self {
        Self { object, remarks }
    }

    /// Notes something odd about one attribute.
    pub(super) fn note(&self, code: Code, tag: Tag, message: impl Into<String>) {
        self.remarks.borrow_mut().about(code, tag, message);
    }

    /// Notes something odd about one structure.
    pub(super) fn note_roi(&self, code: Code, number: i64, message: impl Into<String>) {
        self.remarks.borrow_mut().roi(code, number, message);
    }

    /// The text as stored but for padding; nothing when absent or empty.
    pub(super) fn text(&self, tag: Tag) -> Option<&'a str> {
        match self.object.get(tag)?.value() {
            Value::Primitive(PrimitiveValue::Str(text)) => {
                Some(text.trim_matches(PADDING)).filter(|text| !text.is_empty())
            }
            _ => None,
        }
    }

    /// The first value of a code string, in upper case.
    pub(super) fn code(&self, tag: Tag) -> Option<String> {
        self.codes(tag).into_iter().next()
    }

    /// All values of a code string, in upper case, empty ones left out.
    pub(super) fn codes(&self, tag: Tag) -> Vec<String> {
        let values = self.text(tag).unwrap_or_default().split('\\');
        let upper = values.map(|value| value.trim_matches(PADDING).to_ascii_uppercase());
        upper.filter(|value| !value.is_empty()).collect()
    }

    /// A UID without padding.
    pub(super) fn uid(&self, tag: Tag) -> Option<&'a str> {
        self.text(tag)
    }

    /// A UID that must be there.
    pub(super) fn required_uid(&self, tag: Tag) -> Result<&'a str, Error> {
        self.uid(tag).ok_or_else(|| missing(tag, "a UID"))
    }

    /// A decimal string or a binary number.
    pub(super) fn number(&self, tag: Tag) -> Result<Option<f64>, Error> {
        let numbers = self.numbers(tag)?;
        match numbers.as_slice() {
            [] => Ok(None),
            [value] => Ok(Some(*value)),
            more => Err(wrong_count(tag, more.len(), "one number")),
        }
    }

    /// A number that must be there.
    pub(super) fn required_number(&self, tag: Tag) -> Result<f64, Error> {
        self.number(tag)?.ok_or_else(|| missing(tag, "a number"))
    }

    /// A number that the object can do without: what cannot be read is noted and left out.
    pub(super) fn optional_number(&self, tag: Tag) -> Option<f64> {
        self.number(tag).unwrap_or_else(|error| {
            self.note(Code::AttributeDoubtful, tag, format!("{}; left out", error.message()));
            None
        })
    }

    /// All numbers of an attribute; empty when absent.
    pub(super) fn numbers(&self, tag: Tag) -> Result<Vec<f64>, Error> {
        let accepted = "finite numbers such as 1.5 or -2E-3, separated by backslashes";
        let Some(element) = self.object.get(tag) else { return Ok(Vec::new()) };
        match element.value() {
            Value::Primitive(PrimitiveValue::Empty) => Ok(Vec::new()),
            Value::Primitive(PrimitiveValue::Str(text)) => match decimals(text) {
                Ok(Decimals { value, repaired, overlong }) => {
                    if repaired {
                        let message = "a comma for the point, or an empty last value; repaired";
                        self.note(Code::AttributeDoubtful, tag, message);
                    }
                    if overlong {
                        self.note(Code::NumberOverlong, tag, "longer than 16 characters");
                    }
                    Ok(value)
                }
                Err(component) => Err(invalid(tag, &component, accepted)),
            },
            Value::Primitive(value) if element.vr() != VR::UN => value
                .to_multi_float64()
                .ok()
                .filter(|numbers| numbers.iter().all(|n| n.is_finite()))
                .ok_or_else(|| invalid(tag, "bytes", accepted)),
            _ => Err(invalid(tag, "something else", accepted)),
        }
    }

    /// Exactly `N` numbers; nothing when absent.
    pub(super) fn vector<const N: usize>(&self, tag: Tag) -> Result<Option<[f64; N]>, Error> {
        let numbers = self.numbers(tag)?;
        if numbers.is_empty() {
            return Ok(None);
        }
        let found = numbers.len();
        let vector = <[f64; N]>::try_from(numbers).ok();
        vector.map(Some).ok_or_else(|| wrong_count(tag, found, &N.to_string()))
    }

    /// Exactly `N` numbers that must be there.
    pub(super) fn required_vector<const N: usize>(&self, tag: Tag) -> Result<[f64; N], Error> {
        self.vector(tag)?.ok_or_else(|| missing(tag, &format!("{N} numbers")))
    }

    /// An integer string or a binary integer.
    pub(super) fn integer(&self, tag: Tag) -> Result<Option<i64>, Error> {
        let Some(element) = self.object.get(tag) else { return Ok(None) };
        match element.value() {
            Value::Primitive(PrimitiveValue::Empty) => Ok(None),
            Value::Primitive(PrimitiveValue::Str(text)) => {
                let text = text.trim_matches(PADDING);
                if text.is_empty() {
                    return Ok(None);
                }
                let parsed = integer(text).ok_or_else(|| invalid(tag, text, "a whole number"))?;
                if parsed.repaired {
                    let message = "a whole number with a decimal point; read as whole";
                    self.note(Code::AttributeDoubtful, tag, message);
                }
                Ok(Some(parsed.value))
            }
            Value::Primitive(value) if element.vr() != VR::UN => {
                value.to_int().map(Some).map_err(|_| invalid(tag, "bytes", "a whole number"))
            }
            _ => Err(invalid(tag, "something else", "a whole number")),
        }
    }

    /// An integer that must be there.
    pub(super) fn required_integer(&self, tag: Tag) -> Result<i64, Error> {
        self.integer(tag)?.ok_or_else(|| missing(tag, "a whole number"))
    }

    /// An integer that the object can do without.
    pub(super) fn optional_integer(&self, tag: Tag) -> Option<i64> {
        self.integer(tag).unwrap_or_else(|error| {
            self.note(Code::AttributeDoubtful, tag, format!("{}; left out", error.message()));
            None
        })
    }

    /// A 16-bit unsigned integer that must be there.
    pub(super) fn required_u16(&self, tag: Tag) -> Result<u16, Error> {
        let value = self.required_integer(tag)?;
        u16::try_from(value).map_err(|_| invalid(tag, &value.to_string(), "0 to 65535"))
    }

    /// The first tag that an attribute points to.
    pub(super) fn pointer(&self, tag: Tag) -> Option<Tag> {
        match self.object.get(tag)?.value() {
            Value::Primitive(PrimitiveValue::Tags(tags)) => tags.first().copied(),
            _ => None,
        }
    }

    /// A calendar date, where it is one and no dummy: years before 1970 or after 2100 are none.
    pub(super) fn date(&self, tag: Tag) -> Option<NaiveDate> {
        date(self.text(tag)?)
    }

    /// A date of the calendar, dummy or not.
    pub(super) fn calendar_day(&self, tag: Tag) -> Option<NaiveDate> {
        calendar_day(self.text(tag)?)
    }

    /// The items of a sequence that hold anything; none when absent.
    pub(super) fn items(&self, tag: Tag) -> impl Iterator<Item = Self> + use<'a> {
        let items = self.object.get(tag).and_then(|element| element.items()).unwrap_or_default();
        let remarks = self.remarks;
        items
            .iter()
            .filter(|item| item.iter().next().is_some())
            .map(move |object| Self { object, remarks })
    }

    /// The first item of a sequence.
    pub(super) fn first_item(&self, tag: Tag) -> Option<Self> {
        self.items(tag).next()
    }

    /// Referenced SOP Instance UID (0008,1155) of each item of a sequence.
    pub(super) fn references(&self, tag: Tag) -> Vec<&'a str> {
        self.items(tag).filter_map(|item| item.uid(tags::REFERENCED_SOP_INSTANCE_UID)).collect()
    }
}

/// The error for an attribute that must be there and is not.
pub(super) fn missing(tag: Tag, accepted: &str) -> Error {
    let message = format!("{} is absent or empty; accepted is {accepted}", keyword(tag));
    Error::new(Code::AttributeMissing, message).about(tag)
}

/// The error for a value that cannot be. The value itself goes to the terminal; the sentence,
/// which may leave the hospital, shows it only where it cannot name anybody.
pub(super) fn invalid(tag: Tag, found: &str, accepted: &str) -> Error {
    let shown = shown(tag, found);
    let message = format!("{} is {shown}; accepted is {accepted}", keyword(tag));
    Error::new(Code::AttributeInvalid, message).about(tag).found(found)
}

/// The error for a wrong number of values, or another contradiction that is told in a sentence.
fn wrong_count(tag: Tag, found: usize, accepted: &str) -> Error {
    let message = format!("{} has {found} values; accepted is {accepted}", keyword(tag));
    Error::new(Code::AttributeInvalid, message).about(tag)
}

/// A code string in capitals, or a number of up to 16 characters; of anything else the length.
fn shown(tag: Tag, found: &str) -> String {
    let number = |c: char| c.is_ascii_digit() || "+-.,".contains(c);
    let code = |c: char| c.is_ascii_uppercase() || c.is_ascii_digit() || "_ ".contains(c);
    let harmless = match dictionary_vr(tag) {
        Some(VR::CS) => found.chars().all(code),
        Some(VR::DS | VR::IS | VR::US) => {
            found.chars().all(number) || matches!(found, "nan" | "NaN" | "inf" | "-inf")
        }
        _ => false,
    };
    match found.chars().count() {
        0 => "empty".to_owned(),
        n if harmless && n <= 16 => format!("\"{found}\""),
        n => format!("a text of {n} characters"),
    }
}

/// A calendar date, where the text is one and no dummy: years before 1970 or after 2100 are none.
pub(super) fn date(text: &str) -> Option<NaiveDate> {
    calendar_day(text).filter(|date| (1970..=2100).contains(&date.year()))
}

/// Year, month and day from eight digits, whatever stands between them.
fn calendar_day(text: &str) -> Option<NaiveDate> {
    let digits = || text.bytes().filter(u8::is_ascii_digit).map(|digit| u32::from(digit - b'0'));
    if digits().count() != 8 {
        return None;
    }
    let number = digits().fold(0, |number, digit| 10 * number + digit);
    let year = i32::try_from(number / 10_000).ok()?;
    NaiveDate::from_ymd_opt(year, number / 100 % 100, number % 100)
}

/// Days from 1970-01-01 to a date.
pub(super) fn days(date: NaiveDate) -> i64 {
    date.signed_duration_since(NaiveDate::default()).num_days()
}

#[cfg(test)]
mod tests {
    use dicom_core::DataElement;

    use super::*;

    fn with<T>(tag: Tag, vr: VR, value: &str, read: impl FnOnce(Attributes<'_>) -> T) -> T {
        let value = PrimitiveValue::Str(value.to_owned());
        let object = InMemDicomObject::from_element_iter([DataElement::new(tag, vr, value)]);
        let remarks = RefCell::new(Remarks::default());
        read(Attributes::new(&object, &remarks))
    }

    #[test]
    fn an_error_says_what_was_found_and_what_is_accepted() {
        let tag = tags::NUMBER_OF_FRAMES;
        let error = with(tag, VR::IS, "1.5", |a| a.integer(tag)).unwrap_err();
        assert_eq!(error.message(), "NumberOfFrames is \"1.5\"; accepted is a whole number");
        assert_eq!(error.attribute().as_deref(), Some("NumberOfFrames (0028,0008)"));
        assert_eq!(error.value_found(), Some("1.5"));
    }

    #[test]
    fn a_value_that_may_name_somebody_is_not_in_the_sentence() {
        let tag = tags::DOSE_GRID_SCALING;
        for name in ["Person", "PAT-0001"] {
            let error = with(tag, VR::DS, name, |a| a.number(tag)).unwrap_err();
            assert!(!error.message().contains(name), "{}", error.message());
            assert_eq!(error.value_found(), Some(name));
        }
    }

    #[test]
    fn absent_and_empty_are_the_same() {
        let tag = tags::PLAN_INTENT;
        assert_eq!(with(tag, VR::CS, " ", |a| a.code(tag)), None);
        assert_eq!(with(tag, VR::CS, "research ", |a| a.code(tag)).as_deref(), Some("RESEARCH"));
        let spacing = tags::PIXEL_SPACING;
        assert_eq!(with(spacing, VR::DS, "", |a| a.vector::<2>(spacing)).unwrap(), None);
        assert!(with(spacing, VR::DS, "1", |a| a.vector::<2>(spacing)).is_err());
        assert_eq!(
            with(spacing, VR::DS, "", |a| a.required_vector::<2>(spacing)).unwrap_err().code(),
            Code::AttributeMissing
        );
    }

    #[test]
    fn dates_must_exist_and_be_plausible() {
        let tag = tags::RT_PLAN_DATE;
        let date = |value| with(tag, VR::DA, value, |a| a.date(tag));
        assert_eq!(date("20240229"), NaiveDate::from_ymd_opt(2024, 2, 29));
        assert_eq!(date("2024.02.29"), NaiveDate::from_ymd_opt(2024, 2, 29));
        for value in ["20230229", "19000101", "2024022", "202402290"] {
            assert_eq!(date(value), None, "{value}");
        }
    }
}
