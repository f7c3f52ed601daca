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
            Self::Note => "for the record: no value is in doubt",
            Self::Check => "values were computed; somebody should look before they are used",
            Self::Stop => {
                "something could not be used: a file, an object, a plan, or the dose of one structure. The \
                 run went on, and so did all else"
            }
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
    FileEncodingUnsupported "file-encoding-unsupported" Stop "the file is compressed or encoded in a way (transfer syntax) that cannot be read without loss", "nothing in it is used", "export it as explicit or implicit little endian";
    FileWithoutMeta "file-without-meta" Note "the file begins without the header that DICOM files have; the encoding was recognised from the data", "the file is used like any other", "none needed";
    FileMetaDamaged "file-meta-damaged" Check "the header of the file (file meta group) is incomplete or contradicts the data behind it", "the data are followed, and the file is used", "export the object again if anything else looks wrong";
    FileEndMissing "file-end-missing" Check "the marks that close the last sequences of the file are missing; every element before them is whole", "what is there is used; a structure or beam that came after it would be lost", "export the object again if a structure or beam is missing";
    FileTrailingBytes "file-trailing-bytes" Note "bytes follow the end of the DICOM data", "they are ignored, and the file is used", "none needed";
    ArchiveDamaged "archive-damaged" Stop "a zip or tar archive could not be read to its end, or not in full", "files in it that table files does not list are not used", "pack the archive again or unpack it with another program";
    FileDuplicate "file-duplicate" Note "the same object, byte for byte in its data set, is there under more than one file name", "it is used once", "none needed";
    FileUidConflict "file-uid-conflict" Stop "two files carry the same SOP Instance UID with different content", "neither is used", "find out which one was treated and remove the other from the archive";
    ObjectNotAnalysed "object-not-analysed" Note "a radiotherapy object of a kind that is recognised but not analysed", "it is not used", "none needed";
    AttributeMissing "attribute-missing" Stop "an attribute that the object cannot do without is absent or empty", "the object is not used", "export the object again or correct it at the source";
    AttributeInvalid "attribute-invalid" Stop "an attribute holds a value that the DICOM standard rules out", "the object is not used", "export the object again or correct it at the source";
    AttributeDoubtful "attribute-doubtful" Check "an attribute holds a value outside the standard's rules whose meaning is still clear", "the clear meaning is used", "check the named attribute";
    NumberOverlong "number-overlong" Note "decimal strings are longer than the 16 characters that the standard allows", "they are read in full", "none needed";
    UnknownRepresentation "unknown-representation" Note "known attributes were stored without their type (value representation UN); it was taken from the DICOM standard", "they are used like any other", "none needed";
    CharacterSetGuessed "character-set-guessed" Check "text does not decode in the declared character set; another one was taken", "names may be misread", "look at the structure names of this object";

    // Contours and structures
    RoiWithoutContours "roi-without-contours" Check "a structure is listed but has no contours", "it is listed with status empty and has no values", "contour it or leave it";
    RoiUnmatched "roi-unmatched" Check "contours or observations refer to a structure number that the structure set does not list", "the unmatched part is not used", "export the structure set again";
    RoiNameRepeated "roi-name-repeated" Check "two structures of one set have the same name", "both are kept apart by number", "decide which one is meant";
    RoiNameWithheld "roi-name-withheld" Check "a structure name holds an identifier of the patient", "the name is replaced in the tables", "rename the structure at the source";
    TextWithheld "text-withheld" Check "a coded field in which DICOM allows words of one's own holds an identifier of the patient", "the word is replaced in the tables", "correct it at the source";
    RoiOrientationMixed "roi-orientation-mixed" Stop "the contours of one structure lie on planes of different orientation", "it has neither volume nor doses", "export it from one image series";
    ContourDegenerate "contour-degenerate" Note "closed contours with fewer than three distinct points, or without area", "they count as no area", "none needed";
    ContourDuplicate "contour-duplicate" Check "the same contour is stored twice on a plane", "it is used once", "none needed";
    ContourNested "contour-nested" Note "a contour inside another of the same structure is read as a hole", "its area is subtracted", "check that a hole is meant";
    ContourTiny "contour-tiny" Check "a contour smaller than a voxel beside one of a hundred times its area on the same plane, as from a slip of the pen", "it is kept: it adds to the volume, and it may shorten distances and lengthen extents", "look at the contours of the named structure, remove it at the source";
    ContourOverlap "contour-overlap" Check "two contours of one structure overlap partly on a plane", "the area that they share counts once; where the contours have the type CLOSEDPLANAR_XOR it is cut out, as DICOM says", "look at the contours of the named planes";
    ContourCrossing "contour-crossing" Check "an outline crosses itself", "each loop that it forms counts as inside; what it runs around twice is cut out (even-odd rule)", "look at the contours of the named planes";
    ContourNotPlanar "contour-not-planar" Check "the points of a planar contour do not lie on one plane", "they are projected onto the plane of best fit", "look at the named structure";
    ContourRefused "contour-refused" Stop "a contour whose points cannot be trusted: wrong count, far from any plane, or not a number", "the structure has no values", "export the structure set again";
    ContourOpen "contour-open" Note "a structure has open lines or points beside its closed contours", "they enclose nothing and are used for no value", "none needed";
    OutlineFromPixels "outline-from-pixels" Note "the outlines of a structure run along the edges of pixels, as when a program traces a mask", "they are smoothed within these pixels before they are measured; bounds are wider by what the pixels leave open", "none needed; measure --outlines as_drawn keeps the steps";
    ContourXorMixed "contour-xor-mixed" Stop "one structure has contours of two types that contradict each other: CLOSEDPLANAR_XOR, in which shared areas are cut out, and CLOSED_PLANAR", "the structure has no values", "export it in one of the two ways";
    PlaneGap "plane-gap" Check "the spacing between contour planes of a structure jumps, as if planes were missing", "the gap is filled, as if the structure ran through it; if it is really interrupted, the volume is too large by what the message says", "look whether the structure is really interrupted there";
    PlaneSpacingUneven "plane-spacing-uneven" Note "the contour planes of a structure are not evenly spaced", "each plane counts for half the distance to each of its neighbours", "none needed";
    PlaneBetweenImages "plane-between-images" Check "contour planes lie between the slices of the images that the structure refers to", "the coordinates are used as they are", "check that the structure was not shifted against its images";
    PlanesFew "planes-few" Check "a structure spans two contour planes only", "its volume and doses are very uncertain; their bounds are wide", "read the bounds, not the value";
    PlaneSingle "plane-single" Check "a structure lies on a single plane", "its thickness is the distance of planes in the other structures, else in the images; if neither tells, it has no volume and no doses", "read the bounds, not the value";
    VolumeDiffers "volume-differs" Check "the volume stated in the file differs from the computed one by more than 5 %", "the computed one is used", "find out which one the planning report shows";
    DvhDiffers "dvh-differs" Check "the dose-volume histogram stored with the dose states a volume or mean dose that differs from the computed one by more than 5 %", "the computed one is used", "find out which one the planning report shows";

    // Dose
    DoseRelative "dose-relative" Stop "the dose grid is in relative units without a reference value", "no metric in gray is computed", "export the dose in gray, or state in choices.csv what relative value 1 stands for";
    DoseImplausible "dose-implausible" Stop "the largest dose is above 300 Gy, as when centigray are labelled gray", "the grid is not used", "check the units at the source";
    DoseEffective "dose-effective" Check "the dose is labelled EFFECTIVE: weighted for its biological effect, as for protons and ions", "every dose in the tables is weighted; limits and V12Gy, which are meant for physical dose, are compared with it all the same", "do not pool it with physical dose; judge limits by hand";
    DoseSummed "dose-summed" Note "the dose of the plan was added up from grids that cover each of its beams or fraction groups once", "doses in the tables are those of the sum", "none needed";
    DoseMultiplied "dose-multiplied" Check "the dose of one fraction was multiplied by the number of fractions that the plan states", "doses in the tables are those of all fractions together", "make sure that every fraction was given as planned";
    DoseRepeated "dose-repeated" Note "the same voxel values are there in more than one dose object of the plan", "they are used once", "none needed";
    DoseGridsLocal "dose-grids-local" Check "the plan has several dose grids, each of another region; each is taken to hold the dose of the whole plan there", "each structure is measured in one of them: the finest that holds all of it; where none does, the one that holds most, and the rest counts as outside the dose grid", "export one grid that covers everything";
    DoseGridsDisagree "dose-grids-disagree" Stop "dose grids of one plan hold different doses at the same points", "the plan has no doses in the tables", "keep the one that was treated, or name it in choices.csv";
    DoseLikeOneFraction "dose-like-one-fraction" Check "the dose may be that of one fraction: its maximum is below the prescribed dose, and this maximum times the number of fractions fits the prescription", "it is taken for the dose of all fractions, as its label says; if it is of one, every dose is too low and limits seem to be kept", "check before any use whether the grid holds one fraction only";
    DoseReferenceByUser "dose-reference-by-user" Check "a relative dose was turned into gray: the user states which dose the relative value 1 stands for", "every dose rests on that statement", "check the value in choices.csv";
    DoseErrorType "dose-error-type" Stop "the grid holds the difference of two doses (Dose Type ERROR), not a dose", "it is not used", "none needed";
    DoseWithoutGrid "dose-without-grid" Stop "the dose object has no dose grid, only points or histograms", "it is not used", "export the dose grid";
    DoseGridInvalid "dose-grid-invalid" Stop "the geometry of the dose grid contradicts itself", "it is not used", "export the dose again";
    DoseGridRepaired "dose-grid-repaired" Check "the description of the dose grid breaks a rule of the standard in a way that leaves one meaning", "that meaning is used", "check the named attribute";
    DosePixelsShort "dose-pixels-short" Stop "the dose grid has fewer voxels than it declares", "it is not used", "export the dose again";
    DosePixelsPadded "dose-pixels-padded" Note "bytes follow the last voxel of the dose grid", "they are ignored", "none needed";
    DoseStepCoarse "dose-step-coarse" Check "the dose is stored in steps of more than 0.05 Gy", "every dose may be off by half a step, which matters most where doses are low; the bounds include it", "export the dose with 32 bits";
    DosePlanesUneven "dose-planes-uneven" Note "the planes of the dose grid are not evenly spaced", "true positions are used", "none needed";
    DoseNoise "dose-noise" Check "neighbouring voxels of the dose grid scatter as in a Monte Carlo calculation", "bounds are wider for this noise; the largest dose reads too high and the smallest too low; where the dose hardly bends, straight lines join its voxels", "prefer D0.03cc and the like over largest doses; export a calculation with more histories";
    DoseJump "dose-jump" Note "the dose jumps between neighbouring voxels in a structure, as where it is cut off, saturated or set to zero", "doses there are used, never above or below those of the voxels around them; bounds are wider", "check how the dose was exported";
    DoseTransformed "dose-transformed" Check "the dose was summed, resampled or carried into another frame of reference before it was stored", "doses in the tables are those of the stored result", "check how it was made";
    GridMissesPart "grid-misses-part" Check "the dose grid covers a structure only in part", "its mean, smallest dose and D in percent have no value, however little is missing; largest dose, D in cc and volumes at a dose are lower bounds (status bound)", "export a larger dose grid";
    GridMissesStructure "grid-misses-structure" Stop "a structure lies outside the dose grid as a whole", "its doses are unknown, which is not zero; volume and distances are there", "export a larger dose grid";
    IsodoseCut "isodose-cut" Check "an isodose surface reaches the edge of the dose grid", "volumes of that isodose are lower bounds, and indices made of it have no value", "export a larger dose grid";

    // Plans and links
    PlanNotTreatment "plan-not-treatment" Note "the plan's intent is verification, machine quality assurance, research or service", "the plan with its dose and structures is not measured", "if it was treated all the same, say so in choices.csv";
    PlanGeometryDevice "plan-geometry-device" Note "the plan is defined on the treatment device, without a patient", "the plan with its dose and structures is not measured", "none needed";
    PlanUnapproved "plan-unapproved" Check "the plan is not marked as approved, no treatment record names it, and no other plan of the patient is known to have been treated", "it is measured and counts in the study as if it had been treated, until somebody says that it was not", "say in choices.csv whether it was treated; one answer for all such plans stands under plan_id *";
    PlanUndecided "plan-undecided" Check "nothing tells whether the plan was treated, while another plan of the patient is known to have been treated", "it is measured but does not count in the study", "say in choices.csv whether it was treated; one answer for all such plans stands under plan_id *";
    PlanRejected "plan-rejected" Stop "the plan is marked as rejected and no treatment record names it", "the plan with its dose and structures is not measured", "if it was treated all the same, say so in choices.csv";
    PlanNotTreated "plan-not-treated" Note "the user says that the plan was not treated", "the plan with its dose and structures is not measured", "none needed";
    PlanSuperseded "plan-superseded" Note "another version of the plan was treated or took its place", "this version is not measured; if fractions were given by it, they are missing from the tables", "if this version was the one treated, say so in choices.csv";
    PlanAmbiguous "plan-ambiguous" Stop "several versions of a plan could be the treated one", "none of them is measured; the candidates are in the message", "say in choices.csv which one was treated";
    PlanSeveralTreated "plan-several-treated" Check "treatment records or the user name more than one version of a plan as treated", "each has rows of its own with the whole dose that it plans; nothing is added up, and one lesion stands in several rows", "look at them together";
    PlanConcurrent "plan-concurrent" Check "the plan says that it belongs together with another one of the same patient (CONCURRENT)", "each has rows of its own; nothing is added up, so the dose of an organ from both is in no row unless sums.csv asks for it", "look at them together";
    PlanDecided "plan-decided" Note "the user says which version of the plan was treated", "that one is measured", "none needed";
    RecordPartial "record-partial" Check "a treatment record shows a fraction that was interrupted", "it is not counted among the fractions delivered, though some of its dose was given", "look at the treatment records";
    RecordDiffers "record-differs" Check "the fractions delivered are not those planned", "doses in the tables are those planned", "look at the treatment records";
    RecordEmpty "record-empty" Check "treatment records name the plan but show nothing delivered: no fraction, or set-up beams only", "they do not count as a sign that it was treated", "look at the treatment records";
    RecordContradicts "record-contradicts" Check "treatment records contradict each other, or what the user says", "the message says what is followed", "look at the treatment records; a session may be missing";
    RecordPatientDiffers "record-patient-differs" Check "a treatment record carries another Patient ID than the plan it names", "it does not count for the plan", "correct the identifier at the source";
    PlanFractionsMissing "plan-fractions-missing" Check "the number of fractions is not stated", "dose limits depend on it, so none is compared", "state it in prescriptions.csv";
    PrescriptionMissing "prescription-missing" Check "no prescription dose is stated for a target", "whatever needs it has no value (status not_applicable): coverage, selectivity, conformity and gradient indices, isodose volumes, V12Gy of each lesion", "state it in prescriptions.csv";
    PrescriptionContradicts "prescription-contradicts" Check "two sources in the plan state different prescription doses", "the one named in the message is used", "check against the chart";
    LinkByFrame "link-by-frame" Check "an object was joined by its frame of reference, since the object it refers to is not there", "the plan is measured", "check that the objects belong together";
    LinkByRegistration "link-by-registration" Check "structures were brought into the frame of reference of the dose by a rigid registration", "the plan is measured", "check that the registration was approved";
    RegistrationRefused "registration-refused" Check "a registration between frames of reference scales, shears, mirrors, states its numbers too coarsely, or contradicts another one", "it is not used", "export a rigid registration with all its digits, or remove the one that is wrong";
    LinkByUser "link-by-user" Check "the user says that structures and dose lie in one frame of reference though their identifiers differ", "the plan is measured", "check the picture of the case";
    FollowUpSet "follow-up-set" Note "a structure set drawn on images after a treatment; no plan refers to it", "its structures are measured, see table follow_up; it is no plan and counts in no study", "say in lesions.csv which treated lesion each of its targets is, or `new`";
    FollowUpUnjoined "follow-up-unjoined" Check "nothing brings a structure set drawn after a treatment into the frame of reference of a dose that was given", "its volumes and diameters are measured; doses and distances from what was treated are not", "export the rigid registration between both image series, or decide in choices.csv";
    FollowUpSeveralPlans "follow-up-several-plans" Check "a structure set was drawn after several plans of the patient", "its structures are measured in the dose of one of them", "look at table recurrences with the other courses in mind; a sum of plans stands in sums.csv";
    LinkAmbiguous "link-ambiguous" Stop "a plan, dose or structure set names no partner, and several objects could be it", "the plan with its dose and structures is not measured; the candidates are in the message", "remove the ones that were not treated";
    LinkMissing "link-missing" Stop "the object that this one refers to is not in the archive and nothing else fits", "the plan with its dose and structures is not measured", "export the missing object";
    LinkFrameMismatch "link-frame-mismatch" Stop "dose and structures are in different frames of reference", "the plan with its dose and structures is not measured", "export a rigid registration, correct the references, or decide in choices.csv";
    RoiFrameMismatch "roi-frame-mismatch" Stop "a structure is in another frame of reference than the dose", "its doses are unknown; its volume is there", "export it in the frame of the dose";
    LinkPatientMismatch "link-patient-mismatch" Stop "objects that refer to each other carry different patient identifiers", "the plan with its dose and structures is not measured", "correct the identifier at the source";
    PatientCopied "patient-copied" Stop "the same objects are there under several Patient IDs", "none of them is used, not even under the right one, until somebody decides; the Patient IDs are in the message", "say in choices.csv under which patient_id the plan is meant, or remove the other copy";
    PersonContradicts "person-contradicts" Check "objects under one patient number state different birth dates or sexes, as after an import under the wrong number", "the plan is measured", "find out whose objects they are, correct the number at the source";
    DatesDisordered "dates-disordered" Check "dates are in an impossible order: structures before their images, a plan before its structures, or a treatment before its plan", "days and intervals of this plan may be wrong", "check the dates at the source before intervals are used";
    DoseSeveral "dose-several" Stop "several dose grids of the whole plan are there, and nothing tells which one was treated", "the plan with its dose and structures is not measured; the candidates are in the message", "keep the one that was treated, or name it in choices.csv";
    DoseSummationUnused "dose-summation-unused" Note "a dose grid of one beam, one fraction or session, or of several plans, which could not be made into the dose of the plan", "it is not used; a plan that has no other dose has no doses in the tables", "export the dose of the whole plan";
    ObjectUnused "object-unused" Note "an object belongs to no plan, dose or structure set that is measured", "it is not used", "none needed";

    // Names
    NameUnmapped "name-unmapped" Note "a structure name has no standard name yet", "it has values under its own name, and is missing where that organ is asked for", "decide it in names.csv";
    NameAmbiguous "name-ambiguous" Check "a structure name can mean several structures, or lacks a side", "it has values under its own name; a target stays one and is in table lesions, an organ is missing where that organ is asked for", "decide it in names.csv";
    RoleContradicts "role-contradicts" Check "the name of a structure and its type in the file (RT ROI Interpreted Type) say different things", "the name is followed, but for an organ's name on a structure of type target: that is taken for neither, and is in no table of lesions", "decide it in names.csv";
    SideContradicts "side-contradicts" Check "a structure lies on the other side of the brain than its name says", "it is measured under the name that it has", "correct the name in names.csv or at the source";
    VolumeImplausible "volume-implausible" Check "an organ is far smaller or larger than such an organ is in adults", "it is measured under the name that it has", "check that the name is right and the organ is contoured as a whole";
    ShapeRepeated "shape-repeated" Check "two structures have the same shape in the same place", "both are measured; two targets of the same shape are one lesion", "decide in names.csv which one is meant";
    TargetWithoutMargin "target-without-margin" Check "two targets of different kind have the same shape, as with a margin of zero", "both are measured and belong to one lesion", "check that the margin was meant to be zero";
    TargetSumByShape "target-sum-by-shape" Check "a target is the sum of others though its name does not say so", "it is in no table of lesions; its parts are", "give it the role target_sum in names.csv";
    TargetNumbersDisagree "target-numbers-disagree" Check "targets that lie within each other carry different numbers in their names", "they are taken for one lesion", "check the numbering, decide the names in names.csv";
    StandardNameRepeated "standard-name-repeated" Check "two structures of one set have the same standard name", "both are kept apart by number; where that organ is asked for there is no value (status ambiguous), and its limits are not judged", "decide in names.csv which one is meant";

    UserRowUnmatched "user-row-unmatched" Check "a row that somebody filled in names a patient, plan, structure or finding that is not there", "it is not followed", "correct the row that the message names, or delete it";
    SumRefused "sum-refused" Stop "plans that sums.csv wants added up cannot be added", "the sum has no values; each plan stands for itself", "see the message; correct sums.csv";
    SumWithoutLatest "sum-without-latest" Check "a sum of plans lacks the latest plan of the patient that is in the study", "the sum is computed without it, and may be too low", "add the plan in sums.csv, or leave it out on purpose";
    ClinicalLabelUnused "clinical-label-unused" Check "a row of clinical_lesions.csv, which says what the clinic calls a lesion, names a patient or lesion that is not there", "no lesion gets the label of this row; other rows hold", "correct patient_id or lesion_id in clinical_lesions.csv";

    // The run
    ArchiveEmpty "archive-empty" Stop "the archive holds no radiotherapy object that can be used", "there is nothing to measure", "check that this is the folder that was meant";
    CaseFailed "case-failed" Stop "a plan could not be measured", "it has no values", "see the message; report it if it looks like a fault of the program";
    RunInterrupted "run-interrupted" Stop "the run was stopped before all plans were measured", "the rest have no values yet", "run the same command again";
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
            Code::FollowUpSet,
            Code::FollowUpUnjoined,
            Code::FollowUpSeveralPlans,
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
