//! The part that `survey` and `measure` share: open the study, take the key, read the user's
//! decisions, scan the archive, join its objects into cases and find out who is who.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use super::decide::take_over_answers;
use super::fault::Fault;
use super::lock::{Lock, LockMode};
use super::one_case::RunContext;
use super::outcome::LeftOut;
use super::settings::Settings;
use super::study_folder::StudyFolder;
use super::study_key::StudyKey;
use super::terminal::Terminal;
use tidydose_analyse::strict::Refusals;
use tidydose_analyse::{self as analyse, Analysis};
use tidydose_case::{self as case, Case, Decisions, PlanSum, Standing};
use tidydose_dicom::{self as dicom, Scan};
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::{Identity, Token};
use tidydose_table::analysis::ChosenColumns;
use tidydose_table::causes::Cause;
use tidydose_table::nobody;
use tidydose_table::structure_names::StructureNames;
use tidydose_table::user::choices::ChoicesFile;
use tidydose_table::user::clinical_file::{ClinicalFile, ConfirmedLabels};
use tidydose_table::user::columns_file::ColumnsFile;
use tidydose_table::user::decided::{self, Digests};
use tidydose_table::user::decisions::DecisionsFile;
use tidydose_table::user::lesion_file::{LesionDecisions, LesionFile, LesionsByCase};
use tidydose_table::user::limits;
use tidydose_table::user::names::NamesFile;
use tidydose_table::user::outcome_sheet::{PATIENT_KEY, PLAN_KEY};
use tidydose_table::user::prescriptions::PrescriptionsFile;
use tidydose_table::user::questions::{self, Question};
use tidydose_table::user::seen::{EvidenceByCase, seen_by_name};
use tidydose_table::user::states::{State, States};
use tidydose_table::user::sums_file::SumsFile;
use tidydose_table::user::unmatched::{Known, Unmatched};

/// An archive that was read, and the study it goes to.
#[derive(Debug)]
pub(super) struct PreparedStudy {
    _lock: Lock,
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
    /// What was decided when the run began.
    pub(super) decided: Digests,
    terminal: Terminal,
    names: NamesFile,
    names_elsewhere: Option<NamesFile>,
    prescriptions: PrescriptionsFile,
    choices: ChoicesFile,
    lesions: LesionFile,
    clinical: ClinicalFile,
    sums: SumsFile,
    columns: ColumnsFile,
    decisions: DecisionsFile,
}

/// So many refused files are named on the terminal, with path and UID; all are in the findings.
pub(super) const REFUSALS_SHOWN: usize = 20;

/// What another study decided about names.
fn elsewhere(file: &Path, organs: &[String]) -> Result<NamesFile, Fault> {
    if !file.is_file() {
        let reason = format!("{} is no file; give the names.csv of a study", file.display());
        return Err(Fault::Option { option: "--names", reason });
    }
    Ok(NamesFile::read(file, organs)?)
}

/// Reads the archive.
///
/// # Errors
/// When the run cannot be done, see [`Fault`]; [`Fault::Stopped`] when `stop` was raised.
pub(super) fn prepare(
    settings: &Settings,
    hold: LockMode,
    terminal: &Terminal,
    stop: &AtomicBool,
) -> Result<PreparedStudy, Fault> {
    let folder = StudyFolder::open(&settings.study, &settings.archive)?;
    for root in &settings.archive {
        // Before anything is written: a mistyped folder leaves nothing behind.
        std::fs::metadata(root)
            .map_err(|source| dicom::ScanError { root: root.clone(), source })?;
    }
    let lock = Lock::take(folder.root(), hold, terminal)?;
    take_over_answers(&folder, settings, hold, terminal)?;
    let decided_now = decided::digests(folder.root())?;
    let organs = limits::organs(&limits::read(&folder.limits())?)?;
    let names = NamesFile::read(&folder.names(), &organs)?;
    let names_elsewhere = settings.names.as_deref().map(|f| elsewhere(f, &organs)).transpose()?;
    let prescriptions = PrescriptionsFile::read(&folder.prescriptions())?;
    let choices = ChoicesFile::read(&folder.choices())?;
    let lesions = LesionFile::read(&folder.lesions())?;
    let clinical = ClinicalFile::read(&folder.clinical_lesions())?;
    let mut sums = SumsFile::read(&folder.sums())?;
    let columns = ColumnsFile::read(&folder.columns())?;
    let decided = DecisionsFile::read(&folder.decisions())?;
    let key = StudyKey::beside(&settings.study)?;
    if hold == LockMode::Shared && !settings.keep_ids && !key.exists() {
        return Err(Fault::folder(key.folder(), KEY_NEEDED));
    }
    let identity = identity(settings, terminal, &folder, &key)?;
    let scan = scan(settings, &identity, terminal, stop)?;
    if stop.load(Ordering::SeqCst) {
        return Err(Fault::Stopped);
    }
    if !identity.is_kept() && hold == LockMode::Alone {
        record(&key, &scan)?;
    }
    let files = (&names, &prescriptions, &choices, &mut sums);
    let (cases, mut unmatched, linked) = decided_cases(&scan, files);
    unmatched.extend(columns.unmatched(&cases));
    unmatched.extend(limits::unmatched(&folder.limits(), &cases)?);
    let mut findings = scan.findings.clone();
    findings.extend(linked);
    findings.extend(nothing_found(&scan));
    unmatched.extend(decided.unmatched_scopes(&cases));
    findings.extend(said(&unmatched, terminal));
    Ok(PreparedStudy {
        _lock: lock,
        folder,
        identity,
        scan,
        cases,
        findings,
        decided: decided_now,
        terminal: *terminal,
        names,
        names_elsewhere,
        prescriptions,
        choices,
        lesions,
        clinical,
        sums,
        columns,
        decisions: decided,
    })
}

/// The cases as the user's files have them, the rows of these that mean nothing, and what is
/// questionable about joins and names.
fn decided_cases(
    scan: &Scan,
    (names, prescriptions, choices, sums): (
        &NamesFile,
        &PrescriptionsFile,
        &ChoicesFile,
        &mut SumsFile,
    ),
) -> (Vec<Case>, Vec<Unmatched>, Vec<Finding>) {
    let known = Known::of(&scan.inventory);
    let mut decisions = Decisions::default();
    choices.decide(&known, &mut decisions);
    let (mut cases, mut findings) = case::link_decided(&scan.inventory, &decisions);
    let mut unmatched = choices.unmatched(&known, &cases);
    unmatched.extend(names.decide(&known, &cases, &mut decisions));
    unmatched.extend(prescriptions.decide(&cases, &mut decisions));
    unmatched.extend(sums.settle(&known, &cases));
    findings.extend(case::identify(&mut cases, &decisions));
    unmatched.extend(prescriptions.without_target(&cases));
    (cases, unmatched, findings)
}

/// So many rows that mean nothing are named on the terminal; all are in the findings.
const ROWS_SHOWN: usize = 20;

/// Names the rows of the user's files that mean nothing, as they were typed, and makes findings.
fn said(unmatched: &[Unmatched], terminal: &Terminal) -> Vec<Finding> {
    for row in unmatched.iter().take(ROWS_SHOWN) {
        terminal.warn(&row.sentence());
    }
    let more = unmatched.len().saturating_sub(ROWS_SHOWN);
    if more > 0 {
        terminal.warn(&format!("and {more} more rows; all are in table findings"));
    }
    unmatched.iter().map(Unmatched::finding).collect()
}

/// Findings that go away by a decision in one of the other files.
const DECIDED_ELSEWHERE: [Code; 5] = [
    Code::NameAmbiguous,
    Code::PrescriptionMissing,
    Code::PlanUnapproved,
    Code::PlanUndecided,
    Code::UserRowUnmatched,
];

impl PreparedStudy {
    /// The cases without structure sets that were drawn after a treatment.
    pub(super) fn plans(&self) -> impl Iterator<Item = &Case> {
        self.cases.iter().filter(|c| !c.is_follow_up())
    }

    /// What was decided about findings.
    pub(super) const fn states(&self) -> &States {
        self.decisions.states()
    }

    /// What was decided about lesions.
    pub(super) const fn lesion_decisions(&self) -> &LesionDecisions {
        self.lesions.decisions()
    }

    /// Labels of the clinic that the user confirmed.
    pub(super) const fn confirmed_labels(&self) -> &ConfirmedLabels {
        self.clinical.confirmed()
    }

    /// The columns of table `analysis`.
    pub(super) const fn columns(&self) -> &ChosenColumns {
        self.columns.chosen()
    }

    /// How many labels of the clinic wait for a decision.
    pub(super) fn open_labels(&self) -> usize {
        self.clinical.open()
    }

    /// How many questions of `choices.csv` wait for an answer.
    pub(super) fn open_choices(&self) -> usize {
        self.choices.open(&self.cases)
    }

    /// What to say of the plans of which nothing tells whether they were treated; nothing when
    /// there are none.
    pub(super) fn unproven_plans(&self) -> Option<String> {
        let of = |standing: Standing| {
            let own = |c: &&Case| c.left_out.is_none() && c.treatment.standing() == standing;
            self.cases.iter().filter(own).count()
        };
        let (counted, not) = (of(Standing::Presumed), of(Standing::Undecided));
        let who = match (counted, not) {
            (0, 0) => return None,
            (_, 0) => "they count in the study".to_owned(),
            (0, _) => "they do not count, since another plan of the patient was treated".to_owned(),
            _ => format!(
                "{counted} count in the study, {not} do not, since another plan of the patient was \
                 treated"
            ),
        };
        Some(format!(
            "{} plans are neither marked as approved nor named by a treatment record: {who}. Say in \
             {}, question treated, column decision, yes or no for a plan, or under plan_id * for \
             all",
            counted + not,
            self.folder.choices().display()
        ))
    }

    /// Why no case counts, and what to decide; absent as soon as one does.
    pub(super) fn nobody(&self) -> Option<String> {
        if self.cases.is_empty() {
            return Some(format!(
                "no case in {} files: nothing can be measured; check that this is the folder that \
                 was meant",
                self.scan.inventory.files.len()
            ));
        }
        let code = |c: &Case| match &c.left_out {
            Some((code, _)) => *code,
            None => Code::PlanUndecided,
        };
        let none = !self.cases.iter().any(Case::counts);
        none.then(|| nobody::sentence(self.plans().map(|c| Some(code(c)))))
    }

    /// What is needed to read and measure any case of the run.
    pub(super) const fn context<'a>(&'a self, settings: &'a analyse::Settings) -> RunContext<'a> {
        let (paths, identity) = (&self.scan.paths, &self.identity);
        RunContext { paths, identity, settings, cases: self.cases.as_slice() }
    }

    /// The sums of plans that the user asks for.
    pub(super) fn sums(&self) -> &[PlanSum] {
        self.sums.sums()
    }

    /// These findings by their causes, with what was decided about each.
    pub(super) fn causes<'f>(
        &'f self,
        findings: impl Iterator<Item = &'f Finding>,
    ) -> Vec<Cause<'f>> {
        let names = StructureNames::of(&self.scan.inventory, &self.cases);
        self.decisions.causes(findings, &names)
    }

    /// Of these findings those about which nobody has decided.
    pub(super) fn open<'f>(
        &'f self,
        findings: impl Iterator<Item = &'f Finding>,
    ) -> Vec<&'f Finding> {
        let causes = self.causes(findings).into_iter().filter(|c| c.state == State::Open);
        causes.flat_map(|c| c.members).map(|m| m.finding).collect()
    }

    /// How many causes wait for a decision in `decisions.csv`.
    pub(super) fn open_findings(&self) -> usize {
        let elsewhere = |c: &Cause<'_>| c.code().is_some_and(|c| DECIDED_ELSEWHERE.contains(&c));
        let causes = self.causes(self.findings.iter());
        causes.iter().filter(|c| c.waits() && !elsewhere(c)).count()
    }

    /// How much is left out, by these findings and what a strict run refuses.
    pub(super) fn left_out<'f>(
        &self,
        findings: impl Iterator<Item = &'f Finding>,
        refusals: &Refusals,
    ) -> LeftOut {
        LeftOut::count(&self.cases, &self.scan.inventory.files, findings, refusals)
    }

    /// Adds proposals to the files of the user, with the findings of this run and of `computed`.
    ///
    /// # Errors
    /// When they cannot be written.
    pub(super) fn write_proposals(
        &mut self,
        computed: &[Analysis],
        evidence: &EvidenceByCase,
        lesions: &LesionsByCase,
    ) -> Result<(), Fault> {
        let mut unmatched = self.clinical.suggest(&self.cases, lesions);
        self.clinical.write(&self.folder.clinical_lesions())?;
        unmatched.extend(self.lesions.settle(&self.cases, lesions));
        let all = self.findings.iter().chain(computed.iter().flat_map(|a| &a.findings));
        let names = StructureNames::of(&self.scan.inventory, &self.cases);
        unmatched.extend(self.decisions.unmatched(all, &names));
        self.findings.extend(said(&unmatched, &self.terminal));
        let all = self.findings.iter().chain(computed.iter().flat_map(|a| &a.findings));
        self.decisions.propose(all.filter(|f| !DECIDED_ELSEWHERE.contains(&f.code)), &names);
        self.decisions.write(&self.folder.decisions())?;
        let seen = seen_by_name(&self.cases, evidence);
        let mut proposals = case::proposals(&self.cases);
        if let Some(elsewhere) = &self.names_elsewhere {
            elsewhere.propose_elsewhere(&mut proposals);
        }
        self.names.propose(&proposals, &seen);
        self.names.write(&self.folder.names())?;
        let registrations = &self.scan.inventory.registrations;
        self.lesions.propose(&self.cases, lesions, registrations);
        self.lesions.write(&self.folder.lesions())?;
        self.sums.propose(&self.cases, registrations);
        self.sums.write(&self.folder.sums())?;
        self.prescriptions.propose(&self.cases, computed);
        self.prescriptions.write(&self.folder.prescriptions())?;
        self.choices.propose(&self.cases);
        self.choices.write(&self.folder.choices())?;
        self.columns.write(&self.folder.columns())?;
        self.say_late_decisions()
    }
}

impl PreparedStudy {
    /// Everything that waits for an answer, by the files as they are after proposals were added.
    pub(super) fn questions(
        &self,
        computed: &[Analysis],
        evidence: &EvidenceByCase,
    ) -> Vec<Question> {
        let known = Known::of(&self.scan.inventory);
        let all = self.findings.iter().chain(computed.iter().flat_map(|a| &a.findings));
        let causes = self.causes(all.filter(|f| !DECIDED_ELSEWHERE.contains(&f.code)));
        let mut open = questions::of_choices(&self.cases, &known);
        open.extend(questions::of_names(&self.names, &self.cases, evidence));
        open.extend(questions::of_prescriptions(&self.prescriptions, &self.cases));
        open.extend(questions::of_lesions(&self.lesions));
        open.extend(questions::of_clinical_labels(&self.clinical));
        open.extend(questions::of_sums(&self.sums));
        open.extend(questions::of_findings(&causes));
        questions::sort(&mut open);
        open
    }

    /// Names the files in which somebody decided something while the run went on: they are left as
    /// they are, and the tables do not follow them.
    fn say_late_decisions(&self) -> Result<(), Fault> {
        let now = decided::digests(self.folder.root())?;
        let late = now.iter().filter(|(file, digest)| self.decided.get(*file) != Some(digest));
        for (file, _) in late {
            self.terminal.warn(&format!(
                "{file} was changed while the run went on; the change is kept and counts when the \
                 same command is run again"
            ));
        }
        Ok(())
    }
}

/// Why a share of the work needs a key that is there already.
const KEY_NEEDED: &str = "is not there; all shares need one key, so that a patient has one \
                          pseudonym: run `tidydose survey` once and copy this folder to every place";

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

/// Writes what the tokens stand for into the key folder.
///
/// # Errors
/// When a file there cannot be read or written.
pub(super) fn record(key: &StudyKey, scan: &Scan) -> Result<(), Fault> {
    let files: BTreeMap<Token, String> =
        scan.paths.iter().map(|(token, place)| (token.clone(), place.to_string())).collect();
    key.record(PATIENT_KEY, ["patient_id", "original_patient_id"], &scan.ledger.patients)?;
    key.record("object_key.csv", ["object_id", "sop_instance_uid"], &scan.ledger.objects)?;
    key.record(PLAN_KEY, ["plan_id", "plan_label"], &scan.ledger.plan_labels)?;
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
