//! Read back from table structures: which structures with undecided names may be an organ, so that
//! no page and no sheet calls an organ absent that only waits for its name.

use std::collections::{BTreeMap, BTreeSet};

use super::read::StructureRow;
use tidydose_case::has_size_of;

/// What stands in column `may_be` where the words of a name say nothing.
const ANY: &str = "any";

/// Whether a structure whose name nobody has decided may be the organ of a standard name: by what its
/// words allow (column `may_be`) and by its volume.
#[must_use]
pub fn may_be(words: &str, volume_cc: Option<f64>, organ: &str) -> bool {
    let named = words == ANY || words_name(words, organ);
    named && volume_cc.is_none_or(|cc| has_size_of(organ, cc))
}

/// Whether the words of an undecided name speak of the organ, and its size allows it.
#[must_use]
pub fn names_by_words(structure: &StructureRow<'_>, organ: &str) -> bool {
    let words = structure.may_be.filter(|words| words_name(words, organ));
    words.is_some_and(|words| may_be(words, structure.volume_cc, organ))
}

fn words_name(words: &str, organ: &str) -> bool {
    let root = organ.strip_suffix("_L").or(organ.strip_suffix("_R")).unwrap_or(organ);
    words.split(' ').any(|word| word == root)
}

/// Undecided names by plan.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct OpenNames {
    /// Organs that a name allows, and the volume of the structure.
    open: BTreeMap<String, Vec<(String, Option<f64>)>>,
    /// Names of the structures that are decided.
    named: BTreeSet<(String, String)>,
}

impl OpenNames {
    /// Reads them.
    #[must_use]
    pub fn of(structures: &[StructureRow<'_>]) -> Self {
        let mut out = Self::default();
        for row in structures {
            if let Some(name) = row.name_standard {
                out.named.insert((row.plan_id.to_owned(), name.to_owned()));
            }
            if let Some(words) = row.may_be {
                let open = out.open.entry(row.plan_id.to_owned()).or_default();
                open.push((words.to_owned(), row.volume_cc));
            }
        }
        out
    }

    /// Whether a structure of the plan may be the organ of a standard name though none is called
    /// so.
    #[must_use]
    pub fn may_hold(&self, plan: &str, organ: &str) -> bool {
        let decided = self.named.contains(&(plan.to_owned(), organ.to_owned()));
        let fits = |(words, volume): &(String, Option<f64>)| may_be(words, *volume, organ);
        !decided && self.open.get(plan).is_some_and(|open| open.iter().any(fits))
    }

    /// Whether that is so in any plan.
    #[must_use]
    pub fn may_hold_anywhere(&self, organ: &str) -> bool {
        self.open.keys().any(|plan| self.may_hold(plan, organ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Cells, LoadedTable};
    use crate::read::rows_of;

    #[test]
    fn words_and_size_tell_what_a_structure_may_be() {
        let texts = |name: &str, cells: [Option<&str>; 4]| (name.to_owned(), Cells::texts(cells));
        let volumes = vec![Some(20.0), Some(0.2), Some(20.0), Some(20.0)];
        let table = LoadedTable::new(vec![
            texts("plan_id", [Some("p"), Some("p"), Some("q"), Some("q")]),
            texts("name_standard", [None, None, Some("Brainstem"), None]),
            texts("may_be", [Some("Brainstem External"), Some("any"), None, Some("any")]),
            ("volume_cc".to_owned(), Cells::Real(volumes)),
        ]);
        let open = OpenNames::of(&rows_of(&table).unwrap());
        assert!(open.may_hold("p", "Brainstem") && open.may_hold("p", "Cochlea_L"));
        assert!(!open.may_hold("p", "Brain"), "neither has the size of a brain");
        assert!(!open.may_hold("q", "Brainstem"), "one is called so");
        assert!(!open.may_hold("elsewhere", "Brainstem"));
        assert!(open.may_hold_anywhere("Brainstem") && !open.may_hold_anywhere("Brain"));
    }
}
