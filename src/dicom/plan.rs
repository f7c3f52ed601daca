//! RT Plan and RT Ion Plan (PS3.3 A.20 and A.49) to [`rt::Plan`]. Attributes that a control point
//! leaves out are those of the control point before it. Must not judge whether a plan was treated.

use chrono::Datelike;
use dicom_core::Tag;
use dicom_dictionary_std::{tags, uids};

use super::attribute::Attributes;
use super::error::Error;
use super::object::Object;
use super::quirks::withheld_name::Identifiers;
use tidydose_geometry::Point;
use tidydose_geometry::units::Gray;
use tidydose_rt::finding::Code;
use tidydose_rt::identity::{Kind, Token};
use tidydose_rt::{
    Beam, BeamShare, DoseReference, DoseReferenceType, FractionGroup, Plan, PlanRelation,
};

/// Reads the plan.
///
/// # Errors
/// When it is no plan, or a number it is keyed by cannot be read.
pub(super) fn plan(object: &Object<'_>) -> Result<Plan, Error> {
    let root = object.root();
    let ion = root.uid(tags::SOP_CLASS_UID) == Some(uids::RT_ION_PLAN_STORAGE);
    let date = root.date(tags::RT_PLAN_DATE);
    let references = root.items(tags::DOSE_REFERENCE_SEQUENCE).map(|i| dose_reference(&i));
    let groups = root.items(tags::FRACTION_GROUP_SEQUENCE).map(|i| fraction_group(&i));
    let sequence = if ion { tags::ION_BEAM_SEQUENCE } else { tags::BEAM_SEQUENCE };
    let beams = root.items(sequence).map(|item| beam(object, &item, ion));
    let setups = root.items(tags::PATIENT_SETUP_SEQUENCE);
    let devices = setups.flat_map(|s| s.items(tags::FIXATION_DEVICE_SEQUENCE));
    let structure_sets = root.references(tags::REFERENCED_STRUCTURE_SET_SEQUENCE);
    let people = Identifiers::of(object);
    Ok(Plan {
        origin: object.origin()?,
        frame: root.uid(tags::FRAME_OF_REFERENCE_UID).map(|uid| object.token(Kind::Frame, uid)),
        day: date.and_then(|date| object.day(date)),
        era: date.map(|date| date.year().div_euclid(5) * 5),
        second: root.text(tags::RT_PLAN_TIME).and_then(second_of_day),
        label: root.text(tags::RT_PLAN_LABEL).map(|l| object.token(Kind::Label, l)),
        intent: people.open_code(&root, tags::PLAN_INTENT),
        approval: people.open_code(&root, tags::APPROVAL_STATUS),
        on_device: root.code(tags::RT_PLAN_GEOMETRY).as_deref() == Some("TREATMENT_DEVICE"),
        structure_set: structure_sets.first().map(|uid| object.token(Kind::Object, uid)),
        related: related(object, &root),
        dose_references: references.collect::<Result<_, _>>()?,
        fraction_groups: groups.collect::<Result<_, _>>()?,
        beams: beams.collect::<Result<_, _>>()?,
        fixation: distinct(
            devices.filter_map(|d| people.open_code(&d, tags::FIXATION_DEVICE_TYPE)),
        ),
        ion,
    })
}

/// The plans it refers to with a relationship of the standard, each once.
fn related(object: &Object<'_>, root: &Attributes<'_>) -> Vec<(PlanRelation, Token)> {
    let relation = |item: &Attributes<'_>| {
        let term = item.code(tags::RT_PLAN_RELATIONSHIP)?;
        PlanRelation::TERMS.iter().find(|(_, known)| *known == term).map(|(r, _)| *r)
    };
    let pairs = root.items(tags::REFERENCED_RT_PLAN_SEQUENCE).filter_map(|item| {
        let uid = item.uid(tags::REFERENCED_SOP_INSTANCE_UID)?;
        Some((relation(&item)?, object.token(Kind::Object, uid)))
    });
    let set: std::collections::BTreeSet<_> = pairs.collect();
    set.into_iter().collect()
}

/// Seconds since midnight of a time HHMMSS with or without fraction; nothing where it is none.
fn second_of_day(text: &str) -> Option<u32> {
    let part = |from: usize, below: u32| {
        let digits = text.get(from..from + 2).unwrap_or("00");
        digits.parse::<u32>().ok().filter(|n| *n < below)
    };
    text.get(..2)?;
    Some(part(0, 24)? * 3600 + part(2, 60)? * 60 + part(4, 61)?)
}

fn dose_reference(item: &Attributes<'_>) -> Result<DoseReference, Error> {
    let kind = match item.code(tags::DOSE_REFERENCE_TYPE).as_deref() {
        Some("TARGET") => Some(DoseReferenceType::Target),
        Some("ORGAN_AT_RISK") => Some(DoseReferenceType::OrganAtRisk),
        _ => None,
    };
    Ok(DoseReference {
        number: item.required_integer(tags::DOSE_REFERENCE_NUMBER)?,
        structure_type: item.code(tags::DOSE_REFERENCE_STRUCTURE_TYPE).unwrap_or_default(),
        kind,
        roi_number: item.integer(tags::REFERENCED_ROI_NUMBER)?,
        prescription: dose(item, tags::TARGET_PRESCRIPTION_DOSE)?,
    })
}

/// A dose of the plan, Gy: zero stands for "not stated" in practice, a negative one is refused.
fn dose(item: &Attributes<'_>, tag: Tag) -> Result<Option<Gray>, Error> {
    match item.number(tag)? {
        Some(value) if value < 0.0 => {
            Err(super::attribute::invalid(tag, &value.to_string(), "a dose of 0 Gy or more"))
        }
        value => Ok(value.filter(|v| *v > 0.0).map(Gray::gy)),
    }
}

fn fraction_group(item: &Attributes<'_>) -> Result<FractionGroup, Error> {
    let tag = tags::NUMBER_OF_FRACTIONS_PLANNED;
    let planned = match item.integer(tag)? {
        Some(n) => {
            let count = u32::try_from(n).ok().filter(|n| *n > 0);
            if count.is_none() {
                let message = format!("{n} fractions; read as not stated");
                item.note(Code::AttributeDoubtful, tag, message);
            }
            count
        }
        None => None,
    };
    let shares = item.items(tags::REFERENCED_BEAM_SEQUENCE).map(|share| {
        Ok(BeamShare {
            beam_number: share.required_integer(tags::REFERENCED_BEAM_NUMBER)?,
            dose: dose(&share, tags::BEAM_DOSE)?,
            meterset: share.number(tags::BEAM_METERSET)?,
        })
    });
    Ok(FractionGroup {
        number: item.required_integer(tags::FRACTION_GROUP_NUMBER)?,
        fractions: planned,
        beams: shares.collect::<Result<_, Error>>()?,
    })
}

fn beam(object: &Object<'_>, item: &Attributes<'_>, ion: bool) -> Result<Beam, Error> {
    let sequence =
        if ion { tags::ION_CONTROL_POINT_SEQUENCE } else { tags::CONTROL_POINT_SEQUENCE };
    let points = control_points(item, sequence)?;
    let stated = item.integer(tags::NUMBER_OF_CONTROL_POINTS)?;
    if let Some(stated) = stated.filter(|n| usize::try_from(*n).ok() != Some(points.count)) {
        let found = stated.to_string();
        let accepted = format!("{}, the number of items", points.count);
        let tag = tags::NUMBER_OF_CONTROL_POINTS;
        return Err(super::attribute::invalid(tag, &found, &accepted));
    }
    let applicators = item.items(tags::APPLICATOR_SEQUENCE);
    let machine = item.text(tags::TREATMENT_MACHINE_NAME);
    Ok(Beam {
        number: item.required_integer(tags::BEAM_NUMBER)?,
        beam_type: item.code(tags::BEAM_TYPE),
        radiation_type: item.code(tags::RADIATION_TYPE),
        delivery_type: item.code(tags::TREATMENT_DELIVERY_TYPE),
        machine: machine.map(|name| object.token(Kind::Machine, name)),
        dosimeter_unit: item.code(tags::PRIMARY_DOSIMETER_UNIT),
        applicators: distinct(applicators.filter_map(|a| a.code(tags::APPLICATOR_TYPE))),
        control_points: points.count,
        isocentres: points.isocentres,
        gantry_angles: points.gantry,
        couch_angles: points.couch,
    })
}

#[derive(Default)]
struct ControlPoints {
    count: usize,
    isocentres: Vec<Point>,
    gantry: Option<[f64; 2]>,
    couch: Vec<f64>,
}

/// Only what a control point states can be new: what it leaves out repeats the one before it.
fn control_points(beam: &Attributes<'_>, sequence: Tag) -> Result<ControlPoints, Error> {
    let mut found = ControlPoints::default();
    for point in beam.items(sequence) {
        found.count += 1;
        if let Some(isocentre) = point.vector::<3>(tags::ISOCENTER_POSITION)?
            && !found.isocentres.contains(&isocentre)
        {
            found.isocentres.push(isocentre);
        }
        if let Some(angle) = point.optional_number(tags::GANTRY_ANGLE) {
            let [low, high] = found.gantry.unwrap_or([angle; 2]);
            found.gantry = Some([low.min(angle), high.max(angle)]);
        }
        if let Some(angle) = point.optional_number(tags::PATIENT_SUPPORT_ANGLE)
            && !found.couch.contains(&angle)
        {
            found.couch.push(angle);
        }
    }
    Ok(found)
}

/// Each value once, in order of first appearance.
fn distinct(values: impl Iterator<Item = String>) -> Vec<String> {
    let mut list = Vec::new();
    for value in values {
        if !list.contains(&value) {
            list.push(value);
        }
    }
    list
}

#[cfg(test)]
mod tests {
    use dicom_core::VR;

    use super::super::encoding::Encoding;
    use super::super::fixtures::{self, Element, set, text};
    use super::*;
    use tidydose_geometry::units::Day;
    use tidydose_rt::finding::Finding;

    fn read(parts: &[Element], encoding: Encoding) -> Result<(Plan, Vec<Finding>), Error> {
        let read = fixtures::read(fixtures::file(parts, encoding, false), plan)?;
        Ok((read.value, read.findings))
    }

    #[test]
    fn prescription_fractions_and_beams_are_read() {
        for encoding in [Encoding::IMPLICIT, Encoding::EXPLICIT, Encoding::EXPLICIT_BIG] {
            let (plan, findings) = read(&fixtures::plan(), encoding).unwrap();
            assert_eq!(findings, []);
            assert_eq!(plan.fractions(), Some(1));
            assert_eq!(plan.dose_references[0].prescription, Some(Gray::gy(20.0)));
            assert_eq!(plan.dose_references[0].roi_number, Some(7));
            assert_eq!(plan.fraction_groups[0].beams[0].dose, Some(Gray::gy(12.5)));
            assert_eq!(plan.fraction_groups[0].beams[0].meterset, Some(1500.0));
            assert_eq!(plan.structure_set, Some(Token::new("1.2.3.1")));
            assert_eq!(plan.approval.as_deref(), Some("APPROVED"));
            assert_eq!((plan.ion, plan.on_device), (false, false));
            // 2023-06-15 is day 19523 of the Unix calendar (`date -d 2023-06-15 +%s` / 86400).
            assert_eq!((plan.day, plan.era), (Some(Day(19_523)), Some(2020)));
        }
    }

    #[test]
    fn what_a_control_point_leaves_out_is_that_of_the_one_before() {
        let (plan, _) = read(&fixtures::plan(), Encoding::EXPLICIT).unwrap();
        assert_eq!(plan.beams[0].isocentres, [[1.0, 2.0, 3.0]]);
        assert_eq!(plan.beams[0].gantry_angles, Some([90.0, 181.0]));
        assert_eq!(plan.beams[1].isocentres, [[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]]);
        assert_eq!(plan.beams[1].control_points, 2);
    }

    #[test]
    fn impossible_dates_and_fractions_count_as_not_stated() {
        for date in ["19000101", "20230231", "unknown", "2023", "99991231"] {
            let mut parts = fixtures::plan();
            set(&mut parts, text(tags::RT_PLAN_DATE, VR::DA, date));
            let (plan, _) = read(&parts, Encoding::EXPLICIT).unwrap();
            assert_eq!((plan.day, plan.era), (None, None), "{date}");
        }
        let mut parts = fixtures::plan();
        let group = vec![
            text(tags::FRACTION_GROUP_NUMBER, VR::IS, "1"),
            text(tags::NUMBER_OF_FRACTIONS_PLANNED, VR::IS, "0"),
        ];
        set(&mut parts, Element::Items(tags::FRACTION_GROUP_SEQUENCE, vec![group]));
        let (plan, findings) = read(&parts, Encoding::EXPLICIT).unwrap();
        assert_eq!(plan.fractions(), None);
        assert_eq!(findings[0].code, Code::AttributeDoubtful);
    }

    /// RT Ion Plan (PS3.3 A.49): beams and control points stand in sequences of their own;
    /// prescription and fractions as in any plan.
    #[test]
    fn an_ion_plan_is_read_by_its_own_sequences() {
        let mut parts = fixtures::plan();
        set(&mut parts, text(tags::SOP_CLASS_UID, VR::UI, uids::RT_ION_PLAN_STORAGE));
        fixtures::remove(&mut parts, tags::BEAM_SEQUENCE);
        let points = vec![
            vec![text(tags::ISOCENTER_POSITION, VR::DS, "1\\2\\3")],
            vec![text(tags::GANTRY_ANGLE, VR::DS, "90")],
        ];
        let beam = vec![
            text(tags::TREATMENT_MACHINE_NAME, VR::SH, "MACHINE-B"),
            text(tags::PRIMARY_DOSIMETER_UNIT, VR::CS, "NP"),
            text(tags::BEAM_NUMBER, VR::IS, "1"),
            text(tags::RADIATION_TYPE, VR::CS, "PROTON"),
            text(tags::NUMBER_OF_CONTROL_POINTS, VR::IS, "2"),
            Element::Items(tags::ION_CONTROL_POINT_SEQUENCE, points),
        ];
        set(&mut parts, Element::Items(tags::ION_BEAM_SEQUENCE, vec![beam]));
        let (plan, findings) = read(&parts, Encoding::EXPLICIT).unwrap();
        assert_eq!(findings, []);
        assert!(plan.ion);
        assert_eq!((plan.fractions(), plan.beams.len()), (Some(1), 1));
        assert_eq!(plan.dose_references[0].prescription, Some(Gray::gy(20.0)));
        let beam = &plan.beams[0];
        assert_eq!(beam.isocentres, [[1.0, 2.0, 3.0]]);
        assert_eq!(beam.radiation_type.as_deref(), Some("PROTON"));
        assert_eq!(beam.machine, Some(Token::new("MACHINE-B")));
        assert_eq!(beam.dosimeter_unit.as_deref(), Some("NP"));
    }

    #[test]
    fn relations_label_and_time_tell_versions_apart() {
        let item = |uid: &str, term: &str| {
            vec![
                text(tags::REFERENCED_SOP_INSTANCE_UID, VR::UI, uid),
                text(tags::RT_PLAN_RELATIONSHIP, VR::CS, term),
            ]
        };
        let items =
            vec![item("1.9", "PREDECESSOR"), item("1.8", "UNHEARD"), item("1.9", "PREDECESSOR")];
        let mut parts = fixtures::plan();
        set(&mut parts, Element::Items(tags::REFERENCED_RT_PLAN_SEQUENCE, items));
        set(&mut parts, text(tags::RT_PLAN_TIME, VR::TM, "101502.25"));
        let (plan, _) = read(&parts, Encoding::EXPLICIT).unwrap();
        assert_eq!(plan.related, [(PlanRelation::Predecessor, Token::new("1.9"))]);
        assert_eq!((plan.second, plan.label), (Some(36_902), Some(Token::new("sample"))));
        assert_eq!(
            [second_of_day("7"), second_of_day("25"), second_of_day("09")],
            [None, None, Some(32_400)]
        );
    }

    #[test]
    fn a_wrong_count_of_control_points_is_refused() {
        let mut parts = fixtures::plan();
        let beam = vec![
            text(tags::BEAM_NUMBER, VR::IS, "1"),
            text(tags::NUMBER_OF_CONTROL_POINTS, VR::IS, "2"),
        ];
        set(&mut parts, Element::Items(tags::BEAM_SEQUENCE, vec![beam]));
        let error = read(&parts, Encoding::EXPLICIT).unwrap_err();
        assert_eq!(error.attribute().as_deref(), Some("NumberOfControlPoints (300A,0110)"));
        assert_eq!(error.value_found(), Some("2"));
    }
}
