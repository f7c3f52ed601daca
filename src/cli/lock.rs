//! One run at a time in a study folder. The lock is the operating system's and ends with the
//! process, however it ends, so that nothing has to be cleared away after a crash.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, ErrorKind};
use std::path::Path;

use super::fault::Fault;
use super::terminal::Terminal;

/// Name of the file in the study folder; it is empty and stays.
const FILE: &str = ".lock";

/// What a run does to the folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum LockMode {
    /// It changes tables and the files of the user: nobody else may work here.
    Alone,
    /// It adds parts only: others that do the same may work beside it.
    Shared,
}

/// Held as long as the run works in the folder.
#[derive(Debug)]
pub(super) struct Lock {
    _file: Option<File>,
}

impl Lock {
    /// Takes the folder, which is made where it is missing.
    ///
    /// # Errors
    /// When another run holds it, or it cannot be written to.
    pub(super) fn take(root: &Path, hold: LockMode, terminal: &Terminal) -> Result<Self, Fault> {
        let refused = |e: io::Error| Fault::folder(root, format!("cannot be written to: {e}"));
        fs::create_dir_all(root).map_err(refused)?;
        let mut options = OpenOptions::new();
        options.read(true).write(true).create(true).truncate(false);
        let file = options.open(root.join(FILE)).map_err(refused)?;
        let taken = match hold {
            LockMode::Alone => file.try_lock(),
            LockMode::Shared => file.try_lock_shared(),
        };
        match taken {
            Ok(()) => Ok(Self { _file: Some(file) }),
            Err(TryLockError::WouldBlock) => Err(Fault::folder(
                root,
                "another run is working in this folder; wait until it has ended, or choose another \
                 --study",
            )),
            Err(TryLockError::Error(e)) if e.kind() == ErrorKind::Unsupported => {
                terminal.warn(&format!(
                    "{} lies where files cannot be locked; make sure that no other run works there",
                    root.display()
                ));
                Ok(Self { _file: None })
            }
            Err(TryLockError::Error(e)) => Err(refused(e)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::terminal::Reader;
    use super::*;

    #[test]
    fn one_run_alone_or_several_that_only_add_parts() {
        let place = tempfile::tempdir().unwrap();
        let root = place.path().join("study");
        let take = |hold| Lock::take(&root, hold, &Terminal::new(true, Reader::Person));
        let alone = take(LockMode::Alone).unwrap();
        for hold in [LockMode::Alone, LockMode::Shared] {
            let text = take(hold).unwrap_err().to_string();
            assert!(text.contains("another run is working") && text.contains("--study"), "{text}");
        }
        drop(alone);
        let shares = [take(LockMode::Shared).unwrap(), take(LockMode::Shared).unwrap()];
        assert!(take(LockMode::Alone).is_err());
        drop(shares);
        assert!(take(LockMode::Alone).is_ok());
    }
}
