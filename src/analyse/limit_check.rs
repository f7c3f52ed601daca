//! Every organ of the list of limits for one case: which limits hold for its number of fractions
//! and what the measured values say about them. An organ that is missing has a row too. Computes
//! no metric and knows no table.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::candidates::{Candidates, listed, outcome};
use super::relate::SHARE;
use super::rows::{Measurement, Relation};
use tidydose_case::{Case, NamedRoi};
use tidydose_metrics::limits::{Limit, Verdict, fractions_listed, judge};
use tidydose_metrics::{Outcome, Status};

/// The share of its volume from which on a target counts as inside an organ, where a study does not
/// say another.
pub const INSIDE_FROM: f64 = 0.5;

/// One limit, or the lack of one, for one organ of a case.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LimitCheck {
    /// Standard name of the organ.
    pub organ: String,
    /// ROI Number of the structure; of one that may be the organ where none is called so, else
    /// absent.
    pub roi_number: Option<i64>,
    /// Fractions of the plan; absent when not stated.
    pub fractions: Option<u32>,
    /// The limit; absent where none could be chosen.
    pub limit: Option<Limit>,
    /// The value of its metric, of a structure that may be the organ where none is called so;
    /// absent without a limit or a structure.
    pub outcome: Option<Outcome>,
    /// What is known.
    pub verdict: Verdict,
    /// Why, in words; empty when value, bounds and limit say it.
    pub reason: String,
    /// Whether a target lies inside the organ and the limit is not meant for that.
    pub judge_clinically: bool,
    /// Largest share of a target's volume that lies inside the organ, percent; absent when it was
    /// not computed.
    pub target_inside_percent: Option<f64>,
}

/// What the rows of a case rest on.
#[derive(Debug, Clone, Copy)]
pub struct CheckInputs<'a> {
    /// The case.
    pub case: &'a Case,
    /// The list of limits.
    pub limits: &'a [Limit],
    /// All values of its structures.
    pub measurements: &'a [Measurement],
    /// How its structures lie to each other.
    pub relations: &'a [Relation],
    /// The structures that may be an organ though nobody has decided their names.
    pub open: &'a Candidates<'a>,
    /// The share of its volume from which on a target counts as inside an organ.
    pub inside_from: f64,
}

/// The rows of a case that was measured.
#[must_use]
pub fn check(inputs: CheckInputs<'_>) -> Vec<LimitCheck> {
    let organs: BTreeSet<&str> = inputs.limits.iter().map(|l| l.organ.as_str()).collect();
    organs.into_iter().flat_map(|organ| inputs.organ(organ)).collect()
}

/// The rows of a case that was not measured, for the reason `why`: nothing is known.
#[must_use]
pub fn unmeasured(case: &Case, limits: &[Limit], why: &str) -> Vec<LimitCheck> {
    let organs: BTreeSet<&str> = limits.iter().map(|l| l.organ.as_str()).collect();
    let reason = format!("the case is not measured: {why}");
    let row = |organ| empty(case, organ, None, Verdict::Unknown, reason.clone());
    organs.into_iter().map(row).collect()
}

fn fractions(case: &Case) -> Option<u32> {
    case.plan.as_ref().and_then(tidydose_rt::Plan::fractions)
}

/// A row without a limit.
fn empty(
    case: &Case,
    organ: &str,
    roi_number: Option<i64>,
    verdict: Verdict,
    reason: String,
) -> LimitCheck {
    LimitCheck {
        organ: organ.to_owned(),
        roi_number,
        fractions: fractions(case),
        limit: None,
        outcome: None,
        verdict,
        reason,
        judge_clinically: false,
        target_inside_percent: None,
    }
}

impl CheckInputs<'_> {
    fn organ(&self, organ: &str) -> Vec<LimitCheck> {
        let row = |roi_number, verdict, reason: String| {
            empty(self.case, organ, roi_number, verdict, reason)
        };
        let rois: Vec<&NamedRoi> = self
            .case
            .names
            .iter()
            .filter(|n| !n.role.is_target() && n.standard.as_deref() == Some(organ))
            .collect();
        let Some(fractions) = fractions(self.case) else {
            let reason = "the number of fractions is not stated, so no limit can be chosen";
            let number = rois.first().map(|r| r.number);
            return vec![row(number, Verdict::Unknown, reason.to_owned())];
        };
        let chosen: Vec<&Limit> =
            self.limits.iter().filter(|l| l.organ == organ && l.is_for(fractions)).collect();
        if chosen.is_empty() {
            let listed = fractions_listed(self.limits, organ);
            let noun = if fractions == 1 { "fraction" } else { "fractions" };
            let reason =
                format!("no limit for {fractions} {noun} is listed; there are some for {listed}");
            let number = rois.first().map(|r| r.number);
            return vec![row(number, Verdict::NotApplicable, reason)];
        }
        if rois.is_empty() {
            let open = self.open.for_organ(organ);
            if open.is_empty() {
                let reason = format!("absent: no structure of the case is {organ}");
                return vec![row(None, of_nothing(&chosen), reason)];
            }
            return chosen.iter().map(|limit| self.of_candidates(&open, limit)).collect();
        }
        let several = (rois.len() > 1).then(|| several(&rois, organ));
        let one = |roi: &&NamedRoi, limit: &&Limit| self.one(roi.number, limit, several.as_ref());
        rois.iter().flat_map(|roi| chosen.iter().map(move |limit| one(roi, limit))).collect()
    }

    fn one(&self, roi_number: i64, limit: &Limit, several: Option<&String>) -> LimitCheck {
        let metric = limit.metric.to_string();
        let outcome = outcome(self.measurements, roi_number, &metric).cloned();
        let inside = self.deepest_target(roi_number);
        let (verdict, reason) = match (&outcome, several) {
            (None, _) => (of_nothing(&[limit]), format!("{metric} was not measured")),
            (_, Some(several)) => (of_nothing(&[limit]), several.clone()),
            (Some(outcome), None) => judge(limit, outcome),
        };
        let clinical = inside.as_ref().filter(|(_, share)| self.is_for_clinicians(limit, *share));
        let reason = match clinical {
            Some((name, share)) => {
                let words = format!("{share:.0} % of {name} lies inside: judge clinically");
                if reason.is_empty() { words } else { format!("{words}; {reason}") }
            }
            None => reason,
        };
        LimitCheck {
            organ: limit.organ.clone(),
            roi_number: Some(roi_number),
            fractions: fractions(self.case),
            limit: Some(limit.clone()),
            outcome,
            verdict,
            reason,
            judge_clinically: clinical.is_some(),
            target_inside_percent: inside.map(|(_, share)| share),
        }
    }

    /// Whether so much of a target lies inside the organ that the limit alone says little. The
    /// verdict stays that of the numbers: a high dose is no lower for it.
    fn is_for_clinicians(&self, limit: &Limit, share_percent: f64) -> bool {
        limit.tier.decides()
            && share_percent >= 100.0 * self.inside_from
            && !limit.target_may_lie_inside
    }

    /// The target of which the largest share lies inside the organ.
    fn deepest_target(&self, organ: i64) -> Option<(String, f64)> {
        let shares = self
            .relations
            .iter()
            .filter(|r| r.metric == SHARE && r.other_roi_number == Some(organ));
        let best = shares
            .filter_map(|r| Some((r.roi_number, r.outcome.value?)))
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))?;
        let name = self.case.name(best.0);
        let shown = name.map(|n| n.standard.as_ref().unwrap_or(&n.original).clone());
        Some((shown.unwrap_or_else(|| format!("ROI {}", best.0)), best.1))
    }

    /// A limit of an organ that no structure is called yet: the largest value of those that may be
    /// it stands there to be seen, and nothing is known as long as the name is not decided.
    fn of_candidates(&self, open: &[&NamedRoi], limit: &Limit) -> LimitCheck {
        let metric = limit.metric.to_string();
        let found = |n: &NamedRoi| {
            let outcome = outcome(self.measurements, n.number, &metric)?;
            Some((n.number, outcome))
        };
        let valued = open.iter().filter_map(|n| found(n));
        let value = |o: &Outcome| o.value.unwrap_or(f64::NEG_INFINITY);
        let worst = valued.max_by(|a, b| value(a.1).total_cmp(&value(b.1)).then(b.0.cmp(&a.0)));
        let reason = format!(
            "{}: no structure of the case is {}, but {} may be; the value is that of the first by \
             this metric; decide in names.csv",
            Status::NameUndecided.word(),
            limit.organ,
            listed(open, self.measurements)
        );
        let number = worst.map(|(number, _)| number);
        let inside = number.and_then(|n| Some(self.deepest_target(n)?.1));
        LimitCheck {
            limit: Some(limit.clone()),
            outcome: worst.map(|(_, outcome)| outcome.clone()),
            judge_clinically: inside.is_some_and(|share| self.is_for_clinicians(limit, share)),
            target_inside_percent: inside,
            ..empty(self.case, &limit.organ, number, of_nothing(&[limit]), reason)
        }
    }
}

/// The verdict on limits of which nothing is known: aims of planning stay what they are.
fn of_nothing(limits: &[&Limit]) -> Verdict {
    if limits.iter().any(|l| l.tier.decides()) { Verdict::Unknown } else { Verdict::NotALimit }
}

fn several(rois: &[&NamedRoi], organ: &str) -> String {
    let numbers: Vec<String> = rois.iter().map(|r| r.number.to_string()).collect();
    format!("ROI {} are all {organ}; decide in names.csv which one is meant", numbers.join(", "))
}
