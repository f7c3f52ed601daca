//! What was drawn: a structure set with its structures (ROIs) and their contours.

use std::collections::BTreeMap;

use super::Origin;
use super::image::ImagePlanes;
use super::plane_spacing::PlaneSpacing;
use super::registration::Rigid;
use crate::identity::Token;
use tidydose_geometry::Point;
use tidydose_geometry::units::{CubicCentimetre, Day};

/// Contour Geometric Type (3006,0042).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ContourType {
    /// One point.
    Point,
    /// A line on a plane; encloses nothing.
    OpenPlanar,
    /// A line in space; encloses nothing.
    OpenNonplanar,
    /// A closed curve on a plane.
    ClosedPlanar,
    /// A closed curve on a plane, combined with the others of its ROI by exclusive-or.
    ClosedPlanarXor,
}

/// One contour: points in the patient coordinate system, mm, in file order. A closed contour
/// closes itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Contour {
    /// Contour Geometric Type.
    pub kind: ContourType,
    /// Contour Data as points.
    pub points: Vec<Point>,
}

/// What is known of an ROI without its contours.
#[derive(Debug, Clone, PartialEq)]
pub struct RoiHeader {
    /// ROI Number (3006,0022), the key within the structure set.
    pub number: i64,
    /// ROI Name (3006,0026); empty when absent, replaced when it holds an identifier.
    pub name: String,
    /// RT ROI Interpreted Type (3006,00A4) of the first observation that states one.
    pub interpreted_type: Option<String>,
    /// ROI Generation Algorithm (3006,0036).
    pub generation_algorithm: Option<String>,
    /// Frame of the ROI (3006,0024), else that of the structure set.
    pub frame: Option<Token>,
    /// ROI Volume (3006,002C) as the exporter stated it.
    pub stated_volume: Option<CubicCentimetre>,
    /// Distance between the planes it was drawn on, where its items, the other structures of the
    /// set or its images tell.
    pub plane_spacing: Option<PlaneSpacing>,
    /// The slices of the series that the contours refer to, where they are in the archive.
    pub image_planes: Option<ImagePlanes>,
    /// Whether Source Pixel Planes Characteristics (3006,004A) is there, which makes a plane
    /// without contours a true gap.
    pub planes_complete: bool,
    /// Number of contours.
    pub contours: usize,
}

impl RoiHeader {
    /// A structure of which nothing is known but number and name.
    #[must_use]
    pub fn named(number: i64, name: impl Into<String>) -> Self {
        Self {
            number,
            name: name.into(),
            interpreted_type: None,
            generation_algorithm: None,
            frame: None,
            stated_volume: None,
            plane_spacing: None,
            image_planes: None,
            planes_complete: false,
            contours: 0,
        }
    }
}

/// One structure.
#[derive(Debug, Clone, PartialEq)]
pub struct Roi {
    /// Everything but the contours.
    pub header: RoiHeader,
    /// The contours in file order.
    pub contours: Vec<Contour>,
    /// Set when contours of this structure cannot be trusted: the structure is refused and this
    /// is the reason.
    pub refused: Option<String>,
}

/// A structure set without its contours.
#[derive(Debug, Clone, PartialEq)]
pub struct StructureSetHeader {
    /// File, SOP instance and patient.
    pub origin: Origin,
    /// Frame of reference of the structure set (the first one it lists).
    pub frame: Option<Token>,
    /// Structure Set Date (3006,0008).
    pub day: Option<Day>,
    /// First day of the images it refers to, of those that were found.
    pub imaged: Option<Day>,
    /// The structures, by ascending ROI Number.
    pub rois: Vec<RoiHeader>,
    /// Lowest and highest coordinates of the contour points of each structure that has any, mm,
    /// by ROI Number.
    pub extents: BTreeMap<i64, [Point; 2]>,
}

/// A structure set with everything that is needed to measure.
#[derive(Debug, Clone, PartialEq)]
pub struct StructureSet {
    /// File, SOP instance and patient.
    pub origin: Origin,
    /// Frame of reference of the structure set.
    pub frame: Option<Token>,
    /// The structures, by ascending ROI Number.
    pub rois: Vec<Roi>,
}

impl StructureSet {
    /// Lowest and highest coordinates of the points of each structure, mm, by ROI Number.
    #[must_use]
    pub fn extents(&self) -> BTreeMap<i64, [Point; 2]> {
        let extent = |roi: &Roi| {
            let mut points = roi.contours.iter().flat_map(|c| &c.points);
            let first = *points.next()?;
            let box_of = points.fold([first, first], |[low, high], p| {
                let pick = |choose: fn(f64, f64) -> f64, q: Point| {
                    [choose(p[0], q[0]), choose(p[1], q[1]), choose(p[2], q[2])]
                };
                [pick(f64::min, low), pick(f64::max, high)]
            });
            Some((roi.header.number, box_of))
        };
        self.rois.iter().filter_map(extent).collect()
    }

    /// Moves the structures whose frame of reference has a motion into the frame `into`.
    pub fn bring_into(&mut self, into: &Token, motions: &BTreeMap<Token, Rigid>) {
        for roi in &mut self.rois {
            let own = roi.header.frame.as_ref().or(self.frame.as_ref());
            let Some(motion) = own.and_then(|frame| motions.get(frame)) else { continue };
            for point in roi.contours.iter_mut().flat_map(|c| &mut c.points) {
                *point = motion.apply(*point);
            }
            roi.header.frame = Some(into.clone());
            roi.header.image_planes = None; // they stay in the old frame
        }
    }

    /// What the header knows of image planes and the contours alone do not: from the image series
    /// that an inventory found.
    pub fn take_image_planes(&mut self, header: &StructureSetHeader) {
        for roi in &mut self.rois {
            let known = header.rois.iter().find(|known| known.number == roi.header.number);
            let own = &mut roi.header;
            own.plane_spacing = own.plane_spacing.or_else(|| known?.plane_spacing);
            own.image_planes = known.and_then(|known| known.image_planes);
        }
    }
}
