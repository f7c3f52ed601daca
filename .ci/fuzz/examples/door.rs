//! Harm to any file of an archive: what it is, what is in it when it is an archive itself, and what
//! its cases come to.
#![no_main]

use std::sync::atomic::AtomicBool;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tidydose_fuzz::as_file(bytes, |path, identity| {
        let roots = [path.to_path_buf()];
        if let Ok(scan) = tidydose_dicom::scan(&roots, identity, &|_| (), &AtomicBool::new(false)) {
            assert!(!scan.inventory.files.is_empty(), "a file without a row");
            let _ = tidydose_case::link(&scan.inventory);
        }
    });
});
