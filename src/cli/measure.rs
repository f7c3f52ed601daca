//! `measure`: everything from the archive to the tables.

use std::sync::atomic::{AtomicBool, Ordering};

use serde::Serialize;

use super::fault::Fault;
use super::one_case::{CaseResult, Workshop, is_worth_measuring};
use super::parallel::map_indices;
use super::prepare::{Prepared, prepare};
use super::settings::Settings;
use super::sums::measure_sums;
use super::terminal::Terminal;
use super::{Outcome, outcome_of};
use crate::analyse::{self, Analysis};
use crate::case::Case;
use crate::finding::{Code, Finding, Subject};
use crate::metrics::Metric;
use crate::table::run::{self, Run};
use crate::table::{self, MeasuredSum, MetricDefinition, Study, TABLES};

/// The settings that have a part in the numbers, as `run.json` shows them.
#[derive(Debug, Serialize)]
struct RunSettings {
    alpha_beta: Vec<String>,
    ends: &'static str,
    identity: &'static str,
    interpolation: &'static str,
    limits: usize,
    limits_sha256: String,
    metrics: Vec<String>,
    regions: bool,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    strict: bool,
}

/// Runs the command.
///
/// # Errors
/// When the run cannot be done, see [`Fault`].
pub(super) fn measure(
    settings: &Settings,
    analysis: &analyse::Settings,
    terminal: &Terminal,
    stop: &AtomicBool,
) -> Result<Outcome, Fault> {
    let mut prepared = prepare(settings, terminal, stop)?;
    let results = measure_cases(&prepared, settings, analysis, terminal, stop);
    let mut analyses = collect(&mut prepared, results);
    if settings.strict {
        let computed = analyses.iter().flat_map(|a| &a.findings);
        let open = prepared.open(prepared.findings.iter().chain(computed));
        let open: Vec<Finding> = open.into_iter().cloned().collect();
        analyse::strict::refuse(&mut prepared.cases, &mut analyses, &open);
    }
    let workshop =
        Workshop { paths: &prepared.scan.paths, identity: &prepared.identity, settings: analysis };
    let (sums, refused) = measure_sums(workshop, &prepared, settings.jobs, stop);
    prepared.findings.extend(refused);
    write(&mut prepared, (&analyses, &sums), analysis, (settings.strict, terminal))?;
    let computed = analyses.iter().flat_map(|a| &a.findings);
    let all: Vec<&Finding> = prepared.findings.iter().chain(computed).collect();
    let open = prepared.open(all.iter().copied());
    Ok(outcome_of(all.into_iter(), open.into_iter(), settings.strict))
}

/// One result per case, by index; absent for a case that was not begun.
fn measure_cases(
    prepared: &Prepared,
    settings: &Settings,
    analysis: &analyse::Settings,
    terminal: &Terminal,
    stop: &AtomicBool,
) -> Vec<Option<CaseResult>> {
    let workshop =
        Workshop { paths: &prepared.scan.paths, identity: &prepared.identity, settings: analysis };
    let bar = terminal.progress("cases", prepared.cases.len());
    let results = map_indices(settings.jobs, prepared.cases.len(), stop, &|index| {
        let worth = prepared.cases.get(index).filter(|c| is_worth_measuring(c));
        let result = worth.map(|case| workshop.measure(case)).unwrap_or_default();
        bar.inc(1);
        result
    });
    bar.finish_and_clear();
    if stop.load(Ordering::SeqCst) {
        terminal.warn("stopped; the tables hold the cases that were done");
    }
    results
}

/// Sorts results into analyses, findings and cases that are left out after all.
fn collect(prepared: &mut Prepared, results: Vec<Option<CaseResult>>) -> Vec<Analysis> {
    let mut analyses = Vec::new();
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
        let refused = result.analysis.iter().flat_map(|a| &a.findings);
        let refused = refused.filter(|f| f.code == Code::DoseGridsDisagree);
        for finding in refused {
            case.left_out.get_or_insert((finding.code, finding.message.clone()));
        }
        analyses.extend(result.analysis);
        if let Some(reason) = result.failure {
            case.left_out.get_or_insert((Code::CaseFailed, reason));
        }
    }
    if not_begun > 0 {
        let message = format!("{not_begun} of {} cases were not begun", prepared.cases.len());
        let finding = Finding::new(Code::RunInterrupted, Subject::default(), message);
        prepared.findings.push(finding);
    }
    analyses
}

fn write(
    prepared: &mut Prepared,
    (analyses, sums): (&[Analysis], &[MeasuredSum]),
    analysis: &analyse::Settings,
    (strict, terminal): (bool, &Terminal),
) -> Result<(), Fault> {
    let shown = RunSettings {
        alpha_beta: analysis.alpha_beta.iter().map(|(n, gy)| format!("{n}={gy}")).collect(),
        ends: analysis.ends.word(),
        identity: if prepared.identity.is_kept() { "kept" } else { "keyed" },
        interpolation: analysis.interpolation.word(),
        limits: analysis.limits.len(),
        limits_sha256: table::limits::digest(&analysis.limits),
        metrics: analysis.metrics.iter().map(Metric::to_string).collect(),
        regions: analysis.regions,
        strict,
    };
    let settings = run::settings_value(&shown).map_err(|e| Fault::System(e.to_string()))?;
    let metrics: Vec<_> = analysis.all_metrics().iter().map(definition).collect();
    let evidence = analyses.iter().map(|a| (a.case.clone(), a.evidence.clone())).collect();
    let lesions = analyses.iter().map(|a| (a.case.clone(), a.lesions.clone())).collect();
    prepared.write_proposals(analyses, &evidence, &lesions)?;
    let study = Study {
        inventory: &prepared.scan.inventory,
        cases: &prepared.cases,
        analyses,
        sums,
        findings: &prepared.findings,
        states: prepared.states(),
        lesion_decisions: prepared.lesion_decisions(),
        confirmed_labels: prepared.confirmed_labels(),
        limits: &analysis.limits,
        metrics: &metrics,
        settings_digest: &run::settings_digest(&settings),
    };
    let names: Vec<_> = TABLES.iter().map(|t| t.name).collect();
    let tables = table::write_tables(&study, &names, &prepared.folder.tables())?;
    let complete = !prepared.findings.iter().any(|f| f.code == Code::RunInterrupted);
    let method = method_sentence(analysis);
    let run = Run { settings: &settings, method: &method, complete, tables: &tables };
    run::write_run(&study, &run, &prepared.folder.run_file())?;
    terminal.say(&summary(prepared, &tables));
    Ok(())
}

fn method_sentence(analysis: &analyse::Settings) -> String {
    format!(
        "Structure volumes, dose-volume metrics and plan indices were computed with {} {}; dose \
         interpolation: {}; structure ends: {}. Metrics are named after AAPM TG-263; low and high \
         bound the numerical uncertainty of a value only.",
        env!("CARGO_PKG_NAME"),
        env!("CARGO_PKG_VERSION"),
        analysis.interpolation.word(),
        analysis.ends.word()
    )
}

fn definition(metric: &Metric) -> MetricDefinition {
    let definition = metric.definition;
    MetricDefinition {
        name: metric.to_string(),
        unit: definition.unit.to_owned(),
        meaning: format!("{}; undefined {}", definition.title, definition.undefined),
        applies_to: definition.applies_to.word().to_owned(),
        formula: definition.formula.to_owned(),
        reference: format!("{} ({})", definition.reference, definition.evidence.words()),
    }
}

fn summary(prepared: &Prepared, tables: &[table::Written]) -> String {
    let cases: &[Case] = &prepared.cases;
    let left_out = cases.iter().filter(|c| c.left_out.is_some()).count();
    let rows = |name: &str| tables.iter().find(|t| t.table == name).map_or(0, |t| t.rows);
    let only: Vec<_> = tables.iter().filter(|t| !t.csv).map(|t| t.table).collect();
    let only = match only.as_slice() {
        [] => String::new(),
        names => format!(" Parquet only, too long for CSV: {}.", names.join(", ")),
    };
    format!(
        "{} of {} cases measured, {left_out} left out; {} structures, {} metric values, {} limits \
         checked, {} findings.{only} Tables are in {}. {}",
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
