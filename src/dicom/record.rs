//! RT Beams, Ion Beams and Brachy Treatment Record and RT Treatment Summary Record (PS3.3 A.29 to
//! A.31, A.50) to [`rt::TreatmentRecord`](tidydose_rt::TreatmentRecord). Must not judge whether a
//! plan was treated.

use dicom_core::Tag;
use dicom_dictionary_std::{tags, uids};

use super::attribute::Attributes;
use super::error::Error;
use super::object::Object;
use tidydose_rt::identity::Kind;
use tidydose_rt::{SessionBeam, Summary, TreatmentRecord};

/// What was delivered stands in one of these, by kind of record.
const SESSIONS: [Tag; 3] = [
    tags::TREATMENT_SESSION_BEAM_SEQUENCE,
    tags::TREATMENT_SESSION_ION_BEAM_SEQUENCE,
    tags::TREATMENT_SESSION_APPLICATION_SETUP_SEQUENCE,
];

/// Reads the record.
///
/// # Errors
/// Without SOP Instance UID.
pub(super) fn record(object: &Object<'_>) -> Result<TreatmentRecord, Error> {
    let root = object.root();
    let plans = root.references(tags::REFERENCED_RT_PLAN_SEQUENCE);
    let is_summary =
        root.uid(tags::SOP_CLASS_UID) == Some(uids::RT_TREATMENT_SUMMARY_RECORD_STORAGE);
    let day = |tag| root.date(tag).and_then(|date| object.day(date));
    let beams = SESSIONS.iter().flat_map(|tag| root.items(*tag)).map(|item| beam(&item));
    Ok(TreatmentRecord {
        origin: object.origin()?,
        plans: plans.iter().map(|uid| object.token(Kind::Object, uid)).collect(),
        day: day(tags::TREATMENT_DATE),
        beams: beams.collect(),
        summary: is_summary.then(|| Summary {
            first_day: day(tags::FIRST_TREATMENT_DATE),
            last_day: day(tags::MOST_RECENT_TREATMENT_DATE),
            fractions: delivered(&root),
        }),
    })
}

fn beam(item: &Attributes<'_>) -> SessionBeam {
    let delivery = item.code(tags::TREATMENT_DELIVERY_TYPE);
    let status = item.code(tags::TREATMENT_TERMINATION_STATUS);
    SessionBeam {
        beam: item.optional_integer(tags::REFERENCED_BEAM_NUMBER),
        fraction: item.optional_integer(tags::CURRENT_FRACTION_NUMBER),
        treats: matches!(delivery.as_deref(), None | Some("TREATMENT" | "CONTINUATION")),
        ended_normally: status.as_deref() == Some("NORMAL"),
        specified: item.optional_number(tags::SPECIFIED_PRIMARY_METERSET),
        delivered: item.optional_number(tags::DELIVERED_PRIMARY_METERSET),
    }
}

/// Number of Fractions Delivered over the fraction groups; nothing when none states it.
fn delivered(root: &Attributes<'_>) -> Option<u32> {
    let groups = root.items(tags::FRACTION_GROUP_SUMMARY_SEQUENCE);
    let counts = groups.filter_map(|g| g.optional_integer(tags::NUMBER_OF_FRACTIONS_DELIVERED));
    let counts: Vec<u32> = counts.filter_map(|n| u32::try_from(n).ok()).collect();
    (!counts.is_empty()).then(|| counts.iter().sum())
}

#[cfg(test)]
mod tests {
    use dicom_core::VR;

    use super::super::encoding::Encoding;
    use super::super::fixtures::{self, Element, text};
    use super::*;
    use tidydose_geometry::units::Day;
    use tidydose_rt::identity::Token;

    fn read(parts: &[Element]) -> TreatmentRecord {
        let bytes = fixtures::file(parts, Encoding::EXPLICIT, false);
        fixtures::read(bytes, record).unwrap().value
    }

    fn plan_reference() -> Element {
        let item = vec![text(tags::REFERENCED_SOP_INSTANCE_UID, VR::UI, "1.2.3.3")];
        Element::Items(tags::REFERENCED_RT_PLAN_SEQUENCE, vec![item])
    }

    #[test]
    fn a_session_is_read_with_its_beams_and_its_day() {
        let beam = vec![
            text(tags::CURRENT_FRACTION_NUMBER, VR::IS, "2"),
            text(tags::TREATMENT_TERMINATION_STATUS, VR::CS, "OPERATOR"),
            text(tags::SPECIFIED_PRIMARY_METERSET, VR::DS, "100"),
            text(tags::DELIVERED_PRIMARY_METERSET, VR::DS, "40.5"),
            text(tags::TREATMENT_DELIVERY_TYPE, VR::CS, "TREATMENT"),
            text(tags::REFERENCED_BEAM_NUMBER, VR::IS, "3"),
        ];
        let mut parts = fixtures::common(uids::RT_BEAMS_TREATMENT_RECORD_STORAGE, "1.2.3.8");
        parts.push(Element::Items(tags::TREATMENT_SESSION_BEAM_SEQUENCE, vec![beam]));
        parts.push(text(tags::TREATMENT_DATE, VR::DA, "20230620"));
        parts.push(plan_reference());
        let record = read(&parts);
        assert_eq!((record.day, record.summary), (Some(Day(19_528)), None));
        assert_eq!(record.plans, [Token::new("1.2.3.3")]);
        let beam = &record.beams[0];
        assert_eq!((beam.beam, beam.fraction, beam.delivered), (Some(3), Some(2), Some(40.5)));
        assert!(beam.treats && !beam.ended_normally);
    }

    #[test]
    fn a_summary_adds_its_fraction_groups() {
        let group = |n: &str| vec![text(tags::NUMBER_OF_FRACTIONS_DELIVERED, VR::IS, n)];
        let mut parts = fixtures::common(uids::RT_TREATMENT_SUMMARY_RECORD_STORAGE, "1.2.3.9");
        parts.push(text(tags::FIRST_TREATMENT_DATE, VR::DA, "20230615"));
        parts.push(text(tags::MOST_RECENT_TREATMENT_DATE, VR::DA, "20230617"));
        parts.push(Element::Items(
            tags::FRACTION_GROUP_SUMMARY_SEQUENCE,
            vec![group("2"), group("1")],
        ));
        parts.push(plan_reference());
        let summary = read(&parts).summary.unwrap();
        let days = (Some(Day(19_523)), Some(Day(19_525)));
        assert_eq!((summary.first_day, summary.last_day), days);
        assert_eq!(summary.fractions, Some(3));
    }
}
