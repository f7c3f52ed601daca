//! The folder made of a few rows that can be counted by hand.

use serde_json::json;

use super::rows::Value;
use super::*;

fn texts(list: &[&str]) -> Vec<Value> {
    let value = |t: &&str| if t.is_empty() { Value::Missing } else { Value::Text((*t).to_owned()) };
    list.iter().map(value).collect()
}

fn numbers(list: &[f64]) -> Vec<Value> {
    list.iter().map(|v| if v.is_nan() { Value::Missing } else { Value::Number(*v) }).collect()
}

const NONE: f64 = f64::NAN;

/// Six plans of five patients; one not measured, one set aside.
fn study() -> Study {
    let plans = Rows::default()
        .with("patient_id", texts(&["A", "B", "C", "D", "E", "E"]))
        .with("plan_id", texts(&["a", "b", "c", "d", "e", "f"]))
        .with("technology", texts(&["x", "x", "y", "y", "x", "y"]))
        .with(
            "plan_role",
            texts(&["treated", "treated", "treated", "unknown", "superseded", "treated"]),
        )
        .with("measured", [true, true, true, true, true, false].map(Value::Flag).to_vec())
        .with("exclusion_code", texts(&["", "", "", "", "", "dose-several"]))
        .with("fractions_planned", numbers(&[1.0, 1.0, 5.0, NONE, 1.0, 1.0]))
        .with("prescription_dose_gy", numbers(&[20.0, 22.0, 25.0, NONE, 20.0, 20.0]));
    let lesions = Rows::default()
        .with("plan_id", texts(&["a", "a", "b", "c", "e"]))
        .with("lesion_id", texts(&["a/1", "a/2", "b/1", "c/1", "e/1"]))
        .with("gtv_volume_cc", numbers(&[1.0, 2.0, 3.0, 4.0, 9.0]));
    let metrics = Rows::default()
        .with("patient_id", texts(&["A", "B", "C", "A"]))
        .with("plan_id", texts(&["a", "b", "c", "a"]))
        .with("structure_id", texts(&["a/9", "b/9", "c/9", ""]))
        .with("structure", texts(&["Brainstem", "Brainstem", "Brainstem", "all tissue"]))
        .with("role", texts(&["organ", "organ", "organ", "region"]))
        .with("metric", texts(&["Mean[Gy]", "Mean[Gy]", "Mean[Gy]", "V12Gy[cc]"]))
        .with("unit", texts(&["Gy", "Gy", "Gy", "cc"]))
        .with("status", texts(&["ok", "ok", "outside_grid", "ok"]))
        .with("value", numbers(&[2.0, 4.0, NONE, 7.0]));
    let structures = Rows::default()
        .with("plan_id", texts(&["a", "b"]))
        .with("role", texts(&["organ", "organ"]))
        .with("name_standard", texts(&["Brainstem", "Brainstem"]))
        .with("dose_cover_percent", numbers(&[100.0, 3.7]));
    Study { plans, lesions, structures, metrics }
}

fn made() -> BTreeMap<String, String> {
    let run =
        json!({"program": "p", "program_version": "1", "method": "How.", "counts": {"cases": 6}});
    let files = study().made(&run, "technology").unwrap();
    files.into_iter().map(|(n, b)| (n, String::from_utf8(b).unwrap())).collect()
}

#[test]
fn table_one_counts_what_is_there_and_what_is_missing() {
    let table = &made()["table_one.csv"];
    for line in [
        "plan,fractions_planned,1,all,3,1,2,66.66666666666667,,,,",
        "plan,fractions_planned,5,y,1,1,1,100,,,,",
        "plan,prescription_dose_gy,,all,3,1,,,22,21,23.5,",
        "lesion,gtv_volume_cc,,x,3,0,,,2,1.5,2.5,",
    ] {
        assert!(table.contains(line), "{line}\n{table}");
    }
    // No group has an era: a row with what is missing, and no number.
    assert!(!table.contains("NaN"));
    let read = &made()["table_one.md"];
    assert!(read.contains("| plans | 4 | 2 | 2 |") && read.contains("no p"), "{read}");
}

#[test]
fn the_flow_adds_up_to_what_is_included() {
    let flow = &made()["flow.csv"];
    let lines: Vec<&str> = flow.lines().skip(1).collect();
    assert_eq!(
        lines,
        [
            "cases in the archive,5,6,0,,technology",
            "measured,5,5,1,dose-several,technology",
            "not set aside as another version,4,4,1,superseded,technology",
        ]
    );
    assert!(made()["flow.svg"].contains("4 lesions"), "{}", made()["flow.svg"]);
}

#[test]
fn doses_keep_fractions_apart_and_say_why_values_are_missing() {
    let doses = &made()["doses.csv"];
    assert!(doses.contains("Brainstem,Mean[Gy],Gy,x,1,2,0,,3,2.5,3.5,2,4"), "{doses}");
    assert!(doses.contains("Brainstem,Mean[Gy],Gy,y,5,0,1,outside_grid 1,,,,,"), "{doses}");
    let there = &made()["completeness.csv"];
    assert!(
        there.contains("a,Brainstem,covered,100")
            && there.contains("b,Brainstem,partly covered,3.7")
    );
    assert!(there.contains("c,Brainstem,not drawn or not named,"));
}

#[test]
fn the_worksheet_is_blind_and_holds_the_extremes() {
    let sheet = &made()["check_worksheet.csv"];
    let rows: Vec<Vec<&str>> = sheet.lines().skip(1).map(|l| l.split(',').collect()).collect();
    let column =
        sheet.lines().next().unwrap().split(',').position(|c| c == "report_value").unwrap();
    assert!(rows.iter().all(|r| r[column].is_empty()), "{sheet}");
    assert!(sheet.contains("least") && sheet.contains("largest"));
    assert!(!sheet.contains("all tissue"), "a planning report has no such row");
}

#[test]
fn texts_state_facts_and_leave_gaps_open() {
    let methods = &made()["methods.txt"];
    assert!(
        methods.starts_with(CAUTION) && methods.contains("How.") && methods.contains("4 plans")
    );
    let lists = &made()["reporting.md"];
    assert!(lists.contains("**to be filled in**") && lists.contains("ICRU 91"));
    assert!(lists.contains("technologies: x 2, y 2"), "{lists}");
}

#[test]
fn a_grouping_that_is_no_column_is_named() {
    let text = study().made(&json!({}), "colour").unwrap_err().to_string();
    assert!(text.contains("grouping colour") && text.contains("technology"), "{text}");
}
