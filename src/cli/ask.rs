//! `ask`: one question in SQL to the tables of a study. The answer goes to stdout or a file, what is
//! asked and the caution to stderr.

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, IsTerminal, Read};
use std::path::Path;

use super::args::Ask;
use super::fault::Fault;
use super::outcome::Outcome;
use super::say_stale;
use super::terminal::{Terminal, print};
use super::vocabulary::vocabulary;
use tidydose_ask::names::{self, Absent};
use tidydose_ask::{self as ask, Answer, AskError, Format, Question};
use tidydose_rt::nearest::nearest;
use tidydose_table::nobody;
use tidydose_table::read_study::StudyTables;
use tidydose_table::replace_file;
use tidydose_table::run::{CAUTION, is_complete};

/// Runs the command.
///
/// # Errors
/// When the question, a table or an option cannot be used, see [`Fault`].
pub(super) fn run(typed: &Ask, terminal: &Terminal) -> Result<Outcome, Fault> {
    let Some(name) = &typed.question else {
        return print(&list()).map(|()| Outcome::Complete).map_err(stdout_fault);
    };
    let format = format(typed)?;
    let question = Question::parse(&text(name)?)
        .map_err(|e| Fault::System(format!("question {name}: {e}")))?;
    let mut files = StudyTables::of_study(&typed.study)?;
    for pair in &typed.with {
        let (table, path) = split(pair, "--with")?;
        files.insert(&table, Path::new(&path));
    }
    let values: BTreeMap<String, String> =
        typed.set.iter().map(|pair| split(pair, "--set")).collect::<Result<_, _>>()?;
    let absent = absent(&question, &values, &files)?;
    let answer = ask::ask(&question, &values, &mut files).map_err(|e| match e {
        AskError::Table(fault) => Fault::from(fault),
        other => Fault::System(format!("question {name}: {other}")),
    })?;
    talk(typed, &question, &answer, terminal);
    write(&answer, format, typed.output.as_deref())?;
    let rows = answer.row_count();
    for Absent { sentence } in &absent {
        if rows == 0 { terminal.warn(sentence) } else { terminal.say(sentence) }
    }
    if rows == 0 && absent.is_empty() {
        let why = nobody_asked(&files)?;
        let why = why.as_deref().unwrap_or("nothing in the study fits the question");
        terminal.warn(&format!("the answer has no row: {why}"));
    }
    Ok(Outcome::of_count(rows))
}

/// Why nobody is in the study, if that is so.
fn nobody_asked(files: &StudyTables) -> Result<Option<String>, Fault> {
    let plans = files.read("plans").transpose()?;
    Ok(plans.as_ref().and_then(nobody::nobody))
}

/// Names in the question that are known but not in the study.
fn absent(
    question: &Question,
    values: &BTreeMap<String, String>,
    files: &StudyTables,
) -> Result<Vec<Absent>, Fault> {
    if !question.parameters.iter().any(|p| p.kind.is_name()) {
        return Ok(Vec::new());
    }
    names::check(question, values, &vocabulary(files)?).map_err(|e| Fault::System(e.to_string()))
}

fn talk(typed: &Ask, question: &Question, answer: &Answer, terminal: &Terminal) {
    for (what, text) in [("", &question.question), ("units: ", &question.units)] {
        if !text.is_empty() {
            terminal.say(&format!("{what}{text}"));
        }
    }
    for p in &question.parameters {
        let set = typed.set.iter().filter_map(|pair| pair.split_once('='));
        let value = set.filter(|(k, _)| *k == p.name).map(|(_, v)| v).next_back();
        terminal.say(&format!("{} = {} ({})", p.name, value.unwrap_or(&p.default), p.meaning));
    }
    if !question.caution.is_empty() {
        terminal.say(&format!("caution: {}", question.caution));
    }
    if is_complete(&typed.study) == Some(false) {
        terminal.warn("the study was interrupted: it does not hold all cases; measure it again");
    }
    say_stale(&typed.study, terminal);
    if !ask::is_ordered(question) {
        terminal.say("the question has no ORDER BY: the order of the rows is not fixed");
    }
    let rows = answer.row_count();
    terminal.say(&format!("{rows} row{}. {CAUTION}", if rows == 1 { "" } else { "s" }));
}

fn write(answer: &Answer, format: Format, output: Option<&Path>) -> Result<(), Fault> {
    if let Some(path) = output {
        return Ok(replace_file(path, |to| answer.write(format, to))?);
    }
    let mut bytes = Vec::new();
    answer.write(format, &mut bytes).map_err(stdout_fault)?;
    print(&String::from_utf8_lossy(&bytes)).map_err(stdout_fault)
}

fn stdout_fault(error: io::Error) -> Fault {
    Fault::System(format!("stdout: {error}"))
}

/// What was asked for, else what the ending of the output says, else a table for a person and CSV
/// for a program.
fn format(typed: &Ask) -> Result<Format, Fault> {
    let ending = typed.output.as_deref().and_then(Path::extension).and_then(|e| e.to_str());
    let format = match (typed.format, ending) {
        (Some(format), _) => format,
        (None, Some(word)) => Format::from_word(word).ok_or_else(|| {
            let words: Vec<_> = Format::WORDS.iter().map(|(_, w)| *w).collect();
            let reason = format!(
                "the ending `{word}` says no format; add --format with one of {}",
                words.join(", ")
            );
            Fault::Option { option: "--output", reason }
        })?,
        (None, None) if typed.output.is_none() && io::stdout().is_terminal() => Format::Table,
        (None, None) => Format::Csv,
    };
    if format == Format::Parquet && typed.output.is_none() {
        let reason = "parquet is no text; name a file with --output".to_owned();
        return Err(Fault::Option { option: "--format", reason });
    }
    Ok(format)
}

/// The text of the question: standard input, a file, or one that comes with the program.
fn text(name: &str) -> Result<String, Fault> {
    if name == "-" {
        let mut text = String::new();
        io::stdin()
            .read_to_string(&mut text)
            .map_err(|e| Fault::System(format!("standard input: {e}; SQL in UTF-8 is accepted")))?;
        return Ok(text);
    }
    let path = Path::new(name);
    let of_program = ask::shipped_question(name.strip_suffix(".sql").unwrap_or(name));
    match of_program.filter(|_| !path.exists()) {
        Some(text) => Ok(text.to_owned()),
        None => fs::read_to_string(path).map_err(|e| {
            let near = nearest(name, ask::shipped().into_iter().map(|(name, _)| name));
            let accepted =
                "a file with SQL, or a question that comes with the program, is accepted";
            Fault::folder(path, format!("{e}; {accepted}; nearest: {near}"))
        }),
    }
}

fn split(pair: &str, option: &'static str) -> Result<(String, String), Fault> {
    match pair.split_once('=') {
        Some((name, value)) if !name.is_empty() => Ok((name.to_owned(), value.to_owned())),
        _ => {
            let reason = format!("found `{pair}`, expected NAME=VALUE");
            Err(Fault::Option { option, reason })
        }
    }
}

/// Every question of the program with its parameters.
fn list() -> String {
    let mut text = String::new();
    for (name, sql) in ask::shipped() {
        let Ok(question) = Question::parse(sql) else { continue };
        text.push_str(&format!("{name}\n    {}\n", question.question));
        for p in &question.parameters {
            text.push_str(&format!(
                "    --set {}={}  {}, {}\n",
                p.name,
                p.default,
                p.kind.word(),
                p.meaning
            ));
        }
    }
    text
}
