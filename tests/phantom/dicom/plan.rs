//! RT Plan (PS3.3 A.20): prescriptions, fraction groups, beams, what it refers to.

use dicom_dictionary_std::{tags, uids};
use tidydose_geometry::Point;

use super::Result;
use super::beam::Beam;
use super::encode::{Header, Item};

/// A dose reference: a prescription or a limit.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DoseReference {
    /// Dose Reference Number.
    pub number: i32,
    /// VOLUME, SITE, POINT or COORDINATES.
    pub structure_type: String,
    /// TARGET or ORGAN_AT_RISK.
    pub reference_type: String,
    /// Dose Reference Description; empty leaves it out.
    pub description: String,
    /// Referenced ROI Number.
    pub roi: Option<i32>,
    /// Target Prescription Dose, Gy.
    pub prescription: Option<f64>,
    /// Target Maximum Dose, Gy.
    pub maximum: Option<f64>,
    /// Organ at Risk Maximum Dose, Gy.
    pub organ_maximum: Option<f64>,
    /// Coordinates of a point.
    pub point: Option<Point>,
}

impl DoseReference {
    /// The prescription to a region.
    pub fn target(number: i32, roi: i32, dose: f64, description: &str) -> Self {
        Self {
            number,
            structure_type: "VOLUME".into(),
            reference_type: "TARGET".into(),
            description: description.into(),
            roi: Some(roi),
            prescription: Some(dose),
            ..Self::default()
        }
    }

    /// The prescription to a site, without a region.
    pub fn site(number: i32, dose: f64, description: &str) -> Self {
        let mut reference = Self::target(number, 0, dose, description);
        reference.structure_type = "SITE".into();
        reference.roi = None;
        reference
    }

    fn item(&self) -> Item {
        let mut item = Item::new();
        item.integer(tags::DOSE_REFERENCE_NUMBER, self.number)
            .text(tags::DOSE_REFERENCE_STRUCTURE_TYPE, &self.structure_type)
            .text(tags::DOSE_REFERENCE_TYPE, &self.reference_type);
        if !self.description.is_empty() {
            item.text(tags::DOSE_REFERENCE_DESCRIPTION, &self.description);
        }
        if let Some(roi) = self.roi {
            item.integer(tags::REFERENCED_ROI_NUMBER, roi);
        }
        let doses = [
            (tags::TARGET_PRESCRIPTION_DOSE, self.prescription),
            (tags::TARGET_MAXIMUM_DOSE, self.maximum),
            (tags::ORGAN_AT_RISK_MAXIMUM_DOSE, self.organ_maximum),
        ];
        for (tag, dose) in doses {
            if let Some(dose) = dose {
                item.decimals(tag, &[dose]);
            }
        }
        if let Some(point) = self.point {
            item.decimals(tags::DOSE_REFERENCE_POINT_COORDINATES, &point);
        }
        item
    }
}

/// What a fraction group says of a beam.
#[derive(Debug, Clone, PartialEq)]
pub struct BeamReference {
    /// Beam Number.
    pub beam: i32,
    /// Beam Meterset of one fraction.
    pub meterset: Option<f64>,
    /// Beam Dose of one fraction, Gy.
    pub dose: Option<f64>,
}

/// A fraction group.
#[derive(Debug, Clone, PartialEq)]
pub struct FractionGroup {
    /// Fraction Group Number.
    pub number: i32,
    /// Number of Fractions Planned; empty when absent.
    pub fractions: Option<i32>,
    /// Its beams.
    pub beams: Vec<BeamReference>,
}

/// A plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Who and what.
    pub header: Header,
    /// RT Plan Label.
    pub label: String,
    /// RT Plan Name.
    pub name: String,
    /// Plan Intent; empty leaves it out.
    pub intent: String,
    /// PATIENT or TREATMENT_DEVICE.
    pub geometry: String,
    /// Approval Status; empty leaves it out.
    pub approval: String,
    /// Prescription Description; empty leaves it out.
    pub prescription_description: String,
    /// Prescriptions and limits.
    pub dose_references: Vec<DoseReference>,
    /// Fraction groups.
    pub fraction_groups: Vec<FractionGroup>,
    /// Beams.
    pub beams: Vec<Beam>,
    /// Patient Position.
    pub position: String,
    /// Fixation Device Type and label; empty leaves it out.
    pub fixation: String,
    /// The structure set it refers to; empty leaves the reference out.
    pub structure_set_uid: String,
    /// The dose it refers to; empty leaves the reference out.
    pub dose_uid: String,
    /// Another plan and the RT Plan Relationship to it.
    pub related_plan: Option<(String, String)>,
}

impl Plan {
    /// An approved curative plan of one fraction group that holds all beams.
    pub fn new(header: Header, structure_set_uid: &str, fractions: i32, beams: Vec<Beam>) -> Self {
        let reference = |beam: &Beam| BeamReference {
            beam: beam.number,
            meterset: Some(beam.meterset),
            dose: beam.dose,
        };
        let group = FractionGroup {
            number: 1,
            fractions: Some(fractions),
            beams: beams.iter().map(reference).collect(),
        };
        Self {
            header,
            label: "PLAN".into(),
            name: String::new(),
            intent: "CURATIVE".into(),
            geometry: "PATIENT".into(),
            approval: "APPROVED".into(),
            prescription_description: String::new(),
            dose_references: Vec::new(),
            fraction_groups: vec![group],
            beams,
            position: "HFS".into(),
            fixation: "MASK".into(),
            structure_set_uid: structure_set_uid.into(),
            dose_uid: String::new(),
            related_plan: None,
        }
    }

    /// The bytes of the file.
    ///
    /// # Errors
    /// When the data set cannot be encoded.
    pub fn bytes(&self) -> Result<Vec<u8>> {
        let mut item = self.header.item(uids::RT_PLAN_STORAGE, "RTPLAN");
        item.text(tags::RT_PLAN_LABEL, &self.label)
            .text(tags::RT_PLAN_DATE, &self.header.date)
            .text(tags::RT_PLAN_TIME, "100000")
            .text(tags::RT_PLAN_GEOMETRY, &self.geometry)
            .sequence(tags::PATIENT_SETUP_SEQUENCE, vec![self.setup()])
            .sequence(
                tags::FRACTION_GROUP_SEQUENCE,
                self.fraction_groups.iter().map(group_item).collect(),
            );
        let texts = [
            (tags::RT_PLAN_NAME, &self.name),
            (tags::PLAN_INTENT, &self.intent),
            (tags::PRESCRIPTION_DESCRIPTION, &self.prescription_description),
            (tags::APPROVAL_STATUS, &self.approval),
        ];
        for (tag, text) in texts.into_iter().filter(|(_, text)| !text.is_empty()) {
            item.text(tag, text);
        }
        if self.approval == "APPROVED" {
            item.text(tags::REVIEW_DATE, &self.header.date)
                .text(tags::REVIEW_TIME, "110000")
                .text(tags::REVIEWER_NAME, "Invented^Reviewer");
        }
        if !self.dose_references.is_empty() {
            let all = self.dose_references.iter().map(DoseReference::item).collect();
            item.sequence(tags::DOSE_REFERENCE_SEQUENCE, all);
        }
        if !self.beams.is_empty() {
            item.sequence(tags::BEAM_SEQUENCE, self.beams.iter().map(Beam::item).collect());
        }
        self.references(&mut item);
        self.header.bytes(item)
    }

    fn setup(&self) -> Item {
        let mut setup = Item::new();
        setup.integer(tags::PATIENT_SETUP_NUMBER, 1).text(tags::PATIENT_POSITION, &self.position);
        if !self.fixation.is_empty() {
            let device = Item::new()
                .text(tags::FIXATION_DEVICE_TYPE, &self.fixation)
                .text(tags::FIXATION_DEVICE_LABEL, &self.fixation)
                .built();
            setup.sequence(tags::FIXATION_DEVICE_SEQUENCE, vec![device]);
        }
        setup
    }

    fn references(&self, item: &mut Item) {
        if !self.structure_set_uid.is_empty() {
            let set = Item::reference(uids::RT_STRUCTURE_SET_STORAGE, &self.structure_set_uid);
            item.sequence(tags::REFERENCED_STRUCTURE_SET_SEQUENCE, vec![set]);
        }
        if !self.dose_uid.is_empty() {
            let dose = Item::reference(uids::RT_DOSE_STORAGE, &self.dose_uid);
            item.sequence(tags::REFERENCED_DOSE_SEQUENCE, vec![dose]);
        }
        if let Some((uid, relationship)) = &self.related_plan {
            let plan = Item::reference(uids::RT_PLAN_STORAGE, uid)
                .text(tags::RT_PLAN_RELATIONSHIP, relationship)
                .built();
            item.sequence(tags::REFERENCED_RT_PLAN_SEQUENCE, vec![plan]);
        }
    }
}

fn group_item(group: &FractionGroup) -> Item {
    let beam = |reference: &BeamReference| {
        let mut item = Item::new();
        item.integer(tags::REFERENCED_BEAM_NUMBER, reference.beam);
        if let Some(meterset) = reference.meterset {
            item.decimals(tags::BEAM_METERSET, &[meterset]);
        }
        if let Some(dose) = reference.dose {
            item.decimals(tags::BEAM_DOSE, &[dose]);
        }
        item
    };
    let mut item = Item::new();
    item.integer(tags::FRACTION_GROUP_NUMBER, group.number)
        .text(
            tags::NUMBER_OF_FRACTIONS_PLANNED,
            &group.fractions.map_or_else(String::new, |n| n.to_string()),
        )
        .integer(tags::NUMBER_OF_BEAMS, group.beams.len())
        .integer(tags::NUMBER_OF_BRACHY_APPLICATION_SETUPS, 0);
    if !group.beams.is_empty() {
        item.sequence(tags::REFERENCED_BEAM_SEQUENCE, group.beams.iter().map(beam).collect());
    }
    item
}
