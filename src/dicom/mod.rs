//! The one door through which every file comes: from bytes on disk to the plain values of
//! [`crate::rt`], with a finding for everything that was odd and an error for everything that was
//! refused. Identifiers become tokens here. The only module that names the DICOM crates; it must
//! not know metrics, cases or tables.

mod attribute;
mod error;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

pub use error::Error;

use crate::finding::{Code, Finding};
use crate::identity::{Identity, Token};
use crate::rt;

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
    pub paths: BTreeMap<Token, PathBuf>,
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

/// Looks at every file below `roots`.
///
/// # Errors
/// Only when a root cannot be read at all; a bad file is a row of the inventory.
pub fn scan(
    roots: &[PathBuf],
    _identity: &Identity,
    _watch: &(dyn Fn(Progress) + Sync),
    _stop: &AtomicBool,
) -> Result<Scan, ScanError> {
    for root in roots {
        std::fs::metadata(root).map_err(|source| ScanError { root: root.clone(), source })?;
    }
    Ok(Scan::default())
}

/// Reads one structure set with its contours.
///
/// # Errors
/// When the file is not a readable RT Structure Set.
pub fn read_structure_set(
    path: &Path,
    identity: &Identity,
) -> Result<Reading<rt::StructureSet>, Error> {
    let file = file_token(path, identity);
    Err(Error::new(Code::FileUnreadable, "no reader yet").in_file(path, &file))
}

/// Reads one dose grid with its voxels.
///
/// # Errors
/// When the file is not a readable RT Dose with a grid.
pub fn read_dose(
    path: &Path,
    identity: &Identity,
) -> Result<Reading<(rt::DoseHeader, rt::Dose)>, Error> {
    let file = file_token(path, identity);
    Err(Error::new(Code::FileUnreadable, "no reader yet").in_file(path, &file))
}

fn file_token(path: &Path, identity: &Identity) -> Token {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    identity.token(crate::identity::Kind::File, &name)
}
