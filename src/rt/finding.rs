//! Findings: what is questionable about a file, an object, a structure or a value that is used all
//! the same, or the reason why it is not used.
//!
//! Every finding has a stable [`Code`]; the one list of codes is in this file, with severity,
//! meaning, consequence for the numbers and the action to take. A finding never carries a path, a
//! UID or a name of a person: its [`Subject`] holds tokens only, so that the findings table can
//! leave the hospital with the other tables.

use serde::{Deserialize, Serialize};
use strum::{EnumIter, EnumString, IntoStaticStr, VariantNames};

use crate::identity::Token;

/// How much a finding weighs.
#[derive(EnumIter, EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// For the record; no number is in doubt.
    Note,
    /// Numbers were computed but somebody should look.
    Check,
    /// Something was refused: a file, an object, a case or a single metric.
    Stop,
}

impl Severity {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Note => "for the record: no number is in doubt",
            Self::Check => "numbers were computed, but somebody should look",
            Self::Stop => "something was refused: a file, an object, a case or a metric",
        }
    }

    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// What one code means, independent of any case.
#[derive(Debug, Clone, Copy)]
pub struct Definition {
    /// The stable identifier, as it stands in the tables.
    pub id: &'static str,
    /// How much it weighs.
    pub severity: Severity,
    /// What was seen, in words a clinician understands.
    pub meaning: &'static str,
    /// What it does to the numbers.
    pub consequence: &'static str,
    /// What a person can do about it.
    pub action: &'static str,
}

macro_rules! codes {
    ($($variant:ident $id:literal $severity:ident $meaning:literal, $consequence:literal, $action:literal;)*) => {
        /// The stable code of a finding; see [`Code::definition`] for its meaning.
        #[derive(
            Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
        )]
        #[allow(missing_docs)] // each variant is documented by its Definition
        pub enum Code { $(#[serde(rename = $id)] $variant,)* }

        impl Code {
            /// Every code there is, in catalogue order.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// Meaning, severity, consequence and action of the code.
            #[must_use]
            pub const fn definition(self) -> Definition {
                match self {
                    $(Self::$variant => Definition {
                        id: $id,
                        severity: Severity::$severity,
                        meaning: $meaning,
                        consequence: $consequence,
                        action: $action,
                    },)*
                }
            }

            /// The code whose identifier is `id`, if there is one.
            #[must_use]
            pub fn from_id(id: &str) -> Option<Self> {
                match id { $($id => Some(Self::$variant),)* _ => None }
            }
        }
    };
}

codes! {
    // Files
    FileUnreadable "file-unreadable" Stop "the file could not be read from the disk", "nothing in it is used", "check access rights and the disk, then run again";
    FileEmpty "file-empty" Stop "the file has no bytes", "nothing in it is used", "export the object again";
    FileDamaged "file-damaged" Stop "the file looks like DICOM but ends early or contradicts its own lengths", "nothing in it is used", "export the object again";
    FileEncodingUnsupported "file-encoding-unsupported" Stop "the transfer syntax of the file is not one that can be read without loss", "nothing in it is used", "export it as explicit or implicit little endian";
    FileWithoutMeta "file-without-meta" Note "the file has no DICOM preamble or file meta group; the encoding was recognised from the data", "none", "none needed";
    FileMetaDamaged "file-meta-damaged" Check "the file meta group is incomplete or contradicts the data set; the data set was believed", "none known", "export the object again if anything else looks wrong";
    FileEndMissing "file-end-missing" Check "the file ends without the delimiters of its last sequences", "what is there is used", "export the object again if a structure or beam is missing";
    FileTrailingBytes "file-trailing-bytes" Note "bytes follow the end of the data set and were ignored", "none", "none needed";
    ArchiveDamaged "archive-damaged" Stop "a zip or tar archive could not be read to its end, or not in full", "members that have no row of their own are not used", "pack the archive again or unpack it with another program";
    FileDuplicate "file-duplicate" Note "the same object, byte for byte in its data set, is there under more than one file name", "it is used once", "none needed";
    FileUidConflict "file-uid-conflict" Stop "two files carry the same SOP Instance UID with different content", "neither is used", "find out which one was treated and remove the other from the archive";
    ObjectNotAnalysed "object-not-analysed" Note "a radiotherapy object of a kind that is recognised but not analysed", "it is not used", "none needed";
    AttributeMissing "attribute-missing" Stop "an attribute that the object cannot do without is absent or empty", "the object is not used", "export the object again or correct it at the source";
    AttributeInvalid "attribute-invalid" Stop "an attribute holds a value that cannot be what the standard says", "the object is not used", "export the object again or correct it at the source";
    AttributeDoubtful "attribute-doubtful" Check "an attribute holds a value outside the standard's rules whose meaning is still clear", "the clear meaning is used", "check the named attribute";
    NumberOverlong "number-overlong" Note "decimal strings are longer than the 16 characters that the standard allows", "they are read in full", "none needed";
    UnknownRepresentation "unknown-representation" Note "known attributes were stored with value representation UN and read by the dictionary", "none", "none needed";
    CharacterSetGuessed "character-set-guessed" Check "text does not decode in the declared character set; another one was taken", "names may be misread", "look at the structure names of this object";

    // Contours and structures
    RoiWithoutContours "roi-without-contours" Check "a structure is listed but has no contours", "it keeps its row with status empty", "contour it or leave it";
    RoiUnmatched "roi-unmatched" Check "contours or observations refer to a structure number that is not listed, or the reverse", "the unmatched part is not used", "export the structure set again";
    RoiNameRepeated "roi-name-repeated" Check "two structures of one set have the same name", "both are kept apart by number", "decide which one is meant";
    RoiNameWithheld "roi-name-withheld" Check "a structure name holds an identifier of the patient", "the name is replaced in the tables", "rename the structure at the source";
    TextWithheld "text-withheld" Check "a code whose words the standard leaves open holds an identifier of the patient", "the word is replaced in the tables", "correct it at the source";
    RoiOrientationMixed "roi-orientation-mixed" Stop "the contours of one structure lie on planes of different orientation", "its volume and doses are refused", "export it from one image series";
    ContourDegenerate "contour-degenerate" Note "closed contours with fewer than three distinct points, or without area", "they count as no area", "none needed";
    ContourDuplicate "contour-duplicate" Check "the same contour is stored twice on a plane", "it is used once", "none needed";
    ContourNested "contour-nested" Note "a contour inside another of the same structure is read as a hole", "its area is taken out", "check that a hole is meant";
    ContourTiny "contour-tiny" Check "a contour smaller than a voxel beside one of a hundred times its area on the same plane, as from a slip of the pen", "its area counts, and extents and distances reach to it", "look at the contours of the named structure, remove it at the source";
    ContourOverlap "contour-overlap" Check "two contours of one structure overlap partly on a plane", "their union is used; of exclusive-or contours the shared part is left out, as the standard has it", "look at the contours of the named planes";
    ContourCrossing "contour-crossing" Check "a contour crosses itself", "the area is taken by even-odd filling", "look at the contours of the named planes";
    ContourNotPlanar "contour-not-planar" Check "the points of a planar contour do not lie on one plane", "they are projected onto the plane of best fit", "look at the named structure";
    ContourRefused "contour-refused" Stop "a contour whose points cannot be trusted: wrong count, far from any plane, or not a number", "the structure it belongs to is refused", "export the structure set again";
    ContourOpen "contour-open" Note "open contours or points in a structure", "they enclose nothing and are not used for volume", "none needed";
    OutlineFromPixels "outline-from-pixels" Note "the points of a structure's outlines lie on a lattice, as when a drawing program traces the pixels of a mask", "the smoothest outlines of the same mask are measured, and bounds hold what the pixels leave open", "none needed; measure --outlines as_drawn keeps the steps";
    ContourXorMixed "contour-xor-mixed" Stop "exclusive-or contours and plain closed contours in one structure", "the structure is refused", "export it in one of the two ways";
    PlaneGap "plane-gap" Check "the spacing between contour planes of a structure jumps, as if planes were missing", "the gap is bridged, with the neighbouring planes standing for it", "look whether the structure is really interrupted there";
    PlaneSpacingUneven "plane-spacing-uneven" Note "the contour planes of a structure are not evenly spaced", "each plane stands for half the distance to each neighbour", "none needed";
    PlaneBetweenImages "plane-between-images" Check "contour planes lie between the slices of the images that the structure refers to", "the coordinates are used as they are", "check that the structure was not shifted against its images";
    PlanesFew "planes-few" Check "a structure spans two contour planes only", "its volume is uncertain by a large part", "read the bounds, not the value";
    PlaneSingle "plane-single" Check "a structure lies on a single plane", "its thickness is the plane distance of the other structures of the set, else of the images there; with neither, volume and doses are refused", "read the bounds, not the value";
    VolumeDiffers "volume-differs" Check "the volume stated in the file differs from the computed one by more than 5 %", "the computed one is used", "find out which one the planning report shows";
    DvhDiffers "dvh-differs" Check "the dose-volume histogram stored with the dose has another volume or mean dose than the computed one, by more than 5 %", "the computed one is used", "find out which one the planning report shows";

    // Dose
    DoseRelative "dose-relative" Stop "the dose grid is in relative units without a reference value", "no metric in gray is computed", "export the dose in gray, or state in choices.csv what relative value 1 stands for";
    DoseImplausible "dose-implausible" Stop "the largest dose is above 300 Gy, as when centigray are labelled gray", "the grid is not used", "check the units at the source";
    DoseEffective "dose-effective" Check "the grid holds biologically weighted dose", "metrics are of that dose", "do not pool it with physical dose";
    DoseSummed "dose-summed" Note "the dose of the plan was added up from grids that cover each of its beams or fraction groups once", "metrics are of the sum", "none needed";
    DoseMultiplied "dose-multiplied" Check "the dose of one fraction was multiplied by the number of fractions that the plan states", "metrics are of the product", "make sure that every fraction was given as planned";
    DoseRepeated "dose-repeated" Note "the same voxel values are there in more than one dose object of the plan", "they are used once", "none needed";
    DoseGridsLocal "dose-grids-local" Check "several dose grids of one plan each cover another region; each is taken to hold the dose of the whole plan there", "each structure is measured in the finest grid that holds it whole, else in the one that holds most of it", "export one grid that covers everything";
    DoseGridsDisagree "dose-grids-disagree" Stop "dose grids of one plan hold different doses at the same points", "no dose metric of the case is computed", "keep the one that was treated, or name it in choices.csv";
    DoseLikeOneFraction "dose-like-one-fraction" Check "the largest dose is below the prescription but would fit it times the number of fractions", "the dose is used as it is labelled", "check whether the grid holds one fraction only";
    DoseReferenceByUser "dose-reference-by-user" Check "relative dose was turned into gray with the dose that the user states for relative value 1", "metrics are of the product", "check the value in choices.csv";
    DoseErrorType "dose-error-type" Stop "the grid holds a dose difference, not a dose", "it is not used", "none needed";
    DoseWithoutGrid "dose-without-grid" Stop "the dose object has no voxel grid", "it is not used", "export the dose grid";
    DoseGridInvalid "dose-grid-invalid" Stop "the geometry of the dose grid contradicts itself", "it is not used", "export the dose again";
    DoseGridRepaired "dose-grid-repaired" Check "the description of the dose grid breaks a rule of the standard in a way that leaves one meaning", "that meaning is used", "check the named attribute";
    DosePixelsShort "dose-pixels-short" Stop "the dose grid has fewer voxels than it declares", "it is not used", "export the dose again";
    DosePixelsPadded "dose-pixels-padded" Note "bytes follow the last voxel of the dose grid", "they are ignored", "none needed";
    DoseStepCoarse "dose-step-coarse" Check "the stored dose has steps above 0.05 Gy", "low doses are uncertain by half a step", "export the dose with 32 bits";
    DosePlanesUneven "dose-planes-uneven" Note "the planes of the dose grid are not evenly spaced", "true positions are used", "none needed";
    DoseNoise "dose-noise" Check "neighbouring voxels of the dose grid scatter as in a Monte Carlo calculation", "bounds are widened for this noise; the largest dose reads too high and the smallest too low; where the dose hardly curves it is interpolated linearly", "prefer D0.03cc and the like over largest doses; export a calculation with more histories";
    DoseJump "dose-jump" Note "the dose jumps between neighbouring voxels in a structure, as where it is cut off, saturated or set to zero", "the interpolation is kept between the voxels there and bounds are wider", "check how the dose was exported";
    DoseTransformed "dose-transformed" Check "the dose was summed, resampled or moved between frames before it was stored", "metrics are of the stored result", "check how it was made";
    GridMissesPart "grid-misses-part" Check "the dose grid covers a structure only in part", "metrics that need the whole structure are refused", "export a larger dose grid";
    GridMissesStructure "grid-misses-structure" Stop "a structure lies outside the dose grid", "it has a volume but no doses", "export a larger dose grid";
    IsodoseCut "isodose-cut" Check "an isodose surface reaches the edge of the dose grid", "volumes of that isodose are lower bounds", "export a larger dose grid";

    // Plans and links
    PlanNotTreatment "plan-not-treatment" Note "the plan's intent is verification, machine quality assurance, research or service", "the case is left out", "if it was treated all the same, say so in choices.csv";
    PlanGeometryDevice "plan-geometry-device" Note "the plan is defined on the treatment device, without a patient", "the case is left out", "none needed";
    PlanUnapproved "plan-unapproved" Check "the plan is not marked as approved, no treatment record names it, and no other plan of the patient is known to have been treated", "it is measured and counts in the study", "say in choices.csv whether it was treated; one answer for all such plans stands under plan_id *";
    PlanUndecided "plan-undecided" Check "nothing tells whether the plan was treated, while another plan of the patient is known to have been treated", "it is measured but does not count in the study", "say in choices.csv whether it was treated; one answer for all such plans stands under plan_id *";
    PlanRejected "plan-rejected" Stop "the plan is marked as rejected and no treatment record names it", "the case is left out", "if it was treated all the same, say so in choices.csv";
    PlanNotTreated "plan-not-treated" Note "the user says that the plan was not treated", "the case is left out", "none needed";
    PlanSuperseded "plan-superseded" Note "another version of the plan was treated or replaced it", "the case is left out", "if this version was the one treated, say so in choices.csv";
    PlanAmbiguous "plan-ambiguous" Stop "several versions of a plan could be the treated one", "all of them are left out; the candidates are in the message", "say in choices.csv which one was treated";
    PlanSeveralTreated "plan-several-treated" Check "treatment records or the user name more than one version of a plan", "each is measured for itself; their doses are not added", "look at them together";
    PlanConcurrent "plan-concurrent" Check "the plan was given together with another one", "each is measured for itself; their doses are not added", "look at them together";
    PlanDecided "plan-decided" Note "the user says which version of the plan was treated", "that one is measured", "none needed";
    RecordPartial "record-partial" Check "a treatment record shows a fraction that was not delivered whole", "it does not count as delivered", "look at the treatment records";
    RecordDiffers "record-differs" Check "the fractions delivered are not those planned", "metrics are of the planned dose", "look at the treatment records";
    RecordEmpty "record-empty" Check "treatment records name the plan but tell of nothing delivered: no fraction, or set-up beams only", "they are no evidence that it was treated", "look at the treatment records";
    RecordContradicts "record-contradicts" Check "treatment records contradict each other, or what the user says", "the message says what is followed", "look at the treatment records; a session may be missing";
    RecordPatientDiffers "record-patient-differs" Check "a treatment record carries another Patient ID than the plan it names", "it does not count for the plan", "correct the identifier at the source";
    PlanFractionsMissing "plan-fractions-missing" Check "the number of fractions is not stated", "limits by fraction number cannot be chosen", "state it in prescriptions.csv";
    PrescriptionMissing "prescription-missing" Check "no prescription dose is stated for a target", "coverage, conformity and gradient are not computed for it", "state it in prescriptions.csv";
    PrescriptionContradicts "prescription-contradicts" Check "two sources in the plan state different prescription doses", "the one named in the message is used", "check against the chart";
    LinkByFrame "link-by-frame" Check "an object was joined by its frame of reference, since the object it refers to is not there", "the case is measured", "check that the objects belong together";
    LinkByRegistration "link-by-registration" Check "structures were brought into the frame of reference of the dose by a rigid registration", "the case is measured", "check that the registration was approved";
    RegistrationRefused "registration-refused" Check "a registration between frames of reference scales, shears, mirrors, has too few digits, or contradicts another one", "it is not used", "export a rigid registration with all its digits, or remove the one that is wrong";
    LinkByUser "link-by-user" Check "the user says that structures and dose lie in one frame of reference though their identifiers differ", "the case is measured", "check the picture of the case";
    LinkAmbiguous "link-ambiguous" Stop "several objects could belong to this one and none is named", "the case is left out; the candidates are in the message", "remove the ones that were not treated";
    LinkMissing "link-missing" Stop "the object that this one refers to is not in the archive and nothing else fits", "the case is left out", "export the missing object";
    LinkFrameMismatch "link-frame-mismatch" Stop "dose and structures are in different frames of reference", "the case is left out", "export a rigid registration, correct the references, or decide in choices.csv";
    RoiFrameMismatch "roi-frame-mismatch" Stop "a structure is in another frame of reference than the dose of its case", "it has a volume but no doses", "export it in the frame of the dose";
    LinkPatientMismatch "link-patient-mismatch" Stop "objects that refer to each other carry different patient identifiers", "the case is left out", "correct the identifier at the source";
    PatientCopied "patient-copied" Stop "the same objects are there under several Patient IDs", "none of the copies is used; the Patient IDs are in the message", "say in choices.csv under which patient_id the plan is meant, or remove the other copy";
    PersonContradicts "person-contradicts" Check "objects under one patient number state different birth dates or sexes, as after an import under the wrong number", "the case is measured", "find out whose objects they are, correct the number at the source";
    DatesDisordered "dates-disordered" Check "structures are dated before their images, a plan before the structures it was made on, or a treatment before its plan, as where dates were shifted for each object or changed later", "day counts of the case may be wrong", "check the dates at the source before intervals are used";
    DoseSeveral "dose-several" Stop "several dose grids of the same kind belong to one plan", "the case is left out; the candidates are in the message", "keep the one that was treated, or name it in choices.csv";
    DoseSummationUnused "dose-summation-unused" Note "a dose grid of a beam, a fraction or a session beside or instead of the dose of the plan", "it is not used", "export the dose of the whole plan";
    ObjectUnused "object-unused" Note "an object belongs to no case", "it is not used", "none needed";

    // Names
    NameUnmapped "name-unmapped" Note "a structure name has no standard name yet", "its metrics carry the original name", "decide it in names.csv";
    NameAmbiguous "name-ambiguous" Check "a structure name can mean several organs", "it stays without a standard name", "decide it in names.csv";
    RoleContradicts "role-contradicts" Check "the name of a structure and its interpreted type say different things", "the name is followed, except that no organ is taken for a target or a target for an organ", "decide it in names.csv";
    SideContradicts "side-contradicts" Check "a structure lies on the other side of the brain than its name says", "it is measured under its name", "correct the name in names.csv or at the source";
    VolumeImplausible "volume-implausible" Check "an organ is far smaller or larger than such an organ is in adults", "it is measured under its name", "check that the name is right and the organ is contoured as a whole";
    ShapeRepeated "shape-repeated" Check "two structures have the same shape in the same place", "both are measured", "decide in names.csv which one is meant";
    TargetWithoutMargin "target-without-margin" Check "two targets of different kind have the same shape, as with a margin of zero", "both are measured and belong to one lesion", "check that the margin was meant to be zero";
    TargetSumByShape "target-sum-by-shape" Check "a target is the sum of others though its name does not say so", "it is kept out of table lesions", "give it the role target_sum in names.csv";
    TargetNumbersDisagree "target-numbers-disagree" Check "targets within each other carry different numbers in their names", "they are one lesion", "check the numbering, decide the names in names.csv";
    StandardNameRepeated "standard-name-repeated" Check "two structures of one set have the same standard name", "both are kept apart by number", "decide in names.csv which one is meant";

    UserRowUnmatched "user-row-unmatched" Check "a row that somebody filled in names a patient, plan, structure or finding that is not there", "it is not followed", "correct the row that the message names, or delete it";
    SumRefused "sum-refused" Stop "plans that sums.csv wants added up cannot be added", "the sum has no values; each plan stands for itself", "see the message; correct sums.csv";
    SumWithoutLatest "sum-without-latest" Check "a sum of plans misses the latest plan of the patient that counts", "the sum is computed without it", "add the plan in sums.csv, or leave it out on purpose";
    ClinicalLabelUnused "clinical-label-unused" Check "a row of clinical_lesions.csv names no patient or no lesion that is there", "no lesion gets its label", "correct patient_id or lesion_id in clinical_lesions.csv";

    // The run
    ArchiveEmpty "archive-empty" Stop "the archive holds no radiotherapy object that can be used", "there is nothing to measure", "check that this is the folder that was meant";
    CaseFailed "case-failed" Stop "the case could not be measured", "it has no metrics", "see the message; report it if it looks like a fault of the program";
    RunInterrupted "run-interrupted" Stop "the run was stopped before all cases were done", "the remaining cases have no metrics", "run the same command again";
}

/// How far one cause reaches: findings of one code within it are one thing to look at and decide.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, IntoStaticStr)]
#[strum(serialize_all = "snake_case")]
pub enum Reach {
    /// Each finding has a cause of its own.
    #[strum(serialize = "each")]
    Single,
    /// One structure set, in whatever plans: how it was drawn, or the images it was drawn on.
    #[strum(serialize = "structure set")]
    StructureSet,
    /// One plan with its dose and structures.
    Plan,
    /// One patient: which of the plans was treated, whose objects they are.
    Patient,
    /// All that is read: how a system writes its objects.
    Archive,
}

impl Reach {
    /// What there is one finding for, in words.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// What reaches further than one structure or file; every other code is [`Reach::Single`].
const REACHES: &[(Reach, &[Code])] = &[
    (
        Reach::StructureSet,
        &[
            Code::PlaneBetweenImages,
            Code::PlaneSpacingUneven,
            Code::PlanesFew,
            Code::PlaneSingle,
            Code::ContourDegenerate,
            Code::ContourDuplicate,
            Code::ContourNested,
            Code::ContourOverlap,
            Code::ContourCrossing,
            Code::ContourNotPlanar,
            Code::ContourOpen,
            Code::RoiWithoutContours,
            Code::RoiUnmatched,
            Code::RoiNameRepeated,
            Code::VolumeDiffers,
            Code::NameUnmapped,
            Code::NameAmbiguous,
            Code::StandardNameRepeated,
            Code::ShapeRepeated,
        ],
    ),
    (
        Reach::Plan,
        &[
            Code::RoiFrameMismatch,
            Code::DvhDiffers,
            Code::DoseRelative,
            Code::DoseEffective,
            Code::DoseNoise,
            Code::DoseJump,
            Code::GridMissesPart,
            Code::GridMissesStructure,
            Code::IsodoseCut,
            Code::DoseSeveral,
            Code::DoseGridsLocal,
            Code::DoseGridsDisagree,
            Code::PlanNotTreatment,
            Code::RecordPartial,
            Code::RecordDiffers,
            Code::PrescriptionMissing,
            Code::PrescriptionContradicts,
            Code::LinkByFrame,
            Code::LinkByRegistration,
            Code::LinkAmbiguous,
            Code::LinkMissing,
            Code::LinkFrameMismatch,
            Code::LinkPatientMismatch,
            Code::TargetWithoutMargin,
            Code::TargetNumbersDisagree,
        ],
    ),
    (
        Reach::Patient,
        &[
            Code::PlanAmbiguous,
            Code::PlanSeveralTreated,
            Code::PlanConcurrent,
            Code::PersonContradicts,
        ],
    ),
    (
        Reach::Archive,
        &[
            Code::OutlineFromPixels,
            Code::FileEncodingUnsupported,
            Code::FileWithoutMeta,
            Code::FileMetaDamaged,
            Code::FileTrailingBytes,
            Code::FileDuplicate,
            Code::ObjectNotAnalysed,
            Code::ObjectUnused,
            Code::AttributeDoubtful,
            Code::NumberOverlong,
            Code::UnknownRepresentation,
            Code::CharacterSetGuessed,
            Code::DoseSummed,
            Code::DoseRepeated,
            Code::DoseSummationUnused,
            Code::DosePixelsPadded,
            Code::DosePlanesUneven,
            Code::DoseStepCoarse,
            Code::DoseTransformed,
            Code::DoseGridRepaired,
            Code::DatesDisordered,
            Code::PlanUnapproved,
        ],
    ),
];

impl Code {
    /// How far its cause reaches. What a person has to look at one by one is [`Reach::Single`].
    #[must_use]
    pub fn reach(self) -> Reach {
        let own = REACHES.iter().find(|(_, codes)| codes.contains(&self));
        own.map_or(Reach::Single, |(reach, _)| *reach)
    }
}

impl Finding {
    /// What all findings of the same cause have in common; absent where it has a cause of its own.
    #[must_use]
    pub fn cause(&self) -> Option<Subject> {
        let Subject { patient, case, file, object, attribute, .. } = self.subject.clone();
        let same = Subject { attribute, ..Subject::default() };
        // Without a plan, an object or a file says what belongs together.
        let of_plan = |case: Option<Token>| match case {
            Some(_) => Subject { patient: patient.clone(), case, ..same.clone() },
            None => {
                let file = file.clone().filter(|_| object.is_none());
                Subject { patient: patient.clone(), file, object: object.clone(), ..same.clone() }
            }
        };
        match self.code.reach() {
            Reach::Single => None,
            Reach::StructureSet => Some(of_plan(case.filter(|_| object.is_none()))),
            Reach::Plan => Some(of_plan(case)),
            Reach::Patient if patient.is_some() => Some(Subject { patient, ..same }),
            Reach::Patient => Some(of_plan(case)),
            Reach::Archive => Some(same),
        }
    }
}

/// What a finding is about. Every part is a token or a number, never a path or an identifier.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Default, Hash, Serialize, Deserialize)]
pub struct Subject {
    /// The patient.
    pub patient: Option<Token>,
    /// The case (plan) as the tables name it.
    pub case: Option<Token>,
    /// The file.
    pub file: Option<Token>,
    /// The SOP instance.
    pub object: Option<Token>,
    /// ROI Number within its structure set.
    pub roi_number: Option<i64>,
    /// The attribute, as DICOM keyword.
    pub attribute: Option<String>,
}

/// One questionable or refused thing, with the measured quantity behind it in the message.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Finding {
    /// Which kind of finding.
    pub code: Code,
    /// What it is about.
    pub subject: Subject,
    /// What was seen here: quantities, value found, what would be accepted. No identifiers.
    pub message: String,
}

impl Finding {
    /// A finding about `subject`.
    #[must_use]
    pub fn new(code: Code, subject: Subject, message: impl Into<String>) -> Self {
        Self { code, subject, message: message.into() }
    }

    /// How much it weighs.
    #[must_use]
    pub const fn severity(&self) -> Severity {
        self.code.definition().severity
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_is_unique_and_complete() {
        let mut ids: Vec<_> = Code::ALL.iter().map(|c| c.definition().id).collect();
        ids.sort_unstable();
        let count = ids.len();
        ids.dedup();
        assert_eq!(ids.len(), count, "an id is used twice");
        for code in Code::ALL {
            let d = code.definition();
            assert!(d.id.chars().all(|c| c.is_ascii_lowercase() || c == '-'), "{}", d.id);
            assert!(!d.meaning.is_empty() && !d.consequence.is_empty() && !d.action.is_empty());
            assert_eq!(Code::from_id(d.id), Some(*code));
        }
    }

    #[test]
    fn findings_of_one_cause_have_one_subject_in_common() {
        let about = |case: &str, roi_number| Subject {
            patient: Some(Token::new("patient")),
            case: Some(Token::new(case)),
            object: Some(Token::new("set")),
            file: Some(Token::new(case)),
            roi_number,
            ..Subject::default()
        };
        let cause = |code, subject| Finding::new(code, subject, "").cause();
        let same = |code| cause(code, about("a", Some(1))) == cause(code, about("b", Some(2)));
        let of_one_plan = |code| cause(code, about("a", Some(1))) == cause(code, about("a", None));
        assert_eq!(cause(Code::VolumeImplausible, about("a", Some(1))), None);
        // Two plans on one structure set; two plans with a dose each.
        assert!(same(Code::PlaneBetweenImages) && of_one_plan(Code::PlaneBetweenImages));
        assert!(!same(Code::GridMissesPart) && of_one_plan(Code::GridMissesPart));
        assert!(same(Code::PlanConcurrent) && same(Code::PlanUnapproved));
        let everywhere = cause(Code::PlanUnapproved, about("a", None)).unwrap();
        assert_eq!(everywhere, Subject::default());
        let of =
            |attribute: &str| Subject { attribute: Some(attribute.to_owned()), ..about("a", None) };
        let [a, b] = ["PatientSex", "StudyDate"].map(|k| cause(Code::AttributeDoubtful, of(k)));
        assert_ne!(a, b, "another attribute is another cause");
        let lone = |object: &str| Subject {
            case: None,
            object: Some(Token::new(object)),
            ..about("a", Some(1))
        };
        let [a, b] = ["x", "y"].map(|object| cause(Code::RoiWithoutContours, lone(object)));
        assert_ne!(a, b);
    }
}
