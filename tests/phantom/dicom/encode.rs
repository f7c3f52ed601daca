//! What all objects share: identifiers, decimal strings, the patient and study modules, and the
//! way from a data set to the bytes of a file.

use dicom_core::dictionary::{DataDictionary, DataDictionaryEntry};
use dicom_core::value::{DataSetSequence, PrimitiveValue, Value};
use dicom_core::{DataElement, Tag, VR};
use dicom_dictionary_std::{StandardDataDictionary, tags, uids};
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
use sha2::{Digest, Sha256};

use super::Result;

/// A unique identifier that depends on the seed text alone: the root 2.25 of DICOM PS3.5 B.2 and,
/// as one decimal number, a UUID of version 8 (RFC 9562, 5.8) made of the first 128 bits of the
/// seed's SHA-256 digest.
pub fn uid(seed: &str) -> String {
    let digest = Sha256::digest(seed.as_bytes());
    let bits = digest.iter().take(16).fold(0u128, |n, byte| n << 8 | u128::from(*byte));
    let bits = bits & !(0xf << 76) | 0x8 << 76;
    let bits = bits & !(0x3 << 62) | 0x2 << 62;
    format!("2.25.{bits}")
}

/// A decimal string of at most 16 characters (PS3.5 6.2): the shortest text that reads back to the
/// number when it fits, otherwise the closest text that fits.
pub fn decimal(x: f64) -> String {
    let x = if x == 0.0 { 0.0 } else { x };
    let plain = (0..16).rev().map(|digits| format!("{x:.digits$}"));
    let powers = (0..16).rev().map(|digits| format!("{x:.digits$e}"));
    let shortest = [format!("{x}"), format!("{x:e}")];
    let error = |text: &String| text.parse::<f64>().map_or(f64::INFINITY, |y| (y - x).abs());
    shortest
        .into_iter()
        .chain(plain)
        .chain(powers)
        .filter(|text| text.len() <= 16)
        .min_by(|a, b| error(a).total_cmp(&error(b)).then(a.len().cmp(&b.len())))
        .unwrap_or_default()
}

/// A decimal string with at most so many decimals, without trailing zeros.
pub fn rounded(x: f64, decimals: usize) -> String {
    let text = format!("{x:.decimals$}");
    let text =
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".into() } else { text.into() }
}

/// A data set under construction; the value representation comes from the dictionary.
#[derive(Debug, Clone)]
pub(super) struct Item(pub(super) InMemDicomObject);

impl Item {
    pub(super) fn new() -> Self {
        Self(InMemDicomObject::new_empty())
    }

    fn vr(tag: Tag) -> VR {
        StandardDataDictionary.by_tag(tag).map_or(VR::LO, |entry| entry.vr().relaxed())
    }

    pub(super) fn value(&mut self, tag: Tag, vr: VR, value: PrimitiveValue) -> &mut Self {
        self.0.put(DataElement::new(tag, vr, value));
        self
    }

    /// One text; empty text gives an element without value.
    pub(super) fn text(&mut self, tag: Tag, text: &str) -> &mut Self {
        let value =
            if text.is_empty() { PrimitiveValue::Empty } else { PrimitiveValue::from(text) };
        self.value(tag, Self::vr(tag), value)
    }

    /// Several texts.
    pub(super) fn texts(&mut self, tag: Tag, texts: Vec<String>) -> &mut Self {
        self.value(tag, Self::vr(tag), PrimitiveValue::Strs(texts.into()))
    }

    /// Decimal strings.
    pub(super) fn decimals(&mut self, tag: Tag, numbers: &[f64]) -> &mut Self {
        self.texts(tag, numbers.iter().map(|x| decimal(*x)).collect())
    }

    /// An integer string.
    pub(super) fn integer(&mut self, tag: Tag, number: impl std::fmt::Display) -> &mut Self {
        self.text(tag, &number.to_string())
    }

    /// An unsigned short.
    pub(super) fn short(&mut self, tag: Tag, number: u16) -> &mut Self {
        self.value(tag, VR::US, PrimitiveValue::from(number))
    }

    pub(super) fn sequence(&mut self, tag: Tag, items: Vec<Self>) -> &mut Self {
        let items: Vec<InMemDicomObject> = items.into_iter().map(|item| item.0).collect();
        self.0.put(DataElement::new(tag, VR::SQ, Value::from(DataSetSequence::from(items))));
        self
    }

    /// A sequence of one item that names an instance, and more about it.
    pub(super) fn reference(class: &str, instance: &str) -> Self {
        let mut item = Self::new();
        item.text(tags::REFERENCED_SOP_CLASS_UID, class)
            .text(tags::REFERENCED_SOP_INSTANCE_UID, instance);
        item
    }

    pub(super) fn built(&mut self) -> Self {
        self.clone()
    }
}

/// Bytes before the file meta information: the preamble and its prefix.
const PREAMBLE: usize = 132;

/// How much of the file format of PS3.10 surrounds the data set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wrapping {
    /// Preamble, prefix and file meta information.
    Full,
    /// File meta information, but neither preamble nor prefix.
    NoPreamble,
    /// The data set alone.
    BareDataSet,
}

/// How the data set is encoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// Implicit VR little endian.
    ImplicitLittle,
    /// Explicit VR little endian.
    ExplicitLittle,
    /// Explicit VR big endian (retired).
    ExplicitBig,
    /// Deflated explicit VR little endian.
    Deflated,
}

impl Encoding {
    const fn uid(self) -> &'static str {
        match self {
            Self::ImplicitLittle => uids::IMPLICIT_VR_LITTLE_ENDIAN,
            Self::ExplicitLittle => uids::EXPLICIT_VR_LITTLE_ENDIAN,
            Self::ExplicitBig => "1.2.840.10008.1.2.2",
            Self::Deflated => uids::DEFLATED_EXPLICIT_VR_LITTLE_ENDIAN,
        }
    }
}

/// Who and what an object is: the same for every kind of object.
#[derive(Debug, Clone, PartialEq)]
pub struct Header {
    /// Patient ID.
    pub patient_id: String,
    /// Patient's Name.
    pub patient_name: String,
    /// Patient's Birth Date, as DICOM writes it.
    pub birth_date: String,
    /// Patient's Sex.
    pub sex: String,
    /// Date of the study and of the object, as DICOM writes it.
    pub date: String,
    /// Study Instance UID.
    pub study_uid: String,
    /// Series Instance UID.
    pub series_uid: String,
    /// SOP Instance UID.
    pub instance_uid: String,
    /// Frame of Reference UID; empty leaves it out.
    pub frame_uid: String,
    /// Manufacturer of the exporting software.
    pub manufacturer: String,
    /// Its model name.
    pub model: String,
    /// Encoding of the data set.
    pub encoding: Encoding,
    /// What surrounds it.
    pub wrapping: Wrapping,
}

impl Header {
    /// An object of a patient: study and frame of reference depend on the patient, series and
    /// instance on the object's seed as well.
    pub fn new(patient_id: &str, object: &str) -> Self {
        Self {
            patient_id: patient_id.into(),
            patient_name: format!("Invented^{patient_id}"),
            birth_date: "19500101".into(),
            sex: "O".into(),
            date: "20200102".into(),
            study_uid: uid(&format!("{patient_id}/study")),
            series_uid: uid(&format!("{patient_id}/{object}/series")),
            instance_uid: uid(&format!("{patient_id}/{object}")),
            frame_uid: uid(&format!("{patient_id}/frame")),
            manufacturer: "Invented".into(),
            model: "Phantom".into(),
            encoding: Encoding::ExplicitLittle,
            wrapping: Wrapping::Full,
        }
    }

    /// The common modules of an object of a class and modality.
    pub(super) fn item(&self, class: &str, modality: &str) -> Item {
        let mut item = Item::new();
        item.text(tags::SPECIFIC_CHARACTER_SET, "ISO_IR 192")
            .text(tags::SOP_CLASS_UID, class)
            .text(tags::SOP_INSTANCE_UID, &self.instance_uid)
            .text(tags::STUDY_DATE, &self.date)
            .text(tags::STUDY_TIME, "080000")
            .text(tags::ACCESSION_NUMBER, "")
            .text(tags::MODALITY, modality)
            .text(tags::MANUFACTURER, &self.manufacturer)
            .text(tags::REFERRING_PHYSICIAN_NAME, "")
            .text(tags::MANUFACTURER_MODEL_NAME, &self.model)
            .text(tags::PATIENT_NAME, &self.patient_name)
            .text(tags::PATIENT_ID, &self.patient_id)
            .text(tags::PATIENT_BIRTH_DATE, &self.birth_date)
            .text(tags::PATIENT_SEX, &self.sex)
            .text(tags::SOFTWARE_VERSIONS, "1")
            .text(tags::STUDY_INSTANCE_UID, &self.study_uid)
            .text(tags::SERIES_INSTANCE_UID, &self.series_uid)
            .text(tags::STUDY_ID, "1")
            .text(tags::OPERATORS_NAME, "")
            .integer(tags::SERIES_NUMBER, 1);
        if !self.frame_uid.is_empty() {
            item.text(tags::FRAME_OF_REFERENCE_UID, &self.frame_uid)
                .text(tags::POSITION_REFERENCE_INDICATOR, "");
        }
        item
    }

    /// The bytes of the file.
    pub(super) fn bytes(&self, item: Item) -> Result<Vec<u8>> {
        let mut out = Vec::new();
        let meta = FileMetaTableBuilder::new()
            .transfer_syntax(self.encoding.uid())
            .implementation_class_uid(uid("phantom"))
            .implementation_version_name("PHANTOM");
        item.0.with_meta(meta)?.write_all(&mut out)?;
        Ok(match self.wrapping {
            Wrapping::Full => out,
            Wrapping::NoPreamble => out.split_off(PREAMBLE),
            Wrapping::BareDataSet => {
                // The value of the group length counts what follows its own twelve bytes.
                let length = out.get(PREAMBLE + 8..PREAMBLE + 12).ok_or("no group length")?;
                let length = u32::from_le_bytes(length.try_into()?) as usize;
                out.split_off(PREAMBLE + 12 + length)
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// UUID version 8 and variant 10, RFC 9562 section 4; at most 64 characters (PS3.5 9.1).
    #[test]
    fn identifiers_are_version_8_uuids() {
        let text = uid("a");
        let number: u128 = text.strip_prefix("2.25.").unwrap().parse().unwrap();
        assert_eq!((number >> 76) & 0xf, 8);
        assert_eq!((number >> 62) & 3, 2);
        assert!(text.len() <= 44);
        assert_eq!(uid("a"), text);
        assert_ne!(uid("b"), text);
    }

    /// PS3.5 6.2: a decimal string has at most 16 characters.
    #[test]
    fn decimal_strings_fit_and_are_closest() {
        assert_eq!(decimal(1.0), "1");
        assert_eq!(decimal(-0.0), "0");
        assert_eq!(decimal(1.0 / 3.0), "0.33333333333333");
        assert_eq!(decimal(-1.0 / 3.0), "-0.3333333333333");
        assert_eq!(decimal(1e-9 / 3.0), "3.3333333333e-10");
        for x in [1.234_567_890_123_456_7e-5, -9.876_543_210_987_654e20, 123_456.789_012_345_6] {
            let text = decimal(x);
            assert!(text.len() <= 16, "{text}");
            assert!((text.parse::<f64>().unwrap() / x - 1.0).abs() < 1e-9, "{text}");
        }
        assert_eq!(rounded(-0.001, 2), "0");
        assert_eq!(rounded(12.50, 2), "12.5");
        assert_eq!(rounded(100.0, 0), "100");
    }
}
