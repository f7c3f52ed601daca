//! The parts of finished cases in a study folder. Findings of reading name the file in which they
//! were seen; in a part they name its content, so that a part holds for the same files under other
//! names.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::fault::Fault;
use super::part_key::PartKey;
use tidydose_analyse::Memory;
use tidydose_case::Case;
use tidydose_rt::finding::Finding;
use tidydose_rt::identity::Token;
use tidydose_table::WriteError;
use tidydose_table::part::{
    CasePart, PartRead, keys, keys_beginning, part_file, read_measured, read_part, write_part,
};

/// How a content is named where a file was.
const CONTENT: &str = "sha256:";

/// The folder of the parts.
#[derive(Debug, Clone)]
pub(super) struct Store {
    folder: PathBuf,
}

impl Store {
    /// The parts in `folder`, which need not exist yet.
    pub(super) const fn new(folder: PathBuf) -> Self {
        Self { folder }
    }

    /// The folder.
    pub(super) fn folder(&self) -> &Path {
        &self.folder
    }

    /// The part of `key`, with its findings about the files of `case`.
    pub(super) fn load(&self, key: &str, case: &Case) -> PartRead {
        let mut reading = read_part(&self.folder, key);
        if let PartRead::Whole(part) = &mut reading {
            if part.analysis.case != case.id {
                return PartRead::Damaged("it is of another case".to_owned());
            }
            let files = files(case);
            rename(part.findings.iter_mut().chain(&mut part.analysis.findings), &files);
        }
        reading
    }

    /// What was measured for `case` under earlier decisions; nothing when there is none that can be
    /// trusted.
    pub(super) fn measured(&self, key: &PartKey, case: &Case) -> Memory {
        let parts = keys_beginning(&self.folder, key.inputs());
        let found = parts.iter().find_map(|key| read_measured(&self.folder, key));
        let mut memory = found.unwrap_or_default();
        rename(memory.findings.iter_mut(), &files(case));
        memory
    }

    /// Keeps what was computed for `case`, and what was measured for it.
    ///
    /// # Errors
    /// When it cannot be written.
    pub(super) fn keep(
        &self,
        key: &str,
        case: &Case,
        (part, measured): (&mut CasePart, &mut Memory),
    ) -> Result<(), WriteError> {
        let (names, back) = (contents(case), files(case));
        rename(measured.findings.iter_mut(), &names);
        rename(part.findings.iter_mut().chain(&mut part.analysis.findings), &names);
        write_part(&self.folder, key, part, measured)?;
        rename(part.findings.iter_mut().chain(&mut part.analysis.findings), &back);
        Ok(())
    }

    /// A part that was whole a moment ago.
    ///
    /// # Errors
    /// When it is gone or damaged since.
    pub(super) fn again(&self, key: &str, case: &Case) -> Result<CasePart, WriteError> {
        let reason = match self.load(key, case) {
            PartRead::Whole(part) => return Ok(*part),
            PartRead::Absent => "it is no longer there".to_owned(),
            PartRead::OtherLayout => "another version of the program wrote it since".to_owned(),
            PartRead::Damaged(reason) => reason,
        };
        let source = io::Error::other(format!("{reason}; run the same command again"));
        Err(WriteError { path: part_file(&self.folder, key), source })
    }

    /// Removes the parts whose keys are not in `used`, and what killed runs left; says how many
    /// parts that were.
    ///
    /// # Errors
    /// When the folder cannot be read or a file cannot be removed.
    pub(super) fn prune(&self, used: &BTreeMap<Token, String>) -> Result<usize, Fault> {
        let refused = |e: io::Error| Fault::folder(&self.folder, e.to_string());
        let mut removed = 0;
        for key in keys(&self.folder).map_err(refused)? {
            if !used.values().any(|u| *u == key) {
                fs::remove_file(part_file(&self.folder, &key)).map_err(refused)?;
                removed += 1;
            }
        }
        Ok(removed)
    }

    /// How many parts there are that no key of `used` names.
    pub(super) fn unused(&self, used: &BTreeMap<Token, String>) -> usize {
        let all = keys(&self.folder).unwrap_or_default();
        all.iter().filter(|key| !used.values().any(|u| u == *key)).count()
    }
}

/// The files of a case with what stands for their contents.
fn contents(case: &Case) -> BTreeMap<Token, Token> {
    let set = case.structure_set.iter().map(|s| &s.origin);
    let origins = set.chain(case.all_doses().map(|d| &d.origin));
    origins.map(|o| (o.file.clone(), Token::new(format!("{CONTENT}{}", o.digest)))).collect()
}

/// The contents of a case with the files that hold them.
fn files(case: &Case) -> BTreeMap<Token, Token> {
    contents(case).into_iter().map(|(file, content)| (content, file)).collect()
}

fn rename<'f>(findings: impl Iterator<Item = &'f mut Finding>, names: &BTreeMap<Token, Token>) {
    for finding in findings {
        let file = &mut finding.subject.file;
        if let Some(name) = file.as_ref().and_then(|f| names.get(f)) {
            *file = Some(name.clone());
        }
    }
}
