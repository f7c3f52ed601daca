//! The committee's page of the invented cohort: its numbers are those of the tables, texts stay
//! texts, nothing leaves the page, and a browser opens, sorts, filters and prints it.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use assert_cmd::Command;
use tidydose_report::{self as report, Request};
use tidydose_table::frame::{Cells, LoadedTable, rows_where, texts};
use tidydose_table::read_study::StudyTables;
use tidydose_table::run::CAUTION;

use crate::measured::{Row, measured};

const ORGAN: &str = "Brainstem";
const METRIC: &str = "D0.03cc[Gy]";
const REQUEST: Request<'static> =
    Request { organ: ORGAN, metric: METRIC, complete: true, stale: None };

pub(crate) type Tables = BTreeMap<String, LoadedTable>;

pub(crate) fn tables() -> Tables {
    StudyTables::of_study(&measured().study()).unwrap().read_all(report::TABLES).unwrap()
}

pub(crate) fn page(tables: &Tables) -> String {
    report::review(tables, &REQUEST).unwrap()
}

/// The page as the program writes it.
pub(crate) fn written(folder: &Path) -> String {
    let path = folder.join("page.html");
    let output = Command::cargo_bin("tidydose")
        .unwrap()
        .args(["review", "--study", &measured().study().to_string_lossy()])
        .args(["--output", &path.to_string_lossy()])
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    assert!(String::from_utf8(output.stderr).unwrap().contains(CAUTION));
    fs::read_to_string(path).unwrap()
}

/// The row of the table of cases that is about a plan.
fn row_of<'p>(page: &'p str, plan: &str) -> &'p str {
    let table = page.split("id=\"case-table\"").nth(1).unwrap().split("</table>").next().unwrap();
    let mut rows = table.split("<tr ").filter(|row| row.contains(plan));
    let row = rows.next().unwrap_or_else(|| panic!("{plan} is in no row"));
    assert!(rows.next().is_none(), "{plan} is in two rows");
    row
}

/// A column of texts changed by `change`.
fn changed(frame: &LoadedTable, column: &str, change: impl Fn(&str) -> String) -> LoadedTable {
    let cells: Vec<Option<String>> =
        texts(frame, column).into_iter().map(|c| c.map(&change)).collect();
    frame.clone().with(column, Cells::texts(cells.iter().map(Option::as_deref)))
}

#[test]
fn numbers_on_the_page_are_those_of_the_tables() {
    let folder = tempfile::tempdir().unwrap();
    let page = written(folder.path());
    assert_eq!(page, self::page(&tables()), "the same tables make the same bytes");
    let of_organ = |r: &&Row| r["structure"] == ORGAN && r["metric"] == METRIC;
    let rows = measured().rows("metrics");
    let mut values = 0;
    for row in rows.iter().filter(of_organ) {
        let shown = row_of(&page, &row["plan_id"]);
        let value = shown.split("<td").nth(5).unwrap();
        if row["value"].is_empty() {
            assert!(value.contains("unknown") && !value.contains("data-value"), "{shown}");
            continue;
        }
        values += 1;
        let number: f64 = row["value"].parse().unwrap();
        assert!(value.contains(&format!("data-value=\"{number}\"")), "{value} is not {number}");
        assert!(value.contains(&format!(">{number:.2} Gy<")), "{value} is not {number}");
    }
    assert_eq!(values, 7, "values of the organ in the cohort");
    let plans = measured().rows("plans");
    assert!(plans.iter().all(|p| row_of(&page, &p["plan_id"]).contains("<th")));
    assert!(page.contains(&format!("<strong>{}</strong> cases in the study", plans.len())));
    assert!(page.contains(&format!("<strong>{values}</strong> with a value")));
}

/// The worst verdict of the table of limit checks is that of the row, and the order is kept.
#[test]
fn cases_stand_by_verdict_and_margin() {
    let page = page(&tables());
    let order = ["above", "undecided", "not_applicable", "unknown", "within"];
    let mut worst: BTreeMap<String, usize> = BTreeMap::new();
    for row in measured().rows("limit_checks").iter().filter(|r| r["structure"] == ORGAN) {
        let place = order.iter().position(|o| *o == row["verdict"]).unwrap();
        worst.entry(row["plan_id"].clone()).and_modify(|w| *w = place.min(*w)).or_insert(place);
    }
    assert!(worst.values().any(|w| *w == 1) && worst.values().any(|w| *w == 4), "{worst:?}");
    for (plan, place) in &worst {
        let word = format!("data-verdict=\"{}\"", order[*place].replace('_', " "));
        assert!(row_of(&page, plan).starts_with(&word), "{plan} is not {word}");
    }
    let table = page.split("id=\"case-table\"").nth(1).unwrap();
    let words = table.split("data-verdict=\"").skip(1).map(|t| t.split('"').next().unwrap());
    let places: Vec<_> =
        words.map(|w| order.iter().position(|o| o.replace('_', " ") == w).unwrap()).collect();
    assert!(places.is_sorted(), "{places:?}");
}

#[test]
fn texts_stay_texts_and_nothing_leaves_the_page() {
    const EVIL: &str = "<script>alert('x')</script>\" onload=\"x";
    let mut tables = tables();
    for (table, column) in [
        ("plans", "technology"),
        ("plans", "exclusion_reason"),
        ("plans", "patient_id"),
        ("metrics", "reason"),
        ("metrics", "method"),
        ("pictures", "drawn"),
        ("relations", "structure"),
        ("limit_checks", "limit_source"),
        ("findings", "message"),
        ("choices", "evidence"),
    ] {
        let frame = changed(&tables[table], column, |_| format!("{column}{EVIL}"));
        tables.insert(table.to_owned(), frame);
        let page = page(&tables);
        assert!(!page.contains("<script>alert"), "{table}.{column}");
        assert!(!page.contains("\" onload=\""), "{table}.{column}");
        assert!(page.contains(&format!("{column}&lt;script&gt;")), "{table}.{column} is not shown");
    }
    let page = page(&tables);
    assert_eq!(page.matches("<script").count(), 1);
    for reference in ["http:", "https:", "src=", "url(", "@import", "<link", "fetch(", "//www"] {
        assert!(!page.contains(reference), "{reference}");
    }
    let links = page.split("href=\"").skip(1).map(|t| t.split('"').next().unwrap());
    for link in links {
        let id = link.strip_prefix('#').unwrap_or_else(|| panic!("{link} leaves the page"));
        assert!(page.contains(&format!("id=\"{id}\"")), "{link} leads nowhere");
    }
}

#[test]
fn the_caution_is_on_the_page_and_on_each_sheet_and_no_identifier_is() {
    let page = page(&tables());
    let sheets = page.matches("<article class=\"sheet\"").count();
    assert_eq!(sheets, measured().rows("plans").len());
    assert!(page.matches(CAUTION).count() > sheets + 7, "parts, sheets, head and print");
    for id in measured().patients().values() {
        assert!(!page.contains(id.as_str()), "{id}");
    }
}

#[test]
fn few_cases_have_no_band_and_no_percentile() {
    let few = page(&tables());
    let known = "Comparable cases (1 fraction, value known on both sides): 4. ";
    assert!(few.contains(known) && few.contains("Fewer than 5: no rank and no percentile."));
    assert!(!few.contains("% of them are lower") && !few.contains("<polygon class=\"wide\""));
    let many = page(&repeated(&tables(), 2));
    assert!(many.contains("value known on both sides): 8. "), "twice as many");
    assert!(many.contains("% of them are lower") && many.contains("<polygon class=\"wide\""));
}

#[test]
fn what_is_not_there_is_said() {
    let study = measured().study();
    let review = |arguments: &[&str], code: i32| {
        let mut command = Command::cargo_bin("tidydose").unwrap();
        let command = command.args(["review", "--study", &study.to_string_lossy()]).args(arguments);
        let output = command.output().unwrap();
        assert_eq!(output.status.code(), Some(code), "{arguments:?}");
        String::from_utf8(output.stderr).unwrap()
    };
    // A slip of the pen is a fault; what is known and not in this study makes an empty page.
    let text = review(&["--organ", "Brainstm"], 2);
    assert!(text.contains("organ Brainstm is in no case; nearest: Brainstem, "), "{text}");
    let text = review(&["--organ", "Larynx"], 1);
    assert!(text.contains("no page: organ Larynx is in no case; nearest: "), "{text}");
    let text = review(&["--metric", "D7%"], 2);
    assert!(text.contains("metric D7% was not computed for Brainstem; nearest: D"), "{text}");
    let text = review(&["--metric", "D7%[Gy]"], 1);
    assert!(text.contains("metric D7%[Gy] was not computed for Brainstem; nearest: D"), "{text}");
    let mut tables = tables();
    for name in ["limit_checks", "relations", "dvh", "pictures", "findings", "dictionary"] {
        tables.remove(name);
    }
    let page = page(&tables);
    assert!(page.contains("This study has no table of limit checks"));
    assert!(page.contains("cases stand by rank of dose instead"));
    assert!(page.contains("The study holds no dose-volume curve of this organ."));
    tables.remove("plans");
    let text = report::review(&tables, &REQUEST).unwrap_err().to_string();
    assert!(text.contains("has no table plans"), "{text}");
}

/// The cohort so many times, under other names of patients and plans.
pub(crate) fn repeated(tables: &Tables, times: usize) -> Tables {
    let mut many = Tables::new();
    for (name, frame) in tables {
        let frame = match name.as_str() {
            "metrics" | "dvh" => rows_where(frame, "structure", |s| s == ORGAN),
            _ => frame.clone(),
        };
        let mut all = frame.clone();
        for k in (1..times).filter(|_| name != "dictionary" && name != "choices") {
            let mut copy = frame.clone();
            for column in ["plan_id", "patient_id", "structure_id"] {
                if copy.cells(column).is_some() {
                    copy = changed(&copy, column, |t| format!("{t}x{k}"));
                }
            }
            all.append(&copy);
        }
        many.insert(name.clone(), all);
    }
    many
}

/// Two thousand cases: a page that can be sent by mail, with the worst sheets only. The limit of
/// size is 2 kB for a case in the tables and figures, and what forty sheets take.
#[test]
fn two_thousand_cases_stay_readable() {
    let one = page(&tables());
    let cases = measured().rows("plans").len();
    let times = 2000_usize.div_ceil(cases);
    let page = page(&repeated(&tables(), times));
    assert_eq!(page.matches("<article class=\"sheet\"").count(), 40);
    let left = times * cases - 40;
    assert!(page.contains(&format!("Sheets of the worst 40 cases; {left} were left out here")));
    assert_eq!(page.matches("data-verdict=").count(), times * cases);
    let sheets = one.len() / cases * 40;
    assert!(page.len() < times * cases * 2000 + 2 * sheets, "{} bytes", page.len());
}

/// Without its script everything is there and visible.
#[test]
fn without_script_nothing_is_hidden_but_the_controls() {
    let page = page(&tables());
    let (before, after) = page.split_once("<script>").unwrap();
    let bare = format!("{before}{}", after.split_once("</script>").unwrap().1);
    assert_eq!(bare.matches(" hidden>").count(), 1, "the controls alone");
    assert!(bare.contains("class=\"controls\" id=\"controls\" hidden"));
    assert!(!bare.contains("onclick"));
}
