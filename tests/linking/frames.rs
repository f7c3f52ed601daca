//! Structures and dose in different frames of reference: rigid registrations (PS3.3 C.20.2), the
//! user's decision, and everything that is refused.

use assert_cmd::Command;
use tidydose_case::{Decisions, FrameLink};

use super::*;
use crate::measured::rows_of;
use crate::phantom::dicom::{Motion, Registration, uid};

const SHIFT: Point = [31.0, -12.5, 8.25];

fn dose_frame() -> String {
    uid("meaning/dose frame")
}

/// The course with its dose in a frame of its own: a ball of dose about the moved target.
fn apart(motion: &Motion) -> Course {
    let mut course = course(1);
    let centre = motion.apply(CENTRE);
    let (field, lattice) =
        (Field::gaussian(centre, 24.0, 7.0), Lattice::around(centre, [24.0; 3], 2.0));
    course.dose.values = field.sample(&lattice);
    course.dose.lattice = lattice;
    course.dose.header.frame_uid = dose_frame();
    course
}

/// A registration whose own frame is that of the dose.
fn registration(course: &Course, matrix: [f64; 16]) -> Registration {
    let mut header = Header::new(PATIENT, "registration");
    header.frame_uid = dose_frame();
    Registration::rigid(header, &course.set.header.frame_uid, matrix)
}

fn with(course: &Course, registrations: &[Registration]) -> Archive {
    let archive = Archive::new();
    archive.put("one", course);
    for (i, registration) in registrations.iter().enumerate() {
        archive.add(&format!("registration{i}.dcm"), &registration.bytes().unwrap());
    }
    archive
}

/// The same ball in the same dose, seen in a turned and shifted frame: planes cross the dose grid
/// at an angle then, so numbers may differ by what their bounds allow and by no more.
#[test]
fn a_registration_brings_structures_into_the_frame_of_the_dose() {
    let still = Motion::new(0.0, [0.0; 3]);
    let mut together = apart(&still);
    together.dose.header.frame_uid = together.set.header.frame_uid.clone();
    let want = metrics_of(&together.measure(&settings()));

    let motion = Motion::new(25.0, SHIFT);
    let moved = apart(&motion);
    let measured = with(&moved, &[registration(&moved, motion.0)]).measure(&settings());
    let got = metrics_of(&measured);
    for (name, want) in &want {
        let got = &got[name];
        let (low, high) = (got.low.unwrap(), got.high.unwrap());
        let overlap = low <= want.high.unwrap() && want.low.unwrap() <= high;
        assert!(overlap, "{name}: {want:?} and {got:?}");
        assert!((got.value.unwrap() / want.value.unwrap() - 1.0).abs() < 0.02, "{name}");
    }
    assert!(measured.has(Code::LinkByRegistration));
    assert_eq!(measured.cases[0].frames.link, FrameLink::Registration);

    // The same statement from the other side: the object's own frame is that of the structures.
    let mut back = Registration::rigid(moved.set.header.clone(), &dose_frame(), motion.inverse().0);
    back.header.instance_uid = uid("meaning/back");
    let mirrored = metrics_of(&with(&moved, &[back]).measure(&settings()));
    for (name, one) in &got {
        let (one, two) = (one.value.unwrap(), mirrored[name].value.unwrap());
        // Matrices are written with 16 characters: points agree within 1e-11 mm.
        assert!((one / two - 1.0).abs() < 1e-6, "{name}: {one} and {two}");
    }
}

/// Following the matrix backwards would put the target elsewhere: the dose would not be met.
#[test]
fn the_direction_of_the_matrix_matters() {
    let motion = Motion::new(25.0, SHIFT);
    let moved = apart(&motion);
    let wrong = registration(&moved, motion.inverse().0);
    let measured = with(&moved, &[wrong]).measure(&settings());
    assert!(measured.has(Code::GridMissesStructure) || measured.has(Code::GridMissesPart));
}

#[test]
fn registrations_that_are_not_rigid_or_not_of_the_patient_are_refused() {
    let motion = Motion::new(25.0, SHIFT);
    let moved = apart(&motion);
    let code = Code::LinkFrameMismatch;
    refused(&with(&moved, &[]).measure(&settings()), code, "one rigid registration");

    let mut scaled = registration(&moved, motion.0);
    scaled.items[1].2 = "RIGID_SCALE".into();
    refused(&with(&moved, &[scaled]).measure(&settings()), code, "RIGID_SCALE");

    let mut mirrored = registration(&moved, motion.0);
    (0..3).for_each(|j| mirrored.items[1].1[j] *= -1.0);
    refused(&with(&moved, &[mirrored]).measure(&settings()), code, "mirrors");

    let mut stretched = registration(&moved, motion.0);
    (0..3).for_each(|j| stretched.items[1].1[j] *= 1.01);
    refused(&with(&moved, &[stretched]).measure(&settings()), code, "orthonormal");

    let mut other = registration(&moved, Motion::new(20.0, SHIFT).0);
    other.header.instance_uid = uid("meaning/other");
    let two = [registration(&moved, motion.0), other];
    refused(&with(&moved, &two).measure(&settings()), code, "contradict each other");

    let mut stranger = registration(&moved, motion.0);
    stranger.header.patient_id = "SOMEONE".into();
    refused(&with(&moved, &[stranger]).measure(&settings()), code, "one rigid registration");

    // Two steps through a third frame are not taken.
    let third = uid("meaning/third");
    let identity = Motion::new(0.0, [0.0; 3]).0;
    let mut first = registration(&moved, motion.0);
    first.items[1].0.clone_from(&third);
    let mut second = Registration::rigid(moved.set.header.clone(), &third, identity);
    second.header.instance_uid = uid("meaning/second");
    refused(&with(&moved, &[first, second]).measure(&settings()), code, "one rigid registration");
}

/// Identifiers were replaced one by one, coordinates are as they were.
fn broken() -> Course {
    let mut course = apart(&Motion::new(0.0, [0.0; 3]));
    course.dose.header.frame_uid = dose_frame();
    course
}

#[test]
fn the_user_can_say_that_frames_are_one() {
    let course = broken();
    let archive = with(&course, &[]);
    let open = archive.measure(&settings());
    refused(&open, Code::LinkFrameMismatch, "1 of 1 structures have their middle inside");
    let mut decisions = Decisions::default();
    decisions.same_frame.insert(open.cases[0].id.clone());
    let decided = archive.measure_decided(&settings(), &decisions);
    let mut together = course;
    together.dose.header.frame_uid = together.set.header.frame_uid.clone();
    assert_eq!(metrics_of(&decided), metrics_of(&together.measure(&settings())));
    assert!(decided.has(Code::LinkByUser));

    // Where the coordinates speak against it, the word is not enough.
    let far = apart(&Motion::new(0.0, [400.0, 0.0, 0.0]));
    let measured = with(&far, &[]).measure_decided(&settings(), &decisions);
    refused(&measured, Code::LinkFrameMismatch, "the user's decision is not followed");
}

/// The question is put into `choices.csv`; answered there, the next run measures the case.
#[test]
fn the_decision_is_remembered_in_a_file() {
    let archive = with(&broken(), &[]);
    let place = tempfile::tempdir().unwrap();
    let study = place.path().join("study");
    let run = |extra: &[&str]| {
        let output = Command::cargo_bin("tidydose")
            .unwrap()
            .args(["measure", archive.path().to_str().unwrap()])
            .args(["--study", study.to_str().unwrap(), "--quiet"])
            .args(extra)
            .output()
            .unwrap();
        let plans = std::fs::read_to_string(study.join("tables/plans.csv")).unwrap();
        (output.status.code(), rows_of(&plans).remove(0))
    };
    let (code, plan) = run(&[]);
    assert_eq!((code, plan["exclusion_code"].as_str()), (Some(1), "link-frame-mismatch"));
    let file = study.join("choices.csv");
    let text = std::fs::read_to_string(&file).unwrap();
    let mut question = rows_of(&text).remove(0);
    assert_eq!((question["question"].as_str(), question["decision"].as_str()), ("same_frame", ""));
    assert_eq!(question["plan_id"], plan["plan_id"]);
    question.insert("decision".into(), "yes".into());
    let mut writer = csv::Writer::from_path(&file).unwrap();
    writer.write_record(question.keys()).unwrap();
    writer.write_record(question.values()).unwrap();
    writer.flush().unwrap();
    drop(writer);
    let before = std::fs::read(&file).unwrap();
    let (code, plan) = run(&[]);
    assert_eq!((code, plan["measured"].as_str()), (Some(0), "true"));
    assert_eq!(plan["frame_link"], "user");
    assert_eq!(std::fs::read(&file).unwrap(), before, "the user's file is left alone");
    assert_eq!(
        run(&["--strict"]).0,
        Some(1),
        "what is only to be looked at is refused when strict"
    );
}

/// Each registration that is not used is named with the reason, also where no case needs it.
#[test]
fn every_refused_registration_is_a_finding() {
    let motion = Motion::new(25.0, SHIFT);
    let together = course(1);
    let told = |registrations: &[Registration]| {
        let measured = with(&together, registrations).measure(&settings());
        metrics_of(&measured);
        let refused = measured.findings.iter().filter(|f| f.code == Code::RegistrationRefused);
        refused.map(|f| f.message.clone()).collect::<Vec<_>>()
    };
    let own = registration(&together, motion.0);
    assert_eq!(told(std::slice::from_ref(&own)), Vec::<String>::new());
    let changed = |change: &dyn Fn(&mut [f64; 16])| {
        let mut other = own.clone();
        change(&mut other.items[1].1);
        told(&[other])
    };
    let scaled = changed(&|m| (0..11).filter(|i| i % 4 != 3).for_each(|i| m[i] *= 1.02));
    let sheared = changed(&|m| (0..3).for_each(|j| m[j] += 0.05 * m[4 + j]));
    let mirrored = changed(&|m| (0..3).for_each(|j| m[j] *= -1.0));
    let three_digits = changed(&|m| m.iter_mut().for_each(|x| *x = (*x * 1000.0).round() / 1000.0));
    for (found, words) in [
        (scaled, "orthonormal"),
        (sheared, "orthonormal"),
        (mirrored, "mirrors"),
        (three_digits, "orthonormal"),
    ] {
        assert!(found.len() == 1 && found[0].contains(words), "{words}: {found:?}");
    }
    let mut affine = own.clone();
    affine.items[1].2 = "AFFINE".into();
    assert!(told(&[affine])[0].contains("AFFINE"));
    let mut other = registration(&together, Motion::new(24.0, SHIFT).0);
    other.header.instance_uid = uid("meaning/other");
    let two = told(&[own, other]);
    assert!(
        two.len() == 2 && two.iter().all(|t| t.contains("contradicts registration")),
        "{two:?}"
    );
}

/// A structure in a frame of its own says which registration would have joined it.
#[test]
fn a_structure_in_another_frame_names_the_registration_that_is_not_used() {
    let mut course = course(1);
    course.set.rois.push(ball(2, "PTV2", CENTRE));
    course.set.rois[1].frame_uid = Some(dose_frame());
    let mut mirrored = registration(&course, Motion::new(25.0, SHIFT).0);
    (0..3).for_each(|j| mirrored.items[1].1[j] *= -1.0);
    let measured = with(&course, &[mirrored]).measure(&settings());
    let found = measured.findings.iter().find(|f| f.code == Code::RoiFrameMismatch).unwrap();
    assert!(found.message.contains("mirrors"), "{found:?}");
}
