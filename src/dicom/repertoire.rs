//! The character repertoires that Specific Character Set (0008,0005) can name (PS3.3 tables C.12-2
//! to C.12-5): their defined terms, the escape sequences that bring them in (PS3.5 section 6.1.2.5),
//! and the character that stands for one byte or two. Knows nothing of whole texts.
//!
//! The tables are those of the crate `encoding`, except where they are made for web pages and say
//! otherwise than the national standards that DICOM names; each exception stands below with its
//! code. `tests/texts/` holds every character against pydicom.

use encoding::DecoderTrap;
use std::sync::OnceLock;

use encoding::all::{
    EUC_JP, GBK, ISO_8859_2, ISO_8859_3, ISO_8859_4, ISO_8859_5, ISO_8859_6, ISO_8859_7,
    ISO_8859_8, ISO_8859_15, WINDOWS_31J, WINDOWS_874, WINDOWS_949, WINDOWS_1254,
};
use encoding::types::EncodingRef;

/// A graphic character set, with one byte a character or two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Repertoire {
    /// ISO 646: ISO-IR 6.
    #[default]
    Ascii,
    /// JIS X 0201, Latin half: ISO-IR 14. Its yen sign and overline stay backslash and tilde, as in
    /// Shift JIS: the first separates values, the second is what the key types.
    Romaji,
    /// JIS X 0201, Kana half: ISO-IR 13.
    Katakana,
    /// Latin alphabet 1: ISO-IR 100.
    Latin1,
    /// Latin alphabet 2: ISO-IR 101.
    Latin2,
    /// Latin alphabet 3: ISO-IR 109.
    Latin3,
    /// Latin alphabet 4: ISO-IR 110.
    Latin4,
    /// Latin alphabet 5, Turkish: ISO-IR 148.
    Latin5,
    /// Latin alphabet 9: ISO-IR 203.
    Latin9,
    /// Cyrillic: ISO-IR 144.
    Cyrillic,
    /// Arabic: ISO-IR 127.
    Arabic,
    /// Greek: ISO-IR 126.
    Greek,
    /// Hebrew: ISO-IR 138.
    Hebrew,
    /// TIS 620: ISO-IR 166.
    Thai,
    /// JIS X 0208: ISO-IR 87.
    Kanji,
    /// JIS X 0212: ISO-IR 159.
    KanjiSupplement,
    /// KS X 1001: ISO-IR 149.
    Hangul,
    /// GB 2312: ISO-IR 58.
    Hanzi,
}

use Repertoire::{
    Arabic, Ascii, Cyrillic, Greek, Hangul, Hanzi, Hebrew, Kanji, KanjiSupplement, Katakana,
    Latin1, Latin2, Latin3, Latin4, Latin5, Latin9, Romaji, Thai,
};

/// Registration numbers (`ISO_IR n`, `ISO 2022 IR n`).
const NUMBERS: &[(&str, Repertoire)] = &[
    ("6", Ascii),
    ("13", Katakana),
    ("14", Romaji),
    ("58", Hanzi),
    ("87", Kanji),
    ("100", Latin1),
    ("101", Latin2),
    ("109", Latin3),
    ("110", Latin4),
    ("126", Greek),
    ("127", Arabic),
    ("138", Hebrew),
    ("144", Cyrillic),
    ("148", Latin5),
    ("149", Hangul),
    ("159", KanjiSupplement),
    ("166", Thai),
    ("203", Latin9),
];

/// Escape sequences without the escape character itself.
const ESCAPES: &[(&[u8], Repertoire)] = &[
    (b"(B", Ascii),
    (b"(J", Romaji),
    (b")I", Katakana),
    (b"-A", Latin1),
    (b"-B", Latin2),
    (b"-C", Latin3),
    (b"-D", Latin4),
    (b"-F", Greek),
    (b"-G", Arabic),
    (b"-H", Hebrew),
    (b"-L", Cyrillic),
    (b"-M", Latin5),
    (b"-T", Thai),
    (b"-b", Latin9),
    (b"$B", Kanji),
    (b"$(D", KanjiSupplement),
    (b"$)C", Hangul),
    (b"$)A", Hanzi),
];

/// A character as it stands in the bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Character {
    pub(super) value: char,
    /// How many bytes it takes.
    pub(super) length: usize,
    /// Whether the repertoire has it. Systems write more than they declare: Shift JIS for JIS X 0201,
    /// Windows 949 for KS X 1001, GBK for GB 2312, the rows of vendors for JIS X 0208.
    pub(super) regular: bool,
}

impl Repertoire {
    /// By its registration number.
    pub(super) fn numbered(number: &str) -> Option<Self> {
        NUMBERS.iter().find(|(n, _)| *n == number).map(|(_, set)| *set)
    }

    /// By the escape sequence at the start of `bytes`, with its length; the escape character itself
    /// is not among them.
    pub(super) fn invoked(bytes: &[u8]) -> Option<(Self, usize)> {
        let found = ESCAPES.iter().find(|(sequence, _)| bytes.starts_with(sequence));
        found.map(|(sequence, set)| (*set, sequence.len()))
    }

    /// Whether its bytes are below 0x80 (G0), else above (G1).
    pub(super) const fn is_low(self) -> bool {
        matches!(self, Ascii | Romaji | Kanji | KanjiSupplement)
    }

    /// Whether it holds Latin letters with marks: words mix them with those of ISO 646.
    pub(super) const fn is_latin(self) -> bool {
        matches!(self, Latin1 | Latin2 | Latin3 | Latin4 | Latin5 | Latin9)
    }

    /// Whether a character takes one byte.
    pub(super) const fn is_single_byte(self) -> bool {
        !matches!(self, Kanji | KanjiSupplement | Hangul | Hanzi)
    }

    /// The character at the start of `bytes`; nothing where there is none by any reading.
    pub(super) fn character(self, bytes: &[u8]) -> Option<Character> {
        let (&first, second) = (bytes.first()?, bytes.get(1).copied());
        // Control characters, the blank and DEL are the same in every set (PS3.5 6.1.1, 6.1.3).
        if first <= b' ' || first == 0x7F {
            return Some(Character { value: char::from(first), length: 1, regular: true });
        }
        match self {
            Kanji | KanjiSupplement => self.pair(first, second?),
            Ascii | Romaji => first.is_ascii().then(|| Character {
                value: char::from(first),
                length: 1,
                regular: true,
            }),
            _ if first.is_ascii() => None,
            Hangul | Hanzi => self.pair(first, second?),
            Katakana => katakana(first).or_else(|| shift_jis(first, second?)),
            _ => self.single(first),
        }
    }

    /// One byte above 0x7F.
    fn single(self, byte: u8) -> Option<Character> {
        let value = (*self.upper_half().get(usize::from(byte & 0x7F))?)?;
        Some(Character { value, length: 1, regular: true })
    }

    /// The characters of 0x80 to 0xFF of a set of one byte: looked up once, since a text may be long.
    pub(super) fn upper_half(self) -> &'static [Option<char>] {
        static HALVES: [OnceLock<Vec<Option<char>>>; NUMBERS.len()] =
            [const { OnceLock::new() }; NUMBERS.len()];
        let all = || (0x80..=0xFF).map(|byte| self.looked_up(byte)).collect();
        HALVES.get(self as usize).map_or(&[], |half| half.get_or_init(all))
    }

    fn looked_up(self, byte: u8) -> Option<char> {
        let table: EncodingRef = match self {
            Latin2 => ISO_8859_2,
            Latin3 => ISO_8859_3,
            Latin4 => ISO_8859_4,
            Latin5 => WINDOWS_1254,
            Latin9 => ISO_8859_15,
            Cyrillic => ISO_8859_5,
            Arabic => ISO_8859_6,
            Greek => ISO_8859_7,
            Hebrew => ISO_8859_8,
            Thai => WINDOWS_874,
            _ => return Some(char::from(byte)),
        };
        match (self, byte) {
            // The second control set; Windows has quotes and dashes there.
            (_, 0x80..=0x9F) => Some(char::from(byte)),
            // TIS 620 begins at 0xA1.
            (Thai, 0xA0) => None,
            _ => decoded(table, &[byte]),
        }
    }

    /// Two bytes, of either half.
    fn pair(self, first: u8, second: u8) -> Option<Character> {
        let high = [first | 0x80, second | 0x80];
        let value = match (self, high) {
            // JIS X 0208, where Windows has full-width forms instead.
            (Kanji, [0xA1, 0xC1]) => '\u{301C}',
            (Kanji, [0xA1, 0xC2]) => '\u{2016}',
            (Kanji, [0xA1, 0xDD]) => '\u{2212}',
            (Kanji, [0xA1, 0xF1]) => '\u{00A2}',
            (Kanji, [0xA1, 0xF2]) => '\u{00A3}',
            (Kanji, [0xA2, 0xCC]) => '\u{00AC}',
            // JIS X 0212: a tilde of ordinary width.
            (KanjiSupplement, [0xA2, 0xB7]) => '~',
            // GB 2312, where GBK has the middle dot and the em dash.
            (Hanzi, [0xA1, 0xA4]) => '\u{30FB}',
            (Hanzi, [0xA1, 0xAA]) => '\u{2015}',
            (Kanji, _) if second.is_ascii() => decoded(EUC_JP, &high)?,
            (KanjiSupplement, _) if second.is_ascii() => {
                decoded(EUC_JP, &[0x8F, high[0], high[1]])?
            }
            (Hangul, _) => decoded(WINDOWS_949, &[first, second])?,
            (Hanzi, _) => decoded(GBK, &[first, second])?,
            _ => return None,
        };
        let regular = !self.is_of_vendors(high, value) && in_one_half(first, second);
        Some(Character { value, length: 2, regular })
    }

    /// What vendors and GBK put where JIS X 0208 and GB 2312 have nothing; of KS X 1001 the filler,
    /// which is no character but begins a syllable spelt in eight bytes.
    const fn is_of_vendors(self, high: [u8; 2], value: char) -> bool {
        match self {
            Kanji => matches!(high, [0xA9..=0xAF | 0xF5.., _]),
            Hangul => matches!(high, [0xA4, 0xD4]),
            Hanzi => matches!(
                (high, value),
                ([0xAA..=0xAF | 0xF8.., _], _)
                    | ([0xA2, 0xA1..=0xAA | 0xE3] | [0xA6, 0xE0..=0xF5] | [0xA8, 0xBB..=0xC0], _)
                    | (_, '\u{E000}'..='\u{F8FF}')
            ),
            _ => false,
        }
    }
}

/// Whether both bytes are graphic characters of one half of the code table.
const fn in_one_half(first: u8, second: u8) -> bool {
    matches!((first, second), (0x21..=0x7E, 0x21..=0x7E) | (0xA1..=0xFE, 0xA1..=0xFE))
}

fn katakana(byte: u8) -> Option<Character> {
    let offset = u32::from(byte.checked_sub(0xA1)?);
    let value = char::from_u32(0xFF61 + offset).filter(|c| *c <= '\u{FF9F}')?;
    Some(Character { value, length: 1, regular: true })
}

/// What systems write that declare JIS X 0201 and mean Shift JIS.
fn shift_jis(first: u8, second: u8) -> Option<Character> {
    let value = decoded(WINDOWS_31J, &[first, second])?;
    Some(Character { value, length: 2, regular: false })
}

/// The one character that the bytes are; nothing where the table has none.
fn decoded(table: EncodingRef, bytes: &[u8]) -> Option<char> {
    let text = table.decode(bytes, DecoderTrap::Strict).ok()?;
    let mut characters = text.chars();
    characters.next().filter(|_| characters.next().is_none())
}
