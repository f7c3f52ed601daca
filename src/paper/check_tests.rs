//! The worksheets of the blind check: who is drawn, in which order, and by which names.

use serde_json::json;

use super::tests::{by, flags, made, made_of_many, reals, study_of, table, texts};
use super::*;
use tidydose_table::frame::Cells;

/// Sixty plans of as many patients, each with one largest dose of the brainstem, and no lesion.
fn sixty_tables() -> Tables {
    let names: Vec<String> = (0..60).map(|i| format!("p{i:02}")).collect();
    let ids: Vec<String> = names.iter().map(|plan| format!("{plan}/9")).collect();
    let plans: Vec<&str> = names.iter().map(String::as_str).collect();
    let ids: Vec<&str> = ids.iter().map(String::as_str).collect();
    let all = |word: &'static str| texts(&[word; 60]);
    let values: Vec<f64> = (0..60).map(|i| f64::from((i * 7) % 60)).collect();
    Tables::from([
        table(
            "plans",
            [
                ("patient_id", texts(&plans)),
                ("plan_id", texts(&plans)),
                ("technology", all("gantry_linac")),
                ("measured", flags(&[true; 60])),
                ("in_study", flags(&[true; 60])),
                ("plan_role", all("treated")),
                ("day_plan", Cells::Integer(vec![Some(16_744); 60])),
                ("fractions_planned", Cells::Integer(vec![Some(1); 60])),
                ("prescription_dose_gy", reals(&[20.0; 60])),
            ],
        ),
        table("lesions", [("plan_id", texts(&[])), ("lesion_id", texts(&[]))]),
        table(
            "metrics",
            [
                ("patient_id", texts(&plans)),
                ("plan_id", texts(&plans)),
                ("structure_id", texts(&ids)),
                ("structure", all("Brainstem")),
                ("role", all("organ")),
                ("metric", all("D0.03cc[Gy]")),
                ("unit", all("Gy")),
                ("status", all("ok")),
                ("value", reals(&values)),
            ],
        ),
        table(
            "structures",
            [
                ("plan_id", texts(&plans)),
                ("structure_id", texts(&ids)),
                ("role", all("organ")),
                ("name_standard", all("Brainstem")),
                ("name_original", all("Tronco")),
            ],
        ),
        table("limit_checks", [("plan_id", texts(&[])), ("verdict", texts(&[]))]),
    ])
}

fn sixty() -> Study<'static> {
    study_of(sixty_tables())
}

#[test]
fn the_worksheet_is_blind_and_has_twenty_random_rows_before_the_extremes() {
    let study = sixty();
    let sheet = String::from_utf8(check::worksheet(&study, &study.included())).unwrap();
    let rows: Vec<Vec<&str>> = sheet.lines().skip(1).map(|l| l.split(',').collect()).collect();
    let why: Vec<&str> = rows.iter().map(|r| r[6]).collect();
    assert!(why[..20].iter().all(|w| *w == "random"), "{why:?}");
    assert!(why[20..].iter().all(|w| ["least", "largest"].contains(w)), "{why:?}");
    assert!((20..=22).contains(&rows.len()), "{}", rows.len());
    // The rows of the reader are empty, and no value of ours is there.
    assert!(rows.iter().all(|r| r.len() == 11 && r[7..].iter().all(|c| c.is_empty())), "{sheet}");
    // A study with fewer values is read as a whole, and values of no report are not asked for.
    let sheet = &made_of_many()["check_worksheet.csv"];
    assert_eq!(sheet.matches(",random,").count(), 12, "{sheet}");
    assert!(!made()["check_worksheet.csv"].contains("Mean[Gy]"));
}

/// A key that knows a patient and a plan.
fn names_of(identity: &tidydose_rt::identity::Identity) -> StudyNames {
    let place = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(place.path().join(name), text).unwrap();
    write("patient_key.csv", "patient_id,original_patient_id\np00,H-1234\n");
    write("plan_key.csv", "plan_id,plan_label\np00,VM1 final\n");
    StudyNames::new(identity.clone(), &place.path().join("patient_key.csv")).unwrap()
}

/// Somebody reads a report and writes down what stands there: patient, plan and structure of the hospital.
#[test]
fn a_value_is_found_by_the_names_of_the_hospital() {
    use tidydose_rt::identity::Identity;
    use tidydose_table::user::worksheet::Checked;
    let study = sixty();
    let names = names_of(&Identity::keyed([7; 32]));
    let measured = study.metrics.iter().find(|m| m.plan_id == "p00").unwrap();
    let row = |hospital: [&str; 3]| Checked {
        metric: measured.metric.to_owned(),
        unit: measured.unit.to_owned(),
        report_value: measured.value,
        hospital: hospital.map(str::to_owned),
        ..Checked::default()
    };
    let rows = [
        row(["H-1234", "vm1 FINAL", "tronco"]),
        row(["H-1234", "VM2", "Tronco"]),
        row(["H-1234", "VM1 final", "Chiasm"]),
        row(["H-1234", "", ""]),
        // By the name of the program, where nobody drew a structure of that name.
        row(["H-1234", "VM1 final", "brainstem"]),
    ];
    let found = by_name::resolved(&study, &rows, Some(&names));
    for row in [&found[0], &found[4]] {
        let keys = [&row.patient_id, &row.plan_id, &row.structure_id];
        assert_eq!(keys, ["p00", "p00", measured.structure_id]);
    }
    let why: Vec<_> = found.iter().map(|r| r.not_found.unwrap_or("found")).collect();
    assert!(why[0] == "found" && why[1].contains("no plan of this label"), "{why:?}");
    assert!(
        why[2].contains("no structure of this name") && why[3].contains("no plan_id"),
        "{why:?}"
    );
    let text = |files: &Files| String::from_utf8(files["agreement_rows.csv"].clone()).unwrap();
    let sheet = text(&agreement::files(&study, &found));
    assert!(sheet.lines().nth(1).unwrap().contains("compared"), "{sheet}");
    let without = by_name::resolved(&study, &rows[..1], None);
    assert!(without[0].not_found.unwrap().contains("--key"), "{without:?}");
}

#[test]
fn the_worksheet_of_the_hospital_has_its_names() {
    use tidydose_rt::identity::{Identity, Kind, Token};
    let identity = Identity::keyed([7; 32]);
    let day = identity.day(&Token::new("p00"), 16_000).0;
    let names = names_of(&identity);
    assert_eq!(names.hospital_id("p00"), Some("H-1234"));
    assert_eq!(names.hospital_id("p01"), None);
    // 16,000 days after 1970-01-01.
    assert_eq!(names.date("p00", day).unwrap().to_string(), "2013-10-22");
    assert_ne!(identity.token(Kind::Patient, "H-1234").as_str(), "H-1234");

    let study = sixty();
    let sheet = check::hospital_worksheet(&study, &study.included(), &names);
    let sheet = String::from_utf8(sheet).unwrap();
    let mut lines = sheet.lines();
    assert!(
        lines.next().unwrap().starts_with("\u{feff}hospital_id,plan_label,plan_date,technology,")
    );
    let first: Vec<&str> = lines.next().unwrap().split(',').collect();
    assert_eq!(first[7], "Tronco", "{sheet}");
    // The key knows the label of one plan.
    let labelled = sheet.lines().filter(|l| l.contains(",VM1 final,")).count();
    assert_eq!(labelled, sheet.lines().filter(|l| l.starts_with("H-1234,")).count(), "{sheet}");
    let same = String::from_utf8(check::worksheet(&study, &study.included())).unwrap();
    for (with, without) in sheet.lines().zip(same.lines()).skip(1) {
        assert!(with.ends_with(without), "{with}\n{without}");
    }
}

#[test]
fn groups_that_no_look_tells_apart_are_refused() {
    let mut tables = sixty_tables();
    let names: Vec<String> = (0..60).map(|i| format!("g{i}")).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let plans = tables["plans"].clone().with("technology", texts(&names));
    tables.insert("plans".to_owned(), plans);
    let said = study_of(tables).made(&json!({}), &by("technology"), &Curves::new()).unwrap_err();
    assert!(said.to_string().contains("60 groups; figures tell at most 25"), "{said}");
}
