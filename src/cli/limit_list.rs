//! `limits`: writes a list of dose limits for a committee to fill in. What is in it and how it is read
//! is the matter of `tidydose-table`.

use super::args::LimitList;
use super::fault::Fault;
use super::outcome::Outcome;
use super::terminal::Terminal;
use tidydose_table::run::CAUTION;
use tidydose_table::user::limits::{built_in, write_list, write_template};

/// Runs the command.
///
/// # Errors
/// When the file is there already, or cannot be written.
pub(super) fn run(typed: &LimitList, terminal: &Terminal) -> Result<Outcome, Fault> {
    let path = &typed.file;
    if path.exists() {
        return Err(Fault::folder(path, "is there already; name a new file"));
    }
    if typed.program_list {
        let list = built_in()?;
        write_list(path, &list)?;
        let off = list.iter().filter(|listed| !listed.in_use).count();
        terminal.say(&format!(
            "{}: {} limits, {off} of them off (in_use no): not yet checked against the source. \
             {CAUTION}",
            path.display(),
            list.len()
        ));
    } else {
        write_template(path)?;
        terminal.say(&format!(
            "{}: a list to fill in, with examples that are not in use. {CAUTION}",
            path.display()
        ));
    }
    Ok(Outcome::Complete)
}
