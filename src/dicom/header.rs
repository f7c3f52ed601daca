//! The few attributes that say what a file is and, for an image slice, where it lies, from the
//! first kilobytes of the file. Looks at the outermost elements only and steps over everything
//! else, so that an archive of image slices costs little more than opening its files.

use std::borrow::Cow;

use dicom_core::{Tag, VR};
use dicom_dictionary_std::{tags, uids};

use super::encoding::{ElementHead, Encoding, ITEM, ITEM_END, SEQUENCE_END, element_head};
use super::text::{latin_1, trimmed};

/// What a SOP class means to the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Class {
    /// RT Structure Set.
    StructureSet,
    /// RT Dose.
    Dose,
    /// RT Plan.
    Plan,
    /// RT Ion Plan.
    IonPlan,
    /// A treatment record or treatment summary.
    Record,
    /// Spatial Registration.
    Registration,
    /// A slice of CT or MR.
    Slice,
    /// Slices of CT or MR in one object (enhanced, multi-frame).
    Slices,
    /// A DICOMDIR.
    Directory,
    /// A radiotherapy object that is not analysed.
    OtherRadiotherapy,
    /// Anything else.
    Other,
}

impl Class {
    /// The class of a SOP Class UID.
    pub(super) fn of(uid: &str) -> Self {
        match uid {
            uids::RT_STRUCTURE_SET_STORAGE => Self::StructureSet,
            uids::RT_DOSE_STORAGE => Self::Dose,
            uids::RT_PLAN_STORAGE => Self::Plan,
            uids::RT_ION_PLAN_STORAGE => Self::IonPlan,
            uids::RT_BEAMS_TREATMENT_RECORD_STORAGE
            | uids::RT_ION_BEAMS_TREATMENT_RECORD_STORAGE
            | uids::RT_BRACHY_TREATMENT_RECORD_STORAGE
            | uids::RT_TREATMENT_SUMMARY_RECORD_STORAGE => Self::Record,
            uids::SPATIAL_REGISTRATION_STORAGE => Self::Registration,
            uids::DEFORMABLE_SPATIAL_REGISTRATION_STORAGE => Self::OtherRadiotherapy,
            uids::CT_IMAGE_STORAGE | uids::MR_IMAGE_STORAGE => Self::Slice,
            uids::ENHANCED_CT_IMAGE_STORAGE
            | uids::ENHANCED_MR_IMAGE_STORAGE
            | uids::LEGACY_CONVERTED_ENHANCED_CT_IMAGE_STORAGE
            | uids::LEGACY_CONVERTED_ENHANCED_MR_IMAGE_STORAGE => Self::Slices,
            uids::MEDIA_STORAGE_DIRECTORY_STORAGE => Self::Directory,
            // The radiotherapy branch of the storage classes, first and second generation.
            _ if uid.starts_with("1.2.840.10008.5.1.4.1.1.481.") => Self::OtherRadiotherapy,
            _ => Self::Other,
        }
    }
}

/// The beginning of a data set. Text is kept as stored.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Header<'a> {
    /// SOP Class UID (0008,0016).
    pub class: Cow<'a, str>,
    /// SOP Instance UID (0008,0018).
    pub instance: Cow<'a, str>,
    /// Acquisition Date (0008,0022), else Series Date (0008,0021) or Study Date (0008,0020).
    pub date: Cow<'a, str>,
    /// Modality (0008,0060).
    pub modality: Cow<'a, str>,
    /// Patient ID (0010,0020).
    pub patient: Cow<'a, str>,
    /// Series Instance UID (0020,000E).
    pub series: Cow<'a, str>,
    /// Frame of Reference UID (0020,0052).
    pub frame: Cow<'a, str>,
    /// Image Position (Patient) (0020,0032).
    pub position: Cow<'a, str>,
    /// Image Orientation (Patient) (0020,0037).
    pub orientation: Cow<'a, str>,
}

/// Why there is no header.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum HeaderFault {
    /// More bytes of the file are needed, up to this position.
    NeedsMore(usize),
    /// Lengths contradict the file.
    Damaged,
}

/// A data set of which only the beginning is in memory.
#[derive(Clone, Copy)]
pub(super) struct Start<'a> {
    /// The bytes at hand.
    pub bytes: &'a [u8],
    /// Size of the whole file (or inflated data set).
    pub total: usize,
    /// Where the data set begins.
    pub at: usize,
    /// How its elements are written.
    pub encoding: Encoding,
}

/// Reads the header. `meta_class` stands in for a SOP Class UID that the data set lacks. The walk
/// ends as soon as what the class needs is past.
pub(super) fn header<'a>(
    start: Start<'a>,
    meta_class: Option<&'a str>,
) -> Result<Header<'a>, HeaderFault> {
    let meta_class = meta_class.unwrap_or_default();
    let mut header = Header::default();
    let mut last = last_tag(meta_class);
    let mut at = start.at;
    while at < start.total {
        let element = start.element(at)?;
        if element.tag > tags::SOP_INSTANCE_UID && element.tag > last {
            break;
        }
        let Some(size) = element.size() else {
            at = start.skip_open(element)?;
            continue;
        };
        let end = element.value_at.checked_add(size).filter(|end| *end <= start.total);
        let Some(end) = end else { return Err(HeaderFault::Damaged) };
        if let Some(field) = header.field(element.tag) {
            let value =
                start.bytes.get(element.value_at..end).ok_or(HeaderFault::NeedsMore(end))?;
            let text = trimmed(latin_1(value));
            // Of three dates the last one that is stated.
            if !text.is_empty() {
                *field = text;
            }
            if element.tag == tags::SOP_CLASS_UID && !field.is_empty() {
                last = last_tag(field);
            }
        }
        at = end;
    }
    if header.class.is_empty() {
        header.class = Cow::Borrowed(meta_class);
    }
    Ok(header)
}

/// Where the pixel data begins, or the data set ends without any.
pub(super) fn pixels_at(start: Start<'_>) -> Result<usize, HeaderFault> {
    let mut at = start.at;
    while at < start.total {
        let element = start.element(at)?;
        if element.tag >= tags::PIXEL_DATA {
            break;
        }
        at = match element.size() {
            None => start.skip_open(element)?,
            Some(size) => {
                let end = element.value_at.checked_add(size).filter(|end| *end <= start.total);
                end.ok_or(HeaderFault::Damaged)?
            }
        };
    }
    if at > start.bytes.len() { Err(HeaderFault::NeedsMore(at)) } else { Ok(at) }
}

/// The last tag that is of interest in an object of a class.
fn last_tag(class: &str) -> Tag {
    match Class::of(class) {
        Class::Slice | Class::Slices => tags::FRAME_OF_REFERENCE_UID,
        _ => tags::PATIENT_ID,
    }
}

impl<'a> Header<'a> {
    fn field(&mut self, tag: Tag) -> Option<&mut Cow<'a, str>> {
        Some(match tag {
            tags::SOP_CLASS_UID => &mut self.class,
            tags::SOP_INSTANCE_UID => &mut self.instance,
            tags::STUDY_DATE | tags::SERIES_DATE | tags::ACQUISITION_DATE => &mut self.date,
            tags::MODALITY => &mut self.modality,
            tags::PATIENT_ID => &mut self.patient,
            tags::SERIES_INSTANCE_UID => &mut self.series,
            tags::FRAME_OF_REFERENCE_UID => &mut self.frame,
            tags::IMAGE_POSITION_PATIENT => &mut self.position,
            tags::IMAGE_ORIENTATION_PATIENT => &mut self.orientation,
            _ => return None,
        })
    }
}

impl Start<'_> {
    fn element(self, at: usize) -> Result<ElementHead, HeaderFault> {
        element_head(self.bytes, at, self.encoding).map_err(|_| {
            if at + 12 > self.bytes.len() && self.bytes.len() < self.total {
                HeaderFault::NeedsMore(at + 12)
            } else {
                HeaderFault::Damaged
            }
        })
    }

    /// Steps over a value of undefined length by counting what opens and closes inside it.
    fn skip_open(self, outer: ElementHead) -> Result<usize, HeaderFault> {
        let implicit = outer.vr == VR::UN && self.encoding.explicit;
        let inner =
            Self { encoding: if implicit { Encoding::IMPLICIT } else { self.encoding }, ..self };
        let mut at = outer.value_at;
        let mut depth = 1_usize;
        while depth > 0 {
            let part = inner.element(at)?;
            at = part.value_at;
            match (part.tag, part.size()) {
                (SEQUENCE_END | ITEM_END, _) => depth -= 1,
                (ITEM, None) | (_, None) => depth += 1,
                (_, Some(size)) => {
                    let end = at.checked_add(size).filter(|end| *end <= self.total);
                    at = end.ok_or(HeaderFault::Damaged)?;
                }
            }
        }
        Ok(at)
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    #[test]
    fn a_slice_needs_its_first_bytes_only() {
        for encoding in [Encoding::IMPLICIT, Encoding::EXPLICIT, Encoding::EXPLICIT_BIG] {
            for open in [false, true] {
                let bytes = fixtures::data_set(&fixtures::slice("1.2.7.1", -4.5), encoding, open);
                let at = 0;
                let start = Start { bytes: &bytes[..1000], total: bytes.len(), at, encoding };
                let header = header(start, None).unwrap();
                assert_eq!(header.instance, "1.2.7.1");
                assert_eq!(header.position, "0\\0\\-4.5");
                assert_eq!((&*header.modality, &*header.frame), ("CT", "1.2.9"));
            }
        }
    }

    #[test]
    fn sequences_are_stepped_over() {
        let e = Encoding::EXPLICIT;
        let item = vec![fixtures::text(tags::SERIES_INSTANCE_UID, VR::UI, "9.9")];
        let nested = vec![fixtures::Element::Items(Tag(0x0008, 0x1115), vec![item.clone(), item])];
        let mut parts = fixtures::slice("1.2.7.1", 0.0);
        fixtures::set(&mut parts, fixtures::Element::Items(Tag(0x0008, 0x1140), vec![nested]));
        for open in [false, true] {
            let bytes = fixtures::data_set(&parts, e, open);
            let start = Start { bytes: &bytes, total: bytes.len(), at: 0, encoding: e };
            assert_eq!(header(start, None).unwrap().series, "1.2.7");
        }
    }

    #[test]
    fn too_few_bytes_are_asked_for_and_lies_are_refused() {
        let e = Encoding::EXPLICIT;
        let bytes = fixtures::data_set(&fixtures::slice("1.2.7.1", 0.0), e, false);
        for size in 0..180 {
            let start = Start { bytes: &bytes[..size], total: bytes.len(), at: 0, encoding: e };
            let needs = header(start, None);
            assert!(
                matches!(needs, Err(HeaderFault::NeedsMore(n)) if n > size),
                "{size} {needs:?}"
            );
        }
        let lie = fixtures::head(Tag(0x0008, 0x0005), VR::UT, u32::MAX - 1, e);
        let start = Start { bytes: &lie, total: 100, at: 0, encoding: e };
        assert_eq!(header(start, None), Err(HeaderFault::Damaged));
    }
}
