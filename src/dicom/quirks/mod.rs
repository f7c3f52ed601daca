//! Deviations from the standard that real archives hold, one file each where the rule is more than
//! a line. Each file opens with what the standard says (clause), what files do, what is done about
//! it, the code of the finding that tells the user, and what a strict run does. Must not open
//! files.

pub(super) mod cut_length;
pub(super) mod frame_pointer;
pub(super) mod meta_instance;
pub(super) mod stored_bits;
pub(super) mod trailing_bytes;
pub(super) mod unknown_representation;
pub(super) mod withheld_name;
