//! Every organ of the list of limits for one case: which limits hold for its number of fractions
//! and what the measured values say about them. An organ that is missing has a row too. Computes
//! no metric and knows no table.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::relate::{Relation, SHARE};
use super::result::Measurement;
use tidydose_case::{Case, NameBasis, NamedRoi, Role};
use tidydose_metrics::Outcome;
use tidydose_metrics::limits::{Limit, Verdict, fractions_listed, judge};

/// A target counts as inside an organ from this share of its volume on, percent.
pub const INSIDE_PERCENT: f64 = 50.0;

/// One limit, or the lack of one, for one organ of a case.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LimitCheck {
    /// Standard name of the organ.
    pub organ: String,
    /// ROI Number of the structure; absent when the case has none of that name.
    pub roi_number: Option<i64>,
    /// Fractions of the plan; absent when not stated.
    pub fractions: Option<u32>,
    /// The limit; absent where none could be chosen.
    pub limit: Option<Limit>,
    /// The value of its metric; absent without a limit or a structure.
    pub outcome: Option<Outcome>,
    /// What is known.
    pub verdict: Verdict,
    /// Why, in words; empty when value, bounds and limit say it.
    pub reason: String,
    /// Largest share of a target's volume that lies inside the organ, percent; absent when it was
    /// not computed.
    pub target_inside_percent: Option<f64>,
}

/// The rows of a case that was measured.
#[must_use]
pub fn check(
    case: &Case,
    limits: &[Limit],
    measurements: &[Measurement],
    relations: &[Relation],
) -> Vec<LimitCheck> {
    let look = Look { case, limits, measurements, relations, not_measured: None };
    look.rows()
}

/// The rows of a case that was not measured, for the reason `why`: nothing is known.
#[must_use]
pub fn unmeasured(case: &Case, limits: &[Limit], why: &str) -> Vec<LimitCheck> {
    Look { case, limits, measurements: &[], relations: &[], not_measured: Some(why) }.rows()
}

struct Look<'a> {
    case: &'a Case,
    limits: &'a [Limit],
    measurements: &'a [Measurement],
    relations: &'a [Relation],
    not_measured: Option<&'a str>,
}

impl Look<'_> {
    fn rows(&self) -> Vec<LimitCheck> {
        let organs: BTreeSet<&str> = self.limits.iter().map(|l| l.organ.as_str()).collect();
        organs.into_iter().flat_map(|organ| self.organ(organ)).collect()
    }

    fn fractions(&self) -> Option<u32> {
        self.case.plan.as_ref().and_then(tidydose_rt::Plan::fractions)
    }

    fn organ(&self, organ: &str) -> Vec<LimitCheck> {
        let row = |roi_number, verdict, reason: String| LimitCheck {
            organ: organ.to_owned(),
            roi_number,
            fractions: self.fractions(),
            limit: None,
            outcome: None,
            verdict,
            reason,
            target_inside_percent: None,
        };
        if let Some(why) = self.not_measured {
            return vec![row(None, Verdict::Unknown, format!("the case is not measured: {why}"))];
        }
        let rois: Vec<&NamedRoi> = self
            .case
            .names
            .iter()
            .filter(|n| !n.role.is_target() && n.standard.as_deref() == Some(organ))
            .collect();
        let Some(fractions) = self.fractions() else {
            let reason = "the number of fractions is not stated, so no limit can be chosen";
            let number = rois.first().map(|r| r.number);
            return vec![row(number, Verdict::Unknown, reason.to_owned())];
        };
        let chosen: Vec<&Limit> =
            self.limits.iter().filter(|l| l.organ == organ && l.is_for(fractions)).collect();
        if chosen.is_empty() {
            let listed = fractions_listed(self.limits, organ);
            let reason = format!(
                "no limit for {fractions} fractions is listed; there are some for {listed}"
            );
            let number = rois.first().map(|r| r.number);
            return vec![row(number, Verdict::NotApplicable, reason)];
        }
        if rois.is_empty() {
            return vec![row(None, Verdict::Unknown, self.why_missing(organ))];
        }
        let several = (rois.len() > 1).then(|| several(&rois, organ));
        let one = |roi: &&NamedRoi, limit: &&Limit| self.one(roi.number, limit, several.as_ref());
        rois.iter().flat_map(|roi| chosen.iter().map(move |limit| one(roi, limit))).collect()
    }

    fn one(&self, roi_number: i64, limit: &Limit, several: Option<&String>) -> LimitCheck {
        let metric = limit.metric.to_string();
        let found =
            self.measurements.iter().find(|m| m.roi_number == roi_number && m.metric == metric);
        let outcome = found.map(|m| m.outcome.clone());
        let inside = self.deepest_target(roi_number);
        let (verdict, reason) = match (&outcome, several, &inside) {
            (None, ..) => (Verdict::Unknown, format!("{metric} was not measured")),
            (_, Some(several), _) => (Verdict::Unknown, several.clone()),
            (_, _, Some((name, share)))
                if *share >= INSIDE_PERCENT && !limit.target_may_lie_inside =>
            {
                let reason = format!("{share:.0} % of {name} lie inside: judge clinically");
                (Verdict::NotApplicable, reason)
            }
            (Some(outcome), ..) => judge(limit, outcome),
        };
        LimitCheck {
            organ: limit.organ.clone(),
            roi_number: Some(roi_number),
            fractions: self.fractions(),
            limit: Some(limit.clone()),
            outcome,
            verdict,
            reason,
            target_inside_percent: inside.map(|(_, share)| share),
        }
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

    /// Why no structure of the case is the organ.
    fn why_missing(&self, organ: &str) -> String {
        let unnamed = |n: &&NamedRoi| n.standard.is_none();
        let ambiguous: Vec<&NamedRoi> =
            self.case.names.iter().filter(unnamed).filter(is_ambiguous).collect();
        let unmapped: Vec<&NamedRoi> =
            self.case.names.iter().filter(unnamed).filter(|n| n.role == Role::Unknown).collect();
        let (word, list) = match (ambiguous.is_empty(), unmapped.is_empty()) {
            (false, _) => ("ambiguous", ambiguous),
            (true, false) => ("unmapped", unmapped),
            (true, true) => return format!("absent: no structure of the case is {organ}"),
        };
        let names: Vec<String> = list.iter().take(5).map(|n| format!("{:?}", n.original)).collect();
        let more = if list.len() > 5 { " and others" } else { "" };
        format!(
            "{word}: no structure of the case is {organ}, but {}{more} may be; decide in names.csv",
            names.join(", ")
        )
    }
}

fn is_ambiguous(name: &&NamedRoi) -> bool {
    name.basis == NameBasis::Ambiguous
}

fn several(rois: &[&NamedRoi], organ: &str) -> String {
    let numbers: Vec<String> = rois.iter().map(|r| r.number.to_string()).collect();
    format!("ROI {} are all {organ}; decide in names.csv which one is meant", numbers.join(", "))
}
