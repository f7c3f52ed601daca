//! Sheets of the committee's page: planes through the hottest point with the dose of the limit, a
//! folder with a sheet of every case, marks that open sheets, and groups of the user's own.

use std::collections::BTreeSet;
use std::fs;

use assert_cmd::Command;

use crate::measured::{cohort, measured};
use crate::phantom::dicom::{CtImage, Header, uid};
use crate::review::{REQUEST, repeated, reviewed_study, tables};
use tidydose_report::{self as report, Request, SheetFolder};
use tidydose_table::run::CAUTION;

/// The sheets of a page.
fn sheets(page: &str) -> Vec<&str> {
    page.split("<article class=\"sheet\"").skip(1).collect()
}

#[test]
fn each_sheet_has_three_planes_named_with_the_dose_of_the_limit() {
    let page = report::review(&tables(), &REQUEST).unwrap().html;
    let mut with_limit = 0;
    let mut seen = 0;
    for sheet in sheets(&page) {
        let pictures = sheet.matches("<figure class=\"picture\">").count();
        if !sheet.contains("Picture of Brainstem") {
            continue;
        }
        seen += 1;
        assert_eq!(pictures, 3, "{}", &sheet[..200]);
        for plane in ["axial plane at ", "coronal plane at ", "sagittal plane at "] {
            assert!(sheet.contains(&format!("Brainstem: {plane}")), "{plane}");
        }
        assert_eq!(sheet.matches("slices show as steps").count(), 4, "two captions, two texts");
        // The line of the limit is drawn where the dose reaches it, and said where it does not.
        let drawn = sheet.matches("<polyline class=\"isodose limit\"").count();
        let said = sheet.contains("is the dose of the limit");
        assert_eq!(drawn > 0, said);
        with_limit += usize::from(said && sheet.contains(">limit 15<"));
    }
    assert!(seen > 5 && with_limit > 0, "{seen} {with_limit}");
    // Names stand beside outlines.
    assert!(page.contains("<text class=\"outline-name\"") && page.contains(">Brainstem</text>"));
}

#[test]
fn marks_open_sheets_and_numbers_link_to_them() {
    let page = report::review(&tables(), &REQUEST).unwrap().html;
    let marks = page.split("data-sheet=\"#").skip(1).map(|t| t.split('"').next().unwrap());
    let marked: BTreeSet<&str> = marks.collect();
    assert!(marked.len() > 5);
    for id in &marked {
        assert!(page.contains(&format!("<article class=\"sheet\" id=\"{id}\"")), "{id}");
    }
    // The same cases have links for the keyboard, in the numbers of the figure.
    let numbers = page.split("Numbers of the figure").skip(1);
    let numbers: String = numbers.map(|t| t.split("</table>").next().unwrap()).collect();
    assert!(numbers.matches("<a href=\"#case-").count() > 5);
    assert!(!page.split("<svg").skip(1).any(|s| s.split("</svg>").next().unwrap().contains("<a ")));
}

#[test]
fn every_case_has_a_sheet_in_the_folder() {
    let many = repeated(&tables(), 4);
    let cases = many["plans"].height();
    assert!(cases > 60);
    let folder = Some(SheetFolder { folder: "far_sheets", page: "far.html" });
    let made = report::review(&many, &Request { sheets: folder, ..REQUEST }).unwrap();
    assert_eq!(made.sheets.len(), cases);
    assert_eq!(sheets(&made.html).len(), 40);
    assert!(made.html.contains("<a href=\"far_sheets/case-41.html\">"));
    assert!(made.html.contains("in folder far_sheets."));
    for (k, sheet) in (1..).zip(&made.sheets) {
        assert_eq!(sheet.file, format!("case-{k}.html"));
        assert!(sheet.html.contains(CAUTION) && sheet.html.contains("far.html#cases"));
        assert!(sheet.html.contains(&format!("id=\"case-{k}\"")));
    }
    let without = report::review(&many, &REQUEST).unwrap();
    assert!(without.sheets.is_empty() && without.html.contains("--all-sheets"));
}

#[test]
fn the_folder_of_sheets_is_written_and_kept_clean() {
    let place = tempfile::tempdir().unwrap();
    let page = place.path().join("stem.html");
    let stale = place.path().join("stem_sheets/case-999.html");
    fs::create_dir_all(stale.parent().unwrap()).unwrap();
    fs::write(&stale, "of an earlier meeting").unwrap();
    fs::write(place.path().join("stem_sheets/notes.txt"), "of a person").unwrap();
    let study = reviewed_study();
    let arguments = ["review", "--study", &study.to_string_lossy(), "--all-sheets", "--output"];
    let mut command = Command::cargo_bin("tidydose").unwrap();
    let output = command.args(arguments).arg(&page).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let plans = measured().rows("plans").len();
    let written = fs::read_dir(stale.parent().unwrap()).unwrap().count();
    assert_eq!(written, plans + 1, "sheets and the notes");
    assert!(!stale.exists());
}

#[test]
fn cases_are_compared_by_a_column_of_ones_own() {
    let place = tempfile::tempdir().unwrap();
    let study = place.path().join("study");
    crate::documents::copy(&measured().study(), &study);
    let plans = measured().rows("plans");
    let mut groups = "plan_id,physician\nOnowhere,North\n".to_owned();
    for (k, plan) in plans.iter().enumerate() {
        let name = if k % 2 == 0 { "Dr North" } else { "Dr South" };
        groups.push_str(&format!("{},{name}\n", plan["plan_id"]));
    }
    fs::write(study.join("groups.csv"), groups).unwrap();
    let review = |group: &str, code: i32| {
        let mut command = Command::cargo_bin("tidydose").unwrap();
        let study = study.to_string_lossy().into_owned();
        let output = command.args(["review", "--study", &study, "--group", group]).output();
        let output = output.unwrap();
        assert_eq!(output.status.code(), Some(code), "{output:?}");
        String::from_utf8(output.stderr).unwrap()
    };
    let said = review("physician", 0);
    assert!(
        said.contains("groups.csv: 1 row about no plan of the study, the first `Onowhere`"),
        "{said}"
    );
    let page = fs::read_to_string(study.join("review.html")).unwrap();
    let compared =
        page.split("id=\"compared\"").nth(1).unwrap().split("</section>").next().unwrap();
    assert!(compared.contains("Dr North") && compared.contains("Dr South"));
    let said = review("physicain", 2);
    assert!(said.contains("nearest: physician"), "{said}");
}

/// Slices are made for one case of the sample, so that its picture has something behind it; all others
/// say why they have nothing.
#[test]
fn slices_are_shown_on_request_and_the_page_still_loads_nothing() {
    let place = tempfile::tempdir().unwrap();
    let archive = place.path().join("archive");
    fs::create_dir(&archive).unwrap();
    fs::copy(cohort().join("gantry/LK-07/A-structures.dcm"), archive.join("set.dcm")).unwrap();
    for k in 0..40_i32 {
        let mut header = Header::new("LK-07", &format!("slice {k}"));
        header.series_uid = uid("LK-07/slices");
        header.frame_uid = uid("LK-07/A/frame");
        let slice = CtImage::new(header, f64::from(3 * k - 90), 3.0);
        fs::write(archive.join(format!("ct{k}.dcm")), slice.bytes().unwrap()).unwrap();
    }
    let page = place.path().join("page.html");
    let review = |arguments: &[&str]| {
        let study = reviewed_study().to_string_lossy().into_owned();
        let mut command = Command::cargo_bin("tidydose").unwrap();
        let command = command.args(["review", "--study", &study, "--output"]).arg(&page);
        let output = command.args(arguments).output().unwrap();
        assert!(output.status.success(), "{output:?}");
        (fs::read_to_string(&page).unwrap(), String::from_utf8(output.stderr).unwrap())
    };
    let (with, said) = review(&["--images", &archive.to_string_lossy()]);
    assert!(said.contains("slices behind the outlines: 1 of 7 pictures; 6: "), "{said}");
    assert!(said.contains("its structure set is not in this archive"), "{said}");
    assert_eq!(with.matches("<image href=\"data:image/png;base64,").count(), 1);
    assert!(with.contains("img-src data:\"") && !with.contains("http:"));
    assert!(with.contains("Behind it: CT slice "));
    let (without, said) = review(&[]);
    assert!(!without.contains("<image") && !without.contains("img-src"));
    assert!(!said.contains("slices behind"));
}
