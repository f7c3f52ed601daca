//! What the words of a column mean, for the dictionary: of each list of words once, in the table
//! where a reader meets it first. The words and their meanings are those of the types.

use strum::IntoEnumIterator;

use super::user::states::State;
use tidydose_analyse::SeenSide;
use tidydose_case::{NameBasis, PlanRole, PrescriptionBasis, Role, RoleReason, Technology};
use tidydose_metrics::Status;
use tidydose_metrics::limits::{Checked, Tier, Verdict};
use tidydose_rt::finding::Severity;

/// A word that a column may hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct ColumnWord {
    pub(super) column: &'static str,
    pub(super) word: &'static str,
    pub(super) meaning: &'static str,
}

type Pairs = Vec<(&'static str, &'static str)>;

/// Table, column, and the words with their meanings.
type Words = (&'static str, &'static str, fn() -> Pairs);

/// All words of a type with their meanings.
macro_rules! words_of {
    ($of:ty) => {
        || <$of>::iter().map(|w| (w.word(), w.meaning())).collect()
    };
}

/// Every column of words.
pub(super) const ALL: &[Words] = &[
    ("plans", "technology", words_of!(Technology)),
    ("plans", "prescription_basis", words_of!(PrescriptionBasis)),
    ("plans", "plan_role", words_of!(PlanRole)),
    ("plans", "plan_role_rule", || {
        let words = |w: RoleReason| match w {
            RoleReason::NoPlan => "there is no plan",
            _ => w.words(),
        };
        RoleReason::iter().map(|w| (w.word(), words(w))).collect()
    }),
    ("structures", "name_basis", words_of!(NameBasis)),
    ("structures", "role", words_of!(Role)),
    ("lesions", "side", words_of!(SeenSide)),
    ("lesions_wide", "target_kind", || {
        let kinds = Role::iter().filter(|role| role.is_target());
        kinds.map(|w| (w.word(), w.meaning())).collect()
    }),
    ("metrics", "status", words_of!(Status)),
    ("limit_checks", "tier", words_of!(Tier)),
    ("limit_checks", "checked", words_of!(Checked)),
    ("limit_checks", "verdict", words_of!(Verdict)),
    ("findings", "severity", words_of!(Severity)),
    ("findings", "state", words_of!(State)),
];

/// The words of a column of a table; none where its meaning says all or another table explains them.
pub(super) fn of(table: &str, column: &str) -> Vec<ColumnWord> {
    let Some((_, column, words)) = ALL.iter().find(|(t, c, _)| *t == table && *c == column) else {
        return Vec::new();
    };
    let word = |(word, meaning)| ColumnWord { column, word, meaning };
    words().into_iter().map(word).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::all_tables::TABLES;
    use crate::dictionary::definitions;
    use crate::example::Example;

    #[test]
    fn the_words_are_those_that_the_column_may_hold() {
        let example = Example::new();
        let study = example.study();
        for (table, column, _) in ALL {
            let defined = TABLES.iter().find(|t| t.name == *table).unwrap();
            let columns = definitions(defined, study.columns);
            let definition = columns.iter().find(|d| d.name == *column).unwrap();
            let words = of(table, column);
            let listed: Vec<&str> = words.iter().map(|w| w.word).collect();
            assert_eq!(listed, definition.allowed, "{table}.{column}");
            assert!(words.iter().all(|w| !w.meaning.is_empty()), "{table}.{column}");
        }
    }
}
