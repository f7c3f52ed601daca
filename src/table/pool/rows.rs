//! Rows of a table of one study as rows of the pool: the centre first, texts as far as they leave,
//! findings under names of their own; the flow added up, the dictionary of the pool.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use super::texts::{StandardNames, Treatment, treatment};
use super::{CENTRE, Member, PoolError, says_centre};
use crate::all_tables::of_study;
use crate::analysis::ChosenColumns;
use crate::column::{Cell, Definition, RowSource, Sheet};
use crate::dictionary::definitions;
use crate::frame::{Cells, LoadedTable, texts};
use crate::write_tables::GivenTable;

/// Columns held in memory as the rows of a sheet.
struct GivenRows {
    columns: Vec<Cells>,
    rows: usize,
}

impl RowSource for GivenRows {
    fn count(&self) -> usize {
        self.rows
    }

    fn cell(&self, row: usize, column: usize) -> Cell<'_> {
        self.columns.get(column).map_or(Cell::Missing, |cells| cells.at(row))
    }
}

fn sheet_of<'a>(definitions: &[Definition], columns: Vec<Cells>, rows: usize) -> Sheet<'a> {
    Sheet::of_rows(definitions.to_vec(), Box::new(GivenRows { columns, rows }))
}

/// The rows of a member; the members before it are those whose findings have their names already.
pub(super) fn given_sheet<'a>(
    (member, earlier): (&Member, &[Member]),
    given: &GivenTable,
    keep_texts: bool,
) -> Result<Sheet<'a>, PoolError> {
    let table = given.table.name;
    let frame = member.frame(table)?;
    let renamed = taken(table, member, earlier)?;
    let mut columns = Vec::new();
    for definition in &given.columns {
        let name = &*definition.name;
        let cells = match frame.cells(name) {
            _ if name == CENTRE => Cells::texts(member.centres_of(&frame)),
            None => Cells::of(definition.kind),
            Some(cells) if ID_COLUMNS.contains(&name) => apart(member, &frame, cells, &renamed),
            Some(cells) if keep_texts => cells.clone(),
            Some(cells) => match treatment(table, definition) {
                Treatment::Kept => cells.clone(),
                Treatment::Withheld => Cells::texts(vec![None; frame.height()]),
                Treatment::Structure => structures(member, &frame, name),
                Treatment::Numbered => numbered(&frame, name),
            },
        };
        columns.push(cells);
    }
    Ok(sheet_of(&given.columns, columns, frame.height()))
}

/// Pseudonyms of findings: those about no patient may be alike in studies with the same key.
const ID_COLUMNS: [&str; 2] = ["finding_id", "detail_id"];

/// Pseudonyms of findings that earlier members have already.
fn taken(table: &str, member: &Member, earlier: &[Member]) -> Result<BTreeSet<String>, PoolError> {
    let mut found = BTreeSet::new();
    if !["findings", "finding_details"].contains(&table) {
        return Ok(found);
    }
    for (of, column) in [("findings", "finding_id"), ("finding_details", "detail_id")] {
        let own = member.distinct(of, column)?;
        for other in earlier {
            found.extend(other.distinct(of, column)?.intersection(&own).cloned());
        }
    }
    Ok(found)
}

fn apart(member: &Member, frame: &LoadedTable, cells: &Cells, renamed: &BTreeSet<String>) -> Cells {
    let mut out: Vec<Option<String>> = Vec::new();
    for row in 0..frame.height() {
        let Cell::Text(id) = cells.at(row) else {
            out.push(None);
            continue;
        };
        let centre = member.centre(frame, row).filter(|_| renamed.contains(id.as_ref()));
        out.push(Some(centre.map_or_else(|| id.to_string(), |centre| format!("{id}/{centre}"))));
    }
    Cells::texts(out.iter().map(Option::as_deref))
}

/// Names of structures: standard ones, else the role.
fn structures(member: &Member, frame: &LoadedTable, column: &str) -> Cells {
    let [id, role] = match column {
        "other_structure" => ["other_structure_id", "other_role"],
        "drawn" => ["", "drawn_role"],
        _ => ["structure_id", "role"],
    };
    let (names, roles, ids) = (texts(frame, column), texts(frame, role), texts(frame, id));
    let standard = StandardNames::new();
    let different: BTreeSet<&str> = names.iter().copied().flatten().collect();
    let kept: BTreeSet<&str> = different.into_iter().filter(|name| standard.has(name)).collect();
    let mut out: Vec<Option<&str>> = Vec::new();
    for (row, name) in names.iter().enumerate() {
        let own = roles.get(row).copied().flatten();
        let known = ids.get(row).copied().flatten().and_then(|id| member.role(id));
        let role = own.or(known).unwrap_or("other");
        out.push(name.map(|name| if kept.contains(name) { name } else { role }));
    }
    Cells::texts(out)
}

fn numbered(frame: &LoadedTable, column: &str) -> Cells {
    let names = texts(frame, column);
    let different: BTreeSet<&str> = names.iter().copied().flatten().collect();
    let places: BTreeMap<&str, usize> = different.into_iter().zip(1..).collect();
    let words: Vec<Option<String>> = names
        .into_iter()
        .map(|name| name.and_then(|n| places.get(n)).map(|place| format!("{column} {place}")))
        .collect();
    Cells::texts(words.iter().map(Option::as_deref))
}

/// Grain, state, code and who decided: what the flow counts.
type FlowKey = [Option<String>; 4];

/// The flow of all members: found, left out and counted added up, in the order of the first that
/// has a row.
pub(super) fn flow<'a>(
    members: &[Member],
    definitions: &[Definition],
) -> Result<Sheet<'a>, PoolError> {
    const KEY: [&str; 4] = ["grain", "state", "code", "decided_by"];
    let mut sums: BTreeMap<FlowKey, i64> = BTreeMap::new();
    let mut grains: Vec<String> = Vec::new();
    for member in members {
        let frame = member.frame("flow")?;
        for row in 0..frame.height() {
            let key: FlowKey = KEY.map(|column| match frame.cells(column).map(|c| c.at(row)) {
                Some(Cell::Text(text)) => Some(text.into_owned()),
                _ => None,
            });
            if let Some(grain) = &key[0]
                && !grains.contains(grain)
            {
                grains.push(grain.clone());
            }
            if let Some(Cell::Integer(n)) = frame.cells("n").map(|c| c.at(row)) {
                *sums.entry(key).or_insert(0) += n;
            }
        }
    }
    let mut rows: Vec<(FlowKey, i64)> = sums.into_iter().collect();
    let grain = |key: &FlowKey| grains.iter().position(|g| Some(g) == key[0].as_ref());
    let state = |key: &FlowKey| {
        let order = [Some("found"), Some("left_out"), Some("counted")];
        order.iter().position(|s| *s == key[1].as_deref())
    };
    rows.sort_by_key(|(key, _)| (grain(key), state(key), key.clone()));
    let column = |place: usize| {
        Cells::texts(rows.iter().map(|(key, _)| key.get(place).and_then(Option::as_deref)))
    };
    let mut columns: Vec<Cells> = (0..KEY.len()).map(column).collect();
    columns.push(Cells::Integer(rows.iter().map(|(_, n)| Some(*n)).collect()));
    Ok(sheet_of(definitions, columns, rows.len()))
}

/// The dictionary of the first member, whose columns are those of all, with the centre of each table
/// and the table of centres; columns as this pool labels them.
pub(super) fn dictionary<'a>(
    first: &Member,
    chosen: &ChosenColumns,
) -> Result<Sheet<'a>, PoolError> {
    let frame = first.frame("dictionary")?;
    let mut rows: Vec<Vec<Option<String>>> = Vec::new();
    let names: Vec<&str> = frame.names().collect();
    let at = |name: &str, row: usize| match frame.cells(name).map(|c| c.at(row)) {
        Some(Cell::Text(text)) => Some(text.into_owned()),
        _ => None,
    };
    let tables = texts(&frame, "table");
    for table in of_study(true) {
        let of_table = |row: &usize| tables.get(*row).copied().flatten() == Some(table.name);
        let known: Vec<usize> = (0..frame.height()).filter(of_table).collect();
        for definition in definitions(table, chosen) {
            let own = |row: &&usize| at("column", **row).as_deref() == Some(&*definition.name);
            rows.push(column_row(table.name, &definition, &names));
            for row in known.iter().filter(own).filter(|row| at("value", **row).is_some()) {
                rows.push(names.iter().map(|name| at(name, *row)).collect());
            }
        }
    }
    let mut columns: Vec<Cells> = Vec::new();
    for place in 0..names.len() {
        columns.push(Cells::texts(rows.iter().map(|r| r.get(place).and_then(Option::as_deref))));
    }
    let definitions = crate::all_tables::table("dictionary").map(|t| definitions(t, chosen));
    Ok(sheet_of(&definitions.unwrap_or_default(), columns, rows.len()))
}

fn column_row(table: &str, definition: &Definition, names: &[&str]) -> Vec<Option<String>> {
    debug_assert!(definition.name != CENTRE || says_centre(table));
    let cell = |name: &&str| -> Cow<'_, str> {
        match *name {
            "table" => table.into(),
            "column" => definition.name.as_ref().into(),
            "type" => definition.kind.word().into(),
            "label" => definition.label().into(),
            "unit" => definition.unit.as_ref().into(),
            "meaning" => definition.meaning.as_ref().into(),
            "allowed_values" => definition.allowed.join(" | ").into(),
            _ => "".into(),
        }
    };
    let texts = names.iter().map(|name| cell(name).into_owned());
    texts.map(|text| Some(text).filter(|t| !t.is_empty())).collect()
}
