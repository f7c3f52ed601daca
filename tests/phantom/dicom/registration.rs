//! Spatial Registration (PS3.3 A.39.1): frames of reference with the matrices that take their
//! points into the frame of the object.

use dicom_dictionary_std::{tags, uids};

use super::Result;
use super::encode::{Header, Item};

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
