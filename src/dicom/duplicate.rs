//! Files that carry the same SOP Instance UID: the same object under several names is used once;
//! the same object under several Patient IDs stays once for each of them, since only the user can
//! tell which one is meant; different content under one UID is refused. Must not know what the
//! objects mean.

use std::collections::HashSet;

use dicom_core::VR;
use dicom_core::value::{PrimitiveValue, Value};
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;
use dicom_object::mem::InMemElement;
use rayon::prelude::*;

use super::error::Error;
use super::number::PADDING;
use super::object::{DicomFile, Object, SourceFile};
use super::open;
use super::pixels::{Size, StoredSamples};
use super::scanned_file::{Content, ScannedFile};
use tidydose_rt::FileStatus;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::{Identity, Token};

/// Settles all groups of files with one SOP Instance UID; the first of equal files is kept.
pub(super) fn settle(seen: &mut [Box<ScannedFile>], identity: &Identity) {
    let used =
        |file: &ScannedFile| !matches!(file.content, Content::Nothing | Content::Container(_));
    let objects = || {
        let files = seen.iter().enumerate().filter(|(_, file)| used(file));
        files.filter_map(|(index, file)| Some((file.record.object.as_ref()?, index)))
    };
    let mut once = HashSet::with_capacity(seen.len());
    if objects().all(|(object, _)| once.insert(object)) {
        return;
    }
    let mut objects: Vec<(&Token, usize)> = objects().collect();
    objects.par_sort_unstable();
    let repeated = objects.chunk_by(|a, b| a.0 == b.0).filter(|group| group.len() > 1);
    let groups: Vec<Vec<usize>> =
        repeated.map(|group| group.iter().map(|(_, index)| *index).collect()).collect();
    for mut group in groups {
        // By patient, then in the order of files: the first of each patient is kept.
        group.sort_by_key(|index| (seen[*index].record.patient.clone(), *index));
        let kept: Vec<usize> = group
            .chunk_by(|a, b| seen[*a].record.patient == seen[*b].record.patient)
            .filter_map(|of_patient| of_patient.first().copied())
            .collect();
        let pairs: Vec<[usize; 2]> = group.windows(2).map(|pair| [pair[0], pair[1]]).collect();
        if pairs.iter().all(|pair| same(seen, *pair, identity)) {
            for index in group.iter().filter(|index| !kept.contains(index)) {
                mark_duplicate(&mut seen[*index]);
            }
            if kept.len() > 1 {
                kept.iter().for_each(|index| mark_copy(&mut seen[*index]));
            }
        } else {
            let files = group.len();
            for index in group {
                mark_conflict(&mut seen[index], files, identity);
            }
        }
    }
}

/// Whether two files hold the same object; of two patients, whether one is a copy of the other but
/// for what it says of the person and for dates, names and free text.
fn same(seen: &[Box<ScannedFile>], [a, b]: [usize; 2], identity: &Identity) -> bool {
    let (Some(a), Some(b)) = (seen.get(a), seen.get(b)) else { return false };
    let one_patient = a.record.patient == b.record.patient;
    match (&a.content, &b.content) {
        // Slices are compared by what is used of them, not by their pixels.
        (Content::Slices(a), Content::Slices(b)) if one_patient => a == b,
        (Content::Slices(a), Content::Slices(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.is_copy_of(b))
        }
        (Content::Slices(_), _) | (_, Content::Slices(_)) => false,
        _ if a.record.digest == b.record.digest => true,
        _ => {
            let (Ok(a), Ok(b)) = (open(a, identity), open(b, identity)) else { return false };
            let (a, b) = (a.file(), b.file());
            let same = if one_patient { same_object } else { copied_object };
            same(&a.data_set, &b.data_set) && same_pixels(a, b)
        }
    }
}

/// Value representations of words, dates and times: a copy under another number may differ in them.
const WORDS: [VR; 13] = [
    VR::AE,
    VR::AS,
    VR::DA,
    VR::DT,
    VR::LO,
    VR::LT,
    VR::PN,
    VR::SH,
    VR::ST,
    VR::TM,
    VR::UC,
    VR::UR,
    VR::UT,
];

/// Whether one object is a copy of the other: all numbers, codes and references of geometry, dose,
/// plan and structures are the same.
fn copied_object(a: &InMemDicomObject, b: &InMemDicomObject) -> bool {
    // Groups of voxels and radiotherapy, and the place of a grid; the others speak of people,
    // studies and machines, and private ones of whatever they like.
    let places = [
        tags::IMAGE_POSITION_PATIENT,
        tags::IMAGE_ORIENTATION_PATIENT,
        tags::FRAME_OF_REFERENCE_UID,
    ];
    let of_treatment = |x: &&InMemElement| {
        let (tag, group) = (x.header().tag, x.header().tag.group());
        let own = group % 2 == 0 && (matches!(group, 0x0028 | 0x0070) || group >= 0x3000);
        own || places.contains(&tag)
    };
    let [a, b] = [a, b].map(|object| object.iter().filter(|x| of_treatment(x)));
    same_numbers(a, b)
}

fn same_numbers<'o>(
    a: impl Iterator<Item = &'o InMemElement>,
    b: impl Iterator<Item = &'o InMemElement>,
) -> bool {
    let is_word = |x: &&InMemElement| !WORDS.contains(&x.header().vr());
    let (mut a, mut b) = (a.filter(is_word), b.filter(is_word));
    loop {
        match (a.next(), b.next()) {
            (None, None) => return true,
            (Some(x), Some(y)) if x.header().tag == y.header().tag => {
                let equal = match (x.value(), y.value()) {
                    (Value::Sequence(x), Value::Sequence(y)) => {
                        let (x, y) = (x.items(), y.items());
                        let mut pairs = x.iter().zip(y);
                        x.len() == y.len() && pairs.all(|(x, y)| same_numbers(x.iter(), y.iter()))
                    }
                    (x, y) => same_value(x, y),
                };
                if !equal {
                    return false;
                }
            }
            _ => return false,
        }
    }
}

fn open<'a>(file: &'a ScannedFile, identity: &'a Identity) -> Result<Object<'a>, Error> {
    open::open(SourceFile { place: &file.place, file: &file.record.file, identity })
}

/// Whether two data sets hold the same values, however they are encoded. Nesting is bounded by
/// the walk that built them.
pub(super) fn same_object(a: &InMemDicomObject, b: &InMemDicomObject) -> bool {
    fn told(object: &InMemDicomObject) -> impl Iterator<Item = &InMemElement> {
        // The character set means nothing once its texts are decoded.
        object.iter().filter(|x| x.header().tag != tags::SPECIFIC_CHARACTER_SET)
    }
    let mut pairs = told(a).zip(told(b));
    told(a).count() == told(b).count()
        && pairs.all(|(x, y)| x.header().tag == y.header().tag && same_value(x.value(), y.value()))
}

type ObjectValue = Value<InMemDicomObject>;

fn same_value(a: &ObjectValue, b: &ObjectValue) -> bool {
    match (a, b) {
        (Value::Sequence(a), Value::Sequence(b)) => {
            let (a, b) = (a.items(), b.items());
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same_object(a, b))
        }
        (Value::Primitive(PrimitiveValue::Str(a)), Value::Primitive(PrimitiveValue::Str(b))) => {
            a.trim_matches(PADDING) == b.trim_matches(PADDING)
        }
        (Value::Primitive(a), Value::Primitive(b)) => a == b,
        _ => false,
    }
}

/// Whether two objects hold the same samples, whatever their byte order and compression.
fn same_pixels(a: &DicomFile, b: &DicomFile) -> bool {
    match (&a.pixels, &b.pixels) {
        (None, None) => true,
        (Some(_), Some(_)) => match (samples(a), samples(b)) {
            (Some((x, m, bytes)), Some((y, n, other))) => {
                (m, bytes) == (n, other) && x.words(m, bytes).eq(y.words(n, bytes))
            }
            _ => false,
        },
        _ => false,
    }
}

/// The samples of an object, how many there are, and the bytes of one.
fn samples(file: &DicomFile) -> Option<(StoredSamples<'_>, usize, usize)> {
    let number = |tag| file.data_set.get(tag)?.to_int::<u16>().ok();
    let sample = usize::from(number(tags::BITS_ALLOCATED)? / 8);
    let (rows, columns) = (number(tags::ROWS)?, number(tags::COLUMNS)?);
    let size = Size { rows, columns, sample };
    let samples = StoredSamples::of(file, size).ok()??;
    let frames = samples.len().checked_div(size.frame_bytes())?;
    Some((samples, frames * size.frame_samples(), sample))
}

fn mark_duplicate(file: &mut ScannedFile) {
    file.record.status = FileStatus::Duplicate;
    file.record.reason = "the same object as another file".to_owned();
    file.content = Content::Nothing;
    let subject = Subject {
        patient: file.record.patient.clone(),
        file: Some(file.record.file.clone()),
        object: file.record.object.clone(),
        ..Subject::default()
    };
    let message = "the object is there under another name as well";
    file.findings = vec![Finding::new(Code::FileDuplicate, subject, message)];
}

/// Says that the object is there for other patients as well; what becomes of it is decided where
/// objects are joined.
fn mark_copy(file: &mut ScannedFile) {
    file.leave(FileStatus::Read, "the same object is there under another Patient ID");
}

fn mark_conflict(file: &mut ScannedFile, files: usize, identity: &Identity) {
    let message = format!("{files} files carry this SOP Instance UID with different content");
    let error = Error::new(Code::FileUidConflict, message)
        .in_file(&file.place.shown(), &file.record.file)
        .in_object(file.uid.as_deref(), file.record.patient.as_ref());
    file.refuse(error, identity);
}
