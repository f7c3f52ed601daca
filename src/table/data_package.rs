//! `datapackage.json`: the tables in CSV described for programs that know nothing of this one, by
//! the Data Package standard (Frictionless, version 1: Tabular Data Package and Table Schema). Made
//! from the same definitions as the tables and their dictionary.

use std::io;
use std::path::Path;

use serde_json::{Value, json};

use super::all_tables::of_study;
use super::analysis::ChosenColumns;
use super::column::{Definition, Kind};
use super::dictionary::definitions;
use super::run::CAUTION;
use super::table::{Table, Written};
use super::write_file::{WriteError, replace_file};

/// Name of the file in a study folder.
pub const FILE: &str = "datapackage.json";

/// Writes the description of the tables that were written as CSV.
///
/// # Errors
/// When the file cannot be written.
pub fn write_data_package(
    tables: &[Written],
    chosen: &ChosenColumns,
    path: &Path,
) -> Result<(), WriteError> {
    let with_csv = |t: &&'static Table| tables.iter().any(|w| w.csv && w.table == t.name);
    let tables = of_study(chosen.is_by_centre()).filter(with_csv);
    let resources: Vec<Value> = tables.map(|table| resource(table, chosen)).collect();
    let package = json!({
        "profile": "tabular-data-package",
        "name": "tidydose-study",
        "title": "Dose-volume tables of a study",
        "description": CAUTION,
        "version": env!("CARGO_PKG_VERSION"),
        "resources": resources,
    });
    replace_file(path, |output| {
        serde_json::to_writer_pretty(&mut *output, &package).map_err(io::Error::other)?;
        output.write_all(b"\n")
    })
}

fn resource(table: &Table, chosen: &ChosenColumns) -> Value {
    let columns = definitions(table, chosen);
    let mut schema = json!({
        "fields": columns.iter().map(field).collect::<Vec<_>>(),
        "missingValues": [""],
    });
    // A primary key has no missing cell by the standard; longer keys of ours may have some.
    if table.key.len() <= 2 {
        schema["primaryKey"] = json!(table.key);
    }
    json!({
        "profile": "tabular-data-resource",
        "name": table.name,
        "title": table.grain,
        "path": format!("tables/{}.csv", table.name),
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "doubleQuote": true},
        "schema": schema,
    })
}

fn field(definition: &Definition) -> Value {
    let kind = match definition.kind {
        Kind::Text => "string",
        Kind::Integer => "integer",
        Kind::Real => "number",
        Kind::Boolean => "boolean",
    };
    let mut field = json!({
        "name": definition.name,
        "type": kind,
        "title": definition.label(),
        "description": definition.meaning,
    });
    if !definition.unit.is_empty() {
        field["unit"] = json!(definition.unit);
    }
    if !definition.allowed.is_empty() {
        field["constraints"] = json!({ "enum": definition.allowed });
    }
    field
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_table_in_csv_is_described_and_no_other() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE);
        let written = [("plans", true), ("metrics", true), ("dvh", false)];
        let written = written.map(|(table, csv)| Written { table, rows: 1, csv });
        write_data_package(&written, &ChosenColumns::default(), &path).unwrap();
        let text = std::fs::read_to_string(path).unwrap();
        let package: Value = serde_json::from_str(&text).unwrap();
        let list = package["resources"].as_array().unwrap();
        assert_eq!(list.len(), 2);
        assert_eq!(list[0]["path"], "tables/plans.csv");
        assert_eq!(list[0]["schema"]["primaryKey"], json!(["plan_id"]));
        let fields = list[1]["schema"]["fields"].as_array().unwrap();
        assert_eq!(fields.len(), 14);
        assert!(list[1]["schema"].get("primaryKey").is_none());
        assert!(fields.iter().all(|f| f["description"].as_str().is_some_and(|d| !d.is_empty())));
    }
}
