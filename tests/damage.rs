//! Damaged copies beside a sound case: whatever happens to one case's files, nothing panics, every
//! file has its row, and the sound case keeps its numbers to the last bit.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::collections::BTreeSet;
use std::sync::OnceLock;

use proptest::prelude::*;
use proptest::sample::Index;
use proptest::test_runner::RngSeed;
use tidydose_analyse::{Analysis, Ends, Settings};
use tidydose_metrics as metrics;
use tidydose_rt::FileStatus;
use tidydose_rt::identity::Token;

use crate::archive::{Archive, Course, Measured};
use crate::phantom::dicom::{Encoding, Roi};
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid};

const NAMES: [&str; 3] = ["structures.dcm", "plan.dcm", "dose.dcm"];

fn course(patient: &str, encoding: Encoding) -> Course {
    let solid = Solid::ball([0.3, 0.2, 0.1], 3.0);
    let roi = Roi::new(1, "PTV1", "PTV").outlining(&solid, &PlaneStack::axial(1.5, 0.0), 12);
    let lattice = Lattice::around([0.0; 3], [7.0; 3], 2.0);
    let field = Field::gaussian([0.0; 3], 24.0, 4.0);
    let mut course = Course::new(patient, vec![roi], (&field, &lattice), &[(1, 15.0)]);
    course.headers().into_iter().for_each(|h| h.encoding = encoding);
    course
}

fn settings() -> Settings {
    let list = ["Volume[cc]", "D95%[Gy]", "PaddickConformity"];
    let metrics = list.iter().map(|name| metrics::parse(name).unwrap()).collect();
    Settings { metrics, ends: Ends::HalfSlice, ..Settings::default() }
}

/// The sound case: its name and its numbers when it is alone.
fn sound() -> &'static (Course, Token, Analysis) {
    static SOUND: OnceLock<(Course, Token, Analysis)> = OnceLock::new();
    SOUND.get_or_init(|| {
        let course = course("SOUND", Encoding::ExplicitLittle);
        let alone = course.measure(&settings());
        let (id, analysis) = alone.analyses.into_iter().next().unwrap();
        assert!(analysis.measurements.iter().all(|m| m.outcome.value.is_some()));
        (course, id, analysis)
    })
}

/// Measures the sound case beside these files of a course that has come to harm.
fn beside(files: &[(&str, Vec<u8>)]) -> Measured {
    let (course, id, analysis) = sound();
    let archive = Archive::new();
    archive.put("sound", course);
    for (name, bytes) in files {
        archive.add(&format!("harmed/{name}"), bytes);
    }
    let measured = archive.measure(&settings());
    let rows: BTreeSet<&str> =
        measured.scan.inventory.files.iter().map(|r| r.file.as_str()).collect();
    assert_eq!(rows.len(), measured.scan.inventory.files.len(), "a row twice");
    assert_eq!(rows.len(), 3 + files.len());
    for (name, _) in files {
        assert!(rows.contains(format!("harmed/{name}").as_str()), "no row for {name}");
    }
    for row in &measured.scan.inventory.files {
        let told = matches!(row.status, FileStatus::Read) || !row.reason.is_empty();
        assert!(told, "{row:?}");
    }
    assert_eq!(measured.analyses.get(id), Some(analysis), "the sound case has moved");
    measured
}

const ENCODINGS: [Encoding; 4] =
    [Encoding::ImplicitLittle, Encoding::ExplicitLittle, Encoding::ExplicitBig, Encoding::Deflated];

/// Always the same cases, so that a failure can be seen again.
fn config() -> ProptestConfig {
    ProptestConfig {
        cases: 48,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_200_102),
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(config())]

    /// A file that ends early is refused: what has been read of it is used for nothing. (What is
    /// cut off a deflated stream may be padding behind its end.)
    #[test]
    fn a_file_cut_anywhere_is_refused(which in 0..3_usize, place: Index, how in 0..4_usize) {
        let mut files = course("HARMED", ENCODINGS[how]).files();
        let at = place.index(files[which].1.len());
        files[which].1.truncate(at);
        let measured = beside(&files);
        let status = measured.status(&format!("harmed/{}", NAMES[which]));
        let done = how == 3 && at + 2 > course("HARMED", ENCODINGS[how]).files()[which].1.len();
        // A few bytes are too few to tell what it was.
        let unknown = at < 140 && status == FileStatus::Foreign;
        prop_assert!(status == FileStatus::Refused || done || unknown, "{at} {status:?}");
    }

    /// A flipped byte may be seen or not, as in a dose value; it stays where it is.
    #[test]
    fn a_flipped_byte_stays_in_its_case(
        which in 0..3_usize, place: Index, bits in 1..=255_u8, how in 0..4_usize
    ) {
        let mut files = course("HARMED", ENCODINGS[how]).files();
        let at = place.index(files[which].1.len());
        files[which].1[at] ^= bits;
        beside(&files);
    }

    /// Sixteen bytes of another file in the middle of this one, as after a bad copy.
    #[test]
    fn a_stretch_of_another_file_stays_in_its_case(
        which in 0..3_usize, from: Index, to: Index, how in 0..4_usize
    ) {
        let mut files = course("HARMED", ENCODINGS[how]).files();
        let source = files[(which + 1) % 3].1.clone();
        let (from, to) = (from.index(source.len() - 16), to.index(files[which].1.len() - 16));
        files[which].1[to..to + 16].copy_from_slice(&source[from..from + 16]);
        beside(&files);
    }

    /// Bytes without meaning, with and without the mark of a DICOM file.
    #[test]
    fn noise_is_foreign_or_refused(bytes: Vec<u8>, marked: bool) {
        let mut noise = if marked { [&[0; 128][..], b"DICM"].concat() } else { Vec::new() };
        noise.extend(bytes);
        let measured = beside(&[("noise.dcm", noise)]);
        let status = measured.status("harmed/noise.dcm");
        prop_assert!(matches!(status, FileStatus::Foreign | FileStatus::Refused), "{status:?}");
    }
}

/// Nine broken files among eighteen sound ones, in the same folders: cut, emptied, overwritten,
/// relabelled, contradicting each other. Every sound case keeps every number.
#[test]
fn a_folder_with_a_third_of_broken_files_gives_the_same_numbers() {
    let (clean, mixed) = (Archive::new(), Archive::new());
    for number in 0..6 {
        let patient = format!("SOUND-{number}");
        let course = course(&patient, ENCODINGS[number % 4]);
        clean.put(&patient, &course);
        mixed.put(&patient, &course);
    }
    let broken: Vec<(String, Vec<u8>)> = (0..3)
        .flat_map(|number| {
            let files = course(&format!("BROKEN-{number}"), ENCODINGS[number]).files();
            files.map(|(name, bytes)| (format!("SOUND-{number}/broken {name}"), bytes))
        })
        .collect();
    for (how, (name, mut bytes)) in broken.into_iter().enumerate() {
        let half = bytes.len() / 2;
        match how {
            0 => bytes.truncate(half),
            1 => bytes.clear(),
            2 => bytes[half..].fill(0),
            3 => bytes[150..].rotate_left(7),
            4 => bytes = b"a text where an object was ".repeat(20),
            5 => bytes.truncate(200),
            6 => bytes.iter_mut().step_by(97).for_each(|b| *b ^= 0xFF),
            7 => bytes.extend_from_slice(&[7; 30]),
            _ => bytes[140..200].fill(0xFF),
        }
        mixed.add(&name, &bytes);
    }
    let (clean, mixed) = (clean.measure(&settings()), mixed.measure(&settings()));
    assert_eq!(clean.analyses.len(), 6);
    for (id, analysis) in &clean.analyses {
        assert_eq!(mixed.analyses.get(id), Some(analysis), "{id}");
    }
    let rows = &mixed.scan.inventory.files;
    let refused = rows.iter().filter(|r| r.file.as_str().contains("broken"));
    let unread = refused.filter(|r| r.status != FileStatus::Read).count();
    assert_eq!(rows.len(), 27);
    assert!(unread >= 6, "{unread} of 9 broken files are seen to be broken");
}

/// File names are no evidence: any two files may change names.
#[test]
fn swapped_files_are_the_same_case() {
    let plain = beside(&course("HARMED", Encoding::ExplicitLittle).files());
    for (a, b) in [(0, 1), (0, 2), (1, 2)] {
        let mut files = course("HARMED", Encoding::ExplicitLittle).files();
        let kept = files[a].1.clone();
        files[a].1 = std::mem::replace(&mut files[b].1, kept);
        assert_eq!(beside(&files).analyses, plain.analyses);
    }
    assert_eq!(plain.analyses.len(), 2);
}

#[test]
fn empty_and_foreign_files_have_their_rows() {
    for (which, name) in NAMES.iter().enumerate() {
        let mut files = course("HARMED", Encoding::ImplicitLittle).files();
        files[which].1.clear();
        assert_eq!(beside(&files).status(&format!("harmed/{name}")), FileStatus::Refused);
        files[which].1 = b"Minutes of the meeting. Present: nobody.".repeat(9);
        assert_eq!(beside(&files).status(&format!("harmed/{name}")), FileStatus::Foreign);
    }
}

/// A copy of an object counts once.
#[test]
fn a_copy_is_a_duplicate() {
    let files = course("HARMED", Encoding::ImplicitLittle).files();
    for (name, bytes) in &files {
        let mut more = files.to_vec();
        more.push(("a copy", bytes.clone()));
        let measured = beside(&more);
        let pair = ["harmed/a copy".to_owned(), format!("harmed/{name}")];
        let mut statuses = pair.map(|file| measured.status(&file));
        statuses.sort_unstable();
        assert_eq!(statuses, [FileStatus::Read, FileStatus::Duplicate], "{name}");
        assert_eq!(measured.analyses.len(), 2, "{name}");
    }
}
