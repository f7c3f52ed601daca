//! Rows 99 to 106 and 131 to 145: whole files, and who they are.

use tidydose_rt::FileStatus;
use tidydose_rt::finding::Code;

use super::Change::{Course as C, Files as F};
use super::Effect::{Beside, File, Same};
use super::{Change, Files, Row, row};
use crate::phantom::dicom::{Tag, raw, tags};

const CREATOR: Tag = Tag(0x0011, 0x0010);
const PRIVATE: Tag = Tag(0x0011, 0x1001);

fn dose(files: &mut Files) -> &mut Vec<u8> {
    files.get_mut("dose.dcm").unwrap()
}

fn private(files: &mut Files, bytes: &[u8]) {
    raw::insert(dose(files), tags::IMAGE_POSITION_PATIENT, bytes);
}

fn cut(files: &mut Files, name: &str, by: usize) {
    let bytes = files.get_mut(name).unwrap();
    bytes.truncate(bytes.len() - by);
}

pub const TABLES: &[&[Row]] = &[OBJECTS, COPIES, CONTENTS];

/// A plan that is refused: dose and structures still belong together, by their frame of reference,
/// which a strict run does not accept.
const fn orphan(number: u32, does: &'static str, change: Change, finding: Code) -> Row {
    let lenient = Beside("plan.dcm", FileStatus::Refused);
    let strict = File("plan.dcm", FileStatus::Refused);
    Row { number, does, change, finding: Some(finding), lenient, strict }
}

const OBJECTS: &[Row] = &[
    orphan(99, "a plan that ends early", F(|files| cut(files, "plan.dcm", 30)), Code::FileDamaged),
    orphan(
        100,
        "fewer control points than stated",
        F(|files| {
            let plan = files.get_mut("plan.dcm").unwrap();
            raw::set(plan, tags::NUMBER_OF_CONTROL_POINTS, b"IS", "7");
        }),
        Code::AttributeInvalid,
    ),
    row(
        102,
        "another patient number in the dose",
        C(|c| {
            c.dose.header.patient_id = "OTHER".into();
        }),
        Some(Code::LinkPatientMismatch),
        File("dose.dcm", FileStatus::Read),
    ),
    row(106, "a date of 1900", C(|c| c.plan.header.date = "19000101".into()), None, Same),
    row(137, "an empty structure name", C(|c| c.set.rois[0].name = String::new()), None, Same),
];

const COPIES: &[Row] = &[
    row(
        131,
        "a DICOMDIR that lists nothing",
        F(|files| {
            let mut directory = files["plan.dcm"].clone();
            raw::set(&mut directory, tags::SOP_CLASS_UID, b"UI", "1.2.840.10008.1.3.10");
            files.insert("DICOMDIR".into(), directory);
        }),
        None,
        Beside("DICOMDIR", FileStatus::Ignored),
    ),
    row(
        132,
        "a copy under another name",
        F(|files| {
            let copy = files["dose.dcm"].clone();
            files.insert("x copy of the dose".into(), copy);
        }),
        Some(Code::FileDuplicate),
        Beside("x copy of the dose", FileStatus::Duplicate),
    ),
    row(
        133,
        "two contents under one SOP Instance UID",
        F(|files| {
            let mut other = files["dose.dcm"].clone();
            raw::set(&mut other, tags::TISSUE_HETEROGENEITY_CORRECTION, b"CS", "WATER");
            files.insert("x other.dcm".into(), other);
        }),
        Some(Code::FileUidConflict),
        File("dose.dcm", FileStatus::Refused),
    ),
    row(
        145,
        "a dose that is still being copied",
        F(|files| cut(files, "dose.dcm", 500)),
        Some(Code::FileDamaged),
        File("dose.dcm", FileStatus::Refused),
    ),
];

const CONTENTS: &[Row] = &[
    row(
        138,
        "private elements",
        F(|files| {
            let creator = raw::element(CREATOR, b"LO", b"INVENTED");
            let value = raw::element(PRIVATE, b"UN", &[1, 2, 3, 4]);
            private(files, &[creator, value].concat());
        }),
        None,
        Same,
    ),
    row(
        139,
        "private elements without their creator",
        F(|files| {
            private(files, &raw::element(PRIVATE, b"LO", b"what"));
        }),
        None,
        Same,
    ),
    row(
        140,
        "a modality that is not that of the class",
        F(|files| {
            raw::set(dose(files), tags::MODALITY, b"CS", "CT");
        }),
        None,
        Same,
    ),
    row(
        141,
        "the retired study class, and no list of images",
        C(|c| {
            c.set.image_uids = vec!["2.25.77".into()];
        }),
        None,
        Same,
    ),
    row(
        142,
        "group lengths",
        F(|files| {
            let length = raw::element(Tag(0x0010, 0), b"UL", &[9, 0, 0, 0]);
            raw::insert(dose(files), tags::PATIENT_NAME, &length);
            let length = raw::element(Tag(0x0008, 0), b"UL", &[9, 0, 0, 0]);
            raw::insert(dose(files), tags::SPECIFIC_CHARACTER_SET, &length);
        }),
        None,
        Same,
    ),
    row(
        143,
        "representations younger than the parser",
        F(|files| {
            for vr in [b"OV", b"SV", b"UV"] {
                private(files, &raw::element(Tag(0x0011, 0x1000 + u16::from(vr[0])), vr, &[0; 8]));
            }
            let mut unknown = raw::element(PRIVATE, b"UN", &[0; 4]);
            unknown[4..6].copy_from_slice(b"ZZ");
            private(files, &unknown);
        }),
        None,
        Same,
    ),
    row(
        144,
        "a grid of sixty thousand million voxels",
        F(|files| {
            for tag in [tags::ROWS, tags::COLUMNS] {
                raw::replace(dose(files), tag, &raw::element(tag, b"US", &[0xFF; 2]));
            }
        }),
        Some(Code::DosePixelsShort),
        File("dose.dcm", FileStatus::Refused),
    ),
];
