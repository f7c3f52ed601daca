//! A sheet as a department keeps it on its way into `relate` and `paper`: IDs and dates of the hospital,
//! three ways of writing dates, months, 0 and 1, gaps, a second course, covariates. One round of the map
//! and every cell is accounted for.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use assert_cmd::Command;
use tempfile::TempDir;

use crate::documents::copy;
use crate::measured::{Row, measured, rows_of};
use tidydose_rt::identity::{Identity, Token};

/// A copy of the measured study with its key.
fn study() -> TempDir {
    let place = tempfile::tempdir().unwrap();
    for folder in ["study", "study-key"] {
        copy(&measured().study().with_file_name(folder), &place.path().join(folder));
    }
    place
}

fn run(place: &Path, words: &[&str]) -> (i32, String) {
    let output =
        Command::cargo_bin("tidydose").unwrap().current_dir(place).args(words).output().unwrap();
    assert!(output.stdout.is_empty());
    (output.status.code().unwrap(), String::from_utf8(output.stderr).unwrap())
}

const RELATE: [&str; 7] = [
    "relate",
    "--outcomes",
    "sheet.csv",
    "--event",
    "radionecrosis",
    "--predictor",
    "all tissue:V12Gy[cc]",
];

/// Year, month and day of a day since 1970 (the days of the civil calendar, counted from March).
fn civil(day: i64) -> (i64, i64, i64) {
    let z = day + 719_468;
    let era = z.div_euclid(146_097);
    let of_era = z.rem_euclid(146_097);
    let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let shifted = (5 * of_year + 2) / 153;
    let month = if shifted < 10 { shifted + 3 } else { shifted - 9 };
    let year = year + 400 * era + i64::from(month <= 2);
    (year, month, of_year - (153 * shifted + 2) / 5 + 1)
}

/// The plans that count, with a day, and the date that it stands for.
fn plans(place: &Path) -> Vec<(Row, i64)> {
    let key = fs::read_to_string(place.join("study-key/key.txt")).unwrap();
    let byte = |at: usize| u8::from_str_radix(&key[2 * at..2 * at + 2], 16).unwrap();
    let identity = Identity::keyed(std::array::from_fn(byte));
    let rows = measured().rows("plans").into_iter();
    let mut plans: Vec<(Row, i64)> = rows
        .filter(|p| p["in_study"] == "true" && !p["course"].is_empty())
        .map(|p| {
            let day: i64 = p["day_plan"].parse().unwrap();
            let shift = identity.day(&Token::new(&p["patient_id"]), 0).0;
            (p, day - shift)
        })
        .collect();
    plans.sort_by(|a, b| (&a.0["patient_id"], a.1).cmp(&(&b.0["patient_id"], b.1)));
    plans
}

/// The sheet, and how many plans have the event in it.
fn sheet(place: &Path) -> (String, usize) {
    let patients = measured().patients();
    let mut text = "Pat.-ID;plan;treatment_date;age;sex;followup_months;radionecrosis;\
                    months_to_radionecrosis;dead;remarks\n"
        .to_owned();
    let mut events = 0;
    for (number, (plan, date)) in plans(place).iter().enumerate() {
        let (year, month, day) = civil(*date);
        let date = match number % 3 {
            0 => format!("{year}{month:02}{day:02}"),
            1 => format!("{year}-{month:02}-{day:02}"),
            _ => format!("{day:02}.{month:02}.{year}"),
        };
        let event = number % 4 == 1;
        events += usize::from(event);
        let (event, when) = if event { ("1", "7,5") } else { ("0", "") };
        // One gap of each kind.
        let (event, follow) = match number {
            2 => ("?", "n/a"),
            _ => (event, "12,5"),
        };
        let _ = writeln!(
            text,
            "{};CO{number} final;{date};{};{};{follow};{event};{when};0;seen by {number}",
            patients[&plan["patient_id"]],
            40 + number,
            if number % 2 == 0 { "F" } else { "M" },
        );
    }
    (text, events)
}

#[test]
fn one_round_of_the_map_and_every_cell_is_accounted_for() {
    let place = study();
    let at = |name: &str| place.path().join("study").join(name);
    let (text, events) = sheet(place.path());
    fs::write(place.path().join("sheet.csv"), &text).unwrap();
    let (code, said) = run(place.path(), &RELATE);
    assert_eq!(code, 2, "{said}");
    assert!(
        said.contains("outcomes_map.csv proposes what the columns of sheet.csv mean"),
        "{said}"
    );
    assert!(said.contains("`radionecrosis`: event radionecrosis"), "{said}");
    assert!(!at("relate").exists() && !at("outcomes_read.csv").exists());
    let map = fs::read_to_string(at("outcomes_map.csv")).unwrap();

    // Nothing waits for a decision: the second run follows the proposal and leaves the map alone.
    let (code, said) = run(place.path(), &RELATE);
    assert_eq!(code, 0, "{said}");
    assert_eq!(fs::read_to_string(at("outcomes_map.csv")).unwrap(), map);
    let lines = text.lines().count() - 1;
    let account = rows_of(&fs::read_to_string(at("outcomes_account.csv")).unwrap());
    assert_eq!(account.len(), 10 * lines);
    let kinds: BTreeSet<&str> = account.iter().map(|a| a["became"].as_str()).collect();
    assert_eq!(kinds, BTreeSet::from(["used", "empty", "not_used"]), "{said}");
    let subjects = rows_of(&fs::read_to_string(at("relate/subjects.csv")).unwrap());
    let with: Vec<&Row> = subjects.iter().filter(|s| s["event"] == "true").collect();
    let known = |s: &&&Row| s["analysed"] == "true";
    assert!(!with.is_empty() && with.len() <= events && with.iter().all(|s| known(&s)));
    // 7.5 months of 30.4375 days.
    assert!(with.iter().all(|s| s["days"] == "228" && s["ended"] == "event"), "{with:?}");
    let ages: Vec<&str> = subjects.iter().map(|s| s["age"].as_str()).collect();
    assert_eq!(ages.iter().filter(|a| !a.is_empty()).count(), lines);
    let tidy = rows_of(&fs::read_to_string(at("outcomes_read.csv")).unwrap());
    let unknown = tidy.iter().filter(|r| r["event_unknown"] == "radionecrosis");
    assert_eq!((unknown.count(), tidy.len()), (1, lines));

    // The tidy sheet says the same without a map.
    let first = fs::read_to_string(at("relate/subjects.csv")).unwrap();
    fs::rename(at("outcomes_read.csv"), place.path().join("tidy.csv")).unwrap();
    fs::remove_file(at("outcomes_map.csv")).unwrap();
    let mut again = RELATE;
    again[2] = "tidy.csv";
    let (code, said) = run(place.path(), &again);
    assert_eq!(code, 0, "{said}");
    let without = |text: &str| -> Vec<String> {
        let columns = |l: &str| l.split(',').take(16).collect::<Vec<_>>().join(",");
        text.lines().map(columns).collect()
    };
    let second = fs::read_to_string(at("relate/subjects.csv")).unwrap();
    assert_eq!(without(&first), without(&second));
    for name in ["outcomes_account.csv", "relate/subjects.csv", "relate/unmatched.csv"] {
        let text = fs::read_to_string(at(name)).unwrap();
        assert!(!text.contains("LK-") && !text.contains("seen by"), "{name}");
    }
    assert!(!map.contains("LK-") && !map.contains("seen by"), "{map}");
}

/// A column of the event in which nobody has it: that is a result, not a missing event.
#[test]
fn a_column_of_an_event_that_nobody_had_gives_an_upper_limit() {
    let place = study();
    let (text, _) = sheet(place.path());
    let file = place.path().join("sheet.csv");
    fs::write(&file, &text).unwrap();
    run(place.path(), &RELATE);
    // The map is there; now nobody has the event.
    fs::write(&file, text.replace(";1;7,5;", ";0;;")).unwrap();
    let (code, said) = run(place.path(), &RELATE);
    assert_eq!(code, 0, "{said}");
    assert!(!said.contains("is not in the sheet"), "{said}");
    assert!(
        said.contains(" patients were followed and none had radionecrosis: the risk is below"),
        "{said}"
    );
    // What was read, as a sheet: no row of it tells of the event, the map still knows its column.
    let read = fs::read_to_string(place.path().join("study/outcomes_read.csv")).unwrap();
    assert!(rows_of(&read).iter().all(|r| r["event_type"] != "radionecrosis"), "{read}");
    let tidy = RELATE.map(|w| if w == "sheet.csv" { "study/outcomes_read.csv" } else { w });
    let (code, said) = run(place.path(), &tidy);
    assert_eq!(code, 0, "{said}");
    assert!(
        said.contains(" were followed and none had radionecrosis: the risk is below"),
        "{said}"
    );
    // An event that neither knows is none.
    let other = tidy.map(|w| if w == "radionecrosis" { "palsy" } else { w });
    let (code, said) = run(place.path(), &other);
    assert!(code == 2 && said.contains("event palsy is not in the sheet"), "{said}");
}

#[test]
fn covariates_reach_table_1_groups_and_adjusters() {
    let place = study();
    let (text, _) = sheet(place.path());
    fs::write(place.path().join("sheet.csv"), &text).unwrap();
    let paper = ["paper", "--outcomes", "sheet.csv", "--group", "sex"];
    assert_eq!(run(place.path(), &paper).0, 2);
    let (code, said) = run(place.path(), &paper);
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("columns that are not used, as the map says: plan, remarks"), "{said}");
    let read =
        |name: &str| fs::read_to_string(place.path().join("study/paper").join(name)).unwrap();
    let table = rows_of(&read("table_one.csv"));
    let of = |variable: &str, group: &str| {
        table.iter().find(|r| r["variable"] == variable && r["group"] == group).unwrap().clone()
    };
    let (plans, patients) = (
        plans(place.path()).len(),
        plans(place.path())
            .iter()
            .map(|p| p.0["patient_id"].clone())
            .collect::<BTreeSet<_>>()
            .len(),
    );
    // Ages differ between the courses of a patient, so they are told by plan.
    assert!(patients < plans);
    assert_eq!(
        (of("age", "all")["grain"].as_str(), of("age", "all")["n"].as_str()),
        ("plan", &*plans.to_string())
    );
    assert!(!of("age", "F")["median"].is_empty() && !of("age", "M")["median"].is_empty());
    let adjusted = [&RELATE[..], &["--adjust", "sex", "--group", "sex"]].concat();
    let (code, said) = run(place.path(), &adjusted);
    assert_eq!(code, 0, "{said}");
    let path = place.path().join("study/relate/model.csv");
    assert!(fs::read_to_string(path).unwrap().contains("\nsex,"));
}

/// Without the key a date cannot become a day, and an ID no pseudonym: both are said.
#[test]
fn without_the_key_it_is_said_what_to_give() {
    let place = study();
    let (text, _) = sheet(place.path());
    fs::write(place.path().join("sheet.csv"), &text).unwrap();
    fs::rename(place.path().join("study-key"), place.path().join("elsewhere")).unwrap();
    let renamed = text.replacen("Pat.-ID", "patient_id", 1);
    fs::write(place.path().join("sheet.csv"), &renamed).unwrap();
    let (code, said) = run(place.path(), &RELATE);
    assert!(
        code == 2 && said.contains("IDs of the hospital need the key of the study: --key"),
        "{said}"
    );
    let (code, said) = run(place.path(), &RELATE);
    assert!(
        said.contains("the study has no such patient; IDs of the hospital need --key"),
        "{code} {said}"
    );
    let wrong = [&RELATE[..], &["--key", "study"]].concat();
    let (code, said) = run(place.path(), &wrong);
    assert!(code == 2 && said.contains("option --key") && said.contains("key.txt"), "{said}");
    let given = [&RELATE[..], &["--key", "elsewhere"]].concat();
    let (code, said) = run(place.path(), &given);
    assert_eq!(code, 0, "{said}");
}

/// A tidy sheet with columns of the department's own goes on, and says what it does not use yet.
#[test]
fn further_columns_of_a_tidy_sheet_are_offered() {
    let place = study();
    let patients: Vec<String> = measured().patients().into_values().collect();
    let mut text = "patient_id,event_type,day_event,day_last_contact,age,KPS\n".to_owned();
    for (n, patient) in patients.iter().enumerate() {
        let (event, day) = if n % 3 == 0 { ("radionecrosis", "100") } else { ("none", "") };
        let _ = writeln!(text, "{patient},{event},{day},400,{},{}", 50 + n, 70 + n % 4);
    }
    fs::write(place.path().join("sheet.csv"), &text).unwrap();
    let (code, said) = run(place.path(), &RELATE);
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("2 further columns are not used in this run: age, KPS"), "{said}");
    let adjusted = [&RELATE[..], &["--adjust", "age"]].concat();
    let (code, said) = run(place.path(), &adjusted);
    assert!(code == 0 && !said.contains("not used in this run"), "{said}");
    let subjects = fs::read_to_string(place.path().join("study/relate/subjects.csv")).unwrap();
    assert!(subjects.lines().next().unwrap().ends_with(",age,kps"), "{subjects}");
}
