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
    assert_eq!(treatment.role, PlanRole::Treated);
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
    let role = |c: &tidydose_case::Case| {
        (c.id.to_string(), (c.treatment.role, c.left_out.as_ref().map(|l| l.0)))
    };
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
