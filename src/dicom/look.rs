//! One file of an archive: what it is, what it holds, what is wrong with it. Image slices and
//! everything foreign cost the first kilobytes only; radiotherapy objects are read whole. Must not
//! know the other files.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::PathBuf;

use dicom_core::dictionary::{UidDictionary, UidDictionaryEntry};
use dicom_dictionary_std::{StandardSopClassDictionary, tags};

use super::attribute::missing;
use super::dose::dose;
use super::encoding::Encoding;
use super::error::Error;
use super::header::{Class, Head, HeadEnd, Start, head};
use super::image::Slice;
use super::locate::{Layout, Storage, Unrecognised, locate};
use super::object::{Object, Source};
use super::open::{MAX_BYTES, inflate, unrecognised};
use super::plan::plan;
use super::record::record;
use super::registration::registration;
use super::structure_set::structure_set;
use crate::finding::{Code, Finding, Subject};
use crate::identity::{Identity, Kind, Token};
use crate::rt::{
    DoseHeader, FileRecord, FileStatus, Plan, Registration, StructureSetHeader, TreatmentRecord,
};

/// What is read of a file before it is known what it is.
const FIRST_BYTES: usize = 4096;

/// A file to look at.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Entry {
    /// Where it is.
    pub path: PathBuf,
    /// Its token.
    pub file: Token,
}

/// What a file holds.
#[derive(Debug, Clone)]
pub(super) enum Content {
    /// Nothing that is used.
    Nothing,
    /// A structure set, the series it refers to, and an image for each ROI Number.
    StructureSet(Box<StructureSetHeader>, Vec<Token>, BTreeMap<i64, Token>),
    /// A dose.
    Dose(Box<DoseHeader>),
    /// A plan.
    Plan(Box<Plan>),
    /// A treatment record or summary.
    Record(Box<TreatmentRecord>),
    /// A registration.
    Registration(Box<Registration>),
    /// A slice.
    Slice(Box<Slice>),
}

/// What was seen of one file.
#[derive(Debug, Clone)]
pub(super) struct Seen {
    /// Its row.
    pub record: FileRecord,
    /// What it holds.
    pub content: Content,
    /// What was odd.
    pub findings: Vec<Finding>,
    /// Why it was refused.
    pub error: Option<Error>,
    /// Patient ID as stored.
    pub patient_id: Option<String>,
    /// SOP Instance UID as stored.
    pub uid: Option<String>,
    /// Where the file is.
    pub path: PathBuf,
}

/// Looks at one file.
pub(super) fn look(entry: &Entry, identity: &Identity) -> Seen {
    let mut seen = Seen {
        record: FileRecord {
            file: entry.file.clone(),
            bytes: 0,
            digest: None,
            sop_class: None,
            object: None,
            patient: None,
            status: FileStatus::Read,
            reason: String::new(),
        },
        content: Content::Nothing,
        findings: Vec::new(),
        error: None,
        patient_id: None,
        uid: None,
        path: entry.path.clone(),
    };
    let source = Source { path: &entry.path, file: &entry.file, identity };
    if let Err(error) = seen.fill(source) {
        let error = source.name(error);
        let error = error.in_object(seen.uid.as_deref(), seen.record.patient.as_ref());
        seen.refuse(error, identity);
    }
    seen
}

impl Seen {
    /// Marks the file as refused.
    pub(super) fn refuse(&mut self, error: Error, identity: &Identity) {
        self.record.status = FileStatus::Refused;
        error.message().clone_into(&mut self.record.reason);
        self.findings.push(error.to_finding(identity));
        self.error = Some(error);
        self.content = Content::Nothing;
    }

    fn leave(&mut self, status: FileStatus, reason: &str) {
        self.record.status = status;
        reason.clone_into(&mut self.record.reason);
    }

    fn fill(&mut self, source: Source<'_>) -> Result<(), Error> {
        let mut file = Beginning::open(source)?;
        self.record.bytes = file.total as u64;
        if file.total == 0 {
            return Err(Error::new(Code::FileEmpty, "the file has no bytes"));
        }
        let layout = match file.layout()? {
            Ok(layout) => layout,
            Err(Unrecognised::Foreign) => {
                self.leave(FileStatus::Foreign, "not a DICOM file");
                return Ok(());
            }
            Err(reason) => return Err(unrecognised(reason)),
        };
        let head = file.head(&layout)?;
        self.note_head(&head, source.identity);
        let class = Class::of(&head.class);
        match class {
            Class::StructureSet
            | Class::Dose
            | Class::Plan
            | Class::IonPlan
            | Class::Record
            | Class::Registration => {
                let object = Object::from_bytes(source, file.whole()?)?;
                let result = self.read(class, &object);
                self.findings = object.findings();
                result.map_err(|error| object.name(error))
            }
            Class::Slice => {
                match Slice::of(&head, source.identity) {
                    Some(slice) => self.content = Content::Slice(Box::new(slice)),
                    None => self.leave(FileStatus::Ignored, "an image slice without series"),
                }
                Ok(())
            }
            Class::Directory => {
                self.leave(FileStatus::Ignored, "a DICOM directory; files are found by content");
                Ok(())
            }
            Class::OtherRadiotherapy => {
                self.leave(FileStatus::Ignored, "a radiotherapy object that is not analysed");
                self.note_other(source);
                Ok(())
            }
            Class::Other if head.class.is_empty() => {
                Err(missing(tags::SOP_CLASS_UID, "the UID of a SOP class"))
            }
            Class::Other => {
                self.leave(FileStatus::Ignored, "DICOM of a kind that is not needed");
                Ok(())
            }
        }
    }

    fn note_head(&mut self, head: &Head, identity: &Identity) {
        let text = |raw: &str| (!raw.is_empty()).then(|| raw.to_owned());
        self.uid = text(&head.instance);
        self.patient_id = text(&head.patient);
        self.record.sop_class = sop_class_name(&head.class);
        self.record.object = self.uid.as_deref().map(|u| identity.token(Kind::Object, u));
        self.record.patient = self.patient_id.as_deref().map(|p| identity.token(Kind::Patient, p));
    }

    fn note_other(&mut self, source: Source<'_>) {
        let name = self.record.sop_class.as_deref().unwrap_or("unnamed SOP class");
        let subject = Subject {
            patient: self.record.patient.clone(),
            file: Some(source.file.clone()),
            object: self.record.object.clone(),
            ..Subject::default()
        };
        let message = format!("{name} is not analysed");
        self.findings.push(Finding::new(Code::ObjectNotAnalysed, subject, message));
    }

    fn read(&mut self, class: Class, object: &Object<'_>) -> Result<(), Error> {
        self.record.digest = Some(object.opened().digest.clone());
        self.patient_id = object.patient_id().map(str::to_owned);
        let origin = object.origin()?;
        self.record.patient.clone_from(&origin.patient);
        self.content = match class {
            Class::StructureSet => {
                let parsed = structure_set(object)?;
                let header = Box::new(parsed.header());
                Content::StructureSet(header, parsed.series, parsed.images)
            }
            Class::Dose => Content::Dose(Box::new(dose(object)?.0)),
            Class::Record => Content::Record(Box::new(record(object)?)),
            Class::Registration => Content::Registration(Box::new(registration(object)?)),
            _ => Content::Plan(Box::new(plan(object)?)),
        };
        Ok(())
    }
}

fn sop_class_name(uid: &str) -> Option<String> {
    StandardSopClassDictionary.by_uid(uid).map(|entry| entry.name().to_owned())
}

/// The beginning of a file, read further only when needed.
struct Beginning {
    file: File,
    bytes: Vec<u8>,
    total: usize,
}

fn unreadable(error: &std::io::Error) -> Error {
    Error::new(Code::FileUnreadable, format!("cannot be read: {}", error.kind()))
}

impl Beginning {
    fn open(source: Source<'_>) -> Result<Self, Error> {
        let file = File::open(source.path).map_err(|e| unreadable(&e))?;
        let size = file.metadata().map_err(|e| unreadable(&e))?.len();
        let total = usize::try_from(size).unwrap_or(usize::MAX);
        let mut beginning = Self { file, bytes: Vec::new(), total };
        beginning.read_to(FIRST_BYTES)?;
        Ok(beginning)
    }

    /// Reads on until `size` bytes (or the whole file) are at hand. A file that is shorter than
    /// the system said is taken as it is.
    fn read_to(&mut self, size: usize) -> Result<(), Error> {
        let wanted = size.min(self.total).saturating_sub(self.bytes.len());
        self.bytes.reserve_exact(wanted);
        let mut part = (&mut self.file).take(wanted as u64);
        let got = part.read_to_end(&mut self.bytes).map_err(|e| unreadable(&e))?;
        if got < wanted {
            self.total = self.bytes.len();
        }
        Ok(())
    }

    /// The position that is needed, and as much again, so that few reads are made.
    fn read_past(&mut self, position: usize) -> Result<(), Error> {
        let size = position.saturating_add(FIRST_BYTES).max(self.bytes.len().saturating_mul(2));
        self.read_to(size)
    }

    fn layout(&mut self) -> Result<Result<Layout, Unrecognised>, Error> {
        loop {
            match locate(&self.bytes, self.total) {
                Err(Unrecognised::NeedsMore(position)) if self.bytes.len() < self.total => {
                    self.read_past(position)?;
                }
                other => return Ok(other),
            }
        }
    }

    fn head(&mut self, layout: &Layout) -> Result<Head, Error> {
        let class = layout.meta_class.as_deref();
        let encoding = match layout.storage {
            Storage::Plain(encoding) => encoding,
            Storage::Deflated => {
                self.limit()?;
                self.read_to(self.total)?;
                let data = inflate(self.bytes.get(layout.start..).unwrap_or_default())?;
                let start =
                    Start { bytes: &data, total: data.len(), at: 0, encoding: Encoding::EXPLICIT };
                return head(start, class).map_err(|_| damaged());
            }
        };
        loop {
            let (bytes, total, at) = (self.bytes.as_slice(), self.total, layout.start);
            match head(Start { bytes, total, at, encoding }, class) {
                Ok(head) => return Ok(head),
                Err(HeadEnd::NeedsMore(position)) if self.bytes.len() < self.total => {
                    self.limit()?;
                    self.read_past(position)?;
                }
                Err(_) => return Err(damaged()),
            }
        }
    }

    fn limit(&self) -> Result<(), Error> {
        if self.total as u64 <= MAX_BYTES {
            return Ok(());
        }
        let message = format!("{} bytes; up to {MAX_BYTES} are accepted", self.total);
        Err(Error::new(Code::FileUnreadable, message))
    }

    fn whole(mut self) -> Result<Vec<u8>, Error> {
        self.limit()?;
        self.read_to(self.total)?;
        Ok(self.bytes)
    }
}

fn damaged() -> Error {
    Error::new(Code::FileDamaged, "the first elements contradict their own lengths")
}
