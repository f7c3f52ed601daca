//! Which part a plan had in the treatment, by which rule that is known, and who counts in a study.
//! Rules are words of a list here, never sentences: prose is made where a table or a page is.

use strum::{EnumIter, EnumString, IntoStaticStr, VariantNames};

/// Which part a plan had in the treatment.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    EnumIter,
    EnumString,
    IntoStaticStr,
    VariantNames,
)]
#[strum(serialize_all = "snake_case")]
pub enum PlanRole {
    /// It was treated, by the rule that the reason names.
    Treated,
    /// It may have been treated.
    Candidate,
    /// Another version took its place.
    Superseded,
    /// The user says that it was not treated.
    NotTreated,
    /// It verifies another plan or a machine.
    Qa,
    /// There is no plan: the structures were drawn after a treatment.
    FollowUp,
    /// There is no plan.
    Unknown,
}

impl PlanRole {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Treated => {
                "treated: a treatment record or the user says so, or only its mark as approved, which is no proof of delivery; see plan_role_rule"
            }
            Self::Candidate => "perhaps treated: neither approval, record nor user says so",
            Self::Superseded => "replaced: another version of the plan was treated or is newer",
            Self::NotTreated => "not treated, as the user says",
            Self::Qa => "a plan of quality assurance, which verifies another plan or a machine",
            Self::FollowUp => {
                "no plan: a structure set drawn on images after a treatment, see table follow_up"
            }
            Self::Unknown => "there is no plan, only a dose or structures",
        }
    }

    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// The rule by which the part of a plan is known.
#[derive(EnumIter, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum RoleReason {
    /// The user says of this plan that it was treated.
    UserYes,
    /// The user says so of every plan of which nothing tells.
    UserYesToAll,
    /// A treatment record tells that dose was delivered by it.
    Recorded,
    /// It is marked as approved, and nothing stronger speaks for another version.
    Approved,
    /// Neither approval nor record nor user speaks for it.
    Unproven,
    /// It is marked as rejected, and neither record nor user speaks for it.
    Rejected,
    /// No rule tells it from another version.
    Indistinct,
    /// The user says that another version was treated.
    OtherByUser,
    /// A treatment record tells that another version was delivered.
    OtherRecorded,
    /// Another version is marked as approved.
    OtherApproved,
    /// It is marked as rejected and another version is not.
    OtherNotRejected,
    /// Another version was derived from it.
    #[strum(serialize = "other_derived_from_it")]
    Derived,
    /// Another version is newer.
    #[strum(serialize = "other_newer")]
    Newer,
    /// The user says of this plan that it was not treated.
    UserNo,
    /// The user says so of every plan of which nothing tells.
    UserNoToAll,
    /// It verifies another plan.
    Verifies,
    /// Its intent or geometry is no treatment of a patient.
    NoTreatment,
    /// The structures were drawn after a treatment, and no plan refers to them.
    DrawnLater,
    /// There is no plan.
    #[default]
    NoPlan,
}

impl RoleReason {
    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }

    /// The part that a plan has by it.
    #[must_use]
    pub const fn role(self) -> PlanRole {
        match self {
            Self::UserYes | Self::UserYesToAll | Self::Recorded | Self::Approved => {
                PlanRole::Treated
            }
            Self::Unproven | Self::Rejected | Self::Indistinct => PlanRole::Candidate,
            Self::OtherByUser
            | Self::OtherRecorded
            | Self::OtherApproved
            | Self::OtherNotRejected
            | Self::Derived
            | Self::Newer => PlanRole::Superseded,
            Self::UserNo | Self::UserNoToAll => PlanRole::NotTreated,
            Self::Verifies | Self::NoTreatment => PlanRole::Qa,
            Self::DrawnLater => PlanRole::FollowUp,
            Self::NoPlan => PlanRole::Unknown,
        }
    }

    /// Whether the user decided it.
    #[must_use]
    pub const fn is_of_user(self) -> bool {
        matches!(
            self,
            Self::UserYes
                | Self::UserYesToAll
                | Self::UserNo
                | Self::UserNoToAll
                | Self::OtherByUser
        )
    }

    /// The rule in words; empty where there is no plan.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::UserYes => "the user says that it was treated",
            Self::UserYesToAll => "the user says so of all plans of which nothing else tells",
            Self::Recorded => "a treatment record tells of its delivery",
            Self::Approved => "marked as approved, no treatment record",
            Self::Unproven => "not marked as approved, no treatment record",
            Self::Rejected => "marked as rejected, no treatment record",
            Self::Indistinct => "no rule tells it from another version",
            Self::OtherByUser => "the user says that another version was treated",
            Self::OtherRecorded => "a treatment record tells of the delivery of another version",
            Self::OtherApproved => "another version is marked as approved",
            Self::OtherNotRejected => "marked as rejected, another version is not",
            Self::Derived => "another version was derived from it",
            Self::Newer => "another version is newer",
            Self::UserNo => "the user says that it was not treated",
            Self::UserNoToAll => "the user says no of all plans of which nothing else tells",
            Self::Verifies => "it verifies another plan",
            Self::NoTreatment => "it is no treatment of a patient",
            Self::DrawnLater => "drawn on images after a treatment; no plan refers to it",
            Self::NoPlan => "",
        }
    }
}

/// Whether a plan counts in a study, as far as its part in the treatment goes.
///
/// The one rule, for tables, papers, relations, pages and questions:
///
/// - A plan that was treated counts, and so does a dose without a plan, of which nothing can be
///   asked.
/// - A plan of which nothing tells (no approval, no record, no word of the user) counts as long as
///   no other plan of its patient is known to have been treated: many exports never state an
///   approval, and leaving all plans out would be the greater error. Where another plan of the
///   patient is known to have been treated, a plan that lacks the mark is more likely a trial: it
///   does not count. In either case the user is asked, and the answer decides.
/// - Superseded plans, plans that the user says were not treated, plans of quality assurance and
///   structures drawn after a treatment do not count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// It counts.
    Counts,
    /// It counts though nothing tells that it was treated; the user is asked.
    Presumed,
    /// It does not count as long as the user does not say that it was treated.
    Undecided,
    /// It does not count.
    Aside,
}

impl Standing {
    /// The standing of a plan of this part; `other_treated` when another plan of its patient is
    /// known to have been treated.
    #[must_use]
    pub const fn of(role: PlanRole, other_treated: bool) -> Self {
        match (role, other_treated) {
            (PlanRole::Treated | PlanRole::Unknown, _) => Self::Counts,
            (PlanRole::Candidate, false) => Self::Presumed,
            (PlanRole::Candidate, true) => Self::Undecided,
            (
                PlanRole::Superseded | PlanRole::NotTreated | PlanRole::Qa | PlanRole::FollowUp,
                _,
            ) => Self::Aside,
        }
    }

    /// Whether it counts.
    #[must_use]
    pub const fn counts(self) -> bool {
        matches!(self, Self::Counts | Self::Presumed)
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use strum::IntoEnumIterator;

    use super::*;

    #[test]
    fn every_rule_has_words_of_its_own_and_one_part() {
        let all = RoleReason::iter;
        let words: BTreeSet<&str> = all().map(RoleReason::words).collect();
        let codes: BTreeSet<&str> = all().map(RoleReason::word).collect();
        assert_eq!((words.len(), codes.len()), (all().count(), all().count()));
        for reason in all() {
            assert_eq!(reason.words().is_empty(), reason == RoleReason::NoPlan, "{reason:?}");
            assert!(!reason.role().word().is_empty(), "{reason:?}");
            let said = reason.words().contains("the user");
            assert_eq!(said, reason.is_of_user(), "{reason:?}");
            assert_eq!(reason.word().contains("user"), reason.is_of_user(), "{reason:?}");
        }
    }

    #[test]
    fn who_counts_depends_on_part_and_on_other_plans_of_the_patient() {
        use PlanRole::{Candidate, FollowUp, NotTreated, Qa, Superseded, Treated, Unknown};
        for other in [false, true] {
            assert!([Treated, Unknown].iter().all(|r| Standing::of(*r, other).counts()));
            let aside = [Superseded, NotTreated, Qa, FollowUp];
            assert!(aside.iter().all(|r| Standing::of(*r, other) == Standing::Aside));
        }
        assert_eq!(Standing::of(Candidate, false), Standing::Presumed);
        assert_eq!(Standing::of(Candidate, true), Standing::Undecided);
        assert!(!Standing::Undecided.counts());
    }
}
