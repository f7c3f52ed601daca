//! Where a case stands among all: the one limit that decides, the dose as a share of it, and what a
//! committee has to know beside that number. The order is by that share alone; nothing that is said
//! beside it moves a case down.

use super::cohort::Case;
use super::number::shown;
use tidydose_table::read::{LimitCheckRow, Tier, Verdict};

/// A value as share of its limit: 1 is the limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LimitShare {
    pub(super) value: f64,
    /// Absent where the value has no lower bound.
    pub(super) low: Option<f64>,
    /// Absent where the value has no upper bound.
    pub(super) high: Option<f64>,
}

impl LimitShare {
    /// Absent without a value, and for a limit of nothing.
    pub(super) fn of(check: &LimitCheckRow<'_>) -> Option<Self> {
        let limit = check.limit_value.filter(|limit| *limit > 0.0)?;
        let share = |dose: Option<f64>| dose.map(|dose| dose / limit);
        Some(Self { value: share(check.value)?, low: share(check.low), high: share(check.high) })
    }

    /// Whether the limit is reached at the upper bound, or may be where there is none.
    pub(super) fn reaches(&self) -> bool {
        self.value >= 1.0 || self.high.is_none_or(|high| high >= 1.0)
    }
}

/// What stands beside the share.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Flag<'t> {
    /// No structure is called the organ; the value is that of one which may be it.
    NameUndecided(&'t str),
    /// So many per cent of a target lie inside the organ.
    TargetInside(f64),
    /// A bound is known on one side only.
    OneSided,
    /// The bounds straddle the limit.
    Straddles,
    /// The dose is not what the distance of the target lets expect: higher, or lower.
    StandsOut {
        /// Whether it is higher.
        higher: bool,
    },
    /// Above a limit of another tier, which does not decide.
    AlsoAbove(String),
}

impl Flag<'_> {
    /// In words.
    pub(super) fn words(&self, organ: &str) -> String {
        match self {
            Self::NameUndecided(name) => format!("if “{name}” is the {organ}: name undecided"),
            Self::TargetInside(percent) => {
                format!("{percent:.0} % of a target lies inside: judge clinically")
            }
            Self::OneSided => "known on one side only".to_owned(),
            Self::Straddles => "the uncertainty range crosses the limit".to_owned(),
            Self::StandsOut { higher } => {
                let side = if *higher { "higher" } else { "lower" };
                format!("unusually {side} for its distance and prescription")
            }
            Self::AlsoAbove(limit) => format!("also above {limit}"),
        }
    }
}

/// The tiers that decide, the most binding first.
pub(super) const TIERS: [Tier; 4] =
    [Tier::LocalPractice, Tier::Mandatory, Tier::Published, Tier::Optimal];

/// The place of a tier among those; absent for an objective of planning, which decides nothing.
pub(super) fn rank(tier: Tier) -> Option<usize> {
    TIERS.iter().position(|t| *t == tier)
}

/// The check of the largest share.
fn largest<'c, 't>(
    checks: impl Iterator<Item = &'c LimitCheckRow<'t>>,
) -> Option<&'c LimitCheckRow<'t>> {
    let mut found: Option<(&LimitCheckRow<'t>, f64)> = None;
    for check in checks {
        let Some(share) = LimitShare::of(check) else { continue };
        if found.is_none_or(|(_, most)| share.value > most) {
            found = Some((check, share.value));
        }
    }
    found.map(|(check, _)| check)
}

impl<'t> Case<'t> {
    /// The check of the largest share in a tier.
    pub(super) fn decides_in(&self, tier: Tier) -> Option<&LimitCheckRow<'t>> {
        largest(self.checks.iter().filter(|c| c.tier == Some(tier)))
    }

    /// The check that decides the place: of the most binding tier that has a value, the one with the
    /// largest share of its limit. Without any value a check that says why.
    pub(super) fn deciding(&self) -> Option<&LimitCheckRow<'t>> {
        let by_tier = TIERS.into_iter().find_map(|tier| self.decides_in(tier));
        by_tier.or_else(|| self.checks.iter().find(|c| c.tier.is_none_or(|t| rank(t).is_some())))
    }

    /// The share of the limit that decides; absent where nothing is known, which is no small dose.
    pub(super) fn share(&self) -> Option<LimitShare> {
        self.deciding().and_then(LimitShare::of)
    }

    /// Whether its name is what is missing: the value is that of a structure that may be the organ.
    pub(super) fn waits_for_name(&self) -> bool {
        !self.contoured && self.open
    }

    /// Whether a committee has to talk about it: the dose reaches the limit that decides, or may.
    pub(super) fn for_discussion(&self) -> bool {
        self.counted() && self.share().is_some_and(|share| share.reaches())
    }

    /// What stands beside the share.
    pub(super) fn flags(&self) -> Vec<Flag<'t>> {
        let mut flags = self.flags_of_limit();
        flags.extend(self.stands_out.map(|score| Flag::StandsOut { higher: score > 0.0 }));
        flags
    }

    fn flags_of_limit(&self) -> Vec<Flag<'t>> {
        let Some(check) = self.deciding() else { return Vec::new() };
        let Some(share) = LimitShare::of(check) else { return Vec::new() };
        let mut flags = Vec::new();
        if self.waits_for_name() {
            let name = self.candidates.iter().find(|c| c.structure_id == check.structure_id);
            flags.push(Flag::NameUndecided(name.map_or("a structure", |c| c.name)));
        }
        if let Some(percent) =
            check.target_inside_percent.filter(|_| check.judge_clinically == Some(true))
        {
            flags.push(Flag::TargetInside(percent));
        }
        match (share.low, share.high) {
            (Some(low), Some(high)) if low < 1.0 && high >= 1.0 => flags.push(Flag::Straddles),
            (Some(_), Some(_)) => {}
            _ => flags.push(Flag::OneSided),
        }
        for tier in TIERS.into_iter().filter(|t| Some(*t) != check.tier) {
            if let Some(other) = self.decides_in(tier).filter(|c| c.verdict == Verdict::Above) {
                flags.push(Flag::AlsoAbove(limit_words(other)));
            }
        }
        flags
    }

    /// By which cases are sorted, the largest first. A case of which nothing is known, or nothing of
    /// how high its dose may be, stands behind all that reach their limit and before all that do
    /// not: unknown is never a pass.
    pub(super) fn sort_share(&self) -> f64 {
        // Just below 1, so that what is known to be at the limit comes first.
        const UNKNOWN: f64 = 1.0 - f64::EPSILON;
        match self.share() {
            Some(share) if share.high.is_some() => share.value,
            Some(share) => share.value.max(UNKNOWN),
            None => UNKNOWN,
        }
    }
}

/// A limit in a few words.
pub(super) fn limit_words(check: &LimitCheckRow<'_>) -> String {
    let limit = check.limit_value.map(shown).unwrap_or_default();
    let tier = check.tier_word();
    format!("{} {} {limit} {} ({tier})", check.metric, check.operator, check.unit)
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(super) fn check(tier: Tier, value: Option<f64>, limit: f64) -> LimitCheckRow<'static> {
        LimitCheckRow {
            plan_id: "p",
            structure_id: "p/1",
            structure: "Brainstem",
            metric: "D0.1cc[Gy]",
            operator: "<=",
            limit_value: Some(limit),
            unit: "Gy",
            limit_fractions: "1",
            tier: Some(tier),
            limit_source: "a source",
            evidence: "",
            value,
            low: value.map(|v| v - 0.5),
            high: value.map(|v| v + 0.5),
            margin: value.map(|v| limit - v),
            verdict: if value.is_some_and(|v| v > limit) {
                Verdict::Above
            } else {
                Verdict::Within
            },
            reason: "",
            checked: None,
            endpoint: "",
            stated_risk: "",
            limit_note: "",
            judge_clinically: None,
            target_inside_percent: None,
        }
    }

    fn case(checks: Vec<LimitCheckRow<'static>>) -> Case<'static> {
        Case { checks, contoured: true, ..Case::example("p") }
    }

    #[test]
    fn the_most_binding_tier_decides_and_in_it_the_largest_share() {
        let of = |checks| case(checks).share().map(|s| s.value);
        let mandatory = || check(Tier::Mandatory, Some(12.0), 15.0);
        assert_eq!(of(vec![mandatory()]), Some(0.8));
        let further = check(Tier::Mandatory, Some(21.0), 14.0);
        assert_eq!(of(vec![mandatory(), further]), Some(1.5));
        let objective = check(Tier::Objective, Some(12.0), 1.0);
        assert_eq!(of(vec![objective.clone()]), None, "an objective is no limit");
        assert_eq!(of(vec![objective, mandatory()]), Some(0.8));
        let optimal = check(Tier::Optimal, Some(12.0), 10.0);
        let both = case(vec![optimal, mandatory()]);
        assert_eq!(both.share().map(|s| s.value), Some(0.8));
        let wanted = Flag::AlsoAbove("D0.1cc[Gy] <= 10.00 Gy (optimal)".to_owned());
        assert_eq!(both.flags(), [wanted]);
        let local = check(Tier::LocalPractice, Some(12.0), 8.0);
        assert_eq!(of(vec![mandatory(), local]), Some(1.5), "your own limit comes first");
        let silent = check(Tier::LocalPractice, None, 8.0);
        assert_eq!(of(vec![silent, mandatory()]), Some(0.8), "a limit without a value decides not");
    }

    #[test]
    fn unknown_stands_behind_what_is_above_and_before_what_is_within() {
        let above = case(vec![check(Tier::Mandatory, Some(15.0), 15.0)]).sort_share();
        let unknown = case(Vec::new()).sort_share();
        let within = case(vec![check(Tier::Mandatory, Some(14.999_999), 15.0)]).sort_share();
        assert!(above > unknown && unknown > within);
    }

    #[test]
    fn bounds_at_the_limit_are_talked_about() {
        let of = |value| case(vec![check(Tier::Mandatory, Some(value), 15.0)]);
        assert!(of(15.4).for_discussion() && of(14.6).for_discussion());
        assert!(!of(14.4).for_discussion() && !case(Vec::new()).for_discussion());
        assert_eq!(of(14.6).flags(), [Flag::Straddles]);
        let mut one_sided = check(Tier::Mandatory, Some(14.0), 15.0);
        one_sided.high = None;
        let case = case(vec![one_sided]);
        assert!(case.for_discussion(), "at least 14 Gy may be more");
        assert_eq!(case.flags(), [Flag::OneSided]);
    }
}
