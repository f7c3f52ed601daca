//! Which texts of a table leave a centre. Those that the dictionary lists word by word, pseudonyms,
//! and words of the program do; whatever people or machines may have typed does not, and a name that
//! is no standard one gives way to the role. A column that is new here stays behind until it is listed.

use std::collections::BTreeSet;

use crate::clinical_words::is_standard_structure;
use crate::column::{Definition, Kind};
use tidydose_case::standard_names;

/// What becomes of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Treatment {
    /// It goes along as it is.
    Kept,
    /// It stays behind: its cells are missing.
    Withheld,
    /// Standard names go along, others give way to their role.
    Structure,
    /// Each different text gets a number.
    Numbered,
}

/// Texts that no person wrote though their words are not listed.
const KEPT: &[&str] = &[
    "action",
    "attribute",
    "boost_numbers",
    "centre",
    "code",
    "consequence",
    "ctv_numbers",
    "detail_id",
    "directions",
    "dose_id",
    "drawn_as",
    "earlier_lesion_id",
    "exclusion_code",
    "file_id",
    "finding_id",
    "fractions",
    "gtv_numbers",
    "index_plan_id",
    "inputs_sha256",
    "lesion_id",
    "limit_fractions",
    "limit_source",
    "machine_id",
    "may_be",
    "meaning",
    "method",
    "metric",
    "nearest_target_id",
    "not_computed",
    "object_id",
    "other_structure_id",
    "patient_id",
    "plan_id",
    "plan_role",
    "plans",
    "points",
    "program_version",
    "ptv_numbers",
    "reference",
    "settings_digest",
    "sha256",
    "sop_class",
    "structure_id",
    "structure_set_id",
    "target_numbers",
    "technology",
    "treated_lesion_id",
    "treated_plan_id",
    "unit",
];

/// Names of structures.
const STRUCTURES: [&str; 4] = ["structure", "other_structure", "name_standard", "drawn"];

/// What becomes of a column of a table.
pub(super) fn treatment(table: &str, column: &Definition) -> Treatment {
    let name = &*column.name;
    if column.kind != Kind::Text || !column.allowed.is_empty() || KEPT.contains(&name) {
        return Treatment::Kept;
    }
    match (table, name) {
        ("sums", "sum") => Treatment::Numbered,
        _ if STRUCTURES.contains(&name) => Treatment::Structure,
        _ => Treatment::Withheld,
    }
}

/// Names of structures that are nobody's own.
#[derive(Debug)]
pub(super) struct StandardNames(BTreeSet<String>);

impl StandardNames {
    /// Those of the catalogue.
    pub(super) fn new() -> Self {
        Self(standard_names().into_iter().map(|(name, _)| name).collect())
    }

    /// Whether a name is one of them, a region that the program made, or a target with at most two
    /// digits: no name of a person, and too short for a number of one.
    pub(super) fn has(&self, name: &str) -> bool {
        let rest = ["GTV", "CTV", "PTV", "ITV"].iter().find_map(|t| name.strip_prefix(t));
        let digits = rest.map(|rest| rest.trim_start_matches('_'));
        let target = digits.is_some_and(|d| d.len() <= 2 && d.bytes().all(|b| b.is_ascii_digit()));
        target || self.0.contains(name) || is_standard_structure(name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::TABLES;
    use crate::analysis::ChosenColumns;
    use crate::dictionary::definitions;

    /// What may hold words of people, or of a machine, stays behind; the list says so once more.
    #[test]
    fn columns_that_people_or_machines_fill_stay_behind() {
        let mut withheld = Vec::new();
        for table in TABLES {
            for column in definitions(table, &ChosenColumns::default()) {
                if treatment(table.name, &column) == Treatment::Withheld {
                    withheld.push(format!("{}.{}", table.name, column.name));
                }
            }
        }
        for wanted in [
            "plans.intent",
            "plans.fixation",
            "plans.approval_status",
            "plans.exclusion_reason",
            "structures.name_original",
            "structures.generation_algorithm",
            "lesions.clinical_label",
            "metrics.reason",
            "findings.message",
            "finding_details.name_original",
            "files.reason",
        ] {
            assert!(withheld.iter().any(|have| have == wanted), "{wanted}: {withheld:?}");
        }
    }

    #[test]
    fn names_of_people_are_no_standard_names() {
        let standard = StandardNames::new();
        for name in ["Brainstem", "OpticChiasm", "Brain-targets", "all tissue", "GTV", "PTV_12"] {
            assert!(standard.has(name), "{name}");
        }
        for name in ["Met Smith", "zHelper", "Brain-Smith", "GTV Quux", "GTV4711", ""] {
            assert!(!standard.has(name), "{name}");
        }
    }
}
