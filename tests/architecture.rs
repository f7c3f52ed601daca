//! The rules of DEVELOPERS.md that neither the compiler nor a lint holds. Who may use whom is held by
//! the manifests of the rooms; here stands the table that they are compared with, so that a new line
//! in a manifest is a decision and no accident.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Each room, a crate in the folder of its name, with the rooms it may use. Every room stands below
/// those it uses.
const MAY_USE: &[(&str, &[&str])] = &[
    ("geometry", &[]),
    ("rt", &["geometry"]),
    ("dicom", &["geometry", "rt"]),
    ("case", &["geometry", "rt"]),
    ("dose", &["geometry", "rt"]),
    ("metrics", &["geometry", "rt", "dose"]),
    ("analyse", &["geometry", "rt", "case", "dose", "metrics"]),
    ("table", &["geometry", "rt", "case", "metrics", "analyse"]),
    ("ask", &["rt", "table"]),
    ("statistics", &[]),
    ("figure", &[]),
    ("relate", &["rt", "table", "statistics", "figure"]),
    ("paper", &["rt", "table", "statistics", "figure"]),
    ("report", &["rt", "table", "statistics"]),
    (
        "cli",
        &[
            "rt", "dicom", "case", "dose", "metrics", "analyse", "table", "ask", "relate", "paper",
            "report",
        ],
    ),
];

/// Files longer than this hold more than one idea.
const LINES: usize = 600;
/// `main.rs` reads as the program.
const MAIN_LINES: usize = 60;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn rust_files(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            rust_files(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

/// Every source file below `folders`, as a path from the root with `/`, with its text.
fn sources(folders: &[&str]) -> BTreeMap<String, String> {
    let mut files = Vec::new();
    for folder in folders {
        rust_files(&root().join(folder), &mut files);
    }
    let named = files.into_iter().map(|path| {
        let parts = path.strip_prefix(root()).unwrap().components();
        let name: Vec<_> = parts.map(|c| c.as_os_str().to_str().unwrap().to_owned()).collect();
        (name.join("/"), fs::read_to_string(&path).unwrap())
    });
    named.collect()
}

/// The room that a file below `src/` belongs to.
fn room(file: &str) -> &str {
    file.split('/').nth(1).unwrap_or_default()
}

/// The crates that a manifest names under `[dependencies]`.
fn dependencies(manifest: &Path) -> BTreeSet<String> {
    let text = fs::read_to_string(manifest).unwrap();
    let (_, after) = text.split_once("[dependencies]\n").unwrap();
    let section = after.split("\n[").next().unwrap();
    let names = section.lines().filter_map(|line| line.split(['.', ' ', '=']).next());
    names.filter(|name| !name.is_empty() && !name.starts_with('#')).map(str::to_owned).collect()
}

/// The modules with a file of their own that only tests see, with their room.
fn only_in_tests(sources: &BTreeMap<String, String>) -> BTreeSet<(String, String)> {
    let mut modules = BTreeSet::new();
    for (file, text) in sources {
        for part in text.split("#[cfg(test)]\n").skip(1) {
            let head = part.lines().find(|line| !line.starts_with("#[")).unwrap_or_default();
            let name = head.strip_suffix(';').and_then(|head| head.split("mod ").nth(1));
            modules.extend(name.map(|name| (room(file).to_owned(), name.to_owned())));
        }
    }
    modules
}

/// The files outside the named rooms whose code names one of the words: without comments and without
/// tests.
fn strangers(words: &[&str], rooms: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    let sources = sources(&["src"]);
    let tests = only_in_tests(&sources);
    for (file, text) in sources {
        let name = Path::new(&file).file_stem().unwrap().to_string_lossy().into_owned();
        let is_test = tests.contains(&(room(&file).to_owned(), name));
        if is_test || rooms.contains(&room(&file)) || file == "src/main.rs" {
            continue;
        }
        let code = text.split("#[cfg(test)]\nmod tests").next().unwrap();
        for line in code.lines().filter(|line| !line.trim_start().starts_with("//")) {
            for word in words.iter().filter(|word| line.contains(*word)) {
                found.push(format!("{file}: {word}"));
            }
        }
    }
    found
}

#[test]
fn rooms_use_only_rooms_above_them() {
    let mut rooms = BTreeSet::new();
    for entry in fs::read_dir(root().join("src")).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            assert!(path.join("Cargo.toml").is_file(), "{} is no crate", path.display());
            rooms.insert(path.file_name().unwrap().to_string_lossy().into_owned());
        }
    }
    let listed: BTreeSet<String> = MAY_USE.iter().map(|(room, _)| (*room).to_owned()).collect();
    assert_eq!(rooms, listed);
    for (place, (room, may_use)) in MAY_USE.iter().enumerate() {
        let used: BTreeSet<String> =
            dependencies(&root().join("src").join(room).join("Cargo.toml"))
                .iter()
                .filter_map(|name| Some(name.strip_prefix("tidydose-")?.to_owned()))
                .collect();
        let allowed: BTreeSet<String> = may_use.iter().map(|name| (*name).to_owned()).collect();
        assert_eq!(used, allowed, "the manifest of {room}");
        for name in *may_use {
            let above = MAY_USE[..place].iter().any(|(earlier, _)| earlier == name);
            assert!(above, "{room} uses {name}, which does not stand above it");
        }
    }
}

#[test]
fn dicom_crates_belong_to_one_room_only() {
    for (room, _) in MAY_USE {
        let used = dependencies(&root().join("src").join(room).join("Cargo.toml"));
        let dicom = used.iter().any(|name| name.starts_with("dicom-"));
        assert_eq!(dicom, *room == "dicom", "{room}");
    }
    for (file, text) in sources(&["tests"]) {
        let named = ["dicom_core", "dicom_object", "dicom_encoding", "dicom_dictionary_std"]
            .iter()
            .any(|name| text.contains(&format!("use {name}")));
        assert!(!named || file.starts_with("tests/phantom/"), "{file} names a DICOM crate");
    }
}

/// The head of a quirk says what a reader of the code needs, and names a finding that exists.
#[test]
fn every_quirk_names_clause_practice_rule_and_finding() {
    let quirks = sources(&["src/dicom/quirks"]);
    assert!(quirks.len() > 5, "{:?}", quirks.keys());
    let codes: Vec<String> =
        tidydose_rt::finding::Code::ALL.iter().map(|code| format!("`{code:?}`")).collect();
    for (file, text) in quirks.iter().filter(|(file, _)| !file.ends_with("/mod.rs")) {
        for word in ["Clause: PS3.", "Files do: ", "We do: ", "Finding: ", "Strict: "] {
            assert!(text.contains(&format!("\n//! {word}")), "{file} does not say {word}");
        }
        let told = text.split("\n//! Finding: ").nth(1).unwrap_or_default();
        assert!(codes.iter().any(|code| told.starts_with(code)), "{file} names no finding");
    }
}

#[test]
fn only_three_rooms_open_files() {
    let words = ["fs::", "File::open", "File::create", "OpenOptions", "WalkDir"];
    assert_eq!(strangers(&words, &["dicom", "table", "cli"]), Vec::<String>::new());
}

#[test]
fn clock_environment_and_chance_stay_outside_the_results() {
    let words = ["SystemTime", "Instant::now", "Utc::now", "Local::now", "getrandom", "env::var"];
    assert_eq!(strangers(&words, &["cli"]), Vec::<String>::new());
    // The clock of the stages is read by whoever asks for timings, and by nobody else.
    let timed = strangers(&["ThreadTime", "ProcessTime"], &["cli"]);
    assert!(timed.iter().all(|line| line.starts_with("src/analyse/stage.rs: ")), "{timed:#?}");
}

/// Tests too: what a system does otherwise stands in one file.
#[test]
fn one_file_names_operating_systems() {
    let words = ["std::os::", "cfg(unix", "cfg(windows", "(not(unix", "target_os", "cfg!("];
    for (file, text) in sources(&["src"]).iter().filter(|(f, _)| *f != "src/table/system.rs") {
        for word in words {
            assert!(!text.contains(word), "{file} names {word}");
        }
    }
}

#[test]
fn nothing_speaks_to_a_network() {
    assert_eq!(strangers(&["net::", "TcpStream", "UdpSocket"], &[]), Vec::<String>::new());
    // The lock file also names what no feature switches on; the tree is what is built.
    let output = std::process::Command::new(env!("CARGO"))
        .args(["tree", "--locked", "--offline", "--edges", "normal", "--prefix", "none"])
        .current_dir(root())
        .output()
        .unwrap();
    let tree = String::from_utf8(output.stdout).unwrap();
    let built: BTreeSet<&str> = tree.lines().filter_map(|l| l.split(' ').next()).collect();
    assert!(built.contains("polars-parquet"), "{}", String::from_utf8_lossy(&output.stderr));
    for stack in ["reqwest", "hyper", "ureq", "curl", "rustls", "openssl", "native-tls"] {
        assert!(!built.contains(stack), "{stack} is built into the program");
    }
}

/// The crates that are built for these kinds of dependencies, each with its features.
fn built(edges: &str) -> BTreeSet<String> {
    let output = std::process::Command::new(env!("CARGO"))
        .args(["tree", "--locked", "--offline", "--prefix", "none", "--format", "{p} {f}"])
        .args(["--edges", edges])
        .current_dir(root())
        .output()
        .unwrap();
    let tree = String::from_utf8(output.stdout).unwrap();
    let crates = tree.lines().map(|line| line.trim_end_matches(" (*)").trim_end());
    crates.filter(|line| !line.is_empty()).map(str::to_owned).collect()
}

/// A feature that only tests switch on would build its crate, and all that rest on it, once more.
#[test]
fn what_the_program_is_built_of_serves_its_tests() {
    let (program, tests) = (built("normal,build"), built("normal,build,dev"));
    let has = |crates: &BTreeSet<String>, name: &str| crates.iter().any(|c| c.starts_with(name));
    assert!(has(&program, "polars-arrow v") && !has(&program, "proptest v"));
    assert!(has(&tests, "proptest v"));
    assert_eq!(program.difference(&tests).collect::<Vec<_>>(), Vec::<&String>::new());
}

#[test]
fn files_are_short_named_by_what_they_hold_and_say_what_they_are_for() {
    let mut wrong = Vec::new();
    for (file, text) in sources(&["src", "tests"]) {
        let lines = text.lines().count();
        if lines > LINES {
            wrong.push(format!("{file} has {lines} lines, {LINES} are accepted"));
        }
        if !text.starts_with("//! ") {
            wrong.push(format!("{file} does not open with what it is for"));
        }
        for part in file.trim_end_matches(".rs").split('/') {
            if ["util", "utils", "helper", "helpers", "common", "misc"].contains(&part) {
                wrong.push(format!("{file} is named by nothing it holds"));
            }
        }
        if let Some((n, _)) =
            text.lines().enumerate().find(|(_, l)| l.contains(concat!("#[", "ignore")))
        {
            wrong.push(format!("{file}:{} ignores a test", n + 1));
        }
    }
    let main = fs::read_to_string(root().join("src/main.rs")).unwrap().lines().count();
    if main > MAIN_LINES {
        wrong.push(format!("src/main.rs has {main} lines, {MAIN_LINES} are accepted"));
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
