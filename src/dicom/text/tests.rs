//! Texts in every defined term against what pydicom makes of the same bytes, and what is done with
//! bytes that contradict their declaration.

use std::fmt::Write;

use sha2::{Digest, Sha256};

use super::*;

fn read(declared: &str, bytes: &[u8]) -> (String, bool) {
    CharacterSet::declared(declared).decode(bytes, VR::LO)
}

fn sure(text: &str) -> (String, bool) {
    (text.to_owned(), false)
}

fn guessed(text: &str) -> (String, bool) {
    (text.to_owned(), true)
}

#[test]
fn declared_sets_decode() {
    assert_eq!(read("ISO_IR 100", b"K\xf6rper"), sure("Körper"));
    assert_eq!(read("ISO_IR 192", "Körper".as_bytes()), sure("Körper"));
    assert_eq!(read("ISO_IR 144", b"\xbc\xde\xd7\xd3"), sure("Мозг"));
    assert_eq!(read("ISO_IR 148", b"Sa\xf0"), sure("Sağ"));
    for spelling in ["ISO IR 148", "iso_ir_148", "ISO 2022 IR 148", "ISO_IR 148 "] {
        assert_eq!(read(spelling, b"Sa\xf0"), sure("Sağ"), "{spelling}");
    }
}

#[test]
fn wrong_declarations_are_healed_and_reported() {
    assert_eq!(read("ISO IR 192", b"K\xf6rper"), guessed("Körper"));
    for latin in ["ISO_IR 100", "ISO_IR 101", "ISO_IR 148", "ISO_IR 203", "ISO_IR 144"] {
        assert_eq!(read(latin, "Körper".as_bytes()), guessed("Körper"), "{latin}");
    }
    assert_eq!(CharacterSet::undeclared().decode(b"K\xf6rper", VR::LO), guessed("Körper"));
    assert_eq!(read("ISO_IR 999", b"K\xf6rper"), guessed("Körper"));
    assert_eq!(read("\\", b"Lens L"), sure("Lens L"));
    assert_eq!(read("ISO_IR 144", "мозг".as_bytes()), guessed("мозг"));
    assert_eq!(read("ISO_IR 166", "สมอง".as_bytes()), guessed("สมอง"));
    assert_eq!(read("ISO_IR 13", "脳".as_bytes()), guessed("脳"));
    assert_eq!(read("GB18030", b"\xc4"), guessed("Ä"));
}

/// Short words whose bytes happen to be UTF-8 as well.
#[test]
fn a_text_that_is_right_as_declared_is_not_healed() {
    assert_eq!(read("ISO_IR 166", b"\xc3\xb6"), sure("รถ"));
    assert_eq!(read("ISO_IR 144", b"\xc2\xb0"), sure("ТА"));
    assert_eq!(read("ISO_IR 13", b"\xc3\xb2"), sure("ﾃｲ"));
    assert_eq!(read("ISO 2022 IR 149", b"\xc8\xb1"), sure("홧"));
}

/// What systems write beyond the set they declare is read, and said.
#[test]
fn wider_sets_than_the_declared_one_are_read() {
    assert_eq!(read("ISO_IR 13", b"\x94\x5d"), guessed("脳"));
    assert_eq!(read("\\ISO 2022 IR 149", b"\x1b$)C\x8cc"), guessed("똠"));
    assert_eq!(read("\\ISO 2022 IR 58", b"\x1b$)A\xd4\xaa\x81\x42"), guessed("元丅"));
    assert_eq!(read("\\ISO 2022 IR 87", b"\x1b$B-!\x1b(B"), guessed("①"));
}

#[test]
fn escape_sequences_beyond_the_declaration_are_followed_and_said() {
    assert_eq!(read("ISO_IR 100", b"\x1b$BG>\x1b(B"), guessed("脳"));
    assert_eq!(CharacterSet::undeclared().decode(b"\x1b$BG>\x1b(B", VR::LO), guessed("脳"));
    assert_eq!(read("ISO_IR 192", b"\x1b-L\xbc"), guessed("М"));
    assert_eq!(read("\\ISO 2022 IR 87", b"\x1b%Gx\xe4"), guessed("%Gxä"));
    assert_eq!(read("\\ISO 2022 IR 87", b"\x1b$BG"), guessed("G"));
}

/// PS3.5 6.1.2.5.3: at a control character and a separator the first value holds again; what
/// separates depends on the value representation.
#[test]
fn extensions_end_where_the_standard_says() {
    let set = CharacterSet::declared("ISO 2022 IR 100\\ISO 2022 IR 126");
    let text = |bytes: &[u8], vr| set.decode(bytes, vr).0;
    assert_eq!(text(b"\x1b-F\xe1^\xe1", VR::PN), "α^á");
    assert_eq!(text(b"\x1b-F\xe1^\xe1", VR::LO), "α^α");
    assert_eq!(text(b"\x1b-F\xe1\\\xe1", VR::LO), "α\\á");
    assert_eq!(text(b"\x1b-F\xe1\\\xe1", VR::UT), "α\\α");
    assert_eq!(text(b"\x1b-F\xe1\r\n\xe1", VR::UT), "α\r\ná");
    // The byte of a backslash within a pair separates nothing; above it the first value goes on.
    let japanese = CharacterSet::declared("ISO 2022 IR 144\\ISO 2022 IR 87");
    assert_eq!(japanese.decode(b"\x1b$B%\\\x1b(B\xbc", VR::LO), sure("ボМ"));
}

/// Examples of PS3.5 annexes H.3.1 and I.2 (Japanese and Korean names).
#[test]
fn code_extensions_decode() {
    let japanese = CharacterSet::declared("\\ISO 2022 IR 87");
    let bytes = b"Yamada^Tarou=\x1b$B;3ED\x1b(B^\x1b$BB@O:\x1b(B";
    assert_eq!(japanese.decode(bytes, VR::PN), sure("Yamada^Tarou=山田^太郎"));
    let korean = CharacterSet::declared("\\ISO 2022 IR 149");
    let bytes = b"Hong^Gildong=\x1b$)C\xfb\xf3^\x1b$)C\xd1\xce\xd4\xd7";
    assert_eq!(korean.decode(bytes, VR::PN), sure("Hong^Gildong=洪^吉洞"));
}

/// What pydicom 3.0.2 makes of every defined term, see `tests/outside/text.py`, which wrote it;
/// `tests/outside/texts.rs` holds it against pydicom again.
const BY_PYDICOM: &str = include_str!("../../../tests/texts/by_pydicom.csv");

struct Row<'a> {
    declared: &'a str,
    vr: &'a str,
    bytes: &'a str,
    text: &'a str,
}

fn rows() -> impl Iterator<Item = Row<'static>> {
    BY_PYDICOM.lines().skip(1).map(|line| {
        let cells: Vec<&str> = line.split(',').collect();
        let [declared, vr, bytes, text] = cells[..] else { panic!("{line}") };
        Row { declared, vr, bytes, text }
    })
}

fn from_hexadecimal(text: &str) -> Vec<u8> {
    (0..text.len()).step_by(2).map(|i| u8::from_str_radix(&text[i..i + 2], 16).unwrap()).collect()
}

fn points(text: &str) -> String {
    let list: Vec<_> = text.chars().map(|c| format!("{:04X}", u32::from(c))).collect();
    list.join(" ")
}

#[test]
fn every_defined_term_reads_as_in_pydicom() {
    let mut terms = std::collections::BTreeSet::new();
    for row in rows().filter(|row| row.vr != "every pair") {
        let vr = if row.vr == "PN" { VR::PN } else { VR::LO };
        let bytes = from_hexadecimal(row.bytes);
        let (text, guessed) = CharacterSet::declared(row.declared).decode(&bytes, vr);
        assert_eq!(points(&text), row.text, "{} {}: {text}", row.declared, row.bytes);
        assert!(!guessed, "{} {}: {text}", row.declared, row.bytes);
        terms.extend(row.declared.split('\\').filter(|t| !t.is_empty()));
    }
    // PS3.3 tables C.12-2 to C.12-5, but for ISO 2022 IR 6, which nothing is said by.
    let numbers = "100 101 109 110 144 127 126 138 148 203 13 166";
    for n in numbers.split(' ') {
        assert!(terms.remove(format!("ISO_IR {n}").as_str()), "ISO_IR {n}");
        assert!(terms.remove(format!("ISO 2022 IR {n}").as_str()), "ISO 2022 IR {n}");
    }
    let others = ["GB18030", "GBK", "ISO 2022 IR 149", "ISO 2022 IR 159", "ISO 2022 IR 58"];
    let others: Vec<&str> = others.into_iter().chain(["ISO 2022 IR 87", "ISO_IR 192"]).collect();
    assert_eq!(terms.into_iter().collect::<Vec<_>>(), others);
}

/// Number and digest of all pairs that pydicom reads are those of all pairs read here without a
/// doubt: not one character is another one.
#[test]
fn every_pair_of_bytes_is_the_same_character_as_in_pydicom() {
    for row in rows().filter(|row| row.vr == "every pair") {
        let set = CharacterSet::declared(row.declared);
        let (before, after, every) = pairs(row.declared);
        let (mut lines, mut count) = (String::new(), 0);
        for pair in every {
            let (text, guessed) = set.decode(&[before, &pair, after].concat(), VR::LO);
            if !guessed {
                count += 1;
                let hexadecimal: String = pair.iter().map(|b| format!("{b:02x}")).collect();
                writeln!(lines, "{hexadecimal} {}", points(&text)).unwrap();
            }
        }
        assert_eq!(count.to_string(), row.bytes, "{}", row.declared);
        let digest = Sha256::digest(&lines);
        let digest: String = digest.iter().map(|b| format!("{b:02x}")).collect();
        assert_eq!(digest, row.text, "{}", row.declared);
    }
}

/// What encloses a pair, and all pairs in the order of the list.
fn pairs(declared: &str) -> (&'static [u8], &'static [u8], Vec<Vec<u8>>) {
    let plane = |up: u8| {
        let codes = || 0x21 + up..=0x7E + up;
        codes().flat_map(|a| codes().map(move |b| vec![a, b])).collect::<Vec<_>>()
    };
    match declared {
        "\\ISO 2022 IR 87" => (b"\x1b$B", b"\x1b(B", plane(0)),
        "\\ISO 2022 IR 159" => (b"\x1b$(D", b"\x1b(B", plane(0)),
        "\\ISO 2022 IR 149" => (b"\x1b$)C", b"\x1b(B", plane(0x80)),
        "\\ISO 2022 IR 58" => (b"\x1b$)A", b"\x1b(B", plane(0x80)),
        other => {
            let mut list: Vec<Vec<u8>> =
                (0x81..=0xFE_u8).flat_map(|a| (0x40..=0xFE_u8).map(move |b| vec![a, b])).collect();
            if other == "GB18030" {
                let digits = || 0x30..=0x39_u8;
                for a in [0x81, 0x84, 0x90, 0x95, 0xE3] {
                    for b in digits() {
                        for c in 0x81..=0xFE_u8 {
                            list.extend(digits().map(|d| vec![a, b, c, d]));
                        }
                    }
                }
            }
            (b"", b"", list)
        }
    }
}
