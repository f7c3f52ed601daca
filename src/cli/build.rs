//! Tells the program which commit it is built from, for `--version`; outside of a checkout of its own
//! it is not known.

use std::path::Path;
use std::process::Command;

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    // In somebody else's repository the commit would be theirs.
    let own = git(&["rev-parse", "--show-prefix"]).is_some_and(|prefix| prefix == "src/cli/");
    let commit = if own { git(&["rev-parse", "--short=12", "HEAD"]) } else { None };
    let commit = commit.unwrap_or_else(|| "unknown".to_owned());
    println!("cargo:rustc-env=TIDYDOSE_COMMIT={commit}");
    let log = git(&["rev-parse", "--path-format=absolute", "--git-path", "logs/HEAD"]);
    if let Some(log) = log.filter(|log| own && Path::new(log).is_file()) {
        println!("cargo:rerun-if-changed={log}");
    }
}

/// What git says; absent without git, without a checkout, or where it refuses.
fn git(arguments: &[&str]) -> Option<String> {
    let output = Command::new("git").args(arguments).output().ok()?;
    let said = String::from_utf8(output.stdout).ok()?;
    output.status.success().then(|| said.trim().to_owned())
}
