//! Dose summation types (PS3.3 C.8.8.3), several grids of one plan, relative and effective dose.

use tidydose_case::Decisions;
use tidydose_geometry::units::Gray;
use tidydose_rt::finding::Severity;
use tidydose_rt::identity::Token;
use tidydose_table::user::limits;

use super::*;
use crate::archive::by_name;
use crate::phantom::dicom::uid;

/// The dose of one beam (1 or 2) of the plan.
fn beam_dose(beam: i32, lattice: &Lattice) -> Dose {
    let field = &beams()[usize::try_from(beam - 1).unwrap()];
    let mut dose = dose(&format!("beam{beam}"), field, lattice, "BEAM");
    dose.fraction_group = Some(1);
    dose.beams = vec![beam];
    dose
}

fn plan_values() -> BTreeMap<String, Outcome> {
    metrics_of(&course(1).measure(&settings()))
}

#[test]
fn beam_doses_add_up_to_the_dose_of_the_plan() {
    let doses = [beam_dose(1, &lattice()), beam_dose(2, &lattice())];
    // BEAM is the whole delivery of its beams: the number of fractions does not count.
    for fractions in [1, 5] {
        let measured = with_doses(&course(fractions), &doses).measure(&settings());
        assert_same(&metrics_of(&measured), &plan_values());
        assert!(measured.has(Code::DoseSummed) && !measured.has(Code::DoseMultiplied));
        assert_eq!(measured.cases[0].dose_source.words, "sum of 2 BEAM grids");
        assert_eq!(measured.cases[0].all_doses().count(), 2);
    }
    let mut beside = doses.to_vec();
    beside.push(dose("whole", &whole(), &lattice(), "PLAN"));
    let measured = with_doses(&course(1), &beside).measure(&settings());
    assert_eq!(metrics_of(&measured), plan_values(), "the PLAN dose is used, not added to");
    assert!(measured.has(Code::DoseSummationUnused));
}

#[test]
fn incomplete_beam_doses_are_refused() {
    let code = Code::DoseSummationUnused;
    let missing = with_doses(&course(1), &[beam_dose(1, &lattice())]).measure(&settings());
    refused(&missing, code, "beam 2 of fraction group 1 is missing");

    let mut twice = vec![beam_dose(1, &lattice()), beam_dose(2, &lattice())];
    let mut again = dose("again", &Field::Uniform(3.0), &lattice(), "BEAM");
    again.fraction_group = Some(1);
    again.beams = vec![2];
    twice.push(again);
    let measured = with_doses(&course(1), &twice).measure(&settings());
    refused(&measured, code, "beam 2 of fraction group 1 is in 2 grids");

    let moved = lattice().shifted([0.5, 0.0, 0.0]);
    let doses = [beam_dose(1, &lattice()), beam_dose(2, &moved)];
    let measured = with_doses(&course(1), &doses).measure(&settings());
    refused(&measured, code, "grids are not resampled");

    let mut nameless = beam_dose(2, &lattice());
    nameless.beams.clear();
    let measured = with_doses(&course(1), &[beam_dose(1, &lattice()), nameless]);
    refused(&measured.measure(&settings()), code, "names no beam");
}

/// A beam that only sets the patient up gives no dose to be waited for.
#[test]
fn setup_beams_need_no_dose() {
    let mut with_setup = course(1);
    with_setup.plan.beams[1].delivery = "SETUP".into();
    let doses = [dose_of_first()];
    let measured = with_doses(&with_setup, &doses).measure(&settings());
    metrics_of(&measured);
    assert_eq!(measured.cases[0].dose_source.words, "one BEAM grid");
}

fn dose_of_first() -> Dose {
    beam_dose(1, &lattice())
}

#[test]
fn a_fraction_is_a_group_and_a_session_counts_as_often_as_planned() {
    // FRACTION: the whole delivery of the fraction group.
    let mut group = dose("group", &whole(), &lattice(), "FRACTION");
    group.fraction_group = Some(1);
    let measured = with_doses(&course(5), &[group]).measure(&settings());
    assert_same(&metrics_of(&measured), &plan_values());
    assert!(!measured.has(Code::DoseMultiplied));

    let fifth = Field::Scaled(0.2, Box::new(whole()));
    let mut session = dose("session", &fifth, &lattice(), "FRACTION_SESSION");
    session.fraction_group = Some(1);
    let measured = with_doses(&course(5), &[session.clone()]).measure(&settings());
    assert_same(&metrics_of(&measured), &plan_values());
    assert_eq!(Code::DoseMultiplied.definition().severity, Severity::Check);
    assert!(measured.has(Code::DoseMultiplied));
    let words = &measured.cases[0].dose_source.words;
    assert_eq!(words, "one FRACTION_SESSION grid, times 5 (Number of Fractions Planned)");

    let mut unknown = course(5);
    unknown.plan.fraction_groups[0].fractions = None;
    let measured = with_doses(&unknown, &[session]).measure(&settings());
    refused(&measured, Code::DoseSummationUnused, "the plan does not state how many");

    let beams = [1, 2].map(|n| {
        let fifth = Field::Scaled(0.2, Box::new(beams()[n as usize - 1].clone()));
        let mut dose = dose(&format!("s{n}"), &fifth, &lattice(), "BEAM_SESSION");
        dose.fraction_group = Some(1);
        dose.beams = vec![n];
        dose
    });
    let measured = with_doses(&course(5), &beams).measure(&settings());
    assert_same(&metrics_of(&measured), &plan_values());
}

#[test]
fn control_points_and_records_are_no_dose_of_the_plan() {
    for summation in ["CONTROL_POINT", "RECORD", "BRACHY"] {
        let part = dose("part", &whole(), &lattice(), summation);
        let measured = with_doses(&course(1), &[part]).measure(&settings());
        refused(&measured, Code::DoseSummationUnused, summation);
    }
}

#[test]
fn a_dose_under_two_names_counts_once_and_two_doses_are_refused() {
    let doses = ["a", "b"].map(|name| dose(name, &whole(), &lattice(), "PLAN"));
    let measured = with_doses(&course(1), &doses).measure(&settings());
    assert_eq!(metrics_of(&measured), plan_values());
    assert!(measured.has(Code::DoseRepeated));

    let less = Field::Scaled(0.9, Box::new(whole()));
    let rivals = [dose("a", &whole(), &lattice(), "PLAN"), dose("b", &less, &lattice(), "PLAN")];
    let archive = with_doses(&course(1), &rivals);
    let open = archive.measure(&settings());
    refused(&open, Code::DoseSeveral, "2 dose grids of the whole plan");
    let case = open.cases[0].id.clone();
    let mut decisions = Decisions::default();
    decisions.dose.insert(case, Token::new(&rivals[1].header.instance_uid));
    let decided = metrics_of(&archive.measure_decided(&settings(), &decisions));
    let alone = with_doses(&course(1), &rivals[1..]).measure(&settings());
    assert_eq!(decided, metrics_of(&alone));
}

/// Two targets 60 mm apart, each in a matrix of its own, as multi-source cobalt units export them.
struct Matrices {
    far: Point,
    field: Field,
}

impl Matrices {
    fn new() -> Self {
        let far = [CENTRE[0] + 60.0, CENTRE[1], CENTRE[2]];
        let field = Field::Sum(vec![whole(), Field::gaussian(far, 20.0, 6.0)]);
        Self { far, field }
    }

    fn course(&self) -> Course {
        let mut course = course(1);
        course.set.rois.push(ball(2, "PTV2", self.far));
        course
    }

    fn doses(&self) -> [Dose; 2] {
        let near = Lattice::around(CENTRE, [22.0; 3], 2.0);
        let far = Lattice::around(self.far, [20.0; 3], 2.0);
        [dose("near", &self.field, &near, "PLAN"), dose("far", &self.field, &far, "PLAN")]
    }
}

/// Each structure has the numbers of the one grid that holds it, exactly.
#[test]
fn small_matrices_serve_the_structures_they_hold() {
    let case = Matrices::new();
    let measured = with_doses(&case.course(), &case.doses()).measure(&settings());
    metrics_of(&measured);
    assert!(measured.has(Code::DoseGridsLocal));
    for (roi, dose) in [(1, 0), (2, 1)] {
        let alone = with_doses(&case.course(), &case.doses()[dose..=dose]).measure(&settings());
        let alone = by_name(alone.analyses.values().next().unwrap(), roi);
        let both = by_name(measured.analyses.values().next().unwrap(), roi);
        assert_eq!(both, alone, "structure {roi}");
        assert!(both["D98%[Gy]"].value.unwrap() > 5.0);
    }
    let order: Vec<i64> = measured
        .analyses
        .values()
        .next()
        .unwrap()
        .structures
        .iter()
        .map(|s| s.roi_number)
        .collect();
    assert_eq!(order, [1, 2]);
}

/// What rests on all structures stands once, and reaches over the matrices: limits of an organ in
/// the second one, the gap between targets of both.
#[test]
fn matrices_share_lesions_relations_and_limits() {
    let case = Matrices::new();
    let mut course = case.course();
    let beside = [case.far[0], case.far[1] + 10.0, case.far[2]];
    let organ = Solid::ball(beside, 4.0);
    let organ =
        Roi::new(3, "Brainstem", "ORGAN").outlining(&organ, &PlaneStack::axial(1.0, 0.0), 60);
    course.set.rois.push(organ);
    let mut settings = settings();
    let list = limits::in_use(limits::built_in().unwrap(), Vec::new());
    let brainstem = list
        .into_iter()
        .filter(|l| l.organ == "Brainstem" && l.is_for(1) && l.metric.to_string() == "D0.1cc[Gy]");
    settings.limits = brainstem.collect();
    let measured = with_doses(&course, &case.doses()).measure(&settings);
    let analysis = measured.analyses.values().next().unwrap();
    assert!(!settings.limits.is_empty());
    assert_eq!(analysis.limit_checks.len(), settings.limits.len());
    for check in &analysis.limit_checks {
        assert_eq!(check.roi_number, Some(3));
        assert!(check.outcome.as_ref().unwrap().value.is_some(), "{check:?}");
    }
    assert_eq!(analysis.lesions.len(), 2, "{:?}", analysis.lesions);
    let between = analysis
        .relations
        .iter()
        .filter(|r| r.metric == "Gap[mm]" && (r.roi_number, r.other_roi_number) == (1, Some(2)));
    let gaps: Vec<f64> = between.map(|r| r.outcome.value.unwrap()).collect();
    assert_eq!(gaps.len(), 1);
    assert!((gaps[0] - 50.0).abs() < 0.05, "{gaps:?}");
}

#[test]
fn matrices_that_contradict_each_other_are_refused() {
    let near = lattice();
    let beside = lattice().shifted([14.0, 0.0, 0.0]);
    let agreed = [dose("a", &whole(), &near, "PLAN"), dose("b", &whole(), &beside, "PLAN")];
    let measured = with_doses(&course(1), &agreed).measure(&settings());
    assert!(!measured.has(Code::DoseGridsDisagree));
    assert_eq!(metrics_of(&measured), plan_values(), "the first holds the target whole");
    let more = Field::Scaled(1.1, Box::new(whole()));
    let doses = [dose("a", &whole(), &near, "PLAN"), dose("b", &more, &beside, "PLAN")];
    let measured = with_doses(&course(1), &doses).measure(&settings());
    assert!(measured.has(Code::DoseGridsDisagree));
    let analysis = measured.analyses.values().next().unwrap();
    let row = &analysis.measurements[0].outcome;
    assert_eq!((row.value, row.status), (None, Status::Unlinked));
    assert!(row.reason.contains("where they overlap"), "{}", row.reason);
}

/// A fine grid within a coarse one of the same dose: the target is measured in the fine one, what
/// reaches beyond it in the coarse one.
#[test]
fn a_fine_grid_within_a_coarse_one_serves_its_target() {
    let wide = Lattice::around(CENTRE, [40.0; 3], 4.0);
    let fine = Lattice::around(CENTRE, [14.0; 3], 1.0);
    let mut both = course(1);
    let organ = Solid::ball([CENTRE[0] + 15.0, CENTRE[1], CENTRE[2]], 12.0);
    let organ =
        Roi::new(2, "Brainstem", "ORGAN").outlining(&organ, &PlaneStack::axial(2.0, 0.0), 60);
    both.set.rois.push(organ);
    let doses = [dose("wide", &whole(), &wide, "PLAN"), dose("fine", &whole(), &fine, "PLAN")];
    let measured = with_doses(&both, &doses).measure(&settings());
    metrics_of(&measured);
    for (roi, dose) in [(1, 1), (2, 0)] {
        let alone = with_doses(&both, &doses[dose..=dose]).measure(&settings());
        let alone = by_name(alone.analyses.values().next().unwrap(), roi);
        assert_eq!(by_name(measured.analyses.values().next().unwrap(), roi), alone);
    }
}

#[test]
fn relative_dose_needs_the_reference_of_the_user() {
    let mut relative = dose("r", &Field::Scaled(0.05, Box::new(whole())), &lattice(), "PLAN");
    relative.units = "RELATIVE".into();
    let archive = with_doses(&course(1), &[relative]);
    let open = archive.measure(&settings());
    refused(&open, Code::DoseRelative, "largest value 1.");
    let mut decisions = Decisions::default();
    decisions.relative_unit.insert(open.cases[0].id.clone(), Gray::gy(20.0));
    let decided = archive.measure_decided(&settings(), &decisions);
    assert_same(&metrics_of(&decided), &plan_values());
    assert!(decided.has(Code::DoseReferenceByUser));
}

#[test]
fn what_should_be_looked_at_is_said_of_the_case() {
    let mut odd = course(1);
    odd.dose.dose_type = "EFFECTIVE".into();
    odd.plan.approval = "UNAPPROVED".into();
    odd.plan.fraction_groups[0].fractions = None;
    let measured = odd.measure(&settings());
    assert_eq!(metrics_of(&measured), plan_values());
    let case = &measured.cases[0].id;
    for code in [Code::DoseEffective, Code::PlanUnapproved, Code::PlanFractionsMissing] {
        let of_case = |f: &&tidydose_rt::finding::Finding| {
            f.code == code && f.subject.case.as_ref() == Some(case)
        };
        assert_eq!(measured.findings.iter().filter(of_case).count(), 1, "{code:?}");
        assert_eq!(code.definition().severity, Severity::Check);
    }
    let clean = course(1).measure(&settings());
    for code in [Code::DoseEffective, Code::PlanUnapproved, Code::PlanFractionsMissing] {
        assert!(!clean.has(code));
    }
}

/// Labelled PLAN, but the largest dose is below the prescription and fits it times the fractions.
#[test]
fn a_plan_dose_that_looks_like_one_fraction_is_pointed_at() {
    let mut suspect = course(3);
    let third = Field::Scaled(1.0 / 3.0, Box::new(whole()));
    suspect.dose.values = third.sample(&lattice());
    assert!(suspect.measure(&settings()).has(Code::DoseLikeOneFraction));
    assert!(!course(3).measure(&settings()).has(Code::DoseLikeOneFraction));
}

#[test]
fn structures_alone_keep_their_volumes() {
    let archive = Archive::new();
    archive.add("structures.dcm", &course(1).set.bytes().unwrap());
    refused(&archive.measure(&settings()), Code::LinkMissing, "no plan and no dose");
}

/// One rule says which dose is that of a plan, for other programs as for a study.
#[test]
fn the_library_takes_the_doses_that_a_study_takes() {
    let archive = Archive::new();
    let said = |dose: &Dose| {
        archive.add("dose.dcm", &dose.bytes().unwrap());
        match tidydose::read_dose(archive.path().join("dose.dcm")) {
            Ok(_) => String::new(),
            Err(error) => error.to_string(),
        }
    };
    let plain = dose("p", &whole(), &lattice(), "PLAN");
    assert_eq!(said(&plain), "");
    let mut relative = plain.clone();
    relative.units = "RELATIVE".into();
    assert!(said(&relative).contains("GY would be accepted"), "{}", said(&relative));
    let mut difference = plain.clone();
    difference.dose_type = "ERROR".into();
    assert!(said(&difference).contains("Dose Type is ERROR"), "{}", said(&difference));
    let beam = dose("b", &whole(), &lattice(), "BEAM");
    assert!(said(&beam).contains("is BEAM; the dose of one PLAN"), "{}", said(&beam));
    let mut several = dose("m", &whole(), &lattice(), "MULTI_PLAN");
    assert_eq!(said(&several), "", "of one plan only");
    several.plan_uids.push(uid("another plan"));
    assert!(said(&several).contains("is MULTI_PLAN"), "{}", said(&several));
}
