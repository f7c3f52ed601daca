//! Harm to a dose.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tidydose_fuzz::as_file(bytes, |path, identity| {
        let _ = tidydose_dicom::read_dose(path, identity);
    });
});
