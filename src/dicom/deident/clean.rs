//! The walk that builds the de-identified data set from the allow-list, and counts what was done.
//! Builds a new object and copies into it; nothing is left over by omission.

use std::collections::BTreeMap;

use chrono::Days;
use dicom_core::dictionary::UidDictionary;
use dicom_core::header::DataElementHeader;
use dicom_core::value::{DataSetSequence, PrimitiveValue, Value};
use dicom_core::{DataElement, Length, Tag, VR};
use dicom_dictionary_std::{StandardSopClassDictionary, tags};
use dicom_object::InMemDicomObject;
use dicom_object::mem::InMemElement;

use super::personal::Personal;
use super::rules::{Rule, SCHEMES, TERMS, rule};
use super::{AttributeAction, AttributeGroup, Choices};
use crate::attribute;
use crate::dictionary::dictionary_vr;
use crate::error::Error;
use crate::number::decimals;
use crate::quirks::withheld_name::WITHHELD;
use tidydose_rt::finding::Code;
use tidydose_rt::identity::{Identity, Kind, Token};

/// Characters that may stand around a value.
const PADDING: [char; 2] = [' ', '\0'];

/// One object on its way.
pub(super) struct Cleaner<'a> {
    identity: &'a Identity,
    patient: Option<&'a Token>,
    personal: &'a Personal,
    choices: Choices,
    /// How many of which attributes were treated how.
    done: BTreeMap<(AttributeGroup, AttributeAction), usize>,
    /// A whole number that ties the object together and is one of the patient's.
    telling: Option<Tag>,
}

impl<'a> Cleaner<'a> {
    /// One who has done nothing yet.
    pub(super) const fn new(
        identity: &'a Identity,
        patient: Option<&'a Token>,
        personal: &'a Personal,
        choices: Choices,
    ) -> Self {
        Self { identity, patient, personal, choices, done: BTreeMap::new(), telling: None }
    }

    /// How many of which attributes were treated how.
    ///
    /// # Errors
    /// When a whole number that cannot be left out is one of the patient's.
    pub(super) fn done(self) -> Result<BTreeMap<(AttributeGroup, AttributeAction), usize>, Error> {
        match self.telling {
            None => Ok(self.done),
            Some(tag) => {
                let message = "is a number of the patient; a copy without it would fall apart, \
                               so none is made";
                Err(Error::new(Code::AttributeInvalid, message).about(tag))
            }
        }
    }

    /// The data set or item, with what may stay.
    pub(super) fn data_set(&mut self, from: &InMemDicomObject) -> InMemDicomObject {
        let mut to = InMemDicomObject::new_empty();
        for element in from {
            let tag = element.header().tag;
            let kind = rule(tag);
            if tag == tags::SPECIFIC_CHARACTER_SET {
                continue; // everything is written as UTF-8
            }
            let made = kind.and_then(|kind| self.element(kind, element, from));
            let treatment =
                made.as_ref().map_or(AttributeAction::Removed, |(_, treatment)| *treatment);
            *self.done.entry((AttributeGroup::of(tag, kind), treatment)).or_insert(0) += 1;
            if let Some((value, _)) = made {
                let vr = dictionary_vr(tag).unwrap_or_else(|| element.vr());
                to.put(DataElement::new(tag, vr, value));
            }
        }
        to
    }

    /// The new value and what was done; nothing when it cannot stay.
    fn element(
        &mut self,
        rule: Rule,
        element: &InMemElement,
        around: &InMemDicomObject,
    ) -> Option<(Value<InMemDicomObject>, AttributeAction)> {
        if rule == Rule::Sequence {
            let items = element.items()?.iter().map(|item| self.data_set(item)).collect::<Vec<_>>();
            let sequence = DataSetSequence::new(items, Length::UNDEFINED);
            return Some((sequence.into(), AttributeAction::Kept));
        }
        let Value::Primitive(value) = element.value() else { return None };
        if matches!(value, PrimitiveValue::Empty) || rule == Rule::Empty {
            let done =
                if rule == Rule::Empty { AttributeAction::Emptied } else { AttributeAction::Kept };
            return Some((PrimitiveValue::Empty.into(), done));
        }
        if rule == Rule::Number {
            return self.number(value, element.header());
        }
        let PrimitiveValue::Str(text) = value else { return None };
        let (text, done) = self.text(rule, text.trim_matches(PADDING), element, around)?;
        let value = if text.is_empty() { PrimitiveValue::Empty } else { text.into() };
        Some((value.into(), done))
    }

    fn text(
        &mut self,
        rule: Rule,
        text: &str,
        element: &InMemElement,
        around: &InMemDicomObject,
    ) -> Option<(String, AttributeAction)> {
        let kept = |stays: bool| stays.then(|| (text.to_owned(), AttributeAction::Kept));
        let replaced = |token: String| Some((token, AttributeAction::Replaced));
        match rule {
            Rule::Term => kept(text.split('\\').all(|term| {
                let term = term.trim_matches(PADDING).to_ascii_uppercase();
                term.is_empty() || TERMS.contains(&term.as_str())
            })),
            Rule::ClassUid => kept(StandardSopClassDictionary.by_uid(text).is_some()),
            Rule::Uid => replaced(self.identity.uid(text)),
            Rule::Patient => replaced(self.patient.map(ToString::to_string).unwrap_or_default()),
            Rule::Date => Some(self.date(text)),
            Rule::StructureName => Some(match self.personal.found_in(text) {
                Some(_) => (WITHHELD.to_owned(), AttributeAction::Withheld),
                None => (text.to_owned(), AttributeAction::Kept),
            }),
            Rule::Label => match self.personal.found_in(text) {
                None if self.choices.keep_labels => kept(true),
                found => {
                    let withheld = self.choices.keep_labels && found.is_some();
                    let done = if withheld {
                        AttributeAction::Withheld
                    } else {
                        AttributeAction::Replaced
                    };
                    Some((self.identity.token(Kind::Label, text).to_string(), done))
                }
            },
            Rule::Machine => replaced(self.identity.token(Kind::Machine, text).to_string()),
            Rule::Device if self.choices.keep_device => Some(match self.personal.found_in(text) {
                Some(_) => (String::new(), AttributeAction::Withheld),
                None => (text.to_owned(), AttributeAction::Kept),
            }),
            Rule::Device => Some((String::new(), AttributeAction::Emptied)),
            Rule::Sex => Some(match self.choices.keep_characteristics {
                true if ["F", "M", "O"].contains(&text) => (text.to_owned(), AttributeAction::Kept),
                _ => (String::new(), AttributeAction::Emptied),
            }),
            Rule::Age => self.choices.keep_characteristics.then(|| age(text)).flatten(),
            Rule::Body => kept(
                self.choices.keep_characteristics
                    && decimals(text).is_ok()
                    && !self.personal.has_digits(text),
            ),
            Rule::Institution => {
                kept(self.choices.keep_institution && self.personal.found_in(text).is_none())
            }
            Rule::Code => self.code(element.header().tag, text, around),
            Rule::Number | Rule::Empty | Rule::Sequence => None,
        }
    }

    /// A number, unless somebody typed one of the patient's in its place. A decimal is left empty
    /// then; a whole number ties the object together.
    fn number(
        &mut self,
        value: &PrimitiveValue,
        header: &DataElementHeader,
    ) -> Option<(Value<InMemDicomObject>, AttributeAction)> {
        if !number(value, header.vr) {
            return None;
        }
        if let PrimitiveValue::Str(text) = value
            && text.split('\\').any(|part| self.personal.has_digits(part))
        {
            if header.vr == VR::IS {
                self.telling = Some(header.tag);
            }
            return Some((PrimitiveValue::Empty.into(), AttributeAction::Withheld));
        }
        Some((value.clone().into(), AttributeAction::Kept))
    }

    /// A date of the patient, shifted as everywhere in the product; empty where it is none.
    fn date(&self, text: &str) -> (String, AttributeAction) {
        let shift = self.patient.map(|p| self.identity.day(p, 0).0.unsigned_abs());
        let shifted = match (attribute::date(text), shift) {
            (Some(date), Some(shift)) if !self.choices.drop_dates => {
                date.checked_sub_days(Days::new(shift))
            }
            _ => None,
        };
        match shifted {
            Some(date) => (date.format("%Y%m%d").to_string(), AttributeAction::Shifted),
            None => (String::new(), AttributeAction::Emptied),
        }
    }

    /// A code of a scheme of the standard: short, with a digit, of nobody's numbers.
    fn code(
        &self,
        tag: Tag,
        text: &str,
        around: &InMemDicomObject,
    ) -> Option<(String, AttributeAction)> {
        let of = |tag| around.get(tag).and_then(|e| e.to_str().ok());
        let scheme = of(tags::CODING_SCHEME_DESIGNATOR)?.trim_matches(PADDING).to_owned();
        let code = of(tags::CODE_VALUE)?.trim_matches(PADDING).to_owned();
        let plain = |c: char| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '-';
        let fits = SCHEMES.contains(&scheme.as_str())
            && (1..=16).contains(&code.len())
            && code.chars().all(plain)
            && code.chars().any(|c| c.is_ascii_digit())
            && !self.personal.has_number(&code);
        if !fits {
            return None;
        }
        match tag {
            tags::CODE_MEANING => Some((code, AttributeAction::Replaced)),
            _ => Some((text.to_owned(), AttributeAction::Kept)),
        }
    }
}

/// An age as the standard writes it (`045Y`); above 89 years 90, as so few are so old.
fn age(text: &str) -> Option<(String, AttributeAction)> {
    const MOST_YEARS: u16 = 89;
    let (number, unit) = text.split_at_checked(3)?;
    let number: u16 = number.parse().ok()?;
    let years = match unit {
        "D" | "W" | "M" => 0,
        "Y" => number,
        _ => return None,
    };
    Some(match years {
        0..=MOST_YEARS => (format!("{number:03}{unit}"), AttributeAction::Kept),
        _ => (format!("{:03}Y", MOST_YEARS + 1), AttributeAction::Replaced),
    })
}

/// Whether every value is a number. Binary words can spell a text, so where the standard has one, one
/// there must be; a pointer must be to the positions of the frames.
fn number(value: &PrimitiveValue, vr: VR) -> bool {
    match value {
        PrimitiveValue::Str(text) => decimals(text).is_ok(),
        PrimitiveValue::Tags(to) => to.as_slice() == [tags::GRID_FRAME_OFFSET_VECTOR],
        PrimitiveValue::U8(_) | PrimitiveValue::Strs(_) => false,
        _ => vr != VR::UN && value.multiplicity() == 1,
    }
}
