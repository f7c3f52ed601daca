//! The keepers who were looked at again (`sample-anonymised/follow-up`), from files to tables: what
//! the formulas of balls say is within the bounds, and nothing is taken from a proposal.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use tempfile::TempDir;

use crate::documents::copy;
use crate::measured::{Row, cohort, rows_of};
use crate::phantom::closed_form::RadialBall;
use crate::phantom::sample::follow_up::{Again, Keeper, keepers};

/// A study of the three keepers alone.
pub(crate) struct Study {
    place: TempDir,
}

impl Study {
    pub(crate) fn measured() -> Self {
        let study = Self { place: tempfile::tempdir().unwrap() };
        for folder in ["follow-up", "cobalt-unit/LK-21", "gantry/LK-22", "robot-arm/LK-23_A"] {
            copy(&cohort().join(folder), &study.archive().join(folder));
        }
        study.measure();
        study
    }

    /// Where its archive and its study lie.
    pub(crate) fn place(&self) -> &Path {
        self.place.path()
    }

    fn archive(&self) -> PathBuf {
        self.place.path().join("archive")
    }

    pub(crate) fn measure(&self) -> String {
        let output = Command::cargo_bin("tidydose")
            .unwrap()
            .current_dir(self.place.path())
            .args(["measure", "archive", "--study", "study"])
            .output()
            .unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stderr).unwrap()
    }

    pub(crate) fn rows(&self, table: &str) -> Vec<Row> {
        let path = self.place.path().join(format!("study/tables/{table}.csv"));
        rows_of(&fs::read_to_string(path).unwrap())
    }

    /// Says in `lesions.csv` what is known: every proposal is right, the others are new.
    pub(crate) fn decide(&self) {
        let path = self.place.path().join("study/lesions.csv");
        let text = fs::read_to_string(&path).unwrap();
        let text = text.trim_start_matches('\u{feff}');
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let columns = reader.headers().unwrap().clone();
        let place = |name: &str| columns.iter().position(|c| c == name).unwrap();
        let mut writer = csv::Writer::from_path(&path).unwrap();
        writer.write_record(&columns).unwrap();
        for record in reader.records() {
            let mut record: Vec<String> = record.unwrap().iter().map(str::to_owned).collect();
            let proposed = record[place("proposed_same_as")].clone();
            let structure = record[place("structure")].clone();
            if !proposed.is_empty() {
                record[place("same_as")] = proposed;
            } else if structure == "GTV new" {
                record[place("same_as")] = "new".to_owned();
            }
            if structure == "GTV recurrence" {
                record[place("recurrence")] = "yes".to_owned();
            }
            writer.write_record(&record).unwrap();
        }
        writer.flush().unwrap();
    }
}

fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap_or_else(|_| panic!("{column} is `{}` in {row:?}", row[column]))
}

fn holds(row: &Row, [value, low, high]: [&str; 3], truth: f64) {
    // Shares and distances are known to so many digits at least.
    let least = 1e-9;
    let (low, high) = (number(row, low) - least, number(row, high) + least);
    assert!(low <= truth && truth <= high, "{value}: {truth} outside of {low} to {high}");
    assert!((low..=high).contains(&number(row, value)));
}

/// Every ball that was drawn again, with its keeper and the day since the treatment.
fn drawn() -> Vec<(Keeper, i64, Again)> {
    let mut list = Vec::new();
    for index in 0..keepers().len() {
        for look in 0..keepers()[index].looks.len() {
            let mut keeper = keepers().remove(index);
            let look = keeper.looks.remove(look);
            for ball in look.balls {
                list.push((keepers().remove(index), look.days, ball));
            }
        }
    }
    list
}

fn row_of<'r>(rows: &'r [Row], days: i64, name: &str, column: &str) -> &'r Row {
    let own = |r: &&Row| r["structure"] == name && r[column] == days.to_string();
    rows.iter().find(own).unwrap_or_else(|| panic!("no row of {name} on day {days}"))
}

fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(x, y)| (x - y).powi(2)).sum::<f64>().sqrt()
}

#[test]
fn sizes_and_places_hold_what_the_formulas_say() {
    let study = Study::measured();
    study.decide();
    study.measure();
    let (sizes, places) = (study.rows("follow_up"), study.rows("recurrences"));
    for (keeper, days, ball) in drawn() {
        let row = row_of(&sizes, days, ball.name, "days_since_treatment");
        let volume = |r: f64| 4.0 / 3.0 * std::f64::consts::PI * r.powi(3) / 1000.0;
        holds(row, ["volume_cc", "volume_low_cc", "volume_high_cc"], volume(ball.radius));
        for size in ["longest", "across"] {
            let columns =
                [format!("{size}_mm"), format!("{size}_low_mm"), format!("{size}_high_mm")];
            holds(row, columns.each_ref().map(String::as_str), 2.0 * ball.radius);
        }
        let is_new = ball.name == "GTV new";
        if !is_new {
            let change = 100.0 * ((ball.radius / keeper.radius()).powi(3) - 1.0);
            let columns = [
                "volume_change_percent",
                "volume_change_low_percent",
                "volume_change_high_percent",
            ];
            holds(row, columns, change);
        }
        let day = &row["day"];
        let own = |r: &&Row| r["structure"] == ball.name && r["day"] == *day;
        let place = places.iter().find(own).unwrap();
        let (centre, dose) = keeper.dose();
        let d = distance(ball.centre, *centre);
        for percent in [95.0, 100.0, 50.0] {
            let there = RadialBall { dose: dose.clone(), radius: ball.radius, distance: d };
            let truth = 100.0 * there.volume_at(0.01 * percent * 20.0) / there.volume();
            let columns = ["", "_low", "_high"].map(|c| format!("inside_{percent}{c}_percent"));
            holds(place, columns.each_ref().map(String::as_str), truth);
        }
        let at = |name: &str| ["", "_low", "_high"].map(|c| format!("{name}{c}_mm"));
        let check = |name: &str, truth: f64| {
            holds(place, at(name).each_ref().map(String::as_str), truth);
        };
        check("centre_to_target", d - keeper.radius());
        check("centre_to_isodose", d - dose.radius(20.0));
        check("gap_to_isodose", (d - ball.radius).abs() - dose.radius(20.0));
        holds(place, ["centre_dose_gy", "centre_dose_low_gy", "centre_dose_high_gy"], dose.dose(d));
    }
}

#[test]
fn decisions_make_responses_patterns_and_velocities() {
    let study = Study::measured();
    let undecided = study.rows("follow_up");
    assert!(undecided.iter().all(|r| r["treated_lesion_id"].is_empty()));
    let open = study.rows("responses");
    assert_eq!(open.len(), 10, "two criteria at each of five times");
    assert!(open.iter().all(|r| r["response"] == "undecided"), "nothing is taken from a proposal");
    assert!(open.iter().all(|r| r["reason"].contains("lesions.csv does not say so")));
    study.decide();
    let said = study.measure();
    assert!(said.contains("5 structure sets drawn after a treatment"), "{said}");
    let rows = study.rows("responses");
    let word = |days: &str, criterion: &str| {
        let own = |r: &&Row| r["days_since_treatment"] == days && r["criterion"] == criterion;
        rows.iter().find(own).map(|r| r["response"].clone()).unwrap()
    };
    // 12 to 9 mm is −25 %, to 6 mm −50 %; 14 to 8 mm −43 %, then 13.2 mm, by 5.2 mm and 65 % more.
    for (days, expected) in
        [("84", "stable"), ("189", "partial"), ("122", "partial"), ("294", "progressive")]
    {
        assert_eq!(word(days, "rano_bm_imaging"), expected, "day {days}");
    }
    assert_eq!(word("84", "volume_of_spheres"), "stable", "−57.8 % is less than −65.7 %");
    assert_eq!(word("240", "rano_bm_imaging"), "progressive", "a new lesion");
    let places = study.rows("recurrences");
    let pattern = |name: &str, column: &str| {
        let own = places.iter().filter(|r| r["structure"] == name);
        own.map(|r| r[column].clone()).next_back().unwrap()
    };
    assert_eq!(pattern("GTV again 2", "pattern_gebhardt_2014"), "in_field");
    assert_eq!(pattern("GTV recurrence", "pattern_gebhardt_2014"), "marginal");
    assert_eq!(pattern("GTV new", "pattern_lee_1999"), "outside");
    assert_eq!(pattern("GTV recurrence", "recurrence"), "yes");
    let new = study.rows("new_lesions");
    let look = new.iter().find(|r| r["days_since_first_treatment"] == "240").unwrap();
    assert_eq!((look["n_new"].as_str(), look["velocity_class"].as_str()), ("1", "low"));
    assert!((number(look, "new_per_year") - 365.25 / 240.0).abs() < 1e-9);
}

/// Events are offered as rows of an outcome sheet and stay out of every number until somebody
/// empties the cell that holds them back.
#[test]
fn events_are_offered_and_held_back() {
    let study = Study::measured();
    study.decide();
    study.measure();
    let path = study.place.path().join("study/outcomes_proposed.csv");
    let text = fs::read_to_string(&path).unwrap();
    let rows = rows_of(&text);
    assert_eq!(rows.len(), 6, "three lesions and three plans: {text}");
    assert!(rows.iter().all(|r| r["held_back"].contains("empty this cell")));
    let events = |kind: &str| -> Vec<(String, String)> {
        let own = rows.iter().filter(|r| r["event_type"] == kind);
        own.map(|r| (r["day_event"].clone(), r["source_note_code"].clone())).collect()
    };
    let mut local = events("local_progression");
    local.sort();
    let between = |a, b| format!("rano_bm_imaging: between day {a} and day {b}");
    assert_eq!(
        local,
        [("240".to_owned(), between(0, 240)), ("294".to_owned(), between(122, 294))],
        "one called a recurrence, one grown by 65 % and 5.2 mm"
    );
    assert_eq!(events("new_lesion")[0].0, "240");
    assert_eq!(events("none").len(), 3);
    // Taken over, the rows are a sheet that the program reads.
    let taken: String = text
        .lines()
        .map(|line| {
            let open = "images leave it open: decide from the patient's record, then empty this cell";
            let held = "\"proposed from images alone: look at the patient's record, correct the row, then empty this cell\"";
            format!("{}\n", line.replace(held, "").replace(open, ""))
        })
        .collect();
    let sheet = study.place.path().join("outcomes.csv");
    fs::write(&sheet, taken).unwrap();
    let relate = |sheet: &Path| {
        let output = Command::cargo_bin("tidydose")
            .unwrap()
            .current_dir(study.place.path())
            .args(["relate", "--study", "study", "--outcomes"])
            .arg(sheet)
            .args(["--event", "local_progression", "--predictor", "gtv_volume_cc"])
            .output()
            .unwrap();
        String::from_utf8_lossy(&output.stderr).into_owned()
    };
    let said = relate(&sheet);
    assert!(said.contains("2 with local_progression"), "{said}");
    let said = relate(&path);
    assert!(!said.contains("2 with local_progression"), "{said}");
}

/// A follow-up is no plan: it counts in no flow, no wide table and no committee's page.
#[test]
fn a_follow_up_is_no_plan() {
    let study = Study::measured();
    let plans = study.rows("plans");
    let later: Vec<&Row> = plans.iter().filter(|r| r["plan_role"] == "follow_up").collect();
    assert_eq!((plans.len(), later.len()), (8, 5));
    assert!(later.iter().all(|r| r["in_study"] == "false"));
    assert_eq!(study.rows("plans_wide").len(), 3);
    assert_eq!(study.rows("lesions_wide").len(), 3);
    let flow = study.rows("flow");
    let found = flow.iter().find(|r| r["grain"] == "plan" && r["state"] == "found").unwrap();
    assert_eq!(found["n"], "3");
}
