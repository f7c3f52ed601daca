//! Cases are finished one by one: a part that is there and whole is used, otherwise the case is
//! measured, as far as a decision changed what it rests on, and its part written. Only what the
//! tables of the whole study need stays in memory.

use std::collections::BTreeSet;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use super::fault::Fault;
use super::one_case::{CaseResult, RunContext, is_worth_measuring};
use super::parallel::map_indices;
use super::part_key::{PartKey, PartKeys};
use super::prepare::PreparedStudy;
use super::settings::{Measuring, Settings};
use super::store::Store;
use super::terminal::Terminal;
use tidydose_analyse::stage::{StageTimes, timed};
use tidydose_analyse::{Analysis, Work};
use tidydose_case::Case;
use tidydose_rt::finding::Finding;
use tidydose_rt::identity::Token;
use tidydose_table::part::{CasePart, PartRead};
use tidydose_table::user::prescriptions;
use tidydose_table::{LesionSizes, WriteError};

/// What stays in memory of a case that is done.
#[derive(Debug, Clone, Default)]
pub(super) struct FinishedCase {
    /// What is left of the analysis; absent when there is none.
    pub(super) residue: Option<Analysis>,
    /// Findings of reading, and of a failure.
    pub(super) findings: Vec<Finding>,
    /// Why there is no analysis though the case was to be measured.
    pub(super) failure: Option<String>,
    /// The key of its part; absent without an analysis.
    pub(super) key: Option<String>,
    /// Whether the part was there before.
    pub(super) reused: bool,
    /// What was measured of it, and what was known.
    pub(super) work: Work,
    /// How much processor time each stage of it took.
    pub(super) times: StageTimes,
}

/// One result per case, by index; absent for a case that was not begun, or is not in the share.
///
/// # Errors
/// When a part cannot be written: what was written before stays.
pub(super) fn finish_cases(
    prepared: &PreparedStudy,
    settings: &Settings,
    measuring: &Measuring,
    (terminal, stop): (&Terminal, &AtomicBool),
) -> Result<Vec<Option<FinishedCase>>, Fault> {
    let followed = prepared.cases.iter().filter(|c| c.is_follow_up());
    let run = CaseRun {
        context: prepared.context(&measuring.analysis),
        keys: PartKeys::new(&measuring.analysis),
        store: Store::new(prepared.folder.cases()),
        followed: followed.filter_map(|c| c.patient.as_ref()).collect(),
        other_version: AtomicBool::new(false),
        terminal,
    };
    let own = |case: &&Case| measuring.share.is_none_or(|share| share.takes(&case.id));
    let total = prepared.cases.iter().filter(own).count();
    let bar = terminal.progress("cases", total);
    let fault: Mutex<Option<WriteError>> = Mutex::new(None);
    let results = map_indices(settings.jobs, prepared.cases.len(), stop, &|index| {
        let case = prepared.cases.get(index).filter(own)?;
        let finish = || if is_worth_measuring(case) { run.finish(case) } else { Ok(none()) };
        let (result, times) = timed(finish);
        let result = result.map(|done| FinishedCase { times, ..done });
        bar.inc(1);
        result
            .map_err(|error| {
                // A disk that is full for one case is full for all.
                stop.store(true, Ordering::SeqCst);
                if let Ok(mut first) = fault.lock() {
                    first.get_or_insert(error);
                }
            })
            .ok()
    });
    bar.finish_and_clear();
    match fault.into_inner().ok().flatten() {
        Some(error) => Err(Fault::Write(error)),
        None => Ok(results.into_iter().map(Option::flatten).collect()),
    }
}

fn none() -> FinishedCase {
    FinishedCase::default()
}

struct CaseRun<'a> {
    context: RunContext<'a>,
    keys: PartKeys,
    store: Store,
    /// Patients with a structure set that was drawn after a treatment.
    followed: BTreeSet<&'a Token>,
    /// Whether parts of another version were met; it is said once.
    other_version: AtomicBool,
    terminal: &'a Terminal,
}

impl CaseRun<'_> {
    fn finish(&self, case: &Case) -> Result<FinishedCase, WriteError> {
        let key = self.keys.of(case);
        let followed = case.patient.as_ref().is_some_and(|p| self.followed.contains(p));
        match self.store.load(key.text(), case) {
            PartRead::Whole(part) => return Ok(FinishedCase::of(*part, key, (true, followed))),
            PartRead::Damaged(reason) => {
                let folder = self.store.folder().display();
                self.terminal.warn(&format!(
                    "the part {} in {folder} is damaged ({reason}); its case is measured again",
                    key.text()
                ));
            }
            PartRead::OtherLayout if !self.other_version.swap(true, Ordering::SeqCst) => {
                let folder = self.store.folder().display();
                self.terminal.warn(&format!(
                    "parts in {folder} are of another version of the program; their cases are measured \
                     again"
                ));
            }
            PartRead::OtherLayout | PartRead::Absent => {}
        }
        let memory = self.store.measured(&key, case);
        let (result, mut memory) = self.context.measure(case, memory);
        let CaseResult { analysis, findings, failure } = result;
        match (analysis, failure) {
            // A failure may pass, as that of a network drive: it is tried again in the next run.
            (Some(analysis), None) => {
                let mut part = CasePart { analysis, findings };
                self.store.keep(key.text(), case, (&mut part, &mut memory))?;
                Ok(FinishedCase {
                    work: memory.work,
                    ..FinishedCase::of(part, key, (false, followed))
                })
            }
            (_, failure) => Ok(FinishedCase { findings, failure, ..FinishedCase::default() }),
        }
    }
}

impl FinishedCase {
    fn of(part: CasePart, key: PartKey, (reused, followed): (bool, bool)) -> Self {
        let CasePart { analysis, findings } = part;
        let (residue, key) = (Some(residue(analysis, followed)), Some(key.into_text()));
        Self { residue, findings, key, reused, ..Self::default() }
    }
}

/// What the proposals, the findings and the tables of the whole study need of an analysis; of a
/// patient with a follow-up the sizes of lesions as well.
fn residue(analysis: Analysis, followed: bool) -> Analysis {
    let sizes = if followed { LesionSizes::of(&analysis) } else { LesionSizes::default() };
    let mut measurements = analysis.measurements;
    measurements.retain(|m| prescriptions::SHOWN.contains(&m.metric.as_str()));
    measurements.extend(sizes.measurements);
    measurements.shrink_to_fit();
    Analysis {
        measurements,
        structures: sizes.structures,
        regions: Vec::new(),
        dvh: Vec::new(),
        pictures: Vec::new(),
        relations: Vec::new(),
        limit_checks: Vec::new(),
        traces: Vec::new(),
        ..analysis
    }
}
