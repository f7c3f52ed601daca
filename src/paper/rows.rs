//! A table as rows of plain values: the only file of this room that knows the table engine.

use std::collections::BTreeMap;

use tidydose_table::frame::{LoadedTable, flags, reals, texts};

/// One value.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value {
    Missing,
    Text(String),
    Number(f64),
    Flag(bool),
}

/// A table.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Rows {
    columns: BTreeMap<String, Vec<Value>>,
    count: usize,
}

impl Rows {
    pub(super) fn of(frame: &LoadedTable) -> Self {
        let column = |name: &str| -> Vec<Value> {
            let (words, numbers, flags) =
                (texts(frame, name), reals(frame, name), flags(frame, name));
            let value = |i: usize| match (words[i], numbers[i], flags[i]) {
                (Some(t), ..) => Value::Text(t.to_owned()),
                (_, Some(v), _) => Value::Number(v),
                (.., Some(b)) => Value::Flag(b),
                _ => Value::Missing,
            };
            (0..frame.height()).map(value).collect()
        };
        let named = frame.names().map(|name| (name.to_owned(), column(name)));
        Self { columns: named.collect(), count: frame.height() }
    }

    #[cfg(test)]
    pub(super) fn with(mut self, name: &str, values: Vec<Value>) -> Self {
        self.count = values.len();
        self.columns.insert(name.to_owned(), values);
        self
    }

    pub(super) const fn count(&self) -> usize {
        self.count
    }

    pub(super) fn has(&self, name: &str) -> bool {
        self.columns.contains_key(name)
    }

    pub(super) fn names(&self) -> Vec<&str> {
        self.columns.keys().map(String::as_str).collect()
    }

    fn value(&self, row: usize, name: &str) -> &Value {
        self.columns.get(name).and_then(|c| c.get(row)).unwrap_or(&Value::Missing)
    }

    pub(super) fn text(&self, row: usize, name: &str) -> Option<&str> {
        match self.value(row, name) {
            Value::Text(text) => Some(text),
            _ => None,
        }
    }

    pub(super) fn real(&self, row: usize, name: &str) -> Option<f64> {
        match self.value(row, name) {
            Value::Number(value) => Some(*value),
            _ => None,
        }
    }

    pub(super) fn flag(&self, row: usize, name: &str) -> Option<bool> {
        match self.value(row, name) {
            Value::Flag(value) => Some(*value),
            _ => None,
        }
    }

    /// The value as a category; whole numbers without point.
    pub(super) fn level(&self, row: usize, name: &str) -> Option<String> {
        match self.value(row, name) {
            Value::Text(text) => Some(text.clone()),
            Value::Number(value) => Some(value.to_string()),
            Value::Flag(value) => Some(value.to_string()),
            Value::Missing => None,
        }
    }
}
