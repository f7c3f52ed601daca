//! How a run ends that took a share of the cases: it has no tables to show, so it counts and says.

use super::finish::FinishedCase;
use super::outcome::Outcome;
use super::prepare::PreparedStudy;
use super::settings::Settings;
use super::share::Share;
use super::terminal::Terminal;
use tidydose_rt::finding::Finding;
use tidydose_table::causes::Cause;

/// What became of the cases of a share; there are no tables to show for it.
pub(super) struct ShareResult {
    share: Share,
    own: usize,
    done: usize,
    new: usize,
    there: usize,
    /// Why cases of the share could not be measured.
    failures: Vec<String>,
    findings: Vec<Finding>,
}

impl ShareResult {
    /// From one result per case; absent for cases that are not in the share or were not begun.
    pub(super) fn of(
        share: Share,
        prepared: &PreparedStudy,
        results: &[Option<FinishedCase>],
    ) -> Self {
        let done: Vec<&FinishedCase> = results.iter().flatten().collect();
        let of_case = |r: &&FinishedCase| {
            let residue = r.residue.iter().flat_map(|a| a.findings.clone());
            r.findings.iter().cloned().chain(residue).collect::<Vec<_>>()
        };
        Self {
            share,
            own: prepared.cases.iter().filter(|c| share.takes(&c.id)).count(),
            done: done.len(),
            new: done.iter().filter(|r| r.key.is_some() && !r.reused).count(),
            there: done.iter().filter(|r| r.reused).count(),
            failures: done.iter().filter_map(|r| r.failure.clone()).collect(),
            findings: done.iter().flat_map(of_case).collect(),
        }
    }

    /// Says what the share did. A share of which no case can be measured is no empty result: it is
    /// a part of one.
    pub(super) fn outcome(
        &self,
        prepared: &PreparedStudy,
        settings: &Settings,
        terminal: &Terminal,
    ) -> Outcome {
        for reason in &self.failures {
            terminal.warn(&format!("a case could not be measured: {reason}"));
        }
        let Self { share, own, new, there, .. } = self;
        terminal.say(&format!(
            "share {share}: {own} of {} cases; {new} measured, {there} finished before. Parts are \
             in {}; when those of all shares lie in one study, measure it without --part: its tables \
             say what was left out.",
            prepared.cases.len(),
            prepared.folder.cases().display()
        ));
        let causes = prepared.causes(self.findings.iter());
        let refused = settings.strict && causes.iter().any(Cause::waits);
        let objection = settings.fail_on.and_then(|f| f.objection(&causes, refused));
        if let Some(words) = &objection {
            terminal.warn(words);
        }
        match objection {
            _ if self.done < self.own => Outcome::Failed,
            Some(_) => Outcome::FailedOn,
            None => Outcome::Complete,
        }
    }
}
