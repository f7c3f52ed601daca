//! Ctrl-C sets a flag: what is being worked on is finished, the rest is not begun. A second Ctrl-C
//! ends the program at once; every file is then whole, old or new.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use super::fault::Fault;

/// Exit code of a run that was ended by force.
const FORCED: i32 = 2;

/// The flag which Ctrl-C raises.
///
/// # Errors
/// When the system refuses a handler.
pub(super) fn stop_flag() -> Result<Arc<AtomicBool>, Fault> {
    let flag = Arc::new(AtomicBool::new(false));
    let raised = Arc::clone(&flag);
    ctrlc::set_handler(move || {
        if raised.swap(true, Ordering::SeqCst) {
            std::process::exit(FORCED);
        }
    })
    .map_err(|e| Fault::System(format!("cannot listen to Ctrl-C: {e}")))?;
    Ok(flag)
}
