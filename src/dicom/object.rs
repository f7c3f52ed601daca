//! One opened file on its way to a value: who it is (SOP instance, patient, file) in raw form for
//! the terminal and in tokens for everything else, and its attributes. Must not know what kind of
//! object it is.

use std::cell::RefCell;

use chrono::{Datelike, NaiveDate};
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;

use super::attribute::{Attributes, days};
use super::encoding::EncodedDataSet;
use super::error::Error;
use super::file_location::FileLocation;
use super::header::{Start, header};
use super::number::PADDING;
use super::quirks::meta_instance;
use super::remark::Remarks;
use super::walk::Pixels;
use tidydose_geometry::units::Day;
use tidydose_rt::finding::{Finding, Subject};
use tidydose_rt::identity::{Identity, Kind, Token};
use tidydose_rt::{Origin, Person};

/// Birth dates up to this year stand for none; nobody born in it is alive.
const DUMMY_YEAR: i32 = 1900;

/// A file to be read, and what it is called in the tables.
#[derive(Clone, Copy)]
pub(super) struct SourceFile<'a> {
    /// Where its bytes are.
    pub place: &'a FileLocation,
    /// Its token.
    pub file: &'a Token,
    /// How identifiers become tokens.
    pub identity: &'a Identity,
}

/// What the file meta group (0002,xxxx) states.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct FileMeta {
    /// Transfer Syntax UID (0002,0010), where there is a text.
    pub syntax: Option<String>,
    /// Media Storage SOP Class UID (0002,0002).
    pub class: Option<String>,
    /// Media Storage SOP Instance UID (0002,0003).
    pub instance: Option<String>,
}

/// A file in memory.
#[derive(Debug, Clone)]
pub(super) struct DicomFile {
    /// The bytes that [`Pixels`] points into: of the file, or of the inflated data set.
    pub bytes: Vec<u8>,
    /// All elements but the voxels.
    pub data_set: InMemDicomObject,
    /// The voxels.
    pub pixels: Option<Pixels>,
    /// What the file meta group states.
    pub meta: FileMeta,
    /// SHA-256 of the file.
    pub digest: String,
    /// What was odd when it was opened.
    pub remarks: Remarks,
}

/// An opened file with its identity.
pub(super) struct Object<'a> {
    source: SourceFile<'a>,
    file: DicomFile,
    remarks: RefCell<Remarks>,
    uid: Option<String>,
    patient_id: Option<String>,
    patient: Option<Token>,
}

impl<'a> Object<'a> {
    /// A file that is in memory, and whose it is.
    pub(super) fn new(source: SourceFile<'a>, mut file: DicomFile) -> Self {
        let own = file.data_set.get(tags::SOP_INSTANCE_UID).and_then(|e| e.to_str().ok());
        let own = own.as_deref().map(|uid| uid.trim_matches(PADDING));
        meta_instance::note(&mut file.remarks, file.meta.instance.as_deref(), own);
        let remarks = RefCell::new(file.remarks.clone());
        let root = Attributes::new(&file.data_set, &remarks);
        let uid = root.uid(tags::SOP_INSTANCE_UID).map(str::to_owned);
        let patient_id = root.text(tags::PATIENT_ID).map(str::to_owned);
        let patient = patient_id.as_deref().map(|id| source.identity.token(Kind::Patient, id));
        Self { source, file, remarks, uid, patient_id, patient }
    }

    /// The attributes of the data set.
    pub(super) fn root(&self) -> Attributes<'_> {
        Attributes::new(&self.file.data_set, &self.remarks)
    }

    /// The file in memory.
    pub(super) const fn file(&self) -> &DicomFile {
        &self.file
    }

    /// SOP Instance UID as stored.
    pub(super) fn uid(&self) -> Option<&str> {
        self.uid.as_deref()
    }

    /// Patient ID as stored.
    pub(super) fn patient_id(&self) -> Option<&str> {
        self.patient_id.as_deref()
    }

    /// The token of an identifier of this object.
    pub(super) fn token(&self, kind: Kind, raw: &str) -> Token {
        self.source.identity.token(kind, raw)
    }

    /// How identifiers become tokens.
    pub(super) const fn identity(&self) -> &Identity {
        self.source.identity
    }

    /// A day count of the patient; nothing without a patient, whose shift it would need.
    pub(super) fn day(&self, date: NaiveDate) -> Option<Day> {
        let patient = self.patient.as_ref()?;
        Some(self.source.identity.day(patient, days(date)))
    }

    /// Where the value comes from.
    ///
    /// # Errors
    /// `AttributeMissing` without SOP Instance UID.
    pub(super) fn origin(&self) -> Result<Origin, Error> {
        let uid = self.root().required_uid(tags::SOP_INSTANCE_UID)?;
        Ok(Origin {
            file: self.source.file.clone(),
            object: self.token(Kind::Object, uid),
            patient: self.patient.clone(),
            digest: self.file.digest.clone(),
            person: self.person(),
        })
    }

    fn person(&self) -> Person {
        let root = self.root();
        let born = root.calendar_day(tags::PATIENT_BIRTH_DATE);
        let sex = root.code(tags::PATIENT_SEX);
        Person {
            birth_date: born
                .filter(|day| day.year() > DUMMY_YEAR)
                .map(|day| self.token(Kind::BirthDate, &day.to_string())),
            sex: ['F', 'M']
                .into_iter()
                .find(|s| sex.as_deref() == Some(s.encode_utf8(&mut [0; 4]))),
        }
    }

    /// The error with file, object and patient named.
    pub(super) fn name(&self, error: Error) -> Error {
        self.source.name(error).in_object(self.uid(), self.patient.as_ref())
    }

    /// What was odd so far, as findings.
    pub(super) fn findings(&self) -> Vec<Finding> {
        let subject = Subject {
            patient: self.patient.clone(),
            file: Some(self.source.file.clone()),
            object: self.uid().map(|uid| self.token(Kind::Object, uid)),
            ..Subject::default()
        };
        self.remarks.borrow().findings(&subject)
    }
}

impl SourceFile<'_> {
    /// The error with the file named.
    pub(super) fn name(&self, error: Error) -> Error {
        error.in_file(&self.place.shown(), self.file)
    }

    /// The error in a data set that cannot be read to its end, with object and patient named where
    /// its beginning tells them.
    pub(super) fn name_object(
        &self,
        error: Error,
        data_set: &EncodedDataSet,
        meta: &FileMeta,
    ) -> Error {
        let EncodedDataSet { bytes, at, encoding } = data_set;
        let start = Start { bytes, total: bytes.len(), at: *at, encoding: *encoding };
        let header = header(start, meta.class.as_deref()).unwrap_or_default();
        let uid = Some(header.instance.as_ref()).filter(|uid| !uid.is_empty());
        let patient = Some(header.patient.as_ref()).filter(|id| !id.is_empty());
        let patient = patient.map(|id| self.identity.token(Kind::Patient, id));
        error.in_object(uid, patient.as_ref())
    }
}
