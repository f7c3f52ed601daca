//! Memories against analyses that remember nothing, after every kind of decision.

use std::cell::Cell;

use ndarray::Array3;

use super::*;
use crate::testing::{ball, case_of, set_of};
use crate::{Analysis, Settings, analyse_grids, analyse_remembered};
use tidydose_case::{Case, NameBasis, Prescription, PrescriptionBasis, Role};
use tidydose_geometry::Grid;
use tidydose_geometry::units::Gray;
use tidydose_metrics::limits::{Checked, Limit, Tier};
use tidydose_metrics::parse;
use tidydose_rt::{Dose, FractionGroup, StructureSet};

/// A Gaussian of 25 Gy and 6 mm on a lattice of so many mm around the middle.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // some twenty points
#[allow(clippy::cast_precision_loss)]
fn dose(half_mm: f64, spacing_mm: f64) -> Dose {
    let n = (2.0 * half_mm / spacing_mm).round() as usize + 1;
    let offsets = (0..n).map(|k| k as f64 * spacing_mm).collect();
    let axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
    let grid = Grid::new([-half_mm; 3], axes, [spacing_mm; 2], offsets, [n, n]).unwrap();
    let values = Array3::from_shape_fn(grid.shape(), |at| {
        let r2: f64 = grid.position(at.into()).iter().map(|x| x * x).sum();
        (25.0 * (-r2 / 72.0).exp()) as f32
    });
    Dose { grid, values, step: Gray::gy(1e-6) }
}

/// Two targets, an organ, a brain around them, and two of which nothing is known yet.
fn plan() -> (Case, StructureSet) {
    let mut case = case_of(&["GTV", "PTV", "Brainstem", "Brain", "x1", "x2"]);
    case.left_out = None;
    prescribe(&mut case, &[(1, 12.0), (2, 12.0)]);
    let group = FractionGroup { number: 1, fractions: Some(2), beams: Vec::new() };
    case.plan.as_mut().unwrap().fraction_groups.push(group);
    (case.names[4].role, case.names[4].basis) = (Role::Organ, NameBasis::Ambiguous);
    (case.names[5].role, case.names[5].basis) = (Role::Unknown, NameBasis::None);
    let rois = [
        ball(1, [0.0; 3], 4.0),
        ball(2, [0.0; 3], 5.0),
        ball(3, [0.0, 8.0, 0.0], 3.5),
        ball(4, [0.0; 3], 7.5),
        ball(5, [6.0, 0.0, 0.0], 3.0),
        ball(6, [0.0, -6.0, 0.0], 3.0),
    ];
    (case, set_of(rois.to_vec()))
}

fn prescribe(case: &mut Case, doses: &[(i64, f64)]) {
    let of = |(roi_number, gy): &(i64, f64)| Prescription {
        roi_number: *roi_number,
        dose: Gray::gy(*gy),
        basis: PrescriptionBasis::User,
    };
    case.prescriptions = doses.iter().map(of).collect();
}

fn name(case: &mut Case, index: usize, standard: Option<&str>, role: Role) {
    let named = &mut case.names[index];
    named.standard = standard.map(str::to_owned);
    (named.role, named.basis) = (role, NameBasis::User);
}

fn settings() -> Settings {
    let names = "Volume[cc] D0.03cc[Gy] V12Gy[cc] V12Gy[%] V100%[cc] PaddickConformity BaltasCOIN \
                 MeanBED[Gy] NTCP_LKB PlanPaddickConformity SurfaceArea[cm2]";
    let metrics = names.split_whitespace().map(|name| parse(name).unwrap()).collect();
    let limit = Limit {
        organ: "OpticChiasm".to_owned(),
        metric: parse("D0.1cc[Gy]").unwrap(),
        inclusive: true,
        value: 8.0,
        fractions: [1, 5],
        tier: Tier::Optimal,
        target_may_lie_inside: false,
        source: String::new(),
        evidence: String::new(),
        checked: Checked::Own,
        endpoint: String::new(),
        risk: String::new(),
        note: String::new(),
    };
    Settings { metrics, limits: vec![limit], ..Settings::default() }
}

/// An analysis, the memory afterwards, and how often the doses were read.
fn done(
    case: &Case,
    set: &StructureSet,
    doses: &[Dose],
    memory: &Memory,
) -> (Analysis, Memory, usize) {
    let (mut memory, reads) = (memory.clone().looking_ahead(), Cell::new(0));
    let read = || -> Result<Vec<Dose>, ()> {
        reads.set(reads.get() + 1);
        Ok(doses.to_vec())
    };
    let out = analyse_remembered(case, Some(set), read, &settings(), &mut memory).unwrap();
    (out, memory, reads.get())
}

/// By text: two values that are not numbers are alike there.
fn assert_same(a: &Analysis, b: &Analysis, what: &str) {
    let [a, b] = [a, b].map(|x| format!("{x:#?}"));
    let differs = a.lines().zip(b.lines()).find(|(x, y)| x != y);
    assert!(a == b, "{what}: {differs:?}");
}

type Decision = (&'static str, fn(&mut Case), bool);

/// What is decided, and whether a dose has to be read for it.
const DECISIONS: &[Decision] = &[
    ("nothing", |_| {}, false),
    ("an open organ is named", |c| name(c, 4, Some("OpticChiasm"), Role::Organ), false),
    ("another name", |c| name(c, 4, Some("Cochlea_L"), Role::Organ), false),
    ("one of no known role is an organ", |c| name(c, 5, Some("Brainstem"), Role::Organ), false),
    ("it is an aid", |c| name(c, 5, None, Role::Helper), false),
    ("an organ is an aid", |c| name(c, 2, None, Role::Helper), false),
    ("it is a target", |c| name(c, 5, None, Role::Gtv), true),
    ("one is the outline", |c| name(c, 4, Some("External"), Role::External), true),
    (
        "one target is none",
        |c| {
            name(c, 1, None, Role::Helper);
            prescribe(c, &[(1, 12.0)]);
        },
        true,
    ),
    ("another prescription", |c| prescribe(c, &[(1, 15.0), (2, 12.0)]), true),
    ("no prescription", |c| prescribe(c, &[]), true),
];

#[test]
fn after_any_decision_everything_is_as_if_measured_anew() {
    let (case, set) = plan();
    // With several grids every third decision does: each is measured as often as there are grids.
    let grids = [(vec![dose(16.0, 2.0)], 1), (vec![dose(16.0, 2.0), dose(7.0, 1.0)], 3)];
    for (doses, step) in grids {
        let (first, memory, reads) = done(&case, &set, &doses, &Memory::default());
        assert_eq!((reads, memory.work.measured, memory.work.learned), (1, 6, true));
        assert_same(&first, &analyse_grids(&case, Some(&set), doses.clone(), &settings()), "first");
        for (what, decide, reads_dose) in DECISIONS.iter().step_by(step) {
            let mut decided = case.clone();
            decide(&mut decided);
            let (got, after, reads) = done(&decided, &set, &doses, &memory);
            let fresh = analyse_grids(&decided, Some(&set), doses.clone(), &settings());
            assert_same(&got, &fresh, what);
            assert_eq!(reads == 1, *reads_dose, "{what}: {:?}", after.work);
            let rests = after.work.measured;
            assert!(if *reads_dose { rests < 6 } else { rests == 0 }, "{what}: {:?}", after.work);
        }
    }
}

#[test]
fn one_decision_after_the_other_loses_nothing() {
    let (mut case, set) = plan();
    let doses = [dose(16.0, 2.0)];
    let mut memory = Memory::default();
    for (what, decide, _) in DECISIONS {
        decide(&mut case);
        let (got, after, _) = done(&case, &set, &doses, &memory);
        let fresh = analyse_grids(&case, Some(&set), doses.to_vec(), &settings());
        assert_same(&got, &fresh, what);
        memory = after;
    }
    let (_, again, reads) = done(&plan().0, &set, &doses, &memory);
    assert_eq!((reads, again.work.learned), (0, false), "back at the beginning");
}

#[test]
fn grids_that_contradict_each_other_do_so_from_memory() {
    let (case, set) = plan();
    let mut other = dose(7.0, 1.0);
    other.values.mapv_inplace(|gy| 1.2 * gy);
    let doses = [dose(16.0, 2.0), other];
    let (first, memory, _) = done(&case, &set, &doses, &Memory::default());
    let (again, _, reads) = done(&case, &set, &doses, &memory);
    assert_eq!(reads, 0);
    assert_same(&again, &first, "refused");
    assert!(first.dose.is_none());
}
