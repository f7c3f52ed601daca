//! The one rule for versions of plans: by example, then over all pairs of states.

use super::super::link_decided;
use super::*;
use crate::fixtures::{dose, plan, structure_set, token};
use crate::{Case, Standing};
use tidydose_geometry::units::Day;
use tidydose_rt::{Inventory, SessionBeam};

fn version(object: &str, approval: &str, day: i64) -> Plan {
    let mut p = plan(object, "s");
    p.label = Some(token("label"));
    p.approval = Some(approval.to_owned()).filter(|a| !a.is_empty());
    p.day = Some(Day(day));
    p
}

fn record(object: &str, of: &str) -> TreatmentRecord {
    let mut origin: Origin = plan(object, "s").origin;
    origin.file = token(object);
    let beam = SessionBeam {
        beam: None,
        fraction: Some(1),
        treats: true,
        ended_normally: true,
        specified: None,
        delivered: None,
    };
    let (plans, beams) = (vec![token(of)], vec![beam]);
    TreatmentRecord { origin, plans, day: Some(Day(7)), beams, summary: None }
}

fn linked(
    plans: Vec<Plan>,
    records: Vec<TreatmentRecord>,
    decisions: &Decisions,
) -> (Vec<Case>, Vec<Finding>) {
    let doses = plans.iter().map(|p| {
        let object = p.origin.object.as_str();
        dose(&format!("d-{object}"), object)
    });
    let inventory = Inventory {
        doses: doses.collect(),
        structure_sets: vec![structure_set("s")],
        plans,
        records,
        ..Inventory::default()
    };
    link_decided(&inventory, decisions)
}

fn cases(plans: Vec<Plan>, records: Vec<TreatmentRecord>, decisions: &Decisions) -> Vec<Case> {
    linked(plans, records, decisions).0
}

/// Code for which each case is left out, by plan.
fn left_out(cases: &[Case]) -> Vec<(&str, Option<Code>)> {
    cases.iter().map(|c| (c.id.as_str(), c.left_out.as_ref().map(|l| l.0))).collect()
}

fn reasons(cases: &[Case]) -> Vec<RoleReason> {
    cases.iter().map(|c| c.treatment.reason).collect()
}

const SUPERSEDED: Option<Code> = Some(Code::PlanSuperseded);

#[test]
fn a_record_beats_approval_and_approval_beats_the_date() {
    let plans = || vec![version("old", "APPROVED", 1), version("new", "UNAPPROVED", 5)];
    let none = Decisions::default();
    let by_approval = cases(plans(), vec![], &none);
    assert_eq!(left_out(&by_approval), [("new", SUPERSEDED), ("old", None)]);
    assert_eq!(reasons(&by_approval), [RoleReason::OtherApproved, RoleReason::Approved]);
    let by_record = cases(plans(), vec![record("r", "new")], &none);
    assert_eq!(left_out(&by_record), [("new", None), ("old", SUPERSEDED)]);
    assert_eq!(reasons(&by_record), [RoleReason::Recorded, RoleReason::OtherRecorded]);
    assert_eq!(by_record[0].treatment.delivery.unwrap().fractions, Some(1));
    let both = vec![version("a", "APPROVED", 1), version("b", "APPROVED", 2)];
    let by_date = cases(both, vec![], &none);
    assert_eq!(left_out(&by_date), [("a", SUPERSEDED), ("b", None)]);
    assert_eq!(reasons(&by_date), [RoleReason::Newer, RoleReason::Approved]);
}

#[test]
fn each_loser_has_the_reason_at_which_it_left() {
    let plans = vec![
        version("a", "APPROVED", 1),
        version("b", "APPROVED", 2),
        version("c", "UNAPPROVED", 3),
        version("d", "REJECTED", 4),
        version("e", "APPROVED", 5),
    ];
    let mut decisions = Decisions::default();
    decisions.treated.insert(token("e"), false);
    let cases = cases(plans, vec![], &decisions);
    assert_eq!(
        reasons(&cases),
        [
            RoleReason::Newer,
            RoleReason::Approved,
            RoleReason::OtherApproved,
            RoleReason::OtherApproved,
            RoleReason::UserNo,
        ]
    );
    assert_eq!(left_out(&cases)[4], ("e", Some(Code::PlanNotTreated)));
    let text = &cases[4].left_out.as_ref().unwrap().1;
    assert!(text.contains("the user says that it was not treated"), "{text}");
}

#[test]
fn what_no_rule_decides_the_user_decides() {
    let plans = || vec![version("a", "APPROVED", 1), version("b", "APPROVED", 1)];
    let open = cases(plans(), vec![], &Decisions::default());
    let ambiguous = Some(Code::PlanAmbiguous);
    assert_eq!(left_out(&open), [("a", ambiguous), ("b", ambiguous)]);
    let message = &open[0].left_out.as_ref().unwrap().1;
    assert!(message.contains("a (APPROVED, day 1); b (APPROVED, day 1)"), "{message}");
    let mut decisions = Decisions::default();
    decisions.treated.insert(token("a"), true);
    let decided = cases(plans(), vec![], &decisions);
    assert_eq!(left_out(&decided), [("a", None), ("b", SUPERSEDED)]);
    assert_eq!(reasons(&decided), [RoleReason::UserYes, RoleReason::OtherByUser]);
    decisions.treated.insert(token("b"), true);
    let both = cases(plans(), vec![], &decisions);
    assert_eq!(left_out(&both), [("a", None), ("b", None)], "the user's yes is never overruled");
}

#[test]
fn other_labels_targets_or_structure_sets_are_other_plans() {
    let mut other = version("b", "APPROVED", 2);
    other.label = Some(token("boost"));
    let two =
        cases(vec![version("a", "APPROVED", 1), other.clone()], vec![], &Decisions::default());
    assert_eq!(left_out(&two), [("a", None), ("b", None)]);
    other.related = vec![(PlanRelation::Predecessor, token("a"))];
    let chain = cases(vec![version("a", "APPROVED", 1), other], vec![], &Decisions::default());
    assert_eq!(left_out(&chain), [("a", SUPERSEDED), ("b", None)]);
    assert_eq!(reasons(&chain), [RoleReason::Derived, RoleReason::Approved]);
}

#[test]
fn plans_that_verify_and_plans_that_were_rejected_are_left_out() {
    let mut check = version("check", "APPROVED", 9);
    check.related = vec![(PlanRelation::Verified, token("a"))];
    let all = cases(vec![version("a", "APPROVED", 1), check], vec![], &Decisions::default());
    assert_eq!(left_out(&all), [("a", None), ("check", Some(Code::PlanNotTreatment))]);
    assert_eq!(all[1].role(), PlanRole::Qa);
    let mut research = version("r", "UNAPPROVED", 1);
    research.intent = Some("RESEARCH".to_owned());
    let apart = cases(vec![research.clone()], vec![], &Decisions::default());
    assert_eq!(left_out(&apart), [("r", Some(Code::PlanNotTreatment))]);
    let mut decisions = Decisions::default();
    decisions.treated.insert(token("r"), true);
    let told = cases(vec![research], vec![], &decisions);
    assert_eq!((left_out(&told)[0].1, told[0].role()), (None, PlanRole::Treated));
    let rejected = || vec![version("a", "REJECTED", 1)];
    let alone = cases(rejected(), vec![], &Decisions::default());
    assert_eq!(left_out(&alone), [("a", Some(Code::PlanRejected))]);
    let treated = cases(rejected(), vec![record("r", "a")], &Decisions::default());
    assert_eq!(left_out(&treated), [("a", None)]);
    let newest = vec![version("a", "UNAPPROVED", 1), version("b", "REJECTED", 2)];
    let kept = cases(newest, vec![], &Decisions::default());
    assert_eq!(left_out(&kept), [("a", None), ("b", SUPERSEDED)], "the patient is not lost");
}

#[test]
fn two_versions_with_records_are_both_measured() {
    let plans = vec![version("a", "APPROVED", 1), version("b", "APPROVED", 2)];
    let records = vec![record("r1", "a"), record("r2", "b")];
    let both = cases(plans, records, &Decisions::default());
    assert_eq!(left_out(&both), [("a", None), ("b", None)]);
}

#[test]
fn a_record_against_the_users_word_is_said() {
    let plans = vec![version("a", "APPROVED", 1), version("b", "APPROVED", 2)];
    let mut decisions = Decisions::default();
    decisions.treated.insert(token("a"), true);
    let (cases, findings) = linked(plans, vec![record("r", "b")], &decisions);
    assert_eq!(reasons(&cases), [RoleReason::UserYes, RoleReason::OtherByUser]);
    let said = findings.iter().filter(|f| f.code == Code::RecordContradicts);
    assert_eq!(said.filter_map(|f| f.subject.case.clone()).collect::<Vec<_>>(), [token("b")]);
}

#[test]
fn one_answer_holds_for_all_plans_of_which_nothing_tells() {
    let plans = || {
        let labelled = |object: &str, approval: &str| {
            let mut p = version(object, approval, 1);
            p.label = Some(token(object));
            p
        };
        vec![labelled("a", "UNAPPROVED"), labelled("b", ""), labelled("c", "REJECTED")]
    };
    let answered = |answer| {
        let decisions = Decisions { treated_all: Some(answer), ..Decisions::default() };
        cases(plans(), vec![], &decisions)
    };
    let yes = answered(true);
    let all = RoleReason::UserYesToAll;
    assert_eq!(reasons(&yes), [all, all, RoleReason::Rejected]);
    assert!(yes.iter().all(|c| c.treatment.asked == (c.id == token("c"))));
    let no = answered(false);
    let not_treated = Some(Code::PlanNotTreated);
    let rejected = Some(Code::PlanRejected);
    assert_eq!(left_out(&no), [("a", not_treated), ("b", not_treated), ("c", rejected)]);
    let mut own = Decisions { treated_all: Some(false), ..Decisions::default() };
    own.treated.insert(token("a"), true);
    let own = cases(plans(), vec![], &own);
    assert_eq!(own[0].treatment.reason, RoleReason::UserYes, "an answer of its own comes first");
}

#[test]
fn a_plan_of_which_nothing_tells_counts_unless_another_was_treated() {
    let mut other = version("b", "UNAPPROVED", 2);
    other.label = Some(token("trial"));
    let alone = cases(vec![other.clone()], vec![], &Decisions::default());
    assert_eq!((alone[0].treatment.standing(), alone[0].counts()), (Standing::Presumed, true));
    let beside = vec![version("a", "APPROVED", 1), other.clone()];
    let beside = cases(beside, vec![], &Decisions::default());
    assert_eq!(beside[1].treatment.standing(), Standing::Undecided);
    assert!(beside[0].counts() && !beside[1].counts() && beside[1].treatment.asked);
    let mut stranger = version("a", "APPROVED", 1);
    stranger.origin.patient = Some(token("somebody else"));
    let two = cases(vec![stranger, other], vec![], &Decisions::default());
    assert!(two.iter().any(|c| c.treatment.standing() == Standing::Presumed), "of another patient");
}

/// What a record may tell of a version.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum RecordState {
    NoRecord,
    Delivered,
    Nothing,
    SetUpOnly,
    SummaryOfNothing,
}

/// A version in one of all states.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct VersionState {
    approval: &'static str,
    told: RecordState,
    user: Option<bool>,
}

impl VersionState {
    fn all() -> Vec<Self> {
        let mut all = Vec::new();
        for approval in ["APPROVED", "UNAPPROVED", "", "REJECTED"] {
            for told in [
                RecordState::NoRecord,
                RecordState::Delivered,
                RecordState::Nothing,
                RecordState::SetUpOnly,
                RecordState::SummaryOfNothing,
            ] {
                for user in [None, Some(true), Some(false)] {
                    all.push(Self { approval, told, user });
                }
            }
        }
        all
    }

    fn record(self, object: &str) -> Option<TreatmentRecord> {
        let mut record = record(&format!("r-{object}"), object);
        match self.told {
            RecordState::NoRecord => return None,
            RecordState::Delivered => {}
            RecordState::Nothing => record.beams[0].delivered = Some(0.0),
            RecordState::SetUpOnly => record.beams[0].treats = false,
            RecordState::SummaryOfNothing => {
                record.beams.clear();
                let nothing = tidydose_rt::Summary { fractions: Some(0), ..Default::default() };
                record.summary = Some(nothing);
            }
        }
        Some(record)
    }

    /// How much speaks for it: nothing at all for one that the user takes out.
    fn strength(self) -> u8 {
        match self {
            Self { user: Some(false), .. } => 0,
            Self { user: Some(true), .. } => 5,
            Self { told: RecordState::Delivered, .. } => 4,
            Self { approval: "APPROVED", .. } => 3,
            Self { approval: "REJECTED", .. } => 1,
            _ => 2,
        }
    }
}

fn settled(states: &[(&str, VersionState, i64)]) -> Vec<Case> {
    let plans = states.iter().map(|(object, s, day)| version(object, s.approval, *day)).collect();
    let records = states.iter().filter_map(|(object, s, _)| s.record(object)).collect();
    let mut decisions = Decisions::default();
    for (object, state, _) in states {
        if let Some(answer) = state.user {
            decisions.treated.insert(token(object), answer);
        }
    }
    cases(plans, records, &decisions)
}

/// The loser's reason, which follows from what speaks for the other one alone.
fn reason_against(winner: VersionState, same: bool) -> RoleReason {
    match (same, winner.strength()) {
        (true, _) => RoleReason::Newer,
        (_, 5) => RoleReason::OtherByUser,
        (_, 4) => RoleReason::OtherRecorded,
        (_, 3) => RoleReason::OtherApproved,
        _ => RoleReason::OtherNotRejected,
    }
}

#[test]
fn alone_a_plan_is_what_speaks_for_it() {
    for state in VersionState::all() {
        let case = &settled(&[("a", state, 1)])[0];
        let (role, out) = match state.strength() {
            0 => (PlanRole::NotTreated, Some(Code::PlanNotTreated)),
            1 => (PlanRole::Candidate, Some(Code::PlanRejected)),
            2 => (PlanRole::Candidate, None),
            _ => (PlanRole::Treated, None),
        };
        assert_eq!((case.role(), case.left_out.as_ref().map(|l| l.0)), (role, out), "{state:?}");
        assert_eq!(case.treatment.asked, role == PlanRole::Candidate, "{state:?}");
        assert_eq!(case.counts(), (2..=5).contains(&state.strength()), "{state:?}");
    }
}

#[test]
fn all_pairs_of_states_follow_the_one_rule() {
    for a in VersionState::all() {
        for b in VersionState::all() {
            for day_of_b in [0, 1, 2] {
                let pair = settled(&[("a", a, 1), ("b", b, day_of_b)]);
                let swapped = settled(&[("b", b, day_of_b), ("a", a, 1)]);
                assert_eq!(reasons(&pair), reasons(&swapped), "{a:?} {b:?}: order plays no part");
                check_pair(a, b, (day_of_b, &pair));
            }
        }
    }
}

fn check_pair(a: VersionState, b: VersionState, (day_of_b, pair): (i64, &[Case])) {
    let told = format!("{a:?} and, on day {day_of_b}, {b:?}: {:?}", reasons(pair));
    let alone = |s: VersionState| settled(&[("a", s, 1)])[0].treatment.reason;
    for (own, other, case, newer) in
        [(a, b, &pair[0], 1_i64.cmp(&day_of_b)), (b, a, &pair[1], day_of_b.cmp(&1))]
    {
        let reason = case.treatment.reason;
        let (mine, theirs) = (own.strength(), other.strength());
        let ranked = (2..=3).contains(&mine) && mine == theirs;
        let expected = match () {
            () if mine == 0 => RoleReason::UserNo,
            () if mine < theirs => reason_against(other, false),
            () if ranked && newer.is_lt() => reason_against(other, true),
            () if ranked && newer.is_eq() => RoleReason::Indistinct,
            () => alone(own),
        };
        assert_eq!(reason, expected, "{told}");
    }
    // Nobody is lost in silence: somebody is measured, or asked about, or taken out by the user.
    let saved = pair.iter().any(|c| c.left_out.is_none() || c.treatment.asked);
    let taken_out = a.strength() == 0 && b.strength() == 0;
    assert!(saved || taken_out, "{told}");
    let treated = pair.iter().any(|c| c.role() == PlanRole::Treated);
    let asked = pair.iter().any(|c| c.treatment.asked);
    assert!(treated != asked || taken_out, "{told}: asked exactly where nothing proves it");
}
