//! The words that closed columns of several tables may hold: roles, states of a value, units, and where
//! a prescription came from.

use tidydose_case::{PrescriptionBasis, Role};
use tidydose_metrics::Status;

/// Every role.
pub(super) const ALL_ROLES: [Role; 11] = [
    Role::Gtv,
    Role::Ctv,
    Role::Ptv,
    Role::Target,
    Role::TargetSum,
    Role::Organ,
    Role::Prv,
    Role::External,
    Role::Helper,
    Role::Marker,
    Role::Unknown,
];

/// Words of the roles.
pub(super) fn role_words() -> Vec<&'static str> {
    ALL_ROLES.iter().map(|r| r.word()).collect()
}

/// The role with this word, in any case of letters.
pub(super) fn role(word: &str) -> Option<Role> {
    ALL_ROLES.into_iter().find(|r| r.word().eq_ignore_ascii_case(word))
}

/// Every status word.
pub(super) fn status_words() -> Vec<&'static str> {
    Status::WORDS.iter().map(|(_, word)| *word).collect()
}

/// Words for where a prescription came from.
pub(super) const PRESCRIPTION_BASES: &[&str] = &[
    PrescriptionBasis::User.word(),
    PrescriptionBasis::PlanStructure.word(),
    PrescriptionBasis::PlanOnly.word(),
    PrescriptionBasis::BeamDose.word(),
];

/// Unit symbols of the metrics.
pub(super) const UNITS: &[&str] = &["Gy", "cc", "%", "mm", "1", "Gy*cc", "%/mm", "cm2"];
