//! One opened file on its way to a value: who it is (SOP instance, patient, file) in raw form for
//! the terminal and in tokens for everything else, and its attributes. Must not know what kind of
//! object it is.

use std::cell::RefCell;
use std::path::Path;

use chrono::{Datelike, NaiveDate};
use dicom_dictionary_std::tags;

use super::attribute::{Attributes, days};
use super::error::Error;
use super::header::{Start, head};
use super::locate::{Storage, locate};
use super::open::{Opened, open_bytes};
use super::remark::Remarks;
use tidydose_geometry::units::Day;
use tidydose_rt::finding::{Finding, Subject};
use tidydose_rt::identity::{Identity, Kind, Token};
use tidydose_rt::{Origin, Person};

/// Birth dates up to this year stand for none; nobody born in it is alive.
const DUMMY_YEAR: i32 = 1900;

/// A file to be read, and what it is called in the tables.
#[derive(Clone, Copy)]
pub(super) struct Source<'a> {
    /// Where it is, as shown.
    pub path: &'a Path,
    /// Its token.
    pub file: &'a Token,
    /// How identifiers become tokens.
    pub identity: &'a Identity,
}

/// An opened file with its identity.
pub(super) struct Object<'a> {
    source: Source<'a>,
    opened: Opened,
    remarks: RefCell<Remarks>,
    uid: Option<String>,
    patient_id: Option<String>,
    patient: Option<Token>,
}

impl<'a> Object<'a> {
    /// Opens the bytes of a file.
    ///
    /// # Errors
    /// When it is no DICOM file or a damaged one, with the file named.
    pub(super) fn from_bytes(source: Source<'a>, bytes: Vec<u8>) -> Result<Self, Error> {
        let (instance, patient) = peek(&bytes);
        let opened = open_bytes(bytes).map_err(|error| {
            let patient = Some(patient.as_str()).filter(|id| !id.is_empty());
            let patient = patient.map(|id| source.identity.token(Kind::Patient, id));
            let uid = Some(instance.as_str()).filter(|uid| !uid.is_empty());
            source.name(error).in_object(uid, patient.as_ref())
        })?;
        let remarks = RefCell::new(opened.remarks.clone());
        let root = Attributes::new(&opened.object, &remarks);
        let uid = root.uid(tags::SOP_INSTANCE_UID).map(str::to_owned);
        let patient_id = root.text(tags::PATIENT_ID).map(str::to_owned);
        let patient = patient_id.as_deref().map(|id| source.identity.token(Kind::Patient, id));
        Ok(Self { source, opened, remarks, uid, patient_id, patient })
    }

    /// The attributes of the data set.
    pub(super) fn root(&self) -> Attributes<'_> {
        Attributes::new(&self.opened.object, &self.remarks)
    }

    /// The opened file.
    pub(super) const fn opened(&self) -> &Opened {
        &self.opened
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
            digest: self.opened.digest.clone(),
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

/// SOP Instance UID and Patient ID as the first elements have them, so that an error in the rest of
/// the file can be named; empty where they do not say.
fn peek(bytes: &[u8]) -> (String, String) {
    let Ok(layout) = locate(bytes, bytes.len()) else { return <_>::default() };
    let Storage::Plain(encoding) = layout.storage else { return <_>::default() };
    let start = Start { bytes, total: bytes.len(), at: layout.start, encoding };
    let class = layout.meta_class(bytes);
    let head = head(start, class.as_deref()).unwrap_or_default();
    (head.instance.into_owned(), head.patient.into_owned())
}

impl Source<'_> {
    /// The error with the file named.
    pub(super) fn name(&self, error: Error) -> Error {
        error.in_file(self.path, self.file)
    }
}
