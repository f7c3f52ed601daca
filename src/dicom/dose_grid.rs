//! Where the voxels of an RT Dose are: number of planes, the two readings of the Grid Frame Offset
//! Vector (PS3.3 C.8.8.3.2), position, orientation and spacing. Must not know dose.

use dicom_core::Tag;
use dicom_dictionary_std::tags;

use super::attribute::Attributes;
use super::error::Error;
use super::pixels::Size;
use super::quirks::frame_pointer;
use tidydose_geometry::Grid;
use tidydose_geometry::point::{Point, dot};
use tidydose_rt::finding::Code;

/// Offsets closer than this to 0 or to the position of the first plane are equal to it, mm.
const SAME_MM: f64 = 1e-3;
/// Plane distances that differ by less than this are even, mm.
const EVEN_MM: f64 = 0.01;
/// Direction cosines that are off by more than this were not just rounded.
const ROUNDED: f64 = 1e-5;

/// The planes of a grid as the object states them.
pub(super) struct Planes {
    /// How many there are.
    pub count: usize,
    /// Grid Frame Offset Vector as stored, one number a plane; empty when absent.
    offsets: Vec<f64>,
}

/// The order of the stored planes.
pub(super) struct PlaneOrder {
    /// Whether they are stored against the direction of increasing offsets.
    pub reversed: bool,
}

fn contradiction(tag: Tag, message: impl Into<String>) -> Error {
    Error::new(Code::DoseGridInvalid, message).about(tag)
}

/// Finds out how many planes there are. A Number of Frames (0028,0008) that is missing or no
/// number is replaced by the one count that offsets and pixel data agree on.
///
/// # Errors
/// When offsets, frames and pixel data do not agree on one count.
pub(super) fn frames(root: &Attributes<'_>, size: Size, bytes: usize) -> Result<Planes, Error> {
    let tag = tags::GRID_FRAME_OFFSET_VECTOR;
    let mut offsets = root.numbers(tag)?;
    let stored = bytes / size.frame_bytes().max(1);
    let count = match root.integer(tags::NUMBER_OF_FRAMES) {
        Ok(Some(n)) => usize::try_from(n).ok().filter(|n| *n > 0).ok_or_else(|| {
            contradiction(tags::NUMBER_OF_FRAMES, format!("{n} frames; accepted is 1 or more"))
        })?,
        Ok(None) if stored == 1 => 1,
        Ok(None) | Err(_) if stored > 0 && stored == offsets.len().max(1) => {
            let message = format!("absent or no number; offsets and pixel data give {stored}");
            root.note(Code::DoseGridRepaired, tags::NUMBER_OF_FRAMES, message);
            stored
        }
        _ => {
            let message = format!(
                "absent or no number, and {} offsets do not fit the {stored} planes of pixel data",
                offsets.len()
            );
            return Err(contradiction(tags::NUMBER_OF_FRAMES, message));
        }
    };
    if stored > count {
        let message = format!("{count} planes are stated, the pixel data holds {stored}");
        return Err(contradiction(tags::NUMBER_OF_FRAMES, message));
    }
    if count == 1 && offsets.len() > 1 {
        let message = format!("{} offsets for a single plane; the first is used", offsets.len());
        root.note(Code::DoseGridRepaired, tag, message);
        offsets.truncate(1);
    }
    if offsets.len() != count && !(offsets.is_empty() && count == 1) {
        let message =
            format!("{} offsets for {count} planes; accepted is one for each", offsets.len());
        return Err(contradiction(tag, message));
    }
    frame_pointer::note(root, count);
    Ok(Planes { count, offsets })
}

/// Builds the grid. Planes stored in decreasing order are put in increasing order; the caller
/// turns the voxels accordingly.
///
/// # Errors
/// When position, orientation, spacing or offsets are absent or contradict themselves.
pub(super) fn grid(
    root: &Attributes<'_>,
    size: Size,
    planes: &Planes,
) -> Result<(Grid, PlaneOrder), Error> {
    let origin = root.required_vector::<3>(tags::IMAGE_POSITION_PATIENT)?;
    let [rx, ry, rz, cx, cy, cz] = root.required_vector::<6>(tags::IMAGE_ORIENTATION_PATIENT)?;
    let spacing = root.required_vector::<2>(tags::PIXEL_SPACING)?;
    let (row, column) = ([rx, ry, rz], [cx, cy, cz]);
    let off = (dot(row, row) - 1.0).abs().max((dot(column, column) - 1.0).abs());
    if off > ROUNDED || dot(row, column).abs() > ROUNDED {
        let message = "direction cosines are not quite perpendicular unit vectors; made so";
        root.note(Code::DoseGridRepaired, tags::IMAGE_ORIENTATION_PATIENT, message);
    }
    let mut offsets = relative(&planes.offsets, origin, row, column)?;
    let reversed = matches!(offsets.as_slice(), [first, second, ..] if second < first);
    if reversed {
        offsets.reverse();
    }
    note_uneven(root, &offsets);
    let sides = [usize::from(size.rows), usize::from(size.columns)];
    let grid = Grid::new(origin, [row, column], spacing, offsets, sides)
        .map_err(|e| Error::new(Code::DoseGridInvalid, e.to_string()))?;
    Ok((grid, PlaneOrder { reversed }))
}

/// Offsets from the first plane along row × column, whichever of the two readings is meant.
fn relative(offsets: &[f64], origin: Point, row: Point, column: Point) -> Result<Vec<f64>, Error> {
    let tag = tags::GRID_FRAME_OFFSET_VECTOR;
    let Some(&first) = offsets.first() else { return Ok(vec![0.0]) };
    if first.abs() <= SAME_MM {
        return Ok(offsets.to_vec());
    }
    let axial = row == [1.0, 0.0, 0.0] && column == [0.0, 1.0, 0.0];
    if (first - origin[2]).abs() <= SAME_MM {
        if axial {
            return Ok(offsets.iter().map(|z| z - first).collect());
        }
        let message = "absolute plane positions with an orientation other than 1\\0\\0\\0\\1\\0";
        return Err(contradiction(tag, message));
    }
    let message = format!(
        "the first offset is {first}; accepted is 0, or the z of the image position with \
         orientation 1\\0\\0\\0\\1\\0"
    );
    Err(contradiction(tag, message))
}

fn note_uneven(root: &Attributes<'_>, offsets: &[f64]) {
    let gaps = offsets.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    let (low, high) = gaps.fold((f64::INFINITY, 0.0_f64), |(l, h), g| (l.min(g), h.max(g)));
    if high - low > EVEN_MM {
        let message = format!("plane distances from {low} to {high} mm");
        root.note(Code::DosePlanesUneven, tags::GRID_FRAME_OFFSET_VECTOR, message);
    }
}
