//! The questions that come with the program: each has a full header, reads the tables it says it
//! reads, and answers on the invented cohort what is kept in `queries/answers/`; the program as a
//! person asks it.
//!
//! `UPDATE=1 cargo test queries` rewrites the answers.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use tidydose_ask::{Question, is_ordered, shipped, tables_named};
use tidydose_table::TABLES;

use crate::measured::{measured, rows_of, updating};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("queries")
}

fn ask(arguments: &[&str]) -> Output {
    let study = measured().study();
    let mut command = Command::cargo_bin("tidydose").unwrap();
    command.args(["ask", "--study", &study.to_string_lossy()]).args(arguments);
    command.output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn every_question_of_the_folder_is_in_the_program() {
    let files = fs::read_dir(folder()).unwrap().map(|e| e.unwrap().path());
    let files: BTreeSet<String> = files
        .filter(|p| p.extension().is_some_and(|e| e == "sql"))
        .map(|p| p.file_stem().unwrap().to_str().unwrap().to_owned())
        .collect();
    let carried: BTreeSet<String> = shipped().iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(files, carried);
    assert!(files.len() >= 20, "{} questions", files.len());
}

#[test]
fn every_question_says_what_it_asks_and_reads_just_that() {
    let names: Vec<&str> = TABLES.iter().map(|t| t.name).collect();
    for (name, sql) in shipped() {
        let question = Question::parse(sql).unwrap();
        assert!(question.question.ends_with('?'), "{name}: no question");
        assert!(!question.units.is_empty(), "{name}: no units");
        assert!(question.caution.ends_with('.'), "{name}: no caution");
        assert!(is_ordered(&question), "{name}: no order");
        let said: BTreeSet<&str> = question.tables.iter().map(String::as_str).collect();
        let read: BTreeSet<&str> = tables_named(sql, &names).into_iter().collect();
        assert_eq!(said, read, "{name}");
        for p in &question.parameters {
            assert!(!p.meaning.is_empty(), "{name}: {} has no meaning", p.name);
            assert!(sql.contains(&format!("${}", p.name)), "{name}: {} is not used", p.name);
        }
    }
}

#[test]
fn every_question_has_its_answer_on_the_cohort() {
    let mut filled = 0;
    for (name, _) in shipped() {
        let output = ask(&[name, "--quiet"]);
        let rows = rows_of(&text(&output.stdout)).len();
        let code = i32::from(rows == 0);
        assert_eq!(output.status.code(), Some(code), "{name}: {}", text(&output.stderr));
        assert_eq!(text(&output.stderr).contains("the answer has no row"), rows == 0, "{name}");
        assert_eq!(text(&output.stderr).lines().count(), usize::from(rows == 0), "{name}");
        let path = folder().join("answers").join(format!("{name}.csv"));
        if updating() {
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(&path, &output.stdout).unwrap();
        }
        let kept = fs::read_to_string(&path).unwrap_or_default();
        assert!(text(&output.stdout) == kept, "{name} answers otherwise than {}", path.display());
        filled += usize::from(!rows_of(&kept).is_empty());
    }
    assert!(filled >= 20, "only {filled} questions have rows to show");
}

/// The denominator adds up: every case is in one line, by hand from the table of plans.
#[test]
fn the_denominator_counts_every_case_once() {
    let rows = rows_of(&text(&ask(&["organ-denominator", "--quiet"]).stdout));
    let sum: usize = rows.iter().map(|r| r["cases"].parse::<usize>().unwrap()).sum();
    let mut plans = measured().rows("plans");
    plans.retain(|p| p["plan_role"] != "follow_up");
    assert_eq!(sum, plans.len());
    let out = rows.iter().find(|r| r["state"] == "case left out").unwrap();
    let left_out = plans.iter().filter(|p| p["measured"] == "false").count();
    assert_eq!(out["cases"], left_out.to_string());
}

/// Median and quartiles by linear interpolation between order statistics (type 7 of Hyndman and
/// Fan 1996, Am Stat 50:361; from memory), from the rows of the table.
#[test]
fn quartiles_are_those_of_the_rows() {
    let parameters = ["--set", "structure=GTV", "--set", "metric=PaddickConformity", "--quiet"];
    let output = ask(&[&["dose-summary"], &parameters[..]].concat());
    let answer = rows_of(&text(&output.stdout));
    let plans = measured().rows("plans");
    let metrics = measured().rows("metrics");
    let mut checked = 0;
    for row in &answer {
        let mut values: Vec<f64> = metrics
            .iter()
            .filter(|m| m["structure"] == "GTV" && m["metric"] == "PaddickConformity")
            .filter(|m| m["status"] == "ok")
            .filter(|m| {
                let plan = plans.iter().find(|p| p["plan_id"] == m["plan_id"]).unwrap();
                ["technology", "fractions_planned"].iter().all(|c| plan[*c] == row[*c])
            })
            .map(|m| m["value"].parse().unwrap())
            .collect();
        values.sort_by(f64::total_cmp);
        assert_eq!(row["with_value"], values.len().to_string());
        for (share, column) in [(0.25, "q1"), (0.5, "median"), (0.75, "q3")] {
            let Ok(got) = row[column].parse::<f64>() else { continue };
            let at = share * (values.len() - 1) as f64;
            let (below, above) = (values[at.floor() as usize], values[at.ceil() as usize]);
            let want = below + (at - at.floor()) * (above - below);
            assert!((got - want).abs() < 1e-12, "{column}: {got}, {want}");
            checked += 1;
        }
    }
    assert!(checked >= 6, "only {checked} quartiles");
}

#[test]
fn without_a_question_the_list_is_printed() {
    let output = Command::cargo_bin("tidydose").unwrap().arg("ask").output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    let list = text(&output.stdout);
    for (name, _) in shipped() {
        assert!(list.lines().any(|l| l == name), "{name}");
    }
    assert!(list.contains("--set organ=Brainstem"), "{list}");
}

#[test]
fn a_file_of_ones_own_with_a_further_table_is_answered() {
    let place = tempfile::tempdir().unwrap();
    let patient = &measured().rows("plans")[0]["patient_id"];
    let outcomes = place.path().join("outcomes.csv");
    fs::write(&outcomes, format!("patient_id;grade\r\n{patient};2\r\n")).unwrap();
    let sql = place.path().join("mine.sql");
    fs::write(
        &sql,
        "-- set least: integer = 3  grade\nSELECT DISTINCT o.patient_id, o.grade FROM outcomes o\n\
         JOIN plans p ON o.patient_id = p.patient_id WHERE o.grade >= $least\nORDER BY o.grade",
    )
    .unwrap();
    let with = format!("outcomes={}", outcomes.display());
    let sql = sql.to_string_lossy();
    let common = [&*sql, "--with", &with, "--quiet"];
    let none = ask(&common);
    assert_eq!(text(&none.stdout), "patient_id,grade\r\n", "{}", text(&none.stderr));
    assert_eq!(none.status.code(), Some(1), "complete, and nobody is in it");
    let one = ask(&[&common[..], &["--set", "least=2"]].concat());
    assert_eq!(text(&one.stdout), format!("patient_id,grade\r\n{patient},2\r\n"));
    let file = place.path().join("answer.parquet");
    let to = file.to_string_lossy();
    let kept = ask(&[&common[..], &["--set", "least=2", "--output", &to]].concat());
    assert_eq!(kept.status.code(), Some(0));
    assert_eq!(&fs::read(&file).unwrap()[..4], b"PAR1");
}

/// A misspelt name has no rows, which would read as nothing to worry about.
#[test]
fn a_name_that_exists_nowhere_is_refused_with_the_nearest() {
    for (arguments, near) in [
        (["brainstem-dose", "organ=Brainstm"], "`Brainstm` is no structure; nearest: Brainstem, "),
        (["brainstem-dose", "metric=D0.03cc"], "`D0.03cc` is no metric; nearest: D0.03cc[Gy], "),
        (["organ-denominator", "organ=brainstem"], "nearest: Brainstem, "),
        (
            ["missing-values", "metrics=V12Gy[cc], V12[cc]"],
            "`V12[cc]` is no metric; nearest: V12Gy[cc]",
        ),
        (
            ["above-and-near", "organ=Brainstem,OpticChasm"],
            "`OpticChasm` is no structure; nearest: OpticChiasm",
        ),
    ] {
        let output = ask(&[arguments[0], "--set", arguments[1]]);
        let said = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(output.stdout.is_empty() && said.contains(near), "{arguments:?}: {said}");
    }
    let output = ask(&["brainstem-dos"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("nearest: brainstem-dose"), "{}", text(&output.stderr));
}

/// What is known and has no rows is an empty answer, and said, also with --quiet; beside an answer
/// with rows it is said too.
#[test]
fn a_known_name_without_rows_is_an_empty_answer_that_says_so() {
    for (set, said) in [
        ("organ=Larynx", "the study has no structure Larynx; it has "),
        ("metric=D77%[Gy]", "--metrics 'D77%[Gy]'"),
    ] {
        let output = ask(&["brainstem-dose", "--quiet", "--set", set]);
        assert_eq!(output.status.code(), Some(1), "{set}");
        assert_eq!(text(&output.stdout).lines().count(), 1, "{set}: the header alone");
        assert!(text(&output.stderr).contains(said), "{set}: {}", text(&output.stderr));
    }
    let output = ask(&["organ-denominator", "--set", "organ=Larynx"]);
    assert_eq!(output.status.code(), Some(0), "every case is counted: it has none");
    assert!(text(&output.stderr).contains("the study has no structure Larynx"));
}

/// A limit for one fraction says nothing of three.
#[test]
fn another_limit_is_held_against_its_number_of_fractions_only() {
    let rows =
        |set: &[&str]| rows_of(&text(&ask(&[&["other-limit", "--quiet"], set].concat()).stdout));
    let words = ["above", "within", "undecided"];
    let (mut judged, mut other) = (0, 0);
    for row in rows(&["--set", "metric=Max[Gy]", "--set", "organ=GTV"]) {
        let own = row["fractions_planned"] == "1";
        for column in ["by_limit", "by_other"] {
            assert_eq!(words.contains(&row[column].as_str()), own, "{row:?}");
        }
        assert!(own || row["changed"] == "no", "{row:?}");
        *(if own { &mut judged } else { &mut other }) += 1;
    }
    assert!(judged > 5 && other > 0, "{judged} judged, {other} of another number");
    let three = rows(&["--set", "metric=Max[Gy]", "--set", "organ=GTV", "--set", "fractions=3"]);
    let of_three = |r: &&crate::measured::Row| words.contains(&r["by_limit"].as_str());
    assert!(three.iter().filter(of_three).all(|r| r["fractions_planned"] == "3"), "{three:?}");
}

/// The question and the registrar's folder have one idea of who counts and what a lesion is.
#[test]
fn the_first_table_counts_as_the_folder_for_a_paper() {
    let place = tempfile::tempdir().unwrap();
    let mut command = Command::cargo_bin("tidydose").unwrap();
    let study = measured().study();
    command.args(["paper", "--quiet", "--study", &study.to_string_lossy(), "--output"]);
    assert!(command.arg(place.path()).output().unwrap().status.success());
    let paper = rows_of(&fs::read_to_string(place.path().join("table_one.csv")).unwrap());
    let answer = rows_of(&text(&ask(&["table-one", "--quiet"]).stdout));
    assert!(answer.len() >= 3, "{answer:?}");
    let number = |cell: &str| cell.parse::<f64>().unwrap();
    for row in &answer {
        // Known and missing values of a variable are all plans, or all lesions, of a group.
        let of = |grain: &str, variable: &str| {
            let wanted = |r: &&crate::measured::Row| {
                r["grain"] == grain && r["variable"] == variable && r["group"] == row["technology"]
            };
            paper.iter().find(wanted).unwrap()
        };
        let all = |r: &crate::measured::Row| number(&r["n"]) + number(&r["missing"]);
        // Doses have a line for each number of fractions.
        let (mut plans, mut missing) = (0.0, 0.0);
        for line in &paper {
            let own = line["grain"] == "plan" && line["group"] == row["technology"];
            if own && line["variable"] == "prescription_dose_gy" {
                plans += all(line);
                missing += number(&line["missing"]);
            }
        }
        assert_eq!(number(&row["plans"]), plans, "{row:?}");
        assert_eq!(number(&row["prescription_missing"]), missing, "{row:?}");
        let volumes = of("lesion", "gtv_volume_cc");
        assert_eq!(number(&row["n_lesions"]), all(volumes), "{row:?}");
        assert_eq!(row["lesions_without_gtv_volume"], volumes["missing"], "{row:?}");
    }
}

#[test]
fn a_question_that_cannot_be_answered_says_why_and_where() {
    let place = tempfile::tempdir().unwrap();
    let question = |sql: &str| {
        let path = place.path().join("q.sql");
        fs::write(&path, sql).unwrap();
        let output = ask(&[&path.to_string_lossy()]);
        assert_eq!(output.status.code(), Some(2), "{sql}");
        assert_eq!(text(&output.stdout), "");
        text(&output.stderr)
    };
    let message = question("SELECT plan_id\nFROM metric\nORDER BY 1");
    assert!(message.contains("line 2: FROM metric"), "{message}");
    assert!(message.contains("metrics: patient_id, plan_id"), "{message}");
    let message = question("SELECT plan_id FROM metrics\nWHERE valu > 1");
    assert!(message.contains("line 2: WHERE valu > 1"), "{message}");
    let message = question("DROP TABLE metrics");
    assert!(message.contains("DROP is no question"), "{message}");
    for (arguments, found) in [
        (&["nowhere.sql"][..], "nowhere.sql"),
        (&["inventory", "--set", "organ=x"], "organ: is not declared"),
        (&["inventory", "--set", "organ"], "expected NAME=VALUE"),
        (&["inventory", "--with", "t=/nowhere.csv"], ""),
        (&["inventory", "--output", "x.doc"], "one of table, csv, json, parquet"),
        (&["inventory", "--format", "parquet"], "--output"),
    ] {
        let output = ask(arguments);
        let fine = found.is_empty();
        assert_eq!(output.status.code(), Some(if fine { 0 } else { 2 }), "{arguments:?}");
        assert!(text(&output.stderr).contains(found), "{}", text(&output.stderr));
    }
    let empty = Command::cargo_bin("tidydose")
        .unwrap()
        .args(["ask", "inventory", "--study", &place.path().to_string_lossy()])
        .output()
        .unwrap();
    assert!(text(&empty.stderr).contains("is no measured study"), "{}", text(&empty.stderr));
}
