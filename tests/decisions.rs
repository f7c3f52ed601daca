//! One round of decisions over the invented cohort, as a person plays it: survey, fill in what is
//! open, measure. Afterwards nothing is open, nothing that was decided has changed, and the
//! decisions hold when files are renamed and cases are added. One cause is one thing to decide,
//! and one row can decide for an archive, a plan or a structure.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;

use crate::measured::{Row, cohort, rows_of};

/// What a person who knows the cohort says about the names that the program leaves open.
const ANSWERS: &[(&str, &str, &str)] = &[
    ("Cerebro", "Brain", ""),
    ("skin", "External", ""),
    ("Meningioma", "", "gtv"),
    ("AKN links", "", "gtv"),
];

fn run(place: &Path, command: &str, archive: &Path) -> String {
    let (code, out, err) = ran(place, &[command, &archive.to_string_lossy(), "--quiet"]);
    assert_eq!(code, 0, "{err}");
    out
}

/// Exit code, stdout and stderr.
fn ran(place: &Path, arguments: &[&str]) -> (i32, String, String) {
    let mut command = Command::cargo_bin("tidydose").unwrap();
    let output = command.current_dir(place).args(arguments).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

/// How many decisions the summary calls open, by file.
fn open(summary: &str) -> BTreeMap<String, usize> {
    let lines = summary.lines().filter(|l| l.starts_with("decisions"));
    let parts = lines.map(|l| l.split_whitespace().collect::<Vec<_>>());
    parts.map(|p| (p[2].to_owned(), p[3].parse().unwrap())).collect()
}

fn read(path: &Path) -> Vec<Row> {
    rows_of(&fs::read_to_string(path).unwrap())
}

/// Writes the rows back with something filled in, as a spreadsheet would.
fn fill(path: &Path, change: impl Fn(&mut Row)) {
    let mut reader = csv::Reader::from_path(path).unwrap();
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

fn answer(row: &mut Row) {
    let name = row["name_original"].clone();
    let known = ANSWERS.iter().find(|a| a.0 == name);
    let (standard, role) = match known {
        Some((_, standard, role)) => (*standard, *role),
        None if name.starts_with("Meta ") => ("", "gtv"),
        None => return,
    };
    row.insert("name_standard".to_owned(), standard.to_owned());
    row.insert("role".to_owned(), role.to_owned());
}

/// The first of the doses that the evidence names.
fn choose(row: &mut Row) {
    assert_eq!(row["question"], "dose_id", "{row:?}");
    let candidates = row["evidence"].split("accepted: ").nth(1).unwrap();
    let first = candidates.split(' ').next().unwrap().to_owned();
    row.insert("decision".to_owned(), first);
}

const OWN: [&str; 5] =
    ["names.csv", "prescriptions.csv", "decisions.csv", "lesions.csv", "clinical_lesions.csv"];

fn own_files(study: &Path) -> Vec<String> {
    OWN.iter().map(|f| fs::read_to_string(study.join(f)).unwrap()).collect()
}

fn play_a_round(place: &Path, archive: &Path) -> PathBuf {
    let study = place.join("study");
    let before = open(&run(place, "survey", archive));
    assert!(OWN[..3].iter().all(|file| before[*file] > 0), "{before:?}");
    fill(&study.join("names.csv"), answer);
    fill(&study.join("prescriptions.csv"), |row| {
        if row["proposed_gy"].is_empty() {
            row.insert("prescription_gy".to_owned(), "20".to_owned());
        }
    });
    if study.join("choices.csv").exists() {
        fill(&study.join("choices.csv"), choose);
    }
    run(place, "survey", archive);
    fill(&study.join("decisions.csv"), |row| {
        row.insert("state".to_owned(), "accepted".to_owned());
        row.insert("decided_by".to_owned(), "reader 1".to_owned());
    });
    study
}

#[test]
fn after_one_round_of_decisions_nothing_of_the_cohort_is_open() {
    let place = tempfile::tempdir().unwrap();
    let study = play_a_round(place.path(), &cohort());
    let decided = own_files(&study);
    let after = run(place.path(), "survey", &cohort());
    assert!(open(&after).values().all(|n| *n == 0), "{after}");
    assert!(!after.contains("cases wait for"), "{after}");
    assert_eq!(own_files(&study), decided, "a second run changes nothing");
    let findings = read(&study.join("tables/findings.csv"));
    let state = |f: &&Row| f["severity"] == "check" && f["state"] == "open";
    assert_eq!(findings.iter().filter(state).count(), 0);
}

fn copy(from: &Path, to: &Path, name: &dyn Fn(&str) -> String) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let new = to.join(name(&entry.file_name().to_string_lossy()));
        if entry.path().is_dir() {
            copy(&entry.path(), &new, name);
        } else {
            fs::copy(entry.path(), new).unwrap();
        }
    }
}

#[test]
fn decisions_outlive_renamed_files_and_further_cases() {
    let place = tempfile::tempdir().unwrap();
    let archive = place.path().join("archive");
    copy(&cohort().join("cobalt-unit"), &archive.join("a"), &str::to_owned);
    copy(&cohort().join("robot-arm"), &archive.join("b"), &str::to_owned);
    let study = play_a_round(place.path(), &archive);
    let decided = own_files(&study);
    // Other names of folders and files, and the gantry cases besides.
    fs::remove_dir_all(&archive).unwrap();
    let renamed = |name: &str| format!("renamed-{name}");
    copy(&cohort().join("cobalt-unit"), &archive.join("x"), &renamed);
    copy(&cohort().join("robot-arm"), &archive.join("y"), &renamed);
    copy(&cohort().join("gantry"), &archive.join("z"), &renamed);
    let summary = run(place.path(), "survey", &archive);
    for (before, now) in decided.iter().zip(own_files(&study)) {
        let kept = rows_of(before);
        let rows = rows_of(&now);
        assert!(rows.len() > kept.len() || rows == kept);
        for (a, b) in kept.iter().zip(&rows) {
            for column in ["name_standard", "role", "prescription_gy", "state", "decided_by"] {
                assert_eq!(a.get(column), b.get(column));
            }
        }
    }
    let findings = read(&study.join("tables/findings.csv"));
    let open_id: Vec<_> = findings.iter().filter(|f| f["state"] == "open").collect();
    let before = rows_of(&decided[2]);
    for old in &before {
        assert!(!open_id.iter().any(|f| f["finding_id"] == old["finding_id"]), "{old:?}");
    }
    assert_eq!(open(&summary)["names.csv"], 0, "{summary}");
}

const PARTIAL: &str = "grid-misses-part";

/// Four cases of the cohort: two dose grids leave out a part of six structures.
fn measure(place: &Path, more: &[&str]) -> (i32, String) {
    let archive = cohort().join("robot-arm").to_string_lossy().into_owned();
    let fixed = ["measure", &archive, "--metric-list", "basic", "--quiet"];
    let (code, _, err) = ran(place, &[&fixed[..], more].concat());
    assert!(code < 2, "{err}");
    (code, err)
}

/// Rows of a table about a code.
fn about(study: &Path, table: &str, code: &str) -> Vec<Row> {
    let mut rows = read(&study.join(format!("tables/{table}.csv")));
    rows.retain(|r| r["code"] == code);
    rows
}

#[test]
fn one_cause_is_one_finding_with_the_names_of_what_it_reaches() {
    let place = tempfile::tempdir().unwrap();
    let study = place.path().join("study");
    measure(place.path(), &[]);
    let (causes, details) =
        (about(&study, "findings", PARTIAL), about(&study, "finding_details", PARTIAL));
    let reached: Vec<&str> = causes.iter().map(|r| r["n_details"].as_str()).collect();
    assert_eq!((causes.len(), details.len()), (2, 6), "{reached:?}");
    for cause in &causes {
        let own: Vec<&Row> =
            details.iter().filter(|d| d["finding_id"] == cause["finding_id"]).collect();
        assert_eq!(cause["n_details"], own.len().to_string());
        // Every structure is named, in the finding and in its detail.
        let names: Vec<&str> = own.iter().map(|d| d["structure"].as_str()).collect();
        assert_eq!(cause["structure"], names.join("; "));
        assert!(own.iter().all(|d| !d["name_original"].is_empty() && !d["roi_number"].is_empty()));
        assert!(own.iter().all(|d| d["plan_id"] == cause["plan_id"]));
        assert_eq!(cause["roi_number"].is_empty(), own.len() > 1, "{cause:?}");
    }
    let asked = read(&study.join("decisions.csv"));
    let asked: Vec<&Row> = asked.iter().filter(|r| r["code"] == PARTIAL).collect();
    assert_eq!(asked.len(), 2, "{asked:?}");
    assert!(asked.iter().all(|r| !r["structure"].is_empty()), "{asked:?}");
    // The table of plans counts the same things.
    let plans = read(&study.join("tables/plans.csv"));
    let all = read(&study.join("tables/findings.csv"));
    let mut checks = 0;
    for plan in &plans {
        let own = |r: &&Row| r["plan_id"] == plan["plan_id"] && r["severity"] == "check";
        let found = all.iter().filter(own).count();
        assert_eq!(plan["n_findings_check"], found.to_string(), "{plan:?}");
        checks += found;
    }
    assert!(checks >= 4, "{checks}");
}

/// Adds rows to decisions.csv by column; the others stay empty.
fn decide(study: &Path, rows: &[[&str; 5]]) {
    let path = study.join("decisions.csv");
    let mut text = fs::read_to_string(&path).unwrap();
    let head = text.lines().next().unwrap().trim_start_matches('\u{feff}');
    let columns: Vec<&str> = head.split(',').collect();
    let named = ["code", "plan_id", "roi_number", "structure", "state"];
    let mut more = String::new();
    for row in rows {
        let cell = |column: &&str| match (*column, named.iter().position(|n| n == column)) {
            ("finding_id", _) => "*",
            (_, Some(at)) => row[at],
            _ => "",
        };
        more.push_str(&columns.iter().map(cell).collect::<Vec<_>>().join(","));
        more.push_str("\r\n");
    }
    text.push_str(&more);
    fs::write(&path, text).unwrap();
}

#[test]
fn one_row_decides_for_an_archive_a_plan_or_a_structure() {
    let place = tempfile::tempdir().unwrap();
    let study = place.path().join("study");
    measure(place.path(), &[]);
    let proposed = fs::read_to_string(study.join("decisions.csv")).unwrap();
    let causes = about(&study, "findings", PARTIAL);
    let details = about(&study, "finding_details", PARTIAL);
    let wide = causes.iter().find(|c| c["n_details"] == "5").unwrap();
    let own: Vec<&Row> = details.iter().filter(|d| d["plan_id"] == wide["plan_id"]).collect();
    let (plan, first) = (wide["plan_id"].as_str(), own[0]);
    let (number, name) = (first["roi_number"].as_str(), first["structure"].as_str());
    let of_name = details.iter().filter(|d| d["structure"] == name).count();
    for (rows, waived) in [
        (&[[PARTIAL, "*", "*", "*", "waived"]][..], 6),
        (&[[PARTIAL, "", "", "", "Waived"]], 6),
        (&[[PARTIAL, plan, "*", "*", "waived"]], 5),
        (&[[PARTIAL, plan, number, "*", "waived"]], 1),
        (&[[PARTIAL, "*", "*", name, "waived"]], of_name),
        (&[[PARTIAL, "*", "*", "*", "waived"], [PARTIAL, plan, "*", "*", "open"]], 1),
        (&[[PARTIAL, "*", "*", "*", "waived"], [PARTIAL, plan, number, "*", "open"]], 5),
        (&[["planes-few", "*", "*", "*", "waived"]], 0),
    ] {
        fs::write(study.join("decisions.csv"), &proposed).unwrap();
        decide(&study, rows);
        let decided = fs::read_to_string(study.join("decisions.csv")).unwrap();
        measure(place.path(), &[]);
        let after = about(&study, "finding_details", PARTIAL);
        let states = after.iter().filter(|d| d["state"] == "waived").count();
        assert_eq!((states, after.len()), (waived, 6), "{rows:?}");
        let rows_of_causes = about(&study, "findings", PARTIAL);
        let reached: usize =
            rows_of_causes.iter().map(|c| c["n_details"].parse::<usize>().unwrap()).sum();
        assert_eq!(reached, 6, "{rows:?}");
        let kept = fs::read_to_string(study.join("decisions.csv")).unwrap();
        assert_eq!(kept, decided, "the user's file is left alone");
    }
}

/// What was waived for the archive is not refused by a strict run and fails none.
#[test]
fn a_strict_run_follows_a_decision_for_the_whole_archive() {
    let place = tempfile::tempdir().unwrap();
    let study = place.path().join("study");
    measure(place.path(), &[]);
    let excluded = || {
        let metrics = read(&study.join("tables/metrics.csv"));
        let strict = |r: &&Row| r["status"] == "excluded" && r["reason"].starts_with("strict run");
        metrics.iter().filter(strict).count()
    };
    let (code, err) = measure(place.path(), &["--strict", "--fail-on", "check"]);
    assert_eq!(code, 1, "{err}");
    assert!(excluded() > 20, "{}", excluded());
    let open = read(&study.join("tables/findings.csv"));
    let codes: std::collections::BTreeSet<&str> = open
        .iter()
        .filter(|r| ["check", "stop"].contains(&r["severity"].as_str()))
        .map(|r| r["code"].as_str())
        .collect();
    let rows: Vec<_> = codes.iter().map(|code| [code, "*", "*", "*", "waived"]).collect();
    decide(&study, &rows);
    let (code, err) = measure(place.path(), &["--strict", "--fail-on", "check"]);
    assert_eq!((code, excluded()), (0, 0), "{err}");
    let last = err.trim_end().lines().last().unwrap();
    assert!(last.starts_with("left out: "), "what is not there stays counted: {err}");
}

#[test]
fn a_decision_about_what_is_nowhere_is_said_with_the_nearest() {
    let place = tempfile::tempdir().unwrap();
    let study = place.path().join("study");
    let archive = cohort().join("robot-arm").to_string_lossy().into_owned();
    let survey = ["survey", archive.as_str(), "--quiet"];
    assert_eq!(ran(place.path(), &survey).0, 0);
    let proposed = fs::read_to_string(study.join("decisions.csv")).unwrap();
    decide(&study, &[["planes-few", "*", "*", "Brainstm", "waived"]]);
    let (code, _, err) = ran(place.path(), &survey);
    let said = "`Brainstm`: no structure is called so; the nearest is `Brainstem`";
    assert!(code == 0 && err.contains(said), "{err}");
    fs::write(study.join("decisions.csv"), proposed).unwrap();
    decide(&study, &[["plane-few", "*", "*", "*", "waived"]]);
    let (code, _, err) = ran(place.path(), &survey);
    assert!(code == 2 && err.contains("code `plane-few` is unknown; nearest: planes-few"), "{err}");
}

/// Two centres can mean different things by one word, so nothing is followed until it is decided
/// here.
#[test]
fn decisions_of_another_study_are_proposed_and_not_followed() {
    let place = tempfile::tempdir().unwrap();
    let head = "name_original,plan_id,roi_number,name_standard,role";
    fs::write(place.path().join("other.csv"), format!("{head}\nmeningioma,,,,gtv\n")).unwrap();
    let archive = cohort().to_string_lossy().into_owned();
    let survey = |file: &str| ran(place.path(), &["survey", &archive, "--quiet", "--names", file]);
    let (code, summary, err) = survey("other.csv");
    assert_eq!(code, 0, "{err}");
    let names = read(&place.path().join("study/names.csv"));
    let row = names.iter().find(|r| r["name_original"] == "Meningioma").unwrap();
    assert_eq!((row["proposed_role"].as_str(), row["basis"].as_str()), ("gtv", "elsewhere"));
    assert_eq!((row["name_standard"].as_str(), row["role"].as_str()), ("", ""));
    assert!(summary.contains("Meningioma"), "it is still asked: {summary}");
    let (code, _, err) = survey("none.csv");
    assert_ne!(code, 0);
    assert!(err.contains("--names") && err.contains("none.csv"), "{err}");
}

/// The data of the page of questions.
fn asked(study: &Path) -> serde_json::Value {
    let page = fs::read_to_string(study.join("decide.html")).unwrap();
    let data = page.split("type=\"application/json\">").nth(1).unwrap();
    serde_json::from_str(data.split("</script>").next().unwrap()).unwrap()
}

/// The titles of the questions of a kind.
fn titles(study: &Path, place: &str) -> Vec<String> {
    let data = asked(study);
    let own = data["questions"].as_array().unwrap().iter().filter(|q| q["place"] == place);
    own.map(|q| q["title"].as_str().unwrap().to_owned()).collect()
}

/// A file as the page saves it: each row is file, subject, plan_id, answer.
fn save(path: &Path, rows: &[[&str; 4]]) {
    let mut text =
        "\u{feff}file,subject,patient_id,plan_id,roi_number,answer,question\r\n".to_owned();
    for [file, subject, plan, answer] in rows {
        text.push_str(&format!("{file},{subject},,{plan},,{answer},What is {subject}?\r\n"));
    }
    fs::write(path, text).unwrap();
}

#[test]
fn the_page_asks_what_is_open_and_no_more() {
    let place = tempfile::tempdir().unwrap();
    let study = place.path().join("study");
    let summary = run(place.path(), "survey", &cohort());
    let waiting = open(&summary);
    let names = titles(&study, "names");
    let open_names: std::collections::BTreeSet<String> = read(&study.join("names.csv"))
        .into_iter()
        .filter(|r| matches!(r["basis"].as_str(), "ambiguous" | "none"))
        .map(|r| r["name_original"].clone())
        .collect();
    assert_eq!(names.len(), waiting["names.csv"], "{names:?}");
    assert_eq!(names.into_iter().collect::<std::collections::BTreeSet<_>>(), open_names);
    assert_eq!(titles(&study, "prescriptions").len(), waiting["prescriptions.csv"]);
    assert_eq!(titles(&study, "choices").len(), waiting["choices.csv"]);
    let data = asked(&study);
    let findings =
        data["questions"].as_array().unwrap().iter().filter(|q| q["place"] == "findings");
    let causes: usize = findings.map(|q| q["parts"].as_array().unwrap().len()).sum();
    assert_eq!(causes, waiting["decisions.csv"]);
    let page = fs::read_to_string(study.join("decide.html")).unwrap();
    assert!(page.contains("class=\"picture place\""), "a survey has pictures");
    let book = fs::read(study.join("decide.xlsx")).unwrap();
    run(place.path(), "survey", &cohort());
    assert!(page == fs::read_to_string(study.join("decide.html")).unwrap());
    assert!(book == fs::read(study.join("decide.xlsx")).unwrap());
}

#[test]
fn answers_of_the_page_change_the_next_measure() {
    let place = tempfile::tempdir().unwrap();
    let study = place.path().join("study");
    let all_are = |role: &str| {
        let mut rows = read(&study.join("tables/structures.csv"));
        rows.retain(|r| r["name_original"] == "Meningioma");
        assert!(!rows.is_empty());
        for row in rows {
            assert_eq!(row["role"], role, "{row:?}");
        }
    };
    measure(place.path(), &[]);
    assert!(titles(&study, "names").contains(&"Meningioma".to_owned()));
    let rows = [["names.csv", "Meningioma", "", "role:ptv"]];
    // A file elsewhere stays where it is.
    let elsewhere = place.path().join("mine.csv");
    save(&elsewhere, &rows);
    measure(place.path(), &["--decisions", "mine.csv"]);
    all_are("ptv");
    assert!(!titles(&study, "names").contains(&"Meningioma".to_owned()));
    assert!(elsewhere.is_file());
    // One in the study is moved aside, and what a person changes afterwards holds.
    fs::rename(&elsewhere, study.join("answers.csv")).unwrap();
    measure(place.path(), &[]);
    assert!(!study.join("answers.csv").exists());
    assert_eq!(fs::read_dir(study.join("answered")).unwrap().count(), 1);
    fill(&study.join("names.csv"), |row| {
        if row["name_original"] == "Meningioma" {
            row.insert("role".to_owned(), "ctv".to_owned());
        }
    });
    measure(place.path(), &[]);
    all_are("ctv");
}

#[test]
fn a_wrong_answer_ends_the_run_and_one_that_nobody_asked_for_is_said_and_kept() {
    let place = tempfile::tempdir().unwrap();
    let study = place.path().join("study");
    let archive = cohort().join("robot-arm").to_string_lossy().into_owned();
    let survey = |more: &[&str]| ran(place.path(), &[&["survey", &archive][..], more].concat());
    assert_eq!(survey(&[]).0, 0);
    let before = fs::read_to_string(study.join("names.csv")).unwrap();
    let answers = study.join("answers.csv");
    save(
        &answers,
        &[["names.csv", "Meningioma", "", "Brain"], ["names.csv", "Meningioma", "p", "Brian"]],
    );
    let (code, _, err) = survey(&[]);
    assert_eq!(code, 2, "{err}");
    for wanted in [
        "answers.csv: row 3",
        "question `What is Meningioma?`",
        "`Brian`",
        "the nearest is `Brain`",
    ] {
        assert!(err.contains(wanted), "{wanted}: {err}");
    }
    assert_eq!(fs::read_to_string(study.join("names.csv")).unwrap(), before);
    assert!(answers.is_file(), "it is there to be corrected");
    save(
        &answers,
        &[["names.csv", "nobody", "", "Brain"], ["decisions.csv", "F0000", "", "accepted"]],
    );
    let (code, _, err) = survey(&[]);
    assert_eq!(code, 0, "{err}");
    assert!(err.contains("row 2 of answers.csv: `What is nobody?` is no open question"), "{err}");
    assert!(err.contains("the answer is kept in decisions.csv"), "{err}");
    let rows = read(&study.join("names.csv"));
    assert!(rows.iter().any(|r| r["name_original"] == "nobody" && r["name_standard"] == "Brain"));
    let (code, _, err) = survey(&["--decisions", "nowhere.csv"]);
    assert!(code == 2 && err.contains("--decisions") && err.contains("nowhere.csv"), "{err}");
}
