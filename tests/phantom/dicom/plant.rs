//! Marks of a person put wherever the dictionary has room: every attribute, nested items, private
//! blocks, file meta group, preamble, padding.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeSet;

use dicom_core::dictionary::{DataDictionary, DataDictionaryEntry};
use dicom_core::value::{DataSetSequence, PrimitiveValue, Value};
use dicom_core::{DataElement, Length, Tag};
use dicom_dictionary_std::{StandardDataDictionary, tags};
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};

pub use dicom_core::VR;

pub const NAME: &str = "Zzyzx^Quuxbert";
/// So long that no computed number has its digits by chance, with zeros that reading it as a number
/// takes away.
pub const NUMBER: &str = "0073194628";
pub const BIRTH: &str = "19311111";
pub const TEXT: &str = "Zzyzx 0073194628 Quuxbert";

/// Groups of the dictionary that a data set can hold.
const GROUPS: &[u16] = &[
    0x0008, 0x0010, 0x0012, 0x0014, 0x0018, 0x0020, 0x0022, 0x0024, 0x0028, 0x0032, 0x0038, 0x003A,
    0x0040, 0x0042, 0x0044, 0x0046, 0x0048, 0x0050, 0x0052, 0x0054, 0x0060, 0x0062, 0x0064, 0x0066,
    0x0068, 0x0070, 0x0072, 0x0074, 0x0076, 0x0078, 0x0080, 0x0082, 0x0088, 0x0100, 0x0400, 0x2000,
    0x2010, 0x2020, 0x2100, 0x2200, 0x3002, 0x3004, 0x3006, 0x3008, 0x300A, 0x300C, 0x300E, 0x3010,
    0x4000, 0x4008, 0x4010, 0x4FFE, 0x5200,
];

/// Codes of which the standard leaves the words open: what a site writes there is free text.
const OPEN_CODES: [Tag; 2] = [tags::PLAN_INTENT, tags::FIXATION_DEVICE_TYPE];

pub fn object(bytes: &[u8]) -> InMemDicomObject {
    dicom_object::from_reader(bytes).unwrap().into_inner()
}

/// An element that holds a text.
pub fn text_element(tag: Tag, vr: VR, text: &str) -> DataElement<InMemDicomObject> {
    DataElement::new(tag, vr, PrimitiveValue::from(text))
}

/// The object as a file.
pub fn file_of(object: InMemDicomObject) -> Vec<u8> {
    let meta = FileMetaTableBuilder::new().transfer_syntax("1.2.840.10008.1.2.1");
    let mut out = Vec::new();
    object.with_meta(meta).unwrap().write_all(&mut out).unwrap();
    out
}

/// The file with some attributes of its data set put to texts.
pub fn with_texts(bytes: &[u8], texts: &[(Tag, VR, &str)]) -> Vec<u8> {
    let mut object = object(bytes);
    for (tag, vr, text) in texts {
        object.put(text_element(*tag, *vr, text));
    }
    file_of(object)
}

pub fn dictionary() -> Vec<(Tag, VR)> {
    let all = GROUPS.iter().flat_map(|g| (0..=u16::MAX).map(|e| Tag(*g, e)));
    let known =
        all.filter_map(|tag| Some((tag, StandardDataDictionary.by_tag(tag)?.vr().relaxed())));
    known.filter(|(tag, _)| tag.element() != 0 && *tag != tags::SPECIFIC_CHARACTER_SET).collect()
}

fn marker(vr: VR) -> PrimitiveValue {
    match vr {
        VR::PN => NAME.into(),
        VR::DA => BIRTH.into(),
        VR::DT => format!("{BIRTH}073194.628").into(),
        VR::UI => format!("1.2.{NUMBER}.{BIRTH}").into(),
        VR::CS => "ZZYZX".into(),
        VR::DS => NUMBER.into(),
        VR::OB | VR::UN => PrimitiveValue::U8(TEXT.as_bytes().into()),
        _ => TEXT.into(),
    }
}

/// Which attributes get a marker.
pub type Wanted<'a> = &'a dyn Fn(Tag, VR) -> bool;

/// Puts markers into everything that is absent or free text, at every level, and a private block.
fn plant(object: &mut InMemDicomObject, all: &[(Tag, VR)], wanted: Wanted<'_>, depth: usize) {
    let present: Vec<_> = object.iter().map(|e| (e.header().tag, e.vr())).collect();
    for (tag, vr) in &present {
        if *vr == VR::SQ {
            let mut element = object.take_element(*tag).unwrap();
            for item in element.items_mut().unwrap() {
                plant(item, all, wanted, depth + 1);
            }
            object.put(element);
        } else if matches!(vr, VR::LO | VR::SH | VR::LT | VR::ST | VR::UT)
            && *tag != tags::PATIENT_ID
            || OPEN_CODES.contains(tag)
        {
            object.put(DataElement::new(*tag, *vr, marker(*vr)));
        }
    }
    for (tag, vr) in all {
        if object.get(*tag).is_some() || !wanted(*tag, *vr) {
            continue;
        }
        if *vr == VR::SQ && depth < 2 {
            let item = InMemDicomObject::from_element_iter([
                DataElement::new(tags::PERSON_NAME, VR::PN, marker(VR::PN)),
                DataElement::new(tags::CODE_VALUE, VR::SH, marker(VR::SH)),
                DataElement::new(tags::CODE_MEANING, VR::LO, marker(VR::LO)),
                DataElement::new(tags::TEXT_VALUE, VR::UT, marker(VR::UT)),
                DataElement::new(Tag(0x0009, 0x1001), VR::LO, marker(VR::LO)),
            ]);
            let value = DataSetSequence::new(vec![item], Length::UNDEFINED);
            object.put(DataElement::new(*tag, VR::SQ, value));
        } else if *vr != VR::SQ {
            object.put(DataElement::new(*tag, *vr, marker(*vr)));
        }
    }
    for (element, vr) in [(0x10, VR::LO), (0x1001, VR::PN), (0x1002, VR::UN), (0x1003, VR::DS)] {
        object.put(DataElement::new(Tag(0x3287, element), vr, marker(vr)));
    }
}

/// The object as a file, with markers in preamble and file meta group.
pub fn planted_file(bytes: &[u8], all: &[(Tag, VR)], wanted: Wanted<'_>) -> Vec<u8> {
    let mut object = object(bytes);
    plant(&mut object, all, wanted, 0);
    let meta = FileMetaTableBuilder::new()
        .transfer_syntax("1.2.840.10008.1.2.1")
        .implementation_class_uid(format!("1.2.{NUMBER}"))
        .implementation_version_name("Zzyzx")
        .source_application_entity_title("Quuxbert")
        .private_information_creator_uid(format!("1.2.{BIRTH}"))
        .private_information(TEXT.as_bytes().to_vec());
    let mut out = Vec::new();
    object.with_meta(meta).unwrap().write_all(&mut out).unwrap();
    out[..TEXT.len()].copy_from_slice(TEXT.as_bytes());
    out.extend([0xFC, 0xFF, 0xFC, 0xFF, b'O', b'B', 0, 0, TEXT.len() as u8 + 1, 0, 0, 0]);
    out.extend(TEXT.as_bytes());
    out.push(0);
    out
}

/// UIDs of an object that are not those of the standard.
pub fn uids(object: &InMemDicomObject, into: &mut BTreeSet<String>) {
    for element in object {
        match element.value() {
            Value::Sequence(items) => items.items().iter().for_each(|item| uids(item, into)),
            Value::Primitive(value) if element.vr() == VR::UI => {
                let uid = value.to_str().trim_matches(['\0', ' ']).to_owned();
                if !uid.starts_with("1.2.840.10008.") && !uid.is_empty() {
                    into.insert(uid);
                }
            }
            _ => {}
        }
    }
}
