//! Rows 107 to 130: how a file is written down (PS3.5, PS3.10).

use tidydose_rt::FileStatus;
use tidydose_rt::finding::Code;

use super::Change::{Course as C, Files as F};
use super::Effect::{File, Same};
use super::{Files, Row, doubtful_object, row};
use crate::archive::Course;
use crate::phantom::dicom::{Encoding, Tag, Wrapping, raw, tags};

const GROUP_LENGTH: Tag = Tag(0x0002, 0x0000);
const PRIVATE: Tag = Tag(0x0011, 0x1001);
const ITEM: Tag = Tag(0xFFFE, 0xE000);

fn dose(files: &mut Files) -> &mut Vec<u8> {
    files.get_mut("dose.dcm").unwrap()
}

fn set(files: &mut Files) -> &mut Vec<u8> {
    files.get_mut("structures.dcm").unwrap()
}

fn written(course: &mut Course, encoding: Encoding) {
    course.headers().into_iter().for_each(|h| h.encoding = encoding);
}

/// An element in implicit little endian.
fn implicit(tag: Tag, value: &[u8]) -> Vec<u8> {
    let head = [tag.group().to_le_bytes(), tag.element().to_le_bytes()].concat();
    [&head[..], &(value.len() as u32).to_le_bytes(), value].concat()
}

/// Puts the first elements of a tag in front of Image Position.
fn private(files: &mut Files, bytes: &[u8]) {
    raw::insert(dose(files), tags::IMAGE_POSITION_PATIENT, bytes);
}

fn renamed(files: &mut Files, charset: &str, name: &[u8]) {
    let bytes = set(files);
    raw::set(bytes, tags::SPECIFIC_CHARACTER_SET, b"CS", charset);
    raw::replace(bytes, tags::ROI_NAME, &raw::element(tags::ROI_NAME, b"LO", name));
}

pub const TABLES: &[&[Row]] = &[ENVELOPES, ELEMENTS, TEXTS];

const REFUSED: super::Effect = File("dose.dcm", FileStatus::Refused);

const ENVELOPES: &[Row] = &[
    row(
        107,
        "no preamble, no file meta",
        C(|c| {
            c.headers().into_iter().for_each(|h| h.wrapping = Wrapping::BareDataSet);
        }),
        Some(Code::FileWithoutMeta),
        Same,
    ),
    doubtful_object(
        108,
        "file meta without its group length",
        F(|files| {
            raw::take(dose(files), GROUP_LENGTH);
        }),
        Code::FileMetaDamaged,
        Same,
    ),
    doubtful_object(
        108,
        "file meta without transfer syntax",
        F(|files| {
            raw::take(dose(files), tags::TRANSFER_SYNTAX_UID);
        }),
        Code::FileMetaDamaged,
        Same,
    ),
    doubtful_object(
        109,
        "file meta written implicitly",
        F(|files| {
            let bytes = dose(files);
            let syntax = implicit(tags::TRANSFER_SYNTAX_UID, b"1.2.840.10008.1.2.1\0");
            let at = bytes.windows(4).position(|w| w == [8, 0, 5, 0]).unwrap();
            bytes.splice(132..at, syntax);
        }),
        Code::FileMetaDamaged,
        Same,
    ),
    doubtful_object(
        110,
        "a transfer syntax that is not the one used",
        F(|files| {
            raw::set(dose(files), tags::TRANSFER_SYNTAX_UID, b"UI", "1.2.840.10008.1.2\0\0");
        }),
        Code::FileMetaDamaged,
        Same,
    ),
    row(111, "deflated", C(|c| written(c, Encoding::Deflated)), None, Same),
    row(112, "explicit big endian, 32 bits", C(|c| written(c, Encoding::ExplicitBig)), None, Same),
    doubtful_object(
        134,
        "another SOP Instance UID in the file meta",
        F(|files| {
            let tag = tags::MEDIA_STORAGE_SOP_INSTANCE_UID;
            let mut value = raw::value(dose(files), tag);
            value[8] = if value[8] == b'1' { b'2' } else { b'1' };
            raw::replace(dose(files), tag, &raw::element(tag, b"UI", &value));
        }),
        Code::FileMetaDamaged,
        Same,
    ),
];

const ELEMENTS: &[Row] = &[
    row(
        113,
        "known attributes as UN",
        F(|files| {
            for tag in [tags::DOSE_GRID_SCALING, tags::ROWS, tags::PIXEL_SPACING] {
                let value = raw::value(dose(files), tag);
                raw::replace(dose(files), tag, &raw::element(tag, b"UN", &value));
            }
        }),
        Some(Code::UnknownRepresentation),
        Same,
    ),
    row(
        114,
        "a private sequence as UN, implicit inside",
        F(|files| {
            let inside = implicit(tags::DOSE_COMMENT, b"what");
            let item = [&implicit(ITEM, &[])[..4], &u32::MAX.to_le_bytes(), &inside].concat();
            let ends = [implicit(Tag(0xFFFE, 0xE00D), &[]), implicit(Tag(0xFFFE, 0xE0DD), &[])];
            let head = raw::head(PRIVATE, b"UN", u32::MAX);
            private(files, &[head, item, ends.concat()].concat());
        }),
        None,
        Same,
    ),
    row(
        115,
        "a length beyond the end of the file",
        F(|files| {
            private(files, &raw::head(PRIVATE, b"OB", 0xFFFF_FFF0));
        }),
        Some(Code::FileDamaged),
        REFUSED,
    ),
    row(
        116,
        "sequences nested a hundred deep",
        F(|files| {
            let one = [
                raw::head(tags::REFERENCED_RT_PLAN_SEQUENCE, b"SQ", u32::MAX),
                [&implicit(ITEM, &[])[..4], &u32::MAX.to_le_bytes()].concat(),
            ];
            private(files, &one.concat().repeat(100));
        }),
        Some(Code::FileDamaged),
        REFUSED,
    ),
    row(
        117,
        "zeros behind the data set",
        F(|files| dose(files).extend([0; 100])),
        Some(Code::FileTrailingBytes),
        Same,
    ),
    row(
        118,
        "an odd length",
        F(|files| {
            private(files, &raw::element(tags::PATIENT_COMMENTS, b"LT", b"odd"));
        }),
        None,
        Same,
    ),
    row(
        119,
        "an empty sequence, and one with an empty item",
        F(|files| {
            let tag = Tag(0x3006, 0x0012);
            raw::insert(set(files), tags::STRUCTURE_SET_ROI_SEQUENCE, &raw::head(tag, b"SQ", 0));
            let item = implicit(ITEM, &[]);
            let one = raw::element(tags::RT_RELATED_ROI_SEQUENCE, b"SQ", &item);
            raw::insert(set(files), tags::ROI_GENERATION_ALGORITHM, &one);
        }),
        None,
        Same,
    ),
    doubtful_object(
        120,
        "the file ends without the delimiters of a sequence",
        F(|files| {
            let tag = tags::REFERENCED_STRUCTURE_SET_SEQUENCE;
            let bytes = dose(files);
            // Behind the pixel data, where nothing is out of order but the sequence itself.
            bytes.extend(raw::head(Tag(0x7FE1, 0x1001), b"SQ", u32::MAX));
            bytes.extend([&implicit(ITEM, &[])[..4], &u32::MAX.to_le_bytes()].concat());
            bytes.extend(raw::element(tag, b"SQ", &[]));
        }),
        Code::FileEndMissing,
        Same,
    ),
    row(
        121,
        "an attribute twice with two values",
        F(|files| {
            let other = raw::element(tags::DOSE_GRID_SCALING, b"DS", b"1 ");
            raw::insert(dose(files), tags::DOSE_GRID_SCALING, &other);
        }),
        Some(Code::AttributeInvalid),
        REFUSED,
    ),
    row(
        122,
        "attributes out of order",
        F(|files| {
            let bytes = dose(files);
            let scaling = raw::take(bytes, tags::DOSE_GRID_SCALING);
            bytes.extend(scaling);
            let patient = raw::take(bytes, tags::PATIENT_ID);
            raw::insert(bytes, tags::IMAGE_POSITION_PATIENT, &patient);
        }),
        None,
        Same,
    ),
];

const TEXTS: &[Row] = &[
    doubtful_object(
        123,
        "a comma for the decimal point",
        F(|files| {
            raw::set(dose(files), tags::PIXEL_SPACING, b"DS", "3,0\\3,0");
        }),
        Code::AttributeDoubtful,
        Same,
    ),
    row(
        124,
        "numbers that a locale could spoil",
        F(|files| {
            raw::set(dose(files), tags::PIXEL_SPACING, b"DS", "3.000\\300e-2");
        }),
        None,
        Same,
    ),
    row(
        125,
        "blanks, NUL, leading zeros, signs, exponents",
        F(|files| {
            raw::set(dose(files), tags::PIXEL_SPACING, b"DS", " +003. \\ 0.3E+001\0");
        }),
        None,
        Same,
    ),
    doubtful_object(
        125,
        "an empty last value",
        F(|files| {
            raw::set(dose(files), tags::PIXEL_SPACING, b"DS", "3\\3\\");
        }),
        Code::AttributeDoubtful,
        Same,
    ),
    row(
        126,
        "not a number",
        F(|files| {
            raw::set(dose(files), tags::DOSE_GRID_SCALING, b"DS", "NaN");
        }),
        Some(Code::AttributeInvalid),
        REFUSED,
    ),
    row(
        126,
        "an exponent of Fortran",
        F(|files| {
            raw::set(dose(files), tags::DOSE_GRID_SCALING, b"DS", "1.5D-3");
        }),
        Some(Code::AttributeInvalid),
        REFUSED,
    ),
    doubtful_object(
        127,
        "a whole number with a decimal point",
        F(|files| {
            raw::set(dose(files), tags::NUMBER_OF_FRAMES, b"IS", "14.0");
        }),
        Code::AttributeDoubtful,
        Same,
    ),
    row(
        128,
        "a UID padded with blanks",
        F(|files| {
            let tag = tags::FRAME_OF_REFERENCE_UID;
            let uid = String::from_utf8(raw::value(dose(files), tag)).unwrap();
            raw::set(dose(files), tag, b"UI", &format!("{}  ", uid.trim_end_matches('\0')));
        }),
        None,
        Same,
    ),
    doubtful_object(
        129,
        "UTF-8 labelled as Latin-1",
        F(|files| {
            renamed(files, "ISO_IR 100", "Größe".as_bytes());
        }),
        Code::CharacterSetGuessed,
        Same,
    ),
    doubtful_object(
        129,
        "Latin-1 labelled as UTF-8",
        F(|files| {
            renamed(files, "ISO IR 192", b"Gr\xf6\xdfe ");
        }),
        Code::CharacterSetGuessed,
        Same,
    ),
    row(
        130,
        "escape sequences of ISO 2022",
        F(|files| {
            renamed(files, "\\ISO 2022 IR 87", b"\x1b$B;3ED\x1b(B ");
        }),
        None,
        Same,
    ),
];
