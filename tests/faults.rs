//! What happens when the system gives no more: a disk that is full, a folder that is read-only, a
//! ceiling of memory. The run ends with a message, what was there before is untouched, and the next
//! run goes on. Limits are those of the operating system, set by the shell that starts the program.
#![cfg(unix)]
#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::process::Command;

use crate::phantom::large::Size;
use crate::resume::{CLEAN, DONE, Place, assert_same, program};

/// Runs `measure` behind a line of shell that limits it; exit code and stderr.
fn limited(place: &Place, limit: &str, study: &str) -> (Option<i32>, String) {
    let plain = place.command(study, &["--jobs", "2"]);
    let mut shell = Command::new("sh");
    shell.current_dir(place.path()).args(["-c", &format!("{limit}; exec \"$@\""), "sh"]);
    let output = shell.arg(program()).args(plain.get_args()).output().unwrap();
    (output.status.code(), String::from_utf8(output.stderr).unwrap())
}

/// A file may not grow beyond a limit, which a write meets as on a full disk: first the parts do
/// not fit, then the parts do and a table does not.
#[test]
fn a_full_disk_ends_the_run_and_costs_nothing_that_was_done() {
    let place = Place::with(3);
    place.key("calm");
    place.measure("calm", &[]);
    let calm = place.result("calm");
    let size = |folder: &str| -> Vec<u64> {
        let entries = fs::read_dir(place.path().join(folder)).unwrap();
        entries.map(|e| e.unwrap().metadata().unwrap().len()).collect()
    };
    let (parts, tables) = (size("calm/cases"), size("calm/tables"));
    let (part, table) = (*parts.iter().max().unwrap(), *tables.iter().max().unwrap());
    assert!(part + 1024 < table, "a limit between {part} and {table} lets parts pass only");
    let too_little = parts.iter().min().unwrap() / 2;
    assert!(too_little > 2048, "the files of the key are to pass");
    place.key("study");
    // The limit counts blocks of 512 bytes; the signal that comes with it is to be ignored.
    let limit = |bytes: u64| format!("trap '' XFSZ; ulimit -f {}", bytes / 512);
    let (code, err) = limited(&place, &limit(too_little), "study");
    assert_eq!(code, Some(2), "{err}");
    assert!(err.contains("cannot write study/cases/"), "{err}");
    assert!(!place.path().join("study/tables").exists());
    let (code, err) = limited(&place, &limit(part + 512), "study");
    assert_eq!(code, Some(2), "{err}");
    assert!(err.contains("cannot write study/"), "{err}");
    assert!(!place.path().join("study/run.json").exists());
    let left: Vec<_> = fs::read_dir(place.path().join("study/tables"))
        .map(|list| list.map(|e| e.unwrap().file_name()).collect())
        .unwrap_or_default();
    assert!(left.is_empty(), "no table is there, whole or half: {left:?}");
    let (code, err) = place.measure("study", &[]);
    assert_eq!(code, DONE);
    assert!(err.contains("3 of the cases were finished before"), "{err}");
    assert_same(&place.result("study"), &calm);
    // A study that is there stays as it is.
    let (code, _) = limited(&place, &limit(too_little), "study");
    assert_eq!(code, Some(2));
    assert_same(&place.result("study"), &calm);
}

/// As a user without special rights, whom the system refuses to write.
#[test]
fn a_folder_that_is_read_only_is_named() {
    let place = Place::with(1);
    place.key("study");
    place.measure("study", &[]);
    let before = place.result("study");
    let tree = Command::new("chmod").args(["-R", "a+rX,a-w"]).arg(place.path()).status().unwrap();
    assert!(tree.success());
    let copy = place.path().parent().unwrap().join(format!("copy-{}", std::process::id()));
    fs::copy(program(), &copy).unwrap();
    fs::set_permissions(&copy, fs::Permissions::from_mode(0o755)).unwrap();
    let plain = place.command("study", &[]);
    let is_root = fs::metadata("/proc/self").is_ok_and(|m| {
        use std::os::unix::fs::MetadataExt;
        m.uid() == 0
    });
    let mut command = if is_root {
        let mut other = Command::new("setpriv");
        other.args(["--reuid=65534", "--regid=65534", "--clear-groups"]).arg(&copy);
        other
    } else {
        Command::new(&copy)
    };
    let output = command.current_dir(place.path()).args(plain.get_args()).output().unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    fs::remove_file(&copy).unwrap();
    let owner = Command::new("chmod").args(["-R", "u+w"]).arg(place.path()).status().unwrap();
    assert!(owner.success());
    assert_eq!(output.status.code(), Some(2), "{err}");
    assert!(err.contains("study") && err.contains("ermission denied"), "{err}");
    assert_same(&place.result("study"), &before);
}

/// A ceiling on address space, with which one case can be measured: so can ten, one after another.
#[test]
fn a_ceiling_of_memory_that_is_enough_for_one_case_is_enough_for_ten() {
    let size = Size { points: [96, 96, 80], ..Size::TINY };
    let run = |patients: usize| {
        let place = Place::of_size(patients, size);
        place.key("study");
        let (code, err) = limited(&place, &format!("ulimit -v {CEILING_KB}"), "study");
        assert_eq!(code, Some(CLEAN), "{patients} patients: {err}");
    };
    run(1);
    run(10);
}

/// Kilobytes of address space: threads with their stacks and arenas take the larger part.
const CEILING_KB: usize = 1_500_000;
