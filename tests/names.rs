//! Labels as hospitals write them, with what a person who knows the trade would say they are. The
//! labels in `names/` were written without a look at the rules and are never copied into them, so
//! that what is measured here is what the rules do with labels they have not seen.
//!
//! `expect` lists every answer that is right, divided by `|`: a standard name, `role:` and a role,
//! or `-` for "must be left to a person".

use std::collections::BTreeSet;
use std::path::Path;

use tidydose_case::{Role, recognise};

struct Label {
    label: String,
    language: String,
    expect: Vec<String>,
}

/// What the rules did with one set of labels.
#[derive(Default)]
struct Score {
    labels: usize,
    named: usize,
    right: usize,
    namable: usize,
    found: usize,
    faults: Vec<String>,
    missed: Vec<String>,
    wrong_sides: Vec<String>,
}

impl Score {
    fn precision(&self) -> f64 {
        self.right as f64 / self.named as f64
    }

    fn recall(&self) -> f64 {
        self.found as f64 / self.namable as f64
    }

    fn show(&self, set: &str) {
        println!("{set}: {} labels", self.labels);
        println!("precision {}/{} = {:.4}", self.right, self.named, self.precision());
        println!("recall {}/{} = {:.4}", self.found, self.namable, self.recall());
        println!("wrong sides {:?}", self.wrong_sides);
        println!("wrong\n  {}", self.faults.join("\n  "));
        println!("left open\n  {}", self.missed.join("\n  "));
    }
}

fn labels(set: &str) -> Vec<Label> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/names");
    let mut reader = csv::Reader::from_path(folder.join(set)).unwrap();
    let rows = reader.records().map(|row| {
        let row = row.unwrap();
        Label {
            label: row[0].to_owned(),
            language: row[1].to_owned(),
            expect: row[3].split('|').map(str::to_owned).collect(),
        }
    });
    rows.collect()
}

/// The answer of the rules in the words of the file; an organ without a name is no answer.
fn answer(label: &str) -> Option<(Option<String>, String)> {
    let read = recognise(label);
    let undecided = matches!(read.role, Role::Unknown | Role::Organ | Role::Prv);
    let role = format!("role:{}", read.role.word());
    (read.standard.is_some() || !undecided).then_some((read.standard, role))
}

fn side(name: &str) -> Option<&str> {
    name.ends_with("_L").then_some("L").or(name.ends_with("_R").then_some("R"))
}

fn score(set: &str) -> Score {
    let mut score = Score::default();
    for label in labels(set) {
        score.labels += 1;
        let open_is_right = label.expect.iter().any(|e| e == "-");
        score.namable += usize::from(!open_is_right);
        let Some((standard, role)) = answer(&label.label) else {
            if !open_is_right {
                score.missed.push(format!("{} → {}", label.label, label.expect.join("|")));
            }
            continue;
        };
        score.named += 1;
        let is = |e: &String| Some(e) == standard.as_ref() || *e == role;
        let right = label.expect.iter().any(is);
        score.right += usize::from(right);
        score.found += usize::from(right && !open_is_right);
        let given = standard.unwrap_or(role);
        if !right {
            score.faults.push(format!("{} → {given}", label.label));
        }
        let sides: BTreeSet<_> = label.expect.iter().map(|e| side(e)).collect();
        if side(&given).is_some() && !sides.contains(&side(&given)) {
            score.wrong_sides.push(format!("{} → {given}", label.label));
        }
    }
    score
}

/// Precision 99 %, recall 85 %, and no side that is not there.
fn holds(set: &str) {
    let score = score(set);
    score.show(set);
    assert!(score.wrong_sides.is_empty(), "{set}: {:?}", score.wrong_sides);
    assert!(score.precision() >= 0.99, "{set}: precision {}", score.precision());
    assert!(score.recall() >= 0.85, "{set}: recall {}", score.recall());
}

#[test]
fn the_rules_hold_on_labels_written_before_them() {
    holds("blind.csv");
}

/// A second set, written after the rules had been changed for the first.
#[test]
fn the_rules_hold_on_labels_written_after_them() {
    holds("fresh.csv");
}

#[test]
fn the_labels_are_many_and_of_eight_languages() {
    let labels = labels("blind.csv");
    assert!(labels.len() >= 400);
    let languages: BTreeSet<_> = labels.iter().map(|l| l.language.as_str()).collect();
    assert_eq!(languages.into_iter().collect::<Vec<_>>().len(), 8);
    let distinct: BTreeSet<_> = labels.iter().map(|l| &l.label).collect();
    assert_eq!(distinct.len(), labels.len());
    let open = labels.iter().filter(|l| l.expect.iter().any(|e| e == "-")).count();
    assert!(open >= 60, "labels that a person has to decide: {open}");
}
