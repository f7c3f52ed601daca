//! De-identified copies of radiotherapy objects by PS3.15 Annex E: the Basic Profile with the
//! options Clean Descriptors and, unless told otherwise, Retain Longitudinal Temporal Information
//! with Modified Dates; others on request ([`Choices`]). Pseudonyms, UIDs and the shift of days come
//! from the study key, so the copies of one archive stay linked over files and runs. Must not know
//! where the copies are written.

mod clean;
mod personal;
mod rules;
mod write;

use std::collections::BTreeMap;

use dicom_core::value::PrimitiveValue;
use dicom_core::{DataElement, Tag, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::InMemDicomObject;

use self::clean::Cleaner;
pub use self::personal::Personal;
use self::rules::Rule;
use super::contour::CONTOUR_SLAB_THICKNESS;
use super::error::Error;
use super::file_location::FileLocation;
use super::header::Class;
use super::object::{Object, SourceFile};
use super::open::open;
use tidydose_rt::finding::Code;
use tidydose_rt::identity::{Identity, Token};

/// What the user wants kept beyond the Basic Profile.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Choices {
    /// Labels of plans and structure sets stay readable where they name nobody.
    pub keep_labels: bool,
    /// Manufacturer and model stay readable.
    pub keep_device: bool,
    /// Sex, age, size and weight of the patient stay; ages above 89 years become 90.
    pub keep_characteristics: bool,
    /// Names of institution and department stay readable where they name nobody.
    pub keep_institution: bool,
    /// No date stays, not even shifted.
    pub drop_dates: bool,
}

/// A group of attributes that are treated alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum AttributeGroup {
    /// Name, number and other marks of the patient.
    Patient,
    /// UIDs of instances, series, studies and frames.
    Uids,
    /// Calendar dates.
    Dates,
    /// Names of structures.
    StructureNames,
    /// Labels of plans and structure sets.
    Labels,
    /// Names of treatment machines, manufacturer and model.
    Device,
    /// Names of institution and department.
    Institution,
    /// Times, names of staff, numbers of studies, which must be there but may be empty.
    Others,
    /// Numbers, defined terms, codes and sequences of the treatment.
    Content,
    /// Private attributes.
    Private,
    /// Everything that the list does not name.
    Unlisted,
}

impl AttributeGroup {
    fn of(tag: Tag, rule: Option<Rule>) -> Self {
        match rule {
            _ if tag.group() % 2 == 1 => Self::Private,
            _ if tag.group() == 0x0010 => Self::Patient,
            None => Self::Unlisted,
            Some(Rule::Uid) => Self::Uids,
            Some(Rule::Date) => Self::Dates,
            Some(Rule::StructureName) => Self::StructureNames,
            Some(Rule::Label) => Self::Labels,
            Some(Rule::Machine | Rule::Device) => Self::Device,
            Some(Rule::Institution) => Self::Institution,
            Some(Rule::Empty | Rule::Patient | Rule::Sex | Rule::Age | Rule::Body) => Self::Others,
            Some(Rule::Number | Rule::Term | Rule::ClassUid | Rule::Code | Rule::Sequence) => {
                Self::Content
            }
        }
    }

    /// The words of the table.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Patient => "patient",
            Self::Uids => "uids",
            Self::Dates => "dates",
            Self::StructureNames => "structure_names",
            Self::Labels => "labels",
            Self::Device => "device",
            Self::Institution => "institution",
            Self::Others => "times_staff_and_study_numbers",
            Self::Content => "treatment_content",
            Self::Private => "private",
            Self::Unlisted => "not_needed",
        }
    }
}

/// What was done with an attribute.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum AttributeAction {
    /// As it was.
    Kept,
    /// By a pseudonym.
    Replaced,
    /// By the days of the patient.
    Shifted,
    /// Empty now.
    Emptied,
    /// Would have been kept, but names somebody.
    Withheld,
    /// No longer there.
    Removed,
}

impl AttributeAction {
    /// The words of the table.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Kept => "kept",
            Self::Replaced => "replaced",
            Self::Shifted => "shifted",
            Self::Emptied => "emptied",
            Self::Withheld => "withheld",
            Self::Removed => "removed",
        }
    }
}

/// A de-identified copy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Copy {
    /// The whole file.
    pub bytes: Vec<u8>,
    /// How many of which attributes were treated how.
    pub done: BTreeMap<(AttributeGroup, AttributeAction), usize>,
}

/// The radiotherapy classes that are copied, as the inventory names them, each with the word of its
/// file name.
const CLASSES: &[(&str, &str)] = &[
    (uids::RT_STRUCTURE_SET_STORAGE, "RTSTRUCT"),
    (uids::RT_DOSE_STORAGE, "RTDOSE"),
    (uids::RT_PLAN_STORAGE, "RTPLAN"),
    (uids::RT_ION_PLAN_STORAGE, "RTPLAN"),
    (uids::RT_BEAMS_TREATMENT_RECORD_STORAGE, "RTRECORD"),
    (uids::RT_ION_BEAMS_TREATMENT_RECORD_STORAGE, "RTRECORD"),
    (uids::RT_BRACHY_TREATMENT_RECORD_STORAGE, "RTRECORD"),
    (uids::RT_TREATMENT_SUMMARY_RECORD_STORAGE, "RTRECORD"),
    (uids::SPATIAL_REGISTRATION_STORAGE, "REG"),
];

/// The word for a class in a file name (`RTDOSE`), by the name of the class in the inventory;
/// nothing for classes that are not copied.
#[must_use]
pub fn copied_class(sop_class: &str) -> Option<&'static str> {
    let named =
        CLASSES.iter().find(|(uid, _)| super::dictionary::sop_class_name(uid) == Some(sop_class));
    named.map(|(_, word)| *word)
}

/// Distance between the planes of a structure, mm, by ROI Number, as the images state it. Images are
/// not copied, so the copies of contours say it themselves.
pub type Spacings = BTreeMap<i64, f64>;

/// States Contour Slab Thickness where no contour of a structure has one.
fn state_spacings(set: &mut InMemDicomObject, spacings: &Spacings) {
    let Ok(mut rois) = set.take_element(tags::ROI_CONTOUR_SEQUENCE) else { return };
    for roi in rois.items_mut().into_iter().flatten() {
        let number = roi.get(tags::REFERENCED_ROI_NUMBER).and_then(|e| e.to_int::<i64>().ok());
        let Some(mm) = number.and_then(|n| spacings.get(&n)) else { continue };
        if roi.get(tags::SOURCE_PIXEL_PLANES_CHARACTERISTICS_SEQUENCE).is_some() {
            continue;
        }
        let Ok(mut contours) = roi.take_element(tags::CONTOUR_SEQUENCE) else { continue };
        for contour in contours.items_mut().into_iter().flatten() {
            if contour.get(CONTOUR_SLAB_THICKNESS).is_none() {
                let text = PrimitiveValue::from(write::decimal(*mm));
                contour.put(DataElement::new(CONTOUR_SLAB_THICKNESS, VR::DS, text));
            }
        }
        roi.put(contours);
    }
    set.put(rois);
}

/// What the object says of its patient and of other people, for the check of texts.
///
/// # Errors
/// When the file cannot be read.
pub fn people(place: &FileLocation, identity: &Identity, file: &Token) -> Result<Personal, Error> {
    let object = open(SourceFile { place, file, identity })?;
    let mut personal = Personal::default();
    personal.gather(&object.file().data_set);
    Ok(personal)
}

/// The de-identified copy of a radiotherapy object.
///
/// # Errors
/// When the file cannot be read, is of another class, or its copy cannot be written.
pub fn deidentify(
    place: &FileLocation,
    (file, identity): (&Token, &Identity),
    (personal, spacings): (&Personal, &Spacings),
    choices: Choices,
) -> Result<Copy, Error> {
    let object = open(SourceFile { place, file, identity })?;
    copy(&object, (personal, spacings), choices).map_err(|error| object.name(error))
}

fn copy(
    object: &Object<'_>,
    (personal, spacings): (&Personal, &Spacings),
    choices: Choices,
) -> Result<Copy, Error> {
    let identity = object.identity();
    if identity.is_kept() {
        let message = "a copy needs a key; identifiers cannot be kept in it";
        return Err(Error::new(Code::FileUnreadable, message));
    }
    let class = object.root().required_uid(tags::SOP_CLASS_UID)?;
    object.root().required_uid(tags::SOP_INSTANCE_UID)?;
    if !CLASSES.iter().any(|(uid, _)| *uid == class) {
        let accepted = "the SOP Class UID of a radiotherapy object or spatial registration";
        return Err(super::attribute::invalid(tags::SOP_CLASS_UID, class, accepted));
    }
    let patient =
        object.patient_id().map(|id| object.token(tidydose_rt::identity::Kind::Patient, id));
    let patient = patient.as_ref();
    let mut cleaner = Cleaner::new(identity, patient, personal, choices);
    let mut clean = cleaner.data_set(&object.file().data_set);
    let done = cleaner.done()?;
    if Class::of(class) == Class::Dose {
        write::pixels(object, &mut clean)?;
    }
    state_spacings(&mut clean, spacings);
    write::statement(&mut clean, choices);
    Ok(Copy { bytes: write::file(clean, class)?, done })
}
