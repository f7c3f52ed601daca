//! What the standard's dictionary (PS3.6) says of a tag or a UID. Knows nothing of values.

use dicom_core::dictionary::{
    DataDictionary, DataDictionaryEntry, UidDictionary, UidDictionaryEntry,
};
use dicom_core::{Tag, VR};
use dicom_dictionary_std::{StandardDataDictionary, StandardSopClassDictionary};

/// The keyword of a tag (`DoseGridScaling`), or the tag itself where the dictionary has none.
pub(super) fn keyword(tag: Tag) -> String {
    StandardDataDictionary
        .by_tag(tag)
        .filter(|_| tag.group().is_multiple_of(2))
        .map_or_else(|| tag.to_string(), |entry| entry.alias().to_owned())
}

/// The value representation the dictionary gives for a tag.
pub(super) fn dictionary_vr(tag: Tag) -> Option<VR> {
    StandardDataDictionary.by_tag(tag).map(|entry| entry.vr().relaxed())
}

/// The name of a SOP class (`RT Dose Storage`).
pub(super) fn sop_class_name(uid: &str) -> Option<&'static str> {
    StandardSopClassDictionary.by_uid(uid).map(UidDictionaryEntry::name)
}
