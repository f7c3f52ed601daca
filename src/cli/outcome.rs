//! How a run ends: what it came to as an exit code, and its last line, which says what was left out
//! and where to look. The one place where both are decided; `tidydose --help` says the same.
//!
//! A run that did its work ends with 0, whatever it had to leave out: that is counted, named and
//! explained, and the last line points to it. A strict run does not differ: what it refuses is left
//! out, so it ends with 0 as long as one case keeps a value. Who wants a code for it says so with
//! `--fail-on`. A finding about which somebody decided in `decisions.csv` fails no run.

use std::collections::BTreeSet;

use super::terminal::Terminal;
use tidydose_analyse::strict::Refusals;
use tidydose_case::Case;
use tidydose_rt::finding::{Finding, Severity};
use tidydose_rt::identity::Token;
use tidydose_rt::{FileRecord, FileStatus};
use tidydose_table::causes::Cause;
use tidydose_table::user::states::State;

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Complete; whatever was left out is counted, named and explained.
    Complete,
    /// Complete, but what was asked for is empty: nothing measured, no row, nobody in it.
    Empty,
    /// Complete, but what `--fail-on` names was found.
    FailedOn,
    /// It could not be done, or was stopped before its end.
    Failed,
}

impl Outcome {
    /// The exit code.
    #[must_use]
    pub const fn exit_code(self) -> u8 {
        match self {
            Self::Complete => 0,
            Self::Empty | Self::FailedOn => 1,
            Self::Failed => 2,
        }
    }

    /// The word for scripts.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Complete => "complete",
            Self::Empty => "empty",
            Self::FailedOn => "failed_on",
            Self::Failed => "failed",
        }
    }

    /// Complete, unless the result has nobody in it: then it says why and what to decide.
    pub(super) fn unless_nobody(why: Option<&str>, terminal: &Terminal) -> Self {
        let Some(why) = why else { return Self::Complete };
        terminal.warn(why);
        Self::Empty
    }

    /// Says why an empty run is empty; `nobody` is there when no case counts.
    pub(super) fn explain_empty(self, nobody: Option<&str>, terminal: &Terminal) {
        if self == Self::Empty {
            let refused = "the strict run refuses every case that counts; findings of severity check \
                           say why";
            terminal.warn(nobody.unwrap_or(refused));
        }
    }

    /// Complete when there is anything, else empty.
    pub(super) const fn of_count(count: usize) -> Self {
        if count > 0 { Self::Complete } else { Self::Empty }
    }
}

/// What `--fail-on` turns into exit code 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum FailOn {
    /// Something was refused: a finding of severity stop about which nobody has decided, or
    /// anything that a strict run takes away.
    LeftOut,
    /// That, or a finding of severity check about which nobody has decided.
    Check,
}

impl FailOn {
    /// Each with its word.
    pub(super) const WORDS: &'static [(Self, &'static str)] =
        &[(Self::LeftOut, "left-out"), (Self::Check, "check")];

    /// The word of commands that know no doubts.
    pub(super) const ONLY_LEFT_OUT: &'static [(Self, &'static str)] =
        &[(Self::LeftOut, "left-out")];

    fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(f, _)| *f == self).map_or("", |(_, w)| w)
    }

    /// The sentence for a run that fails on it; `refused` says whether a strict run took something
    /// away.
    pub(super) fn objection(self, causes: &[Cause<'_>], refused: bool) -> Option<String> {
        let (mut stops, mut checks) = (0, 0);
        for cause in causes.iter().filter(|c| c.state == State::Open) {
            match cause.severity() {
                Severity::Stop => stops += 1,
                Severity::Check => checks += 1,
                Severity::Note => {}
            }
        }
        let applies = stops > 0 || refused || (self == Self::Check && checks > 0);
        let checks =
            if self == Self::Check { format!(", {checks} of check") } else { String::new() };
        let strict = if refused { ", and values that the strict run refuses" } else { "" };
        applies.then(|| {
            format!(
                "exit code 1 as asked for by --fail-on {}: {stops} findings of severity \
                 stop{checks} without a decision{strict}",
                self.word()
            )
        })
    }
}

/// How much was left out of a run over an archive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct LeftOut {
    cases: usize,
    all_cases: usize,
    /// Cases among them without a treatment plan, or with one that another version replaced.
    by_rule: usize,
    files: usize,
    all_files: usize,
    structures: usize,
}

impl LeftOut {
    /// Counts cases, files that could not be used, and structures that lost values though their
    /// case was measured.
    pub(super) fn count<'f>(
        cases: &[Case],
        files: &[FileRecord],
        findings: impl Iterator<Item = &'f Finding>,
        refusals: &Refusals,
    ) -> Self {
        let stops = findings.filter(|f| f.severity() == Severity::Stop).map(|f| &f.subject);
        let mut structures: BTreeSet<(Option<&Token>, i64)> = stops
            .filter_map(|s| Some((s.case.as_ref().or(s.object.as_ref()), s.roi_number?)))
            .collect();
        structures.extend(refusals.structures().map(|(case, roi)| (Some(case), roi)));
        // With its case a structure is counted there.
        let gone: BTreeSet<&Token> =
            cases.iter().filter(|c| c.left_out.is_some()).map(|c| &c.id).collect();
        structures.retain(|(of, _)| of.is_none_or(|of| !gone.contains(of)));
        let plans = || cases.iter().filter(|c| !c.is_follow_up());
        let left_out = || plans().filter_map(|c| c.left_out.as_ref());
        let by_rule = left_out().filter(|(c, _)| c.definition().severity == Severity::Note);
        Self {
            cases: left_out().count(),
            all_cases: plans().count(),
            by_rule: by_rule.count(),
            files: files.iter().filter(|f| f.status == FileStatus::Refused).count(),
            all_files: files.len(),
            structures: structures.len(),
        }
    }

    /// So many of all files, where nothing else is counted.
    pub(super) fn of_files(files: usize, all_files: usize) -> Self {
        Self { files, all_files, ..Self::default() }
    }

    /// Whether there is nothing to report.
    pub(super) const fn is_nothing(&self) -> bool {
        self.cases == 0 && self.files == 0 && self.structures == 0
    }

    /// Says it in the last line of a run; with `--quiet` only where something was left out.
    pub(super) fn conclude(&self, place: &str, terminal: &Terminal) {
        terminal.conclude(&self.line(place), !self.is_nothing());
    }

    /// The last line of a run; `place` says where the reasons are.
    pub(super) fn line(&self, place: &str) -> String {
        if self.is_nothing() {
            return "left out: nothing".to_owned();
        }
        let mut parts = Vec::new();
        if self.cases > 0 {
            let rule = match self.by_rule {
                0 => String::new(),
                n => format!(" (no treatment plan or a replaced version: {n})"),
            };
            parts.push(format!("{} of {} cases{rule}", self.cases, self.all_cases));
        }
        if self.files > 0 {
            parts.push(format!("{} of {} files", self.files, self.all_files));
        }
        if self.structures > 0 {
            parts.push(format!("some or all values of {} structures", self.structures));
        }
        format!("left out: {}. Why, and what to do: {place}", parts.join(", "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_rt::finding::{Code, Subject};
    use tidydose_table::causes::causes;
    use tidydose_table::structure_names::StructureNames;
    use tidydose_table::user::states::States;

    fn finding(code: Code, roi_number: Option<i64>) -> Finding {
        Finding::new(code, Subject { roi_number, ..Subject::default() }, "")
    }

    #[test]
    fn a_run_fails_only_on_what_was_asked_for() {
        let states = [State::Open, State::Waived];
        let fails = |fail_on: FailOn, code, refused| {
            let finding = finding(code, None);
            let [open, decided] = states.map(|state| {
                let mut list =
                    causes(vec![&finding], &StructureNames::default(), &States::default());
                for cause in &mut list {
                    cause.state = state;
                }
                fail_on.objection(&list, refused).is_some()
            });
            assert_eq!(decided, refused, "what was decided fails no run");
            open
        };
        for (code, left_out, check) in [
            (Code::FileDamaged, true, true),
            (Code::PlaneGap, false, true),
            (Code::NameUnmapped, false, false),
        ] {
            assert_eq!(fails(FailOn::LeftOut, code, false), left_out, "{code:?}");
            assert_eq!(fails(FailOn::Check, code, false), check, "{code:?}");
        }
        assert!(fails(FailOn::LeftOut, Code::NameUnmapped, true), "what a strict run refuses");
    }

    #[test]
    fn the_last_line_names_all_that_is_missing_and_the_place() {
        let none = LeftOut::count(&[], &[], [].iter(), &Refusals::default());
        assert_eq!(none.line("there"), "left out: nothing");
        let list = [
            finding(Code::GridMissesStructure, Some(1)),
            finding(Code::RoiFrameMismatch, Some(1)),
            finding(Code::GridMissesStructure, Some(2)),
            finding(Code::PlaneGap, Some(3)),
        ];
        let some = LeftOut::count(&[], &[], list.iter(), &Refusals::default());
        assert_eq!(some.structures, 2, "a structure counts once, a doubt is no gap");
        let some = LeftOut { cases: 2, all_cases: 9, by_rule: 1, files: 1, all_files: 7, ..some };
        assert_eq!(
            some.line("there"),
            "left out: 2 of 9 cases (no treatment plan or a replaced version: 1), 1 of 7 files, \
             some or all values of 2 structures. Why, and what to do: there"
        );
    }

    #[test]
    fn codes_are_those_of_the_help() {
        let all = [Outcome::Complete, Outcome::Empty, Outcome::FailedOn, Outcome::Failed];
        assert_eq!(all.map(Outcome::exit_code), [0, 1, 1, 2]);
        assert_eq!([0, 3].map(Outcome::of_count), [Outcome::Empty, Outcome::Complete]);
    }
}
