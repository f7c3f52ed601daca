//! One finished case as one file, so that a run can be continued, shared and put together: a line
//! of JSON that says what the file is, then the results as MessagePack under zstd. The line carries
//! the key under which the case was computed, and length and SHA-256 of what follows; a file that
//! does not agree with it in every respect is not used.
//!
//! Knows results, not how they are computed or what the key is made of.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::run::hexadecimal;
use super::write_file::{WriteError, replace_file};
use tidydose_analyse::Analysis;
use tidydose_rt::finding::Finding;

/// What the first line of every part says it is; another layout gets another name.
const FORMAT: &str = "tidydose case 2";
/// Ending of the file name.
const ENDING: &str = "case";
/// Results are some hundred kilobytes; more effort saves little.
const LEVEL: i32 = 3;

/// What a finished case leaves.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Everything that was computed.
    pub analysis: Analysis,
    /// Findings of reading its files.
    pub findings: Vec<Finding>,
}

/// The first line of a part.
#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Head {
    format: String,
    key: String,
    plan_id: String,
    bytes: usize,
    sha256: String,
}

/// What became of the attempt to read a part.
#[derive(Debug, PartialEq)]
pub enum Reading {
    /// It is whole and belongs to the key.
    Whole(Box<Part>),
    /// There is none.
    Absent,
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

/// Writes a part so that it is there as a whole, also after a power cut, or not at all.
///
/// # Errors
/// When the file cannot be written.
pub fn write_part(folder: &Path, key: &str, part: &Part) -> Result<(), WriteError> {
    let path = part_file(folder, key);
    let body = encoded(part).map_err(|source| WriteError { path: path.clone(), source })?;
    let head = Head {
        format: FORMAT.to_owned(),
        key: key.to_owned(),
        plan_id: part.analysis.case.to_string(),
        bytes: body.len(),
        sha256: hexadecimal(&Sha256::digest(&body)),
    };
    replace_file(&path, |output| {
        serde_json::to_writer(&mut *output, &head).map_err(io::Error::other)?;
        output.write_all(b"\n")?;
        output.write_all(&body)
    })
}

/// Reads the part of `key`.
#[must_use]
pub fn read_part(folder: &Path, key: &str) -> Reading {
    match fs::read(part_file(folder, key)) {
        Ok(bytes) => match checked(&bytes, key) {
            Ok(part) => Reading::Whole(Box::new(part)),
            Err(reason) => Reading::Damaged(reason),
        },
        Err(e) if e.kind() == io::ErrorKind::NotFound => Reading::Absent,
        Err(e) => Reading::Damaged(e.to_string()),
    }
}

fn encoded(part: &Part) -> io::Result<Vec<u8>> {
    let mut encoder = zstd::stream::Encoder::new(Vec::new(), LEVEL)?;
    rmp_serde::encode::write_named(&mut encoder, part).map_err(io::Error::other)?;
    encoder.flush()?;
    encoder.finish()
}

fn checked(bytes: &[u8], key: &str) -> Result<Part, String> {
    let end = bytes.iter().position(|b| *b == b'\n').ok_or("its first line has no end")?;
    let (head, body) = bytes.split_at(end);
    let body = body.get(1..).unwrap_or_default();
    let head: Head =
        serde_json::from_slice(head).map_err(|e| format!("its first line is unreadable: {e}"))?;
    if head.format != FORMAT {
        return Err(format!("found format {:?}; {FORMAT:?} is accepted", head.format));
    }
    if head.key != key {
        return Err("it belongs to another key".to_owned());
    }
    if head.bytes != body.len() {
        return Err(format!("{} bytes follow the first line, not {}", body.len(), head.bytes));
    }
    if head.sha256 != hexadecimal(&Sha256::digest(body)) {
        return Err("its bytes are not those that were written".to_owned());
    }
    let decoder = zstd::stream::Decoder::new(body).map_err(|e| e.to_string())?;
    rmp_serde::from_read(decoder).map_err(|e| e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::example::Example;

    fn example() -> Part {
        let example = Example::new();
        let mut analysis = example.analyses[0].clone();
        if let Some(point) = analysis.dvh.first_mut() {
            point.volume_cc = 0.1 + 0.2; // no short decimal form
        }
        Part { analysis, findings: example.findings }
    }

    #[test]
    fn a_part_reads_back_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(read_part(folder.path(), "k"), Reading::Absent);
        assert!(keys(&folder.path().join("nowhere")).unwrap().is_empty());
        let part = example();
        write_part(folder.path(), "k", &part).unwrap();
        // By text, since the example holds a value that is not a number and so not equal to itself.
        let shown = |reading: Reading| format!("{reading:?}");
        assert_eq!(shown(read_part(folder.path(), "k")), shown(Reading::Whole(Box::new(part))));
        assert_eq!(keys(folder.path()).unwrap(), ["k"]);
    }

    /// Every byte of a part counts: changed, cut off or added, it is noticed.
    #[test]
    fn a_part_that_was_changed_anywhere_is_not_used() {
        let folder = tempfile::tempdir().unwrap();
        write_part(folder.path(), "k", &example()).unwrap();
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
        assert!(matches!(read_part(folder.path(), "k"), Reading::Damaged(_)));
    }
}
