//! What people decided in the files of a study, as one digest for each file: `run.json` keeps those
//! of the run that made the tables, so that a decision taken since is noticed. Only cells that can
//! change a table count: neither comments nor proposals, nor in which order, encoding or convention
//! a spreadsheet saved them.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use sha2::{Digest, Sha256};

use super::columns_file::{self, ColumnsFile};
use super::user_file::{ReadError, UserFile};
use super::{
    choices, clinical_file, decisions, lesion_file, limits, names, prescriptions, sums_file,
};
use crate::run::run_document;
use tidydose_rt::digest::hexadecimal;

/// Digests by name of the file.
pub type Digests = BTreeMap<String, String>;

/// Which cells of a file are decisions.
#[derive(Debug, Clone, Copy)]
pub struct DecidedFile {
    /// The file.
    pub file: &'static str,
    /// What a row is about.
    key: &'static [&'static str],
    /// What is decided; a row with nothing here is no decision.
    decision: &'static [&'static str],
}

/// The files that people decide in.
pub const FILES: &[DecidedFile] = &[
    DecidedFile {
        file: names::FILE,
        key: &["name_original", "plan_id", "roi_number"],
        decision: &["name_standard", "role"],
    },
    DecidedFile {
        file: prescriptions::FILE,
        key: &["plan_id", "roi_number"],
        decision: &["prescription_gy"],
    },
    DecidedFile { file: decisions::FILE, key: &["finding_id"], decision: &["state"] },
    DecidedFile { file: choices::FILE, key: &["plan_id", "question"], decision: &["decision"] },
    DecidedFile {
        file: lesion_file::FILE,
        key: &["lesion_id"],
        decision: &["same_as", "clinical_label"],
    },
    DecidedFile {
        file: clinical_file::FILE,
        key: &["patient_id", "plan_id", "clinical_label"],
        decision: &["lesion_id"],
    },
    DecidedFile {
        file: sums_file::FILE,
        key: &["patient_id", "plan_id"],
        decision: &["sum", "basis", "structures"],
    },
    DecidedFile {
        file: limits::FILE,
        key: &["organ", "name", "metric"],
        decision: &[
            "fractions",
            "tier",
            "source",
            "operator",
            "limit",
            "unit",
            "target_inside",
            "evidence",
            "checked",
            "in_use",
            "endpoint",
            "risk",
            "note",
        ],
    },
];

impl DecidedFile {
    /// The digest of the decisions in a file; the same for a file without any and for none.
    fn digest(self, file: &UserFile) -> String {
        let mut lines = BTreeSet::new();
        for row in 0..file.row_count() {
            let text = |column: &&str| file.text(row, column).to_owned();
            let decision: Vec<String> = self.decision.iter().map(text).collect();
            if decision.iter().any(|cell| !cell.is_empty()) {
                let key: Vec<String> = self.key.iter().map(text).collect();
                lines.insert([key, decision].concat());
            }
        }
        let mut hash = Sha256::new();
        for cells in lines {
            for cell in cells {
                hash.update(cell);
                hash.update([0]);
            }
            hash.update([1]);
        }
        hexadecimal(&hash.finalize())
    }
}

/// The digests of the files in a study folder as they are now.
///
/// # Errors
/// When a file is no CSV in UTF-8.
pub fn digests(study: &Path) -> Result<Digests, ReadError> {
    let one = |decided: &DecidedFile| {
        let file = UserFile::read(&study.join(decided.file), &[], &[])?;
        Ok((decided.file.to_owned(), decided.digest(&file)))
    };
    let mut all: Digests = FILES.iter().map(one).collect::<Result<_, ReadError>>()?;
    all.insert(columns_file::FILE.to_owned(), columns_digest(study)?);
    Ok(all)
}

/// The digest of the columns of table `analysis`, which count in their order; the same for the usual
/// ones and for no file.
fn columns_digest(study: &Path) -> Result<String, ReadError> {
    let file = ColumnsFile::read(&study.join(columns_file::FILE))?;
    let mut hash = Sha256::new();
    for column in file.chosen().all() {
        for cell in [&column.name, &column.label, &column.shown_unit] {
            hash.update(cell.as_bytes());
            hash.update([0]);
        }
    }
    Ok(hexadecimal(&hash.finalize()))
}

/// The files in which something was decided since the tables of a study were made: what `run.json`
/// says against the files as they are. None where it does not say, as in studies that were made
/// before it did. A file that can no longer be read counts as changed.
#[must_use]
pub fn changed_since(study: &Path) -> Vec<&'static str> {
    let document = run_document(study).unwrap_or_default();
    let then = |file: &str| Some(document.get("decisions_sha256")?.get(file)?.as_str()?.to_owned());
    let now = |decided: &DecidedFile| {
        let file = UserFile::read(&study.join(decided.file), &[], &[]).ok()?;
        Some(decided.digest(&file))
    };
    let changed = FILES.iter().filter(|d| then(d.file).is_some_and(|then| now(d) != Some(then)));
    let columns = then(columns_file::FILE)
        .is_some_and(|then| columns_digest(study).ok() != Some(then))
        .then_some(columns_file::FILE);
    changed.map(|d| d.file).chain(columns).collect()
}

/// What to say where files were changed; nothing where none was.
#[must_use]
pub fn stale_words(changed: &[&str]) -> Option<String> {
    let (verb, they) = if changed.len() == 1 { ("was", "it") } else { ("were", "them") };
    (!changed.is_empty()).then(|| {
        format!(
            "{} {verb} changed after the tables were made, which do not follow {they} yet: run \
             `tidydose measure` with the same archive and study again",
            changed.join(", ")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const NAMES: &str = "name_original,plan_id,roi_number,n_seen,name_standard,role,comment\n\
                         Stamm,,,3,Brainstem,,\nx,,,1,,,\n";

    fn study(names: &str) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("names.csv"), names).unwrap();
        folder
    }

    #[test]
    fn only_decisions_count() {
        let of = |names: &str| digests(study(names).path()).unwrap()["names.csv"].clone();
        let first = of(NAMES);
        for same in [
            NAMES.replace("Brainstem,,", "Brainstem,,sure"),
            NAMES.replace(",3,", ",4,"),
            format!("{NAMES}new,,,1,,,\n"),
            format!("\u{feff}{}", NAMES.replace(',', ";").replace('\n', "\r\n")),
            "name_original,plan_id,roi_number,name_standard,role\nStamm,,,Brainstem,\n".to_owned(),
        ] {
            assert_eq!(of(&same), first, "{same}");
        }
        for other in [
            NAMES.replace("Brainstem", "Pons"),
            NAMES.replace("x,,,1,,", "x,,,1,,helper"),
            NAMES.replace("Stamm", "stamm"),
            NAMES.replace("Stamm,,,3,Brainstem,,", "Stamm,,,3,,,"),
        ] {
            assert_ne!(of(&other), first, "{other}");
        }
        let empty = digests(tempfile::tempdir().unwrap().path()).unwrap();
        // Columns count in their order; the usual ones written out are the usual ones.
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(columns_file::FILE);
        let columns = || digests(folder.path()).unwrap()[columns_file::FILE].clone();
        ColumnsFile::read(&path).unwrap().write(&path).unwrap();
        assert_eq!(columns(), empty[columns_file::FILE]);
        std::fs::write(&path, "column\ntechnology\nfractions_planned\n").unwrap();
        let one_order = columns();
        std::fs::write(&path, "column\nfractions_planned\ntechnology\n").unwrap();
        assert!(one_order != columns() && one_order != empty[columns_file::FILE]);
        assert_eq!(empty["names.csv"], of("name_original,name_standard,role\nx,,\n"));
    }

    #[test]
    fn a_decision_after_the_run_is_noticed() {
        let folder = study(NAMES);
        let place = folder.path();
        let run = |digests: &Digests| {
            let document = serde_json::json!({ "decisions_sha256": digests });
            std::fs::write(place.join("run.json"), document.to_string()).unwrap();
        };
        assert!(changed_since(place).is_empty(), "no run.json");
        run(&digests(place).unwrap());
        assert!(changed_since(place).is_empty());
        std::fs::write(place.join("names.csv"), NAMES.replace("Brainstem", "Pons")).unwrap();
        std::fs::write(place.join("lesions.csv"), "lesion_id,same_as\na/1,new\n").unwrap();
        assert_eq!(changed_since(place), ["names.csv", "lesions.csv"]);
        let words = stale_words(&changed_since(place)).unwrap();
        assert!(words.starts_with("names.csv, lesions.csv were changed after"), "{words}");
        std::fs::write(place.join("names.csv"), b"\xff").unwrap();
        assert!(changed_since(place).contains(&"names.csv"));
        assert_eq!(stale_words(&[]), None);
    }
}
