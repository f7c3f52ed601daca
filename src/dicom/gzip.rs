//! A gzip file (RFC 1952) that can be entered in the middle: while it is read from its start, marks
//! are set from which the inflation can go on later, so that an object in a large archive costs what
//! lies between it and the mark before it, not all that comes first. Must not know what the bytes
//! mean.

use std::fmt;
use std::fs::File;
use std::io::{self, BufRead, BufReader, ErrorKind, Read, Seek, SeekFrom};
use std::sync::{Arc, Mutex, PoisonError};

use flate2::Crc;
use miniz_oxide::inflate::stream::{InflateState, inflate};
use miniz_oxide::{DataFormat, MZError, MZFlush, MZStatus};

/// Marks lie at least this far apart, in inflated bytes ...
const SPACING: u64 = 4 << 20;
/// ... and further in files that would have more of them. Each weighs 43 KB.
const MOST_MARKS: usize = 128;
/// Most bytes of the head of a member: its extra field, name and comment.
const MOST_HEAD: u64 = 1 << 18;

/// Where the inflation of one file can go on; shared by all who read from it.
#[derive(Clone)]
pub(super) struct Marks(Arc<Mutex<List>>);

struct List {
    spacing: u64,
    /// By position.
    marks: Vec<Mark>,
}

/// The inflation as it stood somewhere within a member.
#[derive(Clone)]
struct Mark {
    /// Bytes of the file that were used up.
    used: u64,
    /// Bytes it had inflated to.
    position: u64,
    state: Box<InflateState>,
}

impl Default for Marks {
    fn default() -> Self {
        Self::every(SPACING)
    }
}

impl fmt::Debug for Marks {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Marks({})", self.list(|list| list.marks.len()))
    }
}

/// Those of one reading of one file.
impl PartialEq for Marks {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

impl Eq for Marks {}

impl Marks {
    fn every(spacing: u64) -> Self {
        Self(Arc::new(Mutex::new(List { spacing, marks: Vec::new() })))
    }

    fn list<T>(&self, work: impl FnOnce(&mut List) -> T) -> T {
        work(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn last_before(&self, position: u64) -> Option<Mark> {
        self.list(|list| {
            let after = list.marks.partition_point(|m| m.position <= position);
            list.marks.get(after.checked_sub(1)?).cloned()
        })
    }

    /// Position from which the next mark is wanted.
    fn next(&self) -> u64 {
        self.list(|list| list.marks.last().map_or(0, |m| m.position) + list.spacing)
    }

    fn add(&self, mark: Mark) {
        self.list(|list| {
            list.marks.push(mark);
            if list.marks.len() > MOST_MARKS {
                list.spacing *= 2;
                let mut index = 0;
                list.marks.retain(|_| {
                    index += 1;
                    index % 2 == 0
                });
            }
        });
    }
}

/// The inflated bytes of a gzip file, of all its members one after the other.
pub(super) struct Inflated {
    file: BufReader<File>,
    used: u64,
    position: u64,
    state: Box<InflateState>,
    /// Whether a member is open.
    inside: bool,
    /// Checksum and size of the open member so far; absent when it was entered in the middle.
    crc: Option<Crc>,
    /// Where marks are set, and from which position on.
    marking: Option<(Marks, u64)>,
}

impl Inflated {
    /// From the start, setting marks.
    pub(super) fn marking(file: File, marks: &Marks) -> Self {
        Self { marking: Some((marks.clone(), marks.next())), ..Self::start(file) }
    }

    fn start(file: File) -> Self {
        let (file, state) = (BufReader::new(file), InflateState::new_boxed(DataFormat::Raw));
        Self { file, used: 0, position: 0, state, inside: false, crc: None, marking: None }
    }

    /// From a position of the inflated bytes on, entered at the last mark before it.
    ///
    /// # Errors
    /// What the system says, or that the file is damaged.
    pub(super) fn from(mut file: File, marks: &Marks, position: u64) -> io::Result<Self> {
        let mut inflated = match marks.last_before(position) {
            None => Self::start(file),
            Some(Mark { used, position, state }) => {
                file.seek(SeekFrom::Start(used))?;
                Self { used, position, state, inside: true, ..Self::start(file) }
            }
        };
        let before = position - inflated.position;
        io::copy(&mut (&mut inflated).take(before), &mut io::sink())?;
        Ok(inflated)
    }

    fn byte(&mut self) -> io::Result<u8> {
        let mut byte = [0];
        self.file.read_exact(&mut byte)?;
        self.used += 1;
        Ok(byte[0])
    }

    fn bytes<const N: usize>(&mut self) -> io::Result<[u8; N]> {
        let mut bytes = [0; N];
        self.file.read_exact(&mut bytes)?;
        self.used += N as u64;
        Ok(bytes)
    }

    /// Reads the head of a member (RFC 1952 2.3); false where the file ends instead.
    fn head(&mut self) -> io::Result<bool> {
        if self.file.fill_buf()?.is_empty() {
            return Ok(false);
        }
        let begin = self.used;
        let head: [u8; 10] = self.bytes()?;
        if !head.starts_with(&[0x1F, 0x8B, 8]) {
            return Err(damaged("no gzip member begins here"));
        }
        let has = |bit: u8| head[3] >> bit & 1 == 1;
        if has(2) {
            for _ in 0..u16::from_le_bytes(self.bytes()?) {
                self.byte()?;
            }
        }
        for bit in [3, 4] {
            while has(bit) && self.byte()? != 0 {
                if self.used - begin > MOST_HEAD {
                    return Err(damaged("the head of a gzip member does not end"));
                }
            }
        }
        if has(1) {
            self.bytes::<2>()?;
        }
        Ok(true)
    }

    /// Holds the open member against the checksum and the size that follow it.
    fn close(&mut self) -> io::Result<()> {
        let [crc, size] = [self.bytes()?, self.bytes()?].map(u32::from_le_bytes);
        self.inside = false;
        match self.crc.take() {
            Some(own) if (own.sum(), own.amount()) != (crc, size) => {
                Err(damaged("a gzip member has another checksum or size than it states"))
            }
            _ => Ok(()),
        }
    }

    fn mark(&mut self) {
        let Some((marks, from)) = &mut self.marking else { return };
        if self.position >= *from {
            let state = self.state.clone();
            marks.add(Mark { used: self.used, position: self.position, state });
            *from = marks.next();
        }
    }
}

impl Read for Inflated {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        while !out.is_empty() {
            if !self.inside {
                if !self.head()? {
                    break;
                }
                self.state = InflateState::new_boxed(DataFormat::Raw);
                (self.inside, self.crc) = (true, Some(Crc::new()));
            }
            self.mark();
            let packed = self.file.fill_buf()?;
            let is_end = packed.is_empty();
            let result = inflate(&mut self.state, packed, out, MZFlush::None);
            let (used, written) = (result.bytes_consumed, result.bytes_written);
            self.file.consume(used);
            self.used += used as u64;
            self.position += written as u64;
            if let (Some(crc), Some(bytes)) = (&mut self.crc, out.get(..written)) {
                crc.update(bytes);
            }
            match result.status {
                Ok(MZStatus::StreamEnd) => self.close()?,
                Ok(_) | Err(MZError::Buf) if used > 0 || written > 0 => {}
                Ok(_) | Err(MZError::Buf) if is_end => return Err(ErrorKind::UnexpectedEof.into()),
                _ => return Err(damaged("a gzip member does not inflate")),
            }
            if written > 0 {
                return Ok(written);
            }
        }
        Ok(0)
    }
}

fn damaged(what: &str) -> io::Error {
    io::Error::new(ErrorKind::InvalidData, what)
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use flate2::read::MultiGzDecoder;
    use flate2::{Compression, GzBuilder};

    use super::*;

    /// Bytes that pack, but not to nothing.
    fn plain(length: u32) -> Vec<u8> {
        let mut seed = 1_u32;
        let mut next = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 24) as u8 & 0x3F
        };
        (0..length).map(|_| next()).collect()
    }

    /// Three members, the heads with everything that one may have.
    fn packed(plain: &[u8]) -> File {
        let mut file = tempfile::tempfile().unwrap();
        for part in plain.chunks(plain.len() / 3 + 1) {
            let head = GzBuilder::new().extra("extra").filename("name").comment("comment");
            let mut encoder = head.write(&mut file, Compression::default());
            encoder.write_all(part).unwrap();
            encoder.finish().unwrap();
        }
        file.rewind().unwrap();
        file
    }

    #[test]
    fn bytes_are_those_of_another_reader() {
        let plain = plain(300_000);
        let mut whole = Vec::new();
        let marks = Marks::every(10_000);
        Inflated::marking(packed(&plain), &marks).read_to_end(&mut whole).unwrap();
        assert!(whole == plain);
        let mut other = Vec::new();
        MultiGzDecoder::new(packed(&plain)).read_to_end(&mut other).unwrap();
        assert!(other == whole);
        assert!(format!("{marks:?}") != "Marks(0)");
    }

    #[test]
    fn the_middle_is_read_from_the_mark_before_it() {
        let plain = plain(400_000);
        let marks = Marks::every(1000);
        let mut reader = Inflated::marking(packed(&plain), &marks);
        let mut part = [0; 500];
        while reader.read(&mut part).unwrap() > 0 {}
        // More marks were wanted than may be; every second one went, twice or more.
        let (count, spacing) = marks.list(|list| (list.marks.len(), list.spacing));
        assert!(
            count > MOST_MARKS / 4 && count <= MOST_MARKS && spacing >= 4000,
            "{count} {spacing}"
        );
        for position in (0..400_000_u64).step_by(7919) {
            let mut reader = Inflated::from(packed(&plain), &marks, position).unwrap();
            let mut part = vec![0; 500];
            reader.read_exact(&mut part).unwrap();
            let at = usize::try_from(position).unwrap();
            assert!(part == plain[at..at + 500], "{position}");
            // What was inflated for it: marks are set between two reads.
            let mark = marks.last_before(position).map_or(0, |m| m.position);
            assert!(position - mark < 2 * spacing + 500, "{position} from {mark}");
        }
        let mut rest = Vec::new();
        Inflated::from(packed(&plain), &marks, 399_990).unwrap().read_to_end(&mut rest).unwrap();
        assert!(rest == plain[399_990..]);
    }

    #[test]
    fn damage_is_an_error() {
        let plain = plain(100_000);
        let mut bytes = Vec::new();
        packed(&plain).read_to_end(&mut bytes).unwrap();
        let read = |bytes: &[u8]| {
            let mut file = tempfile::tempfile().unwrap();
            file.write_all(bytes).unwrap();
            file.rewind().unwrap();
            let mut out = Vec::new();
            Inflated::start(file).read_to_end(&mut out).map(|_| out)
        };
        assert!(read(&bytes).unwrap() == plain);
        for cut in [3, 12, bytes.len() / 2, bytes.len() - 5] {
            assert_eq!(read(&bytes[..cut]).unwrap_err().kind(), ErrorKind::UnexpectedEof, "{cut}");
        }
        let mut other = bytes.clone();
        let end = other.len();
        other[end - 6] ^= 1; // the checksum of the last member
        assert_eq!(read(&other).unwrap_err().kind(), ErrorKind::InvalidData);
        assert_eq!(
            read(&[&bytes[..], b"tail of text"].concat()).unwrap_err().kind(),
            ErrorKind::InvalidData
        );
    }
}
