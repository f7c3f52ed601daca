//! How structures lie to each other, and what values say about limits, through DICOM files. Truth is
//! in closed form: distances of balls, the lens that two balls share, a uniform dose.
//!
//! Tolerances: gaps and margins 0.05 mm at planes 1 mm apart; the lens 2 % of its volume, which goes
//! with the square of its depth of 2 mm, on surfaces known to 0.02 mm.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::f64::consts::PI;

use tidydose_analyse::limit_check::LimitCheck;
use tidydose_analyse::relate::Relation;
use tidydose_analyse::{Analysis, Settings};
use tidydose_geometry::Point;
use tidydose_metrics::limits::{Checked, Limit, Tier, Verdict};
use tidydose_metrics::{Outcome, Status, parse};

use crate::archive::Course;
use crate::phantom::dicom::Roi;
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid};

const CENTRE: Point = [12.31, -7.43, 25.57];

fn ball(number: i32, name: &str, kind: &str, along: f64, radius: f64) -> Roi {
    // A direction that no axis favours.
    let unit = [2.0 / 3.0, -1.0 / 3.0, 2.0 / 3.0];
    let centre = [0, 1, 2].map(|i| CENTRE[i] + along * unit[i]);
    let solid = Solid::ball(centre, radius);
    Roi::new(number, name, kind).outlining(&solid, &PlaneStack::axial(1.0, 0.0), 120)
}

fn analysis(rois: Vec<Roi>, dose_gy: f64, limits: Vec<Limit>) -> Analysis {
    analysis_with(rois, dose_gy, Settings { limits, ..Settings::default() })
}

fn analysis_with(rois: Vec<Roi>, dose_gy: f64, settings: Settings) -> Analysis {
    let lattice = Lattice::around(CENTRE, [60.0; 3], 3.0);
    let course = Course::new("LIE", rois, (&Field::Uniform(dose_gy), &lattice), &[(1, 20.0)]);
    let metrics = ["Volume[cc]", "Max[Gy]"].map(|m| parse(m).unwrap()).to_vec();
    let settings = Settings { metrics, regions: false, ..settings };
    let mut analyses = course.measure(&settings).analyses;
    assert_eq!(analyses.len(), 1);
    analyses.pop_first().unwrap().1
}

fn outcome<'a>(list: &'a [Relation], pair: [i64; 2], metric: &str) -> &'a Outcome {
    let is_it = |r: &&Relation| {
        r.roi_number == pair[0] && r.other_roi_number == Some(pair[1]) && r.metric == metric
    };
    let found = list.iter().find(is_it);
    &found.unwrap_or_else(|| panic!("no {metric} of {pair:?} in {list:#?}")).outcome
}

/// Within a tolerance of the truth, and the bounds hold it.
fn near(got: &Outcome, want: f64, tolerance: f64) {
    let value = got.value.unwrap_or_else(|| panic!("{got:?}"));
    assert!((value - want).abs() <= tolerance, "{value} for {want}");
    let held = got.low.unwrap() <= want + 1e-9 && want <= got.high.unwrap() + 1e-9;
    assert!(held, "{want} not in {got:?}");
}

/// Volume that two balls share, cc.
fn lens(a: f64, b: f64, apart: f64) -> f64 {
    let (sum, difference) = (a + b, a - b);
    let square = apart * apart + 2.0 * apart * sum - 3.0 * difference * difference;
    PI * (sum - apart).powi(2) * square / (12.0 * apart) / 1000.0
}

#[test]
fn balls_apart_overlapping_and_within_each_other() {
    let rois = vec![
        ball(1, "GTV1", "GTV", 0.0, 5.0),
        ball(2, "PTV1", "PTV", 0.0, 7.0),
        ball(3, "Brainstem", "ORGAN", 18.0, 10.0),
        ball(4, "OpticChiasm", "ORGAN", -9.0, 6.0),
        ball(5, "GTV2", "GTV", 40.0, 4.0),
    ];
    let got = analysis(rois, 10.0, Vec::new()).relations;
    near(outcome(&got, [1, 3], "Gap[mm]"), 3.0, 0.05);
    near(outcome(&got, [2, 3], "Gap[mm]"), 1.0, 0.05);
    near(outcome(&got, [1, 4], "Gap[mm]"), -2.0, 0.05);
    near(outcome(&got, [1, 5], "Gap[mm]"), 31.0, 0.05);
    near(outcome(&got, [1, 3], "Overlap[cc]"), 0.0, 0.0);
    let shared = lens(5.0, 6.0, 9.0);
    near(outcome(&got, [1, 4], "Overlap[cc]"), shared, 0.02 * shared);
    near(outcome(&got, [1, 2], "OverlapShare[%]"), 100.0, 0.5);
    // The part of the organ within 5 mm of the target is shared with a ball of 10 mm.
    let organ = 4.0 / 3.0 * PI;
    near(outcome(&got, [1, 3], "OVH5mm[%]"), 100.0 * lens(10.0, 10.0, 18.0) / organ, 0.2);
    near(outcome(&got, [1, 3], "OVH2mm[%]"), 0.0, 0.05);
    for margin in ["MarginMin[mm]", "MarginMean[mm]", "MarginMax[mm]"] {
        let value = outcome(&got, [1, 2], margin).value.unwrap();
        assert!((value - 2.0).abs() < 0.15, "{margin}: {value}");
    }
    near(outcome(&got, [1, 2], "MarginMean[mm]"), 2.0, 0.05);
    let nearest =
        |number| got.iter().find(|r| r.roi_number == number && r.metric == "NearestTarget[mm]");
    // The other lesion is the one that shares nothing.
    assert_eq!(nearest(1).unwrap().other_roi_number, Some(5));
    near(&nearest(5).unwrap().outcome, 29.0, 0.05);
}

#[test]
fn a_target_alone_has_no_nearest_one() {
    let got = analysis(vec![ball(1, "GTV1", "GTV", 0.0, 5.0)], 10.0, Vec::new()).relations;
    let [only] = got.as_slice() else { panic!("{got:?}") };
    assert_eq!((only.metric, only.outcome.status), ("NearestTarget[mm]", Status::NotApplicable));
}

fn limit(organ: &str, value: f64, fractions: u32) -> Limit {
    Limit {
        organ: organ.to_owned(),
        metric: parse("D0.1cc[Gy]").unwrap(),
        inclusive: true,
        value,
        fractions: [fractions; 2],
        tier: Tier::LocalPractice,
        target_may_lie_inside: false,
        source: format!("invented, {value} Gy"),
        evidence: "invented".to_owned(),
        checked: Checked::Own,
        endpoint: String::new(),
        risk: String::new(),
        note: String::new(),
    }
}

fn verdicts(list: &[LimitCheck], organ: &str) -> Vec<Verdict> {
    list.iter().filter(|c| c.organ == organ).map(|c| c.verdict).collect()
}

/// A uniform dose of 12 Gy against limits above, below and at it; a missing organ, fractions without
/// a limit, and a target inside the organ.
#[test]
fn verdicts_of_values_that_are_known() {
    let limits = vec![
        limit("Brainstem", 11.0, 1),
        limit("Brainstem", 12.0, 1),
        limit("Brainstem", 13.0, 1),
        limit("Cochlea_L", 4.0, 1),
        limit("OpticChiasm", 25.0, 5),
    ];
    let rois = |target: f64| {
        vec![
            ball(1, "GTV1", "GTV", target, 4.0),
            ball(2, "Brainstem", "ORGAN", 20.0, 10.0),
            ball(3, "OpticChiasm", "ORGAN", -20.0, 5.0),
        ]
    };
    let got = analysis(rois(0.0), 12.0, limits.clone());
    let brainstem = verdicts(&got.limit_checks, "Brainstem");
    assert_eq!(brainstem, [Verdict::Above, Verdict::Undecided, Verdict::Within]);
    assert_eq!(verdicts(&got.limit_checks, "Cochlea_L"), [Verdict::Unknown]);
    assert_eq!(verdicts(&got.limit_checks, "OpticChiasm"), [Verdict::NotApplicable]);
    let reason = |organ: &str| {
        let found = got.limit_checks.iter().find(|c| c.organ == organ);
        found.unwrap().reason.clone()
    };
    assert!(reason("Cochlea_L").contains("no structure of the case is Cochlea_L"));
    assert!(reason("OpticChiasm").contains("no limit for 1 fraction is listed"));
    // The metric that only the limits need is measured for their organ alone.
    let extra = got.measurements.iter().filter(|m| m.metric == "D0.1cc[Gy]");
    assert_eq!(extra.map(|m| m.roi_number).collect::<Vec<_>>(), [2, 3]);

    let inside = analysis(rois(20.0), 12.0, limits);
    // A target inside is said beside the verdict, which stays that of the numbers.
    let brainstem = verdicts(&inside.limit_checks, "Brainstem");
    assert_eq!(brainstem, [Verdict::Above, Verdict::Undecided, Verdict::Within]);
    let clinical = |c: &LimitCheck| c.organ == "Brainstem" && c.judge_clinically;
    assert_eq!(inside.limit_checks.iter().filter(|c| clinical(c)).count(), 3);
    assert!(!got.limit_checks.iter().any(|c| c.judge_clinically), "a target beside it");
    let check = inside.limit_checks.iter().find(|c| c.organ == "Brainstem").unwrap();
    assert!(check.reason.contains("of GTV") && check.reason.contains("inside"), "{check:?}");
    assert!(check.target_inside_percent.unwrap() > 99.0, "{check:?}");
}

/// A target of which a known share lies in the organ: from which share on clinicians judge is a
/// setting.
#[test]
fn the_share_from_which_a_target_is_inside_is_a_setting() {
    let (target, organ, apart) = (4.0, 10.0, 9.0);
    let share = lens(target, organ, apart) / (4.0 / 3.0 * PI * 0.064);
    assert!((0.5..0.8).contains(&share), "{share}");
    let checked = |from: f64| {
        let rois = vec![
            ball(1, "GTV1", "GTV", 20.0 - apart, target),
            ball(2, "Brainstem", "ORGAN", 20.0, organ),
        ];
        let limits = vec![limit("Brainstem", 11.0, 1)];
        let settings = Settings { limits, target_inside_from: from, ..Settings::default() };
        let checks = analysis_with(rois, 12.0, settings).limit_checks;
        let inside = checks[0].target_inside_percent.unwrap();
        assert!((inside - 100.0 * share).abs() < 2.0, "{inside} for {share}");
        (checks[0].verdict, checks[0].judge_clinically)
    };
    assert_eq!(checked(0.95 * share), (Verdict::Above, true));
    assert_eq!(checked(1.05 * share), (Verdict::Above, false));
}

/// An aim of planning judges nothing: not a value above it, not an organ with a target inside, not
/// one that is missing.
#[test]
fn an_aim_of_planning_never_decides() {
    let aim = |organ: &str| Limit { tier: Tier::Objective, ..limit(organ, 1.0, 1) };
    let limits = vec![aim("Brainstem"), aim("Cochlea_L"), limit("Cochlea_R", 1.0, 1)];
    for target in [0.0, 20.0] {
        let rois =
            vec![ball(1, "GTV1", "GTV", target, 4.0), ball(2, "Brainstem", "ORGAN", 20.0, 10.0)];
        let got = analysis(rois, 12.0, limits.clone()).limit_checks;
        assert_eq!(verdicts(&got, "Brainstem"), [Verdict::NotALimit]);
        assert_eq!(verdicts(&got, "Cochlea_L"), [Verdict::NotALimit]);
        assert_eq!(verdicts(&got, "Cochlea_R"), [Verdict::Unknown]);
        let shown = got.iter().find(|c| c.organ == "Brainstem").unwrap();
        assert!(shown.outcome.as_ref().unwrap().value.unwrap() > 11.0, "{shown:?}");
    }
}
