//! Frame Increment Pointer that does not name the plane offsets.
//!
//! Clause: PS3.3 C.8.8.3.1: with more than one frame, Frame Increment Pointer (0028,0009) names
//! Grid Frame Offset Vector (3004,000C).
//! Files do: leave it out, or point to a frame time.
//! We do: use the offsets, which are checked against the number of frames anyway.
//! Finding: `DoseGridRepaired`.
//! Strict: refuses the dose.

use dicom_dictionary_std::tags;

use crate::attribute::Attributes;
use tidydose_rt::finding::Code;

/// Notes a pointer that is absent or points elsewhere.
pub(crate) fn note(root: &Attributes<'_>, frames: usize) {
    let tag = tags::FRAME_INCREMENT_POINTER;
    if frames > 1 && root.pointer(tag) != Some(tags::GRID_FRAME_OFFSET_VECTOR) {
        let message = "absent, or names another attribute; the plane offsets are used";
        root.note(Code::DoseGridRepaired, tag, message);
    }
}
