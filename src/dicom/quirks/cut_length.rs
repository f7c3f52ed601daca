//! A value that is longer than its length field can say.
//!
//! Clause: PS3.5 6.2.2 and 7.1.2: a value of a representation with a 16-bit length field that needs
//! more is written as UN, whose length has 32 bits.
//! Files do: write the length modulo 65,536 (Contour Data of thousands of points); what is left of
//! the value then stands where the next element should begin.
//! We do: refuse the file and name the attribute, since where the value ends cannot be known.
//! Finding: `FileDamaged`.
//! Strict: the same.

use dicom_core::{Tag, VR};

use crate::dictionary::keyword;
use crate::encoding::Encoding;
use crate::error::Error;
use tidydose_rt::finding::Code;

/// So many characters of a number where a tag should be are no accident.
const ENOUGH: usize = 12;

/// Whether a value can have lost a part of its length.
pub(crate) const fn possible(vr: VR, encoding: Encoding) -> bool {
    encoding.explicit && matches!(vr, VR::DS | VR::IS)
}

/// The error in other words when what follows the value of `last` reads like more numbers.
pub(crate) fn explained(error: Error, last: Option<Tag>, rest: &[u8]) -> Error {
    let part = |b: &u8| b.is_ascii_digit() || b"+-.eE\\ ".contains(b);
    let (Some(tag), true) = (last, error.code() == Code::FileDamaged) else { return error };
    if !rest.get(..ENOUGH).is_some_and(|start| start.iter().all(part)) {
        return error;
    }
    let message = format!(
        "{} goes on where it should end, as when a value of more than 65,535 bytes is given a \
         length of 16 bits; such values are accepted with representation UN",
        keyword(tag)
    );
    Error::new(Code::FileDamaged, message).about(tag)
}
