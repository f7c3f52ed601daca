//! RT Structure Set (PS3.3 A.19) from named solids or free contours.

use dicom_dictionary_std::{tags, uids};
use tidydose_geometry::Point;
use tidydose_geometry::point::{add, scale};

use super::Result;
use super::encode::{Header, Item, decimal, rounded};
use crate::phantom::solid::{PlaneStack, Solid};

/// One contour.
#[derive(Debug, Clone, PartialEq)]
pub struct Contour {
    /// Vertices, mm.
    pub points: Vec<Point>,
    /// Contour Geometric Type.
    pub geometric_type: String,
    /// Number of Contour Points as stated; the true number when absent.
    pub stated_points: Option<usize>,
}

impl Contour {
    /// A closed planar contour.
    pub fn closed(points: Vec<Point>) -> Self {
        Self { points, geometric_type: "CLOSED_PLANAR".into(), stated_points: None }
    }
}

/// A region of interest.
#[derive(Debug, Clone, PartialEq)]
pub struct Roi {
    /// ROI Number.
    pub number: i32,
    /// ROI Name.
    pub name: String,
    /// RT ROI Interpreted Type; empty is written empty.
    pub interpreted_type: String,
    /// The contours in file order; none: no Contour Sequence is written.
    pub contours: Vec<Contour>,
    /// Frame of reference of this ROI; the structure set's when absent.
    pub frame_uid: Option<String>,
    /// Whether the ROI has an item in the ROI Contour Sequence at all.
    pub in_contour_sequence: bool,
    /// Decimals of the coordinates; absent: as many as a decimal string holds.
    pub decimals: Option<usize>,
}

impl Roi {
    /// A region without contours.
    pub fn new(number: i32, name: &str, interpreted_type: &str) -> Self {
        Self {
            number,
            name: name.into(),
            interpreted_type: interpreted_type.into(),
            contours: Vec::new(),
            frame_uid: None,
            in_contour_sequence: true,
            decimals: None,
        }
    }

    /// The same region with the outlines of a solid on a stack of planes; holes are contours of
    /// their own.
    #[must_use]
    pub fn outlining(mut self, solid: &Solid, stack: &PlaneStack, vertices: usize) -> Self {
        let outlines = solid.sections(stack, vertices);
        self.contours.extend(outlines.into_iter().map(|o| Contour::closed(o.points)));
        self
    }

    /// All contours with another Contour Geometric Type.
    #[must_use]
    pub fn typed(mut self, geometric_type: &str) -> Self {
        for contour in &mut self.contours {
            contour.geometric_type = geometric_type.into();
        }
        self
    }

    /// The coordinates rounded to so many decimals of a mm.
    #[must_use]
    pub fn rounded(mut self, decimals: usize) -> Self {
        self.decimals = Some(decimals);
        self
    }

    /// The contours in an order without meaning: every fifth, then every fifth of the rest.
    #[must_use]
    pub fn disordered(mut self) -> Self {
        let mut left: Vec<Contour> = std::mem::take(&mut self.contours);
        left.reverse();
        while !left.is_empty() {
            let (mut kept, mut taken) = (Vec::new(), Vec::new());
            for (i, contour) in left.into_iter().enumerate() {
                if i % 5 == 2 || i == 0 { taken.push(contour) } else { kept.push(contour) }
            }
            self.contours.append(&mut taken);
            left = kept;
        }
        self
    }

    /// Each contour moved along a direction by up to `amount` mm: -1, -⅓, ⅓, 1 times it in turn.
    #[must_use]
    pub fn jittered(mut self, direction: Point, amount: f64) -> Self {
        for (i, contour) in self.contours.iter_mut().enumerate() {
            let by = scale(direction, amount * [-1.0, 1.0 / 3.0, 1.0, -1.0 / 3.0][i % 4]);
            contour.points.iter_mut().for_each(|p| *p = add(*p, by));
        }
        self
    }

    /// Number of Contour Points stated off by `by` in every contour.
    #[must_use]
    pub fn miscounted(mut self, by: isize) -> Self {
        for contour in &mut self.contours {
            contour.stated_points = contour.points.len().checked_add_signed(by);
        }
        self
    }

    fn coordinates(&self, contour: &Contour) -> Vec<String> {
        let text = |x: f64| self.decimals.map_or_else(|| decimal(x), |n| rounded(x, n));
        contour.points.iter().flatten().map(|x| text(*x)).collect()
    }
}

/// A structure set.
#[derive(Debug, Clone, PartialEq)]
pub struct StructureSet {
    /// Who and what.
    pub header: Header,
    /// Structure Set Label.
    pub label: String,
    /// Structure Set Name.
    pub name: String,
    /// The regions.
    pub rois: Vec<Roi>,
    /// SOP Instance UIDs of the CT images it was drawn on.
    pub image_uids: Vec<String>,
    /// Series of these images.
    pub image_series_uid: String,
    /// Whether frame of reference UIDs are written into sequence and ROIs.
    pub references_frame: bool,
}

impl StructureSet {
    /// A structure set of regions, in the frame of reference of the header.
    pub fn new(header: Header, rois: Vec<Roi>) -> Self {
        Self {
            image_series_uid: format!("{}.1", header.study_uid),
            header,
            label: "STRUCTURES".into(),
            name: String::new(),
            rois,
            image_uids: Vec::new(),
            references_frame: true,
        }
    }

    /// The bytes of the file.
    ///
    /// # Errors
    /// When the data set cannot be encoded.
    pub fn bytes(&self) -> Result<Vec<u8>> {
        let mut item = self.header.item(uids::RT_STRUCTURE_SET_STORAGE, "RTSTRUCT");
        item.text(tags::STRUCTURE_SET_LABEL, &self.label)
            .text(tags::STRUCTURE_SET_DATE, &self.header.date)
            .text(tags::STRUCTURE_SET_TIME, "090000")
            .sequence(tags::STRUCTURE_SET_ROI_SEQUENCE, self.regions())
            .sequence(tags::ROI_CONTOUR_SEQUENCE, self.contours())
            .sequence(tags::RTROI_OBSERVATIONS_SEQUENCE, self.observations())
            .text(tags::APPROVAL_STATUS, "UNAPPROVED");
        if !self.name.is_empty() {
            item.text(tags::STRUCTURE_SET_NAME, &self.name);
        }
        if self.references_frame {
            item.sequence(tags::REFERENCED_FRAME_OF_REFERENCE_SEQUENCE, vec![self.frame()]);
        }
        self.header.bytes(item)
    }

    fn frame(&self) -> Item {
        let image = |uid: &String| Item::reference(uids::CT_IMAGE_STORAGE, uid);
        let mut frame = Item::new();
        frame.text(tags::FRAME_OF_REFERENCE_UID, &self.header.frame_uid);
        if self.image_uids.is_empty() {
            return frame;
        }
        let series = Item::new()
            .text(tags::SERIES_INSTANCE_UID, &self.image_series_uid)
            .sequence(tags::CONTOUR_IMAGE_SEQUENCE, self.image_uids.iter().map(image).collect())
            .built();
        let study = Item::reference("1.2.840.10008.3.1.2.3.1", &self.header.study_uid)
            .sequence(tags::RT_REFERENCED_SERIES_SEQUENCE, vec![series])
            .built();
        frame.sequence(tags::RT_REFERENCED_STUDY_SEQUENCE, vec![study]);
        frame
    }

    fn regions(&self) -> Vec<Item> {
        let frame = |roi: &Roi| roi.frame_uid.clone().unwrap_or(self.header.frame_uid.clone());
        let region = |roi: &Roi| {
            let mut item = Item::new();
            item.integer(tags::ROI_NUMBER, roi.number)
                .text(tags::ROI_NAME, &roi.name)
                .text(tags::ROI_GENERATION_ALGORITHM, "MANUAL");
            if self.references_frame {
                item.text(tags::REFERENCED_FRAME_OF_REFERENCE_UID, &frame(roi));
            }
            item
        };
        self.rois.iter().map(region).collect()
    }

    fn contours(&self) -> Vec<Item> {
        let contour = |roi: &Roi, c: &Contour| {
            Item::new()
                .text(tags::CONTOUR_GEOMETRIC_TYPE, &c.geometric_type)
                .integer(tags::NUMBER_OF_CONTOUR_POINTS, c.stated_points.unwrap_or(c.points.len()))
                .texts(tags::CONTOUR_DATA, roi.coordinates(c))
                .built()
        };
        let region = |roi: &Roi| {
            let mut item = Item::new();
            item.texts(tags::ROI_DISPLAY_COLOR, ["230", "159", "0"].map(String::from).to_vec())
                .integer(tags::REFERENCED_ROI_NUMBER, roi.number);
            if !roi.contours.is_empty() {
                let all = roi.contours.iter().map(|c| contour(roi, c)).collect();
                item.sequence(tags::CONTOUR_SEQUENCE, all);
            }
            item
        };
        self.rois.iter().filter(|roi| roi.in_contour_sequence).map(region).collect()
    }

    fn observations(&self) -> Vec<Item> {
        let observation = |(i, roi): (usize, &Roi)| {
            Item::new()
                .integer(tags::OBSERVATION_NUMBER, i + 1)
                .integer(tags::REFERENCED_ROI_NUMBER, roi.number)
                .text(tags::RTROI_INTERPRETED_TYPE, &roi.interpreted_type)
                .text(tags::ROI_INTERPRETER, "")
                .built()
        };
        self.rois.iter().enumerate().map(observation).collect()
    }
}
