//! CT images (PS3.3 A.3) with next to no pixels: only their geometry is of use.

use dicom_core::VR;
use dicom_core::value::PrimitiveValue;
use dicom_dictionary_std::{tags, uids};
use tidydose_geometry::Point;

use super::Result;
use super::encode::Header;

/// One image slice.
#[derive(Debug, Clone, PartialEq)]
pub struct CtImage {
    /// Who and what.
    pub header: Header,
    /// Centre of the first pixel, mm.
    pub position: Point,
    /// Unit vectors along a row and down a column.
    pub orientation: [Point; 2],
    /// Pixel Spacing, mm.
    pub spacing: [f64; 2],
    /// Slice Thickness, mm.
    pub thickness: f64,
    /// Rows and columns (all pixels are 0).
    pub size: [u16; 2],
    /// Instance Number.
    pub instance_number: i32,
}

impl CtImage {
    /// An axial slice of 8 × 8 pixels of 30 mm.
    pub fn new(header: Header, z: f64, thickness: f64) -> Self {
        Self {
            header,
            position: [-105.0, -105.0, z],
            orientation: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]],
            spacing: [30.0, 30.0],
            thickness,
            size: [8, 8],
            instance_number: 1,
        }
    }

    /// The bytes of the file.
    ///
    /// # Errors
    /// When the data set cannot be encoded.
    pub fn bytes(&self) -> Result<Vec<u8>> {
        let mut item = self.header.item(uids::CT_IMAGE_STORAGE, "CT");
        let pixels = vec![0u16; usize::from(self.size[0]) * usize::from(self.size[1])];
        item.texts(tags::IMAGE_TYPE, ["ORIGINAL", "PRIMARY", "AXIAL"].map(String::from).to_vec())
            .integer(tags::INSTANCE_NUMBER, self.instance_number)
            .text(tags::ACQUISITION_NUMBER, "")
            .text(tags::KVP, "")
            .text(tags::PATIENT_POSITION, "HFS")
            .decimals(tags::SLICE_THICKNESS, &[self.thickness])
            .decimals(tags::IMAGE_POSITION_PATIENT, &self.position)
            .decimals(tags::IMAGE_ORIENTATION_PATIENT, &self.orientation.concat())
            .decimals(tags::PIXEL_SPACING, &self.spacing)
            .short(tags::SAMPLES_PER_PIXEL, 1)
            .text(tags::PHOTOMETRIC_INTERPRETATION, "MONOCHROME2")
            .short(tags::ROWS, self.size[0])
            .short(tags::COLUMNS, self.size[1])
            .short(tags::BITS_ALLOCATED, 16)
            .short(tags::BITS_STORED, 16)
            .short(tags::HIGH_BIT, 15)
            .short(tags::PIXEL_REPRESENTATION, 0)
            .decimals(tags::RESCALE_INTERCEPT, &[-1000.0])
            .decimals(tags::RESCALE_SLOPE, &[1.0])
            .value(tags::PIXEL_DATA, VR::OW, PrimitiveValue::U16(pixels.into()));
        self.header.bytes(item)
    }
}
