//! Small objects for the tests of this room.

use tidydose_geometry::Grid;
use tidydose_geometry::units::Gray;
use tidydose_rt::identity::Token;
use tidydose_rt::{
    Beam, DoseHeader, DoseSummation, DoseType, DoseUnits, Origin, Person, Plan, RoiHeader,
    StructureSetHeader,
};

pub(crate) fn token(text: &str) -> Token {
    Token::new(text)
}

fn origin(object: &str) -> Origin {
    Origin {
        file: token(&format!("file-{object}")),
        object: token(object),
        patient: Some(token("patient")),
        digest: String::new(),
        person: Person::default(),
    }
}

pub(crate) fn roi(number: i64, name: &str) -> RoiHeader {
    RoiHeader { frame: Some(token("frame")), contours: 5, ..RoiHeader::named(number, name) }
}

pub(crate) fn structure_set(object: &str) -> StructureSetHeader {
    StructureSetHeader {
        origin: origin(object),
        frame: Some(token("frame")),
        day: None,
        imaged: None,
        rois: vec![roi(1, "GTV1"), roi(2, "Brainstem")],
        extents: [1, 2].map(|number| (number, [[0.5; 3], [1.5; 3]])).into(),
    }
}

pub(crate) fn plan(object: &str, structure_set: &str) -> Plan {
    Plan {
        origin: origin(object),
        frame: Some(token("frame")),
        day: None,
        second: None,
        label: None,
        era: None,
        intent: None,
        approval: None,
        on_device: false,
        structure_set: Some(token(structure_set)),
        related: Vec::new(),
        dose_references: Vec::new(),
        fraction_groups: Vec::new(),
        beams: Vec::new(),
        fixation: Vec::new(),
        ion: false,
    }
}

pub(crate) fn dose(object: &str, plan: &str) -> DoseHeader {
    let directions = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
    let grid = Grid::new([0.0; 3], directions, [1.0, 1.5], vec![0.0, 2.0], [4, 4]).unwrap();
    DoseHeader {
        origin: origin(object),
        frame: Some(token("frame")),
        units: DoseUnits::Gray,
        kind: DoseType::Physical,
        summation: DoseSummation::Plan,
        plans: vec![token(plan)],
        structure_set: None,
        stored_dvhs: Vec::new(),
        groups: Vec::new(),
        overview_fractions: None,
        grid: Some(grid),
        step: Some(Gray::gy(1e-6)),
        bits: Some(32),
        heterogeneity: None,
        maximum: Some(24.0),
        hottest: Some([1.0; 3]),
        voxels: None,
    }
}

pub(crate) fn beam(number: i64, beam_type: &str, unit: &str) -> Beam {
    Beam {
        number,
        beam_type: Some(beam_type.to_owned()),
        radiation_type: Some("PHOTON".to_owned()),
        delivery_type: None,
        machine: None,
        dosimeter_unit: Some(unit.to_owned()),
        applicators: Vec::new(),
        control_points: 2,
        isocentres: Vec::new(),
        gantry_angles: None,
        couch_angles: Vec::new(),
    }
}
