//! The contours of one structure (PS3.3 C.8.8.6): type, points, and the distance between planes
//! where the items state it. The coordinates are text of up to megabytes, read in one pass. Must
//! not know names, planes or areas.

use dicom_core::Tag;
use dicom_dictionary_std::tags;

use super::attribute::Attributes;
use super::error::Error;
use tidydose_geometry::Point;
use tidydose_rt::finding::Code;
use tidydose_rt::{Contour, ContourType};

/// Contour Slab Thickness, retired but still found.
pub(super) const CONTOUR_SLAB_THICKNESS: Tag = Tag(0x3006, 0x0044);

/// Contour Offset Vector, retired likewise.
pub(super) const CONTOUR_OFFSET_VECTOR: Tag = Tag(0x3006, 0x0045);

/// The contours of one structure.
#[derive(Default)]
pub(super) struct Contours<'a> {
    /// In file order.
    pub contours: Vec<Contour>,
    /// Why the structure is refused.
    pub refused: Option<String>,
    /// Distance between planes as the items state it, mm.
    pub plane_spacing: Option<f64>,
    /// Whether Source Pixel Planes Characteristics Sequence is there.
    pub planes_complete: bool,
    /// UID of an image that the first contour refers to.
    pub image: Option<&'a str>,
}

/// Reads all contours that the items of ROI Contour Sequence (3006,0039) hold for one structure.
pub(super) fn contours<'a>(number: i64, items: &[Attributes<'a>]) -> Contours<'a> {
    let mut found = Contours::default();
    let mut index = 0_usize;
    let mut slab = None;
    for item in items {
        let tag = tags::SOURCE_PIXEL_PLANES_CHARACTERISTICS_SEQUENCE;
        if let Some(planes) = item.first_item(tag) {
            found.planes_complete = true;
            found.plane_spacing = planes
                .optional_number(tags::SPACING_BETWEEN_SLICES)
                .map(f64::abs)
                .filter(|mm| *mm > 0.0);
        }
        for part in item.items(tags::CONTOUR_SEQUENCE) {
            index += 1;
            if found.image.is_none() {
                found.image = part.references(tags::CONTOUR_IMAGE_SEQUENCE).first().copied();
            }
            if part.numbers(CONTOUR_OFFSET_VECTOR).is_ok_and(|v| v.iter().any(|mm| *mm != 0.0)) {
                let message = "a retired attribute; the coordinates are used as they are";
                part.note(Code::AttributeDoubtful, CONTOUR_OFFSET_VECTOR, message);
            }
            slab = slab.or_else(|| part.optional_number(CONTOUR_SLAB_THICKNESS));
            match contour(&part) {
                Ok(Some(contour)) => found.contours.push(contour),
                Ok(None) => {
                    let message = "contours without points";
                    part.note_roi(Code::ContourDegenerate, number, message);
                }
                Err(error) => {
                    let reason = format!("contour {index}: {}", error.message());
                    part.note_roi(Code::ContourRefused, number, reason.clone());
                    found.refused.get_or_insert(reason);
                }
            }
        }
    }
    found.plane_spacing = found.plane_spacing.or(slab.filter(|mm| *mm > 0.0));
    found
}

/// One contour; nothing when it has no points and says so.
fn contour(item: &Attributes<'_>) -> Result<Option<Contour>, Error> {
    let stated = item.integer(tags::NUMBER_OF_CONTOUR_POINTS)?;
    let numbers = item.numbers(tags::CONTOUR_DATA)?;
    let (triplets, rest) = numbers.as_chunks::<3>();
    let points: Vec<Point> = triplets.to_vec();
    let count = i64::try_from(points.len()).unwrap_or(i64::MAX);
    let refused =
        |message: String| Err(Error::new(Code::ContourRefused, message).about(tags::CONTOUR_DATA));
    if !rest.is_empty() {
        let message = format!("{} coordinates; accepted is a multiple of 3", numbers.len());
        return refused(message);
    }
    match stated {
        Some(stated) if stated != count => {
            return refused(format!("{stated} points are stated, the coordinates give {count}"));
        }
        None if count > 0 => {
            let message = "absent; counted from the coordinates";
            item.note(Code::AttributeDoubtful, tags::NUMBER_OF_CONTOUR_POINTS, message);
        }
        _ => {}
    }
    if points.is_empty() {
        return Ok(None);
    }
    Ok(Some(Contour { kind: kind(item)?, points }))
}

/// Contour Geometric Type, with the spelling that files also use for the exclusive-or type.
fn kind(item: &Attributes<'_>) -> Result<ContourType, Error> {
    let tag = tags::CONTOUR_GEOMETRIC_TYPE;
    let accepted = "POINT, OPEN_PLANAR, OPEN_NONPLANAR, CLOSED_PLANAR or CLOSEDPLANAR_XOR";
    match item.code(tag).as_deref() {
        Some("POINT") => Ok(ContourType::Point),
        Some("OPEN_PLANAR") => Ok(ContourType::OpenPlanar),
        Some("OPEN_NONPLANAR") => Ok(ContourType::OpenNonplanar),
        Some("CLOSED_PLANAR") => Ok(ContourType::ClosedPlanar),
        Some("CLOSEDPLANAR_XOR") => Ok(ContourType::ClosedPlanarXor),
        Some("CLOSED_PLANAR_XOR") => {
            item.note(Code::AttributeDoubtful, tag, "read as CLOSEDPLANAR_XOR");
            Ok(ContourType::ClosedPlanarXor)
        }
        Some(found) => Err(super::attribute::invalid(tag, found, accepted)),
        None => Err(super::attribute::missing(tag, accepted)),
    }
}
