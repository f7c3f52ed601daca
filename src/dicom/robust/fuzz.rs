//! Mutation from a kept corpus, for the file door, structure sets, doses and plans.
//!
//! An input is kept when the program says something new of it: a code, an attribute or a sentence not
//! heard before. That is coarser than counting branches, which `.ci/fuzz` does with the same corpus;
//! but it needs no other build, counts memory against the size of each input, and is the same every
//! time. `FUZZ_ROUNDS=1000000 UPDATE=1` makes a longer run and adds what it finds to the corpus in
//! `tests/corpus`, from where every later run starts.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use super::super::container::{self, ArchiveKind, kind};
use super::super::encoding::{Encoding, inflate};
use super::super::file_location::FileLocation;
use super::super::fixtures;
use super::super::scanned_file::{FileEntry, ScanWorker, scan_stream};
use super::mutate::{Chance, mutated};
use super::{ALL, objects, read};
use tidydose_rt::finding::Finding;
use tidydose_rt::identity::{Identity, Token};

/// Rounds of an ordinary run, a few seconds.
const ROUNDS: usize = 20_000;
/// Larger inputs are tried but not kept.
const KEPT_BYTES: usize = 3000;
/// Files in the corpus are few enough to look at.
const KEPT_FILES: usize = 200;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/corpus")
}

/// The corpus by name, and the sound objects in every encoding before it.
fn seeds() -> Vec<Vec<u8>> {
    let mut seeds = Vec::new();
    for parts in objects() {
        for encoding in ALL {
            seeds.extend([false, true].map(|open| fixtures::file(&parts, encoding, open)));
        }
        seeds.push(fixtures::data_set(&parts, Encoding::IMPLICIT, true));
    }
    seeds.push(fixtures::file(&fixtures::slice("1.2.7.1", 0.0), Encoding::EXPLICIT, false));
    seeds.extend(corpus().into_iter().map(|path| std::fs::read(path).unwrap()));
    seeds
}

fn corpus() -> Vec<PathBuf> {
    let listed = std::fs::read_dir(folder()).unwrap().map(|entry| entry.unwrap().path());
    let mut paths: Vec<PathBuf> = listed.collect();
    paths.sort();
    paths
}

/// What is said of an input, without its numbers.
fn said(bytes: &[u8]) -> String {
    let identity = Identity::keyed([1; 32]);
    let entry = FileEntry {
        place: FileLocation::file("input"),
        name: String::new(),
        file: Token::new("F"),
    };
    let seen =
        scan_stream(entry, &mut &*bytes, bytes.len() as u64, &mut ScanWorker::new(&identity));
    let told = |finding: &Finding| {
        let attribute = finding.subject.attribute.clone().unwrap_or_default();
        format!("{:?} {attribute} {}", finding.code, finding.message)
    };
    let mut all: Vec<String> = seen.findings.iter().map(told).collect();
    all.push(format!("{:?} {}", seen.record.status, seen.record.reason));
    if let Err(error) = read(bytes.to_vec()) {
        all.push(format!("{:?} {}", error.code(), error.message()));
    }
    all.join("\n").chars().filter(|c| !c.is_ascii_digit()).collect()
}

/// Most memory that an input of this size may cost: objects of empty elements and items take some
/// hundred times their bytes, run-length encoded samples 64 times and four bytes for each.
fn allowed(bytes: &[u8]) -> u64 {
    let inflated = match super::super::open::outline(bytes, bytes.len()) {
        Ok(outline) => bytes.get(outline.start..).and_then(|data| inflate(data).ok()),
        Err(_) => None,
    };
    let size = bytes.len() + inflated.map_or(0, |data| data.len());
    (1 << 20) + 400 * size as u64
}

fn bounded(bytes: &[u8], what: &str) -> String {
    let begin = Instant::now();
    let mut text = String::new();
    let used = allocation_counter::measure(|| text = said(bytes));
    assert!(begin.elapsed() < Duration::from_secs(5), "{what}: {:?}", begin.elapsed());
    let most = allowed(bytes);
    assert!(used.bytes_max < most, "{what}: {} bytes of memory, {most} allowed", used.bytes_max);
    text
}

fn rounds() -> usize {
    std::env::var("FUZZ_ROUNDS").ok().and_then(|text| text.parse().ok()).unwrap_or(ROUNDS)
}

#[test]
fn harm_of_any_kind_is_bounded() {
    let mut pool = seeds();
    let mut heard = BTreeSet::new();
    for (index, seed) in pool.iter().enumerate() {
        heard.insert(bounded(seed, &format!("seed {index}")));
    }
    let update = std::env::var_os("UPDATE").is_some() && std::env::var_os("FUZZ_ROUNDS").is_some();
    assert!(update || heard.len() > 50, "the corpus says {} things only", heard.len());
    let mut room = KEPT_FILES.saturating_sub(corpus().len());
    let mut chance = Chance::new(20_260_101);
    for round in 0..rounds() {
        let (one, other) = (chance.below(pool.len()), chance.below(pool.len()));
        let input = mutated(&pool[one], &pool[other], &mut chance);
        let text = bounded(&input, &format!("round {round}"));
        if heard.insert(text) && input.len() <= KEPT_BYTES {
            if update && room > 0 {
                room -= 1;
                let name = super::super::open::hexadecimal(&input);
                std::fs::write(folder().join(&name[..16]), &input).unwrap();
            }
            pool.push(input);
        }
    }
}

/// Zip and tar archives whose bytes were harmed are listed, or refused, and no more.
#[test]
fn harmed_archives_are_bounded() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("archive");
    let dose = fixtures::file(&fixtures::dose(), Encoding::EXPLICIT, false);
    let mut chance = Chance::new(20_260_102);
    for (form, sound) in archives(&dose).into_iter().enumerate() {
        for round in 0..400 {
            let input = mutated(&sound, &dose, &mut chance);
            std::fs::write(&path, &input).unwrap();
            let used = allocation_counter::measure(|| list(&path, &input));
            let what = format!("form {form} round {round}: {} bytes", used.bytes_max);
            assert!(used.bytes_max < (4 << 20) + 400 * input.len() as u64, "{what}");
        }
    }
}

fn list(path: &Path, bytes: &[u8]) {
    match kind(bytes) {
        Some(ArchiveKind::Zip) => {
            for listed in container::list_zip(path).map(|(list, _)| list).unwrap_or_default() {
                let _ = FileLocation::member(path, listed.member).bytes();
            }
        }
        Some(kind) => {
            let _ = container::walk_tar(path, kind, &mut |listed, _| {
                let _ = FileLocation::member(path, listed.member).bytes();
            });
        }
        None => {}
    }
}

fn archives(dose: &[u8]) -> [Vec<u8>; 3] {
    use std::io::Write;
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let mut tar = tar::Builder::new(Vec::new());
    for name in ["one", "two"] {
        zip.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        zip.write_all(dose).unwrap();
        let mut header = tar::Header::new_ustar();
        header.set_size(dose.len() as u64);
        tar.append_data(&mut header, name, dose).unwrap();
    }
    let tar = tar.into_inner().unwrap();
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    gzip.write_all(&tar).unwrap();
    [zip.finish().unwrap().into_inner(), tar, gzip.finish().unwrap()]
}
