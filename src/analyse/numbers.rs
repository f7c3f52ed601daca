//! The version of the numbers: what was measured by a program of another version is not used again.

/// Raise it by one whenever a commit makes the same files, decisions and settings give another value,
/// bound, status, finding or word of a method: in reading, joining, geometry, dose, metrics or
/// analysis. What was kept by earlier programs is then measured again. A commit that moves nothing
/// leaves it as it is, and the kept work of a cohort stays good.
///
/// `tests/numbers_version.rs` fails when the numbers of the sample move without it.
pub const NUMBERS: u32 = 7;
