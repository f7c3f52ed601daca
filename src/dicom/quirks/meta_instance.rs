//! File meta group and data set that name two instances.
//!
//! Clause: PS3.10 7.1: Media Storage SOP Instance UID (0002,0003) is that of the data set.
//! Files do: keep that of the object from which they were made, after an edit or a new UID.
//! We do: use the one of the data set, to which the other objects refer.
//! Finding: `FileMetaDamaged`.
//! Strict: refuses the object.

use dicom_dictionary_std::tags;

use crate::remark::Remarks;
use tidydose_rt::finding::Code;

/// Notes two UIDs that differ; either may be absent.
pub(crate) fn note(remarks: &mut Remarks, meta: Option<&str>, data_set: Option<&str>) {
    if let (Some(meta), Some(own)) = (meta, data_set)
        && !meta.is_empty()
        && meta != own
    {
        let message = "differs from SOP Instance UID (0008,0018), which is used";
        remarks.about(Code::FileMetaDamaged, tags::MEDIA_STORAGE_SOP_INSTANCE_UID, message);
    }
}
