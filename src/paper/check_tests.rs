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

#[test]
fn the_worksheet_of_the_hospital_has_its_names() {
    use tidydose_rt::identity::{Identity, Kind, Token};
    let place = std::env::temp_dir().join(format!("tidydose-names-{}", std::process::id()));
    let identity = Identity::keyed([7; 32]);
    let day = identity.day(&Token::new("p00"), 16_000).0;
    std::fs::write(&place, "patient_id,original_patient_id\np00,H-1234\n").unwrap();
    let names = StudyNames::new(identity.clone(), &place).unwrap();
    std::fs::remove_file(&place).unwrap();
    assert_eq!(names.hospital_id("p00"), Some("H-1234"));
    assert_eq!(names.hospital_id("p01"), None);
    // 16,000 days after 1970-01-01.
    assert_eq!(names.date("p00", day).unwrap().to_string(), "2013-10-22");
    assert_ne!(identity.token(Kind::Patient, "H-1234").as_str(), "H-1234");

    let study = sixty();
    let sheet = check::hospital_worksheet(&study, &study.included(), &names);
    let sheet = String::from_utf8(sheet).unwrap();
    let mut lines = sheet.lines();
    assert!(lines.next().unwrap().starts_with("\u{feff}hospital_id,plan_date,technology,"));
    assert_eq!(lines.next().unwrap().split(',').nth(6), Some("Tronco"), "{sheet}");
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
