//! Writing a file so that it is there as a whole or not at all: bytes go to a temporary name in the
//! same folder, are flushed to the disk and renamed. A reader, or the next run after a power cut,
//! never meets half a table. Knows nothing of what is written.

use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter, ErrorKind, Write};
use std::path::{Path, PathBuf};

use crate::system;

/// A file could not be written.
#[derive(Debug, thiserror::Error)]
#[error("cannot write {}: {source}", path.display())]
pub struct WriteError {
    /// The file that was meant.
    pub path: PathBuf,
    /// What the system, or the encoder, said.
    pub source: io::Error,
}

/// Who may read a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// As the system's default says.
    Shared,
    /// The owner only, where the system has such rights (mode 0600).
    OwnerOnly,
}

/// Replaces the file at `path` by what `fill` writes; creates the folder where it is missing.
///
/// # Errors
/// When the folder or file cannot be written, or `fill` fails; an existing file is then untouched.
pub fn replace_file(
    path: &Path,
    fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), WriteError> {
    replace_file_for(path, Access::Shared, fill)
}

/// As [`replace_file`], with a say in who may read the new file.
///
/// # Errors
/// As [`replace_file`].
pub fn replace_file_for(
    path: &Path,
    access: Access,
    fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), WriteError> {
    let fault = |source| WriteError { path: path.to_path_buf(), source };
    let mut file = Pending::create(path, access)?;
    fill(&mut file).map_err(fault)?;
    file.finish()?.publish()?;
    path.parent().map_or(Ok(()), system::sync_folder).map_err(fault)
}

/// A file that is being written under a temporary name. Dropped before it is published, it leaves
/// nothing behind.
#[derive(Debug)]
pub struct Pending {
    path: PathBuf,
    temporary: Temporary,
    writer: BufWriter<File>,
}

/// A file that is whole and on the disk, still under its temporary name.
#[derive(Debug)]
pub struct Finished {
    path: PathBuf,
    temporary: Temporary,
}

/// Removes the file when it goes, unless it was renamed.
#[derive(Debug)]
struct Temporary {
    path: PathBuf,
    renamed: bool,
}

impl Drop for Temporary {
    fn drop(&mut self) {
        if !self.renamed {
            // The first error is the one to report; the leftover is harmless and goes if it can.
            let _ = fs::remove_file(&self.path);
        }
    }
}

impl Pending {
    /// Begins the file that is to be at `path`; creates the folder where it is missing.
    ///
    /// # Errors
    /// When the system refuses either.
    pub fn create(path: &Path, access: Access) -> Result<Self, WriteError> {
        let temporary = temporary_name(path);
        let file = create(&temporary, path, access)
            .map_err(|source| WriteError { path: path.to_path_buf(), source })?;
        Ok(Self {
            path: path.to_path_buf(),
            temporary: Temporary { path: temporary, renamed: false },
            writer: BufWriter::new(file),
        })
    }

    /// The name that the file will have.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Brings everything to the disk.
    ///
    /// # Errors
    /// When the system cannot, as on a full disk.
    pub fn finish(mut self) -> Result<Finished, WriteError> {
        let flushed = self.writer.flush().and_then(|()| self.writer.get_ref().sync_all());
        // The file is closed here: some systems refuse to rename an open one.
        let Self { path, temporary, .. } = self;
        match flushed {
            Ok(()) => Ok(Finished { path, temporary }),
            Err(source) => Err(WriteError { path, source }),
        }
    }
}

/// A file that another library writes under a temporary name. Dropped before it is published, it
/// leaves nothing behind.
#[derive(Debug)]
pub struct Entrusted {
    path: PathBuf,
    temporary: Temporary,
}

impl Entrusted {
    /// An empty file in the place of the one that is to be at `path`; creates the folder where it
    /// is missing.
    ///
    /// # Errors
    /// When the system refuses either.
    pub fn create(path: &Path, access: Access) -> Result<Self, WriteError> {
        let temporary = temporary_name(path);
        create(&temporary, path, access)
            .map_err(|source| WriteError { path: path.to_path_buf(), source })?;
        let temporary = Temporary { path: temporary, renamed: false };
        Ok(Self { path: path.to_path_buf(), temporary })
    }

    /// The name that the file will have.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The name that it has until then.
    #[must_use]
    pub fn temporary_path(&self) -> &Path {
        &self.temporary.path
    }

    /// Brings everything to the disk, once the other library has closed the file.
    ///
    /// # Errors
    /// When the system cannot, as on a full disk.
    pub fn finish(self) -> Result<Finished, WriteError> {
        let Self { path, temporary } = self;
        let opened = OpenOptions::new().write(true).open(&temporary.path);
        match opened.and_then(|file| file.sync_all()) {
            Ok(()) => Ok(Finished { path, temporary }),
            Err(source) => Err(WriteError { path, source }),
        }
    }
}

impl Write for Pending {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.writer.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.writer.flush()
    }
}

impl Finished {
    /// Gives the file its name, in place of an earlier one.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn publish(mut self) -> Result<(), WriteError> {
        fs::rename(&self.temporary.path, &self.path)
            .map_err(|source| WriteError { path: self.path.clone(), source })?;
        self.temporary.renamed = true;
        Ok(())
    }
}

fn create(temporary: &Path, path: &Path, access: Access) -> io::Result<File> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder)?;
    }
    let mut options = OpenOptions::new();
    options.write(true).create(true).truncate(true);
    if access == Access::OwnerOnly {
        system::for_owner_only(&mut options);
    }
    options.open(temporary)
}

/// Removes the file at `path` if there is one.
///
/// # Errors
/// When it is there and cannot be removed.
pub fn remove_file(path: &Path) -> Result<(), WriteError> {
    match fs::remove_file(path) {
        Err(source) if source.kind() != ErrorKind::NotFound => {
            Err(WriteError { path: path.to_path_buf(), source })
        }
        _ => Ok(()),
    }
}

/// `plans.csv` is written as `.plans.csv.part`, which no reader of tables takes for one.
fn temporary_name(path: &Path) -> PathBuf {
    let mut name = std::ffi::OsString::from(".");
    name.push(path.file_name().unwrap_or_default());
    name.push(".part");
    path.with_file_name(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_write_leaves_the_old_file_and_no_leftover() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("plans.csv");
        replace_file(&path, |w| w.write_all(b"old")).unwrap();
        let failed = replace_file(&path, |w| {
            w.write_all(b"half")?;
            Err(io::Error::other("disk full"))
        });
        assert!(failed.unwrap_err().to_string().contains("plans.csv: disk full"));
        assert_eq!(fs::read(&path).unwrap(), b"old");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn missing_folders_are_made() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a/b/c.csv");
        replace_file(&path, |w| w.write_all(b"x")).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"x");
    }
}
