//! What counts as drawn after a treatment, and when a dose lies under it.

use crate::fixtures::{dose, plan, structure_set, token};
use crate::{Case, PlanRole, PrescriptionBasis, identify, link};
use tidydose_geometry::Grid;
use tidydose_geometry::units::{Day, Gray};
use tidydose_rt::finding::Code;
use tidydose_rt::{
    DoseReference, DoseReferenceType, Inventory, RegisteredFrame, Registration, Rigid,
    StructureSetHeader,
};

/// Middle of the brainstem of the plan, mm.
const BRAINSTEM: [f64; 3] = [30.0, 40.0, 50.0];
/// From the later frame into that of the plan, mm along x.
const SHIFT_MM: f64 = 20.0;

/// A plan of day 100 with a target at the origin and a brainstem, on a grid around both.
fn treated() -> Inventory {
    let mut plan = plan("p", "s");
    plan.day = Some(Day(100));
    plan.dose_references.push(DoseReference {
        number: 1,
        structure_type: "VOLUME".to_owned(),
        kind: Some(DoseReferenceType::Target),
        roi_number: Some(1),
        prescription: Some(Gray::gy(20.0)),
    });
    let mut dose = dose("d", "p");
    let axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
    let planes = (0..61).map(|k| 2.0 * f64::from(k)).collect();
    dose.grid = Grid::new([-60.0; 3], axes, [2.0; 2], planes, [61, 61]).ok();
    let mut set = structure_set("s");
    set.extents = [(1, around([0.0; 3])), (2, around(BRAINSTEM))].into();
    Inventory {
        plans: vec![plan],
        doses: vec![dose],
        structure_sets: vec![set],
        ..Inventory::default()
    }
}

fn around(middle: [f64; 3]) -> [[f64; 3]; 2] {
    [middle.map(|x| x - 3.0), middle.map(|x| x + 3.0)]
}

/// The same two structures on images of another frame.
fn later(day: i64) -> StructureSetHeader {
    let mut set = structure_set("f");
    set.frame = Some(token("later"));
    set.rois.iter_mut().for_each(|r| r.frame = Some(token("later")));
    set.imaged = Some(Day(day));
    let shifted = |p: [f64; 3]| around([p[0] - SHIFT_MM, p[1], p[2]]);
    set.extents = [(1, shifted([0.0; 3])), (2, shifted(BRAINSTEM))].into();
    set
}

fn registration(shift_mm: f64) -> Registration {
    let mut matrix = [0.0; 16];
    for i in 0..4 {
        matrix[5 * i] = 1.0;
    }
    matrix[3] = shift_mm;
    Registration {
        origin: structure_set("r").origin,
        day: Some(Day(260)),
        frame: token("frame"),
        items: vec![RegisteredFrame { frame: token("later"), motion: Rigid::from_matrix(&matrix) }],
    }
}

fn with(set: StructureSetHeader, registrations: Vec<Registration>) -> (Vec<Case>, Vec<Code>) {
    let mut inventory = treated();
    inventory.structure_sets.push(set);
    inventory.registrations = registrations;
    let (mut cases, findings) = link(&inventory);
    identify(&mut cases, &crate::Decisions::default());
    (cases, findings.iter().map(|f| f.code).collect())
}

fn follow_up(cases: &[Case]) -> Option<&Case> {
    cases.iter().find(|c| c.is_follow_up())
}

#[test]
fn a_later_set_is_measured_in_the_dose_that_was_given() {
    let (cases, codes) = with(later(250), vec![registration(SHIFT_MM)]);
    let case = follow_up(&cases).unwrap();
    assert_eq!((case.id.as_str(), case.role()), ("f", PlanRole::FollowUp));
    assert!(case.left_out.is_none() && !case.counts(), "measured, and no plan of the study");
    assert_eq!(case.dose.as_ref().unwrap().origin.object, token("d"));
    let given = case.given().unwrap();
    assert_eq!((given.plan.as_str(), given.registration_day), ("p", Some(Day(260))));
    assert_eq!(given.targets[0].prescription, Some(Gray::gy(20.0)));
    assert_eq!(case.follow_up.as_ref().unwrap().day, Day(250));
    let own = &case.prescriptions[0];
    assert_eq!((own.dose.value(), own.basis), (20.0, PrescriptionBasis::TreatedTarget));
    assert!(codes.contains(&Code::FollowUpSet) && !codes.contains(&Code::ObjectUnused));
}

#[test]
fn without_a_way_into_the_frame_of_a_dose_volumes_are_left() {
    let scaled = Registration {
        items: vec![RegisteredFrame { frame: token("later"), motion: Err("scaled".to_owned()) }],
        ..registration(SHIFT_MM)
    };
    for (registrations, why) in [
        (vec![], "one rigid registration"),
        (vec![scaled], "scaled"),
        (vec![registration(-SHIFT_MM)], "wrong direction"),
        (vec![registration(400.0)], "inside the dose grid"),
    ] {
        let (cases, _) = with(later(250), registrations);
        let case = follow_up(&cases).unwrap();
        let (code, reason) = case.left_out.clone().unwrap();
        assert_eq!(code, Code::FollowUpUnjoined);
        assert!(reason.contains(why), "{why}: {reason}");
        assert!(case.dose.is_none() && case.structure_set.is_some() && case.given().is_none());
    }
}

#[test]
fn what_was_drawn_before_or_for_the_plan_is_no_follow_up() {
    let mut resaved = structure_set("f");
    resaved.day = Some(Day(250));
    for set in [later(100), later(40), resaved, StructureSetHeader { imaged: None, ..later(250) }] {
        let (cases, codes) = with(set, vec![registration(SHIFT_MM)]);
        assert!(follow_up(&cases).is_none());
        assert!(codes.contains(&Code::ObjectUnused));
    }
    let dated = StructureSetHeader { imaged: None, day: Some(Day(250)), ..later(0) };
    let (cases, _) = with(dated, vec![registration(SHIFT_MM)]);
    assert!(follow_up(&cases).is_some(), "its own date, in a frame that no plan has");
}

#[test]
fn images_after_the_treatment_count_in_the_frame_of_the_plan_too() {
    let fused = StructureSetHeader { imaged: Some(Day(250)), ..structure_set("f") };
    let (cases, _) = with(fused, vec![]);
    let case = follow_up(&cases).unwrap();
    assert!(case.left_out.is_none() && case.given().is_some());
    assert_eq!(case.given().unwrap().registration_day, None);
}

#[test]
fn of_several_plans_the_latest_lies_under_it_and_that_is_said() {
    let mut inventory = treated();
    let mut second = plan("p2", "s2");
    second.day = Some(Day(180));
    inventory.plans.push(second);
    inventory.doses.push(tidydose_rt::DoseHeader {
        grid: inventory.doses[0].grid.clone(),
        ..dose("d2", "p2")
    });
    inventory.structure_sets.push(structure_set("s2"));
    inventory.structure_sets.push(later(250));
    inventory.registrations = vec![registration(SHIFT_MM)];
    let (cases, findings) = link(&inventory);
    let given = follow_up(&cases).and_then(Case::given).unwrap();
    assert_eq!(given.plan, token("p2"));
    assert!(findings.iter().any(|f| f.code == Code::FollowUpSeveralPlans));
}
