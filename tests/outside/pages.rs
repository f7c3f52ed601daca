//! The pages of the invented cohort in a browser, at the width of a desk and of a telephone: the
//! keyboard reaches and works everything, an accessibility checker has nothing to say,
//! nothing is asked of a network, nothing is said to the console.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;

use super::browser::Browser;
use super::reference::accessibility_checker;
use crate::follow_up::Study;
use crate::measured::measured;
use crate::review;

const DESK: [u32; 2] = [1280, 900];
const TELEPHONE: [u32; 2] = [390, 844];

/// The page of the committee, that of one value with limits, terms and picture, and that of the time
/// after the treatment.
fn pages(folder: &Path) -> [PathBuf; 3] {
    let study = review::reviewed_study();
    let rows = measured().rows("limit_checks");
    let decided =
        |r: &&crate::measured::Row| r["structure"] == "Brainstem" && !r["value"].is_empty();
    let row = rows.iter().find(decided).unwrap();
    let run = |arguments: &[&str]| {
        let mut command = Command::cargo_bin("tidydose").unwrap();
        command.args(arguments).args(["--study", &study.to_string_lossy(), "--quiet"]);
        command.assert().success();
    };
    let [review, value] = ["review.html", "value.html"].map(|name| folder.join(name));
    run(&["review", "--output", &review.to_string_lossy()]);
    let cell = [&row["plan_id"], "Brainstem", &row["metric"]];
    run(&["explain", cell[0], cell[1], cell[2], "--page", &value.to_string_lossy()]);
    let followed = Study::measured();
    followed.decide();
    followed.measure();
    let later = folder.join("later.html");
    let mut command = Command::cargo_bin("tidydose").unwrap();
    command.current_dir(followed.place()).args(["follow-up", "--quiet", "--output"]).arg(&later);
    command.assert().success();
    [review, value, later]
}

/// How many elements a person can work, and how many of them had the keyboard.
const REACHED: &str = r#"
(() => {
  const kinds = "a[href], button, input, select, summary, [tabindex='0']";
  const all = [...document.querySelectorAll(kinds)].filter((e) => e.checkVisibility());
  return all.length + " " + all.filter((e) => e.dataset.reached).length;
})()
"#;

/// Marks what has the keyboard, and tells whether a person sees that it has.
const MARK: &str = r#"
(() => {
  const e = document.activeElement;
  if (!e || e === document.body) return "end";
  if (e.dataset.reached) return "again";
  e.dataset.reached = "yes";
  const style = getComputedStyle(e);
  const outlined = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
  return outlined ? "seen" : "unseen " + e.outerHTML.slice(0, 80);
})()
"#;

#[test]
fn the_keyboard_reaches_everything_and_is_seen() {
    let folder = tempfile::tempdir().unwrap();
    for (page, least) in pages(folder.path()).iter().zip([60, 8, 20]) {
        let mut browser = Browser::open(folder.path(), page, DESK);
        loop {
            browser.press("Tab");
            let told = browser.evaluate(MARK);
            match told.as_str().unwrap() {
                "seen" => {}
                "end" | "again" => break,
                unseen => panic!("{}: {unseen}", page.display()),
            }
        }
        let counts = browser.evaluate(REACHED);
        let counts = counts.as_str().unwrap();
        let (all, reached) = counts.split_once(' ').unwrap();
        assert_eq!(all, reached, "{}", page.display());
        assert!(all.parse::<u32>().unwrap() >= least, "{all} elements of {}", page.display());
        assert_eq!(browser.complaints(), Vec::<String>::new());
    }
}

#[test]
fn keys_sort_open_and_jump() {
    let folder = tempfile::tempdir().unwrap();
    let [review, ..] = pages(folder.path());
    let mut browser = Browser::open(folder.path(), &review, DESK);
    browser.press("Tab");
    browser.press("Enter");
    let place = browser.evaluate("location.hash");
    assert_eq!(place, "#minutes", "the first key skips to the minutes");
    browser.evaluate("document.querySelectorAll('#case-table thead button')[5].focus()");
    let order = "document.querySelectorAll('#case-table thead th')[5].getAttribute('aria-sort')";
    browser.press("Enter");
    assert_eq!(browser.evaluate(order), "ascending");
    browser.press(" ");
    assert_eq!(browser.evaluate(order), "descending");
    browser.evaluate("document.querySelector('summary').focus()");
    browser.press("Enter");
    assert_eq!(browser.evaluate("document.querySelector('details').open"), true);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn an_accessibility_checker_has_nothing_to_say() {
    let folder = tempfile::tempdir().unwrap();
    let checker = fs::read_to_string(accessibility_checker()).unwrap();
    for page in &pages(folder.path()) {
        for size in [DESK, TELEPHONE] {
            let mut browser = Browser::open(folder.path(), page, size);
            browser.evaluate(&format!("{checker}; 0"));
            let found = browser.evaluate(
                "axe.run(document).then((r) => ({ passed: r.passes.length, found: r.violations
                   .map((v) => [v.impact, v.id, v.nodes.length, v.nodes[0].html].join(' ')) }))",
            );
            assert!(found["passed"].as_u64().unwrap() > 20, "{found}");
            assert_eq!(found["found"].as_array().unwrap().len(), 0, "{}: {found}", page.display());
        }
    }
}

#[test]
fn nothing_is_wider_than_a_telephone() {
    let folder = tempfile::tempdir().unwrap();
    for page in &pages(folder.path()) {
        let mut browser = Browser::open(folder.path(), page, TELEPHONE);
        let width = browser.evaluate("innerWidth + ' ' + document.documentElement.scrollWidth");
        assert_eq!(width, "390 390", "{}", page.display());
        assert_eq!(browser.evaluate("performance.getEntriesByType('resource').length"), 0);
        assert_eq!(browser.complaints(), Vec::<String>::new());
    }
}

/// Types into the search field, then sorts by the value and shows all again; what is to be seen, and
/// how long each took with the layout, in milliseconds.
const WORK: &str = r##"
(() => {
  const rows = () => document.querySelectorAll("#case-table tbody tr:not([hidden])").length;
  const took = [];
  const timed = (work) => {
    const begin = performance.now();
    work();
    document.body.getBoundingClientRect();
    took.push(Math.round(performance.now() - begin));
  };
  const search = document.getElementById("search");
  const type = (text) => { search.value = text; search.dispatchEvent(new Event("input")); };
  timed(() => type("x17 "));
  const found = rows();
  timed(() => document.querySelectorAll("#case-table thead button")[5].click());
  timed(() => document.getElementById("clear").click());
  return { found, all: rows(), took };
})()
"##;

/// Two thousand cases: the page opens, finds, sorts. How long that takes is printed, not judged: it
/// depends on the computer.
#[test]
fn two_thousand_cases_are_searched_and_sorted() {
    let folder = tempfile::tempdir().unwrap();
    let cases = measured().rows("plans").len();
    let times = 2000_usize.div_ceil(cases);
    let page = review::page(&review::repeated(&review::tables(), times));
    let path = folder.path().join("many.html");
    fs::write(&path, &page).unwrap();
    let mut browser = Browser::open(folder.path(), &path, DESK);
    let opened = "Math.round(performance.getEntriesByType('navigation')[0].loadEventEnd)";
    let opened = browser.evaluate(opened);
    let seen = browser.evaluate(WORK);
    // Copy 17 of the cohort: the pseudonym of each of its plans ends so.
    assert_eq!(seen["found"], cases, "{seen}");
    assert_eq!(seen["all"], cases * times, "{seen}");
    println!("{} bytes, opened in {opened} ms, searched, sorted, cleared: {seen}", page.len());
    assert_eq!(browser.complaints(), Vec::<String>::new());
}
