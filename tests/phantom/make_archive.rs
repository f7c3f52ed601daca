//! Writes an archive of any size for benches:
//! `cargo run --release --example make-archive -- FOLDER PATIENTS [small|whole-head] [SLICES]`.
#![allow(clippy::print_stderr)] // a program of its own, which says what it wrote

#[path = "mod.rs"]
mod phantom;

use std::path::Path;

use phantom::large::{Size, patient};

const USAGE: &str = "usage: make-archive FOLDER PATIENTS [small|whole-head] [SLICES]";

fn main() -> phantom::dicom::Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, patients, more @ ..] = arguments.as_slice() else { return Err(USAGE.into()) };
    let mut size = match more.first().map(String::as_str) {
        None | Some("small") => Size::SMALL,
        Some("whole-head") => Size::WHOLE_HEAD,
        Some(_) => return Err(USAGE.into()),
    };
    if let Some(slices) = more.get(1) {
        size.slices = slices.parse()?;
    }
    let patients: usize = patients.parse()?;
    let mut bytes = 0;
    for number in 0..patients {
        for (name, content) in patient(number, size)? {
            let path = Path::new(folder).join(name);
            std::fs::create_dir_all(path.parent().ok_or("a file needs a folder")?)?;
            bytes += content.len();
            std::fs::write(path, content)?;
        }
    }
    eprintln!("{patients} patients, {bytes} bytes");
    Ok(())
}
