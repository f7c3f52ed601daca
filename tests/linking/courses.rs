//! Versions of plans and treatment records, through files.

use tidydose_case::{DeliverySource, PlanRole};
use tidydose_geometry::units::Day;

use super::*;
use crate::phantom::dicom::{Record, uid};

/// The record of one fraction on a day.
fn session(plan: &Plan, fraction: i32, date: &str) -> Record {
    let mut header = Header::new(PATIENT, &format!("record{fraction}"));
    header.date = date.into();
    Record::fraction(header, &plan.header.instance_uid, fraction, &[1, 2])
}

fn with_records(course: &Course, records: &[Record]) -> Archive {
    let archive = Archive::new();
    archive.put("one", course);
    for (i, record) in records.iter().enumerate() {
        archive.add(&format!("record{i}.dcm"), &record.bytes().unwrap());
    }
    archive
}

/// 2020-01-06 is day 18267 of the Unix calendar (`date -d 2020-01-06 +%s` / 86400).
const FIRST: Day = Day(18_267);

#[test]
fn records_tell_fractions_and_days() {
    let course = course(3);
    let dates = ["20200106", "20200108", "20200110"];
    let records: Vec<Record> =
        (1..).zip(dates).map(|(n, date)| session(&course.plan, n, date)).collect();
    let measured = with_records(&course, &records).measure(&settings());
    let without = metrics_of(&course.measure(&settings()));
    assert_eq!(metrics_of(&measured), without, "records change no dose");
    let treatment = &measured.cases[0].treatment;
    let delivery = treatment.delivery.unwrap();
    assert_eq!((delivery.fractions, delivery.partial), (Some(3), 0));
    assert_eq!((delivery.first_day, delivery.last_day), (Some(FIRST), Some(Day(FIRST.0 + 4))));
    assert_eq!(delivery.source, DeliverySource::SessionRecords);
    assert_eq!(treatment.role(), PlanRole::Treated);
    assert!(!measured.has(Code::RecordDiffers) && !measured.has(Code::RecordPartial));
}

#[test]
fn a_course_that_stopped_early_is_pointed_at() {
    let course = course(3);
    let mut second = session(&course.plan, 2, "20200108");
    second.beams[1].metersets[1] = 40.0;
    let records = [session(&course.plan, 1, "20200106"), second];
    let measured = with_records(&course, &records).measure(&settings());
    metrics_of(&measured);
    let delivery = measured.cases[0].treatment.delivery.unwrap();
    assert_eq!((delivery.fractions, delivery.partial), (Some(1), 1));
    assert!(measured.has(Code::RecordDiffers) && measured.has(Code::RecordPartial));
}

#[test]
fn a_summary_will_do_and_a_stray_record_is_named() {
    let course = course(3);
    let mut summary = session(&course.plan, 1, "20200112");
    summary.beams.clear();
    summary.summary = Some((3, "20200106".into(), "20200110".into()));
    let mut stray = session(&course.plan, 2, "20200106");
    stray.plan_uid = uid("meaning/gone");
    let measured = with_records(&course, &[summary, stray]).measure(&settings());
    let delivery = measured.cases[0].treatment.delivery.unwrap();
    assert_eq!((delivery.fractions, delivery.source), (Some(3), DeliverySource::Summary));
    assert_eq!((delivery.first_day, delivery.last_day), (Some(FIRST), Some(Day(FIRST.0 + 4))));
    assert!(measured.has(Code::ObjectUnused));
}

/// A second version of the same plan with its own dose.
fn again(course: &Course, name: &str) -> (Plan, Dose) {
    let (mut plan, mut dose) = (course.plan.clone(), course.dose.clone());
    plan.header.instance_uid = uid(&format!("meaning/{name}"));
    dose.header.instance_uid = uid(&format!("meaning/{name} dose"));
    dose.plan_uids = vec![plan.header.instance_uid.clone()];
    (plan, dose)
}

fn roles(measured: &Measured) -> BTreeMap<String, (PlanRole, Option<Code>)> {
    let role =
        |c: &tidydose_case::Case| (c.id.to_string(), (c.role(), c.left_out.as_ref().map(|l| l.0)));
    measured.cases.iter().map(role).collect()
}

#[test]
fn one_version_is_measured_by_rule_or_all_are_refused() {
    let course = course(1);
    let (mut newer, dose) = again(&course, "newer");
    let put = |newer: &Plan, records: &[Record]| {
        let archive = with_records(&course, records);
        archive.add("newer.dcm", &newer.bytes().unwrap());
        archive.add("newer-dose.dcm", &dose.bytes().unwrap());
        roles(&archive.measure(&settings()))
    };
    let (old, new) = (course.plan.header.instance_uid.clone(), newer.header.instance_uid.clone());
    let superseded = (PlanRole::Superseded, Some(Code::PlanSuperseded));
    let treated = (PlanRole::Treated, None);

    let same_day = put(&newer, &[]);
    let open = (PlanRole::Candidate, Some(Code::PlanAmbiguous));
    assert_eq!((same_day[&old], same_day[&new]), (open, open));

    newer.header.date = "20200103".into();
    let later = put(&newer, &[]);
    assert_eq!((later[&old], later[&new]), (superseded, treated));

    let recorded = put(&newer, &[session(&course.plan, 1, "20200106")]);
    assert_eq!((recorded[&old], recorded[&new]), (treated, superseded));

    newer.approval = "UNAPPROVED".into();
    let unapproved = put(&newer, &[]);
    assert_eq!((unapproved[&old], unapproved[&new]), (treated, superseded));

    newer.label = "BOOST".into();
    let other = put(&newer, &[]);
    assert_eq!((other[&old], other[&new]), (treated, (PlanRole::Candidate, None)));

    newer.related_plan = Some((old.clone(), "VERIFIED_PLAN".into()));
    let quality = put(&newer, &[]);
    assert_eq!(quality[&new], (PlanRole::Qa, Some(Code::PlanNotTreatment)));
    assert_eq!(quality[&old], treated);

    newer.approval = "APPROVED".into();
    newer.related_plan = Some((old.clone(), "PREDECESSOR".into()));
    let chain = put(&newer, &[]);
    assert_eq!((chain[&old], chain[&new]), (superseded, treated));

    newer.related_plan = Some((old.clone(), "CONCURRENT".into()));
    let both = put(&newer, &[]);
    assert_eq!((both[&old], both[&new]), (treated, treated));
}

/// An approved plan and a newer one of the same label that is not.
fn two_versions() -> (Course, Plan, Dose) {
    let course = course(1);
    let (mut newer, dose) = again(&course, "newer");
    newer.header.date = "20200103".into();
    newer.approval = "UNAPPROVED".into();
    (course, newer, dose)
}

#[test]
fn records_of_nothing_make_no_plan_treated() {
    let (course, newer, dose) = two_versions();
    let (old, new) = (course.plan.header.instance_uid.clone(), newer.header.instance_uid.clone());
    let mut stopped = session(&newer, 1, "20200106");
    stopped.beams.iter_mut().for_each(|b| b.metersets[1] = 0.0);
    let mut set_up = session(&newer, 1, "20200106");
    set_up.beams.iter_mut().for_each(|b| b.delivery_type = "SETUP".into());
    let mut summary = session(&newer, 1, "20200112");
    summary.beams.clear();
    summary.summary = Some((0, String::new(), String::new()));
    for record in [stopped, set_up, summary] {
        let archive = with_records(&course, &[record]);
        archive.add("newer.dcm", &newer.bytes().unwrap());
        archive.add("newer-dose.dcm", &dose.bytes().unwrap());
        let measured = archive.measure(&settings());
        let roles = roles(&measured);
        assert_eq!(roles[&old], (PlanRole::Treated, None), "the approved one stays");
        assert_eq!(roles[&new], (PlanRole::Superseded, Some(Code::PlanSuperseded)));
        let told = measured.findings.iter().find(|f| f.code == Code::RecordEmpty).unwrap();
        assert_eq!(told.subject.case.as_ref().unwrap().as_str(), new);
    }
}

#[test]
fn a_rejected_newer_version_does_not_lose_the_patient() {
    let (mut course, mut newer, dose) = two_versions();
    course.plan.approval = "UNAPPROVED".into();
    newer.approval = "REJECTED".into();
    let archive = with_records(&course, &[]);
    archive.add("newer.dcm", &newer.bytes().unwrap());
    archive.add("newer-dose.dcm", &dose.bytes().unwrap());
    let measured = archive.measure(&settings());
    let roles = roles(&measured);
    let (old, new) = (&course.plan.header.instance_uid, &newer.header.instance_uid);
    assert_eq!(roles[old], (PlanRole::Candidate, None));
    assert_eq!(roles[new], (PlanRole::Superseded, Some(Code::PlanSuperseded)));
    assert!(measured.cases.iter().any(tidydose_case::Case::counts));
}

#[test]
fn a_record_under_another_number_is_named_and_not_believed() {
    let course = course(1);
    let mut record = session(&course.plan, 1, "20200106");
    record.header.patient_id = "SOMEONE".into();
    let measured = with_records(&course, &[record]).measure(&settings());
    metrics_of(&measured);
    assert_eq!(measured.cases[0].treatment.delivery, None);
    let found = measured.findings.iter().find(|f| f.code == Code::RecordPatientDiffers).unwrap();
    assert!(found.message.contains("SOMEONE") && found.message.contains(PATIENT), "{found:?}");
    assert_eq!(found.subject.case.as_ref(), Some(&measured.cases[0].id));
}

#[test]
fn sessions_that_contradict_a_summary_are_said() {
    let course = course(3);
    let dates = ["20200106", "20200108", "20200110"];
    let sessions = || (1..).zip(dates).map(|(n, date)| session(&course.plan, n, date));
    let summary = |fractions: i32, first: &str, last: &str| {
        let mut record = session(&course.plan, 9, "20200112");
        record.beams.clear();
        record.summary = Some((fractions, first.into(), last.into()));
        record
    };
    let told = |records: Vec<Record>| {
        let measured = with_records(&course, &records).measure(&settings());
        metrics_of(&measured);
        let found = measured.findings.iter().find(|f| f.code == Code::RecordContradicts);
        found.map(|f| f.message.clone())
    };
    let with = |own: Record| sessions().chain([own]).collect::<Vec<_>>();
    assert_eq!(told(with(summary(3, "20200106", "20200110"))), None, "both say the same");
    let older = summary(1, "20200106", "20200106");
    assert_eq!(told(with(older)), None, "written after the first session");
    let more = told(with(summary(5, "20200106", "20200114"))).unwrap();
    assert!(more.contains("3 whole fractions, the treatment summary 5"), "{more}");
    assert!(more.contains("a last day 4 d before the summary's"), "{more}");
    let earlier = told(with(summary(3, "20200103", "20200110"))).unwrap();
    assert!(earlier.contains("differs by 3 d"), "{earlier}");
}
