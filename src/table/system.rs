//! What differs between operating systems: who may read a file or a folder, and what brings a rename
//! to the disk. Nothing else in the program names a system. Where a system has no mode bits, files for
//! the owner have the rights of their folder. Knows nothing of what is written.

use std::fs::{DirBuilder, OpenOptions};
use std::io;
use std::path::Path;

/// Opens what is made with these options to its owner only, where the system has such rights.
pub(crate) fn for_owner_only(options: &mut OpenOptions) {
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(options, 0o600);
    #[cfg(not(unix))]
    let _ = options;
}

/// Makes a folder, with those above it, that only its owner may look into, where the system has such
/// rights. One that is there stays as it is.
///
/// # Errors
/// When the system refuses.
pub fn make_folder_of_owner(folder: &Path) -> io::Result<()> {
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder)
}

/// Brings to the disk what was renamed in a folder, where the system can.
///
/// # Errors
/// When the disk fails.
pub(crate) fn sync_folder(folder: &Path) -> io::Result<()> {
    #[cfg(unix)]
    if !folder.as_os_str().is_empty() {
        match std::fs::File::open(folder)?.sync_all() {
            // Network file systems without this still keep the order of renames.
            Err(e)
                if matches!(e.kind(), io::ErrorKind::InvalidInput | io::ErrorKind::Unsupported) => {
            }
            other => other?,
        }
    }
    // A folder cannot be opened there; the rename of a file that was brought to the disk has to do.
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
}

#[cfg(test)]
mod tests {
    #[cfg(unix)]
    #[test]
    fn what_is_for_the_owner_is_closed_to_others() {
        use crate::write_file::{Access, replace_file_for};
        use std::os::unix::fs::PermissionsExt;
        let place = tempfile::tempdir().unwrap();
        let folder = place.path().join("above/study-key");
        super::make_folder_of_owner(&folder).unwrap();
        let path = folder.join("key.txt");
        replace_file_for(&path, Access::OwnerOnly, |w| w.write_all(b"x")).unwrap();
        let mode = |path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
        let above = place.path().join("above");
        assert_eq!([mode(above), mode(folder), mode(path)], [0o700, 0o700, 0o600]);
    }
}
