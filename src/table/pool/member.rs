//! One of the studies that are put together: its tables, what its run says, and the labels of its
//! centres. A study that was put together before keeps the labels it has. Writes nothing.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::{CENTRE, OUTCOMES, PoolError, label};
use crate::analysis::ChosenColumns;
use crate::column::Cell;
use crate::frame::{LoadedTable, texts};
use crate::read_study::StudyTables;
use crate::run::run_document;
use crate::user::columns_file::{self, ColumnsFile};
use crate::user::outcomes::{self, Outcome};

/// A study on its way into another.
#[derive(Debug)]
pub struct Member {
    folder: PathBuf,
    /// Absent where rows say their centre themselves.
    label: Option<String>,
    tables: StudyTables,
    document: Value,
    columns: ChosenColumns,
    roles: BTreeMap<String, String>,
}

impl Member {
    /// Opens the study at `folder`, which is to go under `label`.
    ///
    /// # Errors
    /// When it is no measured study, has no label or a second one, or its label is none.
    pub fn open(label: Option<&str>, folder: &Path) -> Result<Self, PoolError> {
        let refused = |words: &str| PoolError::Refused(format!("{}: {words}", folder.display()));
        let tables = StudyTables::of_study(folder)?;
        let document = run_document(folder)?;
        let pooled = document["centres"].is_array();
        match (label, pooled) {
            (None, false) => {
                return Err(refused(
                    "the study of one centre needs a label; NAME=STUDY is accepted, with an invented name",
                ));
            }
            (Some(_), true) => {
                return Err(refused(
                    "was put together before and has labels of its own; its folder alone is accepted",
                ));
            }
            (Some(label), false) => label::accepted(label).map_err(|words| refused(&words))?,
            (None, true) => {}
        }
        let columns = ColumnsFile::read(&folder.join(columns_file::FILE))?.chosen().clone();
        let mut member = Self {
            folder: folder.to_path_buf(),
            label: label.map(str::to_owned),
            tables,
            document,
            columns,
            roles: BTreeMap::new(),
        };
        member.roles = member.roles_of_structures()?;
        Ok(member)
    }

    fn roles_of_structures(&self) -> Result<BTreeMap<String, String>, PoolError> {
        let frame = self.frame("structures")?;
        let mut roles = BTreeMap::new();
        for (id, role) in texts(&frame, "structure_id").into_iter().zip(texts(&frame, "role")) {
            if let (Some(id), Some(role)) = (id, role) {
                roles.insert(id.to_owned(), role.to_owned());
            }
        }
        Ok(roles)
    }

    /// What `run.json` says.
    pub(super) const fn document(&self) -> &Value {
        &self.document
    }

    /// The columns of table `analysis`.
    pub(super) const fn columns(&self) -> &ChosenColumns {
        &self.columns
    }

    /// Whether its rows say their centre.
    pub(super) const fn is_pooled(&self) -> bool {
        self.label.is_none()
    }

    /// The folder, for messages.
    pub(super) fn place(&self) -> String {
        self.folder.display().to_string()
    }

    /// The role of a structure by its pseudonym.
    pub(super) fn role(&self, structure_id: &str) -> Option<&str> {
        self.roles.get(structure_id).map(String::as_str)
    }

    /// A table.
    ///
    /// # Errors
    /// When there is none, or it cannot be read.
    pub(super) fn frame(&self, name: &str) -> Result<LoadedTable, PoolError> {
        match self.tables.read(name) {
            Some(frame) => Ok(frame?),
            None => Err(PoolError::Refused(format!(
                "{}: has no table {name}; measure it again with this version of the program",
                self.place()
            ))),
        }
    }

    /// The centre of a row of one of its tables.
    pub(super) fn centre<'f>(&'f self, frame: &'f LoadedTable, row: usize) -> Option<&'f str> {
        match &self.label {
            Some(label) => Some(label),
            None => texts(frame, CENTRE).get(row).copied().flatten(),
        }
    }

    /// The centre of every row.
    pub(super) fn centres_of<'f>(&'f self, frame: &'f LoadedTable) -> Vec<Option<&'f str>> {
        match &self.label {
            Some(label) => vec![Some(label.as_str()); frame.height()],
            None => texts(frame, CENTRE),
        }
    }

    /// Labels of its centres.
    pub(super) fn own_labels(&self) -> Result<Vec<String>, PoolError> {
        let Some(label) = &self.label else {
            let frame = self.frame(super::CENTRES.name)?;
            return Ok(texts(&frame, CENTRE).into_iter().flatten().map(str::to_owned).collect());
        };
        Ok(vec![label.clone()])
    }

    /// What `run.json` of the pool says of each of its centres.
    pub(super) fn runs(&self) -> Vec<Value> {
        if let Value::Array(runs) = &self.document["centres"] {
            return runs.clone();
        }
        let of = |name: &str| self.document[name].clone();
        vec![json!({
            "centre": self.label,
            "program_version": of("program_version"),
            "complete": of("complete"),
            "inputs_sha256": of("inputs_sha256"),
            "decisions_sha256": of("decisions_sha256"),
        })]
    }

    /// Events in the tidy form, as the department's sheet told them; none where no sheet was read.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub(super) fn outcomes(&self) -> Result<Vec<Outcome>, PoolError> {
        let path = self.folder.join(OUTCOMES);
        if path.exists() { Ok(outcomes::read(&path)?) } else { Ok(Vec::new()) }
    }

    /// The texts of a column, each once.
    ///
    /// # Errors
    /// As [`Member::frame`].
    pub(super) fn distinct(
        &self,
        table: &str,
        column: &str,
    ) -> Result<BTreeSet<String>, PoolError> {
        let frame = self.frame(table)?;
        let mut found = BTreeSet::new();
        if let Some(cells) = frame.cells(column) {
            for row in 0..frame.height() {
                if let Cell::Text(text) = cells.at(row) {
                    found.insert(text.into_owned());
                }
            }
        }
        Ok(found)
    }
}

/// Labels of all centres in their order.
pub(super) fn labels(members: &[Member]) -> Result<Vec<String>, PoolError> {
    let mut all = Vec::new();
    for member in members {
        all.extend(member.own_labels()?);
    }
    Ok(all)
}
