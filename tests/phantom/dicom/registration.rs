//! Spatial Registration (PS3.3 A.39.1): frames of reference with the matrices that take their
//! points into the frame of the object.

use dicom_dictionary_std::{tags, uids};

use tidydose_geometry::Point;

use super::Result;
use super::encode::{Header, Item};

/// A turn about a tilted axis and a shift: takes points of one frame into another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion(
    /// Row by row.
    pub [f64; 16],
);

impl Motion {
    /// Rodrigues' formula for the unit axis (2, 3, 6)/7, with angle and shift; textbook.
    pub fn new(degrees: f64, shift: Point) -> Self {
        let (axis, (sin, cos)) =
            ([2.0 / 7.0, 3.0 / 7.0, 6.0 / 7.0], degrees.to_radians().sin_cos());
        let [x, y, z] = axis;
        let skew = [[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]];
        let mut m = [0.0; 16];
        for i in 0..3 {
            for j in 0..3 {
                let unit = if i == j { cos } else { 0.0 };
                m[4 * i + j] = unit + sin * skew[i][j] + (1.0 - cos) * axis[i] * axis[j];
            }
            m[4 * i + 3] = shift[i];
        }
        m[15] = 1.0;
        Self(m)
    }

    /// Where a point comes to lie.
    pub fn apply(&self, p: Point) -> Point {
        let m = &self.0;
        [0, 1, 2]
            .map(|i| m[4 * i] * p[0] + m[4 * i + 1] * p[1] + m[4 * i + 2] * p[2] + m[4 * i + 3])
    }

    /// The way back.
    pub fn inverse(&self) -> Self {
        let m = &self.0;
        let shift = [m[3], m[7], m[11]];
        let mut n = [0.0; 16];
        for i in 0..3 {
            for j in 0..3 {
                n[4 * i + j] = m[4 * j + i];
            }
            n[4 * i + 3] = -(0..3).map(|j| m[4 * j + i] * shift[j]).sum::<f64>();
        }
        n[15] = 1.0;
        Self(n)
    }
}

/// A registration of other frames into the frame of the header.
#[derive(Debug, Clone, PartialEq)]
pub struct Registration {
    /// Who and what; its frame is the one into which the matrices lead.
    pub header: Header,
    /// Frame of reference, matrix (row by row) and matrix type of each item.
    pub items: Vec<(String, [f64; 16], String)>,
}

impl Registration {
    /// One frame, rigidly registered; the frame of the header itself comes with the identity, as
    /// exports write it.
    pub fn rigid(header: Header, frame: &str, matrix: [f64; 16]) -> Self {
        let identity = std::array::from_fn(|i| if i % 5 == 0 { 1.0 } else { 0.0 });
        let items = vec![
            (header.frame_uid.clone(), identity, "RIGID".into()),
            (frame.into(), matrix, "RIGID".into()),
        ];
        Self { header, items }
    }

    /// The bytes of the file.
    ///
    /// # Errors
    /// When the data set cannot be encoded.
    pub fn bytes(&self) -> Result<Vec<u8>> {
        let mut item = self.header.item(uids::SPATIAL_REGISTRATION_STORAGE, "REG");
        let registered = |(frame, matrix, kind): &(String, [f64; 16], String)| {
            let matrix = Item::new()
                .decimals(tags::FRAME_OF_REFERENCE_TRANSFORMATION_MATRIX, matrix)
                .text(tags::FRAME_OF_REFERENCE_TRANSFORMATION_MATRIX_TYPE, kind)
                .built();
            let step = Item::new().sequence(tags::MATRIX_SEQUENCE, vec![matrix]).built();
            Item::new()
                .text(tags::FRAME_OF_REFERENCE_UID, frame)
                .sequence(tags::MATRIX_REGISTRATION_SEQUENCE, vec![step])
                .built()
        };
        item.sequence(tags::REGISTRATION_SEQUENCE, self.items.iter().map(registered).collect());
        self.header.bytes(item)
    }
}
