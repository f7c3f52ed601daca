//! Rows 35, 38, 86 to 98, 101 and 103 to 105: who is who, what was planned and what was treated
//! (PS3.3 C.8.8.5, C.8.8.9 to C.8.8.14, C.8.8.21).

use tidydose_case::{DateSource, PlanRole, Technology, courses, isocentres, planned_meterset};
use tidydose_geometry::units::Gray;
use tidydose_rt::finding::Code;
use tidydose_rt::identity::Token;

use super::Change::{Course as C, Files as F};
use super::Effect::{Left, Same, Told};
use super::{Files, PATIENT, Row, course, doubtful_object, doubtful_structure, row, sound, square};
use crate::archive::{Course, Measured};
use crate::phantom::dicom::{
    Beam, Contour, DoseReference, Header, Plan, Record, Roi, raw, tags, uid,
};

fn other_plan() -> String {
    uid("quirk/other plan")
}

/// Another plan of the patient with a dose of its own, changed before it is written.
fn beside(files: &mut Files, change: impl Fn(&mut Course)) {
    let mut other = course();
    let own = other.plan.header.instance_uid.clone();
    other.plan.header.instance_uid = other_plan();
    other.dose.plan_uids = vec![other_plan()];
    other.dose.header.instance_uid = uid("quirk/other dose");
    change(&mut other);
    assert!(other.plan.related_plan.as_ref().is_none_or(|(plan, _)| *plan == own));
    files.insert("other plan.dcm".into(), other.plan.bytes().unwrap());
    files.insert("other dose.dcm".into(), other.dose.bytes().unwrap());
}

fn related(course: &mut Course, relationship: &str) {
    course.plan.related_plan = Some((uid(&format!("{PATIENT}/plan")), relationship.into()));
}

fn record(files: &mut Files, fraction: i32, delivered: f64, date: &str) {
    let mut header = Header::new(PATIENT, &format!("record {fraction}"));
    header.date = date.into();
    let plan = course().plan.header.instance_uid;
    let mut record = Record::fraction(header, &plan, fraction, &[1]);
    record.beams[0].metersets[1] = delivered;
    files.insert(format!("record {fraction}.dcm"), record.bytes().unwrap());
}

fn target(course: &mut Course, references: Vec<DoseReference>) {
    let roi = &mut course.set.rois[0];
    (roi.name, roi.interpreted_type) = ("PTV1".into(), "PTV".into());
    course.plan.dose_references = references;
}

fn beams(course: &mut Course, beams: Vec<Beam>) {
    let set = course.set.header.instance_uid.clone();
    course.plan = Plan::new(course.plan.header.clone(), &set, 1, beams);
}

/// What became of both plans: role and reason to be left out, the own one first.
fn both(measured: &Measured) -> [(PlanRole, Option<Code>); 2] {
    let of = |uid: String| {
        let case = measured.cases.iter().find(|c| c.id.as_str() == uid).unwrap();
        (case.role(), case.left_out.as_ref().map(|(code, _)| *code))
    };
    [of(course().plan.header.instance_uid), of(other_plan())]
}

fn own_plan(measured: &Measured) -> &tidydose_rt::Plan {
    measured.cases[0].plan.as_ref().unwrap()
}

fn own_names(measured: &Measured) -> Vec<Option<&str>> {
    measured.cases[0].names.iter().map(|n| n.standard.as_deref()).collect()
}

fn named(course: &mut Course, names: &[&str], kind: &str) {
    course.set.rois = (1..)
        .zip(names)
        .map(|(number, name)| {
            let mut roi = Roi::new(number, name, kind);
            let planes = super::PLANES.iter();
            roi.contours = planes.map(|z| Contour::closed(square(10.0, *z))).collect();
            roi
        })
        .collect();
}

const TREATED: (PlanRole, Option<Code>) = (PlanRole::Treated, None);

pub const TABLES: &[&[Row]] = &[VERSIONS, PRESCRIPTIONS, BEAMS, PEOPLE];

const VERSIONS: &[Row] = &[
    row(
        86,
        "two versions of a plan, one of them unapproved",
        F(|files| beside(files, |c| c.plan.approval = "UNAPPROVED".into())),
        Some(Code::PlanSuperseded),
        Told(|measured| {
            let superseded = (PlanRole::Superseded, Some(Code::PlanSuperseded));
            assert_eq!(both(measured), [TREATED, superseded]);
        }),
    ),
    row(
        86,
        "two versions of a plan of one day",
        F(|files| beside(files, |_| {})),
        Some(Code::PlanAmbiguous),
        Told(|measured| {
            let open = (PlanRole::Candidate, Some(Code::PlanAmbiguous));
            assert_eq!(both(measured), [open; 2]);
        }),
    ),
    row(
        87,
        "a plan that verifies another",
        F(|files| beside(files, |c| related(c, "VERIFIED_PLAN"))),
        Some(Code::PlanNotTreatment),
        Told(|measured| {
            assert_eq!(both(measured), [TREATED, (PlanRole::Qa, Some(Code::PlanNotTreatment))]);
        }),
    ),
    row(
        87,
        "a plan meant for a machine check",
        C(|c| c.plan.intent = "MACHINE_QA".into()),
        Some(Code::PlanNotTreatment),
        Left(Code::PlanNotTreatment),
    ),
    doubtful_object(
        88,
        "one fraction of two given",
        F(|files| {
            let mut two = course();
            two.plan.fraction_groups[0].fractions = Some(2);
            files.insert("plan.dcm".into(), two.plan.bytes().unwrap());
            record(files, 1, 100.0, "20200103");
        }),
        Code::RecordDiffers,
        Told(|measured| {
            sound(measured);
            let delivery = measured.cases[0].treatment.delivery.unwrap();
            assert_eq!((delivery.fractions, delivery.partial), (Some(1), 0));
        }),
    ),
    doubtful_object(
        88,
        "a fraction that was broken off",
        F(|files| record(files, 1, 60.0, "20200103")),
        Code::RecordPartial,
        Same,
    ),
    Row {
        number: 89,
        does: "two plans given together",
        change: F(|files| beside(files, |c| related(c, "CONCURRENT"))),
        finding: Some(Code::PlanConcurrent),
        lenient: Told(|measured| assert_eq!(both(measured), [TREATED; 2])),
        // The plan that says so is refused, the other stands.
        strict: Told(|measured| {
            let refused = (PlanRole::Treated, Some(Code::PlanConcurrent));
            assert_eq!(both(measured), [TREATED, refused]);
        }),
    },
    row(
        90,
        "a first plan and a boost",
        F(|files| beside(files, |c| c.plan.label = "BOOST".into())),
        None,
        Told(|measured| {
            let both = both(measured);
            assert!(both.iter().all(|(_, left_out)| left_out.is_none()), "{both:?}");
            let courses = courses(&measured.cases);
            assert_eq!(courses.len(), 2);
            assert!(courses.values().all(|c| (c.number, c.of) == (1, 1)), "{courses:?}");
        }),
    ),
];

const PRESCRIPTIONS: &[Row] = &[
    doubtful_object(
        91,
        "a target without a prescription",
        C(|c| target(c, Vec::new())),
        Code::PrescriptionMissing,
        Same,
    ),
    doubtful_object(
        91,
        "a prescription per fraction beside beam doses",
        C(|c| {
            target(c, vec![DoseReference::target(1, 1, 5.0, "")]);
            c.plan.fraction_groups[0].fractions = Some(4);
            c.plan.fraction_groups[0].beams[0].dose = Some(5.0);
        }),
        Code::PrescriptionContradicts,
        Same,
    ),
    doubtful_object(
        92,
        "prescriptions of two targets, none of the third",
        C(|c| {
            named(c, &["PTV1", "PTV2", "PTV3"], "PTV");
            for (roi, shift) in [(1, 40.0), (2, 80.0)] {
                let points = c.set.rois[roi].contours.iter_mut().flat_map(|c| &mut c.points);
                points.for_each(|p| p[0] += shift);
            }
            let doses = [(1, 24.0), (2, 18.0)];
            c.plan.dose_references =
                doses.map(|(roi, dose)| DoseReference::target(roi, roi, dose, "")).to_vec();
        }),
        Code::PrescriptionMissing,
        Told(|measured| {
            sound(measured);
            let stated = measured.cases[0].prescriptions.iter();
            let stated: Vec<_> = stated.map(|p| (p.roi_number, p.dose)).collect();
            assert_eq!(stated, [(1, Gray::gy(24.0)), (2, Gray::gy(18.0))]);
        }),
    ),
    doubtful_object(
        93,
        "no number of fractions",
        C(|c| c.plan.fraction_groups[0].fractions = None),
        Code::PlanFractionsMissing,
        Told(|measured| {
            sound(measured);
            assert_eq!(own_plan(measured).fractions(), None);
        }),
    ),
];

const BEAMS: &[Row] = &[
    row(
        94,
        "a beam without meterset beside one with",
        C(|c| {
            let arc = |n| Beam::arc(n, [0.0; 3], 0.0, (0.0, 90.0, 300.0));
            beams(c, vec![arc(1), arc(2)]);
            c.plan.fraction_groups[0].beams[1].meterset = None;
        }),
        None,
        Told(|measured| {
            sound(measured);
            assert_eq!(planned_meterset(own_plan(measured), "MU"), None);
        }),
    ),
    row(
        94,
        "a setup beam without meterset",
        C(|c| {
            let arc = |n| Beam::arc(n, [0.0; 3], 0.0, (0.0, 90.0, 300.0));
            beams(c, vec![arc(1), arc(2), arc(3)]);
            c.plan.beams[2].delivery = "SETUP".into();
            c.plan.fraction_groups[0].beams[2].meterset = None;
            c.plan.fraction_groups[0].fractions = Some(2);
        }),
        None,
        Told(|measured| {
            sound(measured);
            assert_eq!(planned_meterset(own_plan(measured), "MU"), Some(1200.0));
        }),
    ),
    row(
        95,
        "shots of a cobalt unit, in minutes",
        C(|c| {
            let shot = |n: i32| Beam::shot(n, [f64::from(n), 0.0, 4.0], 8.0, 2.5);
            beams(c, (1..=3).map(shot).collect());
        }),
        None,
        Told(|measured| {
            sound(measured);
            let plan = own_plan(measured);
            assert_eq!(measured.cases[0].technology, Technology::CobaltUnit);
            assert_eq!(planned_meterset(plan, "MU"), None);
            assert_eq!(planned_meterset(plan, "MINUTE"), Some(7.5));
            assert_eq!(isocentres(plan), 3);
        }),
    ),
    row(
        96,
        "two hundred fields of a robot, none through the isocentre of another",
        C(|c| {
            let node = |n: i32| {
                let at = f64::from(n);
                let target = [at / 50.0, at / 40.0, 4.0];
                Beam::node(n, target, [(1.7 * at) % 360.0, (0.9 * at) % 90.0], (10.0, 20.0))
            };
            beams(c, (1..=200).map(node).collect());
        }),
        None,
        Told(|measured| {
            sound(measured);
            assert_eq!(measured.cases[0].technology, Technology::RoboticLinac);
            assert_eq!(own_plan(measured).beams.len(), 200);
        }),
    ),
    row(
        97,
        "an isocentre stated at the first control point only",
        C(|c| beams(c, vec![Beam::arc(1, [1.0, 2.0, 4.0], 0.0, (0.0, 90.0, 300.0))])),
        None,
        Told(|measured| {
            sound(measured);
            assert_eq!(own_plan(measured).beams[0].isocentres, [[1.0, 2.0, 4.0]]);
            assert_eq!(measured.cases[0].technology, Technology::GantryLinac);
        }),
    ),
    row(
        98,
        "no isocentre at all",
        C(|c| {
            beams(c, vec![Beam::arc(1, [1.0, 2.0, 4.0], 0.0, (0.0, 90.0, 300.0))]);
            c.plan.beams[0].control_points[0].isocentre = None;
        }),
        None,
        Told(|measured| {
            sound(measured);
            assert_eq!(own_plan(measured).beams[0].isocentres, [[0.0; 3]; 0]);
        }),
    ),
    row(
        98,
        "an isocentre that moves at a later control point",
        C(|c| {
            beams(c, vec![Beam::arc(1, [1.0, 2.0, 4.0], 0.0, (0.0, 90.0, 300.0))]);
            c.plan.beams[0].control_points[3].isocentre = Some([1.0, 2.0, 9.0]);
        }),
        None,
        Told(|measured| {
            sound(measured);
            let list = [[1.0, 2.0, 4.0], [1.0, 2.0, 9.0]];
            assert_eq!(own_plan(measured).beams[0].isocentres, list);
        }),
    ),
    row(
        101,
        "the maker of the planning software at the top level",
        F(|files| {
            let plan = files.get_mut("plan.dcm").unwrap();
            raw::set(plan, tags::MANUFACTURER, b"LO", "Software");
        }),
        None,
        Told(|measured| {
            sound(measured);
            let machine = own_plan(measured).beams[0].machine.as_ref();
            assert_eq!(machine.map(Token::as_str), Some("COBALT201"));
        }),
    ),
];

const PEOPLE: &[Row] = &[
    row(
        35,
        "one organ in three spellings",
        C(|c| named(c, &["Larynx ", "LARYNX", "Ｌarynx"], "ORGAN")),
        Some(Code::StandardNameRepeated),
        Told(|measured| assert_eq!(own_names(measured), [Some("Larynx"); 3])),
    ),
    doubtful_structure(
        38,
        "a target typed as an organ",
        C(|c| {
            named(c, &["PTV"], "ORGAN");
            c.plan.dose_references = vec![DoseReference::target(1, 1, 18.0, "")];
        }),
        Code::RoleContradicts,
        Same,
    ),
    doubtful_object(
        103,
        "a dose of somebody born on another day",
        C(|c| c.dose.header.birth_date = "19601231".into()),
        Code::PersonContradicts,
        Same,
    ),
    doubtful_object(
        103,
        "structures of a woman in the plan of a man",
        C(|c| {
            (c.set.header.sex, c.plan.header.sex) = ("F".into(), "M".into());
        }),
        Code::PersonContradicts,
        Same,
    ),
    row(
        103,
        "birth dates that stand for none",
        C(|c| {
            c.dose.header.birth_date = "19000101".into();
            c.plan.header.birth_date = String::new();
        }),
        None,
        Same,
    ),
    row(
        104,
        "a plan last changed on another day than it was given",
        F(|files| record(files, 1, 100.0, "20200120")),
        None,
        Told(|measured| {
            sound(measured);
            let case = &measured.cases[0];
            assert_eq!(
                courses(&measured.cases)[&case.id].date_source,
                DateSource::TreatmentRecords
            );
            let first = case.treatment.delivery.unwrap().first_day.unwrap();
            assert_eq!(first.0 - own_plan(measured).day.unwrap().0, 18);
        }),
    ),
    doubtful_object(
        105,
        "structures dated after their plan",
        C(|c| c.set.header.date = "20200301".into()),
        Code::DatesDisordered,
        Same,
    ),
    doubtful_object(
        105,
        "structures dated before their images",
        F(|files| super::contours::images(files, 0.0, "20200103")),
        Code::DatesDisordered,
        Same,
    ),
    row(
        105,
        "images of an earlier day",
        F(|files| super::contours::images(files, 0.0, "20191230")),
        None,
        Same,
    ),
    doubtful_object(
        105,
        "a treatment before its plan",
        F(|files| record(files, 1, 100.0, "20191230")),
        Code::DatesDisordered,
        Same,
    ),
];
