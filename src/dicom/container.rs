//! Zip and tar archives (plain or in gzip), recognised by content and read in place: each member
//! is a file like any other, with a row and a token of its own. Nothing is unpacked to disk, so a
//! member's name is never a path. Bounded: members that would grow beyond all proportion, that
//! share bytes or are encrypted are refused, and an archive inside an archive is not opened. Must
//! not know DICOM.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use flate2::read::MultiGzDecoder;
use zip::{CompressionMethod, ZipArchive};

use super::error::Error;
use super::file_location::{Member, Packing};
use super::gzip::{Inflated, Marks};
use tidydose_rt::finding::Code;

/// The kinds of archive that are opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ArchiveKind {
    /// Zip, with members stored or deflated.
    Zip,
    /// Tar.
    Tar,
    /// Tar in gzip.
    TarGzip,
}

/// A member may always grow to this; images and dose grids are smaller.
const ALWAYS_BYTES: u64 = 1 << 30;
/// Beyond that, to this many times its packed size: no real data packs as well.
const MAX_GROWTH: u64 = 200;
/// Most members of one archive.
const MAX_MEMBERS: usize = 2_000_000;

/// One member as listed.
pub(super) struct ListedMember {
    /// What and where it is.
    pub member: Member,
    /// Why it cannot be read, if so.
    pub refused: Option<&'static str>,
}

/// The kind of archive that begins with `bytes`; nothing when it is none. Gzip is taken for tar in
/// gzip until it is opened.
pub(super) fn kind(bytes: &[u8]) -> Option<ArchiveKind> {
    // APPNOTE 4.3.7 and 4.3.16; RFC 1952 2.3.1; POSIX.1-1988 header with `ustar` at byte 257.
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") {
        return Some(ArchiveKind::Zip);
    }
    if bytes.starts_with(&[0x1F, 0x8B, 8]) {
        return Some(ArchiveKind::TarGzip);
    }
    (bytes.get(257..262) == Some(b"ustar")).then_some(ArchiveKind::Tar)
}

fn damaged(what: &str) -> Error {
    let message = format!("{what}; members without a row of their own are lost");
    Error::new(Code::ArchiveDamaged, message)
}

/// Names inside one archive; a name that is there twice is told apart by a number.
#[derive(Default)]
struct MemberNames(BTreeSet<String>);

impl MemberNames {
    fn take(&mut self, raw: &[u8]) -> String {
        let text = std::str::from_utf8(raw).map(|text| text.replace('\\', "/"));
        let text = text.unwrap_or_else(|_| raw.escape_ascii().to_string());
        let parts = text.split('/').filter(|part| !part.is_empty() && *part != ".");
        let plain = parts.map(super::file_location::plain_part).collect::<Vec<_>>().join("/");
        let mut name = plain.clone();
        for number in 2.. {
            if self.0.insert(name.clone()) {
                break;
            }
            name = format!("{plain} ({number})");
        }
        name
    }
}

/// Whether a member of this size, from this many packed bytes, is in proportion.
const fn in_proportion(size: u64, stored: u64) -> bool {
    size <= ALWAYS_BYTES || size / MAX_GROWTH <= stored
}

const TOO_LARGE: &str = "it would grow to more than 1 GiB and 200 times its packed size";

/// Lists the members of a zip archive, in the order of its directory, and says what is missing.
///
/// # Errors
/// When there is no directory, or members share bytes.
pub(super) fn list_zip(path: &Path) -> Result<(Vec<ListedMember>, Option<Error>), Error> {
    let file = File::open(path).map_err(|e| super::file_location::unreadable(&e))?;
    let none = |_| damaged("the directory of the zip archive is missing or damaged");
    let mut archive = ZipArchive::new(BufReader::new(file)).map_err(none)?;
    if archive.has_overlapping_entries().map_err(none)? {
        return Err(damaged("members of the zip archive share bytes"));
    }
    if archive.len() > MAX_MEMBERS {
        return Err(damaged("the zip archive has more than two million members"));
    }
    let mut names = MemberNames::default();
    let mut list = Vec::new();
    let repeated = "two members of the zip archive have one name, of which only the last is listed";
    let mut missing = archive.has_duplicate_names().then(|| damaged(repeated));
    for index in 0..archive.len() {
        let Ok(entry) = archive.by_index_raw(index) else {
            missing = Some(damaged("the head of a member of the zip archive is damaged"));
            continue;
        };
        if entry.is_dir() {
            continue;
        }
        let (size, stored) = (entry.size(), entry.compressed_size());
        let packing = match entry.compression() {
            CompressionMethod::Stored => Some(Packing::Stored),
            CompressionMethod::Deflated => Some(Packing::Deflated),
            _ => None,
        };
        let refused = if entry.encrypted() {
            Some("it is encrypted")
        } else if packing.is_none() {
            Some("it is packed by a method other than deflate")
        } else if !in_proportion(size, stored) {
            Some(TOO_LARGE)
        } else {
            None
        };
        let name = names.take(entry.name_raw());
        let checksum = Some(entry.crc32());
        let packing = packing.unwrap_or(Packing::Stored);
        let at = entry.data_start().unwrap_or(0);
        list.push(ListedMember {
            member: Member { name, at, stored, size, packing, checksum },
            refused,
        });
    }
    Ok((list, missing))
}

/// Goes through a tar archive in the order of the file. `meet` is given each member and its bytes
/// as far as they are wanted.
///
/// # Errors
/// When the archive ends early or is damaged; `meet` has seen what comes before.
pub(super) fn walk_tar(
    path: &Path,
    kind: ArchiveKind,
    meet: &mut dyn FnMut(ListedMember, &mut dyn Read),
) -> Result<(), Error> {
    let unreadable = |e: std::io::Error| super::file_location::unreadable(&e);
    let file = File::open(path).map_err(unreadable)?;
    let stored = file.metadata().map_err(unreadable)?.len();
    let (stream, packing): (Box<dyn Read>, _) = if kind == ArchiveKind::TarGzip {
        let most = stored.saturating_mul(MAX_GROWTH).max(ALWAYS_BYTES);
        let marks = Marks::default();
        (Box::new(Inflated::marking(file, &marks).take(most)), Packing::Gzip(marks))
    } else {
        (Box::new(BufReader::new(file)), Packing::Stored)
    };
    let ends = |_| damaged("the tar archive ends early, is damaged or grows to 200 times its size");
    let mut archive = tar::Archive::new(stream);
    let mut names = MemberNames::default();
    for entry in archive.entries().map_err(ends)? {
        let mut entry = entry.map_err(ends)?;
        let class = entry.header().entry_type();
        if !(class.is_file() || class.is_contiguous() || class.is_gnu_sparse()) {
            continue;
        }
        if names.0.len() >= MAX_MEMBERS {
            return Err(damaged("the tar archive has more than two million members"));
        }
        let refused = class.is_gnu_sparse().then_some("it is stored with gaps (GNU sparse)");
        let name = names.take(&entry.path_bytes());
        let (at, size) = (entry.raw_file_position(), entry.size());
        let packing = packing.clone();
        let member = Member { name, at, stored: size, size, packing, checksum: None };
        meet(ListedMember { member, refused }, &mut entry);
    }
    Ok(())
}

/// Whether a gzip file holds a tar archive: looks at what its first bytes inflate to.
pub(super) fn gzip_holds_tar(path: &Path) -> bool {
    let mut first = [0; 512];
    File::open(path)
        .and_then(|file| MultiGzDecoder::new(BufReader::new(file)).read_exact(&mut first))
        .is_ok_and(|()| kind(&first) == Some(ArchiveKind::Tar))
}
