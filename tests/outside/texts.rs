//! Texts in every defined term of Specific Character Set: what is kept of pydicom's reading is what
//! pydicom says, and a file read by both gives the same names, every pair of bytes of the sets of
//! two bytes among them.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use tidydose_dicom as dicom;
use tidydose_rt::finding::Code;
use tidydose_rt::identity::Identity;

use super::reference::{facts, python};
use crate::archive::Archive;
use crate::measured::updating;
use crate::phantom::dicom::{Header, Roi, StructureSet, raw, tags};

const KEPT: &str = "tests/texts/by_pydicom.csv";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// What `tests/outside/text.py` prints.
fn by_pydicom(argument: &[&str]) -> String {
    let script = root().join("tests/outside/text.py");
    let output = python().arg(script).args(argument).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap().replace("\r\n", "\n")
}

#[test]
fn the_kept_readings_are_those_of_pydicom() {
    let said = by_pydicom(&[]);
    if updating() {
        fs::write(root().join(KEPT), &said).unwrap();
    }
    let kept = fs::read_to_string(root().join(KEPT)).unwrap();
    assert!(kept == said, "{KEPT}: `UPDATE=1 cargo test texts` writes it again");
}

/// A text as bytes, and as pydicom reads it.
struct Text {
    bytes: Vec<u8>,
    read: String,
}

/// Every text of the kept list and every pair of bytes, by Specific Character Set.
fn texts() -> BTreeMap<String, Vec<Text>> {
    let mut list: BTreeMap<String, Vec<Text>> = BTreeMap::new();
    let kept = fs::read_to_string(root().join(KEPT)).unwrap();
    let every = by_pydicom(&["every pair"]);
    for line in kept.lines().skip(1).chain(every.lines()) {
        let cells: Vec<&str> = line.split(',').collect();
        let [set, vr, bytes, points] = cells[..] else { panic!("{line}") };
        // ROI Name is LO, of one value and one line.
        if vr != "LO" || points.contains("005C") || points.contains("000A") {
            continue;
        }
        let point = |p| char::from_u32(u32::from_str_radix(p, 16).unwrap()).unwrap();
        let byte = |i| u8::from_str_radix(&bytes[i..i + 2], 16).unwrap();
        list.entry(set.to_owned()).or_default().push(Text {
            bytes: (0..bytes.len()).step_by(2).map(byte).collect(),
            read: points.split(' ').map(point).collect(),
        });
    }
    list
}

/// A structure set whose names are these bytes.
fn structure_set(set: &str, texts: &[Text]) -> Vec<u8> {
    // Names of the same length stand in for the bytes until the file is written.
    let stand_in = |i: usize, t: &Text| format!("{:#<width$}", i + 1, width = t.bytes.len());
    let rois = (1..).zip(texts.iter().enumerate());
    let rois = rois.map(|(number, (i, t))| Roi::new(number, &stand_in(i, t), "ORGAN")).collect();
    let mut bytes = StructureSet::new(Header::new("TEXT", set), rois).bytes().unwrap();
    for (i, text) in texts.iter().enumerate() {
        let name = stand_in(i, text).into_bytes();
        let at = bytes.windows(name.len()).position(|w| w == name).unwrap();
        bytes[at..at + name.len()].copy_from_slice(&text.bytes);
    }
    raw::set(&mut bytes, tags::SPECIFIC_CHARACTER_SET, b"CS", set);
    bytes
}

#[test]
fn names_in_a_file_are_read_as_by_pydicom() {
    let archive = Archive::new();
    let texts = texts();
    assert!(texts.len() > 30, "{} terms", texts.len());
    for (number, (set, list)) in texts.iter().enumerate() {
        archive.add(&format!("{number}.dcm"), &structure_set(set, list));
    }
    let facts = facts(archive.path());
    for (number, (set, list)) in texts.iter().enumerate() {
        let file = format!("{number}.dcm");
        let reading =
            dicom::read_structure_set(&archive.path().join(&file), &Identity::kept()).unwrap();
        let guessed = reading.findings.iter().any(|f| f.code == Code::CharacterSetGuessed);
        assert!(!guessed, "{set}: {:?}", reading.findings);
        assert_eq!(reading.value.rois.len(), list.len(), "{set}");
        for (roi, text) in reading.value.rois.iter().zip(list) {
            assert_eq!(roi.header.name, text.read, "{set}");
            // See the head of text.py for what pydicom makes of these.
            let otherwise =
                set.contains("203") || set.contains("IR 58") || text.bytes.contains(&b'\\');
            let theirs = &facts[&file][&format!("roi {} name", roi.header.number)];
            assert!(otherwise || *theirs == text.read, "{set}: {theirs} and {}", text.read);
        }
    }
}
