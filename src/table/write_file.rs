//! Writing a file so that it is there as a whole or not at all: bytes go to a temporary name in the
//! same folder, are flushed to the disk and renamed. A reader, or the next run after a power cut,
//! never meets half a table. Knows nothing of what is written.

use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

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
    let temporary = temporary_name(path);
    let result =
        create(&temporary, path, access).and_then(|f| write_and_rename(f, &temporary, path, fill));
    if result.is_err() {
        // The first error is the one to report; the leftover is harmless and goes if it can.
        let _ = fs::remove_file(&temporary);
    }
    result.map_err(|source| WriteError { path: path.to_path_buf(), source })
}

fn create(temporary: &Path, path: &Path, access: Access) -> io::Result<File> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder)?;
    }
    let mut options = OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    if access == Access::OwnerOnly {
        use std::os::unix::fs::OpenOptionsExt;
        options.mode(0o600);
    }
    #[cfg(not(unix))]
    let _ = access;
    options.open(temporary)
}

fn write_and_rename(
    file: File,
    temporary: &Path,
    path: &Path,
    fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> io::Result<()> {
    let mut writer = BufWriter::new(file);
    fill(&mut writer)?;
    writer.flush()?;
    writer.get_ref().sync_all()?;
    drop(writer); // some systems refuse to rename an open file
    fs::rename(temporary, path)
}

/// Removes the file at `path` if there is one.
///
/// # Errors
/// When it is there and cannot be removed.
pub fn remove_file(path: &Path) -> Result<(), WriteError> {
    match fs::remove_file(path) {
        Err(source) if source.kind() != io::ErrorKind::NotFound => {
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

    #[cfg(unix)]
    #[test]
    fn a_file_for_the_owner_is_closed_to_others() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("key.txt");
        replace_file_for(&path, Access::OwnerOnly, |w| w.write_all(b"x")).unwrap();
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    }

    #[test]
    fn missing_folders_are_made() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a/b/c.csv");
        replace_file(&path, |w| w.write_all(b"x")).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"x");
    }
}
