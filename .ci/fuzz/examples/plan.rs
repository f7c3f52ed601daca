//! Harm to a plan.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tidydose_fuzz::as_file(bytes, |path, identity| {
        let _ = tidydose_dicom::read_plan(path, identity);
    });
});
