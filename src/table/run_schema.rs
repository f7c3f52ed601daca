//! `run.schema.json`: what `run.json` may hold, by JSON Schema (draft 2020-12), for programs that read
//! or check it. Written by hand beside [`super::run`], so that a change of `run.json` has to be said
//! here too: a real `run.json` is held against it in the tests, and no further key is accepted.

use std::io;
use std::path::Path;

use serde_json::{Map, Value, json};
use strum::VariantNames;

use super::all_tables::of_study;
use super::run::{CAUTION, PROGRAM};
use super::write_file::{WriteError, replace_file};
use tidydose_rt::FileStatus;
use tidydose_rt::finding::Severity;

/// Name of the file in a study folder.
pub const FILE: &str = "run.schema.json";

/// Writes the schema.
///
/// # Errors
/// When the file cannot be written.
pub fn write_run_schema(path: &Path) -> Result<(), WriteError> {
    replace_file(path, |output| {
        serde_json::to_writer_pretty(&mut *output, &schema()).map_err(io::Error::other)?;
        output.write_all(b"\n")
    })
}

/// The schema as JSON.
fn schema() -> Value {
    let count = |words: &str| json!({"type": "integer", "minimum": 0, "description": words});
    let text = |words: &str| json!({"type": "string", "description": words});
    let digest = json!({"type": "string", "pattern": "^[0-9a-f]{64}$"});
    let table = object(&[
        ("table", json!({"enum": of_study(true).map(|t| t.name).collect::<Vec<_>>()})),
        ("rows", count("rows, names not counted")),
        ("csv", json!({"type": "boolean", "description": "whether it was written as CSV too"})),
    ]);
    let severities = [Severity::Note, Severity::Check, Severity::Stop].map(Severity::word);
    let counts = object(&[
        ("files", counted(FileStatus::VARIANTS, "files by status")),
        ("cases", count("cases: plans with structures and dose, or what there is of them")),
        ("cases_measured", count("of these, measured")),
        ("cases_left_out", count("of these, left out")),
        ("follow_ups", count("structure sets drawn after a treatment; no cases")),
        ("patients", count("patients with a case")),
        ("findings", counted(&severities, "causes by severity")),
    ]);
    let mut schema = object(&[
        ("program", json!({"const": PROGRAM})),
        ("program_version", text("version of the program that wrote the study")),
        ("numbers", count("version of the numbers: studies of another one are not mixed with it")),
        ("complete", json!({"type": "boolean", "description": "whether all cases were done"})),
        ("settings", settings()),
        ("settings_sha256", digest.clone()),
        ("inputs_sha256", digest.clone()),
        (
            "decisions_sha256",
            json!({
                "type": "object",
                "description": "a digest of what people decided, by file of the study",
                "additionalProperties": digest,
            }),
        ),
        ("counts", counts),
        ("tables", json!({"type": "array", "items": table})),
        ("remarks", json!({"type": "array", "items": {"type": "string"}})),
        ("method", text("how the values were computed, for a methods section")),
        ("caution", json!({"const": CAUTION})),
    ]);
    // Only studies that were put together say so.
    schema["properties"]["centres"] = json!({"type": "array", "items": centre()});
    schema["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    schema["title"] = json!("run.json of a study");
    schema
}

/// One of the studies that were put together.
fn centre() -> Value {
    let digest = json!({"type": "string", "pattern": "^[0-9a-f]{64}$"});
    object(&[
        ("centre", json!({"type": "string", "description": "label of the centre"})),
        ("program_version", json!({"type": "string"})),
        ("complete", json!({"type": "boolean"})),
        ("inputs_sha256", digest.clone()),
        ("decisions_sha256", json!({"type": "object", "additionalProperties": digest})),
    ])
}

/// The settings that have a part in the numbers.
fn settings() -> Value {
    let texts =
        |words: &str| json!({"type": "array", "items": {"type": "string"}, "description": words});
    let word = |words: &str| json!({"type": "string", "description": words});
    let percent = |words: &str| json!({"type": "number", "minimum": 0, "description": words});
    let count = json!({"type": "integer", "minimum": 0});
    let yes_or_no = json!({"type": "boolean"});
    let mut settings = object(&[
        ("alpha_beta", texts("NAME=gray, ratios of alpha and beta")),
        ("ends", word("how structures end beyond their last slice")),
        ("identity", json!({"enum": ["kept", "keyed"]})),
        ("interpolation", word("how dose is read between voxels")),
        ("limits", count.clone()),
        ("limits_not_checked", count),
        ("limits_sha256", json!({"type": "string", "pattern": "^[0-9a-f]{64}$"})),
        ("metrics", texts("names of the metrics of the run")),
        ("outlines", word("what is measured of outlines that were traced around pixels")),
        ("regions", yes_or_no.clone()),
        ("target_inside_from_percent", percent("from which share a target lies inside an organ")),
        ("uncertain_from_percent", percent("from which width of its bounds a value is uncertain")),
    ]);
    // Only a run that moves structures says so, one that doubts registrations, and a strict one.
    let lengths = json!({"type": "array", "items": {"type": "number"}});
    settings["properties"]["shifts_mm"] = lengths.clone();
    settings["properties"]["margins_mm"] = lengths;
    settings["properties"]["registration_mm"] = json!({"type": "number"});
    settings["properties"]["strict"] = yes_or_no;
    settings
}

/// An object with just these members.
fn object(members: &[(&str, Value)]) -> Value {
    let properties: Map<String, Value> =
        members.iter().map(|(name, value)| ((*name).to_owned(), value.clone())).collect();
    json!({
        "type": "object",
        "properties": properties,
        "required": members.iter().map(|(name, _)| *name).collect::<Vec<_>>(),
        "additionalProperties": false,
    })
}

/// A count for each of these words.
fn counted(words: &[&str], meaning: &str) -> Value {
    let member = |word: &&str| ((*word).to_owned(), json!({"type": "integer", "minimum": 0}));
    json!({
        "type": "object",
        "description": meaning,
        "properties": words.iter().map(member).collect::<Map<String, Value>>(),
        "required": words,
        "additionalProperties": false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_object_is_closed_and_every_digest_has_its_form() {
        fn visit(value: &Value, closed: &mut usize) {
            if value["type"] == "object" {
                let further = &value["additionalProperties"];
                assert!(*further == json!(false) || further["pattern"].is_string(), "{value}");
                *closed += 1;
            }
            for member in value.as_object().into_iter().flat_map(|o| o.values()) {
                visit(member, closed);
            }
        }
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE);
        write_run_schema(&path).unwrap();
        let written: Value = serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap();
        assert_eq!(written, schema());
        let mut closed = 0;
        visit(&written, &mut closed);
        assert_eq!(
            closed, 9,
            "run, settings, decisions, counts, files, findings, a table, a centre"
        );
    }
}
