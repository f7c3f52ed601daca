//! The part that `survey` and `measure` share: open the study, take the key, read the user's
//! decisions, scan the archive, join its objects into cases and find out who is who.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};

use super::fault::Fault;
use super::settings::Settings;
use super::study_folder::StudyFolder;
use super::study_key::StudyKey;
use super::terminal::Terminal;
use crate::case::{self, Case, Decisions};
use crate::dicom::{self, Scan};
use crate::finding::{Code, Finding, Subject};
use crate::identity::{Identity, Token};
use crate::table::choices::ChoicesFile;
use crate::table::names::NamesFile;
use crate::table::prescriptions::PrescriptionsFile;

/// An archive that was read, and the study it goes to.
#[derive(Debug)]
pub(super) struct Prepared {
    /// Where the study is.
    pub(super) folder: StudyFolder,
    /// How identifiers become tokens.
    pub(super) identity: Identity,
    /// What the archive holds.
    pub(super) scan: Scan,
    /// The cases.
    pub(super) cases: Vec<Case>,
    /// Findings of scanning, joining and naming.
    pub(super) findings: Vec<Finding>,
    names: NamesFile,
    prescriptions: PrescriptionsFile,
    choices: ChoicesFile,
}

/// So many refused files are named on the terminal, with path and UID; all are in the findings.
const REFUSALS_SHOWN: usize = 20;

/// Reads the archive.
///
/// # Errors
/// When the run cannot be done, see [`Fault`]; [`Fault::Stopped`] when `stop` was raised.
pub(super) fn prepare(
    settings: &Settings,
    terminal: &Terminal,
    stop: &AtomicBool,
) -> Result<Prepared, Fault> {
    let folder = StudyFolder::open(&settings.study, &settings.archive)?;
    let names = NamesFile::read(&folder.names())?;
    let prescriptions = PrescriptionsFile::read(&folder.prescriptions())?;
    let choices = ChoicesFile::read(&folder.choices())?;
    for root in &settings.archive {
        // Before a key is made: a mistyped folder leaves nothing behind.
        std::fs::metadata(root)
            .map_err(|source| dicom::ScanError { root: root.clone(), source })?;
    }
    let key = StudyKey::beside(&settings.study)?;
    let identity = identity(settings, terminal, &folder, &key)?;
    let scan = scan(settings, &identity, terminal, stop)?;
    if stop.load(Ordering::SeqCst) {
        return Err(Fault::Stopped);
    }
    if !identity.is_kept() {
        record(&key, &scan)?;
    }
    let mut decisions = Decisions::default();
    names.decide(&mut decisions);
    prescriptions.decide(&mut decisions);
    choices.decide(&mut decisions);
    let (mut cases, linked) = case::link_decided(&scan.inventory, &decisions);
    let named = case::identify(&mut cases, &decisions);
    let mut findings = scan.findings.clone();
    findings.extend(linked);
    findings.extend(named);
    findings.extend(nothing_found(&scan));
    Ok(Prepared { folder, identity, scan, cases, findings, names, prescriptions, choices })
}

impl Prepared {
    /// Adds proposals to the files of the user.
    ///
    /// # Errors
    /// When they cannot be written.
    pub(super) fn write_proposals(&mut self) -> Result<(), Fault> {
        self.names.propose(&case::proposals(&self.cases));
        self.names.write(&self.folder.names())?;
        self.prescriptions.propose(&self.cases);
        self.prescriptions.write(&self.folder.prescriptions())?;
        self.choices.propose(&self.cases);
        self.choices.write(&self.folder.choices())?;
        Ok(())
    }
}

/// One identity per study: mixing pseudonyms of two keys, or pseudonyms and names, would make two
/// patients of one.
fn identity(
    settings: &Settings,
    terminal: &Terminal,
    folder: &StudyFolder,
    key: &StudyKey,
) -> Result<Identity, Fault> {
    match (settings.keep_ids, key.exists()) {
        (true, true) => Err(Fault::folder(
            key.folder(),
            "holds the key of this study, whose tables are pseudonymous; choose another --study \
             for --keep-ids",
        )),
        (true, false) => {
            terminal.warn(
                "--keep-ids: patient IDs, UIDs, paths and dates will be readable in the tables; \
                 do not pass them on",
            );
            Ok(Identity::kept())
        }
        (false, false) if folder.existed() => Err(Fault::folder(
            key.folder(),
            "the study exists but its key does not; put the key back, or choose another --study, \
             since a new key would give every patient a new pseudonym",
        )),
        (false, _) => key.identity(),
    }
}

fn scan(
    settings: &Settings,
    identity: &Identity,
    terminal: &Terminal,
    stop: &AtomicBool,
) -> Result<Scan, Fault> {
    let bar = terminal.progress("files", 0);
    let watch = |progress: dicom::Progress| {
        bar.set_length(u64::try_from(progress.files_total).unwrap_or(u64::MAX));
        bar.set_position(u64::try_from(progress.files_seen).unwrap_or(u64::MAX));
    };
    let scan = dicom::scan(&settings.archive, identity, &watch, stop)?;
    bar.finish_and_clear();
    for error in scan.errors.iter().take(REFUSALS_SHOWN) {
        terminal.say(&error.to_string());
    }
    let more = scan.errors.len().saturating_sub(REFUSALS_SHOWN);
    if more > 0 {
        terminal.say(&format!("and {more} more; all are in table findings"));
    }
    Ok(scan)
}

fn record(key: &StudyKey, scan: &Scan) -> Result<(), Fault> {
    let files: BTreeMap<Token, String> =
        scan.paths.iter().map(|(token, place)| (token.clone(), place.to_string())).collect();
    key.record("patient_key.csv", ["patient_id", "original_patient_id"], &scan.ledger.patients)?;
    key.record("object_key.csv", ["object_id", "sop_instance_uid"], &scan.ledger.objects)?;
    key.record("file_key.csv", ["file_id", "path"], &files)
}

/// An archive without a single radiotherapy object is more likely a wrong folder than a wish.
fn nothing_found(scan: &Scan) -> Option<Finding> {
    let inventory = &scan.inventory;
    let nothing = inventory.plans.is_empty()
        && inventory.doses.is_empty()
        && inventory.structure_sets.is_empty();
    let message = format!("{} files were looked at", inventory.files.len());
    nothing.then(|| Finding::new(Code::ArchiveEmpty, Subject::default(), message))
}
