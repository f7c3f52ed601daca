//! Deviations from the standard that real archives hold, one file each where the rule is more than
//! a line. Each file opens with what the standard says (clause), what files do, what is done about
//! it, and the code of the finding that tells the user. Must not open files.

pub(super) mod withheld_name;
