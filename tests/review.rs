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
pub(crate) const REQUEST: Request<'static> = Request::new(ORGAN, METRIC);

pub(crate) type Tables = BTreeMap<String, LoadedTable>;

pub(crate) fn tables() -> Tables {
    StudyTables::of_study(&measured().study()).unwrap().read_all(report::TABLES).unwrap()
}

pub(crate) fn page(tables: &Tables) -> String {
    report::review(tables, &REQUEST).unwrap().html
}

/// The shared study with its `reviews.csv` there: two runs that both want to add it would meet.
pub(crate) fn reviewed_study() -> std::path::PathBuf {
    static REVIEWED: std::sync::OnceLock<()> = std::sync::OnceLock::new();
    let study = measured().study();
    REVIEWED.get_or_init(|| {
        let place = tempfile::tempdir().unwrap();
        let mut command = Command::cargo_bin("tidydose").unwrap();
        let command = command.args(["review", "--quiet", "--study", &study.to_string_lossy()]);
        command.arg("--output").arg(place.path().join("page.html")).assert().success();
    });
    study
}

/// The page as the program writes it.
pub(crate) fn written(folder: &Path) -> String {
    let path = folder.join("page.html");
    let output = Command::cargo_bin("tidydose")
        .unwrap()
        .args(["review", "--study", &reviewed_study().to_string_lossy()])
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
    let run = fs::read_to_string(measured().study().join("run.json")).unwrap();
    let run: serde_json::Value = serde_json::from_str(&run).unwrap();
    let inputs = run["inputs_sha256"].as_str().unwrap();
    let meeting = report::Meeting { study: "study", inputs, ..report::Meeting::default() };
    let again = report::review(&tables(), &Request { meeting, ..REQUEST }).unwrap().html;
    assert!(page == again, "the same tables make the same bytes");
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

/// A value as share of its limit, and whether it may be any higher.
#[derive(Clone, Copy, PartialEq)]
struct Share {
    value: f64,
    one_sided: bool,
}

/// The share of the limit that decides, by plan: of the most binding tier with a value the largest.
/// Computed here from the table of limit checks; absent where nothing is known.
fn shares() -> BTreeMap<String, Option<Share>> {
    const TIERS: [&str; 4] = ["local", "mandatory", "published", "optimal"];
    let mut best: BTreeMap<String, Option<(usize, Share)>> = BTreeMap::new();
    for row in measured().rows("limit_checks").iter().filter(|r| r["structure"] == ORGAN) {
        let entry = best.entry(row["plan_id"].clone()).or_default();
        let number = |column: &str| row[column].parse::<f64>().ok();
        let (Some(value), Some(limit)) = (number("value"), number("limit_value")) else { continue };
        let Some(tier) = TIERS.iter().position(|t| *t == row["tier"]) else { continue };
        let share = Share { value: value / limit, one_sided: row["high"].is_empty() };
        if entry.is_none_or(|(t, s)| tier < t || tier == t && share.value > s.value) {
            *entry = Some((tier, share));
        }
    }
    best.into_iter().map(|(plan, found)| (plan, found.map(|(_, share)| share))).collect()
}

/// The plan of a row of the table of cases and the number of a column.
fn cell(row: &str, column: usize) -> Option<f64> {
    let cell = row.split("<td").nth(column).unwrap();
    let number = cell.split_once("data-value=\"").map(|(_, rest)| rest.split('"').next().unwrap());
    number.map(|n| n.parse().unwrap())
}

#[test]
fn cases_stand_by_the_share_of_their_limit() {
    let page = page(&tables());
    let table = page.split("id=\"case-table\"").nth(1).unwrap().split("</table>").next().unwrap();
    let shares = shares();
    let known = || shares.values().flatten();
    assert!(known().any(|s| s.value > 1.0) && shares.values().any(Option::is_none));
    assert!(known().any(|s| s.one_sided) && known().any(|s| s.value < 1.0 && !s.one_sided));
    let mut shown = Vec::new();
    for row in table.split("<tr ").skip(1) {
        let plan = shares.keys().find(|plan| row.contains(plan.as_str()));
        let left_out = row.contains("left out: ");
        let wanted = plan.and_then(|plan| shares[plan]).filter(|_| !left_out);
        // Column 0 is the place, the case is a head, so that the share is the second cell.
        assert_eq!(cell(row, 2), wanted.map(|s| s.value), "{row}");
        shown.push((left_out, wanted));
    }
    let counted: Vec<Option<Share>> =
        shown.iter().take_while(|(left_out, _)| !left_out).map(|(_, share)| *share).collect();
    assert!(shown.iter().skip(counted.len()).all(|(left_out, _)| *left_out), "left out stand last");
    // Unknown, also how high a value may be, is no pass: behind those at the limit and before those
    // below it.
    let unknown = 1.0 - f64::EPSILON;
    let place = |share: &Option<Share>| match share {
        Some(s) if s.one_sided => s.value.max(unknown),
        Some(s) => s.value,
        None => unknown,
    };
    let order: Vec<f64> = counted.iter().map(place).collect();
    assert!(order.is_sorted_by(|a, b| a >= b), "{order:?}");
    let minutes = page.split("id=\"minutes\"").nth(1).unwrap().split("</section>").next().unwrap();
    let above = counted.iter().flatten().filter(|s| s.value >= 1.0).count();
    let listed = minutes.split("class=\"minutes\"").nth(1).unwrap();
    assert!(listed.matches("<th scope=\"row\"").count() >= above, "{above} above");
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
    assert!(page.matches(CAUTION).count() > sheets + 9, "parts, sheets, head and print");
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
    let study = reviewed_study();
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
    let text = review(&["--group", "technolgy"], 2);
    assert!(
        text.contains(
            "group technolgy is no column of groups.csv or of table plans; nearest: technology"
        ),
        "{text}"
    );
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

/// Thirty plans with the same question fill no page where one answer serves for all of them.
#[test]
fn questions_that_one_answer_holds_for_are_folded_away() {
    let mut tables = tables();
    let one = tables.get("choices").unwrap().clone();
    assert_eq!(texts(&one, "decision"), [None], "the sample has one open question");
    let open = page(&tables);
    assert!(
        open.contains("dose_id</strong>") && !open.contains("that an answer under * holds for")
    );
    let mut all = changed(&one, "plan_id", |_| "*".to_owned());
    for plan in ["a", "b"] {
        all.append(&changed(&one, "plan_id", |_| plan.to_owned()));
    }
    all.append(&changed(&one, "question", |_| "treated".to_owned()));
    tables.insert("choices".to_owned(), all);
    let page = page(&tables);
    let (seen, folded) = page.split_once("2 questions that an answer under * holds for").unwrap();
    assert!(seen.contains("* dose_id</strong>") && seen.contains(" treated</strong>"));
    assert!(folded.contains("a dose_id</strong>") && folded.contains("b dose_id</strong>"));
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

/// Where nobody has decided the name, what may be the organ stands where its dose would put it.
#[test]
fn an_undecided_name_stands_where_its_dose_would_put_it() {
    let mut tables = tables();
    // The structures that are the organ are no longer called so.
    let names = texts(&tables["structures"], "name_standard");
    let renamed: Vec<bool> = names.iter().map(|n| *n == Some(ORGAN)).collect();
    assert!(renamed.iter().any(|r| *r));
    let cells = |kept: &[Option<&str>], put: Option<&'static str>| {
        let pairs = kept.iter().zip(&renamed);
        let cells: Vec<Option<String>> = pairs
            .map(
                |(cell, renamed)| {
                    if *renamed { put.map(str::to_owned) } else { cell.map(str::to_owned) }
                },
            )
            .collect();
        Cells::texts(cells.iter().map(Option::as_deref))
    };
    let structures = tables["structures"].clone();
    let structures = structures
        .clone()
        .with("name_standard", cells(&names, None))
        .with("may_be", cells(&texts(&structures, "may_be"), Some(ORGAN)))
        .with("structure", cells(&texts(&structures, "structure"), Some("Stem of old")));
    tables.insert("structures".to_owned(), structures);
    let metrics = changed(&tables["metrics"], "structure", |s| {
        if s == ORGAN { "Stem of old".to_owned() } else { s.to_owned() }
    });
    tables.insert("metrics".to_owned(), metrics);
    let page = page(&tables);
    let above = shares().values().flatten().filter(|s| s.value > 1.0).count();
    let table = page.split("id=\"case-table\"").nth(1).unwrap().split("</table>").next().unwrap();
    let rows: Vec<&str> = table.split("<tr ").skip(1).collect();
    assert!(
        above > 0 && rows.iter().take(above).all(|r| r.contains("data-verdict=\"name undecided\""))
    );
    assert!(rows[0].contains("if “Stem of old” is the Brainstem: name undecided"), "{}", rows[0]);
    let undecided =
        page.split("id=\"undecided\"").nth(1).unwrap().split("</section>").next().unwrap();
    assert!(undecided.contains("<td>Stem of old</td>") && undecided.contains("Gy, above D0.1cc"));
    assert!(!page.contains("not contoured, or"), "the reason is the name");
}

/// What was said at one meeting stands on the page of the next, and a row is added for each case to
/// talk about.
#[test]
fn what_was_said_is_carried_to_the_next_meeting() {
    let place = tempfile::tempdir().unwrap();
    let study = place.path().join("study");
    crate::documents::copy(&measured().study(), &study);
    // Other tests make pages of the shared study.
    let _ = fs::remove_file(study.join("reviews.csv"));
    let review = |arguments: &[&str]| {
        let mut command = Command::cargo_bin("tidydose").unwrap();
        let output =
            command.args(["review", "--study", &study.to_string_lossy()]).args(arguments).output();
        let output = output.unwrap();
        assert!(output.status.success(), "{output:?}");
        let page = fs::read_to_string(study.join("review.html")).unwrap();
        (page, String::from_utf8(output.stderr).unwrap())
    };
    let (first, said) = review(&[]);
    assert!(said.contains("reviews.csv: "), "{said}");
    assert!(!first.contains("Actions from earlier meetings"));
    let path = study.join("reviews.csv");
    let sheet = fs::read_to_string(&path).unwrap();
    let mut lines: Vec<String> = sheet.lines().map(str::to_owned).collect();
    assert!(lines.len() > 1, "{sheet}");
    let cells = lines[1].trim_end_matches(',').to_owned();
    lines[1] = format!("{cells},2031-01-15,KW and TM,yes,accepted,look again,2031-02-01,");
    lines.push("Onowhere,Brainstem,,,,,,,,".to_owned());
    fs::write(&path, lines.join("\r\n") + "\r\n").unwrap();
    let head = ["--committee", "Dose <review>", "--period", "winter", "--date", "2031-03-02"];
    let (next, said) = review(&head);
    assert!(said.contains("of reviews.csv, column plan_id: `Onowhere` is no plan"), "{said}");
    assert!(!said.contains("to talk about added"), "no row twice: {said}");
    let wanted = "2031-01-15, KW and TM, discussed: accepted; action: look again, due 2031-02-01";
    assert_eq!(next.matches(wanted).count(), 2, "in the minutes and on the sheet");
    assert!(next.contains("overdue") && next.contains("Dose &lt;review&gt;"));
}

/// A page for each organ, and on each the cases by all organs with links to the sheets.
#[test]
fn several_organs_have_pages_that_lead_to_each_other() {
    let place = tempfile::tempdir().unwrap();
    let study = place.path().join("study");
    crate::documents::copy(&measured().study(), &study);
    let review = |arguments: &[&str]| {
        let mut command = Command::cargo_bin("tidydose").unwrap();
        let output =
            command.args(["review", "--study", &study.to_string_lossy()]).args(arguments).output();
        output.unwrap()
    };
    let output = review(&["--organ", ORGAN, "--organ", "Cochlea_L", "--organ", "Larynx"]);
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(
        output.status.success() && said.contains("no page: organ Larynx is in no case"),
        "{said}"
    );
    let read = |name: &str| fs::read_to_string(study.join(name)).unwrap();
    let [own, other] = ["review.html", "review_Cochlea_L.html"].map(read);
    let matrix = |page: &str| {
        page.split("id=\"organs\"").nth(1).unwrap().split("</section>").next().unwrap().to_owned()
    };
    assert!(matrix(&own).contains("<a href=\"#case-1\">"));
    assert!(matrix(&own).contains("<a href=\"review_Cochlea_L.html#case-1\">"));
    assert!(matrix(&other).contains("<a href=\"review.html#case-1\">"));
    // Each number is that of the page of its organ.
    let plans = measured().rows("plans").len();
    assert_eq!(matrix(&own).matches("<th scope=\"row\">").count(), plans);
    for (plan, share) in shares().into_iter().filter_map(|(plan, s)| Some((plan, s?.value))) {
        let row = matrix(&other).split("<tr>").find(|r| r.contains(&plan)).unwrap().to_owned();
        let left_out = row.contains("left out");
        let digits = if share >= 0.1 { 2 } else { 3 };
        assert!(left_out || row.contains(&format!(">{share:.digits$}<")), "{plan} {share}: {row}");
    }
    let output =
        review(&["--all-organs", "--output", &place.path().join("all.html").to_string_lossy()]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(place.path().join("all_Cochlea_L.html").exists());
    assert!(!page(&tables()).contains("All organs"), "one organ alone has no such table");
}

/// Against an earlier study: new cases, cases newly at their limit, and why.
#[test]
fn what_is_new_since_an_earlier_study_is_marked() {
    use tidydose_report::difference::Side;
    let now = tables();
    let mut then = now.clone();
    let share = |s: &Option<Share>| s.map_or(0.0, |s| s.value);
    let worst = shares().into_iter().max_by(|a, b| share(&a.1).total_cmp(&share(&b.1)));
    let worst = worst.unwrap().0;
    // The worst case was far below its limits, and another plan was not there.
    let plans = texts(&now["limit_checks"], "plan_id");
    let lower = |column: &str| {
        let Some(Cells::Real(values)) = now["limit_checks"].cells(column).cloned() else {
            panic!()
        };
        let lowered = values.iter().zip(&plans).map(|(value, plan)| {
            value.map(|v| if *plan == Some(worst.as_str()) { v / 100.0 } else { v })
        });
        Cells::Real(lowered.collect())
    };
    let checks = now["limit_checks"].clone();
    let checks = checks.with("value", lower("value")).with("low", lower("low"));
    then.insert("limit_checks".to_owned(), checks.with("high", lower("high")));
    let gone = measured().rows("plans").iter().map(|p| p["plan_id"].clone()).find(|p| *p != worst);
    let gone = gone.unwrap();
    for name in ["plans", "structures", "metrics", "limit_checks"] {
        let kept = rows_where(&then[name], "plan_id", |p| p != gone);
        then.insert(name.to_owned(), kept);
    }
    let side = |tables, settings| Side { tables, version: "1", settings };
    let before = report::Before { name: "winter", sides: [side(&then, "a"), side(&now, "b")] };
    let request = Request { before: Some(&before), ..REQUEST };
    let page = report::review(&now, &request).unwrap().html;
    assert!(page.contains("Since winter"), "no summary");
    assert!(
        page.contains(": 1 new case, 1 case newly at the limit or above, "),
        "{}",
        page.split("Since winter").nth(1).unwrap().get(..300).unwrap()
    );
    assert!(page.contains(" of the limit (setting)"));
    let nothing = Tables::new();
    let none = report::Before { name: "other", sides: [side(&nothing, "a"), side(&now, "b")] };
    let fault = report::review(&now, &Request { before: Some(&none), ..REQUEST }).unwrap_err();
    assert!(fault.to_string().contains("has no table plans"), "{fault}");
}

/// Without its script everything is there and visible.
#[test]
fn without_script_nothing_is_hidden_but_the_controls() {
    let page = page(&tables());
    let (before, after) = page.split_once("<script>").unwrap();
    let bare = format!("{before}{}", after.split_once("</script>").unwrap().1);
    assert_eq!(bare.matches(" hidden>").count(), 2, "the controls and the button for more rows");
    assert!(bare.contains("class=\"controls\" id=\"controls\" hidden"));
    assert!(!bare.contains("onclick"));
}
