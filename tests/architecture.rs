//! Who may know whom, who may print and who may open files: the rules of DEVELOPERS.md that the
//! compiler does not check, read from the sources.
//!
//! Comments, texts in quotes and test code are left out before anything is looked for: tests inside
//! `src` may use more than the code beside them.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Each room of `src/lib.rs` with the rooms it may use. Every room stands below those it uses, so
/// the table cannot hold a cycle.
const MAY_USE: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("identity", &["units"]),
    ("finding", &["identity"]),
    ("geometry", &["units"]),
    ("rt", &["units", "identity", "geometry"]),
    ("dicom", &["units", "identity", "finding", "geometry", "rt"]),
    ("case", &["units", "identity", "finding", "rt"]),
    ("dose", &["units", "geometry", "rt"]),
    ("metrics", &["units", "geometry", "rt", "dose"]),
    ("limits", &["metrics"]),
    (
        "analyse",
        &["units", "identity", "finding", "geometry", "rt", "case", "dose", "metrics", "limits"],
    ),
    ("table", &["units", "identity", "finding", "rt", "case", "metrics", "limits", "analyse"]),
    ("ask", &["table"]),
    ("statistics", &[]),
    ("figure", &[]),
    ("relate", &["table", "statistics", "figure"]),
    ("paper", &["table", "statistics", "figure"]),
    ("report", &["table"]),
    (
        "cli",
        &[
            "units",
            "identity",
            "finding",
            "geometry",
            "rt",
            "dicom",
            "case",
            "dose",
            "metrics",
            "limits",
            "analyse",
            "table",
            "ask",
            "statistics",
            "relate",
            "paper",
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

/// The code of a file: comments and the insides of quotes become blanks, line breaks stay.
fn without_comments_and_texts(text: &str) -> String {
    let c: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let mut i = 0;
    while i < c.len() {
        let end = match (c[i], c.get(i + 1)) {
            ('/', Some('/')) => c[i..].iter().position(|&x| x == '\n').map_or(c.len(), |n| i + n),
            ('/', Some('*')) => end_of_block_comment(&c, i),
            ('"', _) => end_of_text(&c, i),
            ('r', Some('"' | '#')) if !i.checked_sub(1).is_some_and(|p| is_word(c[p])) => {
                end_of_raw_text(&c, i).unwrap_or(i + 1)
            }
            ('\'', Some('\\')) => i + 2 + c[i + 3..].iter().position(|&x| x == '\'').unwrap() + 2,
            ('\'', Some(_)) if c.get(i + 2) == Some(&'\'') => i + 3,
            _ => i + 1,
        };
        if end == i + 1 {
            out.push(c[i]);
        } else {
            out.extend(c[i..end].iter().map(|&x| if x == '\n' { '\n' } else { ' ' }));
        }
        i = end;
    }
    out
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

fn end_of_block_comment(c: &[char], start: usize) -> usize {
    let (mut depth, mut i) = (1, start + 2);
    while depth > 0 && i < c.len() {
        match (c[i], c.get(i + 1)) {
            ('/', Some('*')) => (depth, i) = (depth + 1, i + 2),
            ('*', Some('/')) => (depth, i) = (depth - 1, i + 2),
            _ => i += 1,
        }
    }
    i
}

fn end_of_text(c: &[char], start: usize) -> usize {
    let mut i = start + 1;
    while i < c.len() && c[i] != '"' {
        i += if c[i] == '\\' { 2 } else { 1 };
    }
    i + 1
}

fn end_of_raw_text(c: &[char], start: usize) -> Option<usize> {
    let hashes = c[start + 1..].iter().take_while(|&&x| x == '#').count();
    let open = start + 1 + hashes;
    if c.get(open) != Some(&'"') {
        return None;
    }
    let closes = |i: usize| c[i] == '"' && c[i + 1..].iter().take(hashes).all(|&x| x == '#');
    (open + 1..c.len()).find(|&i| closes(i)).map(|i| i + 1 + hashes)
}

/// `src` without comments, texts and test code: the files named by `#[cfg(test)] mod name;` are
/// left out, the rest of a file after `#[cfg(test)]` and `mod tests {` too.
fn plain_code() -> BTreeMap<String, String> {
    let all = sources(&["src"]);
    let stripped: BTreeMap<_, _> =
        all.iter().map(|(name, text)| (name.clone(), without_comments_and_texts(text))).collect();
    let mut of_tests = BTreeSet::new();
    for (name, code) in &stripped {
        for after in code.split("#[cfg(test)]").skip(1) {
            let Some(module) = after.trim_start().strip_prefix("mod ") else { continue };
            let module: String = module.chars().take_while(|&x| is_word(x)).collect();
            let folder = match name.strip_suffix("/mod.rs") {
                Some(folder) => folder,
                None => name.strip_suffix(".rs").unwrap(),
            };
            of_tests.insert(format!("{folder}/{module}.rs"));
        }
    }
    let plain = stripped.into_iter().filter(|(name, _)| !of_tests.contains(name));
    plain.map(|(name, code)| (name, before_inline_tests(&code))).collect()
}

fn before_inline_tests(code: &str) -> String {
    let mut from = 0;
    while let Some(at) = code[from..].find("#[cfg(test)]") {
        let after = code[from + at + "#[cfg(test)]".len()..].trim_start();
        let opens = after.split_once('{').is_some_and(|(head, _)| !head.contains(';'));
        if after.starts_with("mod ") && opens {
            return code[..from + at].to_owned();
        }
        from += at + 1;
    }
    code.to_owned()
}

/// The room that a file belongs to; none for `lib.rs` and `main.rs`.
fn room(file: &str) -> Option<&str> {
    let name = file.strip_prefix("src/")?;
    let first = name.split('/').next()?;
    let room = first.strip_suffix(".rs").unwrap_or(first);
    (room != "lib" && room != "main").then_some(room)
}

/// How many `super` lead from a file to the root of the crate.
fn depth(file: &str) -> usize {
    let below = file.trim_start_matches("src/");
    below.split('/').count() - usize::from(below.ends_with("/mod.rs"))
}

/// The first names after `prefix` in `code`, groups in braces taken apart.
fn names_after(code: &str, prefix: &str) -> Vec<String> {
    let mut names = Vec::new();
    for (at, _) in code.match_indices(prefix) {
        let before = code[..at].chars().next_back();
        if before.is_some_and(|c| is_word(c) || c == ':') {
            continue;
        }
        let after = &code[at + prefix.len()..];
        let Some(group) = after.strip_prefix('{') else {
            names.push(after.chars().take_while(|&x| is_word(x)).collect());
            continue;
        };
        let mut level = 0;
        let mut word = String::new();
        let mut fresh = true;
        for c in group.chars() {
            match c {
                '{' => level += 1,
                '}' if level == 0 => break,
                '}' => level -= 1,
                ',' if level == 0 => {
                    names.push(std::mem::take(&mut word));
                    fresh = true;
                    continue;
                }
                _ => {}
            }
            fresh &= is_word(c) || (c.is_whitespace() && word.is_empty());
            if fresh && !c.is_whitespace() {
                word.push(c);
            }
        }
        names.push(word);
    }
    names.retain(|n| !n.is_empty());
    names
}

/// The rooms that the code of a file names.
fn rooms_used(file: &str, code: &str) -> BTreeSet<String> {
    let mut used: BTreeSet<String> = names_after(code, "crate::").into_iter().collect();
    used.extend(names_after(code, &"super::".repeat(depth(file))));
    used.retain(|name| MAY_USE.iter().any(|(room, _)| room == name));
    used
}

/// Whether `code` holds `wanted` as whole words.
fn has(code: &str, wanted: &str) -> bool {
    code.match_indices(wanted).any(|(at, _)| {
        let before = code[..at].chars().next_back();
        let after = code[at + wanted.len()..].chars().next();
        let open_end = wanted.ends_with(|c| !is_word(c));
        !before.is_some_and(is_word) && (open_end || !after.is_some_and(is_word))
    })
}

/// The files, outside the named rooms, that hold one of the words.
fn strangers(words: &[&str], rooms: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    for (file, code) in plain_code() {
        if room(&file).is_some_and(|r| !rooms.contains(&r)) {
            let words = words.iter().filter(|w| has(&code, w));
            found.extend(words.map(|w| format!("{file}: {w}")));
        }
    }
    found
}

#[test]
fn the_reader_of_sources_sees_code_only() {
    let code = without_comments_and_texts(
        "use crate::a; // crate::b\nlet x = \"crate::c \\\" crate::d\"; /* crate::e /* */ crate::f \
         */ r#\"crate::g\"# 'x' '\\'' crate::h",
    );
    assert_eq!(names_after(&code, "crate::"), ["a", "h"]);
    assert_eq!(names_after("use crate::{a::{b, c}, d, e as f};", "crate::"), ["a", "d", "e"]);
    assert_eq!(before_inline_tests("a\n#[cfg(test)]\nmod x;\nb"), "a\n#[cfg(test)]\nmod x;\nb");
    assert_eq!(before_inline_tests("a\n#[cfg(test)]\nmod tests {\nb}"), "a\n");
    assert_eq!(["src/a.rs", "src/a/mod.rs", "src/a/b.rs", "src/a/b/c.rs"].map(depth), [1, 1, 2, 3]);
    assert!(has("fs::read(x)", "fs::") && !has("offs::read", "fs::") && !has("Filed", "File"));
}

#[test]
fn every_room_is_in_the_table_and_stands_below_what_it_uses() {
    let lib = without_comments_and_texts(&fs::read_to_string(root().join("src/lib.rs")).unwrap());
    let declared: BTreeSet<_> = names_after(&lib, "pub mod ").into_iter().collect();
    let listed: BTreeSet<_> = MAY_USE.iter().map(|(room, _)| (*room).to_owned()).collect();
    assert_eq!(declared, listed);
    for (position, (room, may_use)) in MAY_USE.iter().enumerate() {
        for used in *may_use {
            let above = MAY_USE[..position].iter().any(|(earlier, _)| earlier == used);
            assert!(above, "{room} uses {used}, which does not stand above it");
        }
    }
}

#[test]
fn rooms_use_only_what_they_may() {
    let mut edges = 0;
    let mut wrong = Vec::new();
    for (file, code) in plain_code() {
        let Some(own) = room(&file) else { continue };
        let may_use = MAY_USE.iter().find(|(room, _)| *room == own).map_or(&[][..], |(_, m)| m);
        for used in rooms_used(&file, &code) {
            edges += usize::from(used != own);
            if used != own && !may_use.contains(&used.as_str()) {
                wrong.push(format!("{file} uses {used}"));
            }
        }
    }
    assert!(edges > 50, "only {edges} edges were found");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn dicom_crates_are_named_in_one_room_only() {
    let manifest = fs::read_to_string(root().join("Cargo.toml")).unwrap();
    let crates: Vec<String> = manifest
        .lines()
        .filter(|line| line.starts_with("dicom-"))
        .map(|line| line.split([' ', '=']).next().unwrap().replace('-', "_"))
        .collect();
    assert!(crates.len() >= 3, "{crates:?}");
    let words: Vec<&str> = crates.iter().map(String::as_str).collect();
    assert_eq!(strangers(&words, &["dicom"]), Vec::<String>::new());
    for (file, text) in sources(&["tests"]) {
        let code = without_comments_and_texts(&text);
        let named = words.iter().any(|w| has(&code, w));
        assert!(!named || file.starts_with("tests/phantom/"), "{file} names a DICOM crate");
    }
}

/// The head of a quirk says what a reader of the code needs, and names a finding that exists.
#[test]
fn every_quirk_names_clause_practice_rule_and_finding() {
    let quirks = sources(&["src/dicom/quirks"]);
    assert!(quirks.len() > 5, "{:?}", quirks.keys());
    let codes: Vec<String> =
        tidydose::finding::Code::ALL.iter().map(|code| format!("`{code:?}`")).collect();
    for (file, text) in quirks.iter().filter(|(file, _)| !file.ends_with("/mod.rs")) {
        for word in ["Clause: PS3.", "Files do: ", "We do: ", "Finding: ", "Strict: "] {
            assert!(text.contains(&format!("\n//! {word}")), "{file} does not say {word}");
        }
        let told = text.split("\n//! Finding: ").nth(1).unwrap_or_default();
        assert!(codes.iter().any(|code| told.starts_with(code)), "{file} names no finding");
    }
}

#[test]
fn only_the_command_line_prints() {
    let words = ["print!", "println!", "eprint!", "eprintln!", "dbg!", "stdout", "stderr"];
    assert_eq!(strangers(&words, &["cli"]), Vec::<String>::new());
}

#[test]
fn only_three_rooms_open_files() {
    let words = ["fs::", "std::fs", "File::", "fs::File", "OpenOptions", "walkdir", "WalkDir"];
    assert_eq!(strangers(&words, &["dicom", "table", "cli"]), Vec::<String>::new());
}

#[test]
fn clock_environment_and_chance_stay_outside_the_results() {
    let words = ["SystemTime", "Instant", "Utc", "Local", "getrandom", "env::", "thread_rng"];
    assert_eq!(strangers(&words, &["cli"]), Vec::<String>::new());
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
