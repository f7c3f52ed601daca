//! The beams of an RT Plan (PS3.3 C.8.8.14) for three delivery technologies: shots of a
//! multi-source cobalt unit, static circular fields of a robot-arm linac, arcs of a gantry linac.

use dicom_dictionary_std::tags;
use tidydose_geometry::Point;

use super::encode::Item;

/// A circular applicator or collimator.
#[derive(Debug, Clone, PartialEq)]
pub struct Applicator {
    /// Applicator ID.
    pub id: String,
    /// Applicator Type.
    pub applicator_type: String,
    /// Diameter of the opening, mm.
    pub opening_mm: f64,
}

/// One control point; what is absent is not written, as when it does not change.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ControlPoint {
    /// Cumulative Meterset Weight.
    pub weight: f64,
    /// Nominal Beam Energy, MV.
    pub energy: Option<f64>,
    /// Gantry Angle, degrees, and Gantry Rotation Direction.
    pub gantry: Option<(f64, &'static str)>,
    /// Patient Support Angle, degrees.
    pub couch: Option<f64>,
    /// Isocenter Position, mm.
    pub isocentre: Option<Point>,
}

/// A beam.
#[derive(Debug, Clone, PartialEq)]
pub struct Beam {
    /// Beam Number.
    pub number: i32,
    /// Beam Name.
    pub name: String,
    /// STATIC or DYNAMIC.
    pub beam_type: String,
    /// Treatment Delivery Type.
    pub delivery: String,
    /// Treatment Machine Name.
    pub machine: String,
    /// Manufacturer of the machine and its model.
    pub maker: [String; 2],
    /// Primary Dosimeter Unit; empty leaves it out.
    pub dosimeter_unit: String,
    /// Source-Axis Distance, mm.
    pub source_axis_mm: f64,
    /// Applicator, if any.
    pub applicator: Option<Applicator>,
    /// Meterset of one fraction: MU, or minutes.
    pub meterset: f64,
    /// Beam Dose of one fraction, Gy.
    pub dose: Option<f64>,
    /// Two control points at least.
    pub control_points: Vec<ControlPoint>,
}

impl Beam {
    fn base(number: i32, name: String, machine: &str) -> Self {
        Self {
            number,
            name,
            beam_type: "STATIC".into(),
            delivery: "TREATMENT".into(),
            machine: machine.into(),
            maker: ["Invented".into(), machine.into()],
            dosimeter_unit: "MU".into(),
            source_axis_mm: 1000.0,
            applicator: None,
            meterset: 0.0,
            dose: None,
            control_points: Vec::new(),
        }
    }

    /// One shot of a cobalt unit with some 200 fixed sources: one isocentre, one collimator
    /// opening, so many minutes.
    pub fn shot(number: i32, isocentre: Point, opening_mm: f64, minutes: f64) -> Self {
        let mut beam = Self::base(number, format!("Shot {number}"), "COBALT201");
        beam.dosimeter_unit = "MINUTE".into();
        beam.source_axis_mm = 400.0;
        beam.meterset = minutes;
        beam.applicator = Some(circle(opening_mm));
        let start = ControlPoint {
            energy: Some(1.25),
            gantry: Some((0.0, "NONE")),
            couch: Some(0.0),
            isocentre: Some(isocentre),
            ..ControlPoint::default()
        };
        let end = ControlPoint { weight: 1.0, ..ControlPoint::default() };
        beam.control_points = vec![start, end];
        beam
    }

    /// One static field of a robot-arm linac through a target point; the angles stand for the
    /// node of the arm.
    pub fn node(
        number: i32,
        target: Point,
        angles: [f64; 2],
        (opening_mm, mu): (f64, f64),
    ) -> Self {
        let mut beam = Self::base(number, format!("Node {number}"), "ROBOT6");
        beam.source_axis_mm = 800.0;
        beam.meterset = mu;
        beam.applicator = Some(circle(opening_mm));
        let start = ControlPoint {
            energy: Some(6.0),
            gantry: Some((angles[0], "NONE")),
            couch: Some(angles[1]),
            isocentre: Some(target),
            ..ControlPoint::default()
        };
        let end = ControlPoint { weight: 1.0, ..ControlPoint::default() };
        beam.control_points = vec![start, end];
        beam
    }

    /// One arc of a gantry linac from one angle to another at a couch angle, a control point every
    /// ten degrees or so.
    pub fn arc(number: i32, isocentre: Point, couch: f64, (from, to, mu): (f64, f64, f64)) -> Self {
        let mut beam = Self::base(number, format!("Arc {number}"), "GANTRY6");
        beam.beam_type = "DYNAMIC".into();
        beam.meterset = mu;
        let steps = ((to - from).abs() / 10.0).round().max(1.0) as i32;
        let turn = if to > from { "CW" } else { "CC" };
        let point = |k: i32| {
            let share = f64::from(k) / f64::from(steps);
            let angle = (from + share * (to - from)).rem_euclid(360.0);
            let first = k == 0;
            ControlPoint {
                weight: share,
                energy: first.then_some(6.0),
                gantry: Some((angle, if k == steps { "NONE" } else { turn })),
                couch: first.then_some(couch),
                isocentre: first.then_some(isocentre),
            }
        };
        beam.control_points = (0..=steps).map(point).collect();
        beam
    }

    pub(super) fn item(&self) -> Item {
        let mut item = Item::new();
        item.text(tags::MANUFACTURER, &self.maker[0])
            .text(tags::MANUFACTURER_MODEL_NAME, &self.maker[1])
            .integer(tags::BEAM_NUMBER, self.number)
            .text(tags::BEAM_NAME, &self.name)
            .text(tags::BEAM_TYPE, &self.beam_type)
            .text(tags::RADIATION_TYPE, "PHOTON")
            .text(tags::TREATMENT_DELIVERY_TYPE, &self.delivery)
            .text(tags::TREATMENT_MACHINE_NAME, &self.machine)
            .decimals(tags::SOURCE_AXIS_DISTANCE, &[self.source_axis_mm])
            .integer(tags::NUMBER_OF_WEDGES, 0)
            .integer(tags::NUMBER_OF_COMPENSATORS, 0)
            .integer(tags::NUMBER_OF_BOLI, 0)
            .integer(tags::NUMBER_OF_BLOCKS, 0)
            .integer(tags::REFERENCED_PATIENT_SETUP_NUMBER, 1)
            .decimals(tags::FINAL_CUMULATIVE_METERSET_WEIGHT, &[1.0])
            .integer(tags::NUMBER_OF_CONTROL_POINTS, self.control_points.len())
            .sequence(tags::BEAM_LIMITING_DEVICE_SEQUENCE, limiting_devices())
            .sequence(
                tags::CONTROL_POINT_SEQUENCE,
                self.control_points.iter().enumerate().map(control_point).collect(),
            );
        if !self.dosimeter_unit.is_empty() {
            item.text(tags::PRIMARY_DOSIMETER_UNIT, &self.dosimeter_unit);
        }
        if let Some(applicator) = &self.applicator {
            item.sequence(tags::APPLICATOR_SEQUENCE, vec![applicator_item(applicator)]);
        }
        item
    }
}

fn circle(opening_mm: f64) -> Applicator {
    Applicator { id: format!("C{opening_mm}"), applicator_type: "STEREOTACTIC".into(), opening_mm }
}

fn applicator_item(applicator: &Applicator) -> Item {
    let geometry = Item::new()
        .text(tags::APPLICATOR_APERTURE_SHAPE, "SYM_CIRCULAR")
        .decimals(tags::APPLICATOR_OPENING, &[applicator.opening_mm])
        .built();
    Item::new()
        .text(tags::APPLICATOR_ID, &applicator.id)
        .text(tags::APPLICATOR_TYPE, &applicator.applicator_type)
        .sequence(tags::APPLICATOR_GEOMETRY_SEQUENCE, vec![geometry])
        .built()
}

fn limiting_devices() -> Vec<Item> {
    let device = |axis: &str| {
        Item::new()
            .text(tags::RT_BEAM_LIMITING_DEVICE_TYPE, axis)
            .integer(tags::NUMBER_OF_LEAF_JAW_PAIRS, 1)
            .built()
    };
    vec![device("X"), device("Y")]
}

fn control_point((index, point): (usize, &ControlPoint)) -> Item {
    let mut item = Item::new();
    item.integer(tags::CONTROL_POINT_INDEX, index)
        .decimals(tags::CUMULATIVE_METERSET_WEIGHT, &[point.weight]);
    if let Some(energy) = point.energy {
        item.decimals(tags::NOMINAL_BEAM_ENERGY, &[energy]);
    }
    if let Some((angle, turn)) = point.gantry {
        item.decimals(tags::GANTRY_ANGLE, &[angle]).text(tags::GANTRY_ROTATION_DIRECTION, turn);
    }
    if let Some(angle) = point.couch {
        item.decimals(tags::PATIENT_SUPPORT_ANGLE, &[angle])
            .text(tags::PATIENT_SUPPORT_ROTATION_DIRECTION, "NONE")
            .decimals(tags::BEAM_LIMITING_DEVICE_ANGLE, &[0.0])
            .text(tags::BEAM_LIMITING_DEVICE_ROTATION_DIRECTION, "NONE")
            .decimals(tags::TABLE_TOP_ECCENTRIC_ANGLE, &[0.0])
            .text(tags::TABLE_TOP_ECCENTRIC_ROTATION_DIRECTION, "NONE")
            .text(tags::TABLE_TOP_VERTICAL_POSITION, "")
            .text(tags::TABLE_TOP_LONGITUDINAL_POSITION, "")
            .text(tags::TABLE_TOP_LATERAL_POSITION, "");
    }
    if let Some(isocentre) = point.isocentre {
        item.decimals(tags::ISOCENTER_POSITION, &isocentre);
    }
    item
}
