//! Each source of a prescription, its rank, and when none is taken.

use super::*;
use crate::fixtures::{beam, dose, plan, roi, structure_set};
use crate::{identify, link};
use tidydose_rt::{BeamShare, FractionGroup, Inventory};

fn target(number: i64, roi_number: Option<i64>, dose_gy: f64) -> DoseReference {
    DoseReference {
        number,
        structure_type: "VOLUME".into(),
        kind: Some(DoseReferenceType::Target),
        roi_number,
        prescription: Some(Gray::gy(dose_gy)),
    }
}

fn group(fractions: u32, doses_gy: &[Option<f64>]) -> FractionGroup {
    let share = |(i, dose): (i64, &Option<f64>)| BeamShare {
        beam_number: i,
        dose: dose.map(Gray::gy),
        meterset: None,
    };
    FractionGroup {
        number: 1,
        fractions: Some(fractions),
        beams: (1_i64..).zip(doses_gy).map(share).collect(),
    }
}

/// A case with GTV1 (1), an organ (2), PTV1 (3) and PTV_Total (4).
fn prescribed(change: impl Fn(&mut Plan), decided: &Decisions) -> (Case, Vec<Finding>) {
    let mut p = plan("p", "s");
    change(&mut p);
    let mut set = structure_set("s");
    set.rois.extend([roi(3, "PTV1"), roi(4, "PTV_Total")]);
    let (mut cases, _) = link(&Inventory {
        plans: vec![p],
        doses: vec![dose("d", "p")],
        structure_sets: vec![set],
        ..Inventory::default()
    });
    let findings = identify(&mut cases, decided);
    let again = cases.clone();
    assert_eq!(findings, identify(&mut cases, decided), "twice is once");
    assert_eq!(again, cases);
    (cases.remove(0), findings)
}

fn taken(case: &Case) -> Vec<(i64, f64, &'static str)> {
    case.prescriptions.iter().map(|p| (p.roi_number, p.dose.value(), p.basis.word())).collect()
}

#[test]
fn a_reference_that_names_the_target_serves_it_alone() {
    let none = Decisions::default();
    let two =
        |p: &mut Plan| p.dose_references = vec![target(1, Some(3), 24.0), target(2, None, 20.0)];
    let (case, findings) = prescribed(two, &none);
    assert_eq!(taken(&case), [(3, 24.0, "plan_structure")]);
    let missing = findings.iter().find(|f| f.code == Code::PrescriptionMissing).unwrap();
    assert!(missing.message.contains("1 of 2 targets"), "{}", missing.message);
}

#[test]
fn the_only_dose_of_the_plan_serves_every_single_target() {
    let only =
        |p: &mut Plan| p.dose_references = vec![target(1, Some(3), 24.0), target(2, None, 24.0)];
    let (case, findings) = prescribed(only, &Decisions::default());
    assert_eq!(taken(&case), [(1, 24.0, "plan"), (3, 24.0, "plan_structure")]);
    assert!(!findings.iter().any(|f| f.code == Code::PrescriptionMissing));
}

#[test]
fn beam_doses_count_only_when_complete_and_for_one_isocentre() {
    let complete = |p: &mut Plan| {
        p.fraction_groups = vec![group(3, &[Some(3.0), Some(5.0)])];
        p.beams = vec![beam(1, "DYNAMIC", "MU"), beam(2, "DYNAMIC", "MU")];
        p.beams.iter_mut().for_each(|b| b.isocentres.push([1.0, 2.0, 3.0]));
    };
    let (case, _) = prescribed(complete, &Decisions::default());
    assert_eq!(taken(&case), [(1, 24.0, "beam_dose"), (3, 24.0, "beam_dose")]);
    let partly = |p: &mut Plan| {
        complete(p);
        p.fraction_groups = vec![group(3, &[Some(3.0), None])];
    };
    assert!(prescribed(partly, &Decisions::default()).0.prescriptions.is_empty());
    let spread = |p: &mut Plan| {
        complete(p);
        p.beams[1].isocentres[0][0] = 40.0;
    };
    assert!(prescribed(spread, &Decisions::default()).0.prescriptions.is_empty());
    let unstated = |p: &mut Plan| {
        complete(p);
        p.fraction_groups[0].fractions = None;
    };
    assert!(prescribed(unstated, &Decisions::default()).0.prescriptions.is_empty());
}

#[test]
fn contradictions_beyond_one_percent_are_said() {
    let with = |stated_gy: f64| {
        let change = move |p: &mut Plan| {
            p.dose_references = vec![target(1, None, stated_gy)];
            p.fraction_groups = vec![group(1, &[Some(20.0)])];
        };
        let (case, findings) = prescribed(change, &Decisions::default());
        assert_eq!(case.prescriptions[0].dose, Gray::gy(stated_gy));
        findings.iter().any(|f| f.code == Code::PrescriptionContradicts)
    };
    assert!(!with(20.1) && with(20.3) && with(15.0));
}

#[test]
fn two_doses_for_one_target_are_not_chosen_between() {
    let twice =
        |p: &mut Plan| p.dose_references = vec![target(1, Some(3), 24.0), target(2, Some(3), 20.0)];
    let (case, findings) = prescribed(twice, &Decisions::default());
    assert!(case.prescriptions.is_empty());
    assert!(
        findings.iter().any(|f| {
            f.code == Code::PrescriptionContradicts && f.subject.roi_number == Some(3)
        })
    );
}

#[test]
fn the_user_comes_first() {
    let mut decided = Decisions::default();
    let case = crate::fixtures::token("p");
    decided.prescriptions.insert((case.clone(), None), Gray::gy(18.0));
    decided.prescriptions.insert((case, Some(3)), Gray::gy(21.0));
    let stated = |p: &mut Plan| p.dose_references = vec![target(1, Some(3), 24.0)];
    let (case, _) = prescribed(stated, &decided);
    assert_eq!(taken(&case), [(1, 18.0, "user"), (3, 21.0, "user")]);
}
