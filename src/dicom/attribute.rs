//! Typed access to the attributes of an object.

use dicom_core::Tag;
use dicom_core::dictionary::{DataDictionary, DataDictionaryEntry};
use dicom_dictionary_std::StandardDataDictionary;

/// The keyword of a tag (`DoseGridScaling`), or the tag itself where the dictionary has none.
pub(super) fn keyword(tag: Tag) -> String {
    StandardDataDictionary
        .by_tag(tag)
        .map_or_else(|| tag.to_string(), |entry| entry.alias().to_owned())
}
