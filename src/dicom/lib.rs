//! The one door through which every file comes: from bytes on disk to the plain values of
//! [`tidydose_rt`], with a finding for everything that was odd and an error for everything that was
//! refused. Identifiers become tokens here. The only module that names the DICOM crates; it must
//! not know metrics, cases or tables.
//!
//! A file takes one way, and each stage hands on to the next:
//!
//! | file | takes | gives |
//! |---|---|---|
//! | `file_location.rs` | a path, or a member of an archive | its bytes |
//! | `open.rs` | the bytes | the file meta group, and what follows below |
//! | `encoding.rs` | the first elements | how the data set is written; inflated, where it was deflated |
//! | `walk.rs` | the data set | its elements, and where the voxels are |
//! | `object.rs` | the elements | an object that knows its patient and its tokens |
//! | `structure_set.rs`, `dose.rs`, `plan.rs`, `record.rs`, `registration.rs` | the object | a value |
//!
//! A scan (`scan.rs`) finds the files, looks at each (`scanned_file.rs`; at the first elements alone,
//! where they are enough), compares those of one UID (`duplicate.rs`) and sums up (`gather.rs`).
//!
//! # Why the data set is not read by `dicom_object`
//! Its object model is used, its reader is not. Measured on version 0.10 with crafted files: of 342
//! bytes that state a length of 4 GiB it takes 4 GiB of memory before it finds the end; 1000
//! sequences inside each other end the process by a stack overflow, which nothing can catch; a data
//! set written otherwise than labelled, or without its last delimiters, is refused; an attribute
//! that is there twice is read as the last one. The walk here checks each length against the bytes
//! that are left, does not call itself, reads by what the elements show, and refuses two different
//! values. It also leaves the voxels where they are, so that a dose grid is not copied, and its
//! errors name the position and what would be accepted (`robust.rs`, `walk.rs` and `tests/corpus/`
//! hold it to that).

mod attribute;
mod container;
mod contour;
pub mod deident;
mod dictionary;
mod dose;
mod dose_grid;
mod duplicate;
mod encoding;
mod error;
mod file_location;
#[cfg(test)]
mod fixtures;
mod gather;
mod gzip;
mod header;
mod image;
mod number;
mod object;
mod open;
mod pixels;
mod plan;
mod quirks;
mod record;
mod registration;
mod remark;
mod repertoire;
#[cfg(test)]
mod robust;
mod scan;
mod scanned_file;
mod slice;
mod stored_dvh;
mod structure_set;
mod text;
mod value;
mod walk;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use dicom_dictionary_std::tags;

pub use error::Error;
pub use file_location::FileLocation;

use self::header::Class;
use self::object::{Object, SourceFile};
use tidydose_rt as rt;
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::identity::{Identity, Kind, Token};

/// How far a scan has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Progress {
    /// Files looked at so far.
    pub files_seen: usize,
    /// Files there are in all.
    pub files_total: usize,
}

/// Everything an archive holds, and what is wrong with it.
#[derive(Debug, Clone, Default)]
pub struct Scan {
    /// Headers of all objects and one row per file.
    pub inventory: rt::Inventory,
    /// What was questionable or refused, sorted.
    pub findings: Vec<Finding>,
    /// Where each file of the inventory is. Identifiers: never into a table.
    pub paths: BTreeMap<Token, FileLocation>,
    /// What the tokens stand for. Identifiers: into the key folder only.
    pub ledger: Ledger,
    /// The refusals with their raw paths and UIDs, for the terminal only.
    pub errors: Vec<Error>,
}

/// What the tokens stand for; the caller may write it into the key folder and nowhere else.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Ledger {
    /// Patient ID (0010,0020) by token.
    pub patients: BTreeMap<Token, String>,
    /// SOP Instance UID (0008,0018) of radiotherapy objects by token.
    pub objects: BTreeMap<Token, String>,
    /// RT Plan Label (300A,0002) by token of the plan.
    pub plan_labels: BTreeMap<Token, String>,
}

/// A root that cannot be read at all.
#[derive(Debug, thiserror::Error)]
#[error("{root}: {source}", root = root.display())]
pub struct ScanError {
    /// The folder or file as the user gave it.
    pub root: PathBuf,
    /// What the system said.
    pub source: std::io::Error,
}

/// A value with the findings made on the way.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading<T> {
    /// The value.
    pub value: T,
    /// What was odd about it.
    pub findings: Vec<Finding>,
}

/// Looks at every file below `roots` and inside zip and tar archives there, in parallel; the result
/// does not depend on the number of threads. `watch` is called after each file, from any thread;
/// once `stop` is set, the remaining files are left out and a finding says so.
///
/// # Errors
/// Only when a root cannot be read at all; a bad file is a row of the inventory.
pub fn scan(
    roots: &[PathBuf],
    identity: &Identity,
    watch: &(dyn Fn(Progress) + Sync),
    stop: &AtomicBool,
) -> Result<Scan, ScanError> {
    scan::scan(roots, identity, watch, stop)
}

/// Reads one structure set with its contours. The file's token is that of its name alone; use
/// [`read_structure_set_as`] to keep the one of a scan.
///
/// # Errors
/// When the file is not a readable RT Structure Set.
pub fn read_structure_set(
    path: &Path,
    identity: &Identity,
) -> Result<Reading<rt::StructureSet>, Error> {
    read_structure_set_as(&FileLocation::file(path), identity, &file_token(path, identity))
}

/// Reads one structure set with its contours; the file is called `file` in origin and findings.
/// Plane spacings are those the object itself states: what the images add is in the inventory.
///
/// # Errors
/// When the file is not a readable RT Structure Set.
pub fn read_structure_set_as(
    place: &FileLocation,
    identity: &Identity,
    file: &Token,
) -> Result<Reading<rt::StructureSet>, Error> {
    read(place, (file, identity), &[Class::StructureSet], |object| {
        Ok(structure_set::structure_set(object)?.set)
    })
}

/// Reads one dose grid with its header and its voxels. The file's token is that of its name alone.
///
/// # Errors
/// When the file is not a readable RT Dose with a grid.
pub fn read_dose(
    path: &Path,
    identity: &Identity,
) -> Result<Reading<(rt::DoseHeader, rt::Dose)>, Error> {
    let file = file_token(path, identity);
    read(&FileLocation::file(path), (&file, identity), &[Class::Dose], |object| {
        let (header, dose) = dose::described(object)?;
        Ok((header, dose.ok_or_else(without_grid)?))
    })
}

fn without_grid() -> Error {
    Error::new(Code::DoseWithoutGrid, "the dose object has no voxel grid")
}

/// Reads the voxels of a dose whose header a scan has; the file is called `file` in findings.
///
/// # Errors
/// When the file is not a readable RT Dose with a grid.
pub fn read_dose_as(
    place: &FileLocation,
    identity: &Identity,
    file: &Token,
) -> Result<Reading<rt::Dose>, Error> {
    read(place, (file, identity), &[Class::Dose], |object| {
        dose::dose(object)?.1.ok_or_else(without_grid)
    })
}

/// Reads one RT Plan or RT Ion Plan.
///
/// # Errors
/// When the file is not a readable plan.
pub fn read_plan(path: &Path, identity: &Identity) -> Result<Reading<rt::Plan>, Error> {
    let file = file_token(path, identity);
    read(&FileLocation::file(path), (&file, identity), &[Class::Plan, Class::IonPlan], plan::plan)
}

/// Reads one slice of CT or MR with its pixels; the file is called `file` in findings.
///
/// # Errors
/// When the file is not a readable slice of one frame.
pub fn read_slice_as(
    place: &FileLocation,
    identity: &Identity,
    file: &Token,
) -> Result<Reading<rt::ImageSlice>, Error> {
    read(place, (file, identity), &[Class::Slice], slice::slice)
}

/// Opens a file, makes sure that it is of the right class, and reads it.
fn read<T>(
    place: &FileLocation,
    (file, identity): (&Token, &Identity),
    classes: &[Class],
    reader: impl FnOnce(&Object<'_>) -> Result<T, Error>,
) -> Result<Reading<T>, Error> {
    let object = open::open(SourceFile { place, file, identity })?;
    let class = object.root().uid(tags::SOP_CLASS_UID).unwrap_or_default();
    if !classes.contains(&Class::of(class)) {
        let accepted = "the SOP Class UID of the object that is asked for";
        return Err(object.name(attribute::invalid(tags::SOP_CLASS_UID, class, accepted)));
    }
    let value = reader(&object).map_err(|error| object.name(error))?;
    Ok(Reading { value, findings: object.findings() })
}

fn file_token(path: &Path, identity: &Identity) -> Token {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    identity.token(Kind::File, &name)
}
