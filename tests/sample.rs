//! The invented cohort against what is known of it: its files are those that its generator writes,
//! and what is measured on it is what its formulas say (`sample-anonymised/truth.csv`).

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;

use crate::measured::{Row, cohort, measured, rows_of, updating};
use crate::phantom::sample;

/// Files of the folder that a person wrote or a test keeps.
const BY_HAND: [&str; 1] = ["README.md"];

/// Every file below `sample-anonymised`, by its path with `/`, but for `expected`.
fn files_in_git() -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in walk(&cohort()) {
        let relative = entry.strip_prefix(cohort()).unwrap();
        let parts: Vec<_> = relative.iter().map(|p| p.to_str().unwrap()).collect();
        if parts[0] != "expected" {
            found.insert(parts.join("/"), fs::read(&entry).unwrap());
        }
    }
    found
}

fn walk(folder: &std::path::Path) -> Vec<std::path::PathBuf> {
    let mut out = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { out.extend(walk(&path)) } else { out.push(path) }
    }
    out
}

#[test]
fn the_generator_writes_the_files_that_are_there() {
    let archive = sample::archive().unwrap();
    let mut made: BTreeMap<String, Vec<u8>> =
        archive.files.into_iter().map(|f| (f.path, f.bytes)).collect();
    made.insert("truth.csv".to_owned(), sample::truth_table(&archive.truth).into_bytes());
    let mut kept = files_in_git();
    for name in BY_HAND {
        assert!(kept.remove(name).is_some(), "{name} is not there");
    }
    assert_eq!(made.keys().collect::<Vec<_>>(), kept.keys().collect::<Vec<_>>());
    for (name, bytes) in &made {
        assert!(kept[name] == *bytes, "{name} is not what `make-sample` writes");
    }
}

/// Rows of a metric that the standard list does not hold: half prescriptions and the like.
const NOT_IN_THE_LIST: usize = 11;

/// No value outside its bounds may be off by more: the criterion by which Nelms et al. 2015 (10.1118/1.4923175) count
/// a dose-volume value on a solid of known truth as failed.
const FAILED: f64 = 0.03;
/// At least this share of the values must have bounds that hold the truth.
const COVERED: f64 = 0.90;

/// The metric of our tables that a name of the truth stands for.
fn our_name(metric: &str) -> &str {
    match metric {
        "PaddickCI" => "PaddickConformity",
        "GI" => "PaddickGradient",
        other => other,
    }
}

/// The brain without targets goes by one name, however the brain was called.
fn our_structure(structure: &str) -> &str {
    if structure.ends_with("-targets") { "Brain-targets" } else { structure }
}

/// Our rows by patient, technology, original structure name and metric.
fn measurements() -> BTreeMap<[String; 4], Row> {
    let run = measured();
    let patients = run.patients();
    let of = |table, key: &str, value: &str| -> BTreeMap<String, String> {
        run.rows(table).into_iter().map(|r| (r[key].clone(), r[value].clone())).collect()
    };
    let technology = of("plans", "plan_id", "technology");
    let names = of("structures", "structure_id", "name_original");
    let key = |row: &Row| {
        [
            patients[&row["patient_id"]].clone(),
            technology[&row["plan_id"]].clone(),
            names.get(&row["structure_id"]).unwrap_or(&row["structure"]).clone(),
            row["metric"].clone(),
        ]
    };
    run.rows("metrics").into_iter().map(|row| (key(&row), row)).collect()
}

/// A row of truth with ours; only the two courses of LK-08 need the technology to tell them apart.
fn counterpart<'a>(ours: &'a BTreeMap<[String; 4], Row>, truth: &Row) -> Option<&'a Row> {
    let mut found = ours.iter().filter(|([patient, technology, structure, metric], _)| {
        let course = if technology == "cobalt_unit" { "A" } else { "B" };
        *patient == truth["patient"]
            && structure == our_structure(&truth["structure"])
            && metric == our_name(&truth["metric"])
            && (patient != "LK-08" || course == truth["plan"])
    });
    let first = found.next().map(|(_, row)| row);
    assert!(found.next().is_none(), "two rows for {truth:?}");
    first
}

/// Whether the bounds hold the truth; a bound that is not there does not exclude it. The truth has
/// eight digits.
fn is_covered(row: &Row, truth: f64) -> bool {
    let number = |column: &str| row[column].parse::<f64>().ok();
    let rounding = 1e-8 * truth.abs();
    let low = number("low").is_none_or(|low| low <= truth + rounding);
    low && number("high").is_none_or(|high| truth - rounding <= high)
}

/// One line of `expected/outside.csv`: a value whose bounds do not hold the truth, with how far it
/// is off in percent.
fn outside(truth: &Row, row: &Row, off: f64) -> String {
    let key = [&truth["patient"], &truth["plan"], &truth["structure"], &truth["metric"]];
    let short = |text: &str| text.parse::<f64>().map_or_else(|_| "".into(), |v| format!("{v:.6}"));
    let ours = ["value", "low", "high"].map(|c| short(&row[c]));
    format!(
        "{},{},{},{},{},{},{},{},{:+.3}",
        key[0],
        key[1],
        key[2],
        key[3],
        truth["value"],
        ours[0],
        ours[1],
        ours[2],
        100.0 * off
    )
}

const HEADER: &str = "patient,plan,structure,metric,truth,value,low,high,off_percent";

/// Values that lie outside their bounds are kept, each with how far, in `expected/outside.csv`:
/// the list may shrink, and grows only by `UPDATE=1` in a commit that says why. No tolerance stands
/// in for a bound.
#[test]
fn measured_values_are_those_of_the_formulas() {
    let ours = measurements();
    let standard: Vec<String> =
        tidydose_metrics::standard().iter().map(ToString::to_string).collect();
    let truth = rows_of(&fs::read_to_string(cohort().join("truth.csv")).unwrap());
    let mut unasked = 0;
    let (mut valued, mut found, mut missing) = (0_usize, Vec::new(), BTreeMap::new());
    for row in &truth {
        if !standard.iter().any(|m| m == our_name(&row["metric"])) {
            unasked += 1;
        } else {
            let own = counterpart(&ours, row).unwrap_or_else(|| panic!("no row for {row:?}"));
            let want: f64 = row["value"].parse().unwrap();
            let Ok(value) = own["value"].parse::<f64>() else {
                let why = format!("{} {}", row["patient"], own["status"]);
                *missing.entry(why).or_insert(0_usize) += 1;
                continue;
            };
            valued += 1;
            let off = value / want - 1.0;
            if !is_covered(own, want) {
                assert!(off.abs() <= FAILED, "{}", outside(row, own, off));
                found.push((outside(row, own, off), off));
            }
        }
    }
    assert_eq!(unasked, NOT_IN_THE_LIST);
    without_value(&missing);
    let covered = 1.0 - found.len() as f64 / valued as f64;
    assert!(covered >= COVERED, "{covered:.3} of {valued} values have bounds that hold the truth");
    compare_with_kept(&found);
}

/// Where a value is rightly missing: no plan or no prescription, so no index of conformity or
/// gradient; a single plane.
fn without_value(missing: &BTreeMap<String, usize>) {
    let known = [
        // Its brain has a name that could mean the cerebrum.
        ("LK-05 name_undecided", 1),
        ("LK-13 not_applicable", 2),
        ("LK-16 not_applicable", 2),
        ("LK-18 not_applicable", 2),
        ("LK-19 below_resolution", 11),
    ];
    for (why, count) in missing {
        let accepted = known.iter().find(|(k, _)| k == why).map_or(0, |(_, n)| *n);
        assert!(*count <= accepted, "{count} values are missing: {why}");
    }
}

fn compare_with_kept(found: &[(String, f64)]) {
    let path = cohort().join("expected/outside.csv");
    if updating() {
        let lines: Vec<&str> = found.iter().map(|(line, _)| line.as_str()).collect();
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, format!("{HEADER}\n{}\n", lines.join("\n"))).unwrap();
    }
    let kept = rows_of(&fs::read_to_string(&path).unwrap());
    for (line, off) in found {
        let this = rows_of(&format!("{HEADER}\n{line}\n")).remove(0);
        let key = ["patient", "plan", "structure", "metric"];
        let known = kept.iter().find(|k| key.iter().all(|c| k[*c] == this[*c]));
        let before = known.and_then(|k| k["off_percent"].parse::<f64>().ok());
        // Half a digit of the kept figure.
        let accepted = before.is_some_and(|b| 100.0 * off.abs() <= b.abs() + 0.0005);
        assert!(accepted, "not held by its bounds, and not listed so:\n{HEADER}\n{line}");
    }
}
