//! What is new since an earlier study of the same archive: cases that were not there, cases that
//! reach their limit now and did not, and shares that changed, each with its cause.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::cohort::{Case, Cohort};
use super::difference::{Causes, Side};
use super::number::counted;
use super::{Request, ReviewError};

/// An earlier study.
#[derive(Debug, Clone, Copy)]
pub struct Before<'r> {
    /// What it is called on the page.
    pub name: &'r str,
    /// The earlier study, then the one of the page, to tell causes.
    pub sides: [Side<'r>; 2],
}

/// What became of a case since then.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Step {
    /// It was not there.
    New,
    /// It reaches the limit that decides, and did not.
    NewlyReached { before: Option<f64>, why: String },
    /// The share is another one.
    Changed { before: f64, why: String },
}

/// The cases with a step, by plan.
#[derive(Debug)]
pub(super) struct Since {
    name: String,
    steps: BTreeMap<String, Step>,
    /// Cases of the earlier study that are no longer there.
    gone: usize,
    /// Cases in both.
    common: usize,
}

/// Shares closer than this are the same: they are shown with two digits behind the point.
const SAME: f64 = 0.005;

impl Since {
    /// Compares with the earlier study.
    ///
    /// # Errors
    /// As for the page itself, where the tables of the earlier study cannot be read.
    pub(super) fn read(cohort: &Cohort<'_>, before: &Before<'_>) -> Result<Self, ReviewError> {
        let request = Request { before: None, notes: &[], organs: &[], ..*cohort.request };
        let [tables, _] = before.sides.map(|s| s.tables);
        let earlier = Cohort::read_any(tables, &request)?;
        let known: BTreeMap<&str, &Case<'_>> =
            earlier.cases.iter().map(|c| (c.plan.plan_id, c)).collect();
        let causes = Causes::of(&before.sides[0], &before.sides[1]);
        let mut out = Self {
            name: before.name.to_owned(),
            steps: BTreeMap::new(),
            gone: known.len(),
            common: 0,
        };
        for case in &cohort.cases {
            let plan = case.plan.plan_id;
            let step = match known.get(plan) {
                None => Some(Step::New),
                Some(then) => {
                    out.gone -= 1;
                    out.common += 1;
                    step(then, case, || causes.words(Some(plan)))
                }
            };
            if let Some(step) = step.filter(|_| case.counted()) {
                out.steps.insert(plan.to_owned(), step);
            }
        }
        Ok(out)
    }

    /// What became of a case; absent where it is as it was.
    pub(super) fn of(&self, plan_id: &str) -> Option<&Step> {
        self.steps.get(plan_id)
    }

    /// In a sentence.
    pub(super) fn summary(&self) -> Markup {
        if self.common == 0 {
            return html! { p.note { "No case is in both this study and " (self.name)
            ": were they made with the same key?" } };
        }
        let count = |wanted: fn(&Step) -> bool| self.steps.values().filter(|s| wanted(s)).count();
        let new = count(|s| *s == Step::New);
        let reached = count(|s| matches!(s, Step::NewlyReached { .. }));
        let changed = count(|s| matches!(s, Step::Changed { .. }));
        html! { p { strong { "Since " (self.name) }
        ": " (counted(new, "new case")) ", " (counted(reached, "case"))
        " newly at the limit or above, " (counted(changed, "changed share")) ", "
        (counted(self.gone, "case")) " no longer there." } }
    }
}

fn step(then: &Case<'_>, now: &Case<'_>, why: impl Fn() -> String) -> Option<Step> {
    let share = now.share()?;
    let before = then.share().map(|s| s.value);
    if now.for_discussion() && !then.for_discussion() {
        return Some(Step::NewlyReached { before, why: why() });
    }
    let before = before.filter(|b| (b - share.value).abs() >= SAME)?;
    Some(Step::Changed { before, why: why() })
}
