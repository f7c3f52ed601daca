//! What a privacy office asks before tables leave: groups of few patients, days that one patient alone
//! has, texts, great ages, and what else may be recognised. A list of what is there, by centre; whether
//! it may leave is decided by people. Reads the pool; changes nothing.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::texts::{Treatment, treatment};
use super::{CENTRE, OUTCOMES, PoolError};
use crate::all_tables::of_study;
use crate::analysis::ChosenColumns;
use crate::column::{Cell, Definition, Kind};
use crate::dictionary::definitions;
use crate::frame::{LoadedTable, texts};
use crate::read_study::StudyTables;
use crate::write_csv::write_records;
use crate::write_file::{WriteError, replace_file};

/// Groups of fewer patients are named: what many registries ask of tables that are passed on.
pub const FEW: usize = 5;
/// From this age on people are few everywhere.
const GREAT_AGE: f64 = 90.0;
/// Columns of the report.
const COLUMNS: [&str; 8] =
    ["check", "centre", "table", "column", "found", "n_patients", "n_cells", "what_to_do"];

/// One thing to look at.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct SharingRow {
    /// Which check.
    pub check: &'static str,
    /// The centre; empty for all of them.
    pub centre: String,
    /// The table.
    pub table: String,
    /// The column, or two that were crossed.
    pub column: String,
    /// What was found.
    pub found: String,
    /// How many patients have it; absent where patients are not counted.
    pub patients: Option<usize>,
    /// How many cells hold it; absent where cells are not counted.
    pub cells: Option<usize>,
    /// What a person can do.
    pub remedy: &'static str,
}

const SMALL: &str = "small_cell";
const RARE_DAY: &str = "rare_day";
const TEXT: &str = "free_text";
const WITHHELD: &str = "withheld_text";
const AGE: &str = "great_age";
const RECOGNISED: &str = "recognisable";

/// Looks through the pool at `folder`.
///
/// # Errors
/// When a table cannot be read.
pub fn sharing(
    folder: &Path,
    columns: &ChosenColumns,
    keep_texts: bool,
) -> Result<Vec<SharingRow>, PoolError> {
    let tables = StudyTables::of_study(folder)?;
    let mut rows = Vec::new();
    let read = |name: &str| tables.read(name).transpose();
    let plans = read("plans")?.unwrap_or_default();
    for column in ["technology", "era", "intent", "fixation", "fractions_planned", "n_courses"] {
        rows.extend(small_cells(("plans", &plans), &[column]));
    }
    rows.extend(small_cells(("plans", &plans), &["technology", "era"]));
    rows.extend(small_cells(("plans", &plans), &["technology", "fractions_planned"]));
    let stem = OUTCOMES.trim_end_matches(".csv");
    let outcomes = read(stem)?.map(|frame| with_centre(frame, &plans)).unwrap_or_default();
    for column in ["event_type", "grade", "grade_scale", "vital_status"] {
        rows.extend(small_cells((stem, &outcomes), &[column]));
    }
    for (name, frame) in [("plans", &plans), (stem, &outcomes)] {
        rows.extend(rare_days(name, frame));
        rows.extend(great_ages(name, frame));
    }
    for table in of_study(true) {
        let Some(frame) = read(table.name)? else { continue };
        for column in definitions(table, columns) {
            rows.extend(free_text((table.name, &frame), &column, keep_texts));
        }
        rows.extend(recognisable(table.name, &frame));
    }
    Ok(rows)
}

/// The table with the centre of each patient, by the plans.
fn with_centre(frame: LoadedTable, plans: &LoadedTable) -> LoadedTable {
    let pairs = texts(plans, "patient_id").into_iter().zip(texts(plans, CENTRE));
    let centres: BTreeMap<&str, &str> = pairs.filter_map(|(p, c)| Some((p?, c?))).collect();
    let own: Vec<Option<String>> = texts(&frame, "patient_id")
        .into_iter()
        .map(|p| p.and_then(|p| centres.get(p)).map(|c| (*c).to_owned()))
        .collect();
    let cells = crate::frame::Cells::texts(own.iter().map(Option::as_deref));
    frame.with(CENTRE, cells)
}

/// A cell as it reads in the report.
fn shown(cell: &Cell<'_>) -> Option<String> {
    Some(match cell {
        Cell::Missing => return None,
        Cell::Text(text) => text.to_string(),
        Cell::Integer(n) => n.to_string(),
        Cell::Real(value) => value.to_string(),
        Cell::Boolean(yes) => yes.to_string(),
    })
}

/// Patients by centre and level of the columns; a row without one of them is in no group.
fn groups(frame: &LoadedTable, columns: &[&str]) -> BTreeMap<[String; 2], BTreeSet<String>> {
    let mut groups: BTreeMap<[String; 2], BTreeSet<String>> = BTreeMap::new();
    let (centres, patients) = (texts(frame, CENTRE), texts(frame, "patient_id"));
    for row in 0..frame.height() {
        let levels: Vec<String> = columns
            .iter()
            .filter_map(|c| shown(&frame.cells(c).map_or(Cell::Missing, |cells| cells.at(row))))
            .collect();
        let patient = patients.get(row).copied().flatten();
        let centre = centres.get(row).copied().flatten().unwrap_or_default();
        if let Some(patient) = patient.filter(|_| levels.len() == columns.len()) {
            let key = [centre.to_owned(), levels.join(", ")];
            groups.entry(key).or_default().insert(patient.to_owned());
        }
    }
    groups
}

fn small_cells((table, frame): (&str, &LoadedTable), columns: &[&str]) -> Vec<SharingRow> {
    let mut rows = Vec::new();
    for ([centre, level], patients) in groups(frame, columns) {
        if patients.len() < FEW {
            rows.push(SharingRow {
                check: SMALL,
                centre,
                table: table.to_owned(),
                column: columns.join(" and "),
                found: level,
                patients: Some(patients.len()),
                cells: None,
                remedy: "merge groups before a table of them is printed, or leave the patients out",
            });
        }
    }
    rows
}

/// Days that one patient of a centre alone has. Those of plans are shifted by hidden days; what lies
/// between two days of a patient is not.
fn rare_days(table: &str, frame: &LoadedTable) -> Vec<SharingRow> {
    let mut rows = Vec::new();
    let days = frame.names().filter(|n| n.starts_with("day_") || n.starts_with("days_"));
    for column in days.map(str::to_owned).collect::<Vec<_>>() {
        let mut alone: BTreeMap<String, usize> = BTreeMap::new();
        for ([centre, _], patients) in groups(frame, &[column.as_str()]) {
            *alone.entry(centre).or_insert(0) += usize::from(patients.len() == 1);
        }
        for (centre, n) in alone.into_iter().filter(|(_, n)| *n > 0) {
            rows.push(SharingRow {
                check: RARE_DAY,
                centre,
                table: table.to_owned(),
                column: column.clone(),
                found: "days that one patient alone has".to_owned(),
                patients: None,
                cells: Some(n),
                remedy: "days count from a hidden zero of each patient; who knows two dates of a patient \
                         may find the interval again: pass on months where days are not needed",
            });
        }
    }
    rows
}

fn great_ages(table: &str, frame: &LoadedTable) -> Vec<SharingRow> {
    let mut rows = Vec::new();
    let of_age = |name: &&str| name.split('_').any(|word| word == "age");
    for column in frame.names().filter(of_age).map(str::to_owned).collect::<Vec<_>>() {
        for ([centre, level], patients) in groups(frame, &[column.as_str()]) {
            if level.parse::<f64>().is_ok_and(|age| age >= GREAT_AGE) {
                rows.push(SharingRow {
                    check: AGE,
                    centre,
                    table: table.to_owned(),
                    column: column.clone(),
                    found: level,
                    patients: Some(patients.len()),
                    cells: None,
                    remedy: "write 90 for all ages from 90 on",
                });
            }
        }
    }
    rows
}

/// Texts that went along because they were asked for, and those that stayed behind.
fn free_text(
    (table, frame): (&str, &LoadedTable),
    column: &Definition,
    keep_texts: bool,
) -> Option<SharingRow> {
    let treatment = treatment(table, column);
    if column.kind != Kind::Text || treatment == Treatment::Kept {
        return None;
    }
    let filled = texts(frame, &column.name).into_iter().flatten().count();
    let row = SharingRow {
        table: table.to_owned(),
        column: column.name.to_string(),
        ..SharingRow::default()
    };
    if keep_texts {
        return (filled > 0).then(|| SharingRow {
            check: TEXT,
            found: "texts as people or machines wrote them".to_owned(),
            cells: Some(filled),
            remedy: "read them all, or leave --keep-texts away",
            ..row
        });
    }
    let found = match treatment {
        Treatment::Structure => "names that are no standard ones stand as their role",
        Treatment::Numbered => "names stand as numbers",
        _ => "texts stayed behind",
    };
    Some(SharingRow {
        check: WITHHELD,
        found: found.to_owned(),
        remedy: "nothing; the texts are in the study of the centre",
        ..row
    })
}

/// What somebody who has the files could find again.
fn recognisable(table: &str, frame: &LoadedTable) -> Option<SharingRow> {
    let (column, found, remedy) = match table {
        "files" => (
            "sha256",
            "digests of whole files",
            "who has a file finds its row by them; they are needed to see the same file at two centres",
        ),
        "pictures" => (
            "points",
            "outlines of structures in their planes, never of the skin",
            "shapes may be recognised by who has the images; take the table away where no pages are made",
        ),
        _ => return None,
    };
    let cells = texts(frame, column).into_iter().flatten().count();
    (cells > 0).then(|| SharingRow {
        check: RECOGNISED,
        table: table.to_owned(),
        column: column.to_owned(),
        found: found.to_owned(),
        cells: Some(cells),
        remedy,
        ..SharingRow::default()
    })
}

/// The report in words: how many rows there are for each check.
#[must_use]
pub fn summary(rows: &[SharingRow]) -> String {
    let count = |check: &str| rows.iter().filter(|r| r.check == check).count();
    format!(
        "{} groups of fewer than {FEW} patients, {} columns of days with days of one patient alone, {} \
         ages of 90 or more, {} columns of texts went along, {} stayed behind",
        count(SMALL),
        count(RARE_DAY),
        count(AGE),
        count(TEXT),
        count(WITHHELD)
    )
}

/// Writes the report.
///
/// # Errors
/// When the file cannot be written.
pub fn write_report(rows: &[SharingRow], path: &Path) -> Result<(), WriteError> {
    let text = |t: &str| if t.is_empty() { Cell::Missing } else { Cell::Text(t.to_owned().into()) };
    let number = |n: Option<usize>| {
        n.and_then(|n| i64::try_from(n).ok()).map_or(Cell::Missing, Cell::Integer)
    };
    let cells = |row: &SharingRow| {
        vec![
            text(row.check),
            text(&row.centre),
            text(&row.table),
            text(&row.column),
            text(&row.found),
            number(row.patients),
            number(row.cells),
            text(row.remedy),
        ]
    };
    replace_file(path, |to| write_records(&COLUMNS, rows.iter().map(cells), to))
}
