//! `survey`: what an archive holds, what is wrong with it and which names await a decision. Reads
//! headers and contours and computes no dose.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicBool, Ordering};

use super::decide::{words_of_open, write_questions};
use super::fault::Fault;
use super::lock::LockMode;
use super::outcome::Outcome;
use super::prepare::{PreparedStudy, prepare};
use super::say_stale;
use super::settings::Settings;
use super::shape_reviews::shape_reviews;
use super::terminal::{Terminal, print};
use tidydose_analyse::strict::Refusals;
use tidydose_case::{Case, DecisionFile, NameBasis, open_decisions};
use tidydose_table::causes::Cause;
use tidydose_table::{self as table, Study, Tally};

/// Runs the command.
///
/// # Errors
/// When the run cannot be done, see [`Fault`].
pub(super) fn survey(
    settings: &Settings,
    terminal: &Terminal,
    stop: &AtomicBool,
) -> Result<Outcome, Fault> {
    let mut prepared = prepare(settings, LockMode::Alone, terminal, stop)?;
    let seen = shape_reviews(&prepared, settings, terminal, stop);
    prepared.findings.extend(seen.iter().flat_map(|(_, g)| g.findings.clone()));
    let lesions = seen.iter().map(|(case, g)| (case.clone(), g.lesions.clone())).collect();
    let evidence = seen.into_iter().map(|(case, g)| (case, g.evidence)).collect();
    prepared.write_proposals(&[], &evidence, &lesions)?;
    let questions = prepared.questions(&[], &evidence);
    write_questions(&prepared, &questions, (settings, terminal, stop))?;
    if let Some(words) = words_of_open(questions.len(), &prepared.folder) {
        terminal.say(&words);
    }
    let mut refusals = Refusals::default();
    if settings.strict {
        refusals = Refusals::of(&prepared.cases, prepared.open(prepared.findings.iter()));
        refusals.leave_out(&mut prepared.cases);
    }
    if prepared.folder.is_measured() {
        terminal.say("the study is measured; its tables are left as they are");
        say_stale(prepared.folder.root(), terminal);
    } else {
        write_tables(&prepared)?;
    }
    prepared.unproven_plans().iter().for_each(|text| terminal.say(text));
    print(&aligned(&counts(&prepared))).map_err(|e| Fault::System(format!("stdout: {e}")))?;
    if stop.load(Ordering::SeqCst) {
        terminal.warn("stopped; not every case was looked at, run the same command again");
        return Ok(Outcome::Failed);
    }
    Ok(outcome(&prepared, &refusals, settings, terminal))
}

/// What the run came to, said in its last lines.
fn outcome(
    prepared: &PreparedStudy,
    refusals: &Refusals,
    settings: &Settings,
    terminal: &Terminal,
) -> Outcome {
    let causes = prepared.causes(prepared.findings.iter());
    let objection = settings.fail_on.and_then(|f| f.objection(&causes, !refusals.is_empty()));
    let measurable = |case: &&Case| case.counts() && refusals.spares(case);
    let found = Outcome::of_count(prepared.cases.iter().filter(measurable).count());
    if let Some(words) = &objection {
        terminal.warn(words);
    }
    found.explain_empty(prepared.nobody().as_deref(), terminal);
    let place = if prepared.folder.is_measured() {
        "the lines `left out` and `stop` above; the tables are those of the last measure".to_owned()
    } else {
        format!("{}/findings.csv (severity stop)", prepared.folder.tables().display())
    };
    prepared.left_out(prepared.findings.iter(), refusals).conclude(&place, terminal);
    if objection.is_some() { Outcome::FailedOn } else { found }
}

fn write_tables(prepared: &PreparedStudy) -> Result<(), Fault> {
    let study = Study {
        inventory: &prepared.scan.inventory,
        cases: &prepared.cases,
        analyses: &[],
        sums: &[],
        findings: &prepared.findings,
        states: prepared.states(),
        lesion_decisions: prepared.lesion_decisions(),
        confirmed_labels: prepared.confirmed_labels(),
        tally: &Tally::default(),
        columns: prepared.columns(),
        limits: &[],
        metrics: &[],
        settings_digest: "",
    };
    let (folder, database) = (prepared.folder.tables(), prepared.folder.database());
    let to = table::Destination { folder: &folder, database: Some(&database) };
    table::write_tables(&study, &["files", "findings"], to)?;
    Ok(())
}

/// A line of the summary: subject, kind, status or reason.
type SummaryLine = [String; 3];

/// How many of what, in the order of the summary.
fn counts(prepared: &PreparedStudy) -> Vec<(SummaryLine, usize)> {
    let mut list = files(prepared);
    list.extend(cases(prepared));
    list.extend(names(prepared));
    list.extend(unlocking(prepared));
    list.extend(findings(prepared));
    list
}

fn tally(lines: impl Iterator<Item = SummaryLine>) -> Vec<(SummaryLine, usize)> {
    let mut tally: BTreeMap<SummaryLine, usize> = BTreeMap::new();
    for line in lines {
        *tally.entry(line).or_insert(0) += 1;
    }
    tally.into_iter().collect()
}

fn line(subject: &str, kind: &str, status: &str) -> SummaryLine {
    [subject, kind, status].map(str::to_owned)
}

fn files(prepared: &PreparedStudy) -> Vec<(SummaryLine, usize)> {
    tally(
        prepared
            .scan
            .inventory
            .files
            .iter()
            .map(|f| line("files", f.sop_class.unwrap_or("unknown kind"), f.status.word())),
    )
}

fn cases(prepared: &PreparedStudy) -> Vec<(SummaryLine, usize)> {
    let (measurable, left_out): (Vec<_>, Vec<_>) =
        prepared.plans().partition(|c| c.left_out.is_none());
    let mut list = vec![(line("cases", "measurable", ""), measurable.len())];
    let later = prepared.cases.iter().filter(|c| c.is_follow_up());
    list.extend(tally(later.map(|c| {
        let words = if c.given().is_some() { "in a dose that was given" } else { "volumes only" };
        line("follow-up structure sets", words, "")
    })));
    list.extend(tally(left_out.into_iter().filter_map(|c| {
        let (code, _) = c.left_out.as_ref()?;
        Some(line("cases", "left out", code.definition().id))
    })));
    list.extend(standings(prepared));
    let technology = prepared.plans().map(|c| line("technologies", c.technology.word(), ""));
    list.extend(tally(technology));
    list
}

/// How many plans count by what is known of their treatment, and patients of whom there is no case.
fn standings(prepared: &PreparedStudy) -> Vec<(SummaryLine, usize)> {
    let plans = prepared.cases.iter().filter(|c| c.plan.is_some() && c.left_out.is_none());
    let mut list = tally(plans.map(|c| {
        let counts = if c.counts() { "counts" } else { "does not count" };
        line("plans", c.role().word(), counts)
    }));
    let known: BTreeSet<_> = prepared.cases.iter().filter_map(|c| c.patient.as_ref()).collect();
    let files = prepared.scan.inventory.files.iter();
    let seen: BTreeSet<_> = files.filter_map(|f| f.patient.as_ref()).collect();
    let lost = seen.difference(&known).count();
    if lost > 0 {
        list.push((line("patients", "without a case", ""), lost));
    }
    list
}

fn names(prepared: &PreparedStudy) -> Vec<(SummaryLine, usize)> {
    let all = || prepared.cases.iter().flat_map(|c| &c.names);
    let count = |wanted: &[NameBasis]| all().filter(|n| wanted.contains(&n.basis)).count();
    let open = open_decisions(&prepared.cases);
    let waiting = |place: DecisionFile| open.iter().filter(|d| d.place == place).count();
    let decisions = |file: &str| line("decisions", "open", file);
    vec![
        (
            line("structures", "mapped", ""),
            count(&[NameBasis::User, NameBasis::Exact, NameBasis::Rule]),
        ),
        (line("structures", "ambiguous", ""), count(&[NameBasis::Ambiguous])),
        (line("structures", "unmapped", ""), count(&[NameBasis::None])),
        (decisions(DecisionFile::Names.file()), waiting(DecisionFile::Names)),
        (decisions(DecisionFile::Prescriptions.file()), waiting(DecisionFile::Prescriptions)),
        (decisions("choices.csv"), prepared.open_choices()),
        (decisions("clinical_lesions.csv"), prepared.open_labels()),
        (decisions("decisions.csv"), prepared.open_findings()),
    ]
}

/// So many of the decisions that most cases wait for are named.
const UNLOCKING_SHOWN: usize = 5;

/// The decisions that most cases wait for, with how many those are.
fn unlocking(prepared: &PreparedStudy) -> Vec<(SummaryLine, usize)> {
    let open = open_decisions(&prepared.cases).into_iter().take(UNLOCKING_SHOWN);
    open.map(|d| (line("cases wait for", d.place.file(), &d.subject), d.cases)).collect()
}

fn findings(prepared: &PreparedStudy) -> Vec<(SummaryLine, usize)> {
    let causes = prepared.causes(prepared.findings.iter());
    let line = |c: &Cause<'_>| {
        let id = c.code()?.definition().id;
        Some(line("findings", c.severity().word(), id))
    };
    tally(causes.iter().filter_map(line))
}

/// Columns of equal width, two spaces apart, the count to the right.
fn aligned(list: &[(SummaryLine, usize)]) -> String {
    let width = |column: usize| {
        list.iter().map(|(line, _)| line[column].chars().count()).max().unwrap_or(0)
    };
    let [a, b, c] = [width(0), width(1), width(2)];
    list.iter()
        .map(|([subject, kind, status], n)| {
            format!("{subject:a$}  {kind:b$}  {status:c$}  {n:>7}\n")
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_counted_and_aligned() {
        let list = tally(["a", "bbb", "a"].map(|kind| line("files", kind, "read")).into_iter());
        assert_eq!(aligned(&list), "files  a    read        2\nfiles  bbb  read        1\n");
    }
}
