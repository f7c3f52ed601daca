//! What the program says is plain: no phrasing that readers stumbled over comes back, no stray spaces
//! and signs, no number with more digits than it has. Held over the tables of the sample, the help,
//! the pages and the notebooks.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use assert_cmd::Command;

use crate::measured::measured;
use crate::review::{REQUEST, tables};

/// Phrasings that readers did not understand, with what is said instead.
const REJECTED: &[(&str, &str)] = &[
    ("random histories", "Monte Carlo"),
    ("the scatter drawn anew", "widened for noise"),
    ("the doubt whether", "widened for noise"),
    ("for 1 fractions", "for 1 fraction"),
    ("undefined the structure is", "not given if the structure is"),
    ("by the least margin", "nearest to the limit first"),
    ("straddle", "the uncertainty range crosses the limit"),
    ("Held against all limits", "compared with every limit"),
    ("held against a limit", "compared with a limit"),
    ("order the courses", "dates compare within a patient, not between patients"),
    ("of it are covered", "of it lies inside the grid"),
    ("never a pass", "not counted as within"),
    ("in clear", "the original identifiers"),
    ("token of the plan", "pseudonym of its plan"),
    ("nothing clinical", "not a clinical uncertainty"),
    ("all talk", "progress messages"),
    ("gradient measure", "fall-off distance"),
    ("PlanTarget", "all targets"),
    ("read on page", "read in the source"),
    ("wall poster", "a secondary listing"),
    ("without partner", "unmatched"),
    ("draws of patients", "bootstrap, resampling patients"),
    ("from memory", "not yet checked against the source"),
    ("a part of tidydose", "what the program is for"),
    ("cut sought in the data", "a cut-off chosen from the data"),
    ("of it are covered", "of it is covered"),
    ("1 contours", "1 contour"),
    ("exclusive-or", "the type CLOSEDPLANAR_XOR, and what it does"),
    ("limit less value", "limit minus value"),
    ("is called so yet", "has the name of this organ"),
    ("in common; missing", "each show all of it: do not add them up"),
    ("metrics are of the", "doses in the tables are those of the"),
    ("the case is left out;", "the plan with its dose and structures is not measured"),
    ("a value with two bounds too far apart", "bounds are too wide to use it"),
];

/// Where it says so, and what.
type Texts = BTreeMap<String, String>;

fn notebooks() -> Texts {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut texts = Texts::new();
    for entry in fs::read_dir(root.join("notebooks-md")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "md") {
            texts.insert(path.display().to_string(), fs::read_to_string(&path).unwrap());
        }
    }
    let readme = fs::read_to_string(root.join("README.md")).unwrap();
    texts.insert("README.md".to_owned(), readme);
    texts
}

fn help() -> Texts {
    let ask = |arguments: &[&str]| {
        let output = Command::cargo_bin("tidydose").unwrap().args(arguments).output().unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    let all = ask(&["--help"]);
    let commands: Vec<String> = all
        .split("Commands:")
        .nth(1)
        .unwrap()
        .lines()
        .skip(1)
        .take_while(|line| !line.trim().is_empty())
        .filter_map(|line| Some(line.split_whitespace().next()?.to_owned()))
        .filter(|word| word != "help")
        .collect();
    assert!(commands.len() > 8, "{commands:?}");
    let mut texts = Texts::from([("--help".to_owned(), all)]);
    for command in commands {
        texts.insert(format!("{command} --help"), ask(&[&command, "--help"]));
    }
    texts
}

/// The questions, and the published risks that a figure shows.
fn queries() -> Texts {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("queries");
    let mut texts = Texts::new();
    for path in crate::archive::files_below(&folder) {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if name.ends_with(".sql") || ["dose_response.csv", "limits.csv"].contains(&name.as_str()) {
            texts.insert(format!("queries/{name}"), fs::read_to_string(&path).unwrap());
        }
    }
    assert!(texts.len() > 10, "{}", texts.len());
    texts
}

/// The cells of words of every table of the sample.
fn cells() -> Texts {
    let mut texts = Texts::new();
    for (table, column) in [
        ("dictionary", "meaning"),
        ("findings", "message"),
        ("metrics", "reason"),
        ("metrics", "method"),
        ("limit_checks", "reason"),
        ("limit_checks", "evidence"),
        ("plans", "exclusion_reason"),
        ("flow", "reason"),
    ] {
        for (n, row) in measured().rows(table).into_iter().enumerate() {
            let Some(cell) = row.get(column).filter(|cell| !cell.is_empty()) else { continue };
            texts.insert(format!("table {table}, column {column}, row {}", n + 2), cell.clone());
        }
    }
    assert!(texts.len() > 5000, "{}", texts.len());
    texts
}

fn page() -> Texts {
    let html = tidydose_report::review(&tables(), &REQUEST).unwrap().html;
    let body = html.split("<body>").nth(1).unwrap().split("<script>").next().unwrap();
    Texts::from([("page of the committee".to_owned(), body.to_owned())])
}

#[test]
fn rejected_phrasings_do_not_come_back() {
    let mut wrong = Vec::new();
    for (place, text) in [notebooks(), help(), queries(), cells(), page()].into_iter().flatten() {
        for (phrase, instead) in REJECTED {
            if text.contains(phrase) {
                wrong.push(format!("{place}: `{phrase}`; say `{instead}`"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn cells_of_words_have_no_stray_signs_and_no_endless_numbers() {
    let mut wrong = Vec::new();
    for (place, text) in cells() {
        for sign in ["  ", "; ,", ", ,", ",,", ";;", " ;", " ,"] {
            if text.contains(sign) {
                wrong.push(format!("{place}: `{sign}` in `{text}`"));
            }
        }
        let numbers = text.split(|c: char| !(c.is_ascii_digit() || c == '.'));
        for number in numbers.filter(|n| n.contains('.')) {
            let digits = number.split('.').nth(1).unwrap_or_default().len();
            if digits > 6 {
                wrong.push(format!("{place}: {number} in `{text}`"));
            }
        }
    }
    assert!(wrong.is_empty(), "{} of them, first {:#?}", wrong.len(), &wrong[..wrong.len().min(5)]);
}
