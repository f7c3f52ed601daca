//! `measure`: everything from the archive to the tables.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};

use serde::Serialize;

use super::decide::{words_of_open, write_questions};
use super::fault::Fault;
use super::finish::{FinishedCase, finish_cases};
use super::lock::LockMode;
use super::made_tables::{self, Basis};
use super::outcome::Outcome;
use super::prepare::{PreparedStudy, prepare};
use super::settings::{Measuring, Settings};
use super::share::Share;
use super::share_result::ShareResult;
use super::store::Store;
use super::study_folder::StudyFolder;
use super::sums::measure_sums;
use super::terminal::Terminal;
use super::timings::{self, Timings};
use tidydose_analyse::strict::Refusals;
use tidydose_analyse::{self as analyse, Analysis};
use tidydose_case::Case;
use tidydose_metrics::Metric;
use tidydose_metrics::limits::{Checked, Limit};
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::Token;
use tidydose_table::analysis::ChosenColumns;
use tidydose_table::run::{self, Run};
use tidydose_table::spreadsheet_csv::{Convention, remove_spreadsheet_csv, write_spreadsheet_csv};
use tidydose_table::{
    self as table, Destination, MeasuredSum, MetricDefinition, Study, TABLES, Tally, WriteError,
    codebook, data_package, run_schema, starters, workbook,
};

/// The settings that have a part in the numbers, as `run.json` shows them.
#[derive(Debug, Serialize)]
struct RunSettings {
    alpha_beta: Vec<String>,
    ends: &'static str,
    identity: &'static str,
    interpolation: &'static str,
    limits: usize,
    limits_not_checked: usize,
    limits_sha256: String,
    metrics: Vec<String>,
    outlines: &'static str,
    regions: bool,
    target_inside_from_percent: f64,
    uncertain_from_percent: f64,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    shifts_mm: Vec<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    margins_mm: Vec<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    registration_mm: Option<f64>,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    strict: bool,
}

/// Runs the command.
///
/// # Errors
/// When the run cannot be done, see [`Fault`].
pub(super) fn measure(
    settings: &Settings,
    measuring: &Measuring,
    terminal: &Terminal,
    stop: &AtomicBool,
) -> Result<Outcome, Fault> {
    let hold = if measuring.share.is_some() { LockMode::Shared } else { LockMode::Alone };
    let mut prepared = prepare(settings, hold, terminal, stop)?;
    let mut timings = Timings::at_first_case();
    let results = finish_cases(&prepared, settings, measuring, (terminal, stop))?;
    timings.cases_done();
    let times = timings::of_cases(&results);
    if let Some(share) = measuring.share {
        let done = ShareResult::of(share, &prepared, &results);
        if measuring.share_tables {
            write_share(&mut prepared, results, (measuring, share), settings.strict)?;
        }
        return Ok(done.outcome(&prepared, settings, terminal));
    }
    if stop.load(Ordering::SeqCst) {
        terminal.warn(
            "stopped; the tables hold the cases that were done, and the same command goes on",
        );
    }
    let reused = results.iter().flatten().filter(|r| r.reused).count();
    say_work(&results, terminal);
    let mut done = MeasuredCases::collect(&mut prepared, results);
    if settings.strict {
        done.refuse(&mut prepared);
    }
    let context = prepared.context(&measuring.analysis);
    let (mut sums, refused) = measure_sums(context, &prepared, settings.jobs, stop);
    for sum in &mut sums {
        done.refusals.take_away_of_sum(&sum.structures_of, &mut sum.measurements);
    }
    prepared.findings.extend(refused);
    write(&mut prepared, (&done, &sums), measuring, (settings, terminal, stop))?;
    if let Some(path) = &measuring.timings {
        timings.write(path, &prepared.cases, &times)?;
    }
    let complete = !prepared.findings.iter().any(|f| f.code == Code::RunInterrupted);
    say_parts(&prepared, &done, (reused, measuring.prune && complete), terminal)?;
    Ok(outcome(&prepared, &done, (settings, complete), terminal))
}

/// What the run came to, said in its last lines.
fn outcome(
    prepared: &PreparedStudy,
    done: &MeasuredCases,
    (settings, complete): (&Settings, bool),
    terminal: &Terminal,
) -> Outcome {
    let all: Vec<&Finding> = done.findings(prepared).collect();
    let causes = prepared.causes(all.iter().copied());
    let refused = !done.refusals.is_empty();
    let objection = settings.fail_on.and_then(|f| f.objection(&causes, refused));
    let counting = |case: &&Case| case.counts() && done.refusals.spares(case);
    let found = Outcome::of_count(prepared.cases.iter().filter(counting).count());
    let outcome = match &objection {
        _ if !complete => Outcome::Failed,
        Some(words) => {
            terminal.warn(words);
            Outcome::FailedOn
        }
        None => found,
    };
    found.explain_empty(prepared.nobody().as_deref(), terminal);
    let place = format!(
        "{}/findings.csv (severity stop), plans.csv (exclusion_reason), flow.csv",
        prepared.folder.tables().display()
    );
    prepared.left_out(all.into_iter(), &done.refusals).conclude(&place, terminal);
    outcome
}

/// Says how much was measured of cases whose parts were not there.
fn say_work(results: &[Option<FinishedCase>], terminal: &Terminal) {
    let sum = |of: fn(&FinishedCase) -> usize| results.iter().flatten().map(of).sum::<usize>();
    let (measured, known) = (sum(|r| r.work.measured), sum(|r| r.work.remembered));
    if known > 0 {
        terminal.say(&format!(
            "after decisions {measured} structures were measured and {known} had all values already"
        ));
    }
}

/// Says how many parts were of use, and removes the others where that is wanted.
fn say_parts(
    prepared: &PreparedStudy,
    done: &MeasuredCases,
    (reused, prune): (usize, bool),
    terminal: &Terminal,
) -> Result<(), Fault> {
    let store = Store::new(prepared.folder.cases());
    if reused > 0 {
        terminal.say(&format!("{reused} of the cases were finished before"));
    }
    let folder = store.folder().display();
    if prune {
        let removed = store.prune(&done.keys)?;
        terminal.say(&format!("{removed} parts that are not used were removed from {folder}"));
        return Ok(());
    }
    match store.unused(&done.keys) {
        0 => {}
        n => terminal.say(&format!("{n} parts in {folder} are not used; --prune removes them")),
    }
    Ok(())
}

/// What the cases came to.
struct MeasuredCases {
    residues: Vec<Analysis>,
    keys: BTreeMap<Token, String>,
    refusals: Refusals,
}

impl MeasuredCases {
    /// Sorts results into analyses, findings and cases that are left out after all.
    fn collect(prepared: &mut PreparedStudy, results: Vec<Option<FinishedCase>>) -> Self {
        let mut done =
            Self { residues: Vec::new(), keys: BTreeMap::new(), refusals: Refusals::default() };
        let mut not_begun = 0;
        for (case, result) in prepared.cases.iter_mut().zip(results) {
            let Some(result) = result else {
                not_begun += 1;
                case.left_out.get_or_insert((
                    Code::RunInterrupted,
                    "the run was stopped before this case".to_owned(),
                ));
                continue;
            };
            prepared.findings.extend(result.findings);
            let refused = result.residue.iter().flat_map(|a| &a.findings);
            let refused = refused.filter(|f| f.code == Code::DoseGridsDisagree);
            for finding in refused {
                case.left_out.get_or_insert((finding.code, finding.message.clone()));
            }
            done.residues.extend(result.residue);
            done.keys.extend(result.key.map(|key| (case.id.clone(), key)));
            if let Some(reason) = result.failure {
                case.left_out.get_or_insert((Code::CaseFailed, reason));
            }
        }
        if not_begun > 0 {
            let message = format!("{not_begun} of {} cases were not begun", prepared.cases.len());
            let finding = Finding::new(Code::RunInterrupted, Subject::default(), message);
            prepared.findings.push(finding);
        }
        done
    }

    /// All findings, those of the computation last.
    fn findings<'a>(&'a self, prepared: &'a PreparedStudy) -> impl Iterator<Item = &'a Finding> {
        prepared.findings.iter().chain(self.residues.iter().flat_map(|a| &a.findings))
    }

    /// Takes away what a strict run refuses.
    fn refuse(&mut self, prepared: &mut PreparedStudy) {
        self.refusals = Refusals::of(&prepared.cases, prepared.open(self.findings(prepared)));
        self.refusals.leave_out(&mut prepared.cases);
        self.residues.iter_mut().for_each(|residue| self.refusals.take_away(residue));
    }

    /// What was computed for a case, from its part.
    fn analysis(&self, store: &Store, case: &Case) -> Result<Option<Analysis>, WriteError> {
        let Some(key) = self.keys.get(&case.id) else { return Ok(None) };
        let mut analysis = store.again(key, case)?.analysis;
        self.refusals.take_away(&mut analysis);
        Ok(Some(analysis))
    }
}

/// What the tables show besides the results.
struct StudyHead {
    settings: serde_json::Value,
    digest: String,
    metrics: Vec<MetricDefinition>,
    tally: Tally,
}

impl StudyHead {
    fn of(
        prepared: &PreparedStudy,
        analysis: &analyse::Settings,
        strict: bool,
    ) -> Result<Self, Fault> {
        let shown = RunSettings {
            alpha_beta: analysis.alpha_beta.iter().map(|(n, gy)| format!("{n}={gy}")).collect(),
            ends: analysis.ends.word(),
            outlines: analysis.outlines.word(),
            identity: if prepared.identity.is_kept() { "kept" } else { "keyed" },
            interpolation: analysis.interpolation.word(),
            limits: analysis.limits.len(),
            limits_not_checked: not_checked(&analysis.limits),
            limits_sha256: table::user::limits::digest(&analysis.limits),
            metrics: analysis.metrics.iter().map(Metric::to_string).collect(),
            regions: analysis.regions,
            target_inside_from_percent: percent(analysis.target_inside_from),
            uncertain_from_percent: percent(analysis.uncertain_from),
            shifts_mm: analysis.shifts_mm.clone(),
            margins_mm: analysis.margins_mm.clone(),
            registration_mm: analysis.registration_mm,
            strict,
        };
        let settings = run::settings_value(&shown).map_err(|e| Fault::System(e.to_string()))?;
        Ok(Self {
            digest: run::settings_digest(&settings),
            settings,
            metrics: analysis.all_metrics().iter().map(MetricDefinition::from).collect(),
            tally: Tally::default(),
        })
    }

    fn study<'s>(
        &'s self,
        prepared: &'s PreparedStudy,
        (done, sums): (&'s MeasuredCases, &'s [MeasuredSum]),
        analysis: &'s analyse::Settings,
    ) -> Study<'s> {
        Study {
            inventory: &prepared.scan.inventory,
            cases: &prepared.cases,
            analyses: &done.residues,
            sums,
            findings: &prepared.findings,
            states: prepared.states(),
            lesion_decisions: prepared.lesion_decisions(),
            confirmed_labels: prepared.confirmed_labels(),
            tally: &self.tally,
            columns: prepared.columns(),
            limits: &analysis.limits,
            metrics: &self.metrics,
            settings_digest: &self.digest,
        }
    }
}

fn write(
    prepared: &mut PreparedStudy,
    (done, sums): (&MeasuredCases, &[MeasuredSum]),
    measuring: &Measuring,
    (settings, terminal, stop): (&Settings, &Terminal, &AtomicBool),
) -> Result<(), Fault> {
    let analysis = &measuring.analysis;
    let analyses = &done.residues;
    let head = StudyHead::of(prepared, analysis, settings.strict)?;
    say_columns(prepared, &head.metrics, terminal);
    let evidence = analyses.iter().map(|a| (a.case.clone(), a.evidence.clone())).collect();
    let lesions = analyses.iter().map(|a| (a.case.clone(), a.lesions.clone())).collect();
    prepared.write_proposals(analyses, &evidence, &lesions)?;
    let questions = prepared.questions(analyses, &evidence);
    write_questions(prepared, &questions, (settings, terminal, stop))?;
    let study = head.study(prepared, (done, sums), analysis);
    let basis = Basis::of(
        &study,
        &[&head.settings, &done.keys, &done.refusals, &prepared.decided, &measuring.spreadsheet],
    );
    let there = |basis| made_tables::unchanged(&prepared.folder, basis);
    let tables = match basis.as_ref().and_then(there) {
        Some(tables) => tables,
        None => {
            let tables = make_tables(prepared, &study, done, (&head, measuring))?;
            // Without the record the next run writes the same files again, and nothing is lost.
            basis.and_then(|basis| made_tables::keep(&prepared.folder, basis, &tables).ok());
            tables
        }
    };
    terminal.say(&summary(prepared, &tables, questions.len()));
    prepared.unproven_plans().iter().for_each(|text| terminal.say(text));
    Ok(())
}

/// Names the columns of table `analysis` whose metric this run does not compute.
fn say_columns(prepared: &PreparedStudy, metrics: &[MetricDefinition], terminal: &Terminal) {
    for (_, metric) in prepared.columns().all().iter().filter_map(|c| c.named_metric()) {
        if metrics.iter().all(|m| m.name != metric) {
            terminal.warn(&format!(
                "columns.csv asks for {metric}, which this run does not compute: the column says \
                 not_in_run; measure with --metrics '{metric}' too"
            ));
        }
    }
}

/// All files that are made of the results.
fn make_tables(
    prepared: &PreparedStudy,
    study: &Study<'_>,
    done: &MeasuredCases,
    (head, measuring): (&StudyHead, &Measuring),
) -> Result<Vec<table::Written>, Fault> {
    let names: Vec<_> = TABLES.iter().map(|t| t.name).collect();
    let store = Store::new(prepared.folder.cases());
    let mut source = |case: &Case| Ok(done.analysis(&store, case)?.map(Cow::Owned));
    let (folder, database) = (prepared.folder.tables(), prepared.folder.database());
    let to = Destination { folder: &folder, database: Some(&database) };
    let tables = table::write_tables_from(study, &names, to, &mut source)?;
    let complete = !prepared.findings.iter().any(|f| f.code == Code::RunInterrupted);
    let method = method_sentence(&measuring.analysis);
    let run = Run {
        settings: &head.settings,
        method: &method,
        complete,
        decided: &prepared.decided,
        tables: &tables,
    };
    hand_off(&prepared.folder, (&tables, study.columns), measuring.spreadsheet)?;
    table::write_proposed_outcomes(study, prepared.folder.root())?;
    run::write_run(study, &run, &prepared.folder.run_file())?;
    Ok(tables)
}

/// The tables that have rows of cases, for the cases of a share alone, into a folder of their own:
/// together with those of the other shares they hold the rows of the study.
fn write_share(
    prepared: &mut PreparedStudy,
    results: Vec<Option<FinishedCase>>,
    (measuring, share): (&Measuring, Share),
    strict: bool,
) -> Result<(), Fault> {
    let cases = std::mem::take(&mut prepared.cases);
    let own = cases.into_iter().zip(results).filter(|(case, _)| share.takes(&case.id));
    let (cases, results): (Vec<_>, Vec<_>) = own.unzip();
    prepared.cases = cases;
    let mut done = MeasuredCases::collect(prepared, results);
    if strict {
        done.refuse(prepared);
    }
    let head = StudyHead::of(prepared, &measuring.analysis, strict)?;
    let study = head.study(prepared, (&done, &[]), &measuring.analysis);
    let names: Vec<_> = TABLES.iter().filter(|t| t.by_case).map(|t| t.name).collect();
    let store = Store::new(prepared.folder.cases());
    let mut source = |case: &Case| Ok(done.analysis(&store, case)?.map(Cow::Owned));
    let folder = prepared.folder.share(&share.folder());
    let to = Destination { folder: &folder, database: None };
    table::write_tables_from(&study, &names, to, &mut source)?;
    Ok(())
}

/// What is made from the tables for others: for programs, for spreadsheets.
pub(super) fn hand_off(
    folder: &StudyFolder,
    (tables, columns): (&[table::Written], &ChosenColumns),
    spreadsheet: Option<Convention>,
) -> Result<(), Fault> {
    starters::write_starters(folder.root())?;
    run_schema::write_run_schema(&folder.run_schema())?;
    codebook::write_codebook(columns, &folder.codebook())?;
    data_package::write_data_package(tables, columns, &folder.data_package())?;
    workbook::write_workbook(folder.root(), columns, &folder.workbook())?;
    let (from, to) = (folder.tables(), folder.spreadsheet());
    match spreadsheet {
        Some(convention) => write_spreadsheet_csv((tables, columns), &from, &to, convention)?,
        None => remove_spreadsheet_csv(&to)?,
    }
    Ok(())
}

fn method_sentence(analysis: &analyse::Settings) -> String {
    format!(
        "Structure volumes, dose-volume metrics and plan indices were computed with {} {}; dose \
         interpolation: {}; structure ends: {}; outlines traced around pixels: {}. Metrics are named after AAPM TG-263; low and high \
         bound the numerical uncertainty of a value only; a value whose bounds reach more than {} % \
         of it away is marked as uncertain and counts as missing.",
        run::PROGRAM,
        env!("CARGO_PKG_VERSION"),
        analysis.interpolation.word(),
        analysis.ends.word(),
        analysis.outlines.word(),
        percent(analysis.uncertain_from)
    )
}

/// How many limits are in use that nobody has checked against their source.
fn not_checked(limits: &[Limit]) -> usize {
    limits.iter().filter(|l| l.checked == Checked::NotChecked).count()
}

/// A share in percent, without the last digits of binary fractions.
fn percent(share: f64) -> f64 {
    (1e10 * share).round() / 1e8
}

fn summary(prepared: &PreparedStudy, tables: &[table::Written], open: usize) -> String {
    let cases: Vec<&Case> = prepared.plans().collect();
    let left_out = cases.iter().filter(|c| c.left_out.is_some()).count();
    let later = match prepared.cases.len() - cases.len() {
        0 => String::new(),
        1 => "; 1 structure set drawn after a treatment".to_owned(),
        n => format!("; {n} structure sets drawn after a treatment"),
    };
    let rows = |name: &str| tables.iter().find(|t| t.table == name).map_or(0, |t| t.rows);
    let only: Vec<_> = tables.iter().filter(|t| !t.csv).map(|t| t.table).collect();
    let only = match only.as_slice() {
        [] => String::new(),
        names => format!(" Parquet only: {}.", names.join(", ")),
    };
    let open = words_of_open(open, &prepared.folder);
    let open = open.map_or(String::new(), |words| format!(" {words}."));
    format!(
        "{} of {} cases measured, {left_out} left out{later}; {} structures, {} metric values, {} limits \
         checked, {} findings.{only} Tables are in {}.{open} {}",
        cases.len() - left_out,
        cases.len(),
        rows("structures"),
        rows("metrics"),
        rows("limit_checks"),
        rows("findings"),
        prepared.folder.tables().display(),
        run::CAUTION
    )
}
