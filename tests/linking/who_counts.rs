//! Who counts in a study: plans of which nothing tells whether they were treated, the question in
//! `choices.csv`, and what every command says when nobody is left.

use super::program::{Ended, Study};
use super::*;
use crate::measured::Row;
use crate::phantom::dicom::uid;

/// A course of a patient of its own, not marked as approved.
fn unapproved(patient: &str) -> Course {
    let mut course = course(1);
    let names = ["set", "plan", "dose"];
    for (header, name) in course.headers().into_iter().zip(names) {
        header.patient_id = patient.into();
        header.instance_uid = uid(&format!("{patient}/{name}"));
        header.frame_uid = uid(&format!("{patient}/frame"));
    }
    course.plan.structure_set_uid.clone_from(&course.set.header.instance_uid);
    course.plan.approval = "UNAPPROVED".into();
    course.dose.plan_uids = vec![course.plan.header.instance_uid.clone()];
    course
}

const PATIENTS: [&str; 3] = ["A", "B", "C"];

fn archive() -> Archive {
    let archive = Archive::new();
    for patient in PATIENTS {
        archive.put(patient, &unapproved(patient));
    }
    archive
}

fn column<'r>(rows: &'r [Row], name: &str) -> Vec<&'r str> {
    rows.iter().map(|r| r[name].as_str()).collect()
}

/// Everybody's outcome.
const SHEET: &str = "patient_id,event_type,day_event,day_last_contact,vital_status\n\
                     A,necrosis,30,400,alive\nB,none,,500,alive\nC,none,,600,alive\n";

fn relate(study: &Study) -> Ended {
    let sheet = study.sheet(SHEET);
    let predictor = "PTV1:Mean[Gy]";
    let words = ["relate", "--outcomes", &sheet, "--event", "necrosis", "--predictor", predictor];
    study.run(&words)
}

#[test]
fn an_archive_without_approvals_counts_and_asks_once_for_all() {
    let (archive, study) = (archive(), Study::new());
    let measured = study.measure(&archive);
    assert_eq!(measured.code, 0, "{measured:?}");
    assert!(
        measured.err.contains("3 plans are neither")
            && measured.err.contains("they count in the study"),
        "{}",
        measured.err
    );
    let plans = study.table("plans");
    assert_eq!(column(&plans, "plan_role"), ["candidate"; 3]);
    assert_eq!(column(&plans, "in_study"), ["true"; 3]);
    let index = column(&study.table("patients_wide"), "index_plan_id").concat();
    assert_eq!(index, column(&plans, "plan_id").concat());
    let flow = study.table("flow");
    let counted = flow.iter().find(|r| r["grain"] == "plan" && r["state"] == "counted");
    assert_eq!(counted.unwrap()["n"], "3");

    let questions = study.rows("choices.csv");
    assert_eq!(column(&questions, "plan_id")[0], "*");
    assert_eq!(column(&questions, "question"), ["treated"; 4]);
    assert!(questions[1]["evidence"].contains("it counts unless you say no"), "{questions:?}");

    let paper = study.run(&["paper"]);
    assert_eq!(paper.code, 0, "{paper:?}");
    let table = study.rows("paper/table_one.csv");
    let of_all = |r: &&Row| r["variable"] == "fractions_planned" && r["group"] == "all";
    let total: u32 = table.iter().filter(of_all).filter_map(|r| r["n"].parse::<u32>().ok()).sum();
    assert_eq!(total, 3, "{table:#?}");
    let methods = std::fs::read_to_string(study.root().join("paper/methods.txt")).unwrap();
    assert!(methods.contains("3 of these 3 plans are neither marked as approved"), "{methods}");
    let related = relate(&study);
    assert!(related.code == 0 && related.err.contains("3 of 3 patients analysed"), "{related:?}");
    let asked = study.run(&["ask", "table-one"]);
    assert!(asked.code == 0 && asked.out.lines().count() == 2, "{asked:?}");
    let page = study.run(&["review", "--organ", "PTV1", "--metric", "Mean[Gy]"]);
    assert_eq!(page.code, 0, "{page:?}");

    study.answer("choices.csv", "decision", "yes", |r| r["plan_id"] == "*");
    study.measure(&archive);
    let plans = study.table("plans");
    assert_eq!(column(&plans, "plan_role"), ["treated"; 3]);
    assert_eq!(column(&plans, "plan_role_rule"), ["user_yes_to_all"; 3]);
    assert!(study.table("findings").iter().all(|r| r["code"] != "plan-unapproved"));
}

#[test]
fn nobody_left_is_said_by_every_command_with_what_to_decide() {
    let (archive, study) = (archive(), Study::new());
    study.measure(&archive);
    study.answer("choices.csv", "decision", "no", |r| r["plan_id"] == "*");
    let measured = study.measure(&archive);
    let decide = "choices.csv, question treated, column decision: yes";
    let says = |ended: &Ended| {
        assert_eq!(ended.code, 1, "{ended:?}");
        assert!(ended.err.contains("no plan is in the study"), "{}", ended.err);
        assert!(ended.err.contains("3 plan-not-treated") && ended.err.contains(decide));
    };
    says(&measured);
    says(&study.run(&["paper"]));
    says(&relate(&study));
    says(&study.run(&["ask", "table-one"]));
    says(&study.run(&["review", "--organ", "PTV1", "--metric", "Mean[Gy]"]));
    let flow = study.table("flow");
    let of_plans = flow.iter().find(|r| r["grain"] == "plan" && r["state"] == "left_out").unwrap();
    assert_eq!((of_plans["code"].as_str(), of_plans["n"].as_str()), ("plan-not-treated", "3"));
    assert_eq!(of_plans["decided_by"], "user");
    assert_eq!(column(&study.table("patients_wide"), "index_plan_id"), [""; 3]);
}

#[test]
fn beside_a_treated_plan_an_unproven_one_waits_for_the_answer() {
    let archive = Archive::new();
    let mut treated = unapproved("A");
    treated.plan.approval = "APPROVED".into();
    archive.put("treated", &treated);
    let mut trial = treated.clone();
    trial.plan.approval = "UNAPPROVED".into();
    trial.plan.label = "TRIAL".into();
    trial.plan.header.instance_uid = uid("A/trial plan");
    trial.dose.header.instance_uid = uid("A/trial dose");
    trial.dose.plan_uids = vec![uid("A/trial plan")];
    archive.put("trial", &trial);
    let study = Study::new();
    assert_eq!(study.measure(&archive).code, 0);
    let of_trial =
        |rows: &[Row]| rows.iter().find(|r| r["plan_id"] == uid("A/trial plan")).cloned();
    let row = of_trial(&study.table("plans")).unwrap();
    let state = ["plan_role", "measured", "in_study"].map(|name| row[name].as_str());
    assert_eq!(state, ["candidate", "true", "false"]);
    let finding = of_trial(&study.table("findings")).unwrap();
    assert_eq!(finding["code"], "plan-undecided");
    let flow = study.table("flow");
    let left = flow.iter().find(|r| r["grain"] == "plan" && r["state"] == "left_out").unwrap();
    assert_eq!((left["code"].as_str(), left["decided_by"].as_str()), ("plan-undecided", "program"));
    let question = of_trial(&study.rows("choices.csv")).unwrap();
    assert!(question["evidence"].contains("it does not count unless you say yes"));

    let trial_plan = uid("A/trial plan");
    study.answer("choices.csv", "decision", "yes", |r| r["plan_id"] == trial_plan);
    study.measure(&archive);
    assert_eq!(of_trial(&study.table("plans")).unwrap()["in_study"], "true");
    study.answer("choices.csv", "decision", "no", |r| r["plan_id"] == trial_plan);
    study.measure(&archive);
    let row = of_trial(&study.table("plans")).unwrap();
    assert_eq!((row["plan_role"].as_str(), row["in_study"].as_str()), ("not_treated", "false"));
}

#[test]
fn versions_of_which_nothing_tells_are_all_asked_about() {
    let archive = Archive::new();
    let mut newer = unapproved("A");
    newer.plan.header.date = "20200109".into();
    archive.put("newer", &newer);
    let mut older = newer.clone();
    older.plan.header.date = "20200103".into();
    older.plan.header.instance_uid = uid("A/older plan");
    older.dose.header.instance_uid = uid("A/older dose");
    older.dose.plan_uids = vec![uid("A/older plan")];
    archive.put("older", &older);
    let study = Study::new();
    study.measure(&archive);
    let state = |rows: &[Row], plan: &str| {
        let row = rows.iter().find(|r| r["plan_id"] == uid(plan)).unwrap();
        (row["plan_role"].clone(), row["in_study"].clone())
    };
    let words = |a: &str, b: &str| (a.to_owned(), b.to_owned());
    let plans = study.table("plans");
    assert_eq!(state(&plans, "A/plan"), words("candidate", "true"), "as it would be alone");
    assert_eq!(state(&plans, "A/older plan"), words("superseded", "false"));
    let asked: Vec<String> =
        study.rows("choices.csv").iter().map(|r| r["plan_id"].clone()).collect();
    assert_eq!(asked.len(), 2, "{asked:?}");
    study.answer("choices.csv", "decision", "yes", |r| r["plan_id"] == uid("A/older plan"));
    study.measure(&archive);
    let plans = study.table("plans");
    assert_eq!(state(&plans, "A/older plan"), words("treated", "true"));
    assert_eq!(state(&plans, "A/plan"), words("superseded", "false"));
    let flow = study.table("flow");
    let left = flow.iter().find(|r| r["grain"] == "plan" && r["state"] == "left_out").unwrap();
    assert_eq!((left["code"].as_str(), left["decided_by"].as_str()), ("plan-superseded", "user"));
}
