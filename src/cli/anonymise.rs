//! `anonymise`: de-identified copies of the radiotherapy objects of an archive, and a table of what
//! was done. Writes into a new folder only; bad files are listed and the others go on.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use rayon::prelude::*;

use super::args::Anonymise;
use super::fault::Fault;
use super::outcome::{LeftOut, Outcome};
use super::prepare::{REFUSALS_SHOWN, record};
use super::study_folder::resolved;
use super::study_key::StudyKey;
use super::terminal::{Terminal, print};
use tidydose_dicom::deident::{self, AttributeAction, AttributeGroup, Choices, Personal, Spacings};
use tidydose_dicom::{self as dicom, Error, Scan, ScanError};
use tidydose_rt::identity::{Identity, Token};
use tidydose_rt::{FileRecord, FileStatus, SpacingSource};
use tidydose_table::Cell;
use tidydose_table::run::CAUTION;
use tidydose_table::write_csv::write_records;
use tidydose_table::write_file::replace_file;

/// The table of what was done, in the folder of the copies.
const TABLE: &str = "anonymised.csv";

/// What became of one file.
struct FileResult {
    /// Where the copy is, below the folder of the copies.
    copy: Option<String>,
    /// How many of which attributes were treated how.
    counts: BTreeMap<(AttributeGroup, AttributeAction), usize>,
    /// Why there is no copy; no identifiers.
    reason: String,
    /// Whether it should have been copied and was not.
    left_out: bool,
    /// The same for the terminal.
    error: Option<Error>,
}

/// Runs the command.
///
/// # Errors
/// When the archive cannot be read, or the folder is in use or cannot be written.
pub(super) fn run(
    typed: &Anonymise,
    terminal: &Terminal,
    stop: &AtomicBool,
) -> Result<Outcome, Fault> {
    let key = StudyKey::beside(&typed.study)?;
    check_places(typed, &key)?;
    let identity = key.identity()?;
    let roots = std::slice::from_ref(&typed.archive);
    let scan = dicom::scan(roots, &identity, &|_| {}, stop)?;
    if stop.load(Ordering::SeqCst) {
        return Err(Fault::Stopped);
    }
    record(&key, &scan)?;
    let people = people(&scan, &identity);
    let choices = Choices {
        keep_labels: typed.keep_labels,
        keep_device: typed.keep_device,
        keep_characteristics: typed.keep_characteristics,
        keep_institution: typed.keep_institution,
        drop_dates: typed.drop_dates,
    };
    let files = &scan.inventory.files;
    let bar = terminal.progress("files", files.len());
    let done = files
        .par_iter()
        .map(|file| {
            let work = CopyContext { scan: &scan, identity: &identity, people: &people, choices };
            let done = work.file(file, &typed.output, stop);
            bar.inc(1);
            done
        })
        .collect::<Result<Vec<_>, Fault>>()?;
    bar.finish_and_clear();
    let mut rows: Vec<(&FileRecord, &FileResult)> = files.iter().zip(&done).collect();
    rows.sort_by_key(|(file, _)| &file.file);
    replace_file(&typed.output.join(TABLE), |to| {
        write_records(&COLUMNS, rows.iter().flat_map(|(file, done)| cells(file, done)), to)
    })?;
    let errors: Vec<&Error> =
        scan.errors.iter().chain(done.iter().filter_map(|d| d.error.as_ref())).collect();
    for error in errors.iter().take(REFUSALS_SHOWN) {
        terminal.say(&error.to_string());
    }
    let more = errors.len().saturating_sub(REFUSALS_SHOWN);
    if more > 0 {
        terminal.say(&format!("and {more} more; all are in {TABLE}"));
    }
    print(&summary(&done)).map_err(|e| Fault::System(format!("stdout: {e}")))?;
    terminal.say(&format!(
        "{}: look at names and labels before it is passed on; the key in {} stays here. {CAUTION}",
        typed.output.display(),
        key.folder().display()
    ));
    if stop.load(Ordering::SeqCst) {
        terminal.warn("stopped; the files that are listed as left out have no copy");
        return Ok(Outcome::Failed);
    }
    Ok(outcome(typed, &done, terminal))
}

/// What the run came to, said in its last lines.
fn outcome(typed: &Anonymise, done: &[FileResult], terminal: &Terminal) -> Outcome {
    let count = |wanted: fn(&FileResult) -> bool| done.iter().filter(|d| wanted(d)).count();
    let found = Outcome::of_count(count(|d| d.copy.is_some()));
    if found == Outcome::Empty {
        terminal.warn(&format!(
            "nothing was copied: {} holds no structure set, dose, plan, treatment record or \
             registration that can be used",
            typed.archive.display()
        ));
    }
    let left_out = LeftOut::of_files(count(|d| d.left_out), done.len());
    let fail_on = typed.fail_on;
    let failed_on = fail_on.is_some() && !left_out.is_nothing();
    if failed_on {
        terminal.warn("exit code 1 as asked for by --fail-on left-out");
    }
    let table = typed.output.join(TABLE);
    left_out.conclude(&format!("{} (status left_out)", table.display()), terminal);
    if failed_on { Outcome::FailedOn } else { found }
}

/// Copies never go where the originals or the key are, nor among other things.
fn check_places(typed: &Anonymise, key: &StudyKey) -> Result<(), Fault> {
    let (output, archive) = (&typed.output, &typed.archive);
    std::fs::metadata(archive).map_err(|source| ScanError { root: archive.clone(), source })?;
    if output.exists() && !output.is_dir() {
        return Err(Fault::folder(output, "is a file; give a new or empty folder"));
    }
    let (out, from) = (resolved(output), resolved(archive));
    if out.starts_with(&from) {
        return Err(Fault::folder(output, "is, or lies in, the archive; give a folder outside it"));
    }
    if output.exists() {
        let refused = |e: std::io::Error| Fault::folder(output, format!("cannot be read: {e}"));
        if std::fs::read_dir(output).map_err(refused)?.next().is_some() {
            return Err(Fault::folder(output, "is not empty; give a new or empty folder"));
        }
    }
    let secret = resolved(key.folder());
    let apart = |place: &Path| !secret.starts_with(place) && !place.starts_with(&secret);
    if !apart(&out) || (from.is_dir() && !apart(&from)) {
        let reason = "the key must lie apart from archive and copies; choose another --study";
        return Err(Fault::folder(key.folder(), reason));
    }
    Ok(())
}

/// Whether a file holds an object that is copied.
fn is_copied(file: &FileRecord) -> Option<&'static str> {
    let class = file.sop_class.and_then(deident::copied_class)?;
    (file.status == FileStatus::Read).then_some(class)
}

/// What all objects of each patient say of people: a name in one file may be a label in another.
fn people(scan: &Scan, identity: &Identity) -> BTreeMap<Option<Token>, Personal> {
    let read = |file: &FileRecord| {
        is_copied(file)?;
        let place = scan.paths.get(&file.file)?;
        let personal = deident::people(place, identity, &file.file).ok()?;
        Some((file.patient.clone(), personal))
    };
    let found: Vec<_> = scan.inventory.files.par_iter().filter_map(read).collect();
    let mut people: BTreeMap<Option<Token>, Personal> = BTreeMap::new();
    for (patient, personal) in found {
        people.entry(patient).or_default().append(personal);
    }
    people
}

/// What is needed for any file.
struct CopyContext<'a> {
    scan: &'a Scan,
    identity: &'a Identity,
    people: &'a BTreeMap<Option<Token>, Personal>,
    choices: Choices,
}

impl CopyContext<'_> {
    /// What the images say of the planes of a structure set. What its items or other structures say
    /// is in the copy anyway.
    fn spacings(&self, object: &Token) -> Spacings {
        let sets = &self.scan.inventory.structure_sets;
        let set = sets.iter().find(|set| set.origin.object == *object);
        let rois = set.into_iter().flat_map(|set| &set.rois);
        let of_images = rois.filter_map(|roi| {
            let told = roi.plane_spacing.filter(|s| s.source == SpacingSource::Images)?;
            Some((roi.number, told.distance.value()))
        });
        of_images.collect()
    }

    fn file(
        &self,
        file: &FileRecord,
        output: &Path,
        stop: &AtomicBool,
    ) -> Result<FileResult, Fault> {
        let without = |reason: &str, left_out| FileResult {
            copy: None,
            counts: BTreeMap::new(),
            reason: reason.to_owned(),
            left_out,
            error: None,
        };
        let Some(class) = is_copied(file) else {
            let reason = match file.status {
                FileStatus::Read => "not a radiotherapy object; images are not copied",
                _ if file.reason.is_empty() => file.status.word(),
                _ => &file.reason,
            };
            return Ok(without(reason, file.status == FileStatus::Refused));
        };
        if stop.load(Ordering::SeqCst) {
            return Ok(without("the run was stopped before this file", true));
        }
        let (Some(place), Some(object)) = (self.scan.paths.get(&file.file), &file.object) else {
            return Ok(without("the object has no SOP Instance UID", true));
        };
        let none = Personal::default();
        let personal = self.people.get(&file.patient).unwrap_or(&none);
        let from = (&file.file, self.identity);
        let spacings = self.spacings(object);
        match deident::deidentify(place, from, (personal, &spacings), self.choices) {
            Ok(copy) => {
                let folder = file.patient.as_ref().map_or("no-patient", Token::as_str);
                let name = format!("{folder}/{class}-{object}.dcm");
                replace_file(&output.join(&name), |to| to.write_all(&copy.bytes))?;
                Ok(FileResult { copy: Some(name), counts: copy.done, ..without("", false) })
            }
            Err(error) => {
                let message = error.message().to_owned();
                Ok(FileResult { error: Some(error), ..without(&message, true) })
            }
        }
    }
}

const COLUMNS: [&str; 9] = [
    "file_id",
    "patient_id",
    "sop_class",
    "status",
    "copy",
    "attributes",
    "treatment",
    "count",
    "reason",
];

/// The rows of one file: one for each group of attributes and treatment, or one with the reason.
fn cells<'a>(file: &'a FileRecord, done: &'a FileResult) -> Vec<Vec<Cell<'a>>> {
    let text = |text: Option<&'a str>| text.map_or(Cell::Missing, |t| Cell::Text(t.into()));
    let status = match (&done.copy, done.left_out) {
        (Some(_), _) => "copied",
        (None, true) => "left_out",
        (None, false) => "not_copied",
    };
    let row = |counted: Option<(&'a (AttributeGroup, AttributeAction), &usize)>| {
        vec![
            text(Some(file.file.as_str())),
            text(file.patient.as_ref().map(Token::as_str)),
            text(file.sop_class),
            text(Some(status)),
            text(done.copy.as_deref()),
            text(counted.map(|((attributes, _), _)| attributes.word())),
            text(counted.map(|((_, treatment), _)| treatment.word())),
            counted
                .and_then(|(_, count)| i64::try_from(*count).ok())
                .map_or(Cell::Missing, Cell::Integer),
            text(Some(done.reason.as_str()).filter(|r| !r.is_empty())),
        ]
    };
    if done.counts.is_empty() {
        return vec![row(None)];
    }
    done.counts.iter().map(|counted| row(Some(counted))).collect()
}

/// How many files, and how many attributes of which group were treated how.
fn summary(done: &[FileResult]) -> String {
    let count = |wanted: &dyn Fn(&FileResult) -> bool| done.iter().filter(|d| wanted(d)).count();
    let mut lines = vec![
        ("files".to_owned(), "copied".to_owned(), count(&|d| d.copy.is_some())),
        ("files".to_owned(), "not copied".to_owned(), count(&|d| d.copy.is_none() && !d.left_out)),
        ("files".to_owned(), "left out".to_owned(), count(&|d| d.left_out)),
    ];
    let mut total: BTreeMap<(AttributeGroup, AttributeAction), usize> = BTreeMap::new();
    for (what, count) in done.iter().flat_map(|d| &d.counts) {
        *total.entry(*what).or_insert(0) += count;
    }
    let total = total.into_iter().map(|((attributes, treatment), count)| {
        (attributes.word().replace('_', " "), treatment.word().to_owned(), count)
    });
    lines.extend(total);
    lines.iter().map(|(what, how, count)| format!("{what:<30} {how:<12} {count:>9}\n")).collect()
}
