//! A cleaned data set as a file: the stored dose of exactly the stated size, the statement of what
//! was done, an own preamble and file meta group, explicit VR little endian, UTF-8.

use dicom_core::value::{DataSetSequence, PrimitiveValue};
use dicom_core::{DataElement, Length, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};

use super::Choices;
use crate::error::Error;
use crate::object::Object;
use crate::pixels::{Size, StoredSamples};
use tidydose_rt::finding::Code;

/// This program as a writer of DICOM files: a UID from a UUID (PS3.5 B.2), the same for all copies.
const IMPLEMENTATION: &str = "2.25.159184219826480157310382297455716231846";

/// Adds the stored dose, decoded and cut to its stated size: what follows it may be anything.
pub(super) fn pixels(object: &Object<'_>, to: &mut InMemDicomObject) -> Result<(), Error> {
    if object.file().pixels.is_none() {
        return Ok(());
    }
    let root = object.root();
    let bits = root.required_u16(tags::BITS_ALLOCATED)?;
    let sample = match bits {
        16 => 2,
        32 => 4,
        _ => {
            let found = bits.to_string();
            return Err(crate::attribute::invalid(tags::BITS_ALLOCATED, &found, "16 or 32"));
        }
    };
    let size = Size {
        rows: root.required_u16(tags::ROWS)?,
        columns: root.required_u16(tags::COLUMNS)?,
        sample,
    };
    let frames = root.integer(tags::NUMBER_OF_FRAMES)?.unwrap_or(1);
    let Some(samples) = StoredSamples::of(object.file(), size)? else { return Ok(()) };
    let count = usize::try_from(frames).ok().and_then(|n| n.checked_mul(size.frame_samples()));
    let count = count.filter(|n| n.checked_mul(sample).is_some_and(|b| b <= samples.len()));
    let Some(count) = count else {
        let message = "fewer bytes of pixel data than frames, rows and columns state";
        return Err(Error::new(Code::FileDamaged, message).about(tags::PIXEL_DATA));
    };
    let words = samples.words(count, sample);
    let value = if sample == 2 {
        PrimitiveValue::U16(words.map(|w| u16::try_from(w & 0xFFFF).unwrap_or(0)).collect())
    } else {
        PrimitiveValue::U16(
            words
                .flat_map(|w| [w & 0xFFFF, w >> 16])
                .map(|w| u16::try_from(w).unwrap_or(0))
                .collect(),
        )
    };
    to.put(DataElement::new(tags::PIXEL_DATA, VR::OW, value));
    Ok(())
}

/// Says in the object itself what was done (PS3.3 C.7.1.1 and C.12.1; codes of CID 7050, from
/// memory).
pub(super) fn statement(to: &mut InMemDicomObject, choices: Choices) {
    let mut codes = vec![
        ("113100", "Basic Application Confidentiality Profile"),
        ("113105", "Clean Descriptors Option"),
    ];
    if !choices.drop_dates {
        let meaning = "Retain Longitudinal Temporal Information Modified Dates Option";
        codes.push(("113107", meaning));
    }
    if choices.keep_device {
        codes.push(("113109", "Retain Device Identity Option"));
    }
    if choices.keep_characteristics {
        codes.push(("113108", "Retain Patient Characteristics Option"));
    }
    if choices.keep_institution {
        codes.push(("113112", "Retain Institution Identity Option"));
    }
    codes.sort_unstable();
    let item = |(code, meaning): (&str, &str)| {
        InMemDicomObject::from_element_iter([
            text(tags::CODE_VALUE, VR::SH, code),
            text(tags::CODING_SCHEME_DESIGNATOR, VR::SH, "DCM"),
            text(tags::CODE_MEANING, VR::LO, meaning),
        ])
    };
    let items: Vec<_> = codes.into_iter().map(item).collect();
    let sequence = DataSetSequence::new(items, Length::UNDEFINED);
    let dates = if choices.drop_dates { "REMOVED" } else { "MODIFIED" };
    for element in [
        text(tags::SPECIFIC_CHARACTER_SET, VR::CS, "ISO_IR 192"),
        text(tags::PATIENT_IDENTITY_REMOVED, VR::CS, "YES"),
        text(tags::LONGITUDINAL_TEMPORAL_INFORMATION_MODIFIED, VR::CS, dates),
        DataElement::new(tags::DEIDENTIFICATION_METHOD_CODE_SEQUENCE, VR::SQ, sequence),
    ] {
        to.put(element);
    }
}

fn text(tag: dicom_core::Tag, vr: VR, value: &str) -> DataElement<InMemDicomObject> {
    DataElement::new(tag, vr, PrimitiveValue::from(value))
}

/// The bytes of the file.
pub(super) fn file(data: InMemDicomObject, class: &str) -> Result<Vec<u8>, Error> {
    let fault = |what: String| Error::new(Code::FileUnreadable, what);
    let meta = FileMetaTableBuilder::new()
        .transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN)
        .media_storage_sop_class_uid(class)
        .implementation_class_uid(IMPLEMENTATION)
        .implementation_version_name("TIDYDOSE");
    let refused = |_| fault("the copy cannot be written as DICOM".to_owned());
    let object = data.with_meta(meta).map_err(refused)?;
    let mut bytes = Vec::new();
    object.write_all(&mut bytes).map_err(|_| fault("the copy cannot be encoded".to_owned()))?;
    Ok(bytes)
}

/// A number as a decimal string of 16 characters at most (PS3.5 section 6.2).
pub(super) fn decimal(value: f64) -> String {
    let text = value.to_string();
    if text.len() <= 16 { text } else { format!("{value:.10}").chars().take(16).collect() }
}
