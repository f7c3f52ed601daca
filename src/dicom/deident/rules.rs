//! Which attributes of a radiotherapy object survive de-identification, and as what. An allow-list:
//! what is not named here is removed, at every level, private blocks among it. The actions are those
//! of the Basic Profile of PS3.15 Annex E (Table E.1-1) with the options that [`super::Choices`]
//! names; where the profile keeps an attribute by being silent, the content is checked besides.

use dicom_core::Tag;
use dicom_dictionary_std::tags;

use crate::contour::{CONTOUR_OFFSET_VECTOR, CONTOUR_SLAB_THICKNESS};

/// What happens to one attribute.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Rule {
    /// Kept where every value is a number.
    Number,
    /// Kept where every value is one of [`TERMS`].
    Term,
    /// Kept where it is a SOP class of the standard.
    ClassUid,
    /// Replaced by a keyed UID (action U).
    Uid,
    /// Shifted by the hidden days of the patient (Retain Modified Dates), or emptied (action Z).
    Date,
    /// There but empty (action Z).
    Empty,
    /// Replaced by the pseudonym of the patient (action Z/D).
    Patient,
    /// Kept after a check that it names nobody (Clean Descriptors).
    StructureName,
    /// Replaced by a pseudonym, or kept after the same check on request.
    Label,
    /// Replaced by a pseudonym.
    Machine,
    /// Emptied, or kept after a check on request (Retain Device Identity).
    Device,
    /// Removed, or kept after a check on request (Retain Institution Identity).
    Institution,
    /// Emptied, or kept where it is a defined term on request (Retain Patient Characteristics).
    Sex,
    /// Removed, or kept up to 89 years on request (the same option).
    Age,
    /// Removed, or kept where it is a number on request (the same option).
    Body,
    /// Kept where it looks like a code of [`SCHEMES`]; its meaning is replaced.
    Code,
    /// Kept, with this list applied to everything in its items.
    Sequence,
}

/// Coding schemes of the standard whose codes are kept.
pub(super) const SCHEMES: &[&str] = &["DCM", "SCT", "SRT", "SNM3", "FMA", "UMLS", "RADLEX"];

/// Terms that the standard defines for the code strings that are kept (PS3.3 C.8.8, C.20 and the
/// general modules; from memory and from the clauses beside the readers). Any other is removed.
pub(super) const TERMS: &[&str] = &[
    "AFFINE",
    "ALTERNATIVE",
    "APPROVED",
    "ARC",
    "AUTOMATIC",
    "AVOIDANCE",
    "BEAM",
    "BEAM_SESSION",
    "BOLUS",
    "BRACHY",
    "BRACHY_ACC_DEV",
    "BRACHY_CHNL_SHLD",
    "BRACHY_CHANNEL",
    "BRACHY_SESSION",
    "BRACHY_SRC_APP",
    "CALIBRATION",
    "CAVITY",
    "CCW",
    "CIRCULAR",
    "CLOSEDPLANAR_XOR",
    "CLOSED_PLANAR",
    "CLOSED_PLANAR_XOR",
    "CONCURRENT",
    "CONTINUATION",
    "CONTRAST_AGENT",
    "CONTROL",
    "CONTROL_POINT",
    "COORDINATES",
    "CT",
    "CTV",
    "CURATIVE",
    "CW",
    "DOSE_MEASUREMENT",
    "DOSE_REGION",
    "DYNAMIC",
    "EFFECTIVE",
    "ELECTRON",
    "ERROR",
    "EXTERNAL",
    "FFDL",
    "FFP",
    "FFDR",
    "FFS",
    "FIXATION",
    "FRACTION",
    "FRACTION_SESSION",
    "FRAME",
    "GTV",
    "GY",
    "HEAD_FRAME",
    "HFDL",
    "HFDR",
    "HFP",
    "HFS",
    "IMAGE",
    "ION",
    "IRRAD_VOLUME",
    "ISOCENTER",
    "MACHINE",
    "MACHINE_QA",
    "MANUAL",
    "MARKER",
    "MASK",
    "MINUTE",
    "MONOCHROME2",
    "MR",
    "MU",
    "MULTI_PLAN",
    "NONE",
    "NONRIGID",
    "NON_RIGID",
    "NORMAL",
    "NP",
    "NO",
    "OPEN_NONPLANAR",
    "OPEN_PLANAR",
    "OPERATOR",
    "OPEN_FIELD",
    "ORGAN",
    "ORGAN_AT_RISK",
    "PALLIATIVE",
    "PATIENT",
    "PHOTON",
    "PHYSICAL",
    "PLAN",
    "PLAN_OVERVIEW",
    "POINT",
    "PREDECESSOR",
    "PRIOR",
    "PROPHYLACTIC",
    "PROTON",
    "PTV",
    "PT",
    "RECORD",
    "REG",
    "REGISTRATION",
    "REJECTED",
    "RELATIVE",
    "RESEARCH",
    "RIGID",
    "RIGID_SCALE",
    "ROI_OVERRIDE",
    "RTDOSE",
    "RTPLAN",
    "RTRECORD",
    "RTSTRUCT",
    "RTIMAGE",
    "SEMIAUTOMATIC",
    "SERVICE",
    "SETUP",
    "SITE",
    "STATIC",
    "STEREOTACTIC",
    "SUPPORT",
    "TARGET",
    "TREATED_VOLUME",
    "TREATMENT",
    "TREATMENT_DEVICE",
    "UNAPPROVED",
    "UNKNOWN",
    "VERIFICATION",
    "VERIFIED_PLAN",
    "VOLUME",
    "WATER",
    "YES",
];

/// The rule of an attribute; nothing for what is removed.
pub(super) fn rule(tag: Tag) -> Option<Rule> {
    let lists: [(&[Tag], Rule); 17] = [
        (NUMBERS, Rule::Number),
        (SEQUENCES, Rule::Sequence),
        (CODES, Rule::Term),
        (UIDS, Rule::Uid),
        (CLASS_UIDS, Rule::ClassUid),
        (DATES, Rule::Date),
        (EMPTIED, Rule::Empty),
        (DEVICE, Rule::Device),
        (LABELS, Rule::Label),
        (CODE_VALUES, Rule::Code),
        (&[tags::PATIENT_ID], Rule::Patient),
        (&[tags::PATIENT_SEX], Rule::Sex),
        (&[tags::PATIENT_AGE], Rule::Age),
        (&[tags::PATIENT_SIZE, tags::PATIENT_WEIGHT], Rule::Body),
        (&[tags::INSTITUTION_NAME, tags::INSTITUTIONAL_DEPARTMENT_NAME], Rule::Institution),
        (&[tags::ROI_NAME], Rule::StructureName),
        (&[tags::TREATMENT_MACHINE_NAME], Rule::Machine),
    ];
    lists.into_iter().find(|(list, _)| list.contains(&tag)).map(|(_, rule)| rule)
}

const UIDS: &[Tag] = &[
    tags::SOP_INSTANCE_UID,
    tags::STUDY_INSTANCE_UID,
    tags::SERIES_INSTANCE_UID,
    tags::FRAME_OF_REFERENCE_UID,
    tags::REFERENCED_SOP_INSTANCE_UID,
    tags::REFERENCED_FRAME_OF_REFERENCE_UID,
    tags::DOSE_REFERENCE_UID,
    tags::REFERENCED_DOSE_REFERENCE_UID,
];
const CLASS_UIDS: &[Tag] = &[tags::SOP_CLASS_UID, tags::REFERENCED_SOP_CLASS_UID];
const DATES: &[Tag] = &[
    tags::STUDY_DATE,
    tags::SERIES_DATE,
    tags::CONTENT_DATE,
    tags::STRUCTURE_SET_DATE,
    tags::RT_PLAN_DATE,
    tags::TREATMENT_DATE,
    tags::FIRST_TREATMENT_DATE,
    tags::MOST_RECENT_TREATMENT_DATE,
];
const EMPTIED: &[Tag] = &[
    tags::STUDY_TIME,
    tags::CONTENT_TIME,
    tags::ACCESSION_NUMBER,
    tags::REFERRING_PHYSICIAN_NAME,
    tags::OPERATORS_NAME,
    tags::PATIENT_NAME,
    tags::PATIENT_BIRTH_DATE,
    tags::STUDY_ID,
    tags::SERIES_NUMBER,
    tags::POSITION_REFERENCE_INDICATOR,
    tags::STRUCTURE_SET_TIME,
    tags::RT_PLAN_TIME,
    tags::TREATMENT_TIME,
    tags::ROI_INTERPRETER,
    tags::REVIEW_DATE,
    tags::REVIEW_TIME,
    tags::REVIEWER_NAME,
];
const DEVICE: &[Tag] = &[tags::MANUFACTURER, tags::MANUFACTURER_MODEL_NAME];
const LABELS: &[Tag] = &[tags::STRUCTURE_SET_LABEL, tags::RT_PLAN_LABEL];
const CODE_VALUES: &[Tag] = &[tags::CODE_VALUE, tags::CODING_SCHEME_DESIGNATOR, tags::CODE_MEANING];
const CODES: &[Tag] = &[
    tags::MODALITY,
    tags::PHOTOMETRIC_INTERPRETATION,
    tags::DOSE_UNITS,
    tags::DOSE_TYPE,
    tags::DOSE_SUMMATION_TYPE,
    tags::SPATIAL_TRANSFORM_OF_DOSE,
    tags::TISSUE_HETEROGENEITY_CORRECTION,
    tags::CONTOUR_GEOMETRIC_TYPE,
    tags::ROI_GENERATION_ALGORITHM,
    tags::RTROI_INTERPRETED_TYPE,
    tags::RT_PLAN_GEOMETRY,
    tags::RT_PLAN_RELATIONSHIP,
    tags::PLAN_INTENT,
    tags::APPROVAL_STATUS,
    tags::DOSE_REFERENCE_TYPE,
    tags::DOSE_REFERENCE_STRUCTURE_TYPE,
    tags::BEAM_TYPE,
    tags::RADIATION_TYPE,
    tags::TREATMENT_DELIVERY_TYPE,
    tags::PRIMARY_DOSIMETER_UNIT,
    tags::APPLICATOR_TYPE,
    tags::FIXATION_DEVICE_TYPE,
    tags::PATIENT_POSITION,
    tags::GANTRY_ROTATION_DIRECTION,
    tags::PATIENT_SUPPORT_ROTATION_DIRECTION,
    tags::TREATMENT_TERMINATION_STATUS,
    tags::CURRENT_TREATMENT_STATUS,
    tags::FRAME_OF_REFERENCE_TRANSFORMATION_MATRIX_TYPE,
];
const SEQUENCES: &[Tag] = &[
    tags::REFERENCED_FRAME_OF_REFERENCE_SEQUENCE,
    tags::RT_REFERENCED_STUDY_SEQUENCE,
    tags::RT_REFERENCED_SERIES_SEQUENCE,
    tags::CONTOUR_IMAGE_SEQUENCE,
    tags::STRUCTURE_SET_ROI_SEQUENCE,
    tags::ROI_CONTOUR_SEQUENCE,
    tags::CONTOUR_SEQUENCE,
    tags::RTROI_OBSERVATIONS_SEQUENCE,
    tags::RTROI_IDENTIFICATION_CODE_SEQUENCE,
    tags::SOURCE_PIXEL_PLANES_CHARACTERISTICS_SEQUENCE,
    tags::REFERENCED_RT_PLAN_SEQUENCE,
    tags::REFERENCED_STRUCTURE_SET_SEQUENCE,
    tags::REFERENCED_DOSE_SEQUENCE,
    tags::REFERENCED_FRACTION_GROUP_SEQUENCE,
    tags::REFERENCED_BEAM_SEQUENCE,
    tags::PLAN_OVERVIEW_SEQUENCE,
    tags::DERIVATION_CODE_SEQUENCE,
    tags::DOSE_REFERENCE_SEQUENCE,
    tags::FRACTION_GROUP_SEQUENCE,
    tags::BEAM_SEQUENCE,
    tags::ION_BEAM_SEQUENCE,
    tags::CONTROL_POINT_SEQUENCE,
    tags::ION_CONTROL_POINT_SEQUENCE,
    tags::APPLICATOR_SEQUENCE,
    tags::PATIENT_SETUP_SEQUENCE,
    tags::FIXATION_DEVICE_SEQUENCE,
    tags::REGISTRATION_SEQUENCE,
    tags::MATRIX_REGISTRATION_SEQUENCE,
    tags::MATRIX_SEQUENCE,
    tags::TREATMENT_SESSION_BEAM_SEQUENCE,
    tags::TREATMENT_SESSION_ION_BEAM_SEQUENCE,
    tags::TREATMENT_SESSION_APPLICATION_SETUP_SEQUENCE,
    tags::FRACTION_GROUP_SUMMARY_SEQUENCE,
];
const NUMBERS: &[Tag] = &[
    tags::IMAGE_POSITION_PATIENT,
    tags::IMAGE_ORIENTATION_PATIENT,
    tags::PIXEL_SPACING,
    tags::SLICE_THICKNESS,
    tags::SPACING_BETWEEN_SLICES,
    tags::SAMPLES_PER_PIXEL,
    tags::NUMBER_OF_FRAMES,
    tags::FRAME_INCREMENT_POINTER,
    tags::ROWS,
    tags::COLUMNS,
    tags::BITS_ALLOCATED,
    tags::BITS_STORED,
    tags::HIGH_BIT,
    tags::PIXEL_REPRESENTATION,
    tags::RESCALE_INTERCEPT,
    tags::RESCALE_SLOPE,
    tags::DOSE_GRID_SCALING,
    tags::GRID_FRAME_OFFSET_VECTOR,
    tags::ROI_NUMBER,
    tags::REFERENCED_ROI_NUMBER,
    tags::ROI_VOLUME,
    tags::ROI_DISPLAY_COLOR,
    tags::OBSERVATION_NUMBER,
    tags::NUMBER_OF_CONTOUR_POINTS,
    tags::CONTOUR_DATA,
    tags::CONTOUR_NUMBER,
    CONTOUR_SLAB_THICKNESS,
    CONTOUR_OFFSET_VECTOR,
    tags::DOSE_REFERENCE_NUMBER,
    tags::TARGET_PRESCRIPTION_DOSE,
    tags::FRACTION_GROUP_NUMBER,
    tags::REFERENCED_FRACTION_GROUP_NUMBER,
    tags::NUMBER_OF_FRACTIONS_PLANNED,
    tags::NUMBER_OF_FRACTIONS_INCLUDED,
    tags::NUMBER_OF_FRACTIONS_DELIVERED,
    tags::CURRENT_FRACTION_NUMBER,
    tags::NUMBER_OF_BEAMS,
    tags::NUMBER_OF_BRACHY_APPLICATION_SETUPS,
    tags::BEAM_NUMBER,
    tags::REFERENCED_BEAM_NUMBER,
    tags::BEAM_DOSE,
    tags::BEAM_METERSET,
    tags::NUMBER_OF_CONTROL_POINTS,
    tags::CONTROL_POINT_INDEX,
    tags::CUMULATIVE_METERSET_WEIGHT,
    tags::FINAL_CUMULATIVE_METERSET_WEIGHT,
    tags::NOMINAL_BEAM_ENERGY,
    tags::SOURCE_AXIS_DISTANCE,
    tags::ISOCENTER_POSITION,
    tags::GANTRY_ANGLE,
    tags::PATIENT_SUPPORT_ANGLE,
    tags::PATIENT_SETUP_NUMBER,
    tags::SPECIFIED_PRIMARY_METERSET,
    tags::DELIVERED_PRIMARY_METERSET,
    tags::FRAME_OF_REFERENCE_TRANSFORMATION_MATRIX,
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_identifies_is_not_kept_and_no_attribute_has_two_rules() {
        for tag in [
            tags::ROI_DESCRIPTION,
            tags::RT_PLAN_NAME,
            tags::DOSE_COMMENT,
            tags::BEAM_NAME,
            tags::INSTITUTION_ADDRESS,
            Tag(0x3005, 0x0010),
        ] {
            assert_eq!(rule(tag), None, "{tag}");
        }
        let lists = [
            NUMBERS,
            SEQUENCES,
            CODES,
            UIDS,
            CLASS_UIDS,
            DATES,
            EMPTIED,
            DEVICE,
            LABELS,
            CODE_VALUES,
        ];
        let mut all: Vec<_> = lists.concat();
        let count = all.len();
        all.sort();
        all.dedup();
        assert_eq!(all.len(), count);
    }
}
