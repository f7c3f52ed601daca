//! The program as a person meets it: help, exit codes, what goes to stdout and what to stderr, and
//! what is left behind on the disk.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::path::Path;

use assert_cmd::Command;

use crate::measured::{TABLE_FILES, measured};

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
    let version = concat!("tidydose ", env!("CARGO_PKG_VERSION"), ", commit ");
    let commit = out.strip_prefix(version).and_then(|rest| rest.split(',').next()).unwrap();
    let known = commit.len() >= 12 && commit.chars().all(|c| c.is_ascii_hexdigit());
    assert!(code == 0 && (known || commit == "unknown"), "{out}");
    let run = fs::read_to_string(measured().study().join("run.json")).unwrap();
    let run: serde_json::Value = serde_json::from_str(&run).unwrap();
    assert_eq!(out.trim(), format!("{version}{commit}, numbers {}", run["numbers"]));
}

/// A window of 80 or of 100 columns: no line is longer, and no paragraph is broken in its middle.
#[test]
fn help_fills_the_window_without_orphan_lines() {
    let commands = [
        "survey",
        "measure",
        "ask",
        "review",
        "follow-up",
        "diff",
        "explain",
        "relate",
        "paper",
        "pool",
        "limits",
        "shell",
        "anonymise",
    ];
    for columns in [80, 100] {
        for command in commands.map(Some).into_iter().chain([None]) {
            let place = tempfile::tempdir().unwrap();
            let mut program = tidydose(place.path());
            program.env("COLUMNS", columns.to_string()).args(command).arg("--help");
            let text = String::from_utf8(program.output().unwrap().stdout).unwrap();
            let lines: Vec<&str> = text.lines().filter(|l| !l.starts_with("Usage:")).collect();
            let long = lines.iter().find(|line| line.chars().count() > columns);
            assert_eq!(long, None, "{command:?} in {columns} columns");
            for pair in lines.windows(2) {
                let next = pair[1].split(' ').next().unwrap_or_default();
                let ends = pair[0].is_empty() || pair[0].starts_with(' ') || next.is_empty();
                let room = pair[0].chars().count() + 1 + next.chars().count() <= columns;
                let broken = !ends && room && !pair[0].ends_with(':');
                assert!(!broken, "{command:?} in {columns} columns: {pair:?}");
            }
        }
    }
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
        (&["measure", "a", "--metrics", "Dmax"], "nearest: Max[Gy]"),
        (&["measure", "a", "--alpha-beta", "Foo=3"], "`Foo` is no standard name"),
        (&["measure", "a", "--interpolation", "magic"], "cubic_b_spline"),
        (&["measure", "a", "--ends", "magic"], "half_slice"),
        (&["measure", "a", "--limits", "none.csv"], "is no file"),
        (&["measure", "a", "--limits", "a", "--unchecked-limits"], "cannot be used with"),
        (&["measure", "a", "--target-inside-from", "0"], "up to 100"),
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
    let (code, out, err) = ran(place.path(), &["survey", "a"]);
    assert_eq!(code, 1);
    assert!(out.contains("archive-empty"), "{out}");
    assert!(err.contains("no case in 0 files"), "{err}");
    let findings = fs::read_to_string(place.path().join("study/tables/findings.csv")).unwrap();
    assert!(findings.contains("archive-empty"), "{findings}");
    let (code, out, err) = ran(place.path(), &["measure", "a"]);
    assert_eq!((code, out.as_str()), (1, ""));
    assert!(err.contains("0 of 0 cases measured"), "{err}");
    assert!(err.contains("check that this is the folder that was meant"), "{err}");
    let run = fs::read_to_string(place.path().join("study/run.json")).unwrap();
    assert!(run.contains("\"complete\": true") && run.contains("\"caution\""), "{run}");
    assert!(run.contains("\"program\": \"tidydose\""), "{run}");
    assert!(run.contains(concat!("computed with tidydose ", env!("CARGO_PKG_VERSION"))), "{run}");
}

/// What must be known stays: why the code is not 0, and what was left out.
#[test]
fn quiet_leaves_one_line_where_something_is_missing_and_none_where_nothing_is() {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("a")).unwrap();
    let (_, out, err) = ran(place.path(), &["measure", "a", "--quiet"]);
    assert_eq!(out, "");
    assert!(err.starts_with("tidydose: no case in 0 files") && err.lines().count() == 1, "{err}");
    let (code, out, err) = ran(place.path(), &["measure", &sample(), "--study", "b", "--quiet"]);
    assert_eq!((code, out.as_str()), (0, ""), "{err}");
    assert!(err.starts_with("left out: ") && err.lines().count() == 1, "{err}");
    let whole = format!("{}/LK-04_A", sample());
    let (code, out, err) = ran(place.path(), &["survey", &whole, "--study", "c", "--quiet"]);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
}

/// One damaged and one empty file among five cases: the run is complete. Only who asks for it gets
/// another exit code, and once somebody has decided nothing is asked any more.
#[test]
fn what_is_left_out_fails_a_run_only_when_asked_for() {
    let place = tempfile::tempdir().unwrap();
    let sample = sample();
    let (code, _, err) = ran(place.path(), &["survey", &sample, "--quiet"]);
    assert_eq!(code, 0, "{err}");
    let last = err.trim_end().lines().last().unwrap();
    assert!(last.contains("2 of 16 files") && last.contains("findings.csv"), "{err}");
    for (extra, expected, why) in [
        (&["--fail-on", "left-out"][..], 1, "left-out: 2 findings of severity stop"),
        (&["--fail-on", "check"], 1, "of check without a decision"),
        (&["--strict"], 0, ""),
        (&["--strict", "--fail-on", "left-out"], 1, "the strict run refuses"),
    ] {
        let (code, _, err) = ran(place.path(), &[&["survey", &sample], extra].concat());
        assert_eq!(code, expected, "{extra:?}: {err}");
        assert!(err.contains(why), "{extra:?}: {err}");
        let last = err.trim_end().lines().last().unwrap();
        assert!(last.starts_with("left out: "), "{extra:?}: {err}");
    }
    // Cases whose doses are all there, with things to look at.
    let case = format!("{sample}/../cobalt-unit");
    let fails = |on: &str| ran(place.path(), &["survey", &case, "--study", "b", "--fail-on", on]).0;
    assert_eq!([fails("left-out"), fails("check")], [0, 1]);
    let (code, _, err) = ran(place.path(), &["survey", &case, "--fail-on", "everything"]);
    assert!(code == 2 && err.contains("left-out, check"), "{err}");
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
    text.push_str("Stem,,,1,,,,,,,,,,,orgn,\r\n");
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
    let (code, _, err) = ran(place.path(), &["survey", "a"]);
    assert_eq!(output.status.code(), Some(code), "as with an open pipe");
    assert_eq!(String::from_utf8_lossy(&output.stderr), err);
}

#[test]
fn a_place_that_cannot_be_written_is_2() {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("a")).unwrap();
    fs::write(place.path().join("file"), "").unwrap();
    let (code, out, err) = ran(place.path(), &["measure", "a", "--study", "file/study"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains("study"), "{err}");
}

/// A part of the invented cohort: four cases, one of them damaged, and an empty file.
fn sample() -> String {
    format!("{}/sample-anonymised/robot-arm", env!("CARGO_MANIFEST_DIR"))
}

/// Every file below `folder` with its bytes, by name.
fn contents(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<_> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap())
        .map(|e| (e.file_name().into_string().unwrap(), fs::read(e.path()).unwrap()))
        .collect();
    files.sort();
    files
}

/// The rows of a table, each as text by column name.
fn rows(table: &Path) -> Vec<std::collections::BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_path(table).unwrap();
    reader.deserialize().map(Result::unwrap).collect()
}

#[test]
fn the_sample_is_measured_alike_with_one_job_and_with_three() {
    let place = tempfile::tempdir().unwrap();
    let sample = sample();
    let (code, out, err) = ran(place.path(), &["measure", &sample, "--jobs", "1"]);
    assert_eq!((code, out.as_str()), (0, ""), "{err}");
    assert!(err.contains("empty.dcm"), "{err}");
    let last = err.trim_end().lines().last().unwrap();
    assert!(last.starts_with("left out: 2 of 16 files, "), "damaged and empty: {err}");
    assert!(last.contains("study/tables/findings.csv"), "{err}");
    let study = place.path().join("study");
    let first = contents(&study.join("tables"));
    assert_eq!(first.len(), TABLE_FILES);
    ran(place.path(), &["measure", &sample, "--jobs", "3", "--quiet"]);
    assert!(contents(&study.join("tables")) == first);
    let metrics = rows(&study.join("tables/metrics.csv"));
    assert!(metrics.len() > 100);
    for row in &metrics {
        let none = row["value"].is_empty() && row["low"].is_empty() && row["high"].is_empty();
        assert!(!none || (row["status"] != "ok" && !row["reason"].is_empty()), "{row:?}");
        for cell in ["value", "low", "high"] {
            assert!(row[cell].is_empty() || row[cell].parse::<f64>().unwrap().is_finite());
        }
    }
}

/// The share of a value from which on its bounds are too wide is a setting: it stands in run.json,
/// moves no number, and decides which values count.
#[test]
fn how_wide_bounds_may_be_is_a_setting() {
    let place = tempfile::tempdir().unwrap();
    let sample = sample();
    let (code, out, err) = ran(place.path(), &["measure", &sample, "--uncertain-from", "0"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains("--uncertain-from") && err.contains("for example 50"), "{err}");
    let run = |percent: &str| {
        let study = place.path().join(format!("from-{percent}"));
        let study_text = study.to_string_lossy().into_owned();
        let basic = ["--metric-list", "basic", "--study", &study_text, "--quiet"];
        let own = ["measure", &sample, "--uncertain-from", percent];
        ran(place.path(), &[&own[..], &basic[..]].concat());
        let shown: serde_json::Value =
            serde_json::from_slice(&fs::read(study.join("run.json")).unwrap()).unwrap();
        assert_eq!(shown["settings"]["uncertain_from_percent"].as_f64(), percent.parse().ok());
        assert!(shown["method"].as_str().unwrap().contains(&format!("more than {percent} %")));
        (rows(&study.join("tables/metrics.csv")), rows(&study.join("tables/flow.csv")))
    };
    let ((strict, flow), (lenient, _)) = (run("1"), run("100000"));
    let uncertain = strict.iter().filter(|r| r["status"] == "uncertain").count();
    assert!(uncertain > 50, "{uncertain}");
    assert!(lenient.iter().all(|r| r["status"] != "uncertain"));
    let left_out = flow.iter().find(|r| r["grain"] == "value" && r["code"] == "uncertain");
    let left_out: usize = left_out.unwrap()["n"].parse().unwrap();
    assert!(left_out > 50 && left_out <= uncertain, "{left_out} of {uncertain}");
    // Pseudonyms of two studies differ; what they stand for does not.
    let digits = |table: &[std::collections::BTreeMap<String, String>]| {
        let cells = table.iter().map(|r| ["metric", "value", "low", "high"].map(|c| r[c].clone()));
        let mut all: Vec<_> = cells.collect();
        all.sort();
        all
    };
    assert_eq!(digits(&strict), digits(&lenient));
}

#[test]
fn no_identifier_leaves_the_key_folder() {
    let place = tempfile::tempdir().unwrap();
    ran(place.path(), &["measure", &sample(), "--quiet"]);
    let study = place.path().join("study");
    let key = rows(&place.path().join("study-key/patient_key.csv"));
    let objects = rows(&place.path().join("study-key/object_key.csv"));
    let paths = rows(&place.path().join("study-key/file_key.csv"));
    let mut secrets: Vec<String> = key.iter().map(|r| r["original_patient_id"].clone()).collect();
    secrets.extend(objects.iter().map(|r| r["sop_instance_uid"].clone()));
    secrets.extend(paths.iter().map(|r| r["path"].clone()));
    assert!(secrets.len() > 10 && secrets.iter().all(|s| s.len() >= 4), "{secrets:?}");
    let mut files = contents(&study.join("tables"));
    for own in [
        "run.json",
        "names.csv",
        "prescriptions.csv",
        "lesions.csv",
        "clinical_lesions.csv",
        "decisions.csv",
    ] {
        files.push((own.to_owned(), fs::read(study.join(own)).unwrap()));
    }
    for (name, bytes) in files.iter().filter(|(name, _)| !name.ends_with(".parquet")) {
        let text = String::from_utf8_lossy(bytes);
        for secret in &secrets {
            assert!(!text.contains(secret.as_str()), "{name} holds {secret}");
        }
    }
}

#[test]
fn a_decision_in_names_csv_is_followed_and_kept() {
    let place = tempfile::tempdir().unwrap();
    let sample = sample();
    ran(place.path(), &["survey", &sample, "--quiet"]);
    let path = place.path().join("study/names.csv");
    let proposed = fs::read_to_string(&path).unwrap();
    let name = &rows(&path)[0]["name_original"];
    let decided: String = proposed
        .split_inclusive("\r\n")
        .map(|line| match line.strip_prefix(&format!("{name},")) {
            Some(rest) => {
                let seen = rest.strip_suffix(",,,\r\n").unwrap();
                format!("{name},{seen},OpticChiasm,organ,sure\r\n")
            }
            None => line.to_owned(),
        })
        .collect();
    assert_ne!(decided, proposed);
    fs::write(&path, &decided).unwrap();
    ran(place.path(), &["measure", &sample, "--quiet"]);
    assert_eq!(fs::read_to_string(&path).unwrap(), decided);
    let structures = rows(&place.path().join("study/tables/structures.csv"));
    let own: Vec<_> = structures.iter().filter(|r| &r["name_original"] == name).collect();
    assert!(!own.is_empty());
    for row in own {
        assert_eq!((row["structure"].as_str(), row["role"].as_str()), ("OpticChiasm", "organ"));
        assert_eq!(row["name_basis"], "user");
    }
}

#[test]
fn completions_and_manual_pages_hold_every_command_and_option() {
    let place = tempfile::tempdir().unwrap();
    let (code, _, err) = ran(place.path(), &["shell", "made"]);
    assert_eq!(code, 0, "{err}");
    let read = |name: &str| fs::read_to_string(place.path().join("made").join(name)).unwrap();
    for (file, option) in [
        ("tidydose.bash", "--metric-list"),
        ("_tidydose", "--metric-list"),
        ("tidydose.fish", "-l metric-list"),
        ("_tidydose.ps1", "--metric-list"),
        ("tidydose.elv", "--metric-list"),
    ] {
        let text = read(file);
        assert!(text.contains("follow-up") && text.contains(option), "{file}");
    }
    let page = read("tidydose-measure.1");
    assert!(page.contains("metric\\-list") && page.contains("Research and quality review only"));
    assert!(read("tidydose.1").contains("tidydose\\-follow\\-up(1)"));
}

/// The lines of a run for scripts.
fn objects(said: &str) -> Vec<serde_json::Value> {
    said.lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|_| panic!("{line}")))
        .collect()
}

#[test]
fn a_script_reads_every_line_as_an_object_and_the_exit_code_at_the_end() {
    let place = tempfile::tempdir().unwrap();
    let archive = sample();
    let (code, _, err) = ran(place.path(), &["measure", &archive, "--json"]);
    let lines = objects(&err);
    let levels: Vec<&str> = lines.iter().map(|l| l["level"].as_str().unwrap()).collect();
    assert!(levels.contains(&"said") && levels.contains(&"result"), "{err}");
    assert!(lines.iter().all(|l| l["text"].as_str().is_some_and(|t| !t.is_empty())));
    let last = lines.last().unwrap();
    assert_eq!((last["level"].as_str(), last["text"].as_str()), (Some("end"), Some("complete")));
    assert_eq!((code, last["exit_code"].as_i64()), (0, Some(0)));
    // What cannot be done, and what is not accepted.
    for arguments in [&["ask", "--json", "no-such-question"][..], &["measure", "--json"]] {
        let (code, _, err) = ran(place.path(), arguments);
        let lines = objects(&err);
        assert_eq!((code, lines.len(), lines[0]["level"].as_str()), (2, 2, Some("error")), "{err}");
        assert_eq!(lines[1], serde_json::json!({"level": "end", "text": "failed", "exit_code": 2}));
    }
    // Data on stdout stay what they are.
    let question = ["ask", "organ-denominator", "--format", "csv", "--json", "--quiet"];
    let (_, out, err) = ran(place.path(), &question);
    assert!(out.contains("state,cases,patients") && objects(&err).len() == 1, "{out}{err}");
}
