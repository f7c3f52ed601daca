//! The `tidydose` program.
fn main() {}
