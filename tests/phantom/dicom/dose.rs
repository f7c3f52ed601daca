//! RT Dose (PS3.3 A.18) from an array or a field sampled onto a lattice.

use dicom_core::VR;
use dicom_core::value::PrimitiveValue;
use dicom_dictionary_std::{tags, uids};
use ndarray::{Array3, Axis};

use super::Result;
use super::encode::{Encoding, Header, Item, decimal};
use crate::phantom::field::{Field, Lattice};

/// How the Grid Frame Offset Vector is to be read (PS3.3 C.8.8.3.2).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlaneOffsets {
    /// From the first plane along the normal: the first entry is 0.
    Relative,
    /// As z coordinates: only for axial planes.
    Absolute,
}

/// A stored dose-volume histogram.
#[derive(Debug, Clone, PartialEq)]
pub struct Dvh {
    /// ROI Number.
    pub roi: i32,
    /// DVH Type.
    pub kind: String,
    /// DVH Dose Scaling.
    pub scaling: f64,
    /// Bin widths and volumes in cm³.
    pub data: Vec<[f64; 2]>,
    /// DVH Mean Dose, Gy.
    pub mean: Option<f64>,
}

/// A dose grid.
#[derive(Debug, Clone, PartialEq)]
pub struct Dose {
    /// Who and what.
    pub header: Header,
    /// Where the voxels are; offsets may fall or be uneven.
    pub lattice: Lattice,
    /// Dose as `[plane, row, column]`, in the stated units.
    pub values: Array3<f64>,
    /// 16 or 32.
    pub bits: u16,
    /// How plane offsets are written.
    pub offsets: PlaneOffsets,
    /// Dose Units.
    pub units: String,
    /// Dose Type.
    pub dose_type: String,
    /// Dose Summation Type.
    pub summation: String,
    /// Plans it refers to; none: no reference.
    pub plan_uids: Vec<String>,
    /// Fraction group it refers to, for every summation type below that of the plan.
    pub fraction_group: Option<i32>,
    /// Beams of that group, for the summation types of beams.
    pub beams: Vec<i32>,
    /// Dose Grid Scaling; the largest stored number is used fully when absent.
    pub scaling: Option<f64>,
    /// Dose Comment; empty leaves it out.
    pub comment: String,
    /// Stored histograms, and the structure set they are of.
    pub dvhs: Vec<Dvh>,
    pub structure_set_uid: String,
}

impl Dvh {
    fn item(&self) -> Item {
        let roi = Item::new()
            .text(tags::DVHROI_CONTRIBUTION_TYPE, "INCLUDED")
            .integer(tags::REFERENCED_ROI_NUMBER, self.roi)
            .built();
        let mut item = Item::new()
            .text(tags::DVH_TYPE, &self.kind)
            .text(tags::DOSE_UNITS, "GY")
            .text(tags::DOSE_TYPE, "PHYSICAL")
            .decimals(tags::DVH_DOSE_SCALING, &[self.scaling])
            .text(tags::DVH_VOLUME_UNITS, "CM3")
            .integer(tags::DVH_NUMBER_OF_BINS, self.data.len())
            .decimals(tags::DVH_DATA, &self.data.concat())
            .sequence(tags::DVH_REFERENCED_ROI_SEQUENCE, vec![roi])
            .built();
        if let Some(mean) = self.mean {
            item.decimals(tags::DVH_MEAN_DOSE, &[mean]);
        }
        item
    }
}

impl Dose {
    /// The physical dose of a whole plan in Gy, 32 bit, sampled from a field.
    pub fn new(header: Header, field: &Field, lattice: &Lattice, plan_uid: &str) -> Self {
        Self {
            header,
            values: field.sample(lattice),
            lattice: lattice.clone(),
            bits: 32,
            offsets: PlaneOffsets::Relative,
            units: "GY".into(),
            dose_type: "PHYSICAL".into(),
            summation: "PLAN".into(),
            plan_uids: vec![plan_uid.into()],
            fraction_group: None,
            beams: Vec::new(),
            scaling: None,
            comment: String::new(),
            dvhs: Vec::new(),
            structure_set_uid: String::new(),
        }
    }

    /// The same dose with its planes stored from the far end: offsets fall from 0 to −h.
    #[must_use]
    pub fn stored_backwards(mut self) -> Self {
        let last = self.lattice.offsets.len() - 1;
        let far = self.lattice.offsets[last];
        self.lattice.origin = self.lattice.position(last, 0, 0);
        self.lattice.offsets = self.lattice.offsets.iter().rev().map(|o| o - far).collect();
        self.values.invert_axis(Axis(0));
        self
    }

    /// Dose Grid Scaling as it is written, Gy (or per cent) per stored step.
    pub fn scaling(&self) -> f64 {
        let largest = self.values.iter().copied().fold(0.0, f64::max);
        let steps = if self.bits == 16 { 65_535.0 } else { f64::from(u32::MAX) };
        let scaling = self.scaling.unwrap_or(largest / steps);
        decimal(scaling).parse().unwrap_or(scaling)
    }

    /// The bytes of the file.
    ///
    /// # Errors
    /// When the data set cannot be encoded.
    pub fn bytes(&self) -> Result<Vec<u8>> {
        let mut item = self.header.item(uids::RT_DOSE_STORAGE, "RTDOSE");
        self.image_modules(&mut item);
        item.text(tags::INSTANCE_NUMBER, "1")
            .text(tags::DOSE_UNITS, &self.units)
            .text(tags::DOSE_TYPE, &self.dose_type)
            .text(tags::DOSE_SUMMATION_TYPE, &self.summation)
            .decimals(tags::GRID_FRAME_OFFSET_VECTOR, &self.written_offsets())
            .text(tags::DOSE_GRID_SCALING, &decimal(self.scaling()))
            .text(tags::TISSUE_HETEROGENEITY_CORRECTION, "IMAGE");
        if !self.comment.is_empty() {
            item.text(tags::DOSE_COMMENT, &self.comment);
        }
        if !self.plan_uids.is_empty() {
            let plans = self.plan_uids.iter().map(|uid| self.plan_reference(uid)).collect();
            item.sequence(tags::REFERENCED_RT_PLAN_SEQUENCE, plans);
        }
        if !self.dvhs.is_empty() {
            let set = Item::reference(uids::RT_STRUCTURE_SET_STORAGE, &self.structure_set_uid);
            item.sequence(tags::REFERENCED_STRUCTURE_SET_SEQUENCE, vec![set])
                .sequence(tags::DVH_SEQUENCE, self.dvhs.iter().map(Dvh::item).collect());
        }
        let pixels = PrimitiveValue::U16(self.words()?.into());
        item.value(tags::PIXEL_DATA, VR::OW, pixels);
        self.header.bytes(item)
    }

    fn image_modules(&self, item: &mut Item) {
        let l = &self.lattice;
        let orientation: Vec<f64> = l.row.iter().chain(&l.column).copied().collect();
        item.text(tags::SLICE_THICKNESS, "")
            .decimals(tags::IMAGE_POSITION_PATIENT, &l.origin)
            .decimals(tags::IMAGE_ORIENTATION_PATIENT, &orientation)
            .short(tags::SAMPLES_PER_PIXEL, 1)
            .text(tags::PHOTOMETRIC_INTERPRETATION, "MONOCHROME2")
            .integer(tags::NUMBER_OF_FRAMES, l.offsets.len())
            .value(
                tags::FRAME_INCREMENT_POINTER,
                VR::AT,
                PrimitiveValue::from(tags::GRID_FRAME_OFFSET_VECTOR),
            )
            .short(tags::ROWS, l.rows as u16)
            .short(tags::COLUMNS, l.columns as u16)
            .decimals(tags::PIXEL_SPACING, &l.spacing)
            .short(tags::BITS_ALLOCATED, self.bits)
            .short(tags::BITS_STORED, self.bits)
            .short(tags::HIGH_BIT, self.bits - 1)
            .short(tags::PIXEL_REPRESENTATION, 0);
    }

    fn written_offsets(&self) -> Vec<f64> {
        let start = match self.offsets {
            PlaneOffsets::Relative => 0.0,
            PlaneOffsets::Absolute => self.lattice.origin[2],
        };
        self.lattice.offsets.iter().map(|o| o + start).collect()
    }

    fn plan_reference(&self, uid: &str) -> Item {
        let mut plan = Item::reference(uids::RT_PLAN_STORAGE, uid);
        if let Some(number) = self.fraction_group {
            let mut group =
                Item::new().integer(tags::REFERENCED_FRACTION_GROUP_NUMBER, number).built();
            let beam = |n: &i32| Item::new().integer(tags::REFERENCED_BEAM_NUMBER, n).built();
            if !self.beams.is_empty() {
                let beams = self.beams.iter().map(beam).collect();
                group.sequence(tags::REFERENCED_BEAM_SEQUENCE, beams);
            }
            plan.sequence(tags::REFERENCED_FRACTION_GROUP_SEQUENCE, vec![group]);
        }
        plan
    }

    /// The stored numbers as 16-bit words in file order: the low word of a 32-bit number comes
    /// first in little endian, the high word in big endian.
    fn words(&self) -> Result<Vec<u16>> {
        let scaling = self.scaling();
        let highest = if self.bits == 16 { 65_535.0 } else { f64::from(u32::MAX) };
        let steps = |dose: &f64| {
            let steps = if scaling > 0.0 { (dose / scaling).round() } else { 0.0 };
            steps.clamp(0.0, highest) as u32
        };
        let big = self.header.encoding == Encoding::ExplicitBig;
        let words = |n: u32| {
            let (high, low) = ((n >> 16) as u16, n as u16);
            match (self.bits, big) {
                (16, _) => vec![low],
                (_, true) => vec![high, low],
                (_, false) => vec![low, high],
            }
        };
        if ![16, 32].contains(&self.bits) {
            return Err(format!("{} bits a voxel are not written", self.bits).into());
        }
        Ok(self.values.iter().flat_map(|dose| words(steps(dose))).collect())
    }
}
