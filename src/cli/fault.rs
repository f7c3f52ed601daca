//! Why a run could not be done at all (exit code 2), in words a person can act on. A bad file or
//! case is never a fault: it is a finding.

use std::path::PathBuf;

use tidydose_dicom::ScanError;
use tidydose_table::WriteError;
use tidydose_table::read::CellError;
use tidydose_table::user::answers::TakeOverError;
use tidydose_table::user::user_file::ReadError;
use tidydose_table::workbook::WorkbookError;

/// The run could not be done.
#[derive(Debug, thiserror::Error)]
pub(super) enum Fault {
    /// An archive folder cannot be read.
    #[error("cannot read the archive {0}")]
    Archive(#[from] ScanError),
    /// Something cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// A file of the user or of a study cannot be understood.
    #[error(transparent)]
    UserFile(#[from] ReadError),
    /// Answers to what was asked cannot be taken over.
    #[error(transparent)]
    Answers(#[from] TakeOverError),
    /// A table of a study cannot be understood.
    #[error("{0}")]
    Table(#[from] CellError),
    /// The workbook of a study cannot be made.
    #[error(transparent)]
    Workbook(#[from] WorkbookError),
    /// A folder or file of the study or its key is in a state that would mix or destroy things.
    #[error("{}: {reason}", path.display())]
    Folder {
        /// Which one.
        path: PathBuf,
        /// What is wrong and what to do.
        reason: String,
    },
    /// An option has a value that cannot be used.
    #[error("option {option}: {reason}")]
    Option {
        /// As typed, such as `--metrics`.
        option: &'static str,
        /// What was found and what would be accepted.
        reason: String,
    },
    /// The system refuses something else.
    #[error("{0}")]
    System(String),
    /// The user stopped the run before there was a result.
    #[error("stopped while reading the archive; nothing was written")]
    Stopped,
}

impl Fault {
    /// A fault of a folder or file.
    pub(super) fn folder(path: &std::path::Path, reason: impl Into<String>) -> Self {
        Self::Folder { path: path.to_path_buf(), reason: reason.into() }
    }
}
