//! How a data set is written (PS3.5 section 7): the head of one element in the three native
//! encodings, which of them a data set has, and the deflated form. Every read is checked against
//! the bytes that are there. A file states its encoding in its meta group, but its first elements
//! show it: where the two differ, the elements are believed. Knows nothing of sequences or meaning.

use std::io::Read;

use dicom_core::{Tag, VR};

use super::dictionary::dictionary_vr;
use super::error::Error;
use super::remark::Remarks;
use tidydose_rt::finding::Code;

/// Largest data set that a deflated file may grow to.
const MAX_INFLATED: u64 = 1 << 30;
/// Deflate reaches at most 1032:1 (RFC 1951 coding of one symbol run); real data sets stay below 20.
const MAX_RATIO: u64 = 1032;

/// The length that means "until the delimiter" (PS3.5 7.1.1).
pub(super) const UNDEFINED: u32 = u32::MAX;
/// Item (FFFE,E000).
pub(super) const ITEM: Tag = Tag(0xFFFE, 0xE000);
/// Item Delimitation Item (FFFE,E00D).
pub(super) const ITEM_END: Tag = Tag(0xFFFE, 0xE00D);
/// Sequence Delimitation Item (FFFE,E0DD).
pub(super) const SEQUENCE_END: Tag = Tag(0xFFFE, 0xE0DD);

/// How elements are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Encoding {
    /// Whether the value representation is written out.
    pub explicit: bool,
    /// Whether the most significant byte comes first.
    pub big: bool,
}

impl Encoding {
    /// Implicit VR little endian (1.2.840.10008.1.2).
    pub(super) const IMPLICIT: Self = Self { explicit: false, big: false };
    /// Explicit VR little endian (1.2.840.10008.1.2.1).
    pub(super) const EXPLICIT: Self = Self { explicit: true, big: false };
    /// Explicit VR big endian (1.2.840.10008.1.2.2, retired).
    pub(super) const EXPLICIT_BIG: Self = Self { explicit: true, big: true };

    /// The words for a message.
    pub(super) const fn name(self) -> &'static str {
        match (self.explicit, self.big) {
            (false, _) => "implicit little endian",
            (true, false) => "explicit little endian",
            (true, true) => "explicit big endian",
        }
    }

    const fn u16(self, b: [u8; 2]) -> u16 {
        if self.big { u16::from_be_bytes(b) } else { u16::from_le_bytes(b) }
    }

    const fn u32(self, b: [u8; 4]) -> u32 {
        if self.big { u32::from_be_bytes(b) } else { u32::from_le_bytes(b) }
    }
}

/// The head of one element.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct ElementHead {
    /// The tag.
    pub tag: Tag,
    /// The value representation: written out, or by the dictionary, or UN.
    pub vr: VR,
    /// Value length in bytes, or [`UNDEFINED`].
    pub length: u32,
    /// Where the value begins.
    pub value_at: usize,
}

impl ElementHead {
    /// The length as a size in memory; nothing for [`UNDEFINED`].
    pub(super) fn size(&self) -> Option<usize> {
        (self.length != UNDEFINED).then(|| usize::try_from(self.length).unwrap_or(usize::MAX))
    }
}

/// Why there is no head where one should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum HeadFault {
    /// The bytes end inside it.
    Ends,
    /// The two bytes of the value representation are not letters.
    Representation(Tag),
}

/// Reads the head of the element at `at`.
pub(super) fn element_head(
    bytes: &[u8],
    at: usize,
    encoding: Encoding,
) -> Result<ElementHead, HeadFault> {
    let rest = bytes.get(at..).unwrap_or_default();
    let &[g0, g1, e0, e1, a, b, c, d] = rest.first_chunk::<8>().ok_or(HeadFault::Ends)?;
    let tag = Tag(encoding.u16([g0, g1]), encoding.u16([e0, e1]));
    if tag.group() == 0xFFFE {
        let length = encoding.u32([a, b, c, d]);
        return Ok(ElementHead { tag, vr: VR::UN, length, value_at: at + 8 });
    }
    if !encoding.explicit {
        let vr = dictionary_vr(tag).unwrap_or(VR::UN);
        return Ok(ElementHead { tag, vr, length: encoding.u32([a, b, c, d]), value_at: at + 8 });
    }
    let vr = match VR::from_binary([a, b]) {
        Some(vr) => vr,
        // A representation younger than this program has the long form (PS3.5 7.1.2).
        None if a.is_ascii_uppercase() && b.is_ascii_uppercase() => VR::UN,
        None => return Err(HeadFault::Representation(tag)),
    };
    if !has_long_form(vr) {
        let length = u32::from(encoding.u16([c, d]));
        return Ok(ElementHead { tag, vr, length, value_at: at + 8 });
    }
    let &[_, _, _, _, _, _, _, _, w, x, y, z] = rest.first_chunk::<12>().ok_or(HeadFault::Ends)?;
    Ok(ElementHead { tag, vr, length: encoding.u32([w, x, y, z]), value_at: at + 12 })
}

/// Whether the length field has 32 bits (PS3.5 table 7.1-1).
const fn has_long_form(vr: VR) -> bool {
    use VR::{OB, OD, OF, OL, OV, OW, SQ, SV, UC, UN, UR, UT, UV};
    matches!(vr, OB | OD | OF | OL | OV | OW | SQ | SV | UC | UN | UR | UT | UV)
}

const IMPLICIT_UID: &str = "1.2.840.10008.1.2";
const EXPLICIT_BIG_UID: &str = "1.2.840.10008.1.2.2";
const DEFLATED_UID: &str = "1.2.840.10008.1.2.1.99";

/// How the data set is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Storage {
    /// As elements.
    Plain(Encoding),
    /// As a raw deflate stream of explicit little endian elements (1.2.840.10008.1.2.1.99).
    Deflated,
}

/// Why the encoding of a file is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unrecognised {
    /// Not DICOM at all.
    Foreign,
    /// It says it is DICOM, but no encoding fits the data.
    Damaged,
    /// The bytes at hand do not suffice; the position that is needed.
    NeedsMore(usize),
}

impl Unrecognised {
    /// The error for a file that is refused for it.
    pub(super) fn error(self) -> Error {
        let message = match self {
            Self::Foreign => "not a DICOM file",
            Self::Damaged | Self::NeedsMore(_) => {
                "no native DICOM encoding fits the first elements"
            }
        };
        Error::new(Code::FileDamaged, message)
    }
}

/// The beginning of a file.
#[derive(Clone, Copy)]
pub(super) struct Beginning<'a> {
    /// The bytes at hand.
    pub bytes: &'a [u8],
    /// Size of the whole file.
    pub total: usize,
}

/// What a file says of its data set.
#[derive(Clone, Copy)]
pub(super) struct Label<'a> {
    /// Transfer Syntax UID (0002,0010), where it is stated.
    pub syntax: Option<&'a str>,
    /// Whether the file says that it is DICOM, by prefix or meta group.
    pub marked: bool,
}

impl Label<'_> {
    fn encoding(self) -> Option<Encoding> {
        Some(match self.syntax? {
            IMPLICIT_UID => Encoding::IMPLICIT,
            EXPLICIT_BIG_UID => Encoding::EXPLICIT_BIG,
            _ => Encoding::EXPLICIT,
        })
    }
}

impl Beginning<'_> {
    /// How the data set at `at` is stored: as the first of the stated and the three native
    /// encodings in which its first elements make sense.
    ///
    /// # Errors
    /// When none fits.
    pub(super) fn storage(
        self,
        at: usize,
        label: Label<'_>,
        remarks: &mut Remarks,
    ) -> Result<Storage, Unrecognised> {
        let deflated = label.syntax == Some(DEFLATED_UID);
        let declared = label.encoding();
        let all = [Encoding::EXPLICIT, Encoding::IMPLICIT, Encoding::EXPLICIT_BIG];
        let mut candidates = declared.into_iter().chain(all);
        let fits = candidates.find(|e| self.plausible(at, *e, label.marked));
        match (fits, declared) {
            (None, _) if deflated => Ok(Storage::Deflated),
            (None, Some(encoding)) if at == self.total => Ok(Storage::Plain(encoding)),
            (None, _) if label.marked => Err(Unrecognised::Damaged),
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
    /// (`marked` false) the first tag must be one of group 0008 and a second element must follow.
    fn plausible(self, mut at: usize, encoding: Encoding, marked: bool) -> bool {
        let mut last: Option<Tag> = None;
        for index in 0..3 {
            if at == self.total {
                return index > 0 && (marked || index > 1);
            }
            let Ok(head) = element_head(self.bytes, at, encoding) else {
                return index > 0 && self.bytes.len() < self.total && at + 12 > self.bytes.len();
            };
            let ordered = last.is_none_or(|last| last < head.tag);
            let first_fits = last.is_some() || marked || head.tag.group() == 0x0008;
            if !(ordered && first_fits && sensible(&head)) {
                return false;
            }
            let Some(size) = head.size() else { return index > 0 || marked };
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
fn sensible(head: &ElementHead) -> bool {
    let private = head.tag.group() % 2 == 1 || head.tag.element() == 0;
    (0x0001..=0x7FE0).contains(&head.tag.group())
        && (private || dictionary_vr(head.tag).is_some())
        && (head.length != UNDEFINED || matches!(head.vr, VR::SQ | VR::UN | VR::OB | VR::OW))
}

/// The bytes of a data set: those of its file, or inflated ones.
pub(super) struct EncodedDataSet {
    /// The bytes.
    pub bytes: Vec<u8>,
    /// Where in them the data set begins.
    pub at: usize,
    /// How its elements are written.
    pub encoding: Encoding,
}

/// The data set that begins at `at` of a whole file.
///
/// # Errors
/// `FileDamaged` for a deflate stream that does not inflate, or grows beyond all proportion.
pub(super) fn data_set(
    bytes: Vec<u8>,
    at: usize,
    storage: Storage,
) -> Result<EncodedDataSet, Error> {
    match storage {
        Storage::Plain(encoding) => Ok(EncodedDataSet { bytes, at, encoding }),
        Storage::Deflated => {
            let bytes = inflate(bytes.get(at..).unwrap_or_default())?;
            Ok(EncodedDataSet { bytes, at: 0, encoding: Encoding::EXPLICIT })
        }
    }
}

/// A raw deflate stream (RFC 1951) as bytes, grown as it goes and bounded.
pub(super) fn inflate(data: &[u8]) -> Result<Vec<u8>, Error> {
    let most = (data.len() as u64).saturating_mul(MAX_RATIO).clamp(1, MAX_INFLATED);
    let mut bytes = Vec::new();
    let mut stream = flate2::read::DeflateDecoder::new(data).take(most + 1);
    stream
        .read_to_end(&mut bytes)
        .map_err(|_| Error::new(Code::FileDamaged, "the deflated data set does not inflate"))?;
    if bytes.len() as u64 > most {
        let message = format!("the deflated data set grows beyond {most} bytes");
        return Err(Error::new(Code::FileDamaged, message));
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Example of PS3.5 section 7.1.2: Rows (0028,0010), US, value length 2.
    #[test]
    fn three_encodings_give_the_same_head() {
        let explicit = [0x28, 0, 0x10, 0, b'U', b'S', 2, 0, 1, 2];
        let implicit = [0x28, 0, 0x10, 0, 2, 0, 0, 0, 1, 2];
        let big = [0, 0x28, 0, 0x10, b'U', b'S', 0, 2, 2, 1];
        let head = ElementHead { tag: Tag(0x28, 0x10), vr: VR::US, length: 2, value_at: 8 };
        assert_eq!(element_head(&explicit, 0, Encoding::EXPLICIT), Ok(head));
        assert_eq!(element_head(&implicit, 0, Encoding::IMPLICIT), Ok(head));
        assert_eq!(element_head(&big, 0, Encoding::EXPLICIT_BIG), Ok(head));
    }

    #[test]
    fn long_forms_take_twelve_bytes() {
        for vr in [b"OB", b"OV", b"SV", b"UV", b"UC", b"UR", b"UT", b"UN", b"SQ"] {
            let bytes = [0x09, 0, 0x10, 0, vr[0], vr[1], 0, 0, 4, 0, 0, 0];
            let head = element_head(&bytes, 0, Encoding::EXPLICIT).unwrap();
            assert_eq!((head.length, head.value_at), (4, 12));
            assert_eq!(element_head(&bytes[..11], 0, Encoding::EXPLICIT), Err(HeadFault::Ends));
        }
    }
}
