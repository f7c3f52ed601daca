//! Dose samples that do not use all bits they are allocated.
//!
//! Clause: PS3.3 C.8.8.3.4: Bits Stored (0028,0101) equals Bits Allocated, High Bit (0028,0102) is
//! one less.
//! Files do: state fewer bits, as images do, or a high bit that contradicts Bits Stored.
//! We do: with all bits stored, use them all whatever High Bit says; with fewer, which must be the
//! lowest, make sure that no sample uses another. Anything else is refused.
//! Finding: `AttributeDoubtful`; `AttributeInvalid` or `DoseGridInvalid` where it is refused.
//! Strict: refuses the dose.

use dicom_dictionary_std::tags;

use crate::attribute::{Attributes, invalid};
use crate::error::Error;
use crate::pixels::StoredSamples;
use tidydose_rt::finding::Code;

/// Makes sure that the first `count` samples of `bytes` bytes are what they seem.
///
/// # Errors
/// When samples may begin above the lowest bit, or use bits that are not stored.
pub(crate) fn check(
    root: &Attributes<'_>,
    samples: &StoredSamples<'_>,
    count: usize,
    bytes: usize,
) -> Result<(), Error> {
    let allocated = i64::try_from(bytes * 8).unwrap_or(i64::MAX);
    let stored = root.integer(tags::BITS_STORED)?.unwrap_or(allocated);
    let high = root.integer(tags::HIGH_BIT)?.unwrap_or(stored - 1);
    if stored == allocated {
        if high != stored - 1 {
            let message = "contradicts Bits Stored; all bits are used";
            root.note(Code::AttributeDoubtful, tags::HIGH_BIT, message);
        }
        return Ok(());
    }
    let bits = u32::try_from(stored).ok().filter(|_| (1..allocated).contains(&stored));
    let Some(bits) = bits else {
        let accepted = "Bits Allocated";
        return Err(invalid(tags::BITS_STORED, &stored.to_string(), accepted));
    };
    if high != stored - 1 {
        let accepted = "one less than Bits Stored";
        return Err(invalid(tags::HIGH_BIT, &high.to_string(), accepted));
    }
    if samples.words(count, bytes).any(|word| word >> bits != 0) {
        let message = format!("samples use more than the {bits} bits that are stored");
        return Err(Error::new(Code::DoseGridInvalid, message).about(tags::BITS_STORED));
    }
    let message = format!("{bits} of {allocated} bits are stored; no sample uses another");
    root.note(Code::AttributeDoubtful, tags::BITS_STORED, message);
    Ok(())
}
