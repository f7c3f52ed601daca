//! What a study is handed on as: the Data Package is judged by the validator of its own standard,
//! the numbers of the flow add up and agree with the tables, and `diff` finds what was changed.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::process::Command;

use serde_json::Value;

use crate::measured::{Row, measured, rows_of};
use crate::resume::{DONE, Place, program};

/// Each value of a wide table is the one of the long table, with its bounds and status.
#[test]
fn wide_tables_hold_the_values_of_the_long_ones() {
    let run = measured();
    let metrics = run.rows("metrics");
    let columns = [
        ("Brainstem", "D0.03cc[Gy]", "brainstem_d0p03cc", "_gy"),
        ("OpticChiasm", "D0.03cc[Gy]", "chiasm_d0p03cc", "_gy"),
        ("Cochlea_L", "Mean[Gy]", "cochlea_l_mean", "_gy"),
        ("Brain-targets", "V12Gy[cc]", "brain_less_targets_v12gy", "_cc"),
        ("all tissue", "V12Gy[cc]", "tissue_v12gy", "_cc"),
    ];
    let mut compared = 0;
    let mut same = |long: &Row, wide: &Row, stem: &str, end: &str| {
        for (a, b) in [("value", ""), ("low", "_low"), ("high", "_high")] {
            assert_eq!(long[a], wide[&format!("{stem}{b}{end}")], "{stem}{b} {long:?}");
        }
        assert_eq!(long["status"], wide[&format!("{stem}_status")], "{stem} {long:?}");
        compared += 1;
    };
    let plans = run.rows("plans_wide");
    for (structure, metric, stem, end) in columns {
        for plan in plans.iter().filter(|p| p["measured"] == "true") {
            let own = |r: &&Row| {
                r["plan_id"] == plan["plan_id"]
                    && r["structure"] == structure
                    && r["metric"] == metric
            };
            match metrics.iter().filter(own).collect::<Vec<_>>()[..] {
                [row] => same(row, plan, stem, end),
                [] => assert_eq!(plan[&format!("{stem}_status")], "absent", "{stem}"),
                _ => assert_eq!(plan[&format!("{stem}_status")], "ambiguous", "{stem}"),
            }
        }
    }
    let structures = run.rows("structures");
    for lesion in run.rows("lesions_wide") {
        let target = structures.iter().find(|s| s["structure_id"] == lesion["lesion_id"]).unwrap();
        assert_eq!(lesion["target_kind"], target["role"], "{}", lesion["lesion_id"]);
        let left_out = |p: &&Row| p["plan_id"] == lesion["plan_id"] && p["measured"] == "false";
        if plans.iter().any(|p| left_out(&p)) {
            assert_eq!(lesion["d98_status"], "excluded");
            continue;
        }
        for (metric, stem, end) in
            [("PaddickGradient", "paddick_gradient", ""), ("D98%[Gy]", "d98", "_gy")]
        {
            let own = |r: &&Row| r["structure_id"] == lesion["lesion_id"] && r["metric"] == metric;
            if let Some(row) = metrics.iter().find(own) {
                same(row, &lesion, stem, end);
            }
        }
    }
    assert!(compared > 100, "{compared}");
}

/// The gap of a plan is the smallest of its lesions, each of them that of table relations.
#[test]
fn the_gap_of_a_plan_is_the_smallest_of_its_lesions() {
    let run = measured();
    let plans = run.rows("plans_wide");
    let mut compared = 0;
    let relations = run.rows("relations");
    let number = |r: &Row, name: &str| r[name].parse::<f64>().unwrap();
    for plan in plans.iter().filter(|p| p["brainstem_gap_status"] == "ok") {
        let own = |r: &&Row| {
            r["plan_id"] == plan["plan_id"]
                && r["other_structure"] == "Brainstem"
                && r["metric"] == "Gap[mm]"
        };
        let gaps = relations.iter().filter(own).map(|r| number(r, "value"));
        assert_eq!(number(plan, "brainstem_gap_mm"), gaps.fold(f64::INFINITY, f64::min));
        compared += 1;
    }
    assert!(compared > 3, "{compared}");
}

/// One row for each patient; the values are those of the index plan, or there are none.
#[test]
fn patients_have_one_row_each_with_the_values_of_their_index_plan() {
    let run = measured();
    let (plans, patients) = (run.rows("plans_wide"), run.rows("patients_wide"));
    let known: Vec<&Row> = plans.iter().filter(|p| !p["patient_id"].is_empty()).collect();
    let mut wanted: Vec<&String> = known.iter().map(|p| &p["patient_id"]).collect();
    wanted.dedup();
    assert_eq!(wanted, patients.iter().map(|p| &p["patient_id"]).collect::<Vec<_>>());
    let mut without = 0;
    for patient in &patients {
        let own: Vec<&&Row> =
            known.iter().filter(|p| p["patient_id"] == patient["patient_id"]).collect();
        assert_eq!(patient["n_plans"], own.len().to_string());
        match own.iter().find(|p| p["plan_id"] == patient["index_plan_id"]) {
            Some(plan) => {
                assert_eq!(plan["measured"], "true");
                for (name, cell) in plan.iter().filter(|(n, _)| *n != "plan_id") {
                    assert_eq!(cell, &patient[name], "{name}");
                }
                let earlier = |p: &&&&Row| p["measured"] == "true" && p["course"] < plan["course"];
                assert_eq!(own.iter().filter(earlier).count(), 0);
            }
            None => {
                without += 1;
                assert!(patient["index_plan_id"].is_empty());
                assert_eq!(patient["brainstem_mean_status"], "excluded");
                assert!(!patient["exclusion_code"].is_empty());
            }
        }
    }
    assert!(without > 0, "the sample has a patient without a measured plan");
}

/// Sums of the flow by grain and state, and the numbers that the tables show.
#[test]
fn the_flow_adds_up_and_agrees_with_the_tables() {
    let run = measured();
    let flow = run.rows("flow");
    let sum = |grain: &str, state: &str| -> usize {
        let own = |r: &&Row| r["grain"] == grain && r["state"] == state;
        flow.iter().filter(own).map(|r| r["n"].parse::<usize>().unwrap()).sum()
    };
    for grain in ["patient", "plan", "lesion", "structure", "value"] {
        assert_eq!(
            sum(grain, "found"),
            sum(grain, "left_out") + sum(grain, "counted"),
            "{grain}: {flow:?}"
        );
    }
    let tables = [("plan", "plans"), ("lesion", "lesions"), ("structure", "structures")];
    // What was drawn after a treatment is no plan.
    let mut plans = run.rows("plans");
    plans.retain(|r| r["plan_role"] != "follow_up");
    let ids: BTreeSet<&String> = plans.iter().map(|r| &r["plan_id"]).collect();
    for (grain, table) in tables.into_iter().chain([("value", "metrics")]) {
        let own = run.rows(table).iter().filter(|r| ids.contains(&r["plan_id"])).count();
        assert_eq!(sum(grain, "found"), own, "{grain}");
    }
    let measured = plans.iter().filter(|r| r["measured"] == "true").count();
    assert_eq!(sum("plan", "counted"), measured);
    let left_out = |r: &&Row| r["state"] == "left_out" && r["grain"] == "plan";
    let reasons: BTreeMap<_, _> =
        flow.iter().filter(left_out).map(|r| (r["code"].clone(), r["n"].clone())).collect();
    let mut expected: BTreeMap<String, usize> = BTreeMap::new();
    for row in plans.iter().filter(|r| !r["exclusion_code"].is_empty()) {
        *expected.entry(row["exclusion_code"].clone()).or_insert(0) += 1;
    }
    let expected = expected.into_iter().map(|(code, n)| (code, n.to_string())).collect();
    assert_eq!(reasons, expected);
    assert_eq!(sum("patient", "found"), run.patients().len());
}

#[test]
fn diff_tells_what_changed_and_why() {
    let place = Place::with(2);
    for study in ["a", "b"] {
        place.key(study);
        let more: &[&str] = if study == "b" { &["--interpolation", "trilinear"] } else { &[] };
        assert_eq!(place.measure(study, more).0, DONE);
    }
    let diff = |a: &str, b: &str| {
        let arguments = ["diff", a, b, "--output", "changes.csv"];
        let run = Command::new(program()).current_dir(place.path()).args(arguments).output();
        let output = run.unwrap();
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    assert!(diff("a", "a").ends_with("no difference\n"));
    let text = diff("a", "b");
    assert!(text.lines().any(|l| l.starts_with("plans         in both") && l.ends_with(" 2")));
    let rows = rows_of(&fs::read_to_string(place.path().join("changes.csv")).unwrap());
    let values: Vec<&Row> = rows.iter().filter(|r| r["column"] == "value").collect();
    assert!(!values.is_empty(), "{text}");
    for row in &rows {
        assert_eq!(row["why"], "setting", "{row:?}");
    }
    for row in values {
        let number = |name: &str| row[name].parse::<f64>().unwrap();
        let off = number("after") - number("before") - number("difference");
        assert!(off.abs() <= f64::EPSILON * number("after").abs(), "{row:?}");
    }
}

/// `run.json` is what its schema says, and the schema is no yes-man.
#[test]
fn run_json_is_what_its_schema_says() {
    let read = |name: &str| -> Value {
        serde_json::from_slice(&fs::read(measured().study().join(name)).unwrap()).unwrap()
    };
    let (run, schema) = (read("run.json"), read("run.schema.json"));
    assert_eq!(objection(&run, &schema, ""), None);
    let changed = |change: fn(&mut Value)| {
        let mut run = run.clone();
        change(&mut run);
        objection(&run, &schema, "").unwrap_or_default()
    };
    assert_eq!(changed(|r| r["more"] = 1.into()), "/more: not in the schema");
    assert_eq!(changed(|r| r["counts"]["cases"] = "3".into()), "/counts/cases: no integer");
    assert_eq!(changed(|r| r["inputs_sha256"] = "abc".into()), "/inputs_sha256: no string");
    assert_eq!(changed(|r| r["settings"]["ends"] = Value::Null), "/settings/ends: no string");
    let table = changed(|r| r["tables"][0]["table"] = "planes".into());
    assert!(table.starts_with("/tables/table: \"planes\" is not in the list"), "{table}");
}

/// The first thing in `value` that the schema does not accept, by the few words of JSON Schema that
/// are used there; absent where it accepts all.
fn objection(value: &Value, schema: &Value, place: &str) -> Option<String> {
    if let Some(only) = schema.get("const") {
        return (only != value).then(|| format!("{place}: not {only}"));
    }
    if let Some(list) = schema.get("enum").and_then(Value::as_array) {
        return (!list.contains(value)).then(|| format!("{place}: {value} is not in the list"));
    }
    let kind = schema.get("type").and_then(Value::as_str).unwrap_or_default();
    let fits = match kind {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.as_str().is_some_and(|text| {
            let digits = |c: char| c.is_ascii_digit() || ('a'..='f').contains(&c);
            schema.get("pattern").is_none() || (text.len() == 64 && text.chars().all(digits))
        }),
        "integer" => value.is_u64(),
        "number" => value.is_number(),
        "boolean" => value.is_boolean(),
        _ => false,
    };
    if !fits {
        return Some(format!("{place}: no {kind}"));
    }
    if let Some(items) = value.as_array() {
        return items.iter().find_map(|item| objection(item, &schema["items"], place));
    }
    let members = value.as_object()?;
    let required = schema.get("required").and_then(Value::as_array);
    for name in required.into_iter().flatten().filter_map(Value::as_str) {
        if !members.contains_key(name) {
            return Some(format!("{place}: {name} is missing"));
        }
    }
    for (name, member) in members {
        let here = format!("{place}/{name}");
        let own = schema.get("properties").and_then(|p| p.get(name));
        match own.or_else(|| schema.get("additionalProperties").filter(|a| a.is_object())) {
            Some(schema) => {
                if let Some(words) = objection(member, schema, &here) {
                    return Some(words);
                }
            }
            None => return Some(format!("{here}: not in the schema")),
        }
    }
    None
}
