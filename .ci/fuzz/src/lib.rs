//! What the fuzz programs share: an input as a file in memory where there is such a place, read
//! through the public door of the product.

use std::cell::OnceCell;
use std::path::{Path, PathBuf};

use tidydose_rt::identity::Identity;

thread_local! {
    static FOLDER: OnceCell<PathBuf> = const { OnceCell::new() };
}

/// Writes the input to the same file each time and hands it on with a key that is always the same.
///
/// # Panics
/// When the file cannot be written: a fault of the machine, not of what is tested.
pub fn as_file(bytes: &[u8], read: impl FnOnce(&Path, &Identity)) {
    FOLDER.with(|cell| {
        let folder = cell.get_or_init(|| {
            let memory = Path::new("/dev/shm");
            let parent = if memory.is_dir() { memory.into() } else { std::env::temp_dir() };
            let folder = parent.join(format!("tidydose-fuzz-{}", std::process::id()));
            std::fs::create_dir_all(&folder).expect("a folder for the input");
            folder
        });
        let path = folder.join("input");
        std::fs::write(&path, bytes).expect("the input as a file");
        read(&path, &Identity::keyed([1; 32]));
    });
}
