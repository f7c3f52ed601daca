//! One slice of CT or MR (PS3.3 C.7.6.2 and C.7.6.3) with its pixels, to be shown behind outlines. The
//! only pixels of images that are ever read, and only when a person asks for them; whoever shows them
//! leaves out the surface of the head.

use dicom_dictionary_std::tags;

use super::attribute::{Attributes, invalid, missing};
use super::error::Error;
use super::object::Object;
use super::pixels::{SampleFormat, Size, StoredSamples};
use tidydose_geometry::point::unit;
use tidydose_rt::ImageSlice;

/// Reads the slice.
///
/// # Errors
/// When its place is not stated, it is compressed other than by run lengths, or has no pixels, or not
/// one sample of 16 bits for each.
pub(super) fn slice(object: &Object<'_>) -> Result<ImageSlice, Error> {
    let root = object.root();
    let orientation: [f64; 6] = root.required_vector(tags::IMAGE_ORIENTATION_PATIENT)?;
    let [a, b, c, x, y, z] = orientation;
    let direction = |d| {
        let found = format!("{orientation:?}");
        unit(d).ok_or_else(|| invalid(tags::IMAGE_ORIENTATION_PATIENT, &found, "two directions"))
    };
    let spacing_mm: [f64; 2] = root.required_vector(tags::PIXEL_SPACING)?;
    if spacing_mm.iter().any(|s| *s <= 0.0) {
        let found = format!("{spacing_mm:?}");
        return Err(invalid(tags::PIXEL_SPACING, &found, "two numbers above 0"));
    }
    let size = size(&root)?;
    let samples = StoredSamples::of(object.file(), size)?;
    let samples = samples.filter(|s| s.len() >= size.frame_bytes());
    let samples = samples.ok_or_else(|| missing(tags::PIXEL_DATA, "one frame of pixels"))?;
    let slope = root.optional_number(tags::RESCALE_SLOPE).unwrap_or(1.0);
    let intercept = root.optional_number(tags::RESCALE_INTERCEPT).unwrap_or(0.0);
    let signed = root.optional_integer(tags::PIXEL_REPRESENTATION) == Some(1);
    let format = SampleFormat { sample: size.sample, signed, scaling: slope };
    let mut values = samples.scaled(size.frame_samples(), format);
    #[expect(clippy::cast_possible_truncation, reason = "Hounsfield units")]
    for value in &mut values {
        *value += intercept as f32;
    }
    Ok(ImageSlice {
        modality: root.code(tags::MODALITY).unwrap_or_default(),
        corner_mm: root.required_vector(tags::IMAGE_POSITION_PATIENT)?,
        right: direction([a, b, c])?,
        down: direction([x, y, z])?,
        spacing_mm,
        columns: usize::from(size.columns),
        values,
    })
}

fn size(root: &Attributes<'_>) -> Result<Size, Error> {
    let bits = root.required_u16(tags::BITS_ALLOCATED)?;
    if bits != 16 {
        return Err(invalid(tags::BITS_ALLOCATED, &bits.to_string(), "16"));
    }
    if let Some(n) = root.integer(tags::SAMPLES_PER_PIXEL)?.filter(|n| *n != 1) {
        return Err(invalid(tags::SAMPLES_PER_PIXEL, &n.to_string(), "1"));
    }
    let (rows, columns) = (root.required_u16(tags::ROWS)?, root.required_u16(tags::COLUMNS)?);
    if rows == 0 || columns == 0 {
        let tag = if rows == 0 { tags::ROWS } else { tags::COLUMNS };
        return Err(invalid(tag, "0", "1 to 65535"));
    }
    Ok(Size { rows, columns, sample: 2 })
}

#[cfg(test)]
mod tests {
    use dicom_core::VR;

    use super::super::fixtures::{self, Element, set, text};
    use super::*;
    use crate::Error;
    use crate::encoding::Encoding;
    use tidydose_rt::finding::Code;

    /// Two rows of three pixels, 0 to 5, in Hounsfield units from -1024 on.
    fn parts() -> Vec<Element> {
        let mut parts = fixtures::slice("1.5", 12.5);
        for (tag, value) in [
            (tags::IMAGE_POSITION_PATIENT, "-3\\4\\12.5"),
            (tags::IMAGE_ORIENTATION_PATIENT, "1\\0\\0\\0\\1\\0"),
            (tags::PIXEL_SPACING, "2\\0.5"),
            (tags::RESCALE_SLOPE, "2"),
            (tags::RESCALE_INTERCEPT, "-1024"),
        ] {
            set(&mut parts, text(tag, VR::DS, value));
        }
        for (tag, value) in [
            (tags::SAMPLES_PER_PIXEL, 1),
            (tags::ROWS, 2),
            (tags::COLUMNS, 3),
            (tags::BITS_ALLOCATED, 16),
            (tags::PIXEL_REPRESENTATION, 0),
        ] {
            set(&mut parts, Element::Words(tag, VR::US, vec![value]));
        }
        set(&mut parts, Element::Words(tags::PIXEL_DATA, VR::OW, (0..6).collect()));
        parts
    }

    fn read(parts: &[Element], encoding: Encoding) -> Result<ImageSlice, Error> {
        fixtures::read(fixtures::file(parts, encoding, false), slice).map(|reading| reading.value)
    }

    #[test]
    fn pixels_are_read_in_either_byte_order_and_rescaled() {
        for encoding in [Encoding::EXPLICIT, Encoding::EXPLICIT_BIG] {
            let slice = read(&parts(), encoding).unwrap();
            let values = [-1024.0, -1022.0, -1020.0, -1018.0, -1016.0, -1014.0];
            assert_eq!(slice.values, values);
            assert_eq!((slice.columns, slice.spacing_mm), (3, [2.0, 0.5]));
            assert_eq!((slice.corner_mm, slice.normal()), ([-3.0, 4.0, 12.5], [0.0, 0.0, 1.0]));
            assert_eq!(slice.at([-2.5, 6.0, 0.0]), None, "the last row has no neighbour");
            assert_eq!(slice.at([-2.5, 5.0, 0.0]), Some(-1019.0));
        }
    }

    #[test]
    fn what_cannot_be_shown_is_refused_with_the_attribute() {
        for (element, code) in [
            (Element::Words(tags::BITS_ALLOCATED, VR::US, vec![8]), Code::AttributeInvalid),
            (Element::Words(tags::PIXEL_DATA, VR::OW, vec![1]), Code::AttributeMissing),
            (text(tags::PIXEL_SPACING, VR::DS, "2\\-1"), Code::AttributeInvalid),
        ] {
            let mut parts = parts();
            set(&mut parts, element);
            assert_eq!(read(&parts, Encoding::EXPLICIT).unwrap_err().code(), code);
        }
    }
}
