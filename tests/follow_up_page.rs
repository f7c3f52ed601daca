//! The page of the time after the treatment, from files to HTML: what stands on it is what the
//! tables say, who is not drawn is told, and nothing is taken from a proposal.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::path::Path;

use assert_cmd::Command;

use crate::follow_up::Study;
use crate::measured::Row;

/// Exit code, what was said, and the page.
struct Made {
    code: i32,
    said: String,
    html: String,
}

fn made(place: &Path) -> Made {
    let output = Command::cargo_bin("tidydose")
        .unwrap()
        .current_dir(place)
        .args(["follow-up", "--output", "page.html"])
        .output()
        .unwrap();
    Made {
        code: output.status.code().unwrap(),
        said: String::from_utf8(output.stderr).unwrap(),
        html: fs::read_to_string(place.join("page.html")).unwrap(),
    }
}

/// The sheet of a patient.
fn sheet_of<'p>(page: &'p str, patient: &str) -> &'p str {
    let begin = page.find(&format!("tabindex=\"-1\">Patient {patient}<")).unwrap();
    let end = page[begin..].find("</article>").unwrap();
    &page[begin..begin + end]
}

/// A number with both bounds, as cells carry them unrounded.
fn cell(row: &Row, [value, low, high]: [&str; 3]) -> String {
    format!("data-value=\"{}\" data-low=\"{}\" data-high=\"{}\"", row[value], row[low], row[high])
}

#[test]
fn numbers_on_the_page_are_those_of_the_tables() {
    let study = Study::measured();
    study.decide();
    study.measure();
    let page = made(study.place());
    assert_eq!(page.code, 0, "{}", page.said);
    let mut compared = 0;
    let mut holds = |row: &Row, columns: &[[&str; 3]]| {
        let sheet = sheet_of(&page.html, &row["patient_id"]);
        for columns in columns.iter().filter(|c| !row[c[0]].is_empty()) {
            assert!(sheet.contains(&cell(row, *columns)), "{columns:?} of {row:?}");
            compared += 1;
        }
    };
    for row in study.rows("follow_up") {
        holds(
            &row,
            &[
                ["volume_cc", "volume_low_cc", "volume_high_cc"],
                ["longest_mm", "longest_low_mm", "longest_high_mm"],
                [
                    "volume_change_percent",
                    "volume_change_low_percent",
                    "volume_change_high_percent",
                ],
            ],
        );
    }
    for row in study.rows("recurrences") {
        holds(
            &row,
            &[
                ["inside_95_percent", "inside_95_low_percent", "inside_95_high_percent"],
                ["inside_50_percent", "inside_50_low_percent", "inside_50_high_percent"],
                ["centre_dose_gy", "centre_dose_low_gy", "centre_dose_high_gy"],
                ["gap_to_isodose_mm", "gap_to_isodose_low_mm", "gap_to_isodose_high_mm"],
            ],
        );
    }
    for row in study.rows("responses") {
        holds(&row, &[["change_percent", "change_low_percent", "change_high_percent"]]);
        let sheet = sheet_of(&page.html, &row["patient_id"]);
        assert!(sheet.contains(&format!("<strong>{}</strong>", row["response"])), "{row:?}");
    }
    // Nine lesions at a time with two sizes, five changes, six targets with four, ten sums.
    assert_eq!(compared, 9 * 2 + 5 + 6 * 4 + 10);
    for row in study.rows("recurrences") {
        let sheet = sheet_of(&page.html, &row["patient_id"]);
        let class = row["pattern_gebhardt_2014"].replace('_', " ");
        assert!(sheet.contains(&format!("Gebhardt et al. 2014: <strong>{class}</strong>")));
    }
}

#[test]
fn the_largest_growth_comes_first_and_recurrences_have_pictures() {
    let study = Study::measured();
    study.decide();
    study.measure();
    let page = made(study.place()).html;
    // 12 to 9 mm: −57.8 %; 14 to 8 mm: −81.3 %; 12 to 6 mm: −87.5 %.
    let best = &page[page.find("id=\"best\"").unwrap()..page.find("id=\"sheets\"").unwrap()];
    let places = ["−57.8", "−81.3", "−87.5"].map(|n| best.find(&n.replace('−', "-")).unwrap());
    assert!(places.is_sorted(), "{places:?}");
    assert!(best.contains("-65.7 and 72.8 %"), "the thresholds of the criterion");
    assert!(best.contains("3 lesions of 3 patients drawn."));
    assert!(page.contains("1 later drawing: new: there is no treatment of it to compare with"));
    // What is called a recurrence and what is new, in three planes each.
    assert_eq!(page.matches("<figure class=\"picture\">").count(), 6);
    assert!(page.contains("GTV recurrence, day 240; prescribed 20 Gy."));
    assert!(page.contains("later structure set, 1 recurrence, 1 new, progressive by images"));
    assert!(page.matches("Research and quality review only").count() > 5);
    assert!(page.contains("necrosis and progression look alike"));
}

#[test]
fn what_nobody_has_decided_is_listed_and_counts_nowhere() {
    let study = Study::measured();
    let page = made(study.place());
    assert!(page.said.contains("6 drawings are matched to no lesion"), "{}", page.said);
    let html = &page.html;
    let open = &html[html.find("id=\"open\"").unwrap()..html.find("id=\"over-time\"").unwrap()];
    for row in study.rows("follow_up").iter().filter(|r| r["time_point"] == "follow_up") {
        assert!(open.contains(&row["lesion_id"]), "{row:?}");
    }
    assert!(open.contains("same_as") && open.contains("lesions.csv"));
    assert!(!html.contains("id=\"over-time-figure-t\"") && !html.contains("id=\"best-figure-t\""));
    assert!(html.contains("6 later drawing: lesions.csv does not say which treated lesion it is"));
    assert!(
        html.contains("<strong>undecided</strong>") && !html.contains("<strong>partial</strong>")
    );
}

#[test]
fn a_study_without_a_later_structure_set_says_what_would_bring_one_in() {
    let study = Study::measured();
    fs::remove_dir_all(study.place().join("archive/follow-up")).unwrap();
    study.measure();
    let page = made(study.place());
    assert_eq!(page.code, 1);
    assert!(page.said.contains("no structure set was drawn on images after a treatment"));
    assert!(page.html.contains("(3 patients)") && page.html.contains("object-unused"));
}
