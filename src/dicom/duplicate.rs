//! Files that carry the same SOP Instance UID: the same object under several names is used once;
//! different content under one UID is refused, since nothing says which one is meant. Must not
//! know what the objects mean.

use std::collections::HashSet;

use dicom_core::value::{PrimitiveValue, Value};
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;
use dicom_object::mem::InMemElement;
use rayon::prelude::*;

use super::error::Error;
use super::look::{Content, Seen};
use super::number::PADDING;
use super::open::{Opened, open_bytes};
use super::pixels::{Samples, Size};
use tidydose_rt::FileStatus;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::{Identity, Token};

/// Settles all groups of files with one SOP Instance UID; the first of equal files is kept.
pub(super) fn settle(seen: &mut [Box<Seen>], identity: &Identity) {
    let used = |file: &Seen| !matches!(file.content, Content::Nothing | Content::Container(_));
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
    for group in groups {
        if group.windows(2).all(|pair| same(seen, pair)) {
            group[1..].iter().for_each(|index| mark_duplicate(&mut seen[*index]));
        } else {
            let files = group.len();
            for index in group {
                mark_conflict(&mut seen[index], files, identity);
            }
        }
    }
}

fn same(seen: &[Box<Seen>], pair: &[usize]) -> bool {
    let &[a, b] = pair else { return false };
    let (Some(a), Some(b)) = (seen.get(a), seen.get(b)) else { return false };
    match (&a.content, &b.content) {
        // Slices are compared by what is used of them, not by their pixels.
        (Content::Slices(a), Content::Slices(b)) => a == b,
        (Content::Slices(_), _) | (_, Content::Slices(_)) => false,
        _ if a.record.digest == b.record.digest => true,
        _ => match (open(a), open(b)) {
            (Ok(a), Ok(b)) => same_object(&a.object, &b.object) && same_pixels(&a, &b),
            _ => false,
        },
    }
}

fn open(file: &Seen) -> Result<Opened, Error> {
    open_bytes(file.place.bytes()?)
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
fn same_pixels(a: &Opened, b: &Opened) -> bool {
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
fn samples(opened: &Opened) -> Option<(Samples<'_>, usize, usize)> {
    let number = |tag| opened.object.get(tag)?.to_int::<u16>().ok();
    let sample = usize::from(number(tags::BITS_ALLOCATED)? / 8);
    let (rows, columns) = (number(tags::ROWS)?, number(tags::COLUMNS)?);
    let size = Size { rows, columns, sample };
    let samples = Samples::of(opened, size).ok()??;
    let frames = samples.len().checked_div(size.frame_bytes())?;
    Some((samples, frames * size.frame_samples(), sample))
}

fn mark_duplicate(file: &mut Seen) {
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

fn mark_conflict(file: &mut Seen, files: usize, identity: &Identity) {
    let message = format!("{files} files carry this SOP Instance UID with different content");
    let error = Error::new(Code::FileUidConflict, message)
        .in_file(&file.place.shown(), &file.record.file)
        .in_object(file.uid.as_deref(), file.record.patient.as_ref());
    file.refuse(error, identity);
}
