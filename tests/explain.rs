//! A value traced back: what the text and the page say is what the tables hold, for values of every
//! kind; the terms of the bounds make the bounds; planes and voxels are those of the files; names
//! that are not there are answered with those nearest to them; texts stay texts.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Output;

use assert_cmd::Command;
use tidydose_metrics::{self as metrics, Metric, PhysicalRange};
use tidydose_report::explain::{self, CellName, ExplainError};
use tidydose_table::frame::{Cells, LoadedTable};
use tidydose_table::read_study::StudyTables;
use tidydose_table::run::CAUTION;

use crate::measured::{Row, measured};

type Tables = BTreeMap<String, LoadedTable>;

fn tables() -> Tables {
    StudyTables::of_study(&measured().study()).unwrap().read_all(explain::TABLES).unwrap()
}

/// A table that has no CSV, by way of a question.
fn rows(table: &str) -> Vec<Row> {
    let folder = tempfile::tempdir().unwrap();
    let question = folder.path().join("all.sql");
    fs::write(&question, format!("SELECT * FROM {table}")).unwrap();
    let output = run(&["ask", &question.to_string_lossy(), "--format", "csv", "--quiet"]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    crate::measured::rows_of(&text(&output.stdout))
}

fn run(arguments: &[&str]) -> Output {
    let study = measured().study();
    let mut command = Command::cargo_bin("tidydose").unwrap();
    command.args(arguments).args(["--study", &study.to_string_lossy()]).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn real(row: &Row, column: &str) -> Option<f64> {
    row[column].parse().ok()
}

/// A metric on which the list has limits for one fraction.
const LIMITED: &str = "D0.1cc[Gy]";

/// Values of every kind: exact and one-sided ones, none, of a region, of a target and of an organ.
fn chosen() -> Vec<Row> {
    let rows = measured().rows("metrics");
    let first = |fits: &dyn Fn(&Row) -> bool| rows.iter().find(|r| fits(r)).unwrap().clone();
    let organ = |r: &Row| r["structure"] == "Brainstem" && r["metric"] == "D0.03cc[Gy]";
    vec![
        first(&|r| organ(r) && r["status"] == "ok"),
        first(&|r| organ(r) && r["status"] == "outside_grid"),
        first(&|r| r["metric"] == "V12Gy[cc]" && r["status"] == "bound" && !r["role"].is_empty()),
        first(&|r| r["metric"] == "PaddickConformity" && r["status"] == "ok"),
        first(&|r| r["structure"] == "all tissue" && r["status"] == "ok"),
        first(&|r| r["status"] == "empty"),
        first(&|r| r["status"] == "unlinked"),
        first(&|r| r["structure"] == "Brainstem" && r["metric"] == LIMITED && r["status"] == "ok"),
    ]
}

fn name(row: &Row) -> CellName<'_> {
    CellName {
        case: &row["plan_id"],
        structure: Some(&row["structure_id"]),
        metric: Some(&row["metric"]),
    }
}

/// The cell of an attribute.
fn attribute<'p>(page: &'p str, name: &str) -> Vec<&'p str> {
    let start = format!("{name}=\"");
    let parts = page.split(start.as_str()).skip(1);
    parts.map(|p| p.split('"').next().unwrap()).collect()
}

#[test]
fn numbers_in_text_and_page_are_those_of_the_tables() {
    let tables = tables();
    let (files, plans) = (measured().rows("files"), measured().rows("plans"));
    let (checks, traces, bounds) =
        (measured().rows("limit_checks"), rows("traces"), rows("bounds"));
    let mut limits = 0;
    for row in chosen() {
        let explanation = explain::explain(&tables, &name(&row)).unwrap();
        let (text, page) = (explanation.text(), explanation.page());
        let or_none = |column: &str| if row[column].is_empty() { "none" } else { &row[column] };
        let wanted = format!(
            "value {} {}, low {}, high {}\n",
            or_none("value"),
            if row["unit"] == "1" { "(no unit)" } else { &row["unit"] },
            or_none("low"),
            or_none("high")
        );
        assert!(text.contains(&wanted), "{wanted} is not in\n{text}");
        for (column, shown) in [("value", "data-value"), ("low", "data-low"), ("high", "data-high")]
        {
            let head = page.split("class=\"reading\"").nth(1).unwrap().split('>').next().unwrap();
            let own: Vec<_> = row[column].parse::<f64>().iter().map(f64::to_string).collect();
            assert_eq!(attribute(head, shown), own, "{column}");
        }
        let plan = plans.iter().find(|p| p["plan_id"] == row["plan_id"]).unwrap();
        for column in ["structure_set_id", "dose_id"] {
            for id in plan[column].split(' ').filter(|id| !id.is_empty()) {
                let read = |f: &&Row| f["object_id"] == id && f["status"] == "read";
                let file = files.iter().find(read).unwrap();
                for told in [id, &file["file_id"], &file["sha256"]] {
                    assert!(text.contains(told) && page.contains(told), "{column}: {told}");
                }
            }
        }
        let own = |r: &&Row| r["structure_id"] == row["structure_id"];
        let planes = traces.iter().filter(own).filter(|t| t["kind"] == "contour_plane").count();
        let table = page.split("Contour planes in use</caption>").nth(1).unwrap_or_default();
        assert_eq!(table.matches("<th class=\"n\" scope=\"row\">").count(), planes);
        for check in checks.iter().filter(own).filter(|c| c["metric"] == row["metric"]) {
            limits += 1;
            for told in [&check["limit_source"], &check["evidence"]] {
                let dense = |t: &str| t.split_whitespace().collect::<String>();
                assert!(dense(&text).contains(&dense(told)), "{told} is not in\n{text}");
                let escaped = told.replace('&', "&amp;").replace('<', "&lt;");
                assert!(page.contains(&escaped), "{told}");
            }
        }
        let fits = |b: &&Row| own(b) && b["metric"] == row["metric"];
        for term in bounds.iter().filter(fits) {
            for column in ["ends", "slices", "dose", "cells", "chance", "together"] {
                let number = real(term, column).unwrap().to_string();
                assert!(page.contains(&format!("data-value=\"{number}\"")), "{column} {number}");
            }
        }
        assert!(page.matches(CAUTION).count() > 7 && text.ends_with("practice decide.\n"));
    }
    assert!(limits > 0, "no value with a limit was looked at");
}

/// Bounds lie at the value ± twice the root of the squares of their side, within what the metric can
/// be, and nearer only where another value of the structure leaves no room.
#[test]
fn the_terms_make_the_bounds() {
    let bounds = rows("bounds");
    let key = |r: &Row| [&r["structure_id"], &r["metric"], &r["method"]].map(Clone::clone);
    let terms: BTreeMap<_, _> = bounds.iter().map(|b| (key(b), b)).collect();
    assert_eq!(terms.len(), bounds.len());
    let columns = [
        "ends", "slices", "chords", "pixels", "dose", "summit", "cells", "step", "scatter",
        "chance",
    ];
    let (mut exact, mut kept, mut nearer) = (0, 0, 0);
    for row in measured().rows("metrics").iter().filter(|r| !r["roi_number"].is_empty()) {
        let Some(value) = real(row, "value") else {
            assert!(!terms.contains_key(&key(row)), "{row:?}");
            continue;
        };
        let own = terms[&key(row)];
        let squares: f64 = columns.iter().map(|c| real(own, c).unwrap().powi(2)).sum();
        let together = real(own, "together").unwrap();
        assert!((squares.sqrt() - together).abs() <= 1e-12 * together, "{own:?}");
        let metric: Metric = metrics::parse(&row["metric"]).unwrap();
        let PhysicalRange { least, most } = metric.definition.physical_range;
        // Sums of squares in another order differ in the last digits; a value that another one holds
        // moves by what single precision leaves open of a sample's volume, and its bounds do not.
        let single = f64::from(f32::EPSILON);
        let near = |a: f64, b: f64| (a - b).abs() <= single * (a.abs() + b.abs()) + 1e-9 * together;
        let [below, above] = ["below", "above"].map(|c| real(own, c).unwrap());
        assert!(below.max(above) <= together * (1.0 + 1e-12), "{own:?}");
        let (low, from_terms) = (real(row, "low").unwrap(), (value - 2.0 * below).max(least));
        assert!(near(low, from_terms) || (low > from_terms && low <= value), "{row:?}");
        nearer += usize::from(!near(low, from_terms));
        match real(row, "high") {
            Some(high) => {
                let from_terms = (value + 2.0 * above).min(most);
                assert!(near(high, from_terms) || (high < from_terms && high >= value), "{row:?}");
                nearer += usize::from(!near(high, from_terms));
            }
            None => assert_eq!(row["status"], "bound", "{row:?}"),
        }
        exact += usize::from(together > 0.0);
        kept += 1;
    }
    assert!(kept > 5000 && exact > kept / 2, "{exact} of {kept}");
    assert!(nearer < kept / 10, "{nearer} bounds of {kept} values are held by others");
}

/// As many planes as table structures says, over the height that its spacing gives, and a hottest
/// point that is no hotter than the largest dose allows.
#[test]
fn planes_and_hottest_points_are_those_of_the_structures() {
    let traces = rows("traces");
    let metrics = measured().rows("metrics");
    let (mut planes, mut points) = (0, 0);
    for s in measured().rows("structures") {
        let own = |kind: &str| {
            let of_kind = |t: &&Row| t["structure_id"] == s["structure_id"] && t["kind"] == kind;
            traces.iter().filter(of_kind).collect::<Vec<_>>()
        };
        let stack = own("contour_plane");
        assert_eq!(stack.len(), s["n_planes"].parse().unwrap_or(0), "{s:?}");
        let at: Vec<f64> = stack.iter().map(|t| real(t, "plane_mm").unwrap()).collect();
        assert!(at.is_sorted(), "{at:?}");
        planes += at.len();
        let (hottest, voxel) = (own("hottest_point"), own("nearest_voxel"));
        let max = |m: &&Row| m["structure_id"] == s["structure_id"] && m["metric"] == "Max[Gy]";
        let max = metrics.iter().find(max);
        let Some(most) = max.and_then(|m| real(m, "value")) else {
            assert!(hottest.is_empty() || max.is_none_or(|m| m["status"] != "ok"), "{s:?}");
            continue;
        };
        let dose = real(hottest[0], "dose_gy").unwrap();
        // The largest dose is that of the finer cells, raised to the summit: the middle of a coarse
        // cell may lie a little above it, and below it by what the dose falls within a cell.
        assert!(dose < 1.01 * most && dose > 0.9 * most, "{s:?}: {dose}, {most}");
        let position = |t: &Row| ["x_mm", "y_mm", "z_mm"].map(|c| real(t, c).unwrap());
        let (a, b) = (position(hottest[0]), position(voxel[0]));
        let far = a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt();
        // Half the diagonal of a voxel; the coarsest grid of the cohort has 3 mm.
        assert!(far <= 0.5 * 3.0 * 3.0_f64.sqrt() + 1e-6, "{s:?}: {far} mm");
        assert!(real(voxel[0], "voxel_row").unwrap() >= 1.0);
        points += 1;
    }
    assert!(planes > 1000 && points > 80, "{planes} planes, {points} points");
}

#[test]
fn a_name_that_is_not_there_is_answered_with_the_nearest() {
    let row = &chosen()[0];
    let says = |arguments: &[&str], wanted: &[&str]| {
        let output = run(&[&["explain"], arguments].concat());
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        let message = text(&output.stderr);
        for word in wanted {
            assert!(message.contains(word), "{word} is not in {message}");
        }
        assert_eq!(text(&output.stdout), "");
    };
    let (plan, patient) = (row["plan_id"].as_str(), row["patient_id"].as_str());
    says(&[&plan[..8], "x", "y"], &["is not in the tables; nearest: ", plan]);
    says(&[plan, "Brain stem", "y"], &["structure of the case Brain stem", "nearest: Brainstem"]);
    says(&[plan, "Brainstem", "D0.03cc"], &["metric of the structure", "nearest: D0.03cc[Gy], "]);
    says(&[plan, "Brainstem"], &["name a metric of", "D0.03cc[Gy], "]);
    says(&[patient], &["name a structure of", "Brainstem"]);
    says(&[plan, "Brainstem", "--picture", "x.jpg"], &["--picture", ".svg or .png"]);
    says(&[plan, "all tissue", "--picture", "x.svg"], &["no picture of"]);
    let plans = measured().rows("plans");
    let times = |p: &Row| plans.iter().filter(|o| o["patient_id"] == p["patient_id"]).count();
    let several = plans.iter().find(|p| times(p) > 1).unwrap();
    says(&[&several["patient_id"], "GTV", "Max[Gy]"], &["stands for several", &several["plan_id"]]);
    let mut tables = tables();
    tables.remove("metrics");
    let fault = explain::explain(&tables, &name(row)).unwrap_err();
    assert_eq!(fault, ExplainError::Table("metrics"));
}

#[test]
fn without_the_other_tables_the_value_is_still_told() {
    let row = &chosen()[0];
    let mut tables = tables();
    tables.retain(|name, _| name == "metrics" || name == "plans");
    let explanation = explain::explain(&tables, &name(row)).unwrap();
    let (text, page) = (explanation.text(), explanation.page());
    assert!(text.contains(&format!("value {} Gy", row["value"])), "{text}");
    assert!(text.contains("The study has no table files"), "{text}");
    assert!(page.contains("No contour plane is in use.") && page.contains("No picture"));
}

#[test]
fn texts_stay_texts_on_the_page_and_in_the_picture() {
    const EVIL: &str = "<script>alert('x')</script>\" onload=\"x]]>&\u{1}";
    let all = chosen();
    let row = all.last().unwrap();
    for (table, column) in [
        ("metrics", "structure"),
        ("metrics", "method"),
        ("metrics", "reason"),
        ("plans", "technology"),
        ("structures", "name_original"),
        ("limit_checks", "limit_source"),
        ("finding_details", "message"),
        ("pictures", "drawn"),
        ("dictionary", "meaning"),
    ] {
        let mut tables = tables();
        let frame = tables.remove(table).unwrap();
        let (height, evil) = (frame.height(), format!("{column}{EVIL}"));
        let mut frame = frame.with(column, Cells::texts(vec![Some(evil.as_str()); height]));
        if table == "finding_details" {
            let (plan, number) = (row["plan_id"].as_str(), row["roi_number"].parse().unwrap());
            frame = frame
                .with("plan_id", Cells::texts(vec![Some(plan); height]))
                .with("roi_number", Cells::Integer(vec![Some(number); height]));
        }
        tables.insert(table.to_owned(), frame);
        let explanation = explain::explain(&tables, &name(row)).unwrap();
        let page = explanation.page();
        assert!(!page.contains("<script") && !page.contains("\" onload=\""), "{table}.{column}");
        assert!(page.contains(&format!("{column}&lt;script&gt;")), "{table}.{column}");
        assert!(!explanation.text().contains('\u{1}'), "{table}.{column}");
        let drawing = explain::picture(&tables, &name(row)).unwrap();
        assert!(!drawing.contains("<script") && !drawing.contains('\u{1}'), "{table}.{column}");
        assert!(tidydose_report::png::png(&drawing).is_ok(), "{table}.{column} is no drawing");
    }
    let page = explain::explain(&tables(), &name(row)).unwrap().page();
    for reference in ["http:", "https:", "src=", "url(", "@import", "<link", "<script", "//www"] {
        assert!(!page.contains(reference), "{reference}");
    }
    for link in attribute(&page, "href") {
        let id = link.strip_prefix('#').unwrap_or_else(|| panic!("{link} leaves the page"));
        assert!(page.contains(&format!("id=\"{id}\"")), "{link} leads nowhere");
    }
}

/// Width and height of a PNG, and how many bytes it has.
fn size_of(path: &Path) -> ([u32; 2], usize) {
    let bytes = fs::read(path).unwrap();
    assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
    let number = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
    ([number(16), number(20)], bytes.len())
}

#[test]
fn pictures_and_sheets_are_written_as_their_ending_says() {
    let folder = tempfile::tempdir().unwrap();
    let row = &chosen()[0];
    let write = |arguments: &[&str], file: &str| {
        let path = folder.path().join(file);
        let place = path.to_string_lossy().into_owned();
        let output = run(&[&["explain"], arguments, &[&place]].concat());
        assert!(output.status.success(), "{}", text(&output.stderr));
        assert_eq!(text(&output.stdout), "");
        assert!(text(&output.stderr).contains(CAUTION));
        path
    };
    let plan = row["plan_id"].as_str();
    let one = write(&[plan, "Brainstem", "--picture"], "one.svg");
    let one = fs::read_to_string(one).unwrap();
    assert!(one.starts_with("<svg xmlns=") && one.contains("Brainstem: axial plane at"));
    let ([width, height], _) = size_of(&write(&[plan, "Brainstem", "--picture"], "one.PNG"));
    // Three planes beside each other.
    assert!(height > 400 && width > height, "{width} by {height}");
    let sheet = fs::read_to_string(write(&[plan, "--contact-sheet"], "all.svg")).unwrap();
    let drawn: std::collections::BTreeSet<_> = rows("pictures")
        .into_iter()
        .filter(|p| p["plan_id"] == plan)
        .map(|p| p["structure_id"].clone())
        .collect();
    assert!(drawn.len() > 1);
    assert_eq!(sheet.matches("class=\"ground\"").count(), 3 * drawn.len());
    let ([_, _], bytes) = size_of(&write(&[plan, "--contact-sheet"], "all.png"));
    assert!(bytes > 20_000, "{bytes} bytes");
}
