//! The join and what is said of it, on a cohort whose outcome is known.

use super::analysis::Analysis;
use super::example::{PATIENTS, cohort, outcomes, request, row, tried};
use super::join::{Known, Stage, Subject, join};
use super::*;
use tidydose_statistics::survival::End;
use tidydose_table::read::{PlanRole, Status};

#[path = "model_tests.rs"]
mod model_tests;

fn joined(cohort: &Cohort<'_>, rows: &[Outcome], request: &Request) -> Vec<Subject> {
    join(cohort, rows, request).unwrap().subjects
}

fn known<'s>(subjects: &'s [Subject], lesion: &str) -> &'s Known {
    let found = subjects.iter().find(|s| s.lesion_id.as_deref() == Some(lesion));
    found.unwrap().state.as_ref().unwrap()
}

fn left<'s>(subjects: &'s [Subject], patient: &str) -> &'s (Stage, String) {
    subjects.iter().find(|s| s.patient_id == patient).unwrap().state.as_ref().unwrap_err()
}

#[test]
fn lesions_and_patients_get_their_own_outcome() {
    let lesions = joined(&cohort(), &outcomes(), &request(Grain::Lesion));
    assert_eq!(lesions.len(), 2 * PATIENTS);
    let events = lesions.iter().filter(|s| s.state.as_ref().is_ok_and(|k| k.event)).count();
    let counted = outcomes().iter().filter(|o| o.event_type == "necrosis").count();
    assert_eq!(events, counted);
    let patients = joined(&cohort(), &outcomes(), &request(Grain::Patient));
    assert_eq!(patients.len(), PATIENTS);
    let with: BTreeMap<_, _> = outcomes()
        .into_iter()
        .filter(|o| o.event_type == "necrosis")
        .map(|o| (o.patient_id, o.day_event))
        .collect();
    let events = patients.iter().filter(|s| s.state.as_ref().is_ok_and(|k| k.event)).count();
    assert_eq!(events, with.len());
}

#[test]
fn days_end_with_the_event_with_death_or_with_the_last_imaging() {
    let lesions = joined(&cohort(), &outcomes(), &request(Grain::Lesion));
    // Patient 0 died on day 200; patient 1 was seen until day 210 of 220.
    assert_eq!(known(&lesions, "O00/1").time, Some((200.0, End::Competing)));
    assert_eq!(known(&lesions, "O01/1").time, Some((210.0, End::Censored)));
    assert_eq!(known(&lesions, "O01/1").life, Some((220.0, false)));
    let event = lesions.iter().filter_map(|s| s.state.as_ref().ok()).find(|k| k.event).unwrap();
    assert_eq!(event.time.unwrap().1, End::Event);
}

#[test]
fn nothing_is_imputed_and_each_gap_has_its_stage() {
    let mut cohort = cohort();
    cohort.plans[0].row.measured = Some(false);
    cohort.plans[0].row.exclusion_code = Some("dose-several");
    cohort.plans[1].row.plan_role = Some(PlanRole::Superseded);
    cohort.plans[1].row.in_study = Some(false);
    cohort.plans[2].row.fractions_planned = Some(5);
    for m in &mut cohort.metrics {
        if m.plan_id == "O03" && m.structure == "Brain" {
            (m.status, m.value) = (Status::OutsideGrid, None);
        }
        // It has a value, which says nothing.
        if m.plan_id == "O07" && m.structure == "Brain" {
            m.status = Status::Uncertain;
        }
    }
    let mut rows: Vec<_> = outcomes().into_iter().filter(|o| o.patient_id != "P04").collect();
    rows.retain(|o| o.patient_id != "P05");
    rows.push(row(5, None, "lost", None));
    let mut short = request(Grain::Patient);
    (short.fractions, short.least_follow_up) = (Some(1), Some(330));
    let subjects = joined(&cohort, &rows, &short);
    for (patient, stage, reason) in [
        ("P00", Stage::Measured, "dose-several"),
        ("P01", Stage::Treated, "superseded"),
        ("P02", Stage::Fractions, "5 fractions"),
        ("P03", Stage::Predictor, "outside_grid"),
        ("P07", Stage::Predictor, "uncertain"),
        ("P04", Stage::Matched, "no row"),
        ("P05", Stage::Outcome, "the sheet says lost"),
        ("P06", Stage::FollowUp, "followed for too short"),
    ] {
        assert_eq!(left(&subjects, patient), &(stage, reason.to_owned()), "{patient}");
    }
}

#[test]
fn counts_of_the_flow_add_up() {
    let mut request = request(Grain::Lesion);
    request.least_follow_up = Some(300);
    let mut rows = outcomes();
    rows.retain(|o| o.patient_id != "P39");
    let analysis = Analysis::of(join(&cohort(), &rows, &request).unwrap(), &request);
    let mut here = analysis.stages[0].subjects;
    assert_eq!(here, 2 * PATIENTS);
    for stage in &analysis.stages[1..] {
        here -= stage.left.values().sum::<usize>();
        assert_eq!(stage.subjects, here, "{stage:?}");
    }
    assert_eq!(here, analysis.n());
    let follow = analysis.stages.last().unwrap();
    assert!(follow.died > 0 && follow.died < follow.left.values().sum());
    assert!(analysis.warnings(&request).iter().any(|w| w.contains("selects survivors")));
}

#[test]
fn what_has_no_partner_is_listed_on_both_sides() {
    let mut rows = outcomes();
    rows.retain(|o| o.patient_id != "P07");
    rows.push(row(99, None, "none", None));
    rows.push(row(8, Some("O09/1"), "necrosis", Some(3)));
    rows.push(row(8, Some("nowhere"), "necrosis", Some(3)));
    let found = join(&cohort(), &rows, &request(Grain::Lesion)).unwrap().unmatched;
    let words: Vec<_> = found.iter().map(|u| (u.side, u.patient_id.as_str(), u.reason)).collect();
    assert_eq!(
        words,
        [
            ("sheet", "", "the study has no such patient"),
            ("sheet", "P08", "the lesion is another patient's"),
            ("sheet", "P08", "the study has no such lesion"),
            ("study", "P07", "the sheet has no row"),
            ("study", "P07", "the sheet has no row"),
        ]
    );
}

#[test]
fn a_lesion_is_also_found_by_the_label_of_the_clinic_or_its_structure() {
    let rows = [row(3, Some("left"), "necrosis", Some(50)), row(4, Some("GTV1"), "none", None)];
    let lesions = joined(&cohort(), &rows, &request(Grain::Lesion));
    assert_eq!(known(&lesions, "O03/2").time, Some((50.0, End::Event)));
    assert!(!known(&lesions, "O04/1").event);
}

/// A second course is 300 days later: days of the patient are shifted, those of its lesions not.
#[test]
fn days_of_a_later_course_count_from_that_course() {
    let mut cohort = cohort();
    cohort.plans[1].row.patient_id = "P00";
    let second = &mut cohort.plans[1].row;
    (second.course, second.day_plan) = (Some(2), Some(1300));
    let mut rows = vec![
        row(0, Some("O00/1"), "none", None),
        row(0, Some("O01/1"), "necrosis", Some(40)),
        row(0, None, "none", None),
    ];
    rows[2].day_last_contact = Some(900);
    let lesions = joined(&cohort, &rows, &request(Grain::Lesion));
    assert_eq!(known(&lesions, "O01/1").time, Some((40.0, End::Event)));
    assert_eq!(known(&lesions, "O01/1").life, Some((600.0, false)));
    assert_eq!(known(&lesions, "O00/1").life, Some((900.0, false)));
    let patients = joined(&cohort, &rows, &request(Grain::Patient));
    // The necrosis came after the second course: the dose of the first is not held against it.
    let first = patients.iter().find(|s| s.patient_id == "P00").unwrap();
    assert_eq!(first.plan_id, "O00");
    let state = first.state.as_ref().unwrap();
    assert_eq!(
        (state.event, state.time, state.by_course),
        (false, Some((300.0, End::Censored)), true)
    );
    assert_eq!(state.life, Some((900.0, false)), "life goes on");
}

/// Rows of two plans of one patient, 300 days apart, and what each plan is told of it.
#[test]
fn an_event_belongs_to_the_course_that_precedes_it() {
    let mut cohort = cohort();
    cohort.plans[1].row.patient_id = "P00";
    let second = &mut cohort.plans[1].row;
    (second.course, second.day_plan) = (Some(2), Some(1300));
    let row_of = |plan: &str, event: &str, day: Option<i64>, contact: i64| Outcome {
        plan_id: Some(plan.to_owned()),
        day_last_contact: Some(contact),
        ..row(0, None, event, day)
    };
    let of = |rows: &[Outcome]| {
        let subjects = joined(&cohort, rows, &request(Grain::Plan));
        assert_eq!(subjects.len(), PATIENTS);
        ["O00", "O01"].map(|plan| {
            let found = subjects.iter().find(|s| s.plan_id == plan).unwrap();
            found.state.clone().map(|k| (k.event, k.time.unwrap()))
        })
    };
    // Between the courses; it stands in the row of the first.
    let rows = [row_of("O00", "necrosis", Some(250), 500), row_of("O01", "none", None, 400)];
    let wanted = [Ok((true, (250.0, End::Event))), Ok((false, (400.0, End::Censored)))];
    assert_eq!(of(&rows), wanted);
    // After the second course, though it stands in the row of the first.
    let rows = [row_of("O00", "necrosis", Some(340), 500), row_of("O01", "none", None, 400)];
    let wanted = [Ok((false, (300.0, End::Censored))), Ok((true, (40.0, End::Event)))];
    assert_eq!(of(&rows), wanted);
    // Without a day nobody knows which course it followed, unless the row says so.
    let mut rows = [row_of("O00", "necrosis", None, 500), row_of("O01", "none", None, 400)];
    assert!(joined(&cohort, &rows, &request(Grain::Plan))[0].state.as_ref().is_ok_and(|k| k.event));
    rows[0].plan_id = None;
    let reason = "an event without day, of several courses".to_owned();
    assert_eq!(of(&rows)[0], Err((Stage::Outcome, reason)));
    // What the sheet does not know is not taken for none.
    let mut rows = [row_of("O00", "none", None, 200), row_of("O01", "none", None, 400)];
    rows[0].event_unknown = vec!["necrosis".to_owned()];
    rows[1].held_back = Some("necrosis after death".to_owned());
    assert_eq!(
        of(&[rows.as_slice(), &[row(7, None, "necrosis", Some(3))]].concat()),
        [
            Err((Stage::Outcome, "the sheet does not say whether".to_owned())),
            Err((Stage::Outcome, "held back: necrosis after death".to_owned())),
        ]
    );
}

/// Who died long after the last imaging is not at risk of what only images show.
#[test]
fn the_dead_are_at_risk_until_their_last_imaging() {
    let mut rows = outcomes();
    for o in &mut rows {
        o.day_last_imaging = o.day_last_imaging.map(|d| (d / 2).max(o.day_event.unwrap_or(0)));
    }
    let request = request(Grain::Lesion);
    let found = describe(&cohort(), &rows, &request).unwrap();
    let report = String::from_utf8(found.files["report.txt"].clone()).unwrap();
    assert!(report.contains("died without the event after their last imaging"), "{report}");
    assert!(report.contains("if that time counted as without event"), "{report}");
    let analysis = Analysis::of(join(&cohort(), &rows, &request).unwrap(), &request);
    let over_time = analysis.over_time.unwrap();
    let unseen = over_time.unseen.unwrap();
    assert!(unseen.count > 0);
    for l in &over_time.landmarks {
        assert!(l.step.event >= unseen.counted.at(l.months * super::time::MONTH).unwrap().event);
    }
}

#[test]
fn a_predictor_says_what_it_means_and_what_else_is_called_so() {
    let mut asked = request(Grain::Lesion);
    let mut cohort = cohort();
    for m in &mut cohort.metrics {
        if m.metric == "Volume[cc]" {
            m.metric = "V12Gy[cc]";
        }
    }
    asked.predictor = "V12Gy[cc]".to_owned();
    let found = describe(&cohort, &outcomes(), &asked).unwrap();
    let all = found.warnings.join("\n");
    assert!(
        all.contains("V12Gy[cc] of a lesion is its own: the volume inside the target"),
        "{all}"
    );
    assert!(all.contains("V12GyNearest[cc] or V12GyIsland[cc]"), "{all}");
    // Every plan has two structures of the name GTV.
    asked.predictor = "GTV:V12Gy[cc]".to_owned();
    let found = describe(&cohort, &outcomes(), &asked).unwrap();
    let all = found.warnings.join("\n");
    assert!(
        all.contains("means several structures in 40 plans") && all.contains("O00/1, O00/2"),
        "{all}"
    );
}

/// A column of words adjusts: two levels by its name, several by one of them.
#[test]
fn levels_of_a_column_are_predictors() {
    let mut asked = request(Grain::Patient);
    asked.adjust = vec!["technology".to_owned()];
    asked.covariates = vec!["technology".to_owned(), "fractions_planned".to_owned()];
    let found = describe(&cohort(), &outcomes(), &asked).unwrap();
    let subjects = String::from_utf8(found.files["subjects.csv"].clone()).unwrap();
    let mut lines = subjects.lines();
    assert!(lines.next().unwrap().ends_with(",dead,technology,fractions_planned"));
    // gantry_linac comes second among the levels and counts as 1.
    assert!(lines.next().unwrap().contains(",gantry_linac,1"), "{subjects}");
    let model = String::from_utf8(found.files["model.csv"].clone()).unwrap();
    assert!(model.contains("\ntechnology,"), "{model}");
    asked.adjust = vec!["technology=robotic".to_owned()];
    let said = describe(&cohort(), &outcomes(), &asked).unwrap_err().to_string();
    assert!(
        said.contains("no such level; one of them is accepted: technology=cobalt_unit"),
        "{said}"
    );
}

#[test]
fn grades_count_from_the_least_on_and_a_missing_one_is_a_gap() {
    let mut rows = vec![
        row(0, None, "necrosis", Some(9)),
        row(1, None, "necrosis", Some(9)),
        row(2, None, "necrosis", Some(9)),
    ];
    (rows[0].grade, rows[1].grade) = (Some(3), Some(1));
    let mut request = request(Grain::Patient);
    request.least_grade = Some(2);
    let patients = joined(&cohort(), &rows, &request);
    assert!(patients[0].state.as_ref().unwrap().event);
    assert!(!patients[1].state.as_ref().unwrap().event);
    assert_eq!(left(&patients, "P02"), &(Stage::Outcome, "an event without grade".to_owned()));
}

#[test]
fn what_is_not_there_is_said_with_what_is() {
    let ask = |change: &dyn Fn(&mut Request)| {
        let mut request = request(Grain::Patient);
        change(&mut request);
        describe(&cohort(), &outcomes(), &request).unwrap_err().to_string()
    };
    let text = ask(&|r| r.event = "necrosi".to_owned());
    assert!(text.contains("death (10), necrosis ("), "{text}");
    let text = ask(&|r| r.predictor = "Brian:V12Gy[cc]".to_owned());
    assert!(text.contains("no plan has a structure Brian; nearest: Brain, GTV"), "{text}");
    let text = ask(&|r| r.predictor = "Brain:V10Gy[cc]".to_owned());
    assert!(text.contains("Brain has no metric V10Gy[cc]; nearest: V12Gy[cc]"), "{text}");
    let text = ask(&|r| r.predictor = "Volume[cc]".to_owned());
    assert!(text.contains("is of a lesion, and a patient may have several"), "{text}");
    let text = ask(&|r| {
        (r.predictor, r.grain) = ("V12Gy[cc]".to_owned(), Grain::Plan);
    });
    assert!(
        text.contains("a plan may have several") && text.contains("Brain:V12Gy[cc] ("),
        "{text}"
    );
    let text = ask(&|r| r.predictor = "brain_minus_targets_v12gy_cc".to_owned());
    assert!(text.contains("nearest columns: brain_less_targets_v12gy_cc"), "{text}");
}

/// The wide tables are what people open; a value with a status in its way is in neither.
#[test]
fn a_column_of_a_wide_table_is_the_metric_that_it_holds() {
    let subjects = |predictor: &str| {
        let asked = Request { predictor: predictor.to_owned(), ..request(Grain::Patient) };
        describe(&cohort(), &outcomes(), &asked).unwrap().files["subjects.csv"].clone()
    };
    assert_eq!(subjects("brain_v12gy_cc"), subjects("Brain:V12Gy[cc]"));
}

#[test]
fn a_relation_has_all_files_with_the_caution_and_the_same_bytes_again() {
    let mut request = request(Grain::Lesion);
    request.adjust = vec!["gtv_volume_cc".to_owned()];
    let found = describe(&cohort(), &outcomes(), &request).unwrap();
    assert_eq!(found, describe(&cohort(), &outcomes(), &request).unwrap());
    let caution = tidydose_table::run::CAUTION;
    let text = |name: &str| String::from_utf8(found.files[name].clone()).unwrap();
    assert!(text("report.txt").starts_with(caution));
    for name in ["dose_response", "incidence", "survival", "roc", "flow"] {
        let svg = text(&format!("{name}.svg"));
        // In the description of the file: nothing of it is drawn.
        assert!(svg.contains("Research and quality review only"), "{name}");
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{name}");
    }
    let model = text("model.csv");
    assert!(model.contains("Brain:V12Gy[cc]") && model.contains("gtv_volume_cc"), "{model}");
    assert!(text("published.csv").contains("HyTEC"));
    assert!(found.warnings.iter().any(|w| w.contains("not independent")), "{:?}", found.warnings);
    if let Ok(folder) = std::env::var("TIDYDOSE_SHOW") {
        for (name, bytes) in &found.files {
            std::fs::write(std::path::Path::new(&folder).join(name), bytes).unwrap();
        }
    }
}

#[test]
fn tries_and_pooled_fractions_are_warned_of() {
    let mut cohort = cohort();
    cohort.plans.iter_mut().skip(30).for_each(|p| p.row.fractions_planned = Some(5));
    let mut request = request(Grain::Patient);
    request.tried.push(tried("Brain:V10Gy[cc]"));
    let found = describe(&cohort, &outcomes(), &request).unwrap();
    let all = found.warnings.join("\n");
    assert!(
        all.contains("2 analyses were tried in this study (tried.csv), 2 of them of necrosis"),
        "{all}"
    );
    assert!(all.contains("pooled in gray (1: 30, 5: 10)"), "{all}");
    assert!(found.files["published.csv"].iter().filter(|b| **b == b'\n').count() == 1);
    // A prescribed dose is another thing in another number of fractions.
    let doses = cohort.plans.iter().map(|p| (p.row.plan_id, 20.0)).collect();
    cohort.plan_columns.insert("prescription_dose_gy", doses);
    request.predictor = "prescription_dose_gy".to_owned();
    let said = describe(&cohort, &outcomes(), &request).unwrap_err().to_string();
    assert!(said.contains("not pooled over numbers of fractions (1: 30, 5: 10)"), "{said}");
    request.fractions = Some(1);
    let found = describe(&cohort, &outcomes(), &request).unwrap();
    assert!(found.summary.contains("no model: all values of the predictor"), "{}", found.summary);
}

#[test]
fn without_events_there_is_a_report_and_no_model() {
    let mut rows = outcomes();
    rows.retain(|o| o.event_type != "necrosis");
    let mut request = request(Grain::Patient);
    request.event = "death".to_owned();
    let found = describe(&cohort(), &rows, &request).unwrap();
    assert!(found.summary.contains("10 with death"), "{}", found.summary);
    rows.iter_mut().for_each(|o| o.day_event = o.day_event.map(|_| 400));
    let one = vec![row(0, None, "necrosis", None), row(1, None, "none", None)];
    let found = describe(&cohort(), &one, &{
        request.event = "necrosis".into();
        request
    })
    .unwrap();
    assert!(
        found.summary.contains("no model: 2 observations, at least 3 are needed"),
        "{}",
        found.summary
    );
    assert!(found.files.contains_key("report.txt") && found.files.contains_key("flow.svg"));
}

/// Nobody of the study had what the sheet looked for: the answer is how large the risk may be, whether
/// others of the sheet had it or nobody at all.
#[test]
fn an_event_that_nobody_had_is_a_result_with_its_upper_limit() {
    let mut rows = outcomes();
    rows.retain(|o| o.event_type != "necrosis" && o.lesion_id.is_none());
    let mut asked = request(Grain::Patient);
    let said = describe(&cohort(), &rows, &asked).unwrap_err().to_string();
    assert!(said.contains("event necrosis is not in the sheet"), "{said}");
    // 1 − 0.05^(1/40) and 1 − 0.025^(1/40).
    let wanted = "40 patients were followed and none had necrosis: the risk is below 7.2 % with 95 % \
                  confidence (exact, one-sided); the two-sided 95 % interval is 0 to 8.8 %";
    asked.looked_for = vec!["necrosis".to_owned()];
    let columns = describe(&cohort(), &rows, &asked).unwrap();
    asked.looked_for.clear();
    rows.push(row(99, None, "necrosis", Some(90)));
    let others = describe(&cohort(), &rows, &asked).unwrap();
    for found in [columns, others] {
        assert!(found.summary.contains(wanted), "{}", found.summary);
        assert!(found.warnings.iter().any(|w| w == wanted), "{:?}", found.warnings);
        let report = String::from_utf8(found.files["report.txt"].clone()).unwrap();
        assert!(report.contains(&format!("none: {wanted}")), "{report}");
        assert!(!report.contains("all outcomes are equal"), "{report}");
        assert_eq!(found.nobody, None);
    }
}

/// A published range is a line over that range, open where it has no end, and no mark in its middle.
#[test]
fn published_ranges_are_drawn_as_ranges() {
    let found = describe(&cohort(), &outcomes(), &request(Grain::Patient)).unwrap();
    let text = |name: &str| String::from_utf8(found.files[name].clone()).unwrap();
    let published = text("published.csv");
    assert!(published.lines().next().unwrap().ends_with(",against_source"));
    assert!(published.contains("not yet checked against the source"), "{published}");
    assert!(text("report.txt").contains("; not yet checked against the source)"));
    let svg = text("dose_response.svg");
    let lines = svg.matches("stroke=\"#D55E00\"").count();
    let ranges = published.lines().skip(1).filter(|l| {
        let cells: Vec<&str> = l.rsplit(",1,V12Gy[cc],").next().unwrap().split(',').collect();
        cells[0] != cells[1]
    });
    assert!(lines >= ranges.count(), "{lines}: {published}");
    assert!(svg.contains("some not yet checked"), "{svg}");
    let mut asked = request(Grain::Patient);
    asked.event = "death".to_owned();
    let found = describe(&cohort(), &outcomes(), &asked).unwrap();
    assert_eq!(found.files["published.csv"].iter().filter(|b| **b == b'\n').count(), 1);
    let report = String::from_utf8(found.files["report.txt"].clone()).unwrap();
    assert!(report.contains("for other endpoints than death there are: "), "{report}");
}

#[test]
fn every_figure_has_a_caption_with_numbers_exclusions_and_run() {
    let mut cohort = cohort();
    cohort.plans[0].row.measured = Some(false);
    cohort.plans[0].row.exclusion_code = Some("dose-several");
    let found = describe(&cohort, &outcomes(), &request(Grain::Lesion)).unwrap();
    let captions = String::from_utf8(found.files["captions.md"].clone()).unwrap();
    let figures: Vec<&str> = found.files.keys().filter_map(|n| n.strip_suffix(".svg")).collect();
    assert_eq!(figures, ["calibration", "dose_response", "flow", "incidence", "roc", "survival"]);
    for name in figures {
        let own = captions.split(&format!("## {name}.svg\n\n")).nth(1).unwrap();
        let own = own.split("\n\n").next().unwrap();
        assert!(own.contains("Left out: 2 dose-several (plan measured)"), "{own}");
        assert!(own.contains("Run: of a test."), "{own}");
        for sheet in own.split("Numbers: ").nth(1).unwrap().split([' ', ',']) {
            let sheet = sheet.trim().trim_end_matches('.');
            assert!(!sheet.ends_with("csv") || found.files.contains_key(sheet), "{sheet}");
        }
        assert!(name == "survival" || own.contains(&format!("{} lesions", 2 * (PATIENTS - 1))));
        assert!(FIGURES.contains(&name) && found.files.contains_key(&format!("{name}.pdf")));
    }
    // Each says how its intervals are made, the calibration what is left without optimism.
    for words in [
        "bands: pointwise 95 % by Greenwood's variance on the scale of log(−log survival)",
        "band: pointwise 95 %, bootstrap, resampling patients.",
        "Marks: share with the event against the mean risk of the model, with exact 95 % intervals",
        "; slope of calibration ",
        ", without optimism 0.",
    ] {
        assert!(captions.contains(words), "{words}: {captions}");
    }
    let marks = String::from_utf8(found.files["calibration.svg"].clone()).unwrap();
    let parts =
        String::from_utf8(found.files["calibration.csv"].clone()).unwrap().lines().count() - 1;
    // One for each part, and that of the legend.
    assert_eq!(marks.matches("fill=\"#fff\" stroke=\"#0072B2\"").count(), parts + 1);
}
