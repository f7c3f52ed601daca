//! What is checked of a model and said beside it: intervals, separation, adjusters, influence, units,
//! groups too small.

use super::*;

/// The headline of independent rows is the profile, that of lesions in patients the draws; where the
/// predictor separates, the profile for both, since every draw is separated too.
#[test]
fn the_interval_that_counts_fits_the_rows_and_separation_is_named() {
    let of = |grain, rows: &[Outcome], change: &dyn Fn(&mut Cohort<'static>)| {
        let mut cohort = cohort();
        change(&mut cohort);
        describe(&cohort, rows, &request(grain)).unwrap()
    };
    let patients = of(Grain::Patient, &outcomes(), &|_| ());
    assert!(patients.summary.contains("(95 % by profile "), "{}", patients.summary);
    let lesions = of(Grain::Lesion, &outcomes(), &|_| ());
    assert!(
        lesions.summary.contains("(95 % bootstrap, resampling patients "),
        "{}",
        lesions.summary
    );
    assert!(!lesions.warnings.iter().any(|w| w.starts_with("separation")));
    let rows: Vec<Outcome> = (0..PATIENTS)
        .flat_map(|i| [(i, 1), (i, 2)])
        .map(|(i, k)| {
            let id = format!("O{i:02}/{k}");
            row(i, Some(&id), if i >= 30 { "necrosis" } else { "none" }, (i >= 30).then_some(90))
        })
        .collect();
    let parted = of(Grain::Lesion, &rows, &|_| ());
    assert!(parted.summary.contains("(95 % by profile "), "{}", parted.summary);
    let named = "separation: Brain:V12Gy[cc] parts those with the event";
    assert!(parted.warnings.iter().any(|w| w.starts_with(named)), "{:?}", parted.warnings);
}

#[test]
fn several_adjusters_are_in_the_model_the_subjects_and_the_checks() {
    let mut asked = request(Grain::Lesion);
    asked.adjust = vec!["technology".to_owned(), "gtv_volume_cc".to_owned()];
    let found = describe(&cohort(), &outcomes(), &asked).unwrap();
    let text = |name: &str| String::from_utf8(found.files[name].clone()).unwrap();
    let model = text("model.csv");
    assert!(model.contains("\ntechnology,") && model.contains("\ngtv_volume_cc,"), "{model}");
    assert!(text("subjects.csv").lines().next().unwrap().ends_with(",dead,adjuster_2"));
    let report = text("report.txt");
    for words in [
        "adjusted for technology, gtv_volume_cc",
        "odds ratio for one unit of gtv_volume_cc",
        "inflation of variances: Brain:V12Gy[cc] 1.",
        "without one patient at a time the odds ratio for one unit of Brain:V12Gy[cc] is ",
        "a line against a restricted cubic spline with knots at ",
        "slope of calibration ",
        "odds ratio for one standard deviation (5.",
    ] {
        assert!(report.contains(words), "{words}: {report}");
    }
    assert!(text("calibration.csv").lines().count() >= 4);
    assert!(text("models.R").contains("\"technology\", \"gtv_volume_cc\""));
    // One that follows from another is named, and there is no model.
    asked.adjust = vec!["gtv_volume_cc".to_owned(), "gtv_volume_cc".to_owned()];
    let found = describe(&cohort(), &outcomes(), &asked).unwrap();
    let all = found.warnings.join("\n");
    assert!(all.contains("gtv_volume_cc and gtv_volume_cc say the same of everybody"), "{all}");
    assert!(found.summary.contains("no model: all predictors say the same"), "{}", found.summary);
}

/// One patient far from all others carries the relation: named by the token.
#[test]
fn the_patient_on_whom_the_relation_hangs_is_named() {
    let mut cohort = cohort();
    for m in cohort.metrics.iter_mut().filter(|m| m.structure == "Brain") {
        let far = m.plan_id == "O07";
        m.value = Some(if far { 400.0 } else { m.value.unwrap() / 10.0 });
    }
    let rows: Vec<Outcome> = (0..PATIENTS)
        .map(|i| {
            row(i, None, if i % 9 == 7 { "necrosis" } else { "none" }, (i % 9 == 7).then_some(50))
        })
        .collect();
    let found = describe(&cohort, &rows, &request(Grain::Patient)).unwrap();
    let report = String::from_utf8(found.files["report.txt"].clone()).unwrap();
    assert!(report.contains("; without P07 it moves most, to "), "{report}");
}

/// An index lies within less than a unit: its odds ratio is for a tenth.
#[test]
fn an_index_is_stated_for_a_tenth_and_a_level_for_its_step() {
    let mut cohort = cohort();
    for m in cohort.metrics.iter_mut().filter(|m| m.structure == "Brain") {
        m.value = m.value.map(|v| 0.4 + v / 50.0);
    }
    let found = describe(&cohort, &outcomes(), &request(Grain::Patient)).unwrap();
    assert!(found.summary.contains(" for 0.1 of Brain:V12Gy[cc] ("), "{}", found.summary);
    let mut asked = request(Grain::Patient);
    asked.predictor = "technology".to_owned();
    let found = describe(&cohort, &outcomes(), &asked).unwrap();
    assert!(found.summary.contains(" for one unit of technology ("), "{}", found.summary);
}

/// Rates and model leave out who was followed for too short; incidence and survival do not.
#[test]
fn a_least_follow_up_touches_neither_incidence_nor_survival() {
    let of = |least: Option<i64>| {
        let request = Request { least_follow_up: least, ..request(Grain::Lesion) };
        Analysis::of(join(&cohort(), &outcomes(), &request).unwrap(), &request)
    };
    let (all, long) = (of(None), of(Some(400)));
    assert!(long.n() < all.n());
    // Compared as text: an interval that does not exist yet is no number, which equals nothing.
    assert_eq!(format!("{:?}", long.over_time), format!("{:?}", all.over_time));
    assert_eq!(format!("{:?}", long.survival), format!("{:?}", all.survival));
    let asked = Request { least_follow_up: Some(400), ..request(Grain::Lesion) };
    let found = describe(&cohort(), &outcomes(), &asked).unwrap();
    let subjects = String::from_utf8(found.files["subjects.csv"].clone()).unwrap();
    let short = subjects.lines().find(|l| l.contains("followed for too short")).unwrap();
    assert!(short.contains(",censored,"), "scripts need its days: {short}");
}

#[test]
fn groups_too_small_for_a_curve_are_named() {
    let mut cohort = cohort();
    for plan in cohort.plans.iter_mut().take(3) {
        plan.group = "robotic_linac".to_owned();
    }
    let found = describe(&cohort, &outcomes(), &request(Grain::Patient)).unwrap();
    let words = "too small for a curve of their own, below 5 patients: robotic linac (3)";
    for name in ["captions.md", "report.txt"] {
        let text = String::from_utf8(found.files[name].clone()).unwrap();
        assert!(text.contains(words), "{name}: {text}");
    }
}

/// One of each is no interval of 95 %, and says so.
#[test]
fn an_interval_that_cannot_have_its_level_says_so() {
    let rows: Vec<Outcome> = (0..4)
        .map(|i| row(i, None, if i == 2 { "necrosis" } else { "none" }, (i == 2).then_some(50)))
        .collect();
    let found = describe(&cohort(), &rows, &request(Grain::Patient)).unwrap();
    let report = String::from_utf8(found.files["report.txt"].clone()).unwrap();
    // 1 − 2 / (4 choose 1).
    assert!(
        report.contains("no 95 % interval: with so few values the widest there is"),
        "{report}"
    );
    assert!(report.contains("holds 50.0 % at most"), "{report}");
}

/// An adjuster of one level, or of one value among those analysed, is named and held back.
#[test]
fn an_adjuster_that_is_the_same_for_everybody_is_held_back() {
    let mut asked = request(Grain::Lesion);
    asked.adjust = ["plan_role", "gtv_volume_cc", "fractions_planned"].map(str::to_owned).to_vec();
    let found = describe(&cohort(), &outcomes(), &asked).unwrap();
    let all = found.warnings.join("\n");
    for words in [
        "adjuster plan_role is held back: it is treated for all 80 that would be analysed",
        "adjuster fractions_planned is held back: it is 1 for all 80 that would be analysed",
    ] {
        assert!(all.contains(words), "{words}: {all}");
    }
    assert!(found.summary.contains("odds ratio "), "{}", found.summary);
    asked.adjust = vec!["gtv_volume_cc".to_owned()];
    let without = describe(&cohort(), &outcomes(), &asked).unwrap();
    for name in ["model.csv", "subjects.csv", "models.R", "models.py", "curve.csv"] {
        assert_eq!(found.files[name], without.files[name], "{name}");
    }
    // One that only those of one kind know: without it the others are analysed, too.
    let mut cohort = cohort();
    let known = cohort.plan_columns.get_mut("fractions_planned").unwrap();
    known.retain(|plan, _| *plan < "O20");
    asked.adjust = vec!["fractions_planned".to_owned()];
    let found = describe(&cohort, &outcomes(), &asked).unwrap();
    assert!(found.summary.starts_with("80 of 80 lesions analysed"), "{}", found.summary);
}

/// Two events of four: an interval over powers of ten is no statement of size.
#[test]
fn an_interval_that_the_data_do_not_bound_says_so() {
    let rows: Vec<Outcome> = (0..5)
        .map(|i| {
            let event = [false, true, false, false, true][i];
            row(i, None, if event { "necrosis" } else { "none" }, event.then_some(50))
        })
        .collect();
    let mut cohort = cohort();
    for (m, v) in
        cohort.metrics.iter_mut().filter(|m| m.structure == "Brain").zip([1.0, 1.1, 1.2, 1.3, 2.4])
    {
        m.value = Some(v);
    }
    let found = describe(&cohort, &rows, &request(Grain::Patient)).unwrap();
    let all = found.warnings.join("\n");
    let words = "the data do not bound the odds ratio for one unit of Brain:V12Gy[cc]: the ends of its interval, ";
    assert!(all.contains(words) && all.contains("2 events of 5 say hardly anything"), "{all}");
    // Of forty patients they do.
    let found = describe(&super::cohort(), &outcomes(), &request(Grain::Patient)).unwrap();
    assert!(!found.warnings.join("\n").contains("do not bound"), "{:?}", found.warnings);
}

#[test]
fn one_degree_of_freedom_is_no_several() {
    let found = describe(&cohort(), &outcomes(), &request(Grain::Patient)).unwrap();
    let report = String::from_utf8(found.files["report.txt"].clone()).unwrap();
    assert!(report.contains("log-rank over 2 groups of technology"), "{report}");
    assert!(
        report.contains("with 1 degree of freedom, p = ") && !report.contains("1 degrees"),
        "{report}"
    );
}

/// What the scripts wrote of these subjects is a figure with a caption; of others it is none.
#[test]
fn estimates_of_other_software_are_a_forest_plot() {
    use tidydose_table::user::models::mark;
    let mut asked = request(Grain::Lesion);
    let first = describe(&cohort(), &outcomes(), &asked).unwrap();
    assert!(!first.files.contains_key("models.svg"));
    let row = |model: &str, relation: String| ModelRow {
        model: model.to_owned(),
        term: "Brain:V12Gy[cc]".to_owned(),
        measure: "hazard ratio".to_owned(),
        estimate: Some(1.2),
        low: Some(1.05),
        high: Some(1.4),
        p: Some(0.01),
        n: 80,
        patients: 40,
        events: 11,
        software: "R survival".to_owned(),
        version: "3.5".to_owned(),
        note: String::new(),
        relation,
    };
    let own = mark(&first.files["subjects.csv"]);
    asked.models = vec![row("cause-specific Cox", own), row("another", "of older data".to_owned())];
    asked.tiff = true;
    let found = describe(&cohort(), &outcomes(), &asked).unwrap();
    let svg = String::from_utf8(found.files["models.svg"].clone()).unwrap();
    for words in
        ["Cause-specific Cox, hazard ratio (R survival 3.5)", "Brain V12Gy", "1.20 (1.05–1.40)"]
    {
        assert!(svg.contains(words), "{words}: {svg}");
    }
    assert!(!svg.contains("Another"), "{svg}");
    let captions = String::from_utf8(found.files["captions.md"].clone()).unwrap();
    assert!(captions.contains("## models.svg\n\nRatios of odds and hazards"), "{captions}");
    // Pictures on request, and what the report cites.
    assert!(found.files["models.tiff"].starts_with(b"II\x2a\0"));
    assert!(found.files.contains_key("calibration.tiff") && !first.files.contains_key("flow.tiff"));
    assert!(
        String::from_utf8_lossy(&found.files["references.bib"]).contains("@article{firth1993,")
    );
}
