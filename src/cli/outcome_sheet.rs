//! The department's own sheet on its way into `relate` and `paper`: read as it stands where it has the
//! tidy form, else by the map in the study folder, which is proposed on the first run. What was read is
//! written back beside the map with an account of each cell.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use super::fault::Fault;
use super::study_key::StudyKey;
use super::terminal::Terminal;
use tidydose_table::read::{CellError, Tables};
use tidydose_table::replace_file;
use tidydose_table::run::run_document;
use tidydose_table::user::outcome_sheet::account::{self, AccountRow, Became};
use tidydose_table::user::outcome_sheet::covariates::{self, Covariate, Grain};
use tidydose_table::user::outcome_sheet::{
    self as sheet, Facts, Grid, MapRow, Meaning, OutcomeMap, PATIENT_KEY, SheetRead, StudyNames,
};
use tidydose_table::user::outcomes::{self, COLUMNS, LOST, NONE, Outcome};

/// What was read, in the study folder.
const TIDY: &str = "outcomes_read.csv";
/// What became of each cell, in the study folder.
const ACCOUNT: &str = "outcomes_account.csv";

/// Where to look.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asked<'a> {
    pub(super) study: &'a Path,
    pub(super) sheet: &'a Path,
    /// Folder of the key, or a file in it; that beside the study where none is named.
    pub(super) key: Option<&'a Path>,
}

/// What a sheet gives.
#[derive(Debug, Clone, Default)]
pub(super) struct Taken {
    pub(super) outcomes: Vec<Outcome>,
    pub(super) covariates: Vec<Covariate>,
    /// Events that the sheet has a column for, though nobody need have had them.
    pub(super) looked_for: Vec<String>,
}

/// Reads a sheet, and puts its covariates beside the columns of the tables.
///
/// # Errors
/// When it cannot be read, or its map waits for decisions; the message says which.
pub(super) fn take(
    asked: Asked<'_>,
    tables: &mut Tables,
    terminal: &Terminal,
) -> Result<Taken, Fault> {
    let grid = &Grid::read(asked.sheet)?;
    for note in &grid.notes {
        terminal.say(&format!("{}: {note}", asked.sheet.display()));
    }
    let facts = &Facts::of(tables, names(asked.study, asked.key)?)?;
    let strict = outcomes::read(asked.sheet);
    let map = OutcomeMap::read(&asked.study.join(sheet::FILE))?;
    let missing = missing(grid, &map, strict.is_ok());
    let door = Door { asked, grid, facts };
    let mut taken = match strict {
        Ok(mut rows) => {
            translate(&mut rows, facts);
            let covariates = beside(grid, &map, facts);
            // A tidy sheet has a row for each event, none for one that nobody had: the map of the
            // department's sheet knows what was looked for.
            let looked_for = events_of(map.rows());
            door.offer(map, &missing, terminal)?;
            Taken { outcomes: rows, covariates, looked_for }
        }
        Err(fault) => {
            let open = open(grid, &map);
            if !missing.is_empty() || !open.is_empty() {
                let tidy = grid.columns.iter().any(|c| c == "event_type");
                let why = tidy.then(|| fault.to_string());
                return Err(door.waiting(map, &missing, open, why)?);
            }
            let rows = rows_of(grid, &map);
            let read = sheet::read(grid, &rows, facts);
            write_back(asked.study, &read)?;
            say(&asked, &read, &rows, terminal);
            let looked_for = events_of(&rows);
            Taken { outcomes: read.outcomes, covariates: read.covariates, looked_for }
        }
    };
    let fault = |e: CellError| Fault::folder(asked.study, e.to_string());
    let velocity = covariates::initial_velocity(&taken.covariates, tables).map_err(fault)?;
    taken.covariates.extend(velocity);
    covariates::name_apart(&mut taken.covariates, tables);
    covariates::add(tables, &taken.covariates);
    Ok(taken)
}

/// Pseudonyms and days: of the key, or as they are where the study kept them.
pub(super) fn names(study: &Path, key: Option<&Path>) -> Result<Option<StudyNames>, Fault> {
    let document = run_document(study)?;
    if document.pointer("/settings/identity").and_then(|v| v.as_str()) == Some("kept") {
        return Ok(Some(StudyNames::kept()));
    }
    let key = key_of(study, key)?;
    if !key.exists() {
        return Ok(None);
    }
    Ok(Some(StudyNames::new(key.identity()?, &key.folder().join(PATIENT_KEY))?))
}

/// The key in the folder that is named, or in that of a file that is; else that beside the study.
pub(super) fn key_of(study: &Path, key: Option<&Path>) -> Result<StudyKey, Fault> {
    let Some(named) = key else { return StudyKey::beside(study) };
    let folder = if named.is_dir() { Some(named) } else { named.parent() };
    let key = StudyKey::at(folder.unwrap_or(named));
    if key.exists() {
        return Ok(key);
    }
    Err(Fault::Option {
        option: "--key",
        reason: format!(
            "{} holds no key.txt; the folder of the study's key is accepted, which `measure` makes \
             beside the study",
            key.folder().display()
        ),
    })
}

fn translate(rows: &mut [Outcome], facts: &Facts) {
    for row in rows {
        if let Some(patient) = facts.patient(&row.patient_id) {
            row.patient_id = patient.to_owned();
        }
    }
}

/// Columns of which the map has no row; in a tidy sheet only those that are not its own.
fn missing(grid: &Grid, map: &OutcomeMap, tidy: bool) -> Vec<String> {
    let own = |c: &&String| !(tidy && COLUMNS.contains(&c.as_str()));
    grid.columns.iter().filter(own).filter(|c| map.row(c).is_none()).cloned().collect()
}

fn open(grid: &Grid, map: &OutcomeMap) -> Vec<String> {
    grid.columns.iter().filter_map(|c| map.row(c)?.open()).collect()
}

/// Events that have a column of their own, and those that the words of a column of kinds stand for.
fn events_of(rows: &[MapRow]) -> Vec<String> {
    let says = [Meaning::Event, Meaning::Time, Meaning::TimeOrEnd, Meaning::Grade].map(Some);
    let own = rows.iter().filter(|r| says.contains(&r.meaning)).map(|r| &r.of);
    let kinds = rows.iter().filter(|r| r.meaning == Some(Meaning::EventType));
    let kinds = kinds.flat_map(|r| r.values.values());
    let names: BTreeSet<&String> = own.chain(kinds).collect();
    let is_event = |n: &&&String| !["", NONE, LOST].contains(&n.as_str());
    names.iter().filter(is_event).map(|n| (*n).clone()).collect()
}

/// The rows of the map in the order of the columns.
fn rows_of(grid: &Grid, map: &OutcomeMap) -> Vec<MapRow> {
    let not_used = |c: &String| MapRow {
        column: c.clone(),
        meaning: Some(Meaning::NotUsed),
        ..MapRow::default()
    };
    grid.columns.iter().map(|c| map.row(c).cloned().unwrap_or_else(|| not_used(c))).collect()
}

/// Covariates that stand in further columns of a tidy sheet.
fn beside(grid: &Grid, map: &OutcomeMap, facts: &Facts) -> Vec<Covariate> {
    let of = |c: &String| {
        let known = match c.as_str() {
            "patient_id" => Some(Meaning::Patient),
            "plan_id" => Some(Meaning::Plan),
            "lesion_id" => Some(Meaning::Lesion),
            _ => None,
        };
        let own = map.row(c).filter(|r| r.meaning == Some(Meaning::Covariate)).cloned();
        let meaning = known.or(Some(Meaning::NotUsed));
        own.unwrap_or(MapRow { column: c.clone(), meaning, ..MapRow::default() })
    };
    let rows: Vec<MapRow> = grid.columns.iter().map(of).collect();
    sheet::read(grid, &rows, facts).covariates
}

/// A sheet at the door, with what is known of the study.
struct Door<'d> {
    asked: Asked<'d>,
    grid: &'d Grid,
    facts: &'d Facts,
}

impl Door<'_> {
    /// Says that further columns of a tidy sheet are not used yet, and proposes what they are.
    fn offer(&self, map: OutcomeMap, missing: &[String], terminal: &Terminal) -> Result<(), Fault> {
        if missing.is_empty() {
            return Ok(());
        }
        self.propose(map, missing)?;
        let are = if missing.len() == 1 { "column is" } else { "columns are" };
        terminal.warn(&format!(
            "{}: {} further {are} not used in this run: {}. {} proposes what they mean; look at it and \
             run again",
            self.asked.sheet.display(),
            missing.len(),
            missing.join(", "),
            self.map_file().display()
        ));
        Ok(())
    }

    fn map_file(&self) -> PathBuf {
        self.asked.study.join(sheet::FILE)
    }

    fn propose(&self, mut map: OutcomeMap, missing: &[String]) -> Result<OutcomeMap, Fault> {
        for row in sheet::propose(self.grid, self.facts) {
            if missing.contains(&row.column) {
                map.propose(row);
            }
        }
        map.write(&self.map_file())?;
        Ok(map)
    }

    /// Why the sheet cannot be followed yet: a map was proposed, or waits for decisions.
    fn waiting(
        &self,
        map: OutcomeMap,
        missing: &[String],
        open: Vec<String>,
        why: Option<String>,
    ) -> Result<Fault, Fault> {
        let path = self.map_file();
        let mut text = why.map_or_else(String::new, |why| format!("{why}\n"));
        let lines: Vec<String> = if missing.is_empty() {
            text.push_str(&format!(
                "{}: to be decided before the sheet can be read",
                path.display()
            ));
            open
        } else {
            let map = self.propose(map, missing)?;
            text.push_str(&format!(
                "{} proposes what the columns of {} mean; look at it, correct it, run again",
                path.display(),
                self.asked.sheet.display()
            ));
            missing.iter().filter_map(|c| Some(proposed(map.row(c)?))).collect()
        };
        for line in lines {
            text.push_str("\n  ");
            text.push_str(&line);
        }
        Ok(Fault::System(text))
    }
}

/// A proposal in a line.
fn proposed(row: &MapRow) -> String {
    let form = row.form.map_or(String::new(), |f| format!(" as {}", f.word()));
    let of = if row.of.is_empty() { String::new() } else { format!(" {}", row.of) };
    let decide = match (row.open(), row.to_decide.as_str()) {
        (Some(_), "") => "; TO DECIDE".to_owned(),
        (Some(_), words) => format!("; TO DECIDE: {words}"),
        (None, "") => String::new(),
        (None, words) => format!("; look: {words}"),
    };
    let meaning = row.meaning.map_or("?", Meaning::word);
    format!("`{}`: {meaning}{of}{form} ({}){decide}", row.column, row.evidence)
}

fn write_back(study: &Path, read: &SheetRead) -> Result<(), Fault> {
    let files: [(PathBuf, Vec<u8>); 2] = [
        (study.join(TIDY), outcomes::csv(&read.outcomes)),
        (study.join(ACCOUNT), account::csv(&read.account)),
    ];
    for (path, bytes) in files {
        replace_file(&path, |to| to.write_all(&bytes))?;
    }
    Ok(())
}

/// What became of the sheet: what is used in a line, whatever is not used as a warning.
fn say(asked: &Asked<'_>, read: &SheetRead, map: &[MapRow], terminal: &Terminal) {
    let grain = match read.grain {
        Grain::Patient => "patient",
        Grain::Plan => "plan",
        Grain::Lesion => "lesion",
    };
    let count = |became| read.account.iter().filter(|a| a.became == became).count();
    terminal.say(&format!(
        "{}: {} rows, one a {grain}; of {} cells {} used, {} say nothing, {} held back, {} not \
         understood, {} unmatched, {} in columns that are not used ({ACCOUNT}, {TIDY})",
        asked.sheet.display(),
        read.rows,
        read.account.len(),
        count(Became::Used),
        count(Became::Empty),
        count(Became::HeldBack),
        count(Became::NotUnderstood),
        count(Became::NoPartner),
        count(Became::NotUsed),
    ));
    let unused: Vec<&str> = map
        .iter()
        .filter(|m| m.meaning == Some(Meaning::NotUsed))
        .map(|m| m.column.as_str())
        .collect();
    if !unused.is_empty() {
        terminal
            .say(&format!("- columns that are not used, as the map says: {}", unused.join(", ")));
    }
    for (row, reason) in &read.held {
        terminal.warn(&format!("row {row} of the sheet is held back: {reason}"));
    }
    for became in [Became::NotUnderstood, Became::NoPartner] {
        for (column, reason, rows) in grouped(&read.account, became) {
            terminal.warn(&format!("column `{column}`, {reason} (row {rows})"));
        }
    }
}

/// Reasons by column with the rows they hold for.
fn grouped(account: &[AccountRow], became: Became) -> Vec<(String, String, String)> {
    let mut rows: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
    for a in account.iter().filter(|a| a.became == became) {
        // A row without partner says so once.
        let column = if became == Became::NoPartner { "all" } else { a.column.as_str() };
        let own = rows.entry((column, &a.reason)).or_default();
        if own.last() != Some(&a.row) {
            own.push(a.row);
        }
    }
    let words = |list: &[usize]| {
        let shown: Vec<String> = list.iter().take(SHOWN).map(usize::to_string).collect();
        let more = list.len().saturating_sub(SHOWN);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        format!("{}{more}", shown.join(", "))
    };
    let one = |((column, reason), list): ((&str, &str), Vec<usize>)| {
        (column.to_owned(), reason.to_owned(), words(&list))
    };
    rows.into_iter().map(one).collect()
}

/// So many rows are named.
const SHOWN: usize = 12;
