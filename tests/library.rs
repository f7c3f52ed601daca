//! What other programs may call, against the tables of the program on the same files: the same
//! numbers to the last digit, and errors that say what is wrong and what would be accepted.

use std::collections::BTreeMap;
use std::path::PathBuf;

use tidydose::{Error, Settings, dvh, metric, read_dose, read_plan, read_structure_set};

use crate::measured::{Row, cohort, measured};

fn file(patient: &str, kind: &str) -> PathBuf {
    cohort().join(format!("gantry/{patient}/A-{kind}.dcm"))
}

/// The rows of the metrics of a patient by ROI Number and metric.
fn rows_of(patient: &str) -> BTreeMap<(i64, String), Row> {
    let token = measured().patients().into_iter().find(|(_, id)| id == patient).unwrap().0;
    let rows = measured().rows("metrics").into_iter().filter(|row| row["patient_id"] == token);
    let numbered = rows.filter(|row| !row["roi_number"].is_empty());
    numbered.map(|r| ((r["roi_number"].parse().unwrap(), r["metric"].clone()), r)).collect()
}

#[test]
fn the_numbers_are_those_of_the_tables() {
    let mut compared = 0;
    for patient in ["LK-06", "LK-07"] {
        let set = read_structure_set(file(patient, "structures")).unwrap();
        let dose = read_dose(file(patient, "dose")).unwrap();
        let plan = read_plan(file(patient, "plan")).unwrap();
        let rows = rows_of(patient);
        let mut numbers: Vec<i64> = rows.keys().map(|key| key.0).collect();
        numbers.dedup();
        // One target and one organ: each reads the dose again.
        for number in [numbers[0], numbers[numbers.len() - 1]] {
            let roi = set.roi_number(number).unwrap().planned(&plan);
            let found = dvh(roi, &dose, &Settings::default()).unwrap();
            for (name, outcome) in found.values() {
                let row = &rows[&(number, name.to_owned())];
                let cells =
                    [("value", outcome.value), ("low", outcome.low), ("high", outcome.high)];
                for (column, own) in cells {
                    assert_eq!(row[column].parse().ok(), own, "{patient} {number} {name} {column}");
                }
                assert_eq!(row["status"], outcome.status.word(), "{patient} {number} {name}");
                compared += 1;
            }
        }
    }
    assert!(compared > 150, "{compared}");
}

#[test]
fn a_metric_of_ones_own_is_asked_for_in_the_settings() {
    let set = read_structure_set(file("LK-07", "structures")).unwrap();
    let dose = read_dose(file("LK-07", "dose")).unwrap();
    let roi = set.roi("Brainstem").unwrap();
    let settings = Settings { metrics: vec![metric("D0.3cc[Gy]").unwrap()], ..Settings::default() };
    let found = dvh(roi, &dose, &settings).unwrap();
    assert!(found.value("D0.3cc[Gy]").unwrap().value.unwrap() > 1.0);
    let not_asked = found.value("V12Gy[cc]").unwrap_err();
    assert_eq!(not_asked, Error::NotAskedFor { metric: "V12Gy[cc]".to_owned() });
    let of_several = found.value("BaltasCOIN").unwrap_err();
    assert_eq!(of_several, Error::OfSeveralStructures { metric: "BaltasCOIN".to_owned() });
    let unknown = found.value("D0.3ccm").unwrap_err().to_string();
    assert!(unknown.contains("D0.3cc[Gy]"), "{unknown}");
    let curve = found.curve();
    assert!(curve.len() > 20 && curve.windows(2).all(|p| p[0][1] >= p[1][1]), "{curve:?}");
}

#[test]
fn what_does_not_belong_together_is_refused() {
    let set = read_structure_set(file("LK-07", "structures")).unwrap();
    let other = read_dose(file("LK-06", "dose")).unwrap();
    let roi = set.roi("Brainstem").unwrap();
    assert_eq!(dvh(roi, &other, &Settings::default()).unwrap_err(), Error::OtherFrame);
    let unread = read_dose(file("LK-07", "structures")).unwrap_err().to_string();
    assert!(unread.contains("A-structures.dcm") && unread.contains("SOPClassUID"), "{unread}");
    let missing = set.roi("Cochlea").unwrap_err();
    assert!(matches!(&missing, Error::NoSuchStructure { typed, .. } if typed == "Cochlea"));
    assert!(set.roi_number(99).is_err());
}
