//! A patient and a copy of all objects under another Patient ID: counted, said and asked about.

use super::program::Study;
use super::*;
use crate::measured::Row;
use crate::phantom::dicom::{Registration, uid};

/// The same objects, for another patient.
fn copied(course: &Course, patient: &str) -> Course {
    let mut copy = course.clone();
    for header in copy.headers() {
        header.patient_id = patient.into();
        header.patient_name = "COPY".into();
        header.date = "20210203".into();
    }
    copy
}

fn archive() -> Archive {
    let archive = Archive::new();
    archive.put("one", &course(1));
    archive.put("two", &copied(&course(1), "SECOND"));
    let mut other = course(1);
    for (header, name) in other.headers().into_iter().zip(["set", "plan", "dose"]) {
        header.patient_id = "OTHER".into();
        header.instance_uid = uid(&format!("other/{name}"));
        header.frame_uid = uid("other/frame");
    }
    other.plan.structure_set_uid = uid("other/set");
    other.dose.plan_uids = vec![uid("other/plan")];
    archive.put("three", &other);
    archive
}

fn plan_of<'r>(rows: &'r [Row], plan: &str) -> &'r Row {
    rows.iter().find(|r| r["plan_id"] == plan).unwrap()
}

#[test]
fn a_copied_patient_is_counted_said_and_asked_about() {
    let (archive, study) = (archive(), Study::new());
    let surveyed = study.survey(&archive);
    let lines: Vec<Vec<&str>> =
        surveyed.out.lines().map(|l| l.split_whitespace().collect()).collect();
    assert!(lines.contains(&vec!["cases", "left", "out", "patient-copied", "1"]), "{surveyed:?}");
    assert!(lines.contains(&vec!["cases", "measurable", "1"]), "{}", surveyed.out);
    assert!(lines.contains(&vec!["patients", "without", "a", "case", "1"]), "{}", surveyed.out);

    study.measure(&archive);
    let own = course(1).plan.header.instance_uid;
    let plans = study.table("plans");
    assert_eq!(plans.len(), 2);
    assert_eq!(plan_of(&plans, &own)["exclusion_code"], "patient-copied");
    assert_eq!(plan_of(&plans, &uid("other/plan"))["in_study"], "true", "others go on");
    let flow = study.table("flow");
    let copied = |r: &&Row| r["grain"] == "patient" && r["code"] == "patient-copied";
    assert_eq!(flow.iter().find(copied).unwrap()["n"], "2", "both patients are counted");
    let findings = study.table("findings");
    assert!(findings.iter().all(|f| f["code"] != "file-uid-conflict"));
    let questions = study.rows("choices.csv");
    let question = questions.iter().find(|r| r["question"] == "patient_id").unwrap();
    assert_eq!(question["plan_id"], own);
    assert!(question["evidence"].contains("SECOND") && question["evidence"].contains(PATIENT));

    study.answer("choices.csv", "decision", "SECOND", |r| r["question"] == "patient_id");
    study.measure(&archive);
    let plans = study.table("plans");
    let row = plan_of(&plans, &own);
    assert_eq!((row["patient_id"].as_str(), row["in_study"].as_str()), ("SECOND", "true"));
    let flow = study.table("flow");
    let left = flow.iter().find(|r| r["grain"] == "patient" && r["code"] == "patient-copied");
    let left = left.unwrap();
    assert_eq!((left["n"].as_str(), left["decided_by"].as_str()), ("1", "user"));
}

#[test]
fn the_copy_that_is_meant_is_measured_as_the_original() {
    let archive = Archive::new();
    archive.put("one", &course(1));
    let alone = metrics_of(&archive.measure(&settings()));
    archive.put("two", &copied(&course(1), "SECOND"));
    let mut decisions = tidydose_case::Decisions::default();
    let plan = tidydose_rt::identity::Token::new(course(1).plan.header.instance_uid);
    decisions.patient.insert(plan, tidydose_rt::identity::Token::new(PATIENT));
    let decided = archive.measure_decided(&settings(), &decisions);
    assert_eq!(metrics_of(&decided), alone);
}

#[test]
fn other_content_under_one_uid_stays_a_conflict() {
    let mut changed = copied(&course(1), "SECOND");
    changed.plan.fraction_groups[0].fractions = Some(3);
    let archive = Archive::new();
    archive.put("one", &course(1));
    archive.put("two", &changed);
    let measured = archive.measure(&settings());
    assert!(measured.has(Code::FileUidConflict) && measured.has(Code::PatientCopied));
    assert!(measured.cases.iter().all(|c| !c.counts()), "{:#?}", measured.cases);
}

#[test]
fn a_registration_goes_with_its_patient() {
    let archive = Archive::new();
    archive.put("one", &course(1));
    archive.put("two", &copied(&course(1), "SECOND"));
    let identity = std::array::from_fn(|i| if i % 5 == 0 { 1.0 } else { 0.0 });
    for patient in [PATIENT, "SECOND"] {
        let mut header = Header::new(PATIENT, "registration");
        header.patient_id = patient.into();
        let registration = Registration::rigid(header, &uid("copies/frame"), identity);
        archive.add(&format!("{patient}.dcm"), &registration.bytes().unwrap());
    }
    let measured = archive.measure(&settings());
    assert_eq!(measured.cases.len(), 1);
    assert!(measured.cases[0].left_out.is_some() && !measured.has(Code::FileUidConflict));
}
