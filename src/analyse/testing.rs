//! Small cases for the tests of this room: balls under names.

use std::collections::BTreeMap;

use tidydose_case::{Case, Decisions, identify, link};
use tidydose_geometry::Point;
use tidydose_rt::identity::Token;
use tidydose_rt::{
    Contour, ContourType, Inventory, Origin, Person, Plan, Roi, RoiHeader, StructureSet,
    StructureSetHeader,
};

/// Distance of the contour planes, mm.
const STEP_MM: f64 = 1.0;

/// A ball as circles on planes.
pub(crate) fn ball(number: i64, centre: Point, radius_mm: f64) -> Roi {
    #[allow(clippy::cast_possible_truncation)]
    let planes = (radius_mm / STEP_MM).floor() as i32;
    let contours: Vec<Contour> = (-planes..=planes)
        .map(|i| f64::from(i) * STEP_MM)
        .filter(|dz| dz.abs() < radius_mm)
        .map(|dz| {
            let r = (radius_mm * radius_mm - dz * dz).sqrt();
            let at = |k: i32| {
                let (sin, cos) = (f64::from(k) * std::f64::consts::TAU / 72.0).sin_cos();
                [centre[0] + r * cos, centre[1] + r * sin, centre[2] + dz]
            };
            Contour { kind: ContourType::ClosedPlanar, points: (0..72).map(at).collect() }
        })
        .collect();
    let header = RoiHeader { contours: contours.len(), ..header(number, "") };
    Roi { header, contours, refused: None }
}

fn header(number: i64, name: &str) -> RoiHeader {
    RoiHeader { frame: Some(Token::new("frame")), contours: 5, ..RoiHeader::named(number, name) }
}

fn origin(object: &str) -> Origin {
    Origin {
        file: Token::new(format!("file-{object}")),
        object: Token::new(object),
        patient: Some(Token::new("patient")),
        digest: String::new(),
        person: Person::default(),
    }
}

/// These structures as a set.
pub(crate) fn set_of(rois: Vec<Roi>) -> StructureSet {
    StructureSet { origin: origin("set"), frame: Some(Token::new("frame")), rois }
}

/// A case whose structures carry these names, numbered from 1.
pub(crate) fn case_of(names: &[&str]) -> Case {
    let rois = (1..).zip(names).map(|(number, name)| header(number, name)).collect();
    let set = StructureSetHeader {
        origin: origin("set"),
        frame: Some(Token::new("frame")),
        day: None,
        imaged: None,
        rois,
        extents: BTreeMap::new(),
    };
    let plan = Plan {
        origin: origin("plan"),
        frame: Some(Token::new("frame")),
        day: None,
        era: None,
        intent: None,
        approval: None,
        on_device: false,
        structure_set: Some(Token::new("set")),
        dose_references: Vec::new(),
        fraction_groups: Vec::new(),
        beams: Vec::new(),
        fixation: Vec::new(),
        ion: false,
        label: None,
        related: Vec::new(),
        second: None,
    };
    let inventory =
        Inventory { plans: vec![plan], structure_sets: vec![set], ..Inventory::default() };
    let (mut cases, _) = link(&inventory);
    identify(&mut cases, &Decisions::default());
    cases.remove(0)
}
