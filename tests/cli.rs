//! The program as a person meets it: help, exit codes, what goes to stdout and what to stderr, and
//! what is left behind on the disk.

use std::fs;
use std::path::Path;

use assert_cmd::Command;

/// The program in `place`.
fn tidydose(place: &Path) -> Command {
    let mut command = Command::cargo_bin("tidydose").unwrap();
    command.current_dir(place);
    command
}

/// Exit code, stdout and stderr of a run in `place`.
fn ran(place: &Path, arguments: &[&str]) -> (i32, String, String) {
    let output = tidydose(place).args(arguments).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

#[test]
fn help_goes_to_stdout_with_examples_and_the_caution() {
    let place = tempfile::tempdir().unwrap();
    for arguments in [&["--help"][..], &["survey", "--help"], &["measure", "--help"]] {
        let (code, out, err) = ran(place.path(), arguments);
        assert_eq!((code, err.as_str()), (0, ""));
        assert!(out.contains("Examples:"), "{out}");
        let dense = out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            dense.contains(
                "Research and quality review only, not for treatment decisions; local protocol \
                 and licensed practice decide."
            ),
            "{out}"
        );
        assert!(!out.contains('\u{1b}'), "no colour codes");
    }
    let (code, out, _) = ran(place.path(), &["--version"]);
    assert_eq!((code, out.trim()), (0, concat!("tidydose ", env!("CARGO_PKG_VERSION"))));
}

#[test]
fn bad_arguments_are_2_and_say_what_is_accepted() {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("a")).unwrap();
    for (arguments, expected) in [
        (&[][..], "Usage"),
        (&["survey"], "<ARCHIVE>"),
        (&["mesure", "a"], "measure"),
        (&["survey", "a", "--jobs", "0"], "--jobs"),
        (&["measure", "a", "--metrics", "Dmax"], "D{x}%[Gy]"),
        (&["measure", "a", "--interpolation", "magic"], "one of cubic_b_spline"),
        (&["measure", "a", "--ends", "magic"], "half_slice"),
    ] {
        let (code, out, err) = ran(place.path(), arguments);
        assert_eq!((code, out.as_str()), (2, ""), "{arguments:?}");
        assert!(err.contains(expected), "{arguments:?}: {err}");
    }
    assert_eq!(fs::read_dir(place.path()).unwrap().count(), 1, "nothing was written");
}

#[test]
fn a_missing_folder_is_2_and_leaves_nothing_behind() {
    let place = tempfile::tempdir().unwrap();
    for command in ["survey", "measure"] {
        let (code, out, err) = ran(place.path(), &[command, "nowhere"]);
        assert_eq!((code, out.as_str()), (2, ""));
        assert!(err.contains("nowhere"), "{err}");
    }
    assert_eq!(fs::read_dir(place.path()).unwrap().count(), 0);
}

#[test]
fn an_empty_folder_is_1_with_a_finding() {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("a")).unwrap();
    let (code, out, _) = ran(place.path(), &["survey", "a"]);
    assert_eq!(code, 1);
    assert!(out.contains("archive-empty"), "{out}");
    let findings = fs::read_to_string(place.path().join("study/tables/findings.csv")).unwrap();
    assert!(findings.contains("archive-empty"), "{findings}");
    let (code, out, err) = ran(place.path(), &["measure", "a"]);
    assert_eq!((code, out.as_str()), (1, ""));
    assert!(err.contains("0 of 0 cases measured"), "{err}");
    let run = fs::read_to_string(place.path().join("study/run.json")).unwrap();
    assert!(run.contains("\"complete\": true") && run.contains("\"caution\""), "{run}");
}

#[test]
fn quiet_is_quiet() {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("a")).unwrap();
    let (_, out, err) = ran(place.path(), &["measure", "a", "--quiet"]);
    assert_eq!((out.as_str(), err.as_str()), ("", ""));
}

#[test]
fn a_folder_with_other_things_is_not_written_to() {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("a")).unwrap();
    fs::create_dir(place.path().join("letters")).unwrap();
    fs::write(place.path().join("letters/one.txt"), "dear").unwrap();
    let (code, _, err) = ran(place.path(), &["measure", "a", "--study", "letters"]);
    assert_eq!(code, 2);
    assert!(err.contains("neither empty nor a study"), "{err}");
    assert_eq!(fs::read_dir(place.path().join("letters")).unwrap().count(), 1);
    assert!(!place.path().join("letters-key").exists());
}

#[test]
fn the_key_is_kept_apart_and_a_study_without_its_key_is_refused() {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("a")).unwrap();
    ran(place.path(), &["survey", "a"]);
    let key = place.path().join("study-key/key.txt");
    let secret = fs::read_to_string(&key).unwrap();
    assert_eq!(secret.trim().len(), 64);
    ran(place.path(), &["survey", "a"]);
    assert_eq!(fs::read_to_string(&key).unwrap(), secret, "the key is used again");
    let (code, _, err) = ran(place.path(), &["survey", "a", "--keep-ids"]);
    assert_eq!(code, 2);
    assert!(err.contains("pseudonymous"), "{err}");
    fs::write(&key, "abc").unwrap();
    let (code, _, err) = ran(place.path(), &["survey", "a"]);
    assert_eq!(code, 2);
    assert!(err.contains("is damaged: found 3 characters, expected 64"), "{err}");
    fs::remove_file(&key).unwrap();
    let (code, _, err) = ran(place.path(), &["survey", "a"]);
    assert_eq!(code, 2);
    assert!(err.contains("its key does not"), "{err}");
}

#[test]
fn keeping_identifiers_warns_and_makes_no_key() {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("a")).unwrap();
    let (_, _, err) = ran(place.path(), &["survey", "a", "--keep-ids", "--quiet"]);
    assert!(err.contains("will be readable"), "{err}");
    assert!(!place.path().join("study-key").exists());
}

#[test]
fn a_fault_in_a_file_of_the_user_is_2_and_names_the_row() {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("a")).unwrap();
    ran(place.path(), &["survey", "a"]);
    let names = place.path().join("study/names.csv");
    let mut text = fs::read_to_string(&names).unwrap();
    text.push_str("Stem,,,1,,,,,orgn,\r\n");
    fs::write(&names, &text).unwrap();
    let (code, _, err) = ran(place.path(), &["measure", "a"]);
    assert_eq!(code, 2);
    assert!(err.contains("names.csv: row 2: role `orgn` is unknown"), "{err}");
    assert_eq!(fs::read_to_string(&names).unwrap(), text);
}

#[cfg(unix)]
#[test]
fn a_closed_pipe_is_a_normal_end() {
    use std::process::Stdio;
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("a")).unwrap();
    let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin("tidydose"))
        .args(["survey", "a"])
        .current_dir(place.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(1), "an empty archive, as with an open pipe");
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
}
