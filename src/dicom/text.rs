//! Bytes to text: Specific Character Set (0008,0005), PS3.3 C.12.1.1.2 and PS3.5 section 6.1, with
//! a fall-back where the bytes contradict the declaration. Knows nothing of attributes.
//!
//! | declared | read as |
//! |---|---|
//! | nothing, or a term that is not known | ISO 646; other bytes as UTF-8 where they are that, else as Latin-1, and said |
//! | `ISO_IR n`, `ISO 2022 IR n`, however spelt | the repertoire of that number, see `repertoire.rs` |
//! | `ISO_IR 192`, `GB18030`, `GBK` | the whole value; further values count for nothing |
//! | further values | what escape sequences may bring in; any other one is followed too, and said |
//!
//! What an escape sequence brought in goes at a control character, and at the separators of the
//! value representation (PS3.5 6.1.2.5.3): then the first value holds again.

use std::borrow::Cow;

use dicom_core::VR;
use encoding::DecoderTrap;
use encoding::all::{GB18030, GBK};
use encoding::types::EncodingRef;

use super::number::PADDING;
use super::repertoire::{Character, Repertoire};

/// The character set of a data set or item.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct CharacterSet {
    coding: Coding,
    /// What escape sequences may bring in.
    extensions: Vec<Repertoire>,
}

/// How bytes become characters before any escape sequence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Coding {
    /// Nothing is declared, or something that is not known.
    Undeclared,
    /// Sets that escape sequences can exchange (ISO 2022).
    Halves(Halves),
    /// UTF-8.
    Utf8,
    /// GB 18030.
    Gb18030,
    /// GBK.
    Gbk,
}

impl Default for Coding {
    fn default() -> Self {
        Self::Halves(Halves::default())
    }
}

/// The two halves of the code table: bytes below 0x80 and above.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Halves {
    low: Repertoire,
    high: Option<Repertoire>,
}

const ESCAPE: u8 = 0x1B;

impl CharacterSet {
    /// The default repertoire, nothing declared.
    pub(super) const fn undeclared() -> Self {
        Self { coding: Coding::Undeclared, extensions: Vec::new() }
    }

    /// By the value of Specific Character Set; an unknown first term counts as undeclared.
    pub(super) fn declared(value: &str) -> Self {
        let mut terms = value.split('\\').map(str::trim);
        let coding = Coding::of(terms.next().unwrap_or_default());
        let extensions = terms.filter_map(repertoire).chain(coding.high()).collect();
        Self { coding, extensions }
    }

    /// The text of a value, and whether the character set had to be guessed.
    pub(super) fn decode(&self, bytes: &[u8], vr: VR) -> (String, bool) {
        if self.is_extended(bytes) {
            return self.decode_extended(bytes, vr);
        }
        if bytes.is_ascii() {
            return (latin_1(bytes).into_owned(), false);
        }
        let unicode = std::str::from_utf8(bytes).ok();
        if let Some(text) = self.decode_declared(bytes, vr) {
            let healed = unicode.filter(|unicode| self.contradicts(&text, unicode));
            return (healed.map_or(text, str::to_owned), healed.is_some());
        }
        if let Some(text) = unicode {
            return (text.to_owned(), true);
        }
        // Pairs that came later than GBK: what GB 18030 says is the likeliest.
        if let Some(text) = strictly(GBK, bytes).filter(|_| self.coding == Coding::Gbk) {
            return (text, true);
        }
        let Coding::Halves(halves) = self.coding else {
            return (latin_1(bytes).into_owned(), true);
        };
        let read = halves.read(bytes, &self.extensions, vr);
        if read.lost { (latin_1(bytes).into_owned(), true) } else { (read.text, true) }
    }

    /// The text when every byte is what the declaration says; escape sequences are no matter here.
    fn decode_declared(&self, bytes: &[u8], vr: VR) -> Option<String> {
        match self.coding {
            Coding::Undeclared => None,
            Coding::Utf8 => std::str::from_utf8(bytes).ok().map(str::to_owned),
            Coding::Gb18030 => gb_18030(bytes),
            Coding::Gbk => strictly(GBK, bytes).filter(|_| is_gbk(bytes)),
            Coding::Halves(halves) => {
                let read = halves.read(bytes, &self.extensions, vr);
                read.regular.then_some(read.text)
            }
        }
    }

    /// Whether sets are exchanged in the value. Where one stands alone, an escape character without
    /// a sequence that is known is a character like others.
    fn is_extended(&self, bytes: &[u8]) -> bool {
        let alone = matches!(self.coding, Coding::Utf8 | Coding::Gb18030 | Coding::Gbk);
        let mut behind = bytes.split(|b| *b == ESCAPE).skip(1);
        behind.any(|sequence| !alone || Repertoire::invoked(sequence).is_some())
    }

    /// Code extensions: each escape sequence names the set of what follows.
    fn decode_extended(&self, bytes: &[u8], vr: VR) -> (String, bool) {
        let halves = match self.coding {
            Coding::Halves(halves) => halves,
            // A set that stands alone, or none: the sequences say what was meant.
            _ => Halves::default(),
        };
        let read = halves.read(bytes, &self.extensions, vr);
        (read.text, !read.regular)
    }

    /// Whether bytes that are UTF-8 are more likely that than what is declared: nearly always, since
    /// in another set they are odd pairs. They are what is declared where that makes words of its
    /// own letters alone and UTF-8 does not, as in Thai "รถ", which is "ö" in UTF-8. The two bytes
    /// of Chinese, Japanese and Korean sets are believed.
    fn contradicts(&self, text: &str, unicode: &str) -> bool {
        let Some(high) = self.coding.high() else { return false };
        if !high.is_single_byte() || high == Repertoire::Katakana {
            return false;
        }
        let own = |c: char| high.upper_half().contains(&Some(c));
        let letter = |c: &char| c.is_alphanumeric() || ('\u{E31}'..='\u{E4E}').contains(c);
        let mixed = |(a, b): (char, char)| a.is_ascii_alphabetic() != b.is_ascii_alphabetic();
        let foreign = |word: &str| {
            let pairs = word.chars().zip(word.chars().skip(1));
            pairs.filter(|(a, b)| letter(a) && letter(b)).any(mixed)
        };
        let of_letters = text.chars().filter(|c| !c.is_ascii()).all(|c| letter(&c));
        let also_in_unicode = unicode.chars().filter(|c| !c.is_ascii()).all(own);
        high.is_latin() || !of_letters || foreign(text) || also_in_unicode
    }
}

impl Coding {
    fn of(term: &str) -> Self {
        let upper = term.to_ascii_uppercase();
        let low_only = Halves::default();
        match (upper.as_str(), repertoire(&upper)) {
            ("GB18030", _) => Self::Gb18030,
            (gbk, _) if gbk.ends_with("GBK") => Self::Gbk,
            (unicode, _) if number_of(unicode).as_deref() == Some("192") => Self::Utf8,
            (_, None | Some(Repertoire::Ascii)) => Self::Undeclared,
            (_, Some(Repertoire::Katakana | Repertoire::Romaji)) => {
                Self::Halves(Halves { low: Repertoire::Romaji, high: Some(Repertoire::Katakana) })
            }
            // Their text begins in ISO 646.
            (_, Some(kanji)) if kanji.is_low() => Self::Halves(low_only),
            (_, Some(high)) => Self::Halves(Halves { high: Some(high), ..low_only }),
        }
    }

    fn high(self) -> Option<Repertoire> {
        match self {
            Self::Halves(halves) => halves.high,
            _ => None,
        }
    }
}

/// The repertoire that a defined term names.
fn repertoire(term: &str) -> Option<Repertoire> {
    if term.eq_ignore_ascii_case("GB2312") {
        return Some(Repertoire::Hanzi);
    }
    Repertoire::numbered(&number_of(term)?)
}

/// The registration number in `ISO_IR 100`, `ISO 2022 IR 100`, `iso ir 100` and the like.
fn number_of(term: &str) -> Option<String> {
    let upper = term.to_ascii_uppercase();
    let digits = upper.bytes().rev().take_while(u8::is_ascii_digit).count();
    let number = upper.get(upper.len() - digits..)?;
    let named = upper.starts_with("ISO") && !upper.contains("8859") && digits > 0;
    named.then(|| number.to_owned())
}

/// What became of the bytes of a value.
struct DecodedText {
    text: String,
    /// Whether every byte is a character of a declared set.
    regular: bool,
    /// Whether bytes that are no character at all were put in as Latin-1.
    lost: bool,
}

impl Halves {
    /// The text that begins in these sets.
    fn read(self, bytes: &[u8], extensions: &[Repertoire], vr: VR) -> DecodedText {
        let mut read = DecodedText { text: String::new(), regular: true, lost: false };
        let mut now = self;
        let mut at = 0;
        while let Some(rest) = bytes.get(at..).filter(|rest| !rest.is_empty()) {
            if let Some((_, sequence)) = rest.split_first().filter(|(b, _)| **b == ESCAPE) {
                let invoked = Repertoire::invoked(sequence);
                at += 1 + invoked.map_or(0, |(_, length)| length);
                let set = invoked.map(|(set, _)| set);
                read.regular &= set.is_some_and(|set| is_declared(set, extensions));
                now = set.map_or(now, |set| now.with(set));
                continue;
            }
            let found = now.character(rest);
            let one = found.unwrap_or(Character {
                value: rest.first().map_or(' ', |b| char::from(*b)),
                length: 1,
                regular: false,
            });
            read.lost |= found.is_none();
            read.regular &= one.regular;
            read.text.push(one.value);
            at += one.length;
            if one.length == 1 && ends_extension(one.value, vr) {
                now = self;
            }
        }
        read
    }

    const fn with(self, set: Repertoire) -> Self {
        if set.is_low() { Self { low: set, ..self } } else { Self { high: Some(set), ..self } }
    }

    fn character(self, bytes: &[u8]) -> Option<Character> {
        let high = bytes.first().is_some_and(|b| *b >= 0x80);
        if high { self.high?.character(bytes) } else { self.low.character(bytes) }
    }
}

/// Whether an escape sequence for this set may stand in a text with these further sets. The way back
/// to ISO 646, or to its Japanese form, needs none.
fn is_declared(set: Repertoire, extensions: &[Repertoire]) -> bool {
    let any = matches!(set, Repertoire::Ascii | Repertoire::Romaji);
    any || extensions.contains(&set)
}

/// Whether the sets of the first value hold again after this character (PS3.5 6.1.2.5.3).
fn ends_extension(c: char, vr: VR) -> bool {
    match c {
        '^' | '=' => vr == VR::PN,
        '\\' => !matches!(vr, VR::LT | VR::ST | VR::UT),
        c => c.is_ascii_control(),
    }
}

/// GB 18030 with the one character that web pages have otherwise (0xA3A0, a blank of full width).
fn gb_18030(bytes: &[u8]) -> Option<String> {
    let mut text = String::new();
    let mut at = 0;
    while let Some(rest) = bytes.get(at..).filter(|rest| !rest.is_empty()) {
        let length = match rest {
            [0x81..=0xFE, 0x30..=0x39, ..] => 4,
            [0x81..=0xFE, ..] => 2,
            _ => 1,
        };
        let one = rest.get(..length)?;
        text.push_str(&if one == [0xA3, 0xA0] {
            "\u{E5E5}".to_owned()
        } else {
            strictly(GB18030, one)?
        });
        at += length;
    }
    Some(text)
}

/// Whether every pair is one of GBK: the table has also the private ones, which mean something else
/// with every vendor, and characters that came with GB 18030 (the euro sign, U+01F9, row 0xA9 from
/// 0x89 on, rows from 0xFE50 on) or with web pages (0xA3A0).
fn is_gbk(bytes: &[u8]) -> bool {
    let mut at = 0;
    while let Some(rest) = bytes.get(at..).filter(|rest| !rest.is_empty()) {
        let later = matches!(rest, [0xA2, 0xE3, ..] | [0xA3, 0xA0, ..] | [0xA8, 0xBF, ..])
            || matches!(rest, [0xA9, 0x89..=0x95, ..])
            || matches!(rest, [0xFE, 0x50..=0xFF, ..]);
        let length = if matches!(rest, [0x81..=0xFE, ..]) { 2 } else { 1 };
        let one = rest.get(..length).and_then(|one| strictly(GBK, one)).unwrap_or_default();
        if later || one.chars().any(|c| ('\u{E000}'..='\u{F8FF}').contains(&c)) {
            return false;
        }
        at += length;
    }
    true
}

fn strictly(table: EncodingRef, bytes: &[u8]) -> Option<String> {
    table.decode(bytes, DecoderTrap::Strict).ok()
}

/// Every byte as the character of the same number: never fails.
pub(super) fn latin_1(bytes: &[u8]) -> Cow<'_, str> {
    match std::str::from_utf8(bytes) {
        Ok(text) if bytes.is_ascii() => Cow::Borrowed(text),
        _ => Cow::Owned(bytes.iter().map(|b| char::from(*b)).collect()),
    }
}

/// Without the padding at its ends, as [`super::attribute::Attributes`] takes it off.
pub(super) fn trimmed(text: Cow<'_, str>) -> Cow<'_, str> {
    match text {
        Cow::Borrowed(text) => Cow::Borrowed(text.trim_matches(PADDING)),
        Cow::Owned(text) => Cow::Owned(text.trim_matches(PADDING).to_owned()),
    }
}

#[cfg(test)]
mod tests;
