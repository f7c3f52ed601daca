//! Known attributes with representation UN.
//!
//! Clause: PS3.5 6.2.2, notes: UN stands for a value whose representation was unknown to a sender or
//! whose length does not fit; once the representation is known, the value is read as implicit little
//! endian whatever the transfer syntax; UN of undefined length is a sequence.
//! Files do: store Contour Data beyond 64 KiB so, or every element after a detour through an old
//! converter.
//! We do: read by the dictionary.
//! Finding: `UnknownRepresentation`, once for a file.
//! Strict: the same; no meaning is in doubt.

use dicom_core::{Tag, VR};

use crate::dictionary::dictionary_vr;
use crate::encoding::{ElementHead, Encoding};
use crate::remark::Remarks;
use tidydose_rt::finding::Code;

/// The first known attribute that was stored as UN, and how many there are.
#[derive(Debug, Default)]
pub(crate) struct UnknownValues(Option<(Tag, usize)>);

impl UnknownValues {
    /// Representation and encoding of a value in a data set of this encoding.
    pub(crate) fn meaning(&mut self, head: &ElementHead, around: Encoding) -> (VR, Encoding) {
        if head.vr != VR::UN || !around.explicit {
            return (head.vr, around);
        }
        match dictionary_vr(head.tag) {
            Some(vr) if vr != VR::UN => {
                let (first, count) = self.0.unwrap_or((head.tag, 0));
                self.0 = Some((first, count + 1));
                (vr, Encoding::IMPLICIT)
            }
            _ => (VR::UN, Encoding::IMPLICIT),
        }
    }

    /// Tells of them.
    pub(crate) fn note(&self, remarks: &mut Remarks) {
        if let Some((tag, count)) = self.0 {
            let message = match count {
                1 => "stored as UN, read by the dictionary".to_owned(),
                n => format!("{n} values stored as UN, this one first; read by the dictionary"),
            };
            remarks.about(Code::UnknownRepresentation, tag, message);
        }
    }
}
