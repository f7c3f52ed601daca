//! What happens when the system gives no more: a disk that is full, a folder that is read-only, a
//! ceiling of memory. The run ends with a message, what was there before is untouched, and the next
//! run goes on. Limits are those of the operating system, set by the shell that starts the program.
#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Command;

use crate::measured::rows_of;
use crate::phantom::large::Size;
use crate::resume::{DONE, Place, assert_same, program};

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
    // Where nothing is new nothing is written, and so a full disk is no matter.
    let (code, err) = limited(&place, &limit(too_little), "study");
    assert_eq!(code, Some(0), "{err}");
    assert_same(&place.result("study"), &calm);
    // A study that is there stays as it is when its tables have to be written again.
    fs::remove_file(place.path().join("study/.tables")).unwrap();
    let (code, _) = limited(&place, &limit(too_little), "study");
    assert_eq!(code, Some(2));
    assert_same(&place.result("study"), &calm);
}

/// Runs `measure` as a user without special rights; exit code and stderr.
fn unprivileged(place: &Place, study: &str) -> (Option<i32>, String) {
    // Nobody else may enter the folders above the program.
    let copy = place.path().join("program");
    fs::copy(program(), &copy).unwrap();
    fs::set_permissions(&copy, fs::Permissions::from_mode(0o755)).unwrap();
    let plain = place.command(study, &[]);
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
    fs::remove_file(&copy).unwrap();
    (output.status.code(), String::from_utf8(output.stderr).unwrap())
}

/// Changes the rights on everything below a path.
fn allow(rights: &str, path: &Path) {
    let done = Command::new("chmod").args(["-R", rights]).arg(path).status().unwrap();
    assert!(done.success());
}

#[test]
fn a_folder_that_is_read_only_is_named() {
    let place = Place::with(1);
    place.key("study");
    place.measure("study", &[]);
    let before = place.result("study");
    allow("a+rX", place.path());
    allow("a-w", &place.path().join("study"));
    let (code, err) = unprivileged(&place, "study");
    allow("u+w", place.path());
    assert_eq!(code, Some(2), "{err}");
    assert!(err.contains("study") && err.contains("ermission denied"), "{err}");
    assert_same(&place.result("study"), &before);
}

/// A dose that may not be read and a folder that may not be entered are named; the other patients
/// have the numbers that they have alone.
#[test]
fn what_may_not_be_read_is_named_and_costs_the_others_nothing() {
    let place = Place::with(3);
    place.key("alone");
    place.key("study");
    let archive = place.path().join("archive");
    let mut folders: Vec<_> = fs::read_dir(&archive).unwrap().map(|e| e.unwrap().path()).collect();
    folders.sort();
    let [first, second, third] = &folders[..] else { panic!("{folders:?}") };
    let dose = first.join("dose.dcm");
    allow("a+rwX", place.path());
    let set_rights = |rights: &str| [&dose, second].iter().for_each(|path| allow(rights, path));
    set_rights("a-rwx");
    let (code, err) = unprivileged(&place, "study");
    set_rights("a+rwX");
    assert_eq!(code, Some(DONE), "{err}");
    assert!(
        err.trim_end().lines().last().unwrap().starts_with("left out: 1 of 2 cases, "),
        "{err}"
    );
    for shown in ["dose.dcm", second.file_name().unwrap().to_str().unwrap()] {
        assert!(err.lines().any(|line| line.contains(shown)), "{shown}: {err}");
    }
    let table = |study: &str, name: &str| {
        let path = place.path().join(study).join("tables").join(name);
        rows_of(&fs::read_to_string(path).unwrap())
    };
    let unreadable = table("study", "findings.csv");
    let unreadable = unreadable.iter().filter(|row| row["code"] == "file-unreadable");
    assert_eq!(unreadable.count(), 2);
    let plans = table("study", "plans.csv");
    let measured = plans.iter().filter(|row| row["measured"] == "true");
    assert_eq!((plans.len(), measured.count()), (2, 1));
    [first, second].iter().for_each(|folder| fs::remove_dir_all(folder).unwrap());
    assert!(third.exists());
    place.measure("alone", &[]);
    let of_third = |study: &str| {
        let mut rows = table(study, "metrics.csv");
        let plan = &table("alone", "plans.csv")[0]["plan_id"];
        rows.retain(|row| row["plan_id"] == *plan);
        rows
    };
    assert!(of_third("alone").len() > 10);
    assert_eq!(of_third("study"), of_third("alone"));
}

/// A ceiling on address space, with which one case can be measured: so can ten, one after another.
#[test]
fn a_ceiling_of_memory_that_is_enough_for_one_case_is_enough_for_ten() {
    let size = Size { points: [96, 96, 80], ..Size::TINY };
    let run = |patients: usize| {
        let place = Place::of_size(patients, size);
        place.key("study");
        let (code, err) = limited(&place, &format!("ulimit -v {CEILING_KB}"), "study");
        assert_eq!(code, Some(DONE), "{patients} patients: {err}");
    };
    run(1);
    run(10);
}

/// Kilobytes of address space: threads with their stacks and arenas take the larger part.
const CEILING_KB: usize = 1_500_000;

/// What leads back to patients is for whoever made it alone.
#[test]
fn only_the_owner_may_read_the_key() {
    let place = Place::with(1);
    place.measure("calm", &[]);
    let key = place.path().join("calm-key");
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&key), 0o700);
    let files: Vec<_> = fs::read_dir(&key).unwrap().map(|e| e.unwrap().path()).collect();
    assert!(files.len() >= 2, "{files:?}");
    for file in files {
        assert_eq!(mode(&file), 0o600, "{}", file.display());
    }
}
