//! First of all the denominator: how many cases there are, for how many the organ's value is known,
//! and why not for the others.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::cohort::{Case, Cohort};
use super::html_page::part;
use super::number::spaced;
use tidydose_table::read::Status;

/// Why a case has a value or none; the order is that of the page.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Group {
    Known,
    Uncertain,
    OneSided,
    /// By the word of the status, which is the order of the page.
    NoValue(&'static str),
    Undecided,
    Absent,
    LeftOut(String),
}

impl Group {
    fn of(case: &Case<'_>, metric: &str) -> Self {
        if !case.counted() {
            let code = case.exclusion.split(':').next().unwrap_or_default();
            return Self::LeftOut(if code.is_empty() { "not measured" } else { code }.to_owned());
        }
        match case.reading(metric) {
            Some(r) if r.status == Status::Ok => Self::Known,
            Some(r) if r.status == Status::Uncertain => Self::Uncertain,
            Some(r) if r.value.is_some() => Self::OneSided,
            Some(r) => Self::NoValue(r.status.word()),
            None if !case.contoured && case.open => Self::Undecided,
            None => Self::Absent,
        }
    }

    fn words(&self, organ: &str) -> String {
        match self {
            Self::Known => "value known, with bounds on both sides".to_owned(),
            Self::Uncertain => "value uncertain: its bounds are too wide to say much".to_owned(),
            Self::OneSided => "value known on one side only (at least, or at most)".to_owned(),
            Self::NoValue(status) => format!("unknown: {}", spaced(status)),
            Self::Undecided => {
                format!("unknown: no structure is named {organ}, but an undecided name may be it")
            }
            Self::Absent => format!("unknown: {organ} is not contoured, and no name may be it"),
            Self::LeftOut(code) => format!("left out: {code}"),
        }
    }
}

/// The part of the page.
pub(super) fn section(cohort: &Cohort<'_>) -> Markup {
    let organ = cohort.request.organ;
    let mut groups: BTreeMap<Group, usize> = BTreeMap::new();
    for case in &cohort.cases {
        *groups.entry(Group::of(case, cohort.request.metric)).or_insert(0) += 1;
    }
    let all = cohort.cases.len();
    let sum = |wanted: &dyn Fn(&Group) -> bool| -> usize {
        groups.iter().filter(|(g, _)| wanted(g)).map(|(_, n)| n).sum()
    };
    let known = sum(&|g| matches!(g, Group::Known | Group::OneSided));
    let left_out = sum(&|g| matches!(g, Group::LeftOut(_)));
    let contoured = cohort.cases.iter().filter(|c| c.contoured).count();
    let tiles = [
        (all, "cases in the study"),
        (contoured, "with the organ contoured"),
        (known, "with a value"),
        (all - known - left_out, "dose unknown, not counted as within"),
        (left_out, "left out"),
    ];
    part(
        "counts",
        "Who is counted",
        &html! {
            ul.tiles { @for (n, words) in tiles { li { strong { (n) } " " (words) } } }
            div.scroll tabindex="0" role="region" aria-label="Counts of cases" {
                table {
                    caption { "Every case of the study is in one row. Unknown is not zero dose." }
                    thead { tr { th scope="col" { "State of " (organ) " " (cohort.request.metric) }
                        th.n scope="col" { "Cases" } } }
                    tbody {
                        @for (group, n) in &groups
                            { tr { th scope="row" { (group.words(organ)) } td.n { (n) } } }
                    }
                    tfoot { tr { th scope="row" { "All" } td.n { (all) } } }
                }
            }
        },
    )
}
