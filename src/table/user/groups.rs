//! `groups.csv`: columns of the user's own by which a committee compares cases, such as the physician
//! or the machine: one row a plan, with `plan_id` as in table plans. Read only for the page; nothing of
//! it reaches a table.

use std::collections::BTreeMap;
use std::path::Path;

use super::user_file::{ReadError, UserFile};

const REQUIRED: &[&str] = &["plan_id"];

/// The file.
pub const FILE: &str = "groups.csv";

/// The columns of a user, by plan.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Groups {
    columns: Vec<String>,
    /// What stands in each column, by plan_id.
    rows: BTreeMap<String, Vec<String>>,
}

impl Groups {
    /// Reads the file; empty where there is none.
    ///
    /// # Errors
    /// When it cannot be read, or two rows are about one plan and differ.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let file = UserFile::read(path, REQUIRED, REQUIRED)?;
        let own = file.columns().iter().filter(|c| !REQUIRED.contains(&c.as_str()));
        let mut groups = Self { columns: own.cloned().collect(), rows: BTreeMap::new() };
        for row in 0..file.row_count() {
            let plan = file.text(row, "plan_id").to_owned();
            if plan.is_empty() {
                continue;
            }
            let cells: Vec<String> =
                groups.columns.iter().map(|c| file.text(row, c).to_owned()).collect();
            let earlier = groups.rows.insert(plan.clone(), cells.clone());
            if earlier.is_some_and(|e| e != cells) {
                let line = UserFile::line(row);
                return Err(ReadError {
                    path: path.to_path_buf(),
                    reason: format!(
                        "row {line}: an earlier row says something else of plan {plan}; keep one"
                    ),
                });
            }
        }
        Ok(groups)
    }

    /// The columns besides `plan_id`.
    #[must_use]
    pub fn columns(&self) -> &[String] {
        &self.columns
    }

    /// The plans that have a row.
    pub fn plans(&self) -> impl Iterator<Item = &str> {
        self.rows.keys().map(String::as_str)
    }

    /// What stands in a column, by plan; without plans whose cell is empty. Absent without the column.
    #[must_use]
    pub fn of_column(&self, column: &str) -> Option<BTreeMap<String, String>> {
        let place = self.columns.iter().position(|c| c == column)?;
        let mut found = BTreeMap::new();
        for (plan, cells) in &self.rows {
            if let Some(cell) = cells.get(place).filter(|cell| !cell.is_empty()) {
                found.insert(plan.clone(), cell.clone());
            }
        }
        Some(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_of_ones_own_are_read_by_plan() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE);
        assert_eq!(Groups::read(&path).unwrap(), Groups::default());
        std::fs::write(&path, "plan_id;physician;room\nA;North;1\nB;;2\n;West;3\n").unwrap();
        let groups = Groups::read(&path).unwrap();
        assert_eq!(groups.columns(), ["physician", "room"]);
        assert_eq!(groups.plans().collect::<Vec<_>>(), ["A", "B"]);
        let physicians = groups.of_column("physician").unwrap();
        assert_eq!(physicians, BTreeMap::from([("A".to_owned(), "North".to_owned())]));
        assert_eq!(groups.of_column("machine"), None);
        std::fs::write(&path, "plan_id,room\nA,1\nA,1\nA,2\n").unwrap();
        let fault = Groups::read(&path).unwrap_err().reason;
        assert!(fault.contains("row 4") && fault.contains("plan A"), "{fault}");
        std::fs::write(&path, "plan,room\nA,1\n").unwrap();
        assert!(Groups::read(&path).unwrap_err().reason.contains("plan_id"));
    }
}
