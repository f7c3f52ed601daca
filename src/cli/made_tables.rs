//! Whether the tables of a study are already what this run would write. Beside them lies a digest
//! of all that they followed from, and one of each file as it was written; when both still hold, the
//! files stay as they are. Whatever cannot be read, or is another by one byte, means that all are
//! written again.

use std::collections::BTreeMap;
use std::fmt::{self, Write as _};
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::study_folder::StudyFolder;
use tidydose_rt::digest::hexadecimal;
use tidydose_table::starters;
use tidydose_table::{Study, TABLES, Written, replace_file};

/// All that tables follow from, as one digest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Basis(String);

/// Takes text and keeps its digest alone.
struct Hashing(Sha256);

impl fmt::Write for Hashing {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.0.update(text);
        Ok(())
    }
}

impl Hashing {
    fn digits(self) -> String {
        hexadecimal(&self.0.finalize())
    }
}

impl Basis {
    /// Of the study as it is about to be written, everything `else_shown` in its files, and this
    /// very program. Absent where the system does not tell which program this is.
    pub(super) fn of(study: &Study<'_>, else_shown: &[&dyn fmt::Debug]) -> Option<Self> {
        let program = fs::metadata(std::env::current_exe().ok()?).ok()?;
        let mut hash = Hashing(Sha256::new());
        // Every type shows all its fields, and floating-point numbers all their digits; but limits
        // also where functions lie in memory. They are in the settings by a digest of their own.
        let study = Study { limits: &[], ..*study };
        write!(hash, "{} {:?} ", program.len(), program.modified().ok()?).ok()?;
        write!(hash, "{study:?}").ok()?;
        for shown in else_shown {
            write!(hash, "\n{shown:?}").ok()?;
        }
        Some(Self(hash.digits()))
    }
}

/// What was written, and from what.
#[derive(Debug, Serialize, Deserialize)]
struct Record {
    basis: String,
    /// SHA-256 of each file, by its path below the study folder.
    files: BTreeMap<PathBuf, String>,
    tables: BTreeMap<String, TableRecord>,
}

#[derive(Debug, Serialize, Deserialize)]
struct TableRecord {
    rows: usize,
    csv: bool,
}

/// What of each table lies in the folder, where it follows from `basis` and no file has changed
/// since it was written.
pub(super) fn unchanged(folder: &StudyFolder, basis: &Basis) -> Option<Vec<Written>> {
    let record = fs::read(folder.made_tables()).ok()?;
    let record: Record = serde_json::from_slice(&record).ok()?;
    let same = |(path, digest): (&PathBuf, &String)| {
        digest_of(&folder.root().join(path)).is_ok_and(|now| now == *digest)
    };
    if record.basis != basis.0 || record.files.is_empty() || !record.files.iter().all(same) {
        return None;
    }
    let written = |name: &'static str| {
        let TableRecord { rows, csv } = record.tables.get(name)?;
        Some(Written { table: name, rows: *rows, csv: *csv })
    };
    TABLES.iter().map(|table| written(table.name)).collect()
}

/// After everything is written. A record of other files, left by a run that was killed, does no
/// harm: it names digests of bytes.
///
/// # Errors
/// When a file cannot be read again, or the record cannot be written.
pub(super) fn keep(folder: &StudyFolder, basis: Basis, written: &[Written]) -> io::Result<()> {
    let mut files = BTreeMap::new();
    for path in made_files(folder)? {
        let below = path.strip_prefix(folder.root()).unwrap_or(&path).to_path_buf();
        files.insert(below, digest_of(&path)?);
    }
    let row = |w: &Written| (w.table.to_owned(), TableRecord { rows: w.rows, csv: w.csv });
    let record = Record { basis: basis.0, files, tables: written.iter().map(row).collect() };
    let kept = replace_file(&folder.made_tables(), |output| {
        serde_json::to_writer(output, &record).map_err(io::Error::other)
    });
    kept.map_err(|error| error.source)
}

/// Every file that is made of the results, and none of the user's own.
fn made_files(folder: &StudyFolder) -> io::Result<Vec<PathBuf>> {
    let mut files = vec![
        folder.database(),
        folder.workbook(),
        folder.codebook(),
        folder.data_package(),
        folder.run_file(),
        folder.run_schema(),
    ];
    files.extend(starters::FILES.map(|(name, _)| folder.root().join(name)));
    for within in [folder.tables(), folder.spreadsheet()] {
        if within.is_dir() {
            for entry in fs::read_dir(within)? {
                files.push(entry?.path());
            }
        }
    }
    Ok(files)
}

fn digest_of(path: &Path) -> io::Result<String> {
    let mut file = File::open(path)?;
    let (mut hash, mut bytes) = (Hashing(Sha256::new()), vec![0; 1 << 16]);
    loop {
        match file.read(&mut bytes)? {
            0 => return Ok(hash.digits()),
            count => hash.0.update(bytes.get(..count).unwrap_or_default()),
        }
    }
}
