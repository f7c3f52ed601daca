//! Writes the invented cohort: `cargo run --example make-sample -- sample-anonymised`.
//!
//! The files depend on nothing but this source, so that a second run writes the same bytes.
#![allow(clippy::print_stderr)] // a program of its own, which says what it wrote

#[path = "mod.rs"]
mod phantom;

use std::path::Path;

use phantom::sample;

fn main() -> phantom::dicom::Result<()> {
    let folder = std::env::args().nth(1).ok_or("usage: make-sample FOLDER")?;
    let archive = sample::archive()?;
    let mut bytes = 0;
    for file in &archive.files {
        let path = Path::new(&folder).join(&file.path);
        std::fs::create_dir_all(path.parent().ok_or("a file needs a folder")?)?;
        std::fs::write(path, &file.bytes)?;
        bytes += file.bytes.len();
    }
    std::fs::write(Path::new(&folder).join("truth.csv"), sample::truth_table(&archive.truth))?;
    let (files, rows) = (archive.files.len(), archive.truth.len());
    eprintln!("{files} files, {bytes} bytes, {rows} rows of truth");
    Ok(())
}
