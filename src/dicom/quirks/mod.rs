//! Deviations from the standard that real archives hold, one file each where the rule is more than
//! a line: what the standard says (clause), what files do, what is done about it, and the code of
//! the finding. Must not open files.

pub(super) mod withheld_name;

use crate::finding::Code;

/// One deviation and how it is met.
#[derive(Debug, Clone, Copy)]
pub struct Quirk {
    /// Clause of the DICOM standard it departs from.
    pub clause: &'static str,
    /// What files do.
    pub seen: &'static str,
    /// What is done about it.
    pub done: &'static str,
    /// The finding that tells the user.
    pub code: Code,
}
