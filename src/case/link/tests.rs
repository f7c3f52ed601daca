//! Joins and refusals, and that neither order nor repetition of the objects changes them.

use std::collections::BTreeSet;

use super::*;
use crate::fixtures::{dose, plan, structure_set, token};
use tidydose_rt::{DoseHeader, DoseSummation, DoseType, DoseUnits, Plan, StructureSetHeader};

fn inventory(p: Vec<Plan>, d: Vec<DoseHeader>, s: Vec<StructureSetHeader>) -> Inventory {
    Inventory { plans: p, doses: d, structure_sets: s, ..Inventory::default() }
}

fn has(findings: &[Finding], code: Code, object: &str) -> bool {
    findings.iter().any(|f| f.code == code && f.subject.object == Some(token(object)))
}

fn left_out(case: &Case) -> Option<Code> {
    case.left_out.as_ref().map(|l| l.0)
}

fn of(summation: DoseSummation, object: &str, plan: &str) -> DoseHeader {
    DoseHeader { summation, ..dose(object, plan) }
}

fn framed(frame: &str, mut set: StructureSetHeader) -> StructureSetHeader {
    set.frame = Some(token(frame));
    set.rois.iter_mut().for_each(|r| r.frame = Some(token(frame)));
    set
}

#[test]
fn references_make_a_case_without_findings() {
    let (cases, findings) =
        link(&inventory(vec![plan("p", "s")], vec![dose("d", "p")], vec![structure_set("s")]));
    assert_eq!(cases.len(), 1);
    let case = &cases[0];
    assert_eq!((case.id.as_str(), case.doses_seen), ("p", 1));
    assert_eq!(
        (case.dose_link, case.structure_link),
        (LinkMethod::Reference, LinkMethod::Reference)
    );
    assert_eq!((&case.left_out, findings.len()), (&None, 0));
}

#[test]
fn one_candidate_of_the_frame_is_joined_and_said() {
    let (cases, findings) = link(&inventory(
        vec![plan("p", "absent")],
        vec![dose("d", "gone")],
        vec![structure_set("s"), framed("elsewhere", structure_set("t"))],
    ));
    assert_eq!(cases[0].dose_link, LinkMethod::Frame);
    assert_eq!(cases[0].structure_link, LinkMethod::Frame);
    assert_eq!(left_out(&cases[0]), None);
    assert!(has(&findings, Code::LinkByFrame, "d") && has(&findings, Code::LinkByFrame, "p"));
    assert!(has(&findings, Code::ObjectUnused, "t"));
}

#[test]
fn another_patient_is_no_candidate() {
    let mut other = structure_set("s");
    other.origin.patient = Some(token("someone"));
    let (cases, _) = link(&inventory(vec![plan("p", "absent")], vec![dose("d", "p")], vec![other]));
    assert_eq!(left_out(&cases[0]), Some(Code::LinkMissing));
    let mut nameless = (plan("p", "absent"), dose("d", "p"), structure_set("s"));
    nameless.0.origin.patient = None;
    nameless.1.origin.patient = None;
    nameless.2.origin.patient = None;
    let (cases, _) = link(&inventory(vec![nameless.0], vec![nameless.1], vec![nameless.2]));
    assert_eq!(left_out(&cases[0]), Some(Code::LinkMissing), "no identifier is no evidence");
}

#[test]
fn several_candidates_are_listed_and_refused() {
    let sets = vec![structure_set("s1"), structure_set("s2")];
    let (cases, _) = link(&inventory(vec![plan("p", "absent")], vec![dose("d", "p")], sets));
    let (code, message) = cases[0].left_out.clone().unwrap();
    assert_eq!(code, Code::LinkAmbiguous);
    assert!(message.contains("s1, s2"), "{message}");

    let plans = vec![plan("p1", "s"), plan("p2", "s")];
    let (cases, findings) =
        link(&inventory(plans, vec![dose("d", "gone")], vec![structure_set("s")]));
    assert!(cases.iter().all(|c| left_out(c) == Some(Code::LinkAmbiguous) && c.dose.is_none()));
    assert!(cases.iter().all(|c| c.structure_set.is_some()));
    assert!(has(&findings, Code::LinkAmbiguous, "d"));
}

#[test]
fn a_plan_with_its_own_dose_takes_no_stray_one() {
    let (cases, findings) = link(&inventory(
        vec![plan("p", "s")],
        vec![dose("own", "p"), dose("stray", "gone")],
        vec![structure_set("s")],
    ));
    let ids: Vec<_> = cases.iter().map(|c| c.id.as_str()).collect();
    assert_eq!(ids, ["p", "stray"]);
    assert_eq!(left_out(&cases[0]), None);
    assert!(cases[1].plan.is_none() && left_out(&cases[1]).is_none());
    assert!(has(&findings, Code::LinkByFrame, "stray"));
}

#[test]
fn the_dose_of_the_plan_beats_its_parts() {
    let doses = vec![
        of(DoseSummation::Beam, "b1", "p"),
        of(DoseSummation::FractionSession, "f", "p"),
        of(DoseSummation::MultiPlan, "whole", "p"),
    ];
    let (cases, findings) = link(&inventory(vec![plan("p", "s")], doses, vec![structure_set("s")]));
    assert_eq!(cases[0].dose.as_ref().unwrap().origin.object, token("whole"));
    assert_eq!((cases[0].doses_seen, left_out(&cases[0])), (3, None));
    assert!(has(&findings, Code::DoseSummationUnused, "b1"));
    assert!(has(&findings, Code::DoseSummationUnused, "f"));
}

#[test]
fn parts_alone_and_sums_of_plans_are_no_dose_of_the_plan() {
    let mut sum = of(DoseSummation::MultiPlan, "sum", "p");
    sum.plans.push(token("q"));
    let doses = vec![of(DoseSummation::Beam, "b1", "p"), sum];
    let (cases, findings) = link(&inventory(vec![plan("p", "s")], doses, vec![structure_set("s")]));
    let (code, message) = cases[0].left_out.clone().unwrap();
    assert_eq!(code, Code::DoseSummationUnused);
    assert!(message.contains("would be accepted") && message.contains("b1"), "{message}");
    assert!(cases[0].structure_set.is_some() && cases[0].dose.is_none());
    assert!(has(&findings, Code::DoseSummationUnused, "sum"));
}

#[test]
fn several_doses_of_a_plan_are_refused_with_their_grids() {
    let doses = vec![dose("d1", "p"), dose("d2", "p")];
    let (cases, findings) = link(&inventory(vec![plan("p", "s")], doses, vec![structure_set("s")]));
    let (code, message) = cases[0].left_out.clone().unwrap();
    assert_eq!(code, Code::DoseSeveral);
    assert!(
        message.contains("d1 (PLAN PHYSICAL, 1.000 x 1.500 x 2.000 mm, largest 24.000); d2"),
        "{message}"
    );
    assert!(has(&findings, Code::DoseSeveral, "d1") && has(&findings, Code::DoseSeveral, "d2"));
}

#[test]
fn a_dose_that_is_no_dose_in_gray_is_refused_or_set_aside() {
    let relative = DoseHeader { units: DoseUnits::Relative, ..dose("r", "p") };
    let error = DoseHeader { kind: DoseType::Error, ..dose("e", "p") };
    let no_grid = DoseHeader { grid: None, ..dose("n", "p") };
    let expected = [Code::DoseRelative, Code::DoseErrorType, Code::DoseWithoutGrid];
    for (bad, code) in [relative, error, no_grid].into_iter().zip(expected) {
        let sets = vec![structure_set("s")];
        let alone = inventory(vec![plan("p", "s")], vec![bad.clone()], sets.clone());
        let (cases, findings) = link(&alone);
        assert_eq!(left_out(&cases[0]), Some(code));
        assert!(cases[0].structure_set.is_some());
        assert!(has(&findings, code, bad.origin.object.as_str()));
        let beside = inventory(vec![plan("p", "s")], vec![bad.clone(), dose("good", "p")], sets);
        let (cases, findings) = link(&beside);
        assert_eq!(left_out(&cases[0]), None);
        assert_eq!(cases[0].dose.as_ref().unwrap().origin.object, token("good"));
        assert!(has(&findings, code, bad.origin.object.as_str()));
    }
}

/// A plan overview holds the plan when it includes as many fractions as are planned.
#[test]
fn a_plan_overview_must_include_all_fractions() {
    use tidydose_rt::FractionGroup;
    let mut planned = plan("p", "s");
    planned.fraction_groups =
        vec![FractionGroup { number: 1, fractions: Some(5), beams: Vec::new() }];
    for (included, expected) in
        [(Some(5), None), (None, None), (Some(3), Some(Code::DoseSummationUnused))]
    {
        let overview = DoseHeader {
            overview_fractions: included,
            ..of(DoseSummation::PlanOverview, "d", "p")
        };
        let sets = vec![structure_set("s")];
        let (cases, findings) = link(&inventory(vec![planned.clone()], vec![overview], sets));
        assert_eq!(left_out(&cases[0]), expected, "{included:?}");
        assert_eq!(has(&findings, Code::DoseSummationUnused, "d"), expected.is_some());
    }
}

#[test]
fn structures_of_a_patient_without_plan_and_dose_are_a_case() {
    let (cases, _) =
        link(&inventory(vec![], vec![], vec![structure_set("s1"), structure_set("s2")]));
    assert_eq!(cases.len(), 2);
    assert!(cases.iter().all(|c| left_out(c) == Some(Code::LinkMissing)));
    assert!(cases.iter().all(|c| c.structure_set.is_some() && c.dose.is_none()));
}

#[test]
fn plans_that_treat_nobody_are_left_out() {
    let mut quality = plan("p", "s");
    quality.intent = Some("MACHINE_QA".into());
    let mut device = plan("q", "s");
    device.on_device = true;
    device.structure_set = None;
    let (cases, _) =
        link(&inventory(vec![quality, device], vec![dose("d", "p")], vec![structure_set("s")]));
    assert_eq!(left_out(&cases[0]), Some(Code::PlanNotTreatment));
    assert_eq!(left_out(&cases[1]), Some(Code::PlanGeometryDevice));
    assert!(cases[1].structure_set.is_none());
}

#[test]
fn patients_and_frames_have_to_agree() {
    let mut other = dose("d", "p");
    other.origin.patient = Some(token("someone"));
    let (cases, findings) =
        link(&inventory(vec![plan("p", "s")], vec![other], vec![structure_set("s")]));
    assert_eq!(left_out(&cases[0]), Some(Code::LinkPatientMismatch));
    assert!(cases[0].dose.is_none() && has(&findings, Code::LinkPatientMismatch, "d"));

    let sets = vec![framed("elsewhere", structure_set("s"))];
    let (cases, _) = link(&inventory(vec![plan("p", "s")], vec![dose("d", "p")], sets));
    assert_eq!(left_out(&cases[0]), Some(Code::LinkFrameMismatch));

    let mut mixed = structure_set("s");
    mixed.rois[1].frame = Some(token("elsewhere"));
    let (cases, findings) =
        link(&inventory(vec![plan("p", "s")], vec![dose("d", "p")], vec![mixed.clone()]));
    assert_eq!(left_out(&cases[0]), None);
    assert!(cases[0].in_dose_frame(&mixed.rois[0]) && !cases[0].in_dose_frame(&mixed.rois[1]));
    assert!(findings.iter().any(|f| {
        f.code == Code::RoiFrameMismatch && f.subject.roi_number == Some(mixed.rois[1].number)
    }));
}

#[test]
fn a_plan_without_dose_keeps_its_structures() {
    let (cases, _) = link(&inventory(vec![plan("p", "s")], vec![], vec![structure_set("s")]));
    assert_eq!(left_out(&cases[0]), Some(Code::LinkMissing));
    assert!(cases[0].structure_set.is_some());
}

#[test]
fn a_dose_alone_joins_the_structures_its_histograms_name() {
    let mut alone = dose("d", "gone");
    alone.structure_set = Some(token("s2"));
    let sets = vec![structure_set("s1"), structure_set("s2")];
    let (cases, _) = link(&inventory(vec![], vec![alone], sets.clone()));
    assert_eq!(cases[0].structure_set.as_ref().unwrap().origin.object, token("s2"));
    assert_eq!(cases[0].structure_link, LinkMethod::Reference);
    let (cases, findings) = link(&inventory(vec![], vec![dose("d", "gone")], sets));
    assert!(cases.is_empty() && has(&findings, Code::LinkAmbiguous, "d"));
}

/// A small generator (xorshift), so that the archives are many and always the same.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % sides
    }

    fn shuffle<T>(&mut self, items: &mut [T]) {
        for i in (1..items.len()).rev() {
            let j = usize::try_from(self.roll(i as u64 + 1)).unwrap();
            items.swap(i, j);
        }
    }

    fn pick(&mut self, words: &[&str]) -> Token {
        token(words[usize::try_from(self.roll(words.len() as u64)).unwrap()])
    }
}

/// An archive of up to four objects of each kind with references, patients, frames, units and
/// summations drawn at random.
fn archive(dice: &mut Dice) -> Inventory {
    let (patients, frames) = (["a", "a", "b"], ["f", "f", "g"]);
    let mut all = Inventory::default();
    for i in 0..dice.roll(5) {
        let mut p = plan(&format!("p{i}"), "");
        p.origin.patient = Some(dice.pick(&patients));
        p.frame = (dice.roll(3) > 0).then(|| dice.pick(&frames));
        p.structure_set = (dice.roll(4) > 0).then(|| dice.pick(&["s0", "s1", "s2", "s9"]));
        p.on_device = dice.roll(8) == 0;
        all.plans.push(p);
    }
    for i in 0..dice.roll(5) {
        let mut d = dose(&format!("d{i}"), "");
        d.origin.patient = (dice.roll(6) > 0).then(|| dice.pick(&patients));
        d.frame = (dice.roll(6) > 0).then(|| dice.pick(&frames));
        d.plans = (0..dice.roll(3)).map(|_| dice.pick(&["p0", "p1", "p2", "p9"])).collect();
        d.structure_set = (dice.roll(4) == 0).then(|| dice.pick(&["s0", "s9"]));
        if dice.roll(4) == 0 {
            d.units = DoseUnits::Relative;
        }
        if dice.roll(3) == 0 {
            d.summation = DoseSummation::Beam;
        }
        all.doses.push(d);
    }
    for i in 0..dice.roll(5) {
        let frame = dice.pick(&frames);
        let mut s = framed(frame.as_str(), structure_set(&format!("s{i}")));
        s.origin.patient = Some(dice.pick(&patients));
        all.structure_sets.push(s);
    }
    all
}

#[test]
fn order_plays_no_part_and_no_object_is_lost() {
    let mut dice = Dice(0x2545_F491_4F6C_DD1D);
    let mut cases_seen = 0;
    for _ in 0..3000 {
        let mut all = archive(&mut dice);
        let first = link(&all);
        dice.shuffle(&mut all.plans);
        dice.shuffle(&mut all.doses);
        dice.shuffle(&mut all.structure_sets);
        assert_eq!(first, link(&all));
        let (cases, findings) = first;
        cases_seen += cases.len();
        let order: Vec<_> = cases.iter().map(|c| (&c.patient, &c.id)).collect();
        assert!(order.is_sorted());
        let ids: BTreeSet<_> = cases.iter().map(|c| &c.id).collect();
        assert_eq!(ids.len(), cases.len());
        let noted: BTreeSet<_> = findings.iter().filter_map(|f| f.subject.object.clone()).collect();
        for p in &all.plans {
            assert_eq!(cases.iter().filter(|c| c.plan.as_ref() == Some(p)).count(), 1);
        }
        for d in &all.doses {
            let used = cases.iter().filter(|c| c.dose.as_ref() == Some(d)).count();
            assert!(
                used == 1 || used == 0 && noted.contains(&d.origin.object),
                "{}",
                d.origin.object
            );
        }
        for s in &all.structure_sets {
            let used = cases.iter().any(|c| c.structure_set.as_ref() == Some(s));
            assert!(used || noted.contains(&s.origin.object), "{}", s.origin.object);
        }
        for case in cases.iter().filter(|c| c.left_out.is_none()) {
            let (d, s) = (case.dose.as_ref().unwrap(), case.structure_set.as_ref().unwrap());
            assert_eq!((&d.origin.patient, &s.origin.patient), (&case.patient, &case.patient));
            assert_eq!((&d.frame, d.units), (&s.frame, DoseUnits::Gray));
        }
    }
    assert!(cases_seen > 3000, "{cases_seen}");
}
