//! Crafted data sets for the tests of this room: elements as a list, written in any of the native
//! encodings, with defined or undefined lengths. Written from PS3.5 alone, so that reader and
//! writer do not share a mistake.

use dicom_core::{Tag, VR};
use dicom_dictionary_std::{tags, uids};

use super::Reading;
use super::encoding::Encoding;
use super::error::Error;
use super::file_location::FileLocation;
use super::object::{Object, SourceFile};
use super::open::open_bytes;
use tidydose_rt::identity::{Identity, Token};

/// What `reader` makes of the bytes of a file, with identifiers kept.
pub(super) fn read<T>(
    bytes: Vec<u8>,
    reader: impl FnOnce(&Object<'_>) -> Result<T, Error>,
) -> Result<Reading<T>, Error> {
    read_as(&Identity::kept(), bytes, reader)
}

/// The same with identifiers as `identity` has them.
pub(super) fn read_as<T>(
    identity: &Identity,
    bytes: Vec<u8>,
    reader: impl FnOnce(&Object<'_>) -> Result<T, Error>,
) -> Result<Reading<T>, Error> {
    let (place, file) = (FileLocation::file("sample.dcm"), Token::new("F"));
    let object = open_bytes(SourceFile { place: &place, file: &file, identity }, bytes)?;
    let value = reader(&object)?;
    Ok(Reading { value, findings: object.findings() })
}

/// One element to be written.
#[derive(Debug, Clone)]
pub(super) enum Element {
    /// Text, padded to an even length.
    Text(Tag, VR, String),
    /// 16-bit words.
    Words(Tag, VR, Vec<u16>),
    /// 32-bit samples in OW.
    Samples(Tag, Vec<u32>),
    /// Bytes as they are.
    Bytes(Tag, VR, Vec<u8>),
    /// A sequence of items.
    Items(Tag, Vec<Vec<Element>>),
}

/// Text of one element.
pub(super) fn text(tag: Tag, vr: VR, value: &str) -> Element {
    Element::Text(tag, vr, value.to_owned())
}

/// A data set in one encoding.
pub(super) fn data_set(parts: &[Element], encoding: Encoding, open: bool) -> Vec<u8> {
    parts.iter().flat_map(|part| element(part, encoding, open)).collect()
}

fn u16_bytes(value: u16, encoding: Encoding) -> [u8; 2] {
    if encoding.big { value.to_be_bytes() } else { value.to_le_bytes() }
}

fn u32_bytes(value: u32, encoding: Encoding) -> [u8; 4] {
    if encoding.big { value.to_be_bytes() } else { value.to_le_bytes() }
}

fn tag_bytes(tag: Tag, e: Encoding) -> Vec<u8> {
    [u16_bytes(tag.group(), e), u16_bytes(tag.element(), e)].concat()
}

/// The head of an element of `length` bytes.
pub(super) fn head(tag: Tag, vr: VR, length: u32, e: Encoding) -> Vec<u8> {
    let mut bytes = tag_bytes(tag, e);
    if !e.explicit || tag.group() == 0xFFFE {
        bytes.extend(u32_bytes(length, e));
        return bytes;
    }
    bytes.extend(vr.to_bytes());
    let long = ["OB", "OW", "SQ", "UN", "UT", "OF", "OD", "OL", "UC", "UR", "OV", "SV", "UV"];
    if long.contains(&vr.to_string()) {
        bytes.extend([0, 0]);
        bytes.extend(u32_bytes(length, e));
    } else {
        bytes.extend(u16_bytes(u16::try_from(length).unwrap(), e));
    }
    bytes
}

fn element(part: &Element, e: Encoding, open: bool) -> Vec<u8> {
    let (tag, vr, value) = match part {
        Element::Text(tag, vr, text) => {
            let mut bytes = text.as_bytes().to_vec();
            if bytes.len() % 2 == 1 {
                bytes.push(if *vr == VR::UI { 0 } else { b' ' });
            }
            (*tag, *vr, bytes)
        }
        Element::Words(tag, vr, words) => {
            (*tag, *vr, words.iter().flat_map(|w| u16_bytes(*w, e)).collect())
        }
        Element::Samples(tag, samples) => {
            (*tag, VR::OW, samples.iter().flat_map(|w| u32_bytes(*w, e)).collect())
        }
        Element::Bytes(tag, vr, bytes) => (*tag, *vr, bytes.clone()),
        Element::Items(tag, items) => {
            let mut value: Vec<u8> =
                items.iter().flat_map(|item| item_bytes(item, e, open)).collect();
            let length = if open { u32::MAX } else { u32::try_from(value.len()).unwrap() };
            if open {
                value.extend(head(Tag(0xFFFE, 0xE0DD), VR::UN, 0, e));
            }
            return [head(*tag, VR::SQ, length, e), value].concat();
        }
    };
    // Values too long for a 16-bit length go into UN (PS3.5 6.2.2).
    let short = e.explicit && value.len() > 65_534 && !matches!(vr, VR::OW | VR::OB | VR::UN);
    let vr = if short { VR::UN } else { vr };
    [head(tag, vr, u32::try_from(value.len()).unwrap(), e), value].concat()
}

fn item_bytes(item: &[Element], e: Encoding, open: bool) -> Vec<u8> {
    let mut value = data_set(item, e, open);
    let length = if open { u32::MAX } else { u32::try_from(value.len()).unwrap() };
    if open {
        value.extend(head(Tag(0xFFFE, 0xE00D), VR::UN, 0, e));
    }
    [head(Tag(0xFFFE, 0xE000), VR::UN, length, e), value].concat()
}

/// A whole file: preamble, prefix, file meta group, data set.
pub(super) fn file(parts: &[Element], encoding: Encoding, open: bool) -> Vec<u8> {
    let syntax = match (encoding.explicit, encoding.big) {
        (false, _) => "1.2.840.10008.1.2",
        (true, false) => "1.2.840.10008.1.2.1",
        (true, true) => "1.2.840.10008.1.2.2",
    };
    with_meta(syntax, &data_set(parts, encoding, open))
}

/// Bytes of a data set behind preamble, prefix and meta group.
pub(super) fn with_meta(syntax: &str, data: &[u8]) -> Vec<u8> {
    let e = Encoding::EXPLICIT;
    let meta = data_set(&[text(tags::TRANSFER_SYNTAX_UID, VR::UI, syntax)], e, false);
    let length = u32::try_from(meta.len()).unwrap().to_le_bytes().to_vec();
    let group = Element::Bytes(Tag(0x0002, 0x0000), VR::UL, length);
    [vec![0; 128], b"DICM".to_vec(), data_set(&[group], e, false), meta, data.to_vec()].concat()
}

/// The attributes every object has.
pub(super) fn common(class: &str, uid: &str) -> Vec<Element> {
    vec![
        text(tags::SPECIFIC_CHARACTER_SET, VR::CS, "ISO_IR 100"),
        text(tags::SOP_CLASS_UID, VR::UI, class),
        text(tags::SOP_INSTANCE_UID, VR::UI, uid),
        text(tags::PATIENT_NAME, VR::PN, "Sample^Person"),
        text(tags::PATIENT_ID, VR::LO, "PAT-0001"),
    ]
}

/// A contour item; closed and planar.
pub(super) fn contour(points: &[[f64; 3]]) -> Vec<Element> {
    let numbers: Vec<String> = points.iter().flatten().map(f64::to_string).collect();
    vec![
        text(tags::CONTOUR_GEOMETRIC_TYPE, VR::CS, "CLOSED_PLANAR"),
        text(tags::NUMBER_OF_CONTOUR_POINTS, VR::IS, &points.len().to_string()),
        text(tags::CONTOUR_DATA, VR::DS, &numbers.join("\\")),
    ]
}

/// A structure set of one structure with the given contour items.
pub(super) fn structure_set(contours: Vec<Vec<Element>>) -> Vec<Element> {
    let mut parts = common(uids::RT_STRUCTURE_SET_STORAGE, "1.2.3.1");
    parts.extend([
        text(tags::STRUCTURE_SET_LABEL, VR::SH, "sample"),
        text(tags::STRUCTURE_SET_DATE, VR::DA, "20240229"),
        Element::Items(
            tags::REFERENCED_FRAME_OF_REFERENCE_SEQUENCE,
            vec![vec![text(tags::FRAME_OF_REFERENCE_UID, VR::UI, "1.2.9")]],
        ),
        Element::Items(
            tags::STRUCTURE_SET_ROI_SEQUENCE,
            vec![vec![text(tags::ROI_NUMBER, VR::IS, "7"), text(tags::ROI_NAME, VR::LO, "GTV 1")]],
        ),
        Element::Items(
            tags::ROI_CONTOUR_SEQUENCE,
            vec![vec![
                Element::Items(tags::CONTOUR_SEQUENCE, contours),
                text(tags::REFERENCED_ROI_NUMBER, VR::IS, "7"),
            ]],
        ),
        Element::Items(
            tags::RTROI_OBSERVATIONS_SEQUENCE,
            vec![vec![
                text(tags::REFERENCED_ROI_NUMBER, VR::IS, "7"),
                text(tags::RTROI_INTERPRETED_TYPE, VR::CS, "GTV"),
            ]],
        ),
    ]);
    parts
}

/// Three squares of 10 mm, 2 mm apart.
pub(super) fn squares() -> Vec<Vec<Element>> {
    [0.0, 2.0, 4.0]
        .iter()
        .map(|z| contour(&[[0.0, 0.0, *z], [10.0, 0.0, *z], [10.0, 10.0, *z], [0.0, 10.0, *z]]))
        .collect()
}

/// A dose of 2 planes, 2 rows and 3 columns; voxel `[k, i, j]` stores 100 k + 10 i + j + 1, and
/// the highest word of the first voxel is not zero.
pub(super) fn dose() -> Vec<Element> {
    let mut parts = common(uids::RT_DOSE_STORAGE, "1.2.3.2");
    parts.extend([
        text(tags::IMAGE_POSITION_PATIENT, VR::DS, "1\\2\\-3"),
        text(tags::IMAGE_ORIENTATION_PATIENT, VR::DS, "1\\0\\0\\0\\1\\0"),
        text(tags::FRAME_OF_REFERENCE_UID, VR::UI, "1.2.9"),
        Element::Words(tags::SAMPLES_PER_PIXEL, VR::US, vec![1]),
        text(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "MONOCHROME2"),
        text(tags::NUMBER_OF_FRAMES, VR::IS, "2"),
        Element::Words(tags::FRAME_INCREMENT_POINTER, VR::AT, vec![0x3004, 0x000C]),
        Element::Words(tags::ROWS, VR::US, vec![2]),
        Element::Words(tags::COLUMNS, VR::US, vec![3]),
        text(tags::PIXEL_SPACING, VR::DS, "2\\3"),
        Element::Words(tags::BITS_ALLOCATED, VR::US, vec![32]),
        Element::Words(tags::BITS_STORED, VR::US, vec![32]),
        Element::Words(tags::HIGH_BIT, VR::US, vec![31]),
        Element::Words(tags::PIXEL_REPRESENTATION, VR::US, vec![0]),
        text(tags::DOSE_UNITS, VR::CS, "GY"),
        text(tags::DOSE_TYPE, VR::CS, "PHYSICAL"),
        text(tags::DOSE_SUMMATION_TYPE, VR::CS, "PLAN"),
        text(tags::GRID_FRAME_OFFSET_VECTOR, VR::DS, "0\\2.5"),
        text(tags::DOSE_GRID_SCALING, VR::DS, "1e-4"),
        Element::Samples(
            tags::PIXEL_DATA,
            vec![65_537, 2, 3, 11, 12, 13, 101, 102, 103, 111, 112, 113],
        ),
    ]);
    parts
}

fn beam(number: &str, points: Vec<Vec<Element>>) -> Vec<Element> {
    vec![
        text(tags::TREATMENT_MACHINE_NAME, VR::SH, "MACHINE-A"),
        text(tags::PRIMARY_DOSIMETER_UNIT, VR::CS, "MU"),
        text(tags::BEAM_NUMBER, VR::IS, number),
        text(tags::BEAM_TYPE, VR::CS, "DYNAMIC"),
        text(tags::NUMBER_OF_CONTROL_POINTS, VR::IS, &points.len().to_string()),
        Element::Items(tags::CONTROL_POINT_SEQUENCE, points),
    ]
}

fn control_point(isocentre: &str, gantry: &str) -> Vec<Element> {
    let mut point = vec![text(tags::GANTRY_ANGLE, VR::DS, gantry)];
    if !isocentre.is_empty() {
        point.push(text(tags::ISOCENTER_POSITION, VR::DS, isocentre));
    }
    point
}

/// A plan of two beams with a moving isocentre, and one prescription.
pub(super) fn plan() -> Vec<Element> {
    let reference = vec![
        text(tags::DOSE_REFERENCE_NUMBER, VR::IS, "1"),
        text(tags::DOSE_REFERENCE_STRUCTURE_TYPE, VR::CS, "VOLUME"),
        text(tags::DOSE_REFERENCE_TYPE, VR::CS, "TARGET"),
        text(tags::TARGET_PRESCRIPTION_DOSE, VR::DS, "20"),
        text(tags::REFERENCED_ROI_NUMBER, VR::IS, "7"),
    ];
    let share = vec![
        text(tags::BEAM_DOSE, VR::DS, "12.5"),
        text(tags::BEAM_METERSET, VR::DS, "1500"),
        text(tags::REFERENCED_BEAM_NUMBER, VR::IS, "1"),
    ];
    let group = vec![
        text(tags::FRACTION_GROUP_NUMBER, VR::IS, "1"),
        text(tags::NUMBER_OF_FRACTIONS_PLANNED, VR::IS, "1"),
        Element::Items(tags::REFERENCED_BEAM_SEQUENCE, vec![share]),
    ];
    let beams = vec![
        beam("1", vec![control_point("1\\2\\3", "181"), control_point("", "90")]),
        beam("2", vec![control_point("1\\2\\3", "10"), control_point("4\\5\\6", "20")]),
    ];
    let set = vec![text(tags::REFERENCED_SOP_INSTANCE_UID, VR::UI, "1.2.3.1")];
    let mut parts = common(uids::RT_PLAN_STORAGE, "1.2.3.3");
    parts.extend([
        text(tags::RT_PLAN_LABEL, VR::SH, "sample"),
        text(tags::RT_PLAN_DATE, VR::DA, "20230615"),
        text(tags::PLAN_INTENT, VR::CS, "CURATIVE"),
        text(tags::RT_PLAN_GEOMETRY, VR::CS, "PATIENT"),
        Element::Items(tags::DOSE_REFERENCE_SEQUENCE, vec![reference]),
        Element::Items(tags::FRACTION_GROUP_SEQUENCE, vec![group]),
        Element::Items(tags::BEAM_SEQUENCE, beams),
        Element::Items(tags::REFERENCED_STRUCTURE_SET_SEQUENCE, vec![set]),
        text(tags::APPROVAL_STATUS, VR::CS, "APPROVED"),
    ]);
    parts
}

/// A CT slice at the given z, with pixel data of 20,000 bytes.
pub(super) fn slice(uid: &str, z: f64) -> Vec<Element> {
    let mut parts = common(uids::CT_IMAGE_STORAGE, uid);
    parts.extend([
        text(tags::MODALITY, VR::CS, "CT"),
        text(tags::SERIES_INSTANCE_UID, VR::UI, "1.2.7"),
        text(tags::IMAGE_POSITION_PATIENT, VR::DS, &format!("0\\0\\{z}")),
        text(tags::IMAGE_ORIENTATION_PATIENT, VR::DS, "1\\0\\0\\0\\1\\0"),
        text(tags::FRAME_OF_REFERENCE_UID, VR::UI, "1.2.9"),
        Element::Bytes(tags::PIXEL_DATA, VR::OW, vec![0; 20_000]),
    ]);
    set(&mut parts, text(tags::MODALITY, VR::CS, "CT"));
    parts
}

/// Replaces the element of the same tag, or adds it.
pub(super) fn set(parts: &mut Vec<Element>, part: Element) {
    let tag = tag_of(&part);
    parts.retain(|old| tag_of(old) != tag);
    let at = parts.iter().position(|old| tag_of(old) > tag).unwrap_or(parts.len());
    parts.insert(at, part);
}

/// Leaves the element out.
pub(super) fn remove(parts: &mut Vec<Element>, tag: Tag) {
    parts.retain(|old| tag_of(old) != tag);
}

fn tag_of(part: &Element) -> Tag {
    match part {
        Element::Text(tag, ..)
        | Element::Words(tag, ..)
        | Element::Samples(tag, _)
        | Element::Bytes(tag, ..)
        | Element::Items(tag, _) => *tag,
    }
}
