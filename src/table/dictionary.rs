//! Table `dictionary`: what every column, every metric and every finding code means. Derived from
//! the definitions that make the tables, so it cannot disagree with them.

use std::borrow::Cow;

use super::analysis::ChosenColumns;
use super::column::{Column, Definition, Sheet, borrowed};
use super::column_words::{self, ColumnWord};
use super::pool;
use super::study::{MetricDefinition, Study};
use super::table::Table;
use super::tally::Tally;
use super::user::clinical_file::ConfirmedLabels;
use super::user::lesion_file::LesionDecisions;
use super::user::states::States;
use tidydose_analyse::Analysis;
use tidydose_analyse::relate::{DEFINITIONS, RelationDefinition};
use tidydose_rt::Inventory;
use tidydose_rt::finding::Code;

const NAME: &str = "dictionary";

/// The table, once it is known which tables it describes.
pub(super) const fn table(sheet: for<'a> fn(&Study<'a>) -> Sheet<'a>) -> Table {
    Table {
        name: NAME,
        grain: "one column of a table, or one value that a column may hold",
        key: &["table", "column", "value"],
        by_case: false,
        sheet,
    }
}

struct DictionaryEntry<'a> {
    table: &'static str,
    column: Cow<'static, str>,
    value: Option<&'a str>,
    kind: &'static str,
    label: Cow<'a, str>,
    unit: Cow<'a, str>,
    meaning: Cow<'a, str>,
    allowed: String,
    applies_to: &'a str,
    formula: &'a str,
    reference: &'a str,
}

/// The rows for `tables`.
pub(super) fn sheet<'a>(study: &Study<'a>, tables: &[Table]) -> Sheet<'a> {
    let mut rows: Vec<DictionaryEntry<'a>> = Vec::new();
    for table in tables {
        let columns = definitions(table, study.columns);
        for definition in columns {
            let words = column_words::of(table.name, &definition.name);
            rows.push(column_row(table.name, definition));
            rows.extend(words.into_iter().map(|word| word_row(table.name, word)));
        }
        match table.name {
            "metrics" => rows.extend(metric_rows(study)),
            "relations" => rows.extend(relation_rows()),
            "findings" => rows.extend(code_rows()),
            _ => {}
        }
    }
    Sheet::new(columns(), rows)
}

/// The columns of a table; its rows are not needed for that, but what the user chose is.
pub(super) fn definitions(table: &Table, chosen: &ChosenColumns) -> Vec<Definition> {
    if table.name == pool::CENTRES.name {
        return pool::centres::definitions();
    }
    if table.name == NAME {
        return Sheet::new(columns(), Vec::new()).columns().to_vec();
    }
    let inventory = Inventory::default();
    let analyses: &[Analysis] = &[];
    let nothing = Study {
        inventory: &inventory,
        cases: &[],
        analyses,
        sums: &[],
        findings: &[],
        states: &States::default(),
        lesion_decisions: &LesionDecisions::new(),
        confirmed_labels: &ConfirmedLabels::new(),
        tally: &Tally::default(),
        columns: chosen,
        limits: &[],
        metrics: &[],
        settings_digest: "",
    };
    let mut columns = (table.sheet)(&nothing).columns().to_vec();
    if chosen.is_by_centre() && pool::says_centre(table.name) {
        columns.insert(0, pool::centre_column());
    }
    columns
}

fn column_row<'a>(table: &'static str, definition: Definition) -> DictionaryEntry<'a> {
    DictionaryEntry {
        table,
        label: Cow::Owned(definition.label().to_owned()),
        column: definition.name,
        value: None,
        kind: definition.kind.word(),
        unit: definition.unit,
        meaning: definition.meaning,
        allowed: definition.allowed.join(" | "),
        applies_to: "",
        formula: "",
        reference: "",
    }
}

fn word_row<'a>(table: &'static str, word: ColumnWord) -> DictionaryEntry<'a> {
    DictionaryEntry {
        table,
        column: word.column.into(),
        value: Some(word.word),
        kind: "",
        label: "".into(),
        unit: "".into(),
        meaning: word.meaning.into(),
        allowed: String::new(),
        applies_to: "",
        formula: "",
        reference: "",
    }
}

fn metric_rows<'a>(study: &Study<'a>) -> Vec<DictionaryEntry<'a>> {
    let mut metrics: Vec<_> = study.metrics.iter().collect();
    metrics.sort();
    metrics.dedup_by(|a, b| a.name == b.name);
    let row = |m: &'a MetricDefinition| DictionaryEntry {
        table: "metrics",
        column: "metric".into(),
        value: Some(&m.name),
        kind: "",
        label: "".into(),
        unit: Cow::Borrowed(&m.unit),
        meaning: Cow::Borrowed(&m.meaning),
        allowed: String::new(),
        applies_to: &m.applies_to,
        formula: &m.formula,
        reference: &m.reference,
    };
    metrics.into_iter().map(row).collect()
}

fn relation_rows<'a>() -> Vec<DictionaryEntry<'a>> {
    let row = |d: &&'static RelationDefinition| DictionaryEntry {
        table: "relations",
        column: "metric".into(),
        value: Some(d.name),
        kind: "",
        label: "".into(),
        unit: d.unit.into(),
        meaning: Cow::Borrowed(d.title),
        allowed: String::new(),
        applies_to: "pairs with a target",
        formula: d.formula,
        reference: d.reference,
    };
    DEFINITIONS.iter().map(row).collect()
}

fn code_rows<'a>() -> Vec<DictionaryEntry<'a>> {
    let row = |code: &Code| {
        let definition = code.definition();
        DictionaryEntry {
            table: "findings",
            column: "code".into(),
            value: Some(definition.id),
            kind: "",
            label: "".into(),
            unit: "".into(),
            meaning: Cow::Owned(format!("{}; {}", definition.meaning, definition.consequence)),
            allowed: String::new(),
            applies_to: "",
            formula: "",
            reference: "",
        }
    };
    Code::ALL.iter().map(row).collect()
}

fn columns<'a>() -> Vec<Column<DictionaryEntry<'a>>> {
    vec![
        Column::text("table", "the table", |r| borrowed(r.table)),
        Column::text("column", "the column", |r| borrowed(&r.column)),
        Column::text("value", "a value of the column; missing for the column itself", |r| {
            r.value.map(Cow::Borrowed)
        }),
        Column::word("type", "what it holds", &["text", "integer", "real", "boolean"], |r| {
            unless_empty(r.kind)
        }),
        Column::text("label", "what stands over the column; missing for a value", |r| {
            unless_empty(&r.label)
        }),
        Column::text("unit", "unit symbol; missing for none", |r| unless_empty(&r.unit)),
        Column::text("meaning", "meaning, and the reason for a missing value", |r| {
            borrowed(r.meaning.as_ref())
        }),
        Column::text("allowed_values", "the words it may hold; missing when free", |r| {
            unless_empty(&r.allowed)
        }),
        Column::text("applies_to", "structures that a metric applies to", |r| {
            unless_empty(r.applies_to)
        }),
        Column::text("formula", "formula of a metric", |r| unless_empty(r.formula)),
        Column::text("reference", "source of the definition", |r| unless_empty(r.reference)),
    ]
}

fn unless_empty(text: &str) -> Option<Cow<'_, str>> {
    (!text.is_empty()).then_some(Cow::Borrowed(text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Cell;
    use crate::all_tables::TABLES;
    use crate::example::Example;

    #[test]
    fn every_column_metric_and_code_has_its_row() {
        let example = Example::new();
        let study = example.study();
        let sheet = sheet(&study, TABLES);
        let text = |row: usize, column: usize| match sheet.cell(row, column) {
            Cell::Text(t) => t.into_owned(),
            _ => String::new(),
        };
        let rows: Vec<_> =
            (0..sheet.row_count()).map(|r| [text(r, 0), text(r, 1), text(r, 2)]).collect();
        for table in TABLES {
            for column in definitions(table, study.columns) {
                let wanted = [table.name, &*column.name, ""].map(str::to_owned);
                assert!(rows.contains(&wanted), "{wanted:?}");
            }
        }
        for metric in study.metrics {
            assert!(rows.contains(&["metrics", "metric", &metric.name].map(str::to_owned)));
        }
        for d in DEFINITIONS {
            assert!(rows.contains(&["relations", "metric", d.name].map(str::to_owned)));
        }
        for word in
            column_words::ALL.iter().flat_map(|(table, column, _)| column_words::of(table, column))
        {
            let explained = |r: &[String; 3]| r[1] == word.column && r[2] == word.word;
            assert_eq!(rows.iter().filter(|r| explained(r)).count(), 1, "{word:?}");
        }
        for code in Code::ALL {
            let id = code.definition().id;
            assert!(rows.contains(&["findings", "code", id].map(str::to_owned)));
        }
    }
}
