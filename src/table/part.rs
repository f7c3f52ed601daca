//! One finished case as one file, so that a run can be continued, shared and put together: a line
//! of JSON that says what the file is, then what was measured whatever it is called, then the
//! results, each as MessagePack under zstd. The line carries the key under which the case was
//! computed, and length and SHA-256 of what follows; what does not agree with it in every respect is
//! not used. Tables are made from the results alone, so that what was measured is read only when a
//! decision asks for other results.
//!
//! Knows results, not how they are computed or what the key is made of.

use std::fs;
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::write_file::{WriteError, replace_file};
use tidydose_analyse::{Analysis, Memory};
use tidydose_rt::digest::hexadecimal;
use tidydose_rt::finding::Finding;

/// What the first line of every part says it is; another layout gets another name.
const FORMAT: &str = "tidydose case 6";
/// How that of every layout begins.
const FORMATS: &str = "tidydose case ";
/// Ending of the file name.
const ENDING: &str = "case";
/// Results are some hundred kilobytes; more effort saves little.
const LEVEL: i32 = 3;

/// What a finished case leaves.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CasePart {
    /// Everything that was computed.
    pub analysis: Analysis,
    /// Findings of reading its files.
    pub findings: Vec<Finding>,
}

/// The first line of a part.
#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct PartHead {
    format: String,
    key: String,
    plan_id: String,
    measured: Section,
    results: Section,
}

/// What follows the first line.
#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Section {
    bytes: u64,
    sha256: String,
}

impl Section {
    fn of(body: &[u8]) -> Self {
        Self { bytes: body.len() as u64, sha256: hexadecimal(&Sha256::digest(body)) }
    }

    fn read<T: DeserializeOwned>(&self, from: &mut impl Read) -> Result<T, String> {
        let mut body = Vec::new();
        from.take(self.bytes).read_to_end(&mut body).map_err(|e| e.to_string())?;
        if *self != Self::of(&body) {
            return Err("its bytes are not those that were written".to_owned());
        }
        let decoder = zstd::stream::Decoder::new(&body[..]).map_err(|e| e.to_string())?;
        rmp_serde::from_read(decoder).map_err(|e| e.to_string())
    }
}

/// What became of the attempt to read a part.
#[derive(Debug, PartialEq)]
pub enum PartRead {
    /// It is whole and belongs to the key.
    Whole(Box<CasePart>),
    /// There is none.
    Absent,
    /// It is whole for all that is known, but of another version of the program.
    OtherLayout,
    /// It is there but cannot be trusted, for this reason.
    Damaged(String),
}

/// The part of `key` in `folder`.
#[must_use]
pub fn part_file(folder: &Path, key: &str) -> PathBuf {
    folder.join(key).with_extension(ENDING)
}

/// The keys of all parts in `folder`, ascending; none where there is no folder.
///
/// # Errors
/// When the folder cannot be read.
pub fn keys(folder: &Path) -> io::Result<Vec<String>> {
    let entries = match fs::read_dir(folder) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        other => other?,
    };
    let mut keys = Vec::new();
    for entry in entries {
        let path = entry?.path();
        let part = path.extension().is_some_and(|e| e == ENDING);
        keys.extend(path.file_stem().filter(|_| part).map(|s| s.to_string_lossy().into_owned()));
    }
    keys.sort();
    Ok(keys)
}

/// The keys of the parts in `folder` that begin with this, the latest first.
#[must_use]
pub fn keys_beginning(folder: &Path, begin: &str) -> Vec<String> {
    let keys = keys(folder).unwrap_or_default().into_iter().filter(|key| key.starts_with(begin));
    let changed =
        |key: &String| fs::metadata(part_file(folder, key)).and_then(|m| m.modified()).ok();
    let mut keys: Vec<_> = keys.map(|key| (changed(&key), key)).collect();
    keys.sort();
    keys.into_iter().rev().map(|(_, key)| key).collect()
}

/// Writes a part, with what was measured for it, so that it is there as a whole, also after a power
/// cut, or not at all.
///
/// # Errors
/// When the file cannot be written.
pub fn write_part(
    folder: &Path,
    key: &str,
    part: &CasePart,
    measured: &Memory,
) -> Result<(), WriteError> {
    let path = part_file(folder, key);
    let fault = |source| WriteError { path: path.clone(), source };
    let (measured, results) = (encoded(measured).map_err(fault)?, encoded(part).map_err(fault)?);
    let head = PartHead {
        format: FORMAT.to_owned(),
        key: key.to_owned(),
        plan_id: part.analysis.case.to_string(),
        measured: Section::of(&measured),
        results: Section::of(&results),
    };
    replace_file(&path, |output| {
        serde_json::to_writer(&mut *output, &head).map_err(io::Error::other)?;
        output.write_all(b"\n")?;
        output.write_all(&measured)?;
        output.write_all(&results)
    })
}

/// Reads the part of `key`.
#[must_use]
pub fn read_part(folder: &Path, key: &str) -> PartRead {
    match fs::File::open(part_file(folder, key)) {
        Ok(file) => match results(BufReader::new(file), key) {
            Ok(part) => PartRead::Whole(Box::new(part)),
            Err(_) if is_of_other_layout(folder, key) => PartRead::OtherLayout,
            Err(reason) => PartRead::Damaged(reason),
        },
        Err(e) if e.kind() == io::ErrorKind::NotFound => PartRead::Absent,
        Err(e) => PartRead::Damaged(e.to_string()),
    }
}

fn is_of_other_layout(folder: &Path, key: &str) -> bool {
    let Ok(file) = fs::File::open(part_file(folder, key)) else { return false };
    let mut line = Vec::new();
    let read = BufReader::new(file).take(HEAD_BYTES).read_until(b'\n', &mut line);
    let head = read.ok().and_then(|_| serde_json::from_slice::<serde_json::Value>(&line).ok());
    let format = head.as_ref().and_then(|h| h["format"].as_str());
    format.is_some_and(|f| f.starts_with(FORMATS) && f != FORMAT)
}

/// What was measured for the part of `key`; nothing where it is not there or cannot be trusted.
#[must_use]
pub fn read_measured(folder: &Path, key: &str) -> Option<Memory> {
    let file = fs::File::open(part_file(folder, key)).ok()?;
    measured(BufReader::new(file), key).ok()
}

fn encoded(of: &impl Serialize) -> io::Result<Vec<u8>> {
    let mut encoder = zstd::stream::Encoder::new(Vec::new(), LEVEL)?;
    rmp_serde::encode::write_named(&mut encoder, of).map_err(io::Error::other)?;
    encoder.flush()?;
    encoder.finish()
}

/// A first line is no longer than this.
const HEAD_BYTES: u64 = 4096;

fn head(from: &mut impl BufRead, key: &str) -> Result<PartHead, String> {
    let mut line = Vec::new();
    from.take(HEAD_BYTES).read_until(b'\n', &mut line).map_err(|e| e.to_string())?;
    if line.pop() != Some(b'\n') {
        return Err("its first line has no end".to_owned());
    }
    let head: PartHead =
        serde_json::from_slice(&line).map_err(|e| format!("its first line is unreadable: {e}"))?;
    if head.format != FORMAT {
        return Err(format!("found format {:?}; {FORMAT:?} is accepted", head.format));
    }
    if head.key != key {
        return Err("it belongs to another key".to_owned());
    }
    Ok(head)
}

fn results(mut from: impl BufRead + Seek, key: &str) -> Result<CasePart, String> {
    let head = head(&mut from, key)?;
    let begin = from.stream_position().map_err(|e| e.to_string())?;
    let begin = begin.saturating_add(head.measured.bytes);
    let end = from.seek(SeekFrom::End(0)).map_err(|e| e.to_string())?;
    if begin.checked_add(head.results.bytes) != Some(end) {
        return Err(format!("it has {end} bytes, which is not what its first line says"));
    }
    from.seek(SeekFrom::Start(begin)).map_err(|e| e.to_string())?;
    head.results.read(&mut from)
}

fn measured(mut from: impl BufRead, key: &str) -> Result<Memory, String> {
    head(&mut from, key)?.measured.read(&mut from)
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;
    use crate::example::Example;

    fn example() -> CasePart {
        let example = Example::new();
        let mut analysis = example.analyses[0].clone();
        if let Some(point) = analysis.dvh.first_mut() {
            point.volume_cc = 0.1 + 0.2; // no short decimal form
        }
        CasePart { analysis, findings: example.findings }
    }

    fn checked(bytes: &[u8], key: &str) -> Result<(CasePart, Memory), String> {
        Ok((results(Cursor::new(bytes), key)?, measured(bytes, key)?))
    }

    #[test]
    fn a_part_reads_back_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(read_part(folder.path(), "k"), PartRead::Absent);
        assert!(keys(&folder.path().join("nowhere")).unwrap().is_empty());
        let part = example();
        let mut memory = Memory::default();
        memory.findings.clone_from(&part.findings);
        write_part(folder.path(), "k", &part, &memory).unwrap();
        // By text, since the example holds a value that is not a number and so not equal to itself.
        let shown = |reading: PartRead| format!("{reading:?}");
        assert_eq!(shown(read_part(folder.path(), "k")), shown(PartRead::Whole(Box::new(part))));
        assert_eq!(read_measured(folder.path(), "k"), Some(memory));
        assert_eq!(read_measured(folder.path(), "other"), None);
        assert_eq!(keys(folder.path()).unwrap(), ["k"]);
    }

    #[test]
    fn parts_of_one_beginning_come_latest_first() {
        let folder = tempfile::tempdir().unwrap();
        for (key, second) in [("aa-3", 1), ("aa-1", 2), ("aa-2", 3), ("ab-1", 4)] {
            write_part(folder.path(), key, &example(), &Memory::default()).unwrap();
            let file = fs::File::options().write(true).open(part_file(folder.path(), key)).unwrap();
            let time = std::time::UNIX_EPOCH + std::time::Duration::from_secs(second);
            file.set_modified(time).unwrap();
        }
        assert_eq!(keys_beginning(folder.path(), "aa-"), ["aa-2", "aa-1", "aa-3"]);
    }

    #[test]
    fn a_part_of_another_version_is_not_called_damaged() {
        let folder = tempfile::tempdir().unwrap();
        write_part(folder.path(), "k", &example(), &Memory::default()).unwrap();
        let path = part_file(folder.path(), "k");
        let bytes = fs::read(&path).unwrap();
        let end = bytes.iter().position(|b| *b == b'\n').unwrap();
        let head = String::from_utf8(bytes[..end].to_vec()).unwrap();
        let with = |format: &str| {
            let changed = head.replace(FORMAT, format);
            fs::write(&path, [changed.as_bytes(), &bytes[end..]].concat()).unwrap();
            read_part(folder.path(), "k")
        };
        assert_eq!(with("tidydose case 4"), PartRead::OtherLayout);
        assert!(matches!(with("another program"), PartRead::Damaged(_)));
        assert!(matches!(with(FORMAT), PartRead::Whole(_)));
    }

    /// Every byte of a part counts: changed, cut off or added, it is noticed.
    #[test]
    fn a_part_that_was_changed_anywhere_is_not_used() {
        let folder = tempfile::tempdir().unwrap();
        let mut memory = Memory::default();
        memory.findings = example().findings;
        write_part(folder.path(), "k", &example(), &memory).unwrap();
        let path = part_file(folder.path(), "k");
        let whole = fs::read(&path).unwrap();
        let damaged = |bytes: &[u8]| checked(bytes, "k").is_err();
        assert!(!damaged(&whole));
        let head = whole.iter().position(|b| *b == b'\n').unwrap();
        for at in (0..whole.len()).step_by(7).chain(0..head + 20) {
            let mut other = whole.clone();
            other[at] ^= 0x10;
            // A letter of the plan_id in the first line is for people only.
            let id = whole[..head].windows(8).position(|w| w == b"plan_id\"").unwrap();
            let for_people = (id + 9..id + 18).contains(&at);
            assert!(damaged(&other) || for_people, "byte {at} of {}", whole.len());
        }
        for length in (0..whole.len()).step_by(11) {
            assert!(damaged(&whole[..length]), "cut at {length}");
        }
        assert!(damaged(&[&whole[..], b"x"].concat()));
        assert!(checked(&whole, "other").unwrap_err().contains("another key"));
        fs::write(&path, b"").unwrap();
        assert!(matches!(read_part(folder.path(), "k"), PartRead::Damaged(_)));
    }
}
