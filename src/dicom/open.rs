//! The way of a file through the door, from its bytes to an object: preamble and file meta group
//! (PS3.10 section 7) are read here, then each stage hands on to the next: [`super::encoding`] finds
//! out how the data set is written, [`super::walk`] builds its elements, [`super::object`] says whose
//! it is. What kind of file it is, its bytes say and never its name. Must not know what an
//! attribute of the data set means.

use sha2::{Digest, Sha256};

use super::encoding::{Beginning, Encoding, Label, Storage, Unrecognised, data_set, element_head};
use super::error::Error;
use super::object::{DicomFile, FileMeta, Object, SourceFile};
use super::remark::Remarks;
use super::text::{latin_1, trimmed};
use super::walk::walk;
use tidydose_rt::finding::Code;

/// Opens a file.
///
/// # Errors
/// When it cannot be read, is no DICOM file or a damaged one, with the file named.
pub(super) fn open(source: SourceFile<'_>) -> Result<Object<'_>, Error> {
    let object = source.place.bytes().and_then(|bytes| open_bytes(source, bytes));
    object.map_err(|error| source.name(error))
}

/// Opens a file whose bytes are at hand.
///
/// # Errors
/// When it is no DICOM file or a damaged one, with the object named where its beginning tells.
pub(super) fn open_bytes(source: SourceFile<'_>, bytes: Vec<u8>) -> Result<Object<'_>, Error> {
    let digest = hexadecimal(&bytes);
    let Outline { start, storage, meta, mut remarks } =
        outline(&bytes, bytes.len()).map_err(Unrecognised::error)?;
    let data_set = data_set(bytes, start, storage)?;
    let walked = walk(&data_set.bytes, data_set.at, data_set.encoding)
        .map_err(|error| source.name_object(error, &data_set, &meta))?;
    remarks.append(walked.remarks);
    let (bytes, data_set, pixels) = (data_set.bytes, walked.object, walked.pixels);
    Ok(Object::new(source, DicomFile { bytes, data_set, pixels, meta, digest, remarks }))
}

/// What a file is, from its beginning.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Outline {
    /// Where the data set (or the deflate stream) begins.
    pub start: usize,
    /// How it is stored.
    pub storage: Storage,
    /// What the file meta group states.
    pub meta: FileMeta,
    /// What was odd.
    pub remarks: Remarks,
}

/// Outlines a file of `total` bytes of which `bytes` is the beginning.
///
/// # Errors
/// When it is no DICOM file, when it contradicts itself, or when `bytes` is too short to tell.
pub(super) fn outline(bytes: &[u8], total: usize) -> Result<Outline, Unrecognised> {
    let file = Beginning { bytes, total };
    let mut remarks = Remarks::default();
    let (at, prefixed) = if bytes.get(128..132) == Some(b"DICM") {
        (132, true)
    } else if bytes.starts_with(b"DICM") {
        remarks.add(Code::FileMetaDamaged, "the preamble of 128 bytes is missing");
        (4, true)
    } else {
        (0, false)
    };
    let group = meta_group(file, at)?;
    let marked = prefixed || group.end > at;
    if marked {
        if !prefixed {
            let what = "the file meta group is there without preamble and prefix";
            remarks.add(Code::FileMetaDamaged, what);
        }
        if group.end == at {
            remarks.add(Code::FileMetaDamaged, "the file meta group is missing");
        } else {
            if group.meta.syntax.is_none() {
                let what = "the file meta group states no transfer syntax";
                remarks.add(Code::FileMetaDamaged, what);
            }
            if group.stated_end != Some(group.end) {
                let what = "the file meta group has no group length, or a wrong one";
                remarks.add(Code::FileMetaDamaged, what);
            }
        }
        if group.implicit {
            let what = "the file meta group is written as implicit little endian";
            remarks.add(Code::FileMetaDamaged, what);
        }
    } else {
        remarks.add(Code::FileWithoutMeta, "no preamble and no file meta group");
    }
    let label = Label { syntax: group.meta.syntax.as_deref(), marked };
    let storage = file.storage(group.end, label, &mut remarks)?;
    Ok(Outline { start: group.end, storage, meta: group.meta, remarks })
}

/// The file meta group (0002,xxxx).
#[derive(Default)]
struct MetaGroup {
    meta: FileMeta,
    /// Where it ends.
    end: usize,
    /// Where it ends by its own group length; nothing without one.
    stated_end: Option<usize>,
    /// Whether it is written as implicit little endian, which it never should be.
    implicit: bool,
}

/// Reads the file meta group at `at` as far as it goes, whatever its group length says.
fn meta_group(file: Beginning<'_>, at: usize) -> Result<MetaGroup, Unrecognised> {
    let Beginning { bytes, total } = file;
    let short = |needed| {
        if bytes.len() < total { Unrecognised::NeedsMore(needed) } else { Unrecognised::Damaged }
    };
    let mut group = MetaGroup { end: at, ..MetaGroup::default() };
    while bytes.get(group.end..group.end + 2) == Some(&[2, 0]) {
        let mut head = element_head(bytes, group.end, Encoding::EXPLICIT);
        if head.is_err() {
            group.implicit = true;
            head = element_head(bytes, group.end, Encoding::IMPLICIT);
        }
        let Ok(head) = head else { return Err(short(group.end + 12)) };
        let end = head.size().and_then(|size| head.value_at.checked_add(size));
        let Some(end) = end.filter(|end| *end <= total) else {
            return Err(Unrecognised::Damaged);
        };
        let Some(value) = bytes.get(head.value_at..end) else { return Err(short(end)) };
        let text = || trimmed(latin_1(value)).into_owned();
        match (head.tag.element(), value) {
            (0x0000, &[a, b, c, d]) => {
                let length = usize::try_from(u32::from_le_bytes([a, b, c, d]));
                group.stated_end = length.ok().and_then(|length| end.checked_add(length));
            }
            (0x0002, _) => group.meta.class = Some(text()),
            (0x0003, _) => group.meta.instance = Some(text()),
            (0x0010, _) => group.meta.syntax = Some(text()).filter(|text| !text.is_empty()),
            _ => {}
        }
        group.end = end;
    }
    if group.end + 8 > bytes.len() && bytes.len() < total {
        return Err(Unrecognised::NeedsMore(group.end + 64));
    }
    Ok(group)
}

/// SHA-256 (FIPS 180-4) in hexadecimal.
pub(super) fn hexadecimal(bytes: &[u8]) -> String {
    tidydose_rt::digest::hexadecimal(&Sha256::digest(bytes))
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::super::duplicate::same_object;
    use super::super::fixtures;
    use super::*;
    use tidydose_rt::identity::Identity;

    fn data(encoding: Encoding) -> Vec<u8> {
        fixtures::data_set(&fixtures::plan(), encoding, false)
    }

    const ALL: [Encoding; 3] = [Encoding::IMPLICIT, Encoding::EXPLICIT, Encoding::EXPLICIT_BIG];

    #[test]
    fn bare_data_sets_are_recognised() {
        for encoding in ALL {
            let bytes = data(encoding);
            let outline = outline(&bytes, bytes.len()).unwrap();
            assert_eq!((outline.start, outline.storage), (0, Storage::Plain(encoding)));
            assert!(outline.remarks.has(Code::FileWithoutMeta));
        }
    }

    #[test]
    fn a_wrong_label_loses_against_the_data() {
        for (label, encoding) in [
            ("1.2.840.10008.1.2", Encoding::EXPLICIT),
            ("1.2.840.10008.1.2.1", Encoding::IMPLICIT),
            ("1.2.840.10008.1.2.1", Encoding::EXPLICIT_BIG),
            ("1.2.840.10008.1.2.1.99", Encoding::EXPLICIT),
        ] {
            let bytes = fixtures::with_meta(label, &data(encoding));
            let outline = outline(&bytes, bytes.len()).unwrap();
            assert_eq!(outline.storage, Storage::Plain(encoding), "{label}");
            assert!(outline.remarks.has(Code::FileMetaDamaged), "{label}");
        }
    }

    #[test]
    fn a_right_label_raises_no_remark() {
        for encoding in ALL {
            let bytes = fixtures::file(&fixtures::plan(), encoding, false);
            let outline = outline(&bytes, bytes.len()).unwrap();
            assert_eq!(outline.storage, Storage::Plain(encoding));
            assert_eq!(outline.remarks, Remarks::default());
        }
    }

    #[test]
    fn incomplete_meta_groups_are_tolerated() {
        let whole = fixtures::file(&fixtures::plan(), Encoding::EXPLICIT, false);
        let group_length = 12;
        let without_length = [&whole[..132], &whole[132 + group_length..]].concat();
        let without_preamble = whole[128..].to_vec();
        let without_prefix = whole[132..].to_vec();
        let no_meta = [&whole[..132], &data(Encoding::IMPLICIT)].concat();
        for bytes in [without_length, without_preamble, without_prefix, no_meta] {
            let outline = outline(&bytes, bytes.len()).unwrap();
            assert!(outline.remarks.has(Code::FileMetaDamaged));
        }
    }

    #[test]
    fn other_files_are_foreign() {
        let text = b"A text file that is long enough to hold a few elements, were it DICOM.";
        let zip = b"PK\x03\x04\x14\x00\x00\x00\x08\x00aaaaaaaaaaaaaaaaaaaaaaaaaaa";
        for bytes in [&text[..], &zip[..], &[0; 200], &[8, 0, 5, 0], &[]] {
            assert_eq!(outline(bytes, bytes.len()), Err(Unrecognised::Foreign));
        }
    }

    #[test]
    fn a_beginning_is_enough() {
        let bytes = fixtures::file(&fixtures::plan(), Encoding::EXPLICIT, false);
        let whole = outline(&bytes, bytes.len()).unwrap();
        for size in 0..bytes.len() {
            match outline(&bytes[..size], bytes.len()) {
                Ok(outline) => assert_eq!(outline.storage, whole.storage, "{size}"),
                Err(reason) => assert!(
                    matches!(reason, Unrecognised::NeedsMore(n) if n > size) || size < 132,
                    "{size} {reason:?}"
                ),
            }
        }
    }

    fn deflated(data: &[u8]) -> Vec<u8> {
        let level = flate2::Compression::best();
        let mut stream = flate2::write::DeflateEncoder::new(Vec::new(), level);
        stream.write_all(data).unwrap();
        fixtures::with_meta("1.2.840.10008.1.2.1.99", &stream.finish().unwrap())
    }

    #[test]
    fn a_deflated_data_set_gives_the_same_object() {
        let data = fixtures::data_set(&fixtures::plan(), Encoding::EXPLICIT, false);
        let plain = fixtures::with_meta("1.2.840.10008.1.2.1", &data);
        let data_set = |bytes| {
            let read = fixtures::read(bytes, |object| Ok(object.file().data_set.clone())).unwrap();
            assert_eq!(read.findings, []);
            read.value
        };
        assert!(same_object(&data_set(deflated(&data)), &data_set(plain)));
    }

    #[test]
    fn a_cut_deflate_stream_is_refused() {
        let data = fixtures::data_set(&fixtures::plan(), Encoding::EXPLICIT, false);
        let whole = deflated(&data);
        let cut = whole[..whole.len() - 20].to_vec();
        let error = fixtures::read(cut, |_| Ok(())).unwrap_err();
        assert_eq!(error.code(), Code::FileDamaged);
    }

    /// What is damaged behind its first elements is named by them, deflated or not.
    #[test]
    fn an_error_in_the_rest_names_object_and_patient() {
        let data = fixtures::data_set(&fixtures::dose(), Encoding::EXPLICIT, false);
        let cut = &data[..data.len() - 5];
        for bytes in [fixtures::with_meta("1.2.840.10008.1.2.1", cut), deflated(cut)] {
            let error = fixtures::read(bytes, |_| Ok(())).unwrap_err();
            assert_eq!(error.object_uid(), Some("1.2.3.2"));
            assert!(error.to_finding(&Identity::kept()).subject.patient.is_some());
        }
    }

    /// FIPS 180-4 example: SHA-256 of "abc".
    #[test]
    fn digests_are_sha_256() {
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(hexadecimal(b"abc"), expected);
    }
}
