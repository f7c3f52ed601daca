//! The head of one data element in its three native encodings (PS3.5 section 7): tag, value
//! representation, length. Every read is checked against the bytes that are there. Knows nothing
//! of sequences, files or meaning.

use dicom_core::dictionary::{DataDictionary, DataDictionaryEntry};
use dicom_core::{Tag, VR};
use dicom_dictionary_std::StandardDataDictionary;

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
pub(super) struct Header {
    /// The tag.
    pub tag: Tag,
    /// The value representation: written out, or by the dictionary, or UN.
    pub vr: VR,
    /// Value length in bytes, or [`UNDEFINED`].
    pub length: u32,
    /// Where the value begins.
    pub value_at: usize,
}

impl Header {
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
pub(super) fn header(bytes: &[u8], at: usize, encoding: Encoding) -> Result<Header, HeadFault> {
    let rest = bytes.get(at..).unwrap_or_default();
    let &[g0, g1, e0, e1, a, b, c, d] = rest.first_chunk::<8>().ok_or(HeadFault::Ends)?;
    let tag = Tag(encoding.u16([g0, g1]), encoding.u16([e0, e1]));
    if tag.group() == 0xFFFE {
        let length = encoding.u32([a, b, c, d]);
        return Ok(Header { tag, vr: VR::UN, length, value_at: at + 8 });
    }
    if !encoding.explicit {
        let vr = dictionary_vr(tag).unwrap_or(VR::UN);
        return Ok(Header { tag, vr, length: encoding.u32([a, b, c, d]), value_at: at + 8 });
    }
    let vr = match VR::from_binary([a, b]) {
        Some(vr) => vr,
        // A representation younger than this program has the long form (PS3.5 7.1.2).
        None if a.is_ascii_uppercase() && b.is_ascii_uppercase() => VR::UN,
        None => return Err(HeadFault::Representation(tag)),
    };
    if !has_long_form(vr) {
        let length = u32::from(encoding.u16([c, d]));
        return Ok(Header { tag, vr, length, value_at: at + 8 });
    }
    let &[_, _, _, _, _, _, _, _, w, x, y, z] = rest.first_chunk::<12>().ok_or(HeadFault::Ends)?;
    Ok(Header { tag, vr, length: encoding.u32([w, x, y, z]), value_at: at + 12 })
}

/// Whether the length field has 32 bits (PS3.5 table 7.1-1).
const fn has_long_form(vr: VR) -> bool {
    use VR::{OB, OD, OF, OL, OV, OW, SQ, SV, UC, UN, UR, UT, UV};
    matches!(vr, OB | OD | OF | OL | OV | OW | SQ | SV | UC | UN | UR | UT | UV)
}

/// The value representation the dictionary gives for a tag.
pub(super) fn dictionary_vr(tag: Tag) -> Option<VR> {
    StandardDataDictionary.by_tag(tag).map(|entry| entry.vr().relaxed())
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
        let head = Header { tag: Tag(0x28, 0x10), vr: VR::US, length: 2, value_at: 8 };
        assert_eq!(header(&explicit, 0, Encoding::EXPLICIT), Ok(head));
        assert_eq!(header(&implicit, 0, Encoding::IMPLICIT), Ok(head));
        assert_eq!(header(&big, 0, Encoding::EXPLICIT_BIG), Ok(head));
    }

    #[test]
    fn long_forms_take_twelve_bytes() {
        for vr in [b"OB", b"OV", b"SV", b"UV", b"UC", b"UR", b"UT", b"UN", b"SQ"] {
            let bytes = [0x09, 0, 0x10, 0, vr[0], vr[1], 0, 0, 4, 0, 0, 0];
            let head = header(&bytes, 0, Encoding::EXPLICIT).unwrap();
            assert_eq!((head.length, head.value_at), (4, 12));
            assert_eq!(header(&bytes[..11], 0, Encoding::EXPLICIT), Err(HeadFault::Ends));
        }
    }
}
