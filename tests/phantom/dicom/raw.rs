//! Surgery on the bytes of a file in explicit VR little endian, whose sequences and items are of
//! undefined length: an element can be changed without correcting what is around it.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use dicom_core::Tag;

/// Where an element is, and its value.
struct Spot {
    start: usize,
    value: usize,
    end: usize,
}

const LONG: [&[u8]; 13] =
    [b"OB", b"OD", b"OF", b"OL", b"OV", b"OW", b"SQ", b"SV", b"UC", b"UN", b"UR", b"UT", b"UV"];

fn tag_bytes(tag: Tag) -> [u8; 4] {
    let ([a, b], [c, d]) = (tag.group().to_le_bytes(), tag.element().to_le_bytes());
    [a, b, c, d]
}

fn spots(bytes: &[u8], tag: Tag) -> Vec<Spot> {
    let wanted = tag_bytes(tag);
    let found = bytes.windows(8).enumerate().filter(|(_, window)| {
        window.starts_with(&wanted) && window[4..6].iter().all(u8::is_ascii_uppercase)
    });
    found
        .map(|(start, head)| {
            let long = LONG.contains(&&head[4..6]);
            let value = start + if long { 12 } else { 8 };
            let length = if long {
                u32::from_le_bytes(bytes[start + 8..start + 12].try_into().unwrap()) as usize
            } else {
                usize::from(u16::from_le_bytes([head[6], head[7]]))
            };
            Spot { start, value, end: value + length }
        })
        .collect()
}

/// An element in explicit VR little endian, its value as it is.
pub fn element(tag: Tag, vr: &[u8; 2], value: &[u8]) -> Vec<u8> {
    let mut bytes = tag_bytes(tag).to_vec();
    bytes.extend(vr);
    if LONG.contains(&vr.as_slice()) {
        bytes.extend([0, 0]);
        bytes.extend((value.len() as u32).to_le_bytes());
    } else {
        bytes.extend((value.len() as u16).to_le_bytes());
    }
    bytes.extend(value);
    bytes
}

/// The head of an element with any length.
pub fn head(tag: Tag, vr: &[u8; 2], length: u32) -> Vec<u8> {
    let mut bytes = element(tag, vr, &[]);
    let at = bytes.len() - 4;
    bytes[at..].copy_from_slice(&length.to_le_bytes());
    bytes
}

/// The value of the first element of a tag.
pub fn value(bytes: &[u8], tag: Tag) -> Vec<u8> {
    let spots = spots(bytes, tag);
    let spot = spots.first().unwrap_or_else(|| panic!("no {tag}"));
    bytes[spot.value..spot.end].to_vec()
}

/// Puts other bytes in the place of the first element of a tag.
pub fn replace(bytes: &mut Vec<u8>, tag: Tag, with: &[u8]) {
    let spots = spots(bytes, tag);
    let spot = spots.first().unwrap_or_else(|| panic!("no {tag}"));
    bytes.splice(spot.start..spot.end, with.iter().copied());
}

/// Gives the first element of a tag another text, padded to an even length.
pub fn set(bytes: &mut Vec<u8>, tag: Tag, vr: &[u8; 2], text: &str) {
    let mut value = text.as_bytes().to_vec();
    if value.len() % 2 == 1 {
        value.push(if vr == b"UI" { 0 } else { b' ' });
    }
    replace(bytes, tag, &element(tag, vr, &value));
}

/// Takes the first element of a tag out and gives it back.
pub fn take(bytes: &mut Vec<u8>, tag: Tag) -> Vec<u8> {
    let spots = spots(bytes, tag);
    let spot = spots.first().unwrap_or_else(|| panic!("no {tag}"));
    bytes.splice(spot.start..spot.end, []).collect()
}

/// Puts bytes in front of the first element of a tag.
pub fn insert(bytes: &mut Vec<u8>, before: Tag, what: &[u8]) {
    let spots = spots(bytes, before);
    let start = spots.first().unwrap_or_else(|| panic!("no {before}")).start;
    bytes.splice(start..start, what.iter().copied());
}
