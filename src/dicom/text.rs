//! Bytes to text: Specific Character Set (0008,0005), PS3.3 C.12.1.1.2 and PS3.5 section 6.1, with
//! a fall-back where the bytes contradict the declaration. Knows nothing of attributes.

use std::borrow::Cow;

use dicom_encoding::text::{SpecificCharacterSet, TextCodec};

use super::number::PADDING;

/// The character set of a data set or item.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct CharacterSet {
    first: SpecificCharacterSet,
    /// Whether no set was declared, or one that is not known.
    undeclared: bool,
    /// Whether the value is UTF-8 by declaration.
    unicode: bool,
}

const ESCAPE: u8 = 0x1B;

impl CharacterSet {
    /// The default repertoire, nothing declared.
    pub(super) fn undeclared() -> Self {
        Self { undeclared: true, ..Self::default() }
    }

    /// By the value of Specific Character Set; an unknown term counts as undeclared.
    pub(super) fn declared(value: &str) -> Self {
        let first = value.split('\\').map(str::trim).find(|term| !term.is_empty());
        let Some(first) = first else { return Self::undeclared() };
        let term = normalised(first);
        SpecificCharacterSet::from_code(&term).map_or_else(Self::undeclared, |codec| Self {
            unicode: codec == SpecificCharacterSet::ISO_IR_192,
            undeclared: codec == SpecificCharacterSet::ISO_IR_6,
            first: codec,
        })
    }

    /// The text, and whether the character set had to be guessed.
    pub(super) fn decode(&self, bytes: &[u8]) -> (String, bool) {
        if bytes.contains(&ESCAPE) {
            return self.decode_segments(bytes);
        }
        if bytes.is_ascii() {
            return (latin_1(bytes).into_owned(), false);
        }
        if let Ok(text) = std::str::from_utf8(bytes) {
            // Two or more bytes that happen to form UTF-8 are next to impossible in another set.
            return match self.unicode {
                true => (text.to_owned(), false),
                false if self.is_multi_byte() => self.decode_declared(bytes),
                false => (text.to_owned(), !bytes.is_ascii()),
            };
        }
        if self.unicode || self.undeclared {
            return (latin_1(bytes).into_owned(), true);
        }
        self.decode_declared(bytes)
    }

    fn decode_declared(&self, bytes: &[u8]) -> (String, bool) {
        match self.first.decode(bytes) {
            Ok(text) => (text, false),
            Err(_) => (latin_1(bytes).into_owned(), true),
        }
    }

    fn is_multi_byte(&self) -> bool {
        matches!(&*self.first.name(), "GB18030" | "GBK" | "ISO_IR 149" | "ISO_IR 13")
    }

    /// Code extensions (PS3.5 6.1.2.5): each escape sequence names the set of what follows.
    fn decode_segments(&self, bytes: &[u8]) -> (String, bool) {
        let mut text = String::new();
        let mut guessed = false;
        for (index, segment) in bytes.split(|b| *b == ESCAPE).enumerate() {
            if index == 0 {
                let (plain, doubt) = self.decode(segment);
                text.push_str(&plain);
                guessed |= doubt;
                continue;
            }
            match extension(segment) {
                Some((term, skip, shift)) => {
                    text.push_str(&decode_extension(term, &segment[skip..], shift));
                }
                None => {
                    text.push_str(&latin_1(segment));
                    guessed = true;
                }
            }
        }
        (text, guessed)
    }
}

/// The character set an escape sequence stands for, the bytes of the sequence, and whether the
/// decoder must see the sequence itself.
fn extension(segment: &[u8]) -> Option<(&'static str, usize, bool)> {
    const SEQUENCES: &[(&[u8], &str, bool)] = &[
        (b"(B", "ISO_IR 6", false),
        (b"(J", "ISO_IR 6", false),
        (b")I", "ISO_IR 13", false),
        (b"$B", "ISO_IR 87", true),
        (b"-A", "ISO_IR 100", false),
        (b"-B", "ISO_IR 101", false),
        (b"-C", "ISO_IR 109", false),
        (b"-D", "ISO_IR 110", false),
        (b"-F", "ISO_IR 126", false),
        (b"-G", "ISO_IR 127", false),
        (b"-H", "ISO_IR 138", false),
        (b"-L", "ISO_IR 144", false),
        (b"-T", "ISO_IR 166", false),
        (b"$)C", "ISO_IR 149", false),
        (b"$)A", "GBK", false),
    ];
    SEQUENCES
        .iter()
        .find(|(sequence, ..)| segment.starts_with(sequence))
        .map(|(sequence, term, shift)| (*term, sequence.len(), *shift))
}

fn decode_extension(term: &str, bytes: &[u8], shift: bool) -> String {
    let whole = if shift { [b"\x1b$B", bytes].concat() } else { bytes.to_vec() };
    SpecificCharacterSet::from_code(term)
        .and_then(|codec| codec.decode(&whole).ok())
        .unwrap_or_else(|| latin_1(bytes).into_owned())
}

/// `ISO IR 192`, `iso_ir_192` and the like, as the standard spells it.
fn normalised(term: &str) -> Cow<'_, str> {
    let upper = term.to_ascii_uppercase();
    let digits: String = upper.chars().rev().take_while(char::is_ascii_digit).collect();
    if upper.starts_with("ISO") && !digits.is_empty() && !upper.contains("8859") {
        return Cow::Owned(format!("ISO_IR {}", digits.chars().rev().collect::<String>()));
    }
    Cow::Borrowed(term)
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
mod tests {
    use super::*;

    #[test]
    fn declared_sets_decode() {
        let latin = CharacterSet::declared("ISO_IR 100");
        assert_eq!(latin.decode(b"K\xf6rper"), ("Körper".to_owned(), false));
        let unicode = CharacterSet::declared("ISO_IR 192");
        assert_eq!(unicode.decode("Körper".as_bytes()), ("Körper".to_owned(), false));
        let cyrillic = CharacterSet::declared("ISO_IR 144");
        assert_eq!(cyrillic.decode(b"\xbc\xde\xd7\xd3"), ("Мозг".to_owned(), false));
    }

    #[test]
    fn wrong_declarations_are_healed_and_reported() {
        let unicode = CharacterSet::declared("ISO IR 192");
        assert_eq!(unicode.decode(b"K\xf6rper"), ("Körper".to_owned(), true));
        let latin = CharacterSet::declared("ISO_IR 100");
        assert_eq!(latin.decode("Körper".as_bytes()), ("Körper".to_owned(), true));
        assert_eq!(CharacterSet::undeclared().decode(b"K\xf6rper"), ("Körper".to_owned(), true));
        assert_eq!(CharacterSet::declared("\\").decode(b"Lens L"), ("Lens L".to_owned(), false));
    }

    /// Examples of PS3.5 annexes H.3.1 and I.2 (Japanese and Korean names).
    #[test]
    fn code_extensions_decode() {
        let japanese = CharacterSet::declared("\\ISO 2022 IR 87");
        let bytes = b"Yamada^Tarou=\x1b$B;3ED\x1b(B^\x1b$BB@O:\x1b(B";
        assert_eq!(japanese.decode(bytes), ("Yamada^Tarou=山田^太郎".to_owned(), false));
        let korean = CharacterSet::declared("\\ISO 2022 IR 149");
        let bytes = b"Hong^Gildong=\x1b$)C\xfb\xf3^\x1b$)C\xd1\xce\xd4\xd7";
        assert_eq!(korean.decode(bytes), ("Hong^Gildong=洪^吉洞".to_owned(), false));
    }
}
