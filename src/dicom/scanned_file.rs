//! One file of an archive: what it is, what it holds, what is wrong with it. Image slices and
//! everything foreign cost the first kilobytes only; radiotherapy objects are read whole. Must not
//! know the other files.

use std::collections::BTreeMap;
use std::io::Read;

use dicom_dictionary_std::tags;

use super::attribute::missing;
use super::container::{self, ArchiveKind};
use super::dictionary::sop_class_name;
use super::dose::described;
use super::encoding::{Encoding, Storage, Unrecognised, inflate};
use super::error::Error;
use super::file_location::{FileLocation, unreadable, within_limit};
use super::header::{Class, Header, HeaderFault, Start, header, pixels_at};
use super::image::Slice;
use super::object::{Object, SourceFile};
use super::open::{Outline, open_bytes, outline};
use super::plan::plan;
use super::record::record;
use super::registration::registration;
use super::structure_set::structure_set;
use super::walk::{Walked, walk};
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::{Identity, Kind, Recent, Token};
use tidydose_rt::{
    DoseHeader, FileRecord, FileStatus, Plan, Registration, StructureSetHeader, TreatmentRecord,
};

/// What is read of a file before it is known what it is.
const FIRST_BYTES: usize = 4096;
/// Memory that is kept from file to file.
const MOST_KEPT: usize = 1 << 16;
/// Memory that is taken in one go, before the bytes are there.
const MOST_RESERVED: usize = 1 << 26;

/// A file to look at.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FileEntry {
    /// Where it is.
    pub place: FileLocation,
    /// Its name below the root, from which the token is made.
    pub name: String,
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
    /// A slice, or all slices of a multi-frame image.
    Slices(Vec<Slice>),
    /// Other files.
    Container(ArchiveKind),
}

/// What was seen of one file.
#[derive(Debug, Clone)]
pub(super) struct ScannedFile {
    /// Its row.
    pub record: FileRecord,
    /// What it holds.
    pub content: Content,
    /// What was odd.
    pub findings: Vec<Finding>,
    /// Why it was refused.
    pub error: Option<Error>,
    /// Patient ID as stored; of image slices only where the one before had another.
    pub patient_id: Option<String>,
    /// SOP Instance UID as stored.
    pub uid: Option<String>,
    /// RT Plan Label as stored.
    pub plan_label: Option<String>,
    /// Where the file is.
    pub place: FileLocation,
    /// Its name below the root.
    pub name: String,
}

/// What is kept from file to file by one who looks at many.
pub(super) struct ScanWorker<'a> {
    /// Tokens that one file shares with the next.
    pub recent: Recent<'a>,
    /// Memory for the beginning of a file.
    beginning: Vec<u8>,
}

impl<'a> ScanWorker<'a> {
    /// Nothing was seen yet.
    pub(super) const fn new(identity: &'a Identity) -> Self {
        Self { recent: Recent::new(identity), beginning: Vec::new() }
    }
}

/// Looks at one file.
pub(super) fn scan_file(entry: FileEntry, worker: &mut ScanWorker<'_>) -> Box<ScannedFile> {
    let opened = entry.place.open().map_err(|e| unreadable(&e));
    match opened {
        Ok((mut stream, size)) => scan_stream(entry, &mut stream, size, worker),
        Err(error) => refused(entry, error, worker.recent.identity()),
    }
}

/// Looks at one file whose `size` bytes come from `stream`.
pub(super) fn scan_stream(
    entry: FileEntry,
    stream: &mut dyn Read,
    size: u64,
    worker: &mut ScanWorker<'_>,
) -> Box<ScannedFile> {
    let mut seen = Box::new(ScannedFile::nothing(entry));
    let identity = worker.recent.identity();
    seen.record.bytes = size;
    let mut beginning = FileStream::new(stream, size, std::mem::take(&mut worker.beginning));
    let filled = seen.fill(&mut beginning, &mut worker.recent);
    worker.beginning = beginning.memory();
    if let Err(error) = filled {
        let error = error.in_file(&seen.place.shown(), &seen.record.file);
        let error = error.in_object(seen.uid.as_deref(), seen.record.patient.as_ref());
        seen.refuse(error, identity);
    }
    seen
}

/// A file that is not looked at.
pub(super) fn refused(entry: FileEntry, error: Error, identity: &Identity) -> Box<ScannedFile> {
    let error = error.in_file(&entry.place.shown(), &entry.file);
    let mut seen = Box::new(ScannedFile::nothing(entry));
    seen.refuse(error, identity);
    seen
}

impl ScannedFile {
    fn nothing(entry: FileEntry) -> Self {
        Self {
            record: FileRecord::unread(entry.file),
            content: Content::Nothing,
            findings: Vec::new(),
            error: None,
            patient_id: None,
            uid: None,
            plan_label: None,
            place: entry.place,
            name: entry.name,
        }
    }

    /// Marks the file as refused.
    pub(super) fn refuse(&mut self, error: Error, identity: &Identity) {
        self.record.status = FileStatus::Refused;
        error.message().clone_into(&mut self.record.reason);
        self.findings.push(error.to_finding(identity));
        self.error = Some(error);
        self.content = Content::Nothing;
    }

    /// Says what became of the file, and why.
    pub(super) fn leave(&mut self, status: FileStatus, reason: &str) {
        self.record.status = status;
        reason.clone_into(&mut self.record.reason);
    }

    fn fill(&mut self, file: &mut FileStream<'_>, recent: &mut Recent<'_>) -> Result<(), Error> {
        file.read_to(FIRST_BYTES)?;
        if file.total == 0 {
            return Err(Error::new(Code::FileEmpty, "the file has no bytes"));
        }
        let outline = match file.outline()? {
            Ok(outline) => outline,
            Err(Unrecognised::Foreign) => {
                self.leave_foreign(container::kind(&file.bytes));
                return Ok(());
            }
            Err(reason) => return Err(reason.error()),
        };
        let (class, slice, named) = file.with_header(&outline, |header| {
            self.note_header(header, recent);
            let class = Class::of(&header.class);
            let slice = matches!(class, Class::Slice | Class::Slices)
                .then(|| Slice::of(header, self.whose(), recent));
            (class, slice.flatten(), !header.class.is_empty())
        })?;
        match class {
            Class::StructureSet
            | Class::Dose
            | Class::Plan
            | Class::IonPlan
            | Class::Record
            | Class::Registration => self.read(class, file, recent.identity()),
            Class::Slice => {
                self.keep(slice.into_iter().collect());
                Ok(())
            }
            Class::Slices => {
                let walked = file.without_pixels(&outline)?;
                let frames = slice.map(|slice| slice.frames(&walked.object));
                self.keep(frames.unwrap_or_default());
                Ok(())
            }
            Class::Directory => {
                self.leave(FileStatus::Ignored, "a DICOM directory; files are found by content");
                Ok(())
            }
            Class::OtherRadiotherapy => {
                self.leave(FileStatus::Ignored, "a radiotherapy object that is not analysed");
                self.note_other();
                Ok(())
            }
            Class::Other if !named => Err(missing(tags::SOP_CLASS_UID, "the UID of a SOP class")),
            Class::Other => {
                self.leave(FileStatus::Ignored, "DICOM of a kind that is not needed");
                Ok(())
            }
        }
    }

    fn keep(&mut self, slices: Vec<Slice>) {
        if slices.is_empty() {
            self.leave(FileStatus::Ignored, "an image slice without series");
        } else {
            self.content = Content::Slices(slices);
        }
    }

    fn leave_foreign(&mut self, container: Option<ArchiveKind>) {
        match container {
            Some(kind) if !self.place.is_member() => self.content = Content::Container(kind),
            Some(_) => {
                let reason = "an archive inside an archive, which is not opened";
                self.leave(FileStatus::Foreign, reason);
            }
            None => self.leave(FileStatus::Foreign, "not a DICOM file"),
        }
    }

    fn note_header(&mut self, header: &Header<'_>, recent: &mut Recent<'_>) {
        let stated = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
        self.uid = stated(&header.instance);
        self.record.sop_class = sop_class_name(&header.class);
        self.record.object = self.uid.as_deref().map(|u| recent.identity().token(Kind::Object, u));
        if !recent.holds(Kind::Patient, &header.patient) {
            self.patient_id = stated(&header.patient);
        }
        let patient = Some(&header.patient).filter(|id| !id.is_empty());
        self.record.patient = patient.map(|id| recent.token(Kind::Patient, id));
    }

    /// Tokens of the object and its patient.
    fn whose(&self) -> (Option<&Token>, Option<&Token>) {
        (self.record.object.as_ref(), self.record.patient.as_ref())
    }

    fn note_other(&mut self) {
        let name = self.record.sop_class.unwrap_or("unnamed SOP class");
        let subject = Subject {
            patient: self.record.patient.clone(),
            file: Some(self.record.file.clone()),
            object: self.record.object.clone(),
            ..Subject::default()
        };
        let message = format!("{name} is not analysed");
        self.findings.push(Finding::new(Code::ObjectNotAnalysed, subject, message));
    }

    /// Reads a radiotherapy object whole.
    fn read(
        &mut self,
        class: Class,
        file: &mut FileStream<'_>,
        identity: &Identity,
    ) -> Result<(), Error> {
        let bytes = file.whole()?;
        self.place.check(&bytes)?;
        let (place, file) = (self.place.clone(), self.record.file.clone());
        let object = open_bytes(SourceFile { place: &place, file: &file, identity }, bytes)?;
        let result = self.take(class, &object);
        self.findings = object.findings();
        result.map_err(|error| object.name(error))
    }

    fn take(&mut self, class: Class, object: &Object<'_>) -> Result<(), Error> {
        self.record.digest = Some(object.file().digest.clone());
        self.patient_id = object.patient_id().map(str::to_owned);
        let origin = object.origin()?;
        self.record.patient.clone_from(&origin.patient);
        if matches!(class, Class::Plan | Class::IonPlan) {
            self.plan_label = object.root().text(tags::RT_PLAN_LABEL).map(str::to_owned);
        }
        self.content = match class {
            Class::StructureSet => {
                let parsed = structure_set(object)?;
                let header = Box::new(parsed.header());
                Content::StructureSet(header, parsed.series, parsed.images)
            }
            Class::Dose => Content::Dose(Box::new(described(object)?.0)),
            Class::Record => Content::Record(Box::new(record(object)?)),
            Class::Registration => Content::Registration(Box::new(registration(object)?)),
            _ => Content::Plan(Box::new(plan(object)?)),
        };
        Ok(())
    }
}

/// The beginning of a file, read further only when needed.
struct FileStream<'a> {
    stream: &'a mut dyn Read,
    bytes: Vec<u8>,
    total: usize,
}

impl<'a> FileStream<'a> {
    /// Nothing is read yet; `memory` is what it is read into.
    fn new(stream: &'a mut dyn Read, size: u64, mut memory: Vec<u8>) -> Self {
        memory.clear();
        Self { stream, bytes: memory, total: usize::try_from(size).unwrap_or(usize::MAX) }
    }

    /// The memory, for the next file; what one large file needed is given back.
    fn memory(mut self) -> Vec<u8> {
        self.bytes.clear();
        self.bytes.shrink_to(MOST_KEPT);
        self.bytes
    }

    /// Reads on until `size` bytes (or the whole file) are at hand. A file that is shorter than
    /// the system said is taken as it is.
    fn read_to(&mut self, size: usize) -> Result<(), Error> {
        let wanted = size.min(self.total).saturating_sub(self.bytes.len());
        // What a file claims to hold is not yet there.
        self.bytes.reserve_exact(wanted.min(MOST_RESERVED));
        let mut part = (&mut *self.stream).take(wanted as u64);
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

    fn outline(&mut self) -> Result<Result<Outline, Unrecognised>, Error> {
        loop {
            match outline(&self.bytes, self.total) {
                Err(Unrecognised::NeedsMore(position)) if self.bytes.len() < self.total => {
                    self.read_past(position)?;
                }
                other => return Ok(other),
            }
        }
    }

    /// What `told` makes of the header.
    fn with_header<T>(
        &mut self,
        outline: &Outline,
        told: impl FnOnce(&Header<'_>) -> T,
    ) -> Result<T, Error> {
        let class = outline.meta.class.as_deref();
        let encoding = match outline.storage {
            Storage::Plain(encoding) => encoding,
            Storage::Deflated => {
                self.limit()?;
                self.read_to(self.total)?;
                let data = inflate(self.bytes.get(outline.start..).unwrap_or_default())?;
                let start =
                    Start { bytes: &data, total: data.len(), at: 0, encoding: Encoding::EXPLICIT };
                return header(start, class).map(|header| told(&header)).map_err(|_| damaged());
            }
        };
        loop {
            let (bytes, total, at) = (self.bytes.as_slice(), self.total, outline.start);
            match header(Start { bytes, total, at, encoding }, class) {
                Ok(header) => return Ok(told(&header)),
                Err(HeaderFault::NeedsMore(position)) if self.bytes.len() < self.total => {
                    self.limit()?;
                    self.read_past(position)?;
                }
                Err(_) => return Err(damaged()),
            }
        }
    }

    /// All elements in front of the pixel data, which is not read.
    fn without_pixels(&mut self, outline: &Outline) -> Result<Walked, Error> {
        let (start, encoding) = match outline.storage {
            Storage::Plain(encoding) => (outline.start, encoding),
            Storage::Deflated => {
                self.bytes = inflate(self.bytes.get(outline.start..).unwrap_or_default())?;
                self.total = self.bytes.len();
                (0, Encoding::EXPLICIT)
            }
        };
        let end = loop {
            let (bytes, total) = (self.bytes.as_slice(), self.total);
            match pixels_at(Start { bytes, total, at: start, encoding }) {
                Ok(end) => break end,
                Err(HeaderFault::NeedsMore(position)) if self.bytes.len() < self.total => {
                    self.limit()?;
                    self.read_past(position)?;
                }
                Err(_) => return Err(damaged()),
            }
        };
        walk(self.bytes.get(..end).unwrap_or_default(), start, encoding)
    }

    fn limit(&self) -> Result<(), Error> {
        within_limit(self.total as u64)
    }

    fn whole(&mut self) -> Result<Vec<u8>, Error> {
        self.limit()?;
        self.read_to(self.total)?;
        if (&mut *self.stream).take(1).read(&mut [0]).map_err(|e| unreadable(&e))? > 0 {
            let message = "the file grows while it is read, as if it were still being copied";
            return Err(Error::new(Code::FileUnreadable, message));
        }
        Ok(std::mem::take(&mut self.bytes))
    }
}

fn damaged() -> Error {
    Error::new(Code::FileDamaged, "the first elements contradict their own lengths")
}
