//! Where the bytes of a file are: in a file of their own, or in a member of a zip or tar archive,
//! which is read in place and never written anywhere. Bounded: a member grows to the size that was
//! checked when the archive was listed, and no further. Must not know what the bytes mean.

use std::borrow::Cow;
use std::fmt;
use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use flate2::Crc;
use flate2::read::DeflateDecoder;

use super::error::Error;
use super::gzip::{Inflated, Marks};
use tidydose_rt::finding::Code;

/// Largest file that is read whole; a dose grid of this size has 500 million voxels.
pub(super) const MAX_BYTES: u64 = 2 << 30;

/// Where the bytes of one file of the archive are. An identifier: for the terminal and the key
/// folder only.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileLocation {
    path: PathBuf,
    member: Option<Box<Member>>,
}

/// A member of an archive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Member {
    /// Its name inside the archive, as shown.
    pub name: String,
    /// Where its bytes begin: in the file, or for [`Packing::Gzip`] in what the file inflates to.
    pub at: u64,
    /// Bytes it takes in the file.
    pub stored: u64,
    /// Bytes it has.
    pub size: u64,
    /// How it is packed.
    pub packing: Packing,
    /// CRC-32 of its bytes, where the archive states it.
    pub checksum: Option<u32>,
}

/// How a member is packed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Packing {
    /// Byte for byte.
    Stored,
    /// As a raw deflate stream of its own (RFC 1951).
    Deflated,
    /// Within the gzip stream over the whole archive (RFC 1952), with the marks that were set when
    /// the archive was listed.
    Gzip(Marks),
}

impl FileLocation {
    /// A file of its own.
    #[must_use]
    pub fn file(path: impl Into<PathBuf>) -> Self {
        Self { path: path.into(), member: None }
    }

    /// A member of the archive at `path`.
    pub(super) fn member(path: &Path, member: Member) -> Self {
        Self { path: path.to_path_buf(), member: Some(Box::new(member)) }
    }

    /// The file on disk that holds the bytes.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether the bytes are a member of an archive.
    #[must_use]
    pub const fn is_member(&self) -> bool {
        self.member.is_some()
    }

    /// The path as a person reads it: that of the archive, then the member's name.
    pub(super) fn shown(&self) -> PathBuf {
        match &self.member {
            None => self.path.clone(),
            Some(_) => PathBuf::from(self.to_string()),
        }
    }

    /// The bytes as a stream, and how many there should be.
    ///
    /// # Errors
    /// What the system says.
    pub(super) fn open(&self) -> io::Result<(Box<dyn Read>, u64)> {
        let mut file = File::open(&self.path)?;
        let Some(member) = &self.member else {
            let size = file.metadata()?.len();
            return Ok((Box::new(file), size));
        };
        let stream: Box<dyn Read> = match &member.packing {
            Packing::Gzip(marks) => {
                Box::new(Inflated::from(file, marks, member.at)?.take(member.size))
            }
            Packing::Stored => {
                file.seek(SeekFrom::Start(member.at))?;
                Box::new(file.take(member.size))
            }
            Packing::Deflated => {
                file.seek(SeekFrom::Start(member.at))?;
                let packed = BufReader::new(file.take(member.stored));
                Box::new(DeflateDecoder::new(packed).take(member.size))
            }
        };
        Ok((stream, member.size))
    }

    /// All bytes.
    ///
    /// # Errors
    /// When the system refuses, or there are none or more than [`MAX_BYTES`].
    pub(super) fn bytes(&self) -> Result<Vec<u8>, Error> {
        let (stream, size) = self.open().map_err(|e| unreadable(&e))?;
        within_limit(size)?;
        let mut bytes = Vec::new();
        // Memory is taken in advance for bytes that are on the disk, not for those promised.
        if self.member.is_none() {
            bytes.reserve_exact(usize::try_from(size).unwrap_or(0));
        }
        stream.take(MAX_BYTES).read_to_end(&mut bytes).map_err(|e| unreadable(&e))?;
        if bytes.is_empty() {
            return Err(Error::new(Code::FileEmpty, "the file has no bytes"));
        }
        self.check(&bytes)?;
        Ok(bytes)
    }

    /// Makes sure that these are all bytes of the member, unharmed; a file of its own says nothing
    /// to hold them against.
    ///
    /// # Errors
    /// `FileDamaged` when the archive states another size or checksum.
    pub(super) fn check(&self, bytes: &[u8]) -> Result<(), Error> {
        let Some(member) = &self.member else { return Ok(()) };
        let mut crc = Crc::new();
        crc.update(bytes);
        let whole = bytes.len() as u64 == member.size;
        if whole && member.checksum.is_none_or(|stated| stated == crc.sum()) {
            return Ok(());
        }
        let message = "the archive states another size or checksum for this member";
        Err(Error::new(Code::FileDamaged, message))
    }
}

impl fmt::Display for FileLocation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.member {
            None => write!(f, "{}", self.path.display()),
            Some(member) => write!(f, "{}/{}", self.path.display(), member.name),
        }
    }
}

/// A part of a name as it is, unless a token would trim its ends.
pub(super) fn plain_part(text: &str) -> Cow<'_, str> {
    if text.trim_matches([' ', '\0']).len() == text.len() {
        Cow::Borrowed(text)
    } else {
        Cow::Owned(format!("{text:?}"))
    }
}

/// The error for what the system refuses to read.
pub(super) fn unreadable(error: &io::Error) -> Error {
    Error::new(Code::FileUnreadable, format!("cannot be read: {}", error.kind()))
}

/// Refuses a file that is too large to be read whole.
pub(super) fn within_limit(size: u64) -> Result<(), Error> {
    if size <= MAX_BYTES {
        return Ok(());
    }
    let message = format!("{size} bytes; up to {MAX_BYTES} are accepted");
    Err(Error::new(Code::FileUnreadable, message))
}
