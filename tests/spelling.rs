//! Every word of every message, page, help text and document is in the list of words that the
//! repository keeps (`tests/spelling/`): a letter that is wrong makes a word that is not. What is
//! written in other languages (names of structures as clinics write them) is left out, and so is
//! what is no prose: identifiers, names of files and columns, options, code.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;

use crate::archive::files_below;

/// Words of English, and those of the field with abbreviations and names of people.
const LISTS: [&str; 2] = [include_str!("spelling/english.txt"), include_str!("spelling/field.txt")];

/// Files with words of many languages.
const OTHER_LANGUAGES: &str = "src/case/names/";
/// Of these the ones that are English.
const ENGLISH: [&str; 2] = ["meaning.rs", "plausible.rs"];
/// Files that only tests read, besides those called tests.
const OF_TESTS: [&str; 3] = ["testing.rs", "fixtures.rs", "example.rs"];

/// Words with the places where they stand.
type Words = BTreeMap<String, BTreeSet<String>>;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn known() -> BTreeSet<&'static str> {
    LISTS.iter().flat_map(|list| list.split_whitespace()).collect()
}

/// The texts between quotation marks of a source, comments left out.
fn literals(source: &str) -> Vec<String> {
    let chars: Vec<char> = source.chars().collect();
    let (mut found, mut at) = (Vec::new(), 0);
    while at < chars.len() {
        match (chars[at], chars.get(at + 1)) {
            ('/', Some('/')) => at = after(&chars, at, "\n"),
            ('/', Some('*')) => at = after(&chars, at, "*/"),
            ('r', Some('"' | '#')) if raw_marks(&chars, at).is_some() => {
                let marks = raw_marks(&chars, at).unwrap();
                let end = format!("\"{}", "#".repeat(marks));
                let (begin, next) = (at + 2 + marks, after(&chars, at + 2 + marks, &end));
                found.push(chars[begin..next - end.len()].iter().collect());
                at = next;
            }
            ('"', _) => {
                let (text, next) = quoted(&chars, at + 1);
                found.push(text);
                at = next;
            }
            // A letter in quotation marks; else it is a lifetime.
            ('\'', Some('\\')) => at = after(&chars, at + 3, "'"),
            ('\'', Some(_)) if chars.get(at + 2) == Some(&'\'') => at += 3,
            _ => at += 1,
        }
    }
    found
}

/// How many number signs stand around a raw text that begins here.
fn raw_marks(chars: &[char], at: usize) -> Option<usize> {
    let inside = at > 0 && (chars[at - 1].is_alphanumeric() || chars[at - 1] == '_');
    let marks = chars[at + 1..].iter().take_while(|c| **c == '#').count();
    (!inside && chars.get(at + 1 + marks) == Some(&'"')).then_some(marks)
}

/// The place behind the next `end`.
fn after(chars: &[char], from: usize, end: &str) -> usize {
    let end: Vec<char> = end.chars().collect();
    let all = chars.len();
    let found = (from..all).find(|at| chars[*at..].starts_with(&end));
    found.map_or(all, |at| at + end.len())
}

/// A text up to its closing mark, and the place behind that.
fn quoted(chars: &[char], from: usize) -> (String, usize) {
    let (mut text, mut at) = (String::new(), from);
    while at < chars.len() && chars[at] != '"' {
        if chars[at] != '\\' {
            text.push(chars[at]);
            at += 1;
            continue;
        }
        match chars.get(at + 1) {
            // The text goes on below, without what it is indented by.
            Some('\n') => {
                at += 2;
                while chars.get(at).is_some_and(|c| c.is_whitespace()) {
                    at += 1;
                }
            }
            Some('u') => {
                text.push(' ');
                at = after(chars, at, "}");
            }
            Some(mark @ ('"' | '\'' | '\\')) => {
                text.push(*mark);
                at += 2;
            }
            _ => {
                text.push(' ');
                at += 2;
            }
        }
    }
    (text, at + 1)
}

/// Whether a text is a sentence, a part of one, or a heading of one word: two words side by side, or
/// a word with a capital.
fn is_prose(text: &str) -> bool {
    let parts: Vec<&str> = text.split(' ').filter(|part| !part.is_empty()).collect();
    let letters = |c: char| c.is_alphabetic();
    let beside = parts.windows(2).any(|pair| {
        let first = pair[0].trim_end_matches([',', ';', ':', '.', ')']);
        first.chars().rev().take_while(|c| letters(*c)).count() > 1
            && pair[1].trim_start_matches('(').chars().take_while(|c| letters(*c)).count() > 1
    });
    let capital = text.starts_with(|c: char| c.is_ascii_uppercase());
    let rest = text.len() > 2 && text.chars().skip(1).all(|c| c.is_ascii_lowercase());
    beside || (capital && rest)
}

/// A text without what stands between two marks.
fn without(text: &str, [open, close]: [char; 2]) -> String {
    let (mut kept, mut inside) = (String::new(), false);
    for c in text.chars() {
        match (c, inside) {
            (c, false) if c == open => inside = true,
            (c, true) if c == close => {
                inside = false;
                // It stood for something: what touches it is no word of its own.
                kept.push('_');
            }
            (_, true) => {}
            (c, false) => kept.push(c),
        }
    }
    kept
}

/// The words of a text, in small letters unless all of their letters are capitals.
fn words(text: &str) -> Vec<String> {
    let text = without(&without(text, ['`', '`']), ['{', '}']);
    let mut words = Vec::new();
    for part in text.split_whitespace() {
        let part = part.trim_matches(|c: char| "()[]\"“”‘’.,;:!?<>…*|".contains(c));
        let point_inside = part.trim_matches('.').contains('.');
        if part.starts_with("--") || point_inside || part.contains(['_', '@', '\\', '=']) {
            continue;
        }
        let letters = |c: char| c.is_alphanumeric() || c == '\'' || c == '’';
        for word in part.split(|c| !letters(c)) {
            let word = word.trim_matches(['\'', '’']);
            let word = word.strip_suffix("'s").or(word.strip_suffix("’s")).unwrap_or(word);
            let latin = |c: char| c.is_alphabetic() && c < '\u{250}' || c == '\'' || c == '’';
            let camel = word.chars().zip(word.chars().skip(1));
            let camel = camel.into_iter().any(|(a, b)| a.is_lowercase() && b.is_uppercase());
            if word.chars().count() < 2 || !word.chars().all(latin) || camel {
                continue;
            }
            let capitals = word.chars().all(char::is_uppercase);
            words.push(if capitals { word.to_owned() } else { word.to_lowercase() });
        }
    }
    words
}

fn add(all: &mut Words, place: &str, text: &str) {
    for word in words(text) {
        all.entry(word).or_default().insert(place.to_owned());
    }
}

/// Where a file lies below the root, with `/` everywhere.
fn place(path: &Path) -> String {
    let below = path.strip_prefix(root()).unwrap();
    below.components().map(|c| c.as_os_str().to_string_lossy()).collect::<Vec<_>>().join("/")
}

/// What the program is made of can be said by it.
fn messages(all: &mut Words) {
    let mut files = 0;
    for path in files_below(&root().join("src")) {
        let (place, name) = (place(&path), path.file_name().unwrap().to_string_lossy());
        let other = place.starts_with(OTHER_LANGUAGES) && !ENGLISH.contains(&&*name);
        if other || name.ends_with("tests.rs") || OF_TESTS.contains(&&*name) {
            continue;
        }
        let text = fs::read_to_string(&path).unwrap_or_default();
        let text = text.split("#[cfg(test)]\nmod tests").next().unwrap();
        let texts: Vec<String> = match path.extension().and_then(|e| e.to_str()) {
            Some("rs") => literals(text),
            // A pattern may hold a quotation mark that opens nothing, in its line only.
            Some("js") => text.lines().flat_map(literals).collect(),
            _ => continue,
        };
        files += 1;
        texts.iter().filter(|text| is_prose(text)).for_each(|text| add(all, &place, text));
    }
    assert!(files > 300, "{files} files");
}

fn documents(all: &mut Words) {
    let mut files: Vec<PathBuf> = ["README.md", "DEVELOPERS.md", "sample-anonymised/README.md"]
        .map(|file| root().join(file))
        .to_vec();
    files.extend(files_below(&root().join("notebooks-md")));
    files.retain(|path| path.extension().is_some_and(|e| e == "md"));
    assert!(files.len() > 15, "{files:?}");
    for path in files {
        let text = fs::read_to_string(&path).unwrap();
        let mut code = false;
        for line in text.lines() {
            if line.trim_start().starts_with("```") {
                code = !code;
            } else if !code {
                // Addresses and elements of HTML are no words.
                let line = without(&line.replace("](", "]\u{1}"), ['\u{1}', ')']);
                add(all, &place(&path), &without(&line, ['<', '>']).replace('|', " "));
            }
        }
    }
}

fn help(all: &mut Words) {
    let commands = [
        "",
        "survey",
        "measure",
        "ask",
        "review",
        "diff",
        "explain",
        "relate",
        "paper",
        "limits",
        "anonymise",
    ];
    for command in commands {
        let mut program = Command::cargo_bin("tidydose").unwrap();
        let output = program.args((!command.is_empty()).then_some(command)).arg("--help").output();
        let text = String::from_utf8(output.unwrap().stdout).unwrap();
        assert!(text.contains("Usage"), "{command}: {text}");
        add(all, &format!("tidydose {command} --help"), &text);
    }
}

fn everything() -> Words {
    let mut all = Words::new();
    messages(&mut all);
    documents(&mut all);
    help(&mut all);
    all
}

#[test]
fn every_word_is_in_the_list() {
    let known = known();
    let all = everything();
    assert!(all.len() > 2000, "{} words", all.len());
    let unknown: Vec<String> = all
        .iter()
        .filter(|(word, _)| !known.contains(word.as_str()))
        .map(|(word, places)| {
            format!("{word} ({})", places.iter().take(3).cloned().collect::<Vec<_>>().join(", "))
        })
        .collect();
    assert!(
        unknown.is_empty(),
        "{} words are not in tests/spelling/; correct them, or add those that are spelled right:\n{}",
        unknown.len(),
        unknown.join("\n")
    );
}

#[test]
fn one_wrong_letter_in_a_message_is_found() {
    let known = known();
    let (mut tried, mut missed) = (0, Vec::new());
    for code in tidydose_rt::finding::Code::ALL {
        let definition = code.definition();
        for text in [definition.meaning, definition.consequence, definition.action] {
            for word in words(text).iter().filter(|word| word.len() > 4 && word.is_ascii()) {
                assert!(known.contains(word.as_str()), "{word}");
                // The letter in the middle, which is mostly inside a syllable.
                let (before, rest) = word.split_at(word.len() / 2);
                let wrong = format!("{before}q{}", &rest[1..]);
                tried += 1;
                if known.contains(wrong.as_str()) {
                    missed.push(wrong);
                }
            }
        }
    }
    assert!(tried > 1000 && missed.is_empty(), "{tried} words, {missed:?}");
}

#[test]
fn the_list_is_in_order_and_names_no_word_twice() {
    for list in LISTS {
        let words: Vec<&str> = list.split_whitespace().collect();
        let wrong: Vec<_> = words.windows(2).filter(|pair| pair[0] >= pair[1]).collect();
        assert!(wrong.is_empty(), "{wrong:?}");
    }
    let words: Vec<&str> = LISTS.iter().flat_map(|list| list.split_whitespace()).collect();
    assert_eq!(known().len(), words.len(), "a word is in both lists");
}

#[test]
fn texts_are_found_in_a_source_and_code_is_passed_over() {
    let source = r##"
        // a comment says "nothing at all"
        const A: &str = "the first \
                         line of {name}";
        fn f<'a>(x: &'a str) -> char { '"' }
        const B: &str = r#"some "raw" text here"#;
        const C: [&str; 2] = ["plan_id", "it's in `code` here, see tables/plans.csv"];
    "##;
    let found = literals(source);
    let expected = [
        "the first line of {name}",
        "some \"raw\" text here",
        "plan_id",
        found.last().unwrap().as_str(),
    ];
    assert_eq!(found, expected);
    let prose: Vec<bool> = found.iter().map(|text| is_prose(text)).collect();
    assert_eq!(prose, [true, true, false, true]);
    assert_eq!(words(found.last().unwrap()), ["it", "in", "here", "see"]);
    assert_eq!(
        words("DICOM's 12 fields; a cut-off, D0.03cc --jobs"),
        ["DICOM", "fields", "cut", "off"]
    );
}
