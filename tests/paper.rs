//! `paper` as a person runs it, and its starter scripts in Python and R, which make Table 1 again from
//! the tables of the study and compare every number.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use tempfile::TempDir;

use crate::measured::{measured, rows_of};

/// The folder for one grouping, beside the measured study.
pub(crate) fn made(group: &str) -> TempDir {
    let place = tempfile::tempdir().unwrap();
    let study = measured().study();
    let output = Command::cargo_bin("tidydose")
        .unwrap()
        .args(["paper", "--group", group, "--study", &study.to_string_lossy(), "--output"])
        .arg(place.path())
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(output.stdout.is_empty());
    place
}

pub(crate) fn text(place: &TempDir, name: &str) -> String {
    fs::read_to_string(place.path().join(name)).unwrap()
}

#[test]
fn numbers_of_the_flow_are_those_of_the_tables() {
    let place = made("technology");
    let flow = rows_of(&text(&place, "flow.csv"));
    let mut plans = measured().rows("plans");
    plans.retain(|p| p["plan_role"] != "follow_up");
    assert_eq!(flow[0]["plans"], plans.len().to_string());
    let left: usize = flow.iter().map(|r| r["left"].parse::<usize>().unwrap()).sum();
    let last: usize = flow.last().unwrap()["plans"].parse().unwrap();
    assert_eq!(last + left, plans.len());
    let doses = rows_of(&text(&place, "doses.csv"));
    let stem = doses.iter().filter(|r| r["structure"] == "Brainstem" && r["metric"] == "Mean[Gy]");
    let counted: usize = stem
        .map(|r| r["n"].parse::<usize>().unwrap() + r["without_value"].parse::<usize>().unwrap())
        .sum();
    let rows = measured().rows("metrics");
    let there = rows.iter().filter(|r| r["structure"] == "Brainstem" && r["metric"] == "Mean[Gy]");
    let measured_plans: Vec<&String> =
        plans.iter().filter(|p| p["measured"] == "true").map(|p| &p["plan_id"]).collect();
    assert_eq!(counted, there.filter(|r| measured_plans.contains(&&r["plan_id"])).count());
}

#[test]
fn every_text_has_the_caution_and_a_wrong_grouping_is_named() {
    let place = made("technology");
    for name in
        ["table_one.md", "methods.txt", "reporting.md", "flow.svg", "table_one.py", "table_one.R"]
    {
        let words = text(&place, name).split(['<', '>']).collect::<Vec<_>>().join(" ");
        assert!(words.contains("Research and quality review only"), "{name}");
    }
    // A paper names the program, whatever its crates are called.
    let named = concat!("tidydose version ", env!("CARGO_PKG_VERSION"));
    assert!(text(&place, "methods.txt").contains(named));
    let output = Command::cargo_bin("tidydose")
        .unwrap()
        .args([
            "paper",
            "--group",
            "colour",
            "--study",
            &measured().study().to_string_lossy(),
            "--output",
        ])
        .arg(Path::new(place.path()).join("other"))
        .output()
        .unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert!(
        output.status.code() == Some(2)
            && err.contains("grouping colour is no column of plans; nearest: co"),
        "{err}"
    );
    assert!(!place.path().join("other").exists());
}

fn checked(place: &TempDir, sheet: &str) -> std::process::Output {
    let study = measured().study();
    Command::cargo_bin("tidydose")
        .unwrap()
        .args(["paper", "--study", &study.to_string_lossy(), "--output"])
        .arg(place.path())
        .arg("--checked")
        .arg(place.path().join(sheet))
        .output()
        .unwrap()
}

/// The worksheet as a person fills it in whose reports state volumes 2 % larger, and largest doses a
/// hundredth of a gray more and less in turn; and how many random volumes it has. The first volume has
/// its decimal point one place to the right.
fn filled_in(place: &TempDir) -> (Vec<String>, usize) {
    let values: std::collections::BTreeMap<[String; 3], f64> = measured()
        .rows("metrics")
        .iter()
        .filter(|r| r["status"] == "ok")
        .map(|r| {
            let key = ["plan_id", "structure_id", "metric"].map(|k| r[k].clone());
            (key, r["value"].parse().unwrap())
        })
        .collect();
    let sheet = text(place, "check_worksheet.csv");
    let rows = rows_of(&sheet);
    let mut filled = vec![sheet.lines().next().unwrap().to_owned()];
    let (mut volumes, mut up) = (0, true);
    for (line, row) in sheet.lines().skip(1).zip(&rows) {
        let key = ["plan_id", "structure_id", "metric"].map(|k| row[k].clone());
        let value = values[&key];
        let report = match row["metric"].as_str() {
            "Volume[cc]" if volumes == 0 => 10.2 * value,
            "Volume[cc]" => 1.02 * value,
            // No report states a dose below 0: the least ones stay empty.
            "D0.03cc[Gy]" if value > 0.02 => value + if up { 0.01 } else { -0.01 },
            // Left empty.
            _ => continue,
        };
        volumes += usize::from(row["metric"] == "Volume[cc]" && row["why"] == "random");
        up = up != (row["metric"] == "D0.03cc[Gy]");
        let cells: Vec<&str> = line.rsplitn(5, ',').collect();
        filled.push(format!("{},{report},,somebody,", cells[4]));
    }
    (filled, volumes)
}

#[test]
fn a_filled_worksheet_gives_the_agreement_that_was_put_in() {
    let place = made("technology");
    let (filled, volumes) = filled_in(&place);
    fs::write(place.path().join("check_worksheet.csv"), filled.join("\n") + "\n").unwrap();
    let output = checked(&place, "check_worksheet.csv");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(said.contains("it stays as it is"), "{said}");
    assert!(said.contains("1 row of the blind check held back"), "{said}");
    assert!(text(&place, "check_worksheet.csv").contains("somebody"));

    let found = rows_of(&text(&place, "agreement.csv"));
    let of = |metric: &str, unit: &str| {
        let own = |r: &&std::collections::BTreeMap<String, String>| {
            r["metric"] == metric && r["unit"] == unit && r["selection"] == "random rows"
        };
        found.iter().find(own).unwrap().clone()
    };
    let number = |row: &std::collections::BTreeMap<String, String>, name: &str| -> f64 {
        row[name].parse().unwrap()
    };
    let volume = of("Volume[cc]", "%");
    // The one with a slip of the point waits for another look.
    assert_eq!(number(&volume, "values"), (volumes - 1) as f64);
    // 100 (1 - 1.02) / 1.01, and nothing around it.
    assert!((number(&volume, "mean_difference") + 2.0 / 1.01).abs() < 1e-9);
    // A difference of mean squares of 2 % leaves 2 √(2⁻⁵²) = 3e-8 of nothing.
    assert!(number(&volume, "standard_deviation") < 1e-7, "{volume:?}");
    let dose = of("D0.03cc[Gy]", "Gy");
    assert!(number(&dose, "mean_difference").abs() < 0.002);
    let reach = 1.959_964 * number(&dose, "standard_deviation");
    let upper = number(&dose, "upper_limit") - number(&dose, "mean_difference");
    assert!(
        (upper - reach).abs() < 1e-6
            && (0.008..0.013).contains(&number(&dose, "standard_deviation"))
    );
    assert!(
        number(&dose, "patients") > 2.0 && dose["intervals"] == "bootstrap, resampling patients"
    );
    let told = text(&place, "agreement.txt");
    for words in ["Research and quality review only", "Volume[cc]: mean difference", "-1.98 %"] {
        assert!(told.contains(words), "{words}\n{told}");
    }
    for name in ["agreement_volume_cc.svg", "agreement_d0_03cc_gy.svg"] {
        assert!(text(&place, name).contains("Agreement of") && told.contains(name), "{name}");
    }
    let states = rows_of(&text(&place, "agreement_rows.csv"));
    assert_eq!(states.iter().filter(|r| r["state"] == "compared").count(), filled.len() - 2);
    let slip = states.iter().find(|r| r["state"].starts_with("held back")).unwrap();
    assert_eq!(slip["metric"], "Volume[cc]");
}

/// Somebody writes a list of their own: hospital ID, label of the plan and structure as the report has
/// them. With the key beside the study each value is found, or it says why not.
#[test]
fn a_value_is_found_by_the_names_of_the_hospital() {
    let place = crate::relate::study();
    let paper = |more: &[&str]| {
        let mut command = Command::cargo_bin("tidydose").unwrap();
        command.current_dir(place.path()).arg("paper").args(more).assert().success();
    };
    paper(&[]);
    let read = |name: &str| fs::read_to_string(place.path().join(name)).unwrap();
    let sheet =
        rows_of(read("study-key/check_worksheet_hospital.csv").trim_start_matches('\u{feff}'));
    let mut mine = "hospital_id,plan_label,structure_in_plan,metric,unit,report_value\n".to_owned();
    for row in &sheet {
        let names = ["hospital_id", "plan_label", "structure_in_plan", "metric", "unit"];
        mine.push_str(&names.map(|n| format!("\"{}\"", row[n])).join(","));
        mine.push_str(",1\n");
    }
    fs::write(place.path().join("mine.csv"), mine).unwrap();
    paper(&["--checked", "mine.csv"]);
    let states = rows_of(&read("study/paper/agreement_rows.csv"));
    assert_eq!(states.len(), sheet.len());
    let mut found = 0;
    for (state, asked) in states.iter().zip(&sheet) {
        // A case without a plan has no label by which it could be found, and says so.
        let unlabelled = asked["plan_label"].is_empty();
        assert_eq!(state["state"].starts_with("no plan_id"), unlabelled, "{state:?}");
        if unlabelled || state["state"].starts_with("several ") {
            continue;
        }
        for key in ["patient_id", "plan_id", "structure_id"] {
            assert_eq!(state[key], asked[key], "{state:?}");
        }
        found += 1;
    }
    assert!(found * 10 >= states.len() * 8, "{found} of {}", states.len());
    // Labels stand in the folder of the key only.
    let plans = read("study/tables/plans.csv");
    assert!(!plans.lines().next().unwrap().contains("label"), "{plans}");
}

/// Rows that were changed are told apart; what is no number is refused by its place.
#[test]
fn a_changed_worksheet_is_noticed() {
    let place = made("technology");
    let sheet = text(&place, "check_worksheet.csv");
    let mut lines: Vec<String> = sheet.lines().map(str::to_owned).collect();
    let volumes: Vec<usize> = (0..lines.len()).filter(|i| lines[*i].contains(",cc,")).collect();
    let (first, second) = (volumes[0], volumes[1]);
    lines[first] = lines[first].replacen(",cc,", ",mm,", 1);
    lines[second] = lines[second].replace("[cc]", "[ccc]");
    fs::write(place.path().join("mine.csv"), lines.join("\n") + "\n").unwrap();
    assert_eq!(checked(&place, "mine.csv").status.code(), Some(0));
    let states = rows_of(&text(&place, "agreement_rows.csv"));
    // The first line has the names of the columns.
    assert_eq!(states[first - 1]["state"], "unit differs from that of the tables");
    assert_eq!(states[second - 1]["state"], "not in the tables of this study");
    assert_eq!(states.iter().filter(|r| r["state"] == "not filled in").count(), states.len() - 2);
    assert_eq!(rows_of(&text(&place, "agreement.csv")).len(), 0);

    let start = lines[3].rsplitn(5, ',').nth(4).unwrap().to_owned();
    lines[3] = format!("{start},about 3,,,");
    fs::write(place.path().join("mine.csv"), lines.join("\n") + "\n").unwrap();
    let output = checked(&place, "mine.csv");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("row 4, column `report_value`: `about 3`"), "{said}");
}
