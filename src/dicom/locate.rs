//! What kind of file it is, from its first bytes and never from its name: preamble and file meta
//! group (PS3.10 section 7) where there are any, the encoding of the data set as its own first
//! elements show it. Where the label and the data differ, the data is believed. Knows nothing of
//! what is inside the data set.

use std::borrow::Cow;
use std::ops::Range;

use dicom_core::{Tag, VR};

use super::encoding::{Encoding, Header, UNDEFINED, dictionary_vr, header};
use super::remark::Remarks;
use super::text::{latin_1, trimmed};
use tidydose_rt::finding::Code;

/// How the data set is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Storage {
    /// As elements.
    Plain(Encoding),
    /// As a raw deflate stream of explicit little endian elements (1.2.840.10008.1.2.1.99).
    Deflated,
}

/// The outline of a file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Layout {
    /// Where the data set (or the deflate stream) begins.
    pub start: usize,
    /// How it is stored.
    pub storage: Storage,
    /// What the file meta group states.
    stated: Stated,
    /// What was odd.
    pub remarks: Remarks,
}

/// Where values of the file meta group are in the file, of those it has.
#[derive(Debug, Clone, Default, PartialEq)]
struct Stated {
    syntax: Option<Range<usize>>,
    class: Option<Range<usize>>,
    instance: Option<Range<usize>>,
}

impl Layout {
    /// Transfer Syntax UID (0002,0010), where the file of these bytes states it.
    pub(super) fn syntax<'a>(&self, bytes: &'a [u8]) -> Option<Cow<'a, str>> {
        text(bytes, self.stated.syntax.clone()).filter(|syntax| !syntax.is_empty())
    }

    /// Media Storage SOP Class UID (0002,0002), where the file of these bytes states it.
    pub(super) fn meta_class<'a>(&self, bytes: &'a [u8]) -> Option<Cow<'a, str>> {
        text(bytes, self.stated.class.clone())
    }

    /// Media Storage SOP Instance UID (0002,0003), where the file of these bytes states it.
    pub(super) fn meta_instance<'a>(&self, bytes: &'a [u8]) -> Option<Cow<'a, str>> {
        text(bytes, self.stated.instance.clone())
    }
}

fn text(bytes: &[u8], range: Option<Range<usize>>) -> Option<Cow<'_, str>> {
    Some(trimmed(latin_1(bytes.get(range?)?)))
}

/// Why there is no outline.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unrecognised {
    /// Not DICOM at all.
    Foreign,
    /// It says it is DICOM, but no encoding fits the data.
    Damaged,
    /// The bytes at hand do not suffice; the position that is needed.
    NeedsMore(usize),
}

const IMPLICIT_UID: &str = "1.2.840.10008.1.2";
const EXPLICIT_BIG_UID: &str = "1.2.840.10008.1.2.2";
const DEFLATED_UID: &str = "1.2.840.10008.1.2.1.99";

/// The beginning of a file.
#[derive(Clone, Copy)]
struct Beginning<'a> {
    bytes: &'a [u8],
    /// Size of the whole file.
    total: usize,
}

/// Outlines a file of `total` bytes of which `bytes` is the beginning.
///
/// # Errors
/// When it is no DICOM file, when it contradicts itself, or when `bytes` is too short to tell.
pub(super) fn locate(bytes: &[u8], total: usize) -> Result<Layout, Unrecognised> {
    let file = Beginning { bytes, total };
    let mut remarks = Remarks::default();
    let (at, marked) = if bytes.get(128..132) == Some(b"DICM") {
        (132, true)
    } else if bytes.starts_with(b"DICM") {
        remarks.add(Code::FileMetaDamaged, "the preamble of 128 bytes is missing");
        (4, true)
    } else {
        (0, false)
    };
    let meta = file.meta(at)?;
    if !marked && meta.end == at {
        remarks.add(Code::FileWithoutMeta, "no preamble and no file meta group");
    } else {
        if !marked {
            let what = "the file meta group is there without preamble and prefix";
            remarks.add(Code::FileMetaDamaged, what);
        }
        meta.complaints(at).for_each(|what| remarks.add(Code::FileMetaDamaged, what));
    }
    let storage = file.storage(&meta, marked || meta.end > at, &mut remarks)?;
    Ok(Layout { start: meta.end, storage, stated: meta.stated, remarks })
}

/// The file meta group (0002,xxxx).
#[derive(Default)]
struct Meta<'a> {
    end: usize,
    syntax: Option<Cow<'a, str>>,
    stated: Stated,
    /// Group length as stated, and where its value ends.
    length: Option<(usize, usize)>,
    implicit: bool,
}

impl Meta<'_> {
    fn complaints(&self, start: usize) -> impl Iterator<Item = &'static str> {
        let empty = self.end == start;
        let length_wrong = self.length.is_none_or(|(length, from)| from + length != self.end);
        let list = [
            (empty, "the file meta group is missing"),
            (!empty && self.syntax.is_none(), "the file meta group states no transfer syntax"),
            (!empty && length_wrong, "the file meta group has no group length, or a wrong one"),
            (self.implicit, "the file meta group is written as implicit little endian"),
        ];
        list.into_iter().filter_map(|(holds, what)| holds.then_some(what))
    }

    fn declared(&self) -> Option<Encoding> {
        Some(match self.syntax.as_deref()? {
            IMPLICIT_UID => Encoding::IMPLICIT,
            EXPLICIT_BIG_UID => Encoding::EXPLICIT_BIG,
            _ => Encoding::EXPLICIT,
        })
    }
}

impl<'a> Beginning<'a> {
    /// Reads the file meta group at `at` as far as it goes, whatever its group length says.
    fn meta(self, at: usize) -> Result<Meta<'a>, Unrecognised> {
        let mut meta = Meta { end: at, ..Meta::default() };
        while self.bytes.get(meta.end..meta.end + 2) == Some(&[2, 0]) {
            let head = match header(self.bytes, meta.end, Encoding::EXPLICIT) {
                Ok(head) => Some(head),
                Err(_) => {
                    meta.implicit = true;
                    header(self.bytes, meta.end, Encoding::IMPLICIT).ok()
                }
            };
            let Some(head) = head else { return Err(self.short(meta.end + 12)) };
            let end = head.size().and_then(|size| head.value_at.checked_add(size));
            let Some(end) = end.filter(|end| *end <= self.total) else {
                return Err(Unrecognised::Damaged);
            };
            let Some(value) = self.bytes.get(head.value_at..end) else {
                return Err(self.short(end));
            };
            let range = Some(head.value_at..end);
            match (head.tag.element(), value) {
                (0x0000, &[a, b, c, d]) => {
                    let length = u32::from_le_bytes([a, b, c, d]);
                    meta.length = usize::try_from(length).ok().map(|length| (length, end));
                }
                (0x0002, _) => meta.stated.class = range,
                (0x0003, _) => meta.stated.instance = range,
                (0x0010, _) => {
                    meta.syntax = Some(trimmed(latin_1(value))).filter(|t| !t.is_empty());
                    meta.stated.syntax = range;
                }
                _ => {}
            }
            meta.end = end;
        }
        if meta.end + 8 > self.bytes.len() && self.bytes.len() < self.total {
            return Err(Unrecognised::NeedsMore(meta.end + 64));
        }
        Ok(meta)
    }

    fn short(self, needed: usize) -> Unrecognised {
        if self.bytes.len() < self.total {
            Unrecognised::NeedsMore(needed)
        } else {
            Unrecognised::Damaged
        }
    }

    fn storage(
        self,
        meta: &Meta<'_>,
        known: bool,
        remarks: &mut Remarks,
    ) -> Result<Storage, Unrecognised> {
        let deflated = meta.syntax.as_deref() == Some(DEFLATED_UID);
        let declared = meta.declared();
        let all = [Encoding::EXPLICIT, Encoding::IMPLICIT, Encoding::EXPLICIT_BIG];
        let candidates = declared.into_iter().chain(all);
        let fits = candidates.into_iter().find(|e| self.plausible(meta.end, *e, known));
        match (fits, declared) {
            (None, _) if deflated => Ok(Storage::Deflated),
            (None, Some(encoding)) if meta.end == self.total => Ok(Storage::Plain(encoding)),
            (None, _) if known => Err(Unrecognised::Damaged),
            (None, _) => Err(Unrecognised::Foreign),
            (Some(found), Some(stated)) if found != stated || deflated => {
                let what = format!(
                    "labelled {}, written as {}",
                    if deflated { "deflated" } else { stated.name() },
                    found.name()
                );
                remarks.add(Code::FileMetaDamaged, what);
                Ok(Storage::Plain(found))
            }
            (Some(found), _) => Ok(Storage::Plain(found)),
        }
    }

    /// Whether the first elements at `at` make sense in this encoding. Without any mark of DICOM
    /// (`known` false) the first tag must be one of group 0008 and a second element must follow.
    fn plausible(self, mut at: usize, encoding: Encoding, known: bool) -> bool {
        let mut last: Option<Tag> = None;
        for index in 0..3 {
            if at == self.total {
                return index > 0 && (known || index > 1);
            }
            let Ok(head) = header(self.bytes, at, encoding) else {
                return index > 0 && self.bytes.len() < self.total && at + 12 > self.bytes.len();
            };
            let ordered = last.is_none_or(|last| last < head.tag);
            let first_fits = last.is_some() || known || head.tag.group() == 0x0008;
            if !(ordered && first_fits && sensible(&head)) {
                return false;
            }
            let Some(size) = head.size() else { return index > 0 || known };
            match head.value_at.checked_add(size) {
                Some(end) if end <= self.total => at = end,
                _ => return false,
            }
            last = Some(head.tag);
        }
        true
    }
}

/// Whether a head can be one of the first of a data set: a group of low number, a tag that the
/// dictionary knows (or a private one), undefined length for sequences only.
fn sensible(head: &Header) -> bool {
    let private = head.tag.group() % 2 == 1 || head.tag.element() == 0;
    (0x0001..=0x7FE0).contains(&head.tag.group())
        && (private || dictionary_vr(head.tag).is_some())
        && (head.length != UNDEFINED || matches!(head.vr, VR::SQ | VR::UN | VR::OB | VR::OW))
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    fn data(encoding: Encoding) -> Vec<u8> {
        fixtures::data_set(&fixtures::plan(), encoding, false)
    }

    const ALL: [Encoding; 3] = [Encoding::IMPLICIT, Encoding::EXPLICIT, Encoding::EXPLICIT_BIG];

    #[test]
    fn bare_data_sets_are_recognised() {
        for encoding in ALL {
            let bytes = data(encoding);
            let layout = locate(&bytes, bytes.len()).unwrap();
            assert_eq!((layout.start, layout.storage), (0, Storage::Plain(encoding)));
            assert!(layout.remarks.has(Code::FileWithoutMeta));
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
            let layout = locate(&bytes, bytes.len()).unwrap();
            assert_eq!(layout.storage, Storage::Plain(encoding), "{label}");
            assert!(layout.remarks.has(Code::FileMetaDamaged), "{label}");
        }
    }

    #[test]
    fn a_right_label_raises_no_remark() {
        for encoding in ALL {
            let bytes = fixtures::file(&fixtures::plan(), encoding, false);
            let layout = locate(&bytes, bytes.len()).unwrap();
            assert_eq!(layout.storage, Storage::Plain(encoding));
            assert_eq!(layout.remarks, Remarks::default());
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
            let layout = locate(&bytes, bytes.len()).unwrap();
            assert!(layout.remarks.has(Code::FileMetaDamaged));
        }
    }

    #[test]
    fn other_files_are_foreign() {
        let text = b"A text file that is long enough to hold a few elements, were it DICOM.";
        let zip = b"PK\x03\x04\x14\x00\x00\x00\x08\x00aaaaaaaaaaaaaaaaaaaaaaaaaaa";
        for bytes in [&text[..], &zip[..], &[0; 200], &[8, 0, 5, 0], &[]] {
            assert_eq!(locate(bytes, bytes.len()), Err(Unrecognised::Foreign));
        }
    }

    #[test]
    fn a_beginning_is_enough() {
        let bytes = fixtures::file(&fixtures::plan(), Encoding::EXPLICIT, false);
        let whole = locate(&bytes, bytes.len()).unwrap();
        for size in 0..bytes.len() {
            match locate(&bytes[..size], bytes.len()) {
                Ok(layout) => assert_eq!(layout.storage, whole.storage, "{size}"),
                Err(reason) => assert!(
                    matches!(reason, Unrecognised::NeedsMore(n) if n > size) || size < 132,
                    "{size} {reason:?}"
                ),
            }
        }
    }
}
