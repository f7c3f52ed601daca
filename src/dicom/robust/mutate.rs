//! Ways to harm a file that know where elements begin, from a seed, so that a failure can be seen
//! again. Tests only.

/// A stream of numbers from a seed: `SplitMix64` (Steele, Lea and Flood 2014).
pub(super) struct Chance(u64);

impl Chance {
    pub(super) const fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number below `n`, which is not 0.
    pub(super) fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % n.max(1) as u64).unwrap()
    }

    fn one_of<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }
}

const LENGTHS: [u32; 12] = [
    0,
    1,
    2,
    7,
    0xFF,
    0xFFFE,
    0xFFFF,
    0x1_0000,
    0x7FFF_FFFF,
    0x8000_0000,
    0xFFFF_FFFE,
    0xFFFF_FFFF,
];
const REPRESENTATIONS: [&[u8; 2]; 16] = [
    b"SQ", b"UN", b"DS", b"IS", b"US", b"OB", b"OW", b"UT", b"UI", b"AT", b"FD", b"LO", b"OV",
    b"UV", b"PN", b"ZZ",
];
const TEXTS: [&[u8]; 20] = [
    b"nan",
    b"inf",
    b"1e999",
    b"-1e-999",
    b"1,5",
    b"\\\\",
    b"+-1",
    b"0x10",
    b"1.5D3",
    b"\x1b$B",
    b"\xff\xfe",
    b"\0\0",
    b"99999999999999999999",
    b"-1",
    b"0",
    b"CLOSED_PLANAR",
    b"RELATIVE",
    b"BEAM",
    b"1.0",
    b"18990101",
];
/// Item, end of item, end of sequence; trailing padding; pixel data; all little endian.
const TAGS: [[u8; 4]; 6] = [
    [0xFE, 0xFF, 0x00, 0xE0],
    [0xFE, 0xFF, 0x0D, 0xE0],
    [0xFE, 0xFF, 0xDD, 0xE0],
    [0xFC, 0xFF, 0xFC, 0xFF],
    [0xE0, 0x7F, 0x10, 0x00],
    [0x02, 0x00, 0x10, 0x00],
];

/// Where elements seem to begin: two capitals behind a tag, or the tag of an item.
fn heads(bytes: &[u8]) -> Vec<usize> {
    let windows = bytes.windows(8).enumerate();
    let found = windows.filter(|(_, w)| {
        w[4..6].iter().all(u8::is_ascii_uppercase) && !w[0].is_ascii_uppercase()
            || w[..2] == [0xFE, 0xFF]
            || w[..2] == [0xFF, 0xFE]
    });
    found.map(|(at, _)| at).collect()
}

/// The bytes with one to four changes; some come from another file.
pub(super) fn mutated(bytes: &[u8], other: &[u8], chance: &mut Chance) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    for _ in 0..=chance.below(4) {
        change(&mut bytes, other, chance);
        bytes.truncate(1 << 16);
    }
    bytes
}

fn change(bytes: &mut Vec<u8>, other: &[u8], chance: &mut Chance) {
    if bytes.len() < 16 {
        bytes.extend([0; 16]);
    }
    let heads = heads(bytes);
    let anywhere = chance.below(bytes.len() - 12);
    let head = if heads.is_empty() { anywhere } else { *chance.one_of(&heads) };
    let head = head.min(bytes.len() - 12);
    match chance.below(12) {
        0 => bytes[anywhere] ^= 1 << chance.below(8),
        1 => bytes[anywhere] = *chance.one_of(&[0, 1, 0x7F, 0x80, 0xFF, b' ', b'\\']),
        2 => {
            let length = chance.one_of(&LENGTHS).to_le_bytes();
            let at = head + *chance.one_of(&[4, 6, 8]);
            bytes[at..at + 4].copy_from_slice(&length);
        }
        3 => bytes[head + 4..head + 6].copy_from_slice(*chance.one_of(&REPRESENTATIONS)),
        4 => {
            let end = heads.iter().copied().find(|at| *at > head).unwrap_or(head + 8);
            bytes.drain(head..end.min(bytes.len()));
        }
        5 => {
            let end = heads.iter().copied().find(|at| *at > head).unwrap_or(head + 8);
            let copy = bytes[head..end.min(bytes.len())].to_vec();
            bytes.splice(head..head, copy);
        }
        6 if other.len() > 16 => {
            let from = chance.below(other.len() - 8);
            let size = chance.below((other.len() - from).min(200));
            bytes.splice(head..head, other[from..from + size].iter().copied());
        }
        7 => bytes.truncate(anywhere.max(8)),
        8 => {
            let text = *chance.one_of(&TEXTS);
            let at = (head + 8).min(bytes.len());
            let end = (at + text.len()).min(bytes.len());
            bytes.splice(at..end, text.iter().copied());
        }
        9 => {
            let tag = *chance.one_of(&TAGS);
            let length = chance.one_of(&LENGTHS).to_le_bytes();
            bytes.splice(head..head, tag.into_iter().chain(length));
        }
        10 => {
            let count = chance.below(40);
            let byte = bytes[anywhere];
            bytes.splice(anywhere..anywhere, std::iter::repeat_n(byte, count));
        }
        _ => {
            let tag = *chance.one_of(&TAGS);
            bytes[head..head + 4].copy_from_slice(&tag);
        }
    }
}
