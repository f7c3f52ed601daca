//! The bytes of one value to a value of the object model, by value representation (PS3.5 section
//! 6.2). Text of number strings is kept as one string, so that a contour of thousands of points
//! costs one copy; bytes that do not fit the representation are kept as bytes.

use dicom_core::value::{C, PrimitiveValue};
use dicom_core::{Tag, VR};

use super::text::{CharacterSet, latin_1};

/// The value, and whether the character set of a text had to be guessed.
pub(super) fn primitive(
    vr: VR,
    bytes: &[u8],
    big: bool,
    characters: &CharacterSet,
) -> (PrimitiveValue, bool) {
    if bytes.is_empty() {
        return (PrimitiveValue::Empty, false);
    }
    match vr {
        VR::LO | VR::LT | VR::PN | VR::SH | VR::ST | VR::UC | VR::UT => {
            let (text, guessed) = characters.decode(bytes, vr);
            (PrimitiveValue::Str(text), guessed)
        }
        VR::AE | VR::AS | VR::CS | VR::DA | VR::DS | VR::DT | VR::IS | VR::TM | VR::UI | VR::UR => {
            (PrimitiveValue::Str(latin_1(bytes).into_owned()), false)
        }
        _ => (binary(vr, bytes, big), false),
    }
}

fn binary(vr: VR, bytes: &[u8], big: bool) -> PrimitiveValue {
    let numbers = match vr {
        VR::US | VR::OW => words(bytes, big, u16::from_le_bytes).map(PrimitiveValue::U16),
        VR::SS => words(bytes, big, i16::from_le_bytes).map(PrimitiveValue::I16),
        VR::UL | VR::OL => words(bytes, big, u32::from_le_bytes).map(PrimitiveValue::U32),
        VR::SL => words(bytes, big, i32::from_le_bytes).map(PrimitiveValue::I32),
        VR::UV | VR::OV => words(bytes, big, u64::from_le_bytes).map(PrimitiveValue::U64),
        VR::SV => words(bytes, big, i64::from_le_bytes).map(PrimitiveValue::I64),
        VR::FL | VR::OF => words(bytes, big, f32::from_le_bytes).map(PrimitiveValue::F32),
        VR::FD | VR::OD => words(bytes, big, f64::from_le_bytes).map(PrimitiveValue::F64),
        VR::AT => words(bytes, big, u16::from_le_bytes)
            .filter(|w| w.len().is_multiple_of(2))
            .map(|w| w.chunks_exact(2).map(|p| Tag(p[0], p[1])).collect())
            .map(PrimitiveValue::Tags),
        _ => None,
    };
    numbers.unwrap_or_else(|| PrimitiveValue::U8(bytes.into()))
}

/// The bytes in groups of `N`, least significant byte first for `number`; nothing when they do
/// not divide.
fn words<const N: usize, T>(bytes: &[u8], big: bool, number: fn([u8; N]) -> T) -> Option<C<T>> {
    let (groups, rest) = bytes.as_chunks::<N>();
    rest.is_empty().then(|| {
        let ordered = groups.iter().map(|group| {
            let mut group = *group;
            if big {
                group.reverse();
            }
            number(group)
        });
        ordered.collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn byte_order_is_that_of_the_encoding() {
        let set = CharacterSet::default();
        let (little, _) = primitive(VR::UL, &[1, 0, 0, 0], false, &set);
        let (big, _) = primitive(VR::UL, &[0, 0, 0, 1], true, &set);
        assert_eq!(little, big);
        assert_eq!(little, PrimitiveValue::from(1_u32));
        let (tag, _) = primitive(VR::AT, &[0x04, 0x30, 0x0C, 0], false, &set);
        assert_eq!(tag, PrimitiveValue::from(Tag(0x3004, 0x000C)));
    }

    #[test]
    fn bytes_that_do_not_divide_stay_bytes() {
        let (value, _) = primitive(VR::US, &[1, 2, 3], false, &CharacterSet::default());
        assert!(matches!(value, PrimitiveValue::U8(b) if b.len() == 3));
    }
}
