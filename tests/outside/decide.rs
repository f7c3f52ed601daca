//! The page of questions in a browser, as a person works through it: by keys alone, over a reload, to
//! the file that is saved and taken over by the next run. The workbook of the same questions through
//! another library that reads and writes workbooks, and through an office program.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command as Process;
use std::time::{Duration, Instant};

use assert_cmd::Command;
use serde_json::Value;

use super::browser::Browser;
use super::reference::{accessibility_checker, reference};
use crate::measured::{Row, cohort, rows_of};

const DESK: [u32; 2] = [1280, 900];
const TELEPHONE: [u32; 2] = [390, 844];

/// A study of the cohort that was only surveyed.
fn survey(place: &Path) -> (String, PathBuf) {
    let mut command = Command::cargo_bin("tidydose").unwrap();
    let archive = cohort();
    let words = ["survey", &archive.to_string_lossy()];
    let output = command.current_dir(place).args(words).output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    (String::from_utf8(output.stderr).unwrap(), place.join("study"))
}

fn names(study: &Path) -> Vec<Row> {
    rows_of(&fs::read_to_string(study.join("names.csv")).unwrap())
}

fn decided(study: &Path, name: &str) -> [String; 2] {
    let rows = names(study);
    let row = rows.iter().find(|r| r["name_original"] == name).unwrap();
    ["name_standard", "role"].map(|column| row[column].clone())
}

/// The title of the question that is open.
const TITLE: &str = "document.querySelector('.question.open h3').firstChild.textContent.trim()";

/// Goes to a question by its link and gives the keyboard to its answer.
fn go_to(browser: &mut Browser, title: &str) {
    let script = format!(
        "[...document.querySelectorAll('#list a')].find((a) => a.textContent === '{title}').click()"
    );
    browser.evaluate(&script);
    assert_eq!(browser.evaluate(TITLE), title);
    assert_eq!(browser.evaluate("document.activeElement.id"), "word");
}

fn type_text(browser: &mut Browser, text: &str) {
    for letter in text.chars() {
        browser.press(&letter.to_string());
    }
}

fn count(browser: &mut Browser) -> String {
    browser.evaluate("document.getElementById('count').textContent").as_str().unwrap().to_owned()
}

/// What is saved, once the browser has written it.
fn saved(browser: &mut Browser, folder: &Path) -> PathBuf {
    browser.downloads_to(folder);
    browser.evaluate("document.getElementById('save').focus()");
    browser.press("Enter");
    let path = folder.join("answers.csv");
    let begin = Instant::now();
    while !path.is_file() {
        assert!(begin.elapsed() < Duration::from_secs(20), "nothing was saved");
        std::thread::sleep(Duration::from_millis(50));
    }
    path
}

#[test]
fn answers_by_keys_outlive_a_reload_and_are_taken_over() {
    let place = tempfile::tempdir().unwrap();
    let (_, study) = survey(place.path());
    let page = study.join("decide.html");
    let mut browser = Browser::open(place.path(), &page, DESK);
    let all = count(&mut browser);
    assert!(all.starts_with("0 of "), "{all}");
    // The first key leads past the head to the questions.
    browser.press("Tab");
    browser.press("Enter");
    assert_eq!(browser.evaluate("location.hash"), "#ask");
    // A proposal that is right: one key.
    go_to(&mut browser, "Meta 1");
    browser.press("Enter");
    assert_eq!(count(&mut browser), all.replacen('0', "1", 1));
    assert_ne!(browser.evaluate(TITLE), "Meta 1", "the next one follows");
    // By search: three letters and one key.
    go_to(&mut browser, "Meningioma");
    type_text(&mut browser, "ctv");
    browser.press("Enter");
    // Not sure: it stays open.
    go_to(&mut browser, "AKN links");
    browser.press("PageDown");
    assert_ne!(browser.evaluate(TITLE), "AKN links");
    browser.press("PageUp");
    assert_eq!(browser.evaluate(TITLE), "AKN links");
    // One of two findings alone, chosen from the words by arrows: its question stays open.
    go_to(&mut browser, "link-by-frame (2 findings)");
    browser.evaluate(
        "(() => { const s = document.getElementById('scope'); s.selectedIndex = s.length - 1;
           s.dispatchEvent(new Event('change')); document.getElementById('word').focus(); })()",
    );
    browser.press("ArrowDown");
    browser.press("ArrowUp");
    browser.press("Enter");
    assert_eq!(browser.evaluate(TITLE), "link-by-frame (2 findings)");
    let before = count(&mut browser);
    browser.reload();
    assert_eq!(count(&mut browser), before, "a reload loses nothing");
    let folder = tempfile::tempdir().unwrap();
    let file = saved(&mut browser, folder.path());
    assert_eq!(browser.complaints(), Vec::<String>::new());
    fs::copy(&file, study.join("answers (1).csv")).unwrap();
    let (said, _) = survey(place.path());
    assert!(said.contains("answers taken over: 3 (decisions.csv 1, names.csv 2)"), "{said}");
    let states = rows_of(&fs::read_to_string(study.join("decisions.csv")).unwrap());
    let waived = states.iter().filter(|r| r["state"] == "waived").count();
    assert_eq!(waived, 1, "{states:?}");
    assert_eq!(decided(&study, "Meta 1"), ["", "gtv"]);
    assert_eq!(decided(&study, "Meningioma"), ["", "ctv"]);
    browser.reload();
    let open = browser
        .evaluate("[...document.querySelectorAll('#list a')].map((a) => a.textContent).join('|')");
    let open = open.as_str().unwrap();
    assert!(!open.contains("Meta 1") && !open.contains("Meningioma"), "{open}");
}

/// Every name of the cohort that has a likely proposal takes one key; how many keys all questions
/// about names take when nothing but the first proposal or three letters are typed is printed.
#[test]
fn a_likely_proposal_takes_one_key() {
    let place = tempfile::tempdir().unwrap();
    let (_, study) = survey(place.path());
    let mut browser = Browser::open(place.path(), &study.join("decide.html"), DESK);
    let data = browser.evaluate("JSON.parse(document.getElementById('data').textContent)");
    let likely = |q: &&Value| q["place"] == "names" && q["suggestions"][0]["likely"] == true;
    let questions: Vec<Value> =
        data["questions"].as_array().unwrap().iter().filter(likely).cloned().collect();
    assert!(!questions.is_empty());
    for question in &questions {
        go_to(&mut browser, question["title"].as_str().unwrap());
        let before = browser.evaluate("Object.keys(JSON.parse(localStorage.getItem('tidydose decide ' + location.pathname) || '{\"answers\":{}}').answers).length");
        browser.press("Enter");
        let after = browser.evaluate("Object.keys(JSON.parse(localStorage.getItem('tidydose decide ' + location.pathname)).answers).length");
        assert_eq!(after.as_u64().unwrap(), before.as_u64().unwrap() + 1, "{question}");
    }
    println!("{} names by one key each", questions.len());
}

#[test]
fn the_page_of_questions_passes_the_checker_and_fits_a_telephone() {
    let place = tempfile::tempdir().unwrap();
    let (_, study) = survey(place.path());
    let checker = fs::read_to_string(accessibility_checker()).unwrap();
    for size in [DESK, TELEPHONE] {
        let mut browser = Browser::open(place.path(), &study.join("decide.html"), size);
        assert_eq!(browser.evaluate("performance.getEntriesByType('resource').length"), 0);
        let fits = browser.evaluate("document.documentElement.scrollWidth <= innerWidth");
        assert_eq!(fits, true, "{size:?}");
        let questions = browser.evaluate("document.querySelectorAll('#list a').length");
        browser.evaluate(&format!("{checker}; 0"));
        for n in 0..questions.as_u64().unwrap() {
            browser.evaluate(&format!("document.querySelectorAll('#list a')[{n}].click()"));
            let found = browser.evaluate(
                "axe.run(document).then((r) => ({ passed: r.passes.length, found: r.violations
                   .map((v) => [v.impact, v.id, v.nodes.length, v.nodes[0].html].join(' ')) }))",
            );
            assert!(found["passed"].as_u64().unwrap() > 20, "{found}");
            assert_eq!(found["found"].as_array().unwrap().len(), 0, "question {n}: {found}");
        }
        assert_eq!(browser.complaints(), Vec::<String>::new());
    }
}

/// Opens the workbook, says what may be chosen for a name, writes an answer and saves.
const FILL: &str = r#"
import sys, warnings
warnings.simplefilter("error")
import openpyxl
path, name, answer = sys.argv[1:]
book = openpyxl.load_workbook(path)
sheet = book["questions"]
head = [c.value for c in sheet[1]]
column = {n: i + 1 for i, n in enumerate(head)}
lists = [(v.type, v.formula1) for v in sheet.data_validations.dataValidation]
assert any(kind == "list" and "words!" in text for kind, text in lists), lists
words = [c.value for c in book["words"]["A"]]
assert answer in words, answer
found = 0
for row in range(2, sheet.max_row + 1):
    if sheet.cell(row, column["subject"]).value == name:
        sheet.cell(row, column["answer"]).value = answer
        found += 1
assert found == 1, found
book.save(path)
"#;

#[test]
fn a_workbook_that_another_library_saved_is_read_back() {
    let place = tempfile::tempdir().unwrap();
    let (_, study) = survey(place.path());
    let book = study.join("decide.xlsx");
    let run = Process::new(reference().python())
        .args(["-c", FILL, &book.to_string_lossy(), "Meningioma", "role:gtv"])
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let (said, _) = survey(place.path());
    assert!(said.contains("answers taken over: 1 (names.csv 1)"), "{said}");
    assert_eq!(decided(&study, "Meningioma"), ["", "gtv"]);
    assert!(book.is_file(), "it is made anew");
}

/// Prints the sheets of a workbook as JSON, with the lists that answers may be chosen from.
const CELLS: &str = r#"
import json, sys
import openpyxl
book = openpyxl.load_workbook(sys.argv[1])
lists = [d for d in book["questions"].data_validations.dataValidation]
lists = sorted([str(d.sqref), d.type, d.formula1] for d in lists)
sheets = {sheet.title: [[c.value for c in row] for row in sheet.iter_rows()] for sheet in book}
print(json.dumps({"sheets": sheets, "lists": lists}))
"#;

fn python(script: &str, arguments: &[&str]) -> String {
    let run =
        Process::new(reference().python()).args(["-c", script]).args(arguments).output().unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    String::from_utf8(run.stdout).unwrap()
}

fn cells(book: &Path) -> Value {
    serde_json::from_str(&python(CELLS, &[&book.to_string_lossy()])).unwrap()
}

/// A file as the office program saves it in another format.
fn converted(office: &Path, file: &Path, format: &str, folder: &Path) -> PathBuf {
    let profile = format!("-env:UserInstallation=file://{}", office.display());
    let run = Process::new("soffice")
        .args([profile.as_str(), "--headless", "--convert-to", format, "--outdir"])
        .args([folder, file])
        .output()
        .expect("soffice, which .ci/run installs");
    let made = folder.join(file.with_extension(format).file_name().unwrap());
    assert!(made.is_file(), "{run:?}");
    made
}

/// From the study into the office program's own format and back, answered there, and the same way
/// once more: no cell and no list is lost, and every answer arrives.
#[test]
fn a_workbook_goes_through_an_office_program_and_back_without_loss() {
    let place = tempfile::tempdir().unwrap();
    let (_, study) = survey(place.path());
    let book = study.join("decide.xlsx");
    let office = place.path().join("office");
    let [there, back, again, home] = ["1", "2", "3", "4"].map(|n| place.path().join(n));
    let own = converted(&office, &book, "ods", &there);
    let first = converted(&office, &own, "xlsx", &back);
    let (made, read) = (cells(&book), cells(&first));
    assert_eq!(made["sheets"], read["sheets"]);
    let lists = made["lists"].as_array().unwrap();
    assert!(lists.len() > 5 && lists.len() == read["lists"].as_array().unwrap().len(), "{read}");
    let answers = [("Meningioma", "role:gtv"), ("AKN links", "role:unknown")];
    for (name, answer) in answers {
        python(FILL, &[&first.to_string_lossy(), name, answer]);
    }
    let own = converted(&office, &first, "ods", &again);
    let last = converted(&office, &own, "xlsx", &home);
    assert_eq!(cells(&first)["sheets"], cells(&last)["sheets"]);
    fs::copy(&last, &book).unwrap();
    let (said, _) = survey(place.path());
    assert!(said.contains("answers taken over: 2 (names.csv 2)"), "{said}");
    assert_eq!(decided(&study, "Meningioma"), ["", "gtv"]);
    assert_eq!(decided(&study, "AKN links"), ["", "unknown"]);
}
