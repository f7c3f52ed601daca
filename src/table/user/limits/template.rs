//! A list of limits that people fill in: with examples, or with the rows of the program's list. The
//! columns that a list cannot do without stand first.

use std::path::Path;

use crate::user::user_file::UserFile;
use crate::write_file::{Access, WriteError};
use tidydose_metrics::limits::ListedLimit;

/// The columns of a new list, those that are always needed first.
const TEMPLATE_COLUMNS: &[&str] = &[
    "organ",
    "tier",
    "metric",
    "limit",
    "fractions",
    "source",
    "note",
    "operator",
    "unit",
    "target_inside",
    "endpoint",
    "risk",
    "evidence",
    "checked",
    "in_use",
];

/// Rows that show how a list is filled in: organ, tier, metric, limit, fractions.
const EXAMPLES: [[&str; 5]; 4] = [
    ["Brainstem", "mandatory", "D0.1cc[Gy]", "15", "1"],
    ["Brain", "optimal", "V12Gy[cc]", "10", "1"],
    ["SpinalCord", "mandatory", "Max[Gy]", "50", "25 to 40"],
    ["Cochlea_L", "objective", "Mean[Gy]", "4", "1"],
];

/// Writes a list with examples, none of them in use, for whoever makes one of their own.
///
/// # Errors
/// When it cannot be written.
pub fn write_template(path: &Path) -> Result<(), WriteError> {
    let mut file = UserFile::for_people(TEMPLATE_COLUMNS);
    for [organ, tier, metric, limit, fractions] in EXAMPLES {
        file.add(&[
            ("organ", organ),
            ("tier", tier),
            ("metric", metric),
            ("limit", limit),
            ("fractions", fractions),
            ("source", "name and version of your protocol"),
            ("note", "an example; write your own limits, then delete this row"),
            ("in_use", "no"),
        ]);
    }
    file.write(path, Access::Shared)
}

/// Writes a list of these rows.
///
/// # Errors
/// When it cannot be written.
pub fn write_list(path: &Path, list: &[ListedLimit]) -> Result<(), WriteError> {
    let mut file = UserFile::for_people(TEMPLATE_COLUMNS);
    for ListedLimit { limit, in_use } in list {
        let inside = if limit.target_may_lie_inside { "allowed" } else { "judge" };
        file.add(&[
            ("organ", &limit.organ),
            ("tier", limit.tier.word()),
            ("metric", &limit.metric.to_string()),
            ("limit", &limit.value.to_string()),
            // A spreadsheet would take `3-5` for a date.
            ("fractions", &limit.fraction_words().replace('-', " to ")),
            ("source", &limit.source),
            ("note", &limit.note),
            ("operator", limit.operator()),
            ("unit", limit.metric.definition.unit),
            ("target_inside", inside),
            ("endpoint", &limit.endpoint),
            ("risk", &limit.risk),
            ("evidence", &limit.evidence),
            ("checked", limit.checked.word()),
            ("in_use", if *in_use { "yes" } else { "no" }),
        ]);
    }
    file.write(path, Access::Shared)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::user::limits::{built_in, in_use, read};
    use crate::user::user_file::BYTE_ORDER_MARK;

    fn written(name: &str, write: impl Fn(&Path) -> Result<(), WriteError>) -> Vec<ListedLimit> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        write(&path).unwrap();
        let bytes = std::fs::read(&path).unwrap();
        assert!(bytes.starts_with(BYTE_ORDER_MARK), "a double-click opens it rightly");
        assert!(bytes.starts_with(b"\xef\xbb\xbforgan,tier,metric,limit,fractions,source,note,"));
        read(&path).unwrap()
    }

    #[test]
    fn the_examples_are_read_and_none_is_in_use() {
        let list = written("limits.csv", write_template);
        assert_eq!(list.len(), EXAMPLES.len());
        assert_eq!(list[2].limit.fractions, [25, 40]);
        assert!(list[1].limit.target_may_lie_inside && !list[0].limit.target_may_lie_inside);
        assert!(in_use(Vec::new(), list).is_empty());
    }

    #[test]
    fn the_list_of_the_program_comes_back_as_it_was_written() {
        let list = built_in().unwrap();
        assert_eq!(written("list.csv", |path| write_list(path, &list)), list);
    }
}
