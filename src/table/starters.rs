//! Two scripts in the folder of a study that read its tables with types, units and labels, for pandas
//! and for R. They take these from the dictionary of the study, so that they fit every table, also one
//! whose columns the user chose.

use std::path::Path;

use super::write_file::{WriteError, replace_file};

/// Each script with the name of its file.
pub const FILES: [(&str, &str); 2] = [
    ("read_tables.py", include_str!("starters/read_tables.py")),
    ("read_tables.R", include_str!("starters/read_tables.R")),
];

/// Writes the scripts into the folder of a study.
///
/// # Errors
/// When a file cannot be written.
pub fn write_starters(folder: &Path) -> Result<(), WriteError> {
    for (name, text) in FILES {
        replace_file(&folder.join(name), |output| output.write_all(text.as_bytes()))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::CAUTION;

    #[test]
    fn both_scripts_are_written_and_say_what_they_are_not_for() {
        let folder = tempfile::tempdir().unwrap();
        write_starters(folder.path()).unwrap();
        for (name, _) in FILES {
            let text = std::fs::read_to_string(folder.path().join(name)).unwrap();
            let words: Vec<&str> = text.split_whitespace().filter(|w| *w != "#").collect();
            assert!(words.join(" ").contains(CAUTION), "{name}");
        }
    }
}
