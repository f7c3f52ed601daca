//! Radiotherapy objects as plain values: what is left of a DICOM object once it is read. No tag, no
//! file format and no identifier behind this border; how a value is computed is none of its
//! business either.

pub mod digest;
pub mod dose;
pub mod finding;
pub mod identity;
pub mod image;
pub mod nearest;
pub mod plan;
pub mod plane_spacing;
pub mod record;
pub mod registration;
pub mod structure_set;

pub use dose::{Dose, DoseGroup, DoseHeader, DoseSummation, DoseType, DoseUnits, StoredDvh};
pub use image::{ImagePlanes, ImageSeries, ImageSlice, NearestSlice, SlicePlaces};
pub use plan::{
    Beam, BeamShare, DoseReference, DoseReferenceType, FractionGroup, Plan, PlanRelation,
};
pub use plane_spacing::{PlaneSpacing, SpacingSource};
pub use record::{SessionBeam, Summary, TreatmentRecord};
pub use registration::{RegisteredFrame, Registration, Rigid};
pub use structure_set::{Contour, ContourType, Roi, RoiHeader, StructureSet, StructureSetHeader};

use strum::{EnumIter, IntoStaticStr, VariantNames};

use crate::identity::Token;

/// Where a value came from, in tokens.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Origin {
    /// The file.
    pub file: Token,
    /// The SOP instance.
    pub object: Token,
    /// The patient; absent when Patient ID is empty.
    pub patient: Option<Token>,
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub digest: String,
    /// What else the object says of the patient.
    pub person: Person,
}

/// What an object says of its patient beside the number, to tell two people under one number apart.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Person {
    /// Patient's Birth Date (0010,0030); absent when it is empty, no date or a dummy.
    pub birth_date: Option<Token>,
    /// Patient's Sex (0010,0040); absent unless it is M or F.
    pub sex: Option<char>,
}

/// What became of one file.
#[derive(EnumIter, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FileStatus {
    /// A radiotherapy object or image slice that was read.
    Read,
    /// DICOM of a kind that is not needed.
    Ignored,
    /// Not DICOM.
    Foreign,
    /// The same object as another file.
    Duplicate,
    /// Should have been read but could not; a finding says why.
    Refused,
    /// A zip or tar archive, whose members have rows of their own.
    Archive,
}

impl FileStatus {
    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// One row of the file inventory.
#[derive(Debug, Clone, PartialEq)]
pub struct FileRecord {
    /// The file as a token.
    pub file: Token,
    /// Size in bytes.
    pub bytes: u64,
    /// SHA-256 of the bytes in hexadecimal; only for radiotherapy objects.
    pub digest: Option<String>,
    /// Name of the SOP class as the dictionary has it ("RT Dose Storage"), where known.
    pub sop_class: Option<&'static str>,
    /// The SOP instance.
    pub object: Option<Token>,
    /// The patient.
    pub patient: Option<Token>,
    /// What became of it.
    pub status: FileStatus,
    /// Why, in words; empty when read without remark. No identifiers.
    pub reason: String,
}

impl FileRecord {
    /// The row of a file of which nothing is known yet.
    #[must_use]
    pub const fn unread(file: Token) -> Self {
        Self {
            file,
            bytes: 0,
            digest: None,
            sop_class: None,
            object: None,
            patient: None,
            status: FileStatus::Read,
            reason: String::new(),
        }
    }
}

/// Everything an archive holds, without contours and voxels.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Inventory {
    /// Every file seen, by token.
    pub files: Vec<FileRecord>,
    /// Structure sets, by object token.
    pub structure_sets: Vec<StructureSetHeader>,
    /// Dose grids, by object token.
    pub doses: Vec<DoseHeader>,
    /// Plans, by object token.
    pub plans: Vec<Plan>,
    /// Treatment records and summaries, by object token.
    pub records: Vec<TreatmentRecord>,
    /// Spatial registrations, by object token.
    pub registrations: Vec<Registration>,
    /// Image series, by series token.
    pub images: Vec<ImageSeries>,
}
