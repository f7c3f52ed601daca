//! What a committee needs for its minutes, first on the page and one sheet of paper in print: when
//! and about what it met, how many cases by tier, what is new, which cases to talk about with room
//! for the decision, and what was said about them before.

use maud::{Markup, html};

use super::cohort::{Case, Cohort, VERDICTS, verdict_words};
use super::html_page::part;
use super::number::{counted, shown, spaced};
use super::place::{TIERS, limit_words};
use super::ranking::{case_link, share_words, value_words, verdict_and_flags};
use super::since::{Since, Step};
use tidydose_table::read::{Tier, Verdict};
use tidydose_table::user::reviews::ReviewNote;

/// What the user says about the meeting; nothing of it is checked or computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Meeting<'r> {
    /// Who meets.
    pub committee: Option<&'r str>,
    /// Which time the cases are from.
    pub period: Option<&'r str>,
    /// When they meet.
    pub date: Option<&'r str>,
    /// Name of the study.
    pub study: &'r str,
    /// Digest of all files that the study was made from, as in `run.json`; empty when unknown.
    pub inputs: &'r str,
}

/// The part of the page.
pub(super) fn section(cohort: &Cohort<'_>, since: Option<&Since>) -> Markup {
    let listed: Vec<(usize, &Case<'_>)> =
        (1..).zip(&cohort.cases).filter(|(_, case)| case.for_discussion()).collect();
    part(
        "minutes",
        "For the minutes",
        &html! {
            (about(&cohort.request.meeting))
            (tiers(cohort))
            @if let Some(since) = since { (since.summary()) }
            h3 { "Cases to talk about" }
            @if listed.is_empty() { p { "No case reaches the limit that decides, and none may." } }
            @else { (list(cohort, &listed, since)) }
            (unknown(cohort))
            (actions(cohort))
        },
    )
}

fn about(meeting: &Meeting<'_>) -> Markup {
    let line = |words: &str, text: Option<&str>| {
        html! { div { dt { (words) } dd { @match text {
            Some(text) => { (text) }, None => { span.blank {} },
        } } } }
    };
    html! {
        dl.facts {
            (line("Committee", meeting.committee))
            (line("Period", meeting.period))
            (line("Date of the meeting", meeting.date))
            (line("Study", Some(meeting.study)))
            @if !meeting.inputs.is_empty()
                { (line("Digest of all files read", meeting.inputs.get(..12))) }
        }
    }
}

/// How many cases each tier calls what, each case by its largest share in that tier.
fn tiers(cohort: &Cohort<'_>) -> Markup {
    if !cohort.limits_there {
        return html! { p.note { "This study has no table of limit checks: no case was held \
        against a limit. Cases are sorted by dose." } };
    }
    let held: Vec<Verdict> = VERDICTS.into_iter().flatten().collect();
    let counts = |tier: Tier| -> Vec<usize> {
        let in_tier = |c: &&Case<'_>| c.counted();
        let verdicts: Vec<Verdict> = cohort
            .cases
            .iter()
            .filter(in_tier)
            .filter_map(|c| c.decides_in(tier).map(|check| check.verdict))
            .collect();
        held.iter().map(|v| verdicts.iter().filter(|w| *w == v).count()).collect()
    };
    let rows: Vec<(Tier, Vec<usize>)> = TIERS
        .into_iter()
        .map(|tier| (tier, counts(tier)))
        .filter(|(_, counts)| counts.iter().sum::<usize>() > 0)
        .collect();
    html! {
        div.scroll tabindex="0" role="region" aria-label="Counts by tier" { table {
            caption { "Cases by tier of the limits, each by its largest share in that tier. \
                 Unknown is not counted as within: its value is that of a structure which may be the organ." }
            thead { tr { th scope="col" { "Tier" }
                @for v in &held { th.n scope="col" { (verdict_words(Some(*v))) } } } }
            tbody { @for (tier, counts) in &rows { tr {
                th scope="row" { (spaced(tier.word())) }
                @for n in counts { td.n { (n) } }
            } } }
        } }
        @if rows.is_empty() { p.note { "No case has a value with a limit." } }
    }
}

fn list(cohort: &Cohort<'_>, listed: &[(usize, &Case<'_>)], since: Option<&Since>) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label="Cases to talk about" { table.minutes {
            caption { (counted(listed.len(), "case"))
                " whose dose reaches the limit that decides, or may within its bounds" }
            thead { tr { @for words in ["Place", "Case", "Share", "Dose and limit", "Verdict",
                "Distance mm", "Decision", "Signature"]
                { th scope="col" { (words) } } } }
            tbody { @for (place, case) in listed { tr {
                td { (place) }
                th scope="row" {
                    (case_link(cohort, *place, case))
                    span.sub { (spaced(case.plan.technology)) }
                    @if let Some(step) = since.and_then(|s| s.of(case.plan.plan_id))
                        { span.sub.flag { (step.words()) } }
                }
                td.n { (share_words(case.share())) }
                td { @if let Some(check) = case.deciding()
                    { (value_words(check)) span.sub { (limit_words(check)) } } }
                td { (verdict_and_flags(cohort, case)) }
                td.n { @match &case.gap { Some((mm, _)) => { (shown(*mm)) }, None => { "unknown" } } }
                td.room { @for note in notes(cohort, case) { (said(note)) } }
                td.room {}
            } } }
        } }
    }
}

/// The cases that cannot be placed: a number and why, since nobody may take them for within.
fn unknown(cohort: &Cohort<'_>) -> Markup {
    let without = |c: &&Case<'_>| c.counted() && c.share().is_none();
    let cases: Vec<&Case<'_>> = cohort.cases.iter().filter(without).collect();
    let absent = cases.iter().filter(|c| !c.contoured && !c.open).count();
    let left_out = cohort.cases.iter().filter(|c| !c.counted()).count();
    html! {
        @if !cases.is_empty() && cohort.limits_there { p {
            strong { (counted(cases.len(), "case")) " cannot be compared with a limit" } ": "
            (absent) " without the organ, " (cases.len() - absent)
            " for reasons given in the table of cases. They do not count as within."
        } }
        @if left_out > 0 { p { (counted(left_out, "case"))
            " left out of the study; the table of cases says why." } }
    }
}

/// What was written about a case and the organ of the page.
pub(super) fn notes<'c>(
    cohort: &'c Cohort<'_>,
    case: &'c Case<'_>,
) -> impl Iterator<Item = &'c ReviewNote> {
    let organ = cohort.request.organ;
    let plan = case.plan.plan_id;
    let notes = cohort.request.notes.iter();
    notes.filter(move |n| n.plan_id == plan && n.organ == organ && n.says_something())
}

/// A row of `reviews.csv` in one line.
pub(super) fn said(note: &ReviewNote) -> Markup {
    html! { span.sub {
        @if note.met_on.is_empty() { "no date" } @else { (note.met_on) }
        @if !note.who.is_empty() { ", " (note.who) }
        @if let Some(discussed) = note.discussed
            { @if discussed { ", discussed" } @else { ", not discussed" } }
        @if !note.outcome.is_empty() { ": " (note.outcome) }
        @if !note.action.is_empty() { "; action: " (note.action) }
        @if !note.due.is_empty() { ", due " (note.due) }
        @if !note.comment.is_empty() { "; " (note.comment) }
    } }
}

/// Actions of earlier meetings, also of cases that are within by now.
fn actions(cohort: &Cohort<'_>) -> Markup {
    let request = cohort.request;
    let of_page = |n: &&ReviewNote| n.organ == request.organ && !n.action.is_empty();
    let actions: Vec<&ReviewNote> = request.notes.iter().filter(of_page).collect();
    if actions.is_empty() {
        return html! {};
    }
    html! {
        h3 { "Actions from earlier meetings" }
        div.scroll tabindex="0" role="region" aria-label="Actions from earlier meetings" { table {
            caption { "Rows of reviews.csv with an action. Overdue is said where the date of this \
                 meeting and the due date are both written as year-month-day." }
            thead { tr { @for words in ["Case", "Meeting", "Action", "Due"]
                { th scope="col" { (words) } } } }
            tbody { @for note in actions { tr {
                th scope="row" { (note.plan_id) } td { (note.met_on) } td { (note.action) }
                td { (note.due) @if overdue(note, request.meeting.date)
                    { span.sub.flag { "overdue" } } }
            } } }
        } }
    }
}

/// Whether the due date lies before the meeting; both as year-month-day, which order as texts do.
fn overdue(note: &ReviewNote, date: Option<&str>) -> bool {
    date.is_some_and(|date| is_day(date) && is_day(&note.due) && note.due.as_str() < date)
}

fn is_day(text: &str) -> bool {
    let shape = |(i, b): (usize, u8)| if i == 4 || i == 7 { b == b'-' } else { b.is_ascii_digit() };
    text.len() == 10 && text.bytes().enumerate().all(shape)
}

/// What a person should see in a spreadsheet beside an empty row.
#[must_use]
pub(super) fn seen(case: &Case<'_>) -> Option<String> {
    let check = case.deciding()?;
    let share = case.share()?;
    let limit = limit_words(check);
    let name = if case.waits_for_name() { "; name undecided" } else { "" };
    Some(format!("{} against {limit}: share {}{name}", value_words(check), shown(share.value)))
}

impl Step {
    /// In words, for a cell.
    fn words(&self) -> String {
        match self {
            Self::New => "new case".to_owned(),
            Self::NewlyReached { before, why } => match before {
                Some(before) => format!("new: was {} of the limit ({why})", shown(*before)),
                None => format!("new: was unknown ({why})"),
            },
            Self::Changed { before, why } => format!("was {} of the limit ({why})", shown(*before)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn overdue_is_said_of_days_alone() {
        let note = |due: &str| ReviewNote { due: due.to_owned(), ..ReviewNote::default() };
        assert!(overdue(&note("2031-03-01"), Some("2031-03-02")));
        assert!(!overdue(&note("2031-03-02"), Some("2031-03-02")));
        assert!(!overdue(&note("1 March"), Some("2031-03-02")));
        assert!(!overdue(&note("2031-03-01"), Some("in spring")));
        assert!(!overdue(&note("2031-03-01"), None));
    }
}
