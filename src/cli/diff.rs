//! `diff`: what changed between two studies and why, as a summary on stdout or as a list in CSV.

use std::collections::BTreeMap;
use std::io;
use std::path::Path;

use tidydose_table::frame::LoadedTable;

use super::args::Diff;
use super::fault::Fault;
use super::outcome::Outcome;
use super::terminal::{Terminal, print};
use tidydose_report::difference::{Change, Difference, Side, TABLES, difference};
use tidydose_table::read_study::StudyTables;
use tidydose_table::run::{CAUTION, run_texts};
use tidydose_table::write_csv::{number, write_records};
use tidydose_table::{Cell, replace_file};

/// So many of the largest changes are shown in the summary.
const SHOWN: usize = 10;

const COLUMNS: [&str; 9] =
    ["table", "change", "patient_id", "row", "column", "before", "after", "difference", "why"];

/// Runs the command.
///
/// # Errors
/// When a study cannot be read, or the list cannot be written.
pub(super) fn run(typed: &Diff, terminal: &Terminal) -> Result<Outcome, Fault> {
    let tables = [read(&typed.before)?, read(&typed.after)?];
    let runs = [run_texts(&typed.before), run_texts(&typed.after)];
    let side = |i: usize| Side {
        tables: &tables[i],
        version: &runs[i].version,
        settings: &runs[i].settings,
    };
    let found = difference(side(0), side(1));
    let [in_both, only_before, only_after] = found.plans;
    if in_both == 0 {
        let hint = if only_before > 0 && only_after > 0 {
            "; were they made with the same key?"
        } else {
            ""
        };
        terminal.warn(&format!("the studies have no plan in common, nothing was compared{hint}"));
    }
    if let Some(path) = &typed.output {
        replace_file(path, |to| write_csv(&found.changes, to))?;
        terminal.say(&format!("{}: {} rows", path.display(), found.changes.len()));
    }
    print(&summary(&found)).map_err(|e| Fault::System(format!("stdout: {e}")))?;
    terminal.say(CAUTION);
    Ok(Outcome::of_count(in_both))
}

fn read(study: &Path) -> Result<BTreeMap<String, LoadedTable>, Fault> {
    let files = StudyTables::of_study(study)?;
    let tables = files.read_all(TABLES)?;
    if tables.contains_key("plans") {
        return Ok(tables);
    }
    Err(Fault::folder(study, "has no table plans; `tidydose measure` writes it"))
}

fn write_csv(changes: &[Change], to: &mut dyn io::Write) -> io::Result<()> {
    let text = |t: &str| if t.is_empty() { Cell::Missing } else { Cell::Text(t.to_owned().into()) };
    let rows = changes.iter().map(|c| {
        let words = [c.table, c.kind, &c.patient, &c.row, &c.column, &c.before, &c.after];
        let mut cells: Vec<Cell<'_>> = words.iter().map(|w| text(w)).collect();
        cells.push(c.difference.map_or(Cell::Missing, Cell::Real));
        cells.push(text(&c.why));
        cells
    });
    write_records(&COLUMNS, rows, to)
}

fn summary(found: &Difference) -> String {
    let mut lines: Vec<(String, usize)> = Vec::new();
    for (what, counts) in [("patients", found.patients), ("plans", found.plans)] {
        for (place, n) in ["in both", "only in A", "only in B"].iter().zip(counts) {
            lines.push((format!("{what:13} {place}"), n));
        }
    }
    lines.push(("cells         compared".to_owned(), found.cells));
    let mut groups: BTreeMap<String, usize> = BTreeMap::new();
    for c in &found.changes {
        *groups.entry(format!("{:13} {}: {}", c.table, c.kind, c.why)).or_insert(0) += 1;
    }
    lines.extend(groups);
    let width = lines.iter().map(|(l, _)| l.chars().count()).max().unwrap_or(0);
    let mut text: String = lines.iter().map(|(l, n)| format!("{l:width$}  {n:>8}\n")).collect();
    if found.changes.is_empty() {
        text.push_str("no difference\n");
    }
    for (c, share) in largest(&found.changes) {
        text.push_str(&format!(
            "{} {} {}: {} to {}, {} % ({})\n",
            c.table,
            c.row,
            c.column,
            c.before,
            c.after,
            number((share * 1000.0).round() / 10.0),
            c.why
        ));
    }
    text
}

/// The values that changed most, against their size before.
fn largest(changes: &[Change]) -> Vec<(&Change, f64)> {
    let share = |c: &Change| c.difference.zip(c.before.parse::<f64>().ok()).map(|(d, b)| d / b);
    let values = changes.iter().filter(|c| c.column == "value" || c.column == "volume_cc");
    let mut list: Vec<(&Change, f64)> =
        values.filter_map(|c| Some((c, share(c).filter(|s| s.is_finite())?))).collect();
    list.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
    list.truncate(SHOWN);
    list
}
