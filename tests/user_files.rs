//! The files that people edit, as a spreadsheet and a tired person leave them: slips, mangled
//! identifiers, ambiguous numbers, decisions taken after the tables were made. Nothing is silent.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use tempfile::TempDir;

use crate::documents::copy;
use crate::measured::{Row, cohort, rows_of};

/// Three patients of the invented cohort; the last has findings to decide about.
fn archive() -> TempDir {
    let place = tempfile::tempdir().unwrap();
    for patient in ["LK-01", "LK-02", "LK-13"] {
        copy(&cohort().join("cobalt-unit").join(patient), &place.path().join("in").join(patient));
    }
    place
}

fn run(place: &Path, words: &[&str]) -> (i32, String) {
    let command = Command::cargo_bin("tidydose").unwrap().current_dir(place).args(words).output();
    let output = command.unwrap();
    (output.status.code().unwrap(), String::from_utf8(output.stderr).unwrap())
}

fn survey(place: &Path) -> (i32, String) {
    run(place, &["survey", "in"])
}

fn file(place: &Path, name: &str) -> PathBuf {
    place.join("study").join(name)
}

fn read(place: &Path, name: &str) -> Vec<Row> {
    rows_of(&fs::read_to_string(file(place, name)).unwrap())
}

/// Changes rows, and writes them as a spreadsheet would.
fn edit(place: &Path, name: &str, change: impl Fn(&mut Row)) {
    let path = file(place, name);
    let text = fs::read_to_string(&path).unwrap();
    let mut reader = csv::Reader::from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let columns: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let mut rows: Vec<Row> = reader.deserialize().map(Result::unwrap).collect();
    rows.iter_mut().for_each(change);
    let mut writer = csv::Writer::from_path(path).unwrap();
    writer.write_record(&columns).unwrap();
    for row in &rows {
        writer.write_record(columns.iter().map(|c| &row[c])).unwrap();
    }
    writer.flush().unwrap();
}

fn set(row: &mut Row, column: &str, value: &str) {
    assert!(row.insert(column.to_owned(), value.to_owned()).is_some(), "no column {column}");
}

fn unmatched(place: &Path) -> Vec<String> {
    let findings = read(place, "tables/findings.csv").into_iter();
    findings.filter(|f| f["code"] == "user-row-unmatched").map(|f| f["message"].clone()).collect()
}

#[test]
fn files_for_people_open_right_on_a_double_click() {
    let place = archive();
    let (code, talk) = survey(place.path());
    assert!(code < 2, "{talk}");
    for name in ["names.csv", "prescriptions.csv", "decisions.csv", "lesions.csv"] {
        let bytes = fs::read(file(place.path(), name)).unwrap();
        assert!(bytes.starts_with(b"\xef\xbb\xbf"), "{name}");
    }
    let ids = read(place.path(), "decisions.csv");
    assert!(!ids.is_empty());
    for row in ids {
        assert!(row["finding_id"].starts_with(|c: char| c.is_ascii_alphabetic()), "{row:?}");
    }
}

/// The files of a study of an earlier version: names of findings without a letter, no byte-order mark.
#[test]
fn what_was_decided_with_an_earlier_version_holds() {
    let place = archive();
    survey(place.path());
    edit(place.path(), "decisions.csv", |row| {
        let old = row["finding_id"].strip_prefix('f').unwrap().to_owned();
        set(row, "finding_id", &old);
        set(row, "state", "accepted");
    });
    let before = fs::read_to_string(file(place.path(), "decisions.csv")).unwrap();
    let (_, talk) = survey(place.path());
    assert!(!talk.contains("finding_id"), "{talk}");
    assert_eq!(fs::read_to_string(file(place.path(), "decisions.csv")).unwrap(), before);
    let findings = read(place.path(), "tables/findings.csv");
    assert!(findings.iter().any(|f| f["state"] == "accepted"));
    let decided = read(place.path(), "decisions.csv");
    for row in &decided {
        let id = format!("f{}", row["finding_id"]);
        assert!(findings.iter().any(|f| f["finding_id"] == id && f["state"] == "accepted"), "{id}");
    }
}

#[test]
fn rows_that_mean_nothing_are_named_with_what_is_nearest() {
    let place = archive();
    survey(place.path());
    let names = read(place.path(), "names.csv");
    let plan = read(place.path(), "prescriptions.csv")[0]["plan_id"].clone();
    let [misspelt, blank, mangled] =
        [("Brainstem", "Brianstem"), ("Brain", "brain "), ("", "1,00811E+11")];
    assert!(names.iter().any(|r| r["name_original"] == misspelt.0), "{names:?}");
    assert!(names.iter().any(|r| r["name_original"] == blank.0), "{names:?}");
    edit(place.path(), "names.csv", |row| {
        for (right, wrong) in [misspelt, blank] {
            if row["name_original"] == right {
                set(row, "name_original", wrong);
                set(row, "name_standard", right);
            }
        }
    });
    edit(place.path(), "prescriptions.csv", |row| {
        set(row, "roi_number", "77");
        set(row, "prescription_gy", "20");
    });
    let first = read(place.path(), "decisions.csv")[0]["finding_id"].clone();
    edit(place.path(), "decisions.csv", |row| {
        if row["finding_id"] == first {
            set(row, "finding_id", mangled.1);
            set(row, "state", "waived");
        }
    });
    fs::write(
        file(place.path(), "choices.csv"),
        format!("plan_id,question,evidence,decision,comment\n{plan},treatd,,yes,\n"),
    )
    .unwrap();
    let (code, talk) = survey(place.path());
    assert!(code < 2, "{talk}");
    let said = unmatched(place.path());
    for (start, nearest) in [
        ("of names.csv, column name_original: `Brianstem`: no structure", "`Brainstem`".to_owned()),
        ("of prescriptions.csv, column roi_number: ", String::new()),
        ("of decisions.csv, column finding_id: ", format!("`{first}`")),
        ("row 2 of choices.csv, column question: `treatd`: no question", "`treated`".to_owned()),
    ] {
        let one = said.iter().find(|m| m.contains(start)).unwrap_or_else(|| panic!("{said:?}"));
        assert!(nearest.is_empty() || one.contains(&format!("nearest is {nearest}")), "{one}");
        assert!(talk.contains(start), "{talk}");
    }
    assert!(talk.contains("`1,00811E+11`: no finding of table findings is called so"), "{talk}");
    assert!(!said.iter().any(|m| m.contains("brain ")), "a blank and a capital do not matter");
    // The row that is alike is the row of the name: no second one is made.
    let after = read(place.path(), "names.csv");
    assert_eq!(after.len(), names.len() + 1, "one row more, for the misspelt name");
    assert!(after.iter().any(|r| r["name_original"] == "brain "));
}

#[test]
fn a_misspelt_standard_name_ends_the_run_and_an_own_name_is_marked() {
    let place = archive();
    survey(place.path());
    let write = |standard: &'static str| {
        edit(place.path(), "names.csv", |row| {
            if row["name_original"] == "Brainstem" {
                set(row, "name_standard", standard);
            }
        });
        survey(place.path())
    };
    let (code, talk) = write("Brainstm");
    assert_eq!(code, 2, "{talk}");
    assert!(talk.contains("names.csv: row ") && talk.contains("`Brainstm`"), "{talk}");
    assert!(talk.contains("`Brainstem`") && talk.contains("`own:Brainstm`"), "{talk}");
    let (code, talk) = write("own:Brainstm");
    assert!(code < 2, "{talk}");
    let (code, talk) = run(place.path(), &["measure", "in", "--metric-list", "basic"]);
    assert!(code < 2, "{talk}");
    let structures = read(place.path(), "tables/structures.csv");
    assert!(structures.iter().any(|s| s["name_standard"] == "Brainstm"));
}

#[test]
fn a_number_that_can_be_two_is_asked_about_by_survey() {
    let place = archive();
    survey(place.path());
    for (typed, said) in [
        ("2.400", "prescription_gy `2.400` can mean 2.4 or 2400; 2.4 or 2400 would be accepted"),
        ("18.000", "prescription_gy `18.000` can mean 18 or 18000"),
        ("1,000", "prescription_gy `1,000` can mean 1 or 1000"),
        ("2400", "prescription_gy `2400` is more than 300 Gy"),
    ] {
        edit(place.path(), "prescriptions.csv", |row| set(row, "prescription_gy", typed));
        let (code, talk) = survey(place.path());
        assert_eq!(code, 2, "{typed}: {talk}");
        assert!(talk.contains("prescriptions.csv: row 2: ") && talk.contains(said), "{talk}");
    }
    edit(place.path(), "prescriptions.csv", |row| set(row, "prescription_gy", "18,00"));
    assert!(survey(place.path()).0 < 2);
    let limit = "organ;metric;operator;limit;unit;fractions;tier;target_inside;source;evidence;\
                 endpoint;risk;note\nBrainstem;D0.1cc[Gy];<=;12.500;Gy;1;local;judge;ours;read;;;\n";
    fs::write(file(place.path(), "limits.csv"), limit).unwrap();
    let (code, talk) = survey(place.path());
    assert_eq!(code, 2, "{talk}");
    assert!(talk.contains("limits.csv: row 2, column `limit`: `12.500`"), "{talk}");
}

const MEASURE: [&str; 4] = ["measure", "in", "--metric-list", "basic"];
const STALE: &str = "names.csv was changed after the tables were made";

/// Every command that reads the tables of a measured study.
fn readers(place: &Path) -> Vec<Vec<String>> {
    let metrics = read(place, "tables/metrics.csv").into_iter();
    let mut organs = metrics.filter(|m| m["structure"] == "Brainstem" && m["status"] == "ok");
    let value = organs.next().unwrap();
    let (plan, metric, organ) = (&value["plan_id"], &value["metric"], "Brainstem");
    let patients: std::collections::BTreeSet<String> =
        read(place, "tables/plans.csv").iter().map(|p| p["patient_id"].clone()).collect();
    let rows =
        patients.iter().zip(["necrosis,10", "none,"]).map(|(p, what)| format!("{p},{what}\n"));
    let sheet = format!("patient_id,event_type,day_event\n{}", rows.collect::<String>());
    fs::write(place.join("outcomes.csv"), sheet).unwrap();
    let predictor = format!("{organ}:{metric}");
    let event = ["--outcomes", "outcomes.csv", "--event", "necrosis", "--predictor", &predictor];
    let commands: [&[&str]; 5] = [
        &["review", "--organ", organ, "--metric", metric],
        &["paper"],
        &["ask", "table-one"],
        &["explain", plan, organ, metric, "--page", "one.html"],
        &[&["relate"], &event[..]].concat(),
    ];
    commands.iter().map(|c| c.iter().map(|word| (*word).to_owned()).collect()).collect()
}

/// Runs all readers, which say that the tables are stale or do not.
fn all_say(place: &Path, commands: &[Vec<String>], wanted: bool) {
    for command in commands {
        let words: Vec<&str> = command.iter().map(String::as_str).collect();
        let (code, talk) = run(place, &words);
        assert!(code < 2, "{command:?}: {talk}");
        assert_eq!(talk.contains(STALE), wanted, "{command:?}: {talk}");
    }
}

/// A decision after `measure` is in no table: every command that reads them says so, on its page too.
#[test]
fn stale_tables_are_said_and_a_comment_makes_none() {
    let place = archive();
    assert!(run(place.path(), &MEASURE).0 < 2);
    let commands = readers(place.path());
    all_say(place.path(), &commands, false);
    edit(place.path(), "names.csv", |row| set(row, "comment", "looked at"));
    survey(place.path());
    all_say(place.path(), &commands, false);
    edit(place.path(), "names.csv", |row| {
        if row["name_original"] == "Brainstem" {
            set(row, "name_standard", "Pons");
        }
    });
    all_say(place.path(), &commands, true);
    assert!(survey(place.path()).1.contains(STALE));
    let pages = ["review.html", "../one.html", "paper/table_one.md", "relate/report.txt"];
    for page in pages {
        let text = fs::read_to_string(file(place.path(), page)).unwrap();
        assert!(text.contains(STALE), "{page}");
    }
    assert!(run(place.path(), &MEASURE).0 < 2);
    all_say(place.path(), &commands[1..3], false);
    let text = fs::read_to_string(file(place.path(), "paper/table_one.md")).unwrap();
    assert!(!text.contains(STALE));
}

/// A list of the committee's own instead of the program's, saved by a spreadsheet of another locale;
/// an aim of planning judges nothing, and a target inside is a flag or not as the list says.
#[test]
fn a_committee_holds_doses_against_its_own_list() {
    let place = tempfile::tempdir().unwrap();
    copy(&cohort().join("gantry/LK-07"), &place.path().join("in"));
    let (code, talk) = run(place.path(), &["limits", "protocol.csv"]);
    assert_eq!(code, 0, "{talk}");
    let (code, talk) = run(place.path(), &["limits", "protocol.csv"]);
    assert!(code == 2 && talk.contains("protocol.csv: is there already"), "{talk}");
    let list = "\u{feff}name;tier;metric;fractions;source;note;target_inside\r\n\
                Brainstem;mandatory;D0.1cc[Gy] <= 12,5;1 to 5;our protocol 2;with care;\r\n\
                Brainstem;local;D0.1cc[Gy] <= 12,5;1 to 5;our protocol 2;;allowed\r\n\
                Brainstem;objective;D0.1cc[Gy] <= 1;1 to 5;our protocol 2;;\r\n";
    fs::write(place.path().join("protocol.csv"), list).unwrap();
    let own = [&MEASURE[..], &["--limits", "protocol.csv", "--target-inside-from", "80"]].concat();
    let (code, talk) = run(place.path(), &own);
    assert_eq!(code, 0, "{talk}");
    let checks = read(place.path(), "tables/limit_checks.csv");
    let seen: Vec<_> = checks
        .iter()
        .map(|r| {
            [&r["tier"], &r["limit_note"], &r["verdict"], &r["judge_clinically"]].map(|c| &**c)
        })
        .collect();
    let expected = [
        ["mandatory", "with care", "above", "true"],
        ["local", "", "above", "false"],
        ["objective", "", "not_a_limit", "false"],
    ];
    assert_eq!(seen, expected);
    assert!(checks.iter().all(|r| r["checked"] == "own" && r["evidence"].contains("your own")));
    let settings = |place: &Path| -> serde_json::Value {
        let text = fs::read_to_string(file(place, "run.json")).unwrap();
        serde_json::from_str::<serde_json::Value>(&text).unwrap()["settings"].clone()
    };
    let shown = settings(place.path());
    assert_eq!(
        [&shown["limits"], &shown["limits_not_checked"]].map(|v| v.as_u64()),
        [Some(3), Some(0)]
    );
    assert_eq!(shown["target_inside_from_percent"].as_f64(), Some(80.0));

    // The program's list with what nobody has checked, less what the study takes out of it.
    let (code, talk) = run(place.path(), &[&MEASURE[..], &["--unchecked-limits"]].concat());
    assert_eq!(code, 0, "{talk}");
    let all = settings(place.path());
    let off = all["limits_not_checked"].as_u64().unwrap();
    assert!(off > 10, "{all}");
    let listed = run(place.path(), &["limits", "all.csv", "--program-list"]);
    assert_eq!(listed.0, 0, "{}", listed.1);
    let text = fs::read_to_string(place.path().join("all.csv")).unwrap();
    let rows = rows_of(text.trim_start_matches('\u{feff}'));
    assert_eq!(rows.len() as u64, all["limits"].as_u64().unwrap());
    let mut own = csv::Writer::from_path(file(place.path(), "limits.csv")).unwrap();
    own.write_record(rows[0].keys()).unwrap();
    let unchecked = rows.iter().filter(|r| r["in_use"] == "no");
    for row in unchecked.clone() {
        own.write_record(row.values()).unwrap();
    }
    own.flush().unwrap();
    assert_eq!(unchecked.count() as u64, off);
    let (code, talk) = run(place.path(), &[&MEASURE[..], &["--unchecked-limits"]].concat());
    assert_eq!(code, 0, "{talk}");
    assert_eq!(settings(place.path())["limits_not_checked"].as_u64(), Some(0));
}
