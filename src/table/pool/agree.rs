//! Whether studies go together: the same settings, version of the numbers and columns, no identifier
//! kept, no label, patient, plan or file twice. Says of what differs where, which and what to do.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

use super::{Member, PoolError, member, says_centre};
use crate::TABLES;
use crate::dictionary::definitions;

/// So many of what is in two studies are named.
const SHOWN: usize = 3;

/// Pseudonyms that no two studies may share, each with its table, what it is, and what to do.
const ONCE: [[&str; 4]; 4] = [
    ["plans", "patient_id", "patient", SAME_KEY],
    ["plans", "plan_id", "plan", SAME_KEY],
    ["files", "file_id", "file", SAME_KEY],
    [
        "files",
        "sha256",
        "file, the same byte for byte,",
        "a patient would count twice; take the files away from one of the archives and measure it again",
    ],
];
const SAME_KEY: &str = "the studies have the same key, and what has the same pseudonym is the same; put \
                        it into one archive and measure that, or take it away from one of them";

/// Checks all of it.
///
/// # Errors
/// The first thing that does not go together.
pub(super) fn check(members: &[Member], keep_texts: bool) -> Result<(), PoolError> {
    let labels = member::labels(members)?;
    let mut seen: BTreeSet<String> = BTreeSet::new();
    for label in &labels {
        if !seen.insert(label.to_lowercase()) {
            return refused(format!(
                "label `{label}` is given to two centres; labels that differ in more than large and small \
                 letters are accepted"
            ));
        }
    }
    for member in members {
        may_leave(member)?;
        layout(member)?;
    }
    let mut list = members.iter();
    if let Some(first) = list.next() {
        for other in list {
            same_making(first, other, keep_texts)?;
        }
    }
    for once in &ONCE {
        no_two(members, once)?;
    }
    Ok(())
}

fn refused(words: String) -> Result<(), PoolError> {
    Err(PoolError::Refused(words))
}

/// Tables with identifiers in them stay where they are.
fn may_leave(member: &Member) -> Result<(), PoolError> {
    let identity = member.document().pointer("/settings/identity").and_then(Value::as_str);
    if identity == Some("keyed") {
        return Ok(());
    }
    refused(format!(
        "{}: settings.identity of run.json is `{}`: the tables may hold patient IDs, paths and dates as \
         they are; `keyed` is accepted, which `tidydose measure` without --keep-ids makes",
        member.place(),
        identity.unwrap_or("missing")
    ))
}

/// The tables have the columns that this program writes.
fn layout(member: &Member) -> Result<(), PoolError> {
    let columns = if member.is_pooled() {
        member.columns().clone().by_centre()
    } else {
        member.columns().clone()
    };
    for table in TABLES {
        let frame = member.frame(table.name)?;
        let wanted: Vec<String> =
            definitions(table, &columns).iter().map(|c| c.name.to_string()).collect();
        let found: Vec<&str> = frame.names().collect();
        let same = wanted.len() == found.len() && wanted.iter().zip(&found).all(|(a, b)| a == b);
        if !same {
            let odd = |own: &[String], other: &[String]| {
                let only = own.iter().filter(|c| !other.contains(c)).cloned();
                only.take(SHOWN).collect::<Vec<_>>().join(", ")
            };
            let found: Vec<String> = found.iter().map(|c| (*c).to_owned()).collect();
            return refused(format!(
                "{}: table {} has other columns than this version of the program writes (only there: \
                 {}; lacking: {}); measure it again, also where columns.csv was changed since",
                member.place(),
                table.name,
                odd(&found, &wanted),
                odd(&wanted, &found)
            ));
        }
        debug_assert!(
            !member.is_pooled() || !says_centre(table.name) || frame.cells("centre").is_some()
        );
    }
    Ok(())
}

/// What values follow from: settings, version of the numbers, and the columns that were chosen.
fn same_making(first: &Member, other: &Member, keep_texts: bool) -> Result<(), PoolError> {
    let (a, b) = (first.document(), other.document());
    let pair = format!("{} and {}", first.place(), other.place());
    let mut differ: Vec<String> = Vec::new();
    for (name, words) in [("numbers", "version of the numbers"), ("program", "program")] {
        if a[name] != b[name] || a[name].is_null() {
            differ.push(format!("{words} {} and {}", said(&a[name]), said(&b[name])));
        }
    }
    let none = serde_json::Map::new();
    let [mine, theirs] = [a, b].map(|d| d["settings"].as_object().unwrap_or(&none));
    let names: BTreeSet<&String> = mine.keys().chain(theirs.keys()).collect();
    for name in names {
        let (own, their) = (mine.get(name), theirs.get(name));
        if own != their {
            let said = |v: Option<&Value>| v.map_or_else(|| "missing".to_owned(), said);
            differ.push(format!("setting {name} {} and {}", said(own), said(their)));
        }
    }
    if !differ.is_empty() {
        return refused(format!(
            "{pair} were not measured alike: {}; measure one of them again like the other",
            differ.join("; ")
        ));
    }
    let [mine, theirs] = [first, other].map(|m| {
        let chosen = m.columns().clone();
        if keep_texts { chosen } else { chosen.without_labels() }
    });
    if mine != theirs {
        return refused(format!(
            "{pair} have another columns.csv; copy that of one study into the other and measure it again"
        ));
    }
    Ok(())
}

/// A value for a message, cut where it is a list.
fn said(value: &Value) -> String {
    const LONG: usize = 80;
    let text = if value.is_null() { "missing".to_owned() } else { value.to_string() };
    if text.chars().count() <= LONG {
        return text;
    }
    format!("{}...", text.chars().take(LONG).collect::<String>())
}

/// No two studies have the same.
fn no_two(members: &[Member], [table, column, what, remedy]: &[&str; 4]) -> Result<(), PoolError> {
    let mut of: BTreeMap<String, &Member> = BTreeMap::new();
    for member in members {
        let mut twice: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for id in member.distinct(table, column)? {
            match of.get(&id) {
                Some(earlier) => twice.entry(earlier.place()).or_default().push(id),
                None => drop(of.insert(id, member)),
            }
        }
        if let Some((earlier, ids)) = twice.iter().next() {
            let shown: Vec<&str> = ids.iter().take(SHOWN).map(String::as_str).collect();
            return refused(format!(
                "{earlier} and {} have the same {what} {} times ({table}.{column}, such as {}): {remedy}",
                member.place(),
                ids.len(),
                shown.join(", ")
            ));
        }
    }
    Ok(())
}
