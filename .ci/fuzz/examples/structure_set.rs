//! Harm to a structure set.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tidydose_fuzz::as_file(bytes, |path, identity| {
        let _ = tidydose_dicom::read_structure_set(path, identity);
    });
});
