//! Spatial Registration (PS3.3 A.39.1, C.20.2) to [`rt::Registration`](tidydose_rt::Registration):
//! each item takes points of its frame of reference into that of the object. Whether a matrix may
//! be used is settled here; for what it is used is none of its business.

use dicom_dictionary_std::tags;

use super::attribute::Attributes;
use super::error::Error;
use super::object::Object;
use tidydose_rt::identity::Kind;
use tidydose_rt::{RegisteredFrame, Registration, Rigid};

/// Reads the registration. An item whose matrix cannot be used stays, with the reason.
///
/// # Errors
/// Without SOP Instance UID or Frame of Reference UID.
pub(super) fn registration(object: &Object<'_>) -> Result<Registration, Error> {
    let root = object.root();
    let frame = root.required_uid(tags::FRAME_OF_REFERENCE_UID)?;
    let items = root.items(tags::REGISTRATION_SEQUENCE).filter_map(|item| {
        let uid = item.uid(tags::FRAME_OF_REFERENCE_UID)?;
        Some(RegisteredFrame { frame: object.token(Kind::Frame, uid), motion: motion(&item) })
    });
    let dates = [tags::CONTENT_DATE, tags::SERIES_DATE, tags::STUDY_DATE];
    let made = dates.into_iter().find_map(|tag| root.date(tag));
    Ok(Registration {
        origin: object.origin()?,
        day: made.and_then(|date| object.day(date)),
        frame: object.token(Kind::Frame, frame),
        items: items.collect(),
    })
}

fn motion(item: &Attributes<'_>) -> Result<Rigid, String> {
    let sequences = item.items(tags::MATRIX_REGISTRATION_SEQUENCE);
    let matrices: Vec<_> = sequences.flat_map(|s| s.items(tags::MATRIX_SEQUENCE)).collect();
    let [matrix] = matrices.as_slice() else {
        return Err(format!(
            "it has {} matrices for one frame of reference; one would be accepted",
            matrices.len()
        ));
    };
    let kind = matrix.code(tags::FRAME_OF_REFERENCE_TRANSFORMATION_MATRIX_TYPE);
    match kind.as_deref() {
        Some("RIGID") => {}
        Some(other @ ("RIGID_SCALE" | "AFFINE")) => {
            return Err(format!("its matrix is of type {other}; RIGID would be accepted"));
        }
        _ => return Err("its matrix has no known type; RIGID would be accepted".to_owned()),
    }
    let numbers = matrix.vector::<16>(tags::FRAME_OF_REFERENCE_TRANSFORMATION_MATRIX);
    let numbers = numbers.map_err(|error| error.message().to_owned())?;
    Rigid::from_matrix(&numbers.ok_or("it has no matrix")?)
}

#[cfg(test)]
mod tests {
    use dicom_core::VR;
    use dicom_dictionary_std::uids;

    use super::super::encoding::Encoding;
    use super::super::fixtures::{self, Element, text};
    use super::*;
    use tidydose_rt::identity::Token;

    const SHIFT: &str = "1\\0\\0\\5\\0\\1\\0\\-6\\0\\0\\1\\7\\0\\0\\0\\1";

    fn read(matrices: &[(&str, &str)]) -> Registration {
        let matrix = |(kind, numbers): &(&str, &str)| {
            vec![
                text(tags::FRAME_OF_REFERENCE_TRANSFORMATION_MATRIX_TYPE, VR::CS, kind),
                text(tags::FRAME_OF_REFERENCE_TRANSFORMATION_MATRIX, VR::DS, numbers),
            ]
        };
        let matrices = Element::Items(tags::MATRIX_SEQUENCE, matrices.iter().map(matrix).collect());
        let item = vec![
            text(tags::FRAME_OF_REFERENCE_UID, VR::UI, "1.2.8"),
            Element::Items(tags::MATRIX_REGISTRATION_SEQUENCE, vec![vec![matrices]]),
        ];
        let mut parts = fixtures::common(uids::SPATIAL_REGISTRATION_STORAGE, "1.2.3.7");
        parts.push(text(tags::FRAME_OF_REFERENCE_UID, VR::UI, "1.2.9"));
        parts.push(Element::Items(tags::REGISTRATION_SEQUENCE, vec![item]));
        let bytes = fixtures::file(&parts, Encoding::EXPLICIT, false);
        fixtures::read(bytes, registration).unwrap().value
    }

    /// The matrix of an item takes a point of the item's frame into the frame of the object.
    #[test]
    fn a_rigid_matrix_leads_into_the_frame_of_the_object() {
        let read = read(&[("RIGID", SHIFT)]);
        let motion = read.between(&Token::new("1.2.8"), &Token::new("1.2.9")).unwrap().unwrap();
        assert_eq!(motion.apply([1.0, 1.0, 1.0]), [6.0, -5.0, 8.0]);
    }

    #[test]
    fn other_matrices_are_kept_with_the_reason() {
        for (matrices, expected) in [
            (&[("AFFINE", SHIFT)][..], "AFFINE"),
            (&[("", SHIFT)], "no known type"),
            (&[("RIGID", "1\\0\\0")], "16"),
            (&[("RIGID", SHIFT), ("RIGID", SHIFT)], "2 matrices"),
            (&[], "0 matrices"),
        ] {
            let motion = read(matrices).items[0].motion.clone();
            assert!(motion.clone().unwrap_err().contains(expected), "{motion:?}");
        }
    }
}
